//! What the page allows a browser to run and to load: its own style and its own script, by their hashes, and nothing else.
//!
//! Invariant: a script that gets into the page by any way, also as a handler in an attribute, is not run; a form that gets into it sends nothing; no link is
//! led elsewhere by a base; nothing is loaded. The bytes are the same in every run.
//! Sources: W3C, Content Security Policy Level 3: hashes of inline blocks (section 6.7.3.3), `form-action` and `base-uri`, which `default-src` does not
//! cover, and `style-src-elem`. Hash: FIPS 180-4, SHA-256.
//! Limits: lengths of the bars are `style` attributes, so those are allowed: `style-src` has no hashes, where `style-src-elem` is not known.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

/// The policy of a page with one style, and with these scripts. One that is `alive` may ask the place that it came from, and nobody else.
pub(super) fn policy(style: &str, scripts: &[&str], alive: bool) -> String {
    let scripts: Vec<String> = if scripts.is_empty() { vec!["'none'".to_owned()] } else { scripts.iter().map(|s| hash(s)).collect() };
    format!(
        "default-src 'none'; script-src {}; style-src 'unsafe-inline'; style-src-elem {}; form-action 'none'; base-uri 'none'{}",
        scripts.join(" "),
        hash(style),
        if alive { "; connect-src 'self'" } else { "" }
    )
}

fn hash(text: &str) -> String {
    format!("'sha256-{}'", STANDARD.encode(Sha256::digest(text)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hashes_are_those_of_the_standard() {
        // FIPS 180-4's example "abc", ba7816bf...f20015ad, in base 64.
        assert_eq!(hash("abc"), "'sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0='");
        assert_eq!(
            policy("abc", &[""], false),
            "default-src 'none'; script-src 'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='; style-src 'unsafe-inline'; \
             style-src-elem 'sha256-ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0='; form-action 'none'; base-uri 'none'"
        );
        assert!(policy("abc", &[], false).starts_with("default-src 'none'; script-src 'none'; style-src "));
    }
}
