//! Numbers with a fixed count of decimals, as the tables have them.

use core::fmt::Write;

/// Writes `x` with `places` decimals over whatever `text` held, without a minus before a zero.
pub(super) fn decimals(text: &mut String, x: f64, places: usize) {
    text.clear();
    let _infallible = write!(text, "{x:.places$}");
    if text.starts_with('-') && text.bytes().all(|b| matches!(b, b'-' | b'0' | b'.')) {
        text.remove(0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_zero_has_no_minus() {
        let mut text = String::new();
        for (x, want) in [(-0.0, "0.000"), (-4e-4, "0.000"), (-6e-4, "-0.001"), (12.0, "12.000")] {
            decimals(&mut text, x, 3);
            assert_eq!(text, want);
        }
        for (x, want) in [(-0.0, "0.000000"), (-1e-9, "0.000000"), (-0.5, "-0.500000"), (-1e-6, "-0.000001"), (7400.0, "7400.000000")] {
            decimals(&mut text, x, 6);
            assert_eq!(text, want);
        }
    }
}
