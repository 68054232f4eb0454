//! The word that an edit must carry: random, new at every start, known to whoever reads the first line of output.
//!
//! Invariant: 256 bits from the operating system; comparing takes the same time wherever two words begin to differ.

use core::fmt::Write as _;
use core::hint::black_box;
use std::io;

/// The word.
#[derive(Clone)]
pub(super) struct Token(String);

impl Token {
    /// A new one.
    ///
    /// # Errors
    /// A system that gives no random bytes.
    pub(super) fn new() -> io::Result<Token> {
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes).map_err(|e| io::Error::other(format!("the system gives no random bytes: {e}")))?;
        Ok(Token(bytes.iter().fold(String::new(), |mut text, byte| {
            let _written = write!(text, "{byte:02x}");
            text
        })))
    }

    /// As it is written in the address.
    pub(super) fn text(&self) -> &str {
        &self.0
    }

    /// True for the same word.
    pub(super) fn is(&self, other: &[u8]) -> bool {
        let own = self.0.as_bytes();
        // The length is no secret; of the rest every byte is looked at.
        own.len() == other.len() && own.iter().zip(other).fold(0, |differs, (a, b)| black_box(differs | (a ^ b))) == 0
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn only_the_same_word_is_the_same() {
        let [token, other] = [(); 2].map(|()| Token::new().unwrap());
        let text = token.text().to_owned();
        assert!(text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit()));
        assert!(token.is(text.as_bytes()) && !token.is(other.text().as_bytes()));
        for i in 0..text.len() {
            let mut near = text.clone().into_bytes();
            if let Some(byte) = near.get_mut(i) {
                *byte ^= 1;
            }
            assert!(!token.is(&near), "{i}");
        }
        for wrong in [b"".as_slice(), text.as_bytes().split_last().unwrap().1, format!("{text}0").as_bytes()] {
            assert!(!token.is(wrong));
        }
    }
}
