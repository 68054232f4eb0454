//! Four numbers at once: what is summed for each axis is summed for four axes side by side.
//!
//! Invariant: each number is what it would be alone: lanes never mix, so results do not depend on how axes are grouped.

/// Axes of a group.
pub(super) const LANES: usize = 4;

/// A number for each axis of a group.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Four(pub(super) [f64; LANES]);

impl Four {
    #[inline]
    pub(super) fn of(x: f64) -> Four {
        Four([x; LANES])
    }

    /// The numbers from `at` on; NaN beyond the end.
    #[inline]
    pub(super) fn from(row: &[f64], at: usize) -> Four {
        row.get(at..).and_then(|rest| rest.first_chunk::<LANES>()).map_or(Four::of(f64::NAN), |four| Four(*four))
    }

    #[inline]
    pub(super) fn map(self, f: impl Fn(f64) -> f64) -> Four {
        Four(self.0.map(f))
    }

    #[inline]
    pub(super) fn with(self, other: Four, f: impl Fn(f64, f64) -> f64) -> Four {
        let ([a, b, c, d], [p, q, r, s]) = (self.0, other.0);
        Four([f(a, p), f(b, q), f(c, r), f(d, s)])
    }

    #[inline]
    pub(super) fn plus(self, other: Four) -> Four {
        self.with(other, |a, b| a + b)
    }

    #[inline]
    pub(super) fn minus(self, other: Four) -> Four {
        self.with(other, |a, b| a - b)
    }

    #[inline]
    pub(super) fn times(self, other: Four) -> Four {
        self.with(other, |a, b| a * b)
    }

    /// The lesser, where the other is a number.
    #[inline]
    pub(super) fn least(self, other: Four) -> Four {
        self.with(other, |a, b| if b < a { b } else { a })
    }

    /// The greater, where the other is a number.
    #[inline]
    pub(super) fn greatest(self, other: Four) -> Four {
        self.with(other, |a, b| if b > a { b } else { a })
    }

    /// 0 where it is no number.
    #[inline]
    pub(super) fn or_zero(self) -> Four {
        self.map(|x| if x.is_nan() { 0.0 } else { x })
    }

    /// 1 where it is a number, 0 where it is none.
    #[inline]
    pub(super) fn is_there(self) -> Four {
        self.map(|x| if x.is_nan() { 0.0 } else { 1.0 })
    }
}
