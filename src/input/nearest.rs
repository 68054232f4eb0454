//! The known name that was most likely meant.
//!
//! Unit: edits (one letter put in, taken out or changed), Levenshtein's distance, computed by the crate `strsim`. Capitals and `-` for `_` cost
//! nothing here: they are not what was mistaken.

/// Longest name that is compared: names of the stage have 64 letters at most, full ones 129.
const LONGEST: usize = 140;

/// The candidate with the fewest edits, if they are few enough to be a slip: at most one, and one more for every three letters. A name that breaks off is the only
/// candidate that begins with it.
pub(crate) fn nearest<'n>(name: &str, candidates: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    if name.len() > LONGEST {
        return None;
    }
    let plain = folded(name);
    let letters = plain.chars().count();
    let (mut begun, mut begins) = (None, 0_usize);
    let mut best: Option<(usize, &str)> = None;
    for candidate in candidates {
        let other = folded(candidate);
        let others = other.chars().count();
        if letters >= SHORTEST_BEGINNING && other.starts_with(&plain) {
            begins += 1;
            begun = (begins == 1).then_some(candidate);
        }
        let allowed = 1 + letters.min(others) / 3;
        if letters.abs_diff(others) > allowed {
            continue;
        }
        let edits = strsim::levenshtein(&plain, &other);
        if edits <= allowed && best.is_none_or(|(least, _)| edits < least) {
            best = Some((edits, candidate));
        }
    }
    best.map(|(_, candidate)| candidate).or(begun)
}

/// Letters from which on the beginning of a name says which is meant.
const SHORTEST_BEGINNING: usize = 5;

fn folded(name: &str) -> String {
    name.chars().flat_map(char::to_lowercase).map(|c| if c == '-' || c == ' ' { '_' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_is_found_and_another_word_is_not() {
        let known = ["heron_a.lift", "heron_a.wing_left", "camera.track"];
        assert_eq!(nearest("heron_a.lfit", known), Some("heron_a.lift"));
        assert_eq!(nearest("Heron-A.wing left", known), Some("heron_a.wing_left"));
        assert_eq!(nearest("lamp.turn", known), None);
        assert_eq!(nearest("max_accel", ["max_velocity", "max_acceleration"]), Some("max_acceleration"));
        assert_eq!(nearest("seconds", ["seconds_per_frame", "seconds_in_all"]), None, "two begin with it");
        assert_eq!(nearest(&"x".repeat(1_000_000), known), None);
    }
}
