//! The known name that was most likely meant.
//!
//! Unit: edits (one letter put in, taken out or changed). Source: the table of Levenshtein's distance, Wagner and Fischer, "The string-to-string
//! correction problem", J. ACM 21(1), 1974, from memory. Capitals and `-` for `_` cost nothing here: they are not what was mistaken.

/// Longest name that is compared: names of the stage have 64 letters at most, full ones 129.
const LONGEST: usize = 140;

/// The candidate with the fewest edits, if they are few enough to be a slip: at most one, and one more for every three letters.
pub(crate) fn nearest<'n>(name: &str, candidates: impl IntoIterator<Item = &'n str>) -> Option<&'n str> {
    if name.len() > LONGEST {
        return None;
    }
    let plain = folded(name);
    let mut best: Option<(usize, &str)> = None;
    for candidate in candidates {
        let other = folded(candidate);
        let allowed = 1 + plain.len().min(other.len()) / 3;
        if plain.len().abs_diff(other.len()) > allowed {
            continue;
        }
        let edits = distance(&plain, &other);
        if edits <= allowed && best.is_none_or(|(least, _)| edits < least) {
            best = Some((edits, candidate));
        }
    }
    best.map(|(_, candidate)| candidate)
}

fn folded(name: &str) -> Vec<char> {
    name.chars().flat_map(char::to_lowercase).map(|c| if c == '-' || c == ' ' { '_' } else { c }).collect()
}

fn distance(a: &[char], b: &[char]) -> usize {
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.iter().enumerate() {
        let mut corner = i;
        let mut left = i + 1;
        if let Some(first) = row.first_mut() {
            *first = left;
        }
        for (y, cell) in b.iter().zip(row.iter_mut().skip(1)) {
            let changed = corner + usize::from(x != y);
            corner = *cell;
            left = changed.min(corner + 1).min(left + 1);
            *cell = left;
        }
    }
    row.last().copied().unwrap_or(a.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edits(a: &str, b: &str) -> usize {
        distance(&a.chars().collect::<Vec<_>>(), &b.chars().collect::<Vec<_>>())
    }

    /// The textbook's own example, kitten to sitting, from memory; the others by hand.
    #[test]
    fn distances_are_those_of_the_textbook() {
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("", "abc"), 3);
        assert_eq!(edits("abc", ""), 3);
        assert_eq!(edits("travel", "travel"), 0);
        assert_eq!(edits("lift", "litf"), 2);
    }

    #[test]
    fn a_slip_is_found_and_another_word_is_not() {
        let known = ["heron_a.lift", "heron_a.wing_left", "camera.track"];
        assert_eq!(nearest("heron_a.lfit", known), Some("heron_a.lift"));
        assert_eq!(nearest("Heron-A.wing left", known), Some("heron_a.wing_left"));
        assert_eq!(nearest("lamp.turn", known), None);
        assert_eq!(nearest(&"x".repeat(1_000_000), known), None);
    }
}
