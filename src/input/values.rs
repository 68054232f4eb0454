//! TOML values as numbers, words and lists, and how messages show them.
//!
//! Invariant: a reader gives `None` for a value of another kind and never converts: text is no number, 1.0 is no whole number. Whole numbers are numbers.

use toml::de::{DeArray, DeTable, DeValue};

/// What messages call the kinds.
pub(super) const NUMBER: &str = "a number";
/// A whole number.
pub(super) const WHOLE: &str = "a whole number, without a decimal point";
/// Text.
pub(super) const TEXT: &str = "text in quotes";
/// A flag.
pub(super) const FLAG: &str = "true or false";

/// Whole numbers and decimals; `inf` and `nan` too, which no bound lets pass.
pub(super) fn number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Float(x) => x.as_str().parse().ok(),
        // Beyond 2^53 this rounds; every bound is far below.
        DeValue::Integer(n) => match i64::from_str_radix(n.as_str(), n.radix()) {
            Ok(n) => Some(n as f64),
            Err(_) if n.radix() == 10 => n.as_str().parse().ok(),
            Err(_) => None,
        },
        _ => None,
    }
}

/// The number that a text holds.
pub(super) fn number_in_quotes<'t>(value: &'t DeValue<'t>) -> Option<&'t str> {
    value.as_str().filter(|text| {
        text.bytes().all(|b| b.is_ascii_digit() || b == b'.')
            && text.parse::<f64>().is_ok()
            && text.starts_with(|c| ('1'..='9').contains(&c))
            && !text.ends_with('.')
    })
}

/// Whole numbers of at most 64 bits.
pub(super) fn whole(value: &DeValue<'_>) -> Option<i64> {
    match value {
        DeValue::Integer(n) => i64::from_str_radix(n.as_str(), n.radix()).ok(),
        _ => None,
    }
}

/// Text.
pub(super) fn text<'t>(value: &'t DeValue<'t>) -> Option<&'t str> {
    value.as_str()
}

/// True or false.
pub(super) fn flag(value: &DeValue<'_>) -> Option<bool> {
    value.as_bool()
}

/// A list.
pub(super) fn list<'t>(value: &'t DeValue<'t>) -> Option<&'t DeArray<'t>> {
    value.as_array()
}

/// A table.
pub(super) fn table<'t>(value: &'t DeValue<'t>) -> Option<&'t DeTable<'t>> {
    value.as_table()
}

/// Two numbers in a list.
pub(super) fn two_numbers(value: &DeValue<'_>) -> Option<[f64; 2]> {
    let (first, second) = two(value)?;
    Some([number(first)?, number(second)?])
}

/// Three numbers in a list.
pub(super) fn three_numbers(value: &DeValue<'_>) -> Option<[f64; 3]> {
    let list = value.as_array()?;
    let mut entries = list.iter();
    let (Some(x), Some(y), Some(z), None) = (entries.next(), entries.next(), entries.next(), entries.next()) else {
        return None;
    };
    Some([number(x.get_ref())?, number(y.get_ref())?, number(z.get_ref())?])
}

/// Four numbers in a list.
pub(super) fn four_numbers(value: &DeValue<'_>) -> Option<[f64; 4]> {
    let mut entries = value.as_array()?.iter();
    let mut next = || entries.next().and_then(|v| number(v.get_ref()));
    let four = [next()?, next()?, next()?, next()?];
    entries.next().is_none().then_some(four)
}

/// Any number of numbers in a list.
pub(super) fn numbers(value: &DeValue<'_>) -> Option<Vec<f64>> {
    value.as_array()?.iter().map(|v| number(v.get_ref())).collect()
}

/// Two whole numbers in a list.
pub(super) fn two_wholes(value: &DeValue<'_>) -> Option<[i64; 2]> {
    let (first, second) = two(value)?;
    Some([whole(first)?, whole(second)?])
}

fn two<'v, 't>(value: &'v DeValue<'t>) -> Option<(&'v DeValue<'t>, &'v DeValue<'t>)> {
    let mut entries = value.as_array()?.iter();
    let (Some(first), Some(second), None) = (entries.next(), entries.next(), entries.next()) else {
        return None;
    };
    Some((first.get_ref(), second.get_ref()))
}

/// What was found, for messages.
pub(super) fn shown(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(s) => format!("text, {}", quoted(s)),
        DeValue::Integer(n) => cut(n.as_str(), 40),
        DeValue::Float(x) => cut(x.as_str(), 40),
        DeValue::Boolean(b) => b.to_string(),
        DeValue::Datetime(d) => format!("a date or time, {d}"),
        DeValue::Array(a) if a.is_empty() => "an empty list".to_owned(),
        DeValue::Array(a) if a.iter().all(|v| !matches!(v.get_ref(), DeValue::Array(_) | DeValue::Table(_))) && a.len() <= 4 => {
            let entries: Vec<String> = a.iter().map(|v| shown(v.get_ref())).collect();
            format!("the list [{}]", entries.join(", "))
        }
        DeValue::Array(a) => format!("a list of {}", a.len()),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

/// Text in quotes, cut to a length that a line can show.
pub(super) fn quoted(text: &str) -> String {
    let short = cut(text, 80);
    format!("\"{}\"", short.escape_debug())
}

/// The first letters of a text.
pub(super) fn cut(text: &str, letters: usize) -> String {
    match text.char_indices().nth(letters) {
        Some((end, _)) => format!("{}...", text.get(..end).unwrap_or_default()),
        None => text.to_owned(),
    }
}

/// Names for the `allowed` line: all of them where they are few.
pub(super) fn names<'n>(known: impl ExactSizeIterator<Item = &'n str>) -> String {
    const SHOWN: usize = 12;
    let more = known.len().saturating_sub(SHOWN);
    let mut text = String::new();
    for name in known.take(SHOWN) {
        if !text.is_empty() {
            text.push_str(", ");
        }
        text.push_str(name);
    }
    match (text.is_empty(), more) {
        (true, _) => "none: there is none".to_owned(),
        (_, 0) => text,
        (_, more) => format!("{text} and {more} more"),
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn value(text: &str) -> toml::Spanned<DeValue<'_>> {
        DeValue::parse(text).unwrap()
    }

    #[test]
    fn whole_numbers_are_numbers_and_text_is_not() {
        assert_eq!(number(value("7").get_ref()), Some(7.0));
        assert_eq!(number(value("0x10").get_ref()), Some(16.0));
        assert_eq!(number(value("1_000.5").get_ref()), Some(1000.5));
        assert_eq!(number(value("99999999999999999999").get_ref()), Some(1e20));
        assert_eq!(number(value("1e400").get_ref()), Some(f64::INFINITY));
        assert!(number(value("nan").get_ref()).unwrap().is_nan());
        assert_eq!(number(value("\"7\"").get_ref()), None);
        assert_eq!(whole(value("7.0").get_ref()), None);
        assert_eq!(whole(value("99999999999999999999").get_ref()), None);
    }

    #[test]
    fn what_is_shown_stays_short_and_on_one_line() {
        assert_eq!(shown(value("[1, 2.5]").get_ref()), "the list [1, 2.5]");
        assert_eq!(shown(value("\"\"\"a\nb\"\"\"").get_ref()), "text, \"a\\nb\"");
        assert!(quoted(&"x".repeat(10_000)).len() < 90);
        assert_eq!(names(["a", "b"].into_iter()), "a, b");
    }
}
