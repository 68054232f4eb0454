//! Repeatability and accuracy of one axis over the frames of a pass.
//!
//! What: with x_ij the deviation of take j at frame i, mean_i, and s_i the standard deviation with n - 1: repeatability is the greatest 4 s_i,
//! accuracy the greatest mean_i + 2 s_i less the least mean_i - 2 s_i, the range of the means their greatest less their least.
//! Source: the formulas of ISO 230-2 (from memory, confirmed by open reports of measurements), over frames. That is an adaptation: the standard prescribes a test
//! cycle of its own, with target positions and approaches from both sides; an axis of a shot goes where the shot goes.
//! Invariant: a frame is taken in once, with all its takes; sums are of differences from the first take, so large counts lose nothing.

/// Mean and standard deviation (n - 1) of some numbers; the latter is `None` for fewer than two, both for none.
#[must_use]
pub(crate) fn spread(values: &[f64]) -> Option<(f64, Option<f64>)> {
    let first = *values.first()?;
    let n = values.len() as f64;
    let off = values.iter().map(|x| x - first).sum::<f64>() / n;
    if values.len() < 2 {
        return Some((first, None));
    }
    let squares: f64 = values.iter().map(|x| (x - first - off) * (x - first - off)).sum();
    Some((first + off, Some((squares / (n - 1.0)).sqrt())))
}

/// A greatest value and the frame at which it is taken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Greatest {
    /// The value, not negative.
    pub value: f64,
    /// Frame.
    pub frame: i64,
}

/// Statistics of one axis; units are those of the deviations.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Statistics {
    frames: u64,
    repeatability: Option<Greatest>,
    outer: Option<(f64, f64)>,
    means: Option<(f64, f64)>,
    largest: Option<Greatest>,
    between: Option<Greatest>,
}

impl Statistics {
    /// Takes in the deviations of all takes at one frame; an empty slice is no frame.
    pub(crate) fn add(&mut self, frame: i64, deviations: &[f64]) {
        let Some((mean, s)) = spread(deviations) else { return };
        self.frames += 1;
        let widened = |range: Option<(f64, f64)>, low: f64, high: f64| Some(range.map_or((low, high), |(l, h)| (l.min(low), h.max(high))));
        self.means = widened(self.means, mean, mean);
        if let Some(s) = s {
            raise(&mut self.repeatability, 4.0 * s, frame);
            self.outer = widened(self.outer, mean - 2.0 * s, mean + 2.0 * s);
        }
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for x in deviations {
            low = low.min(*x);
            high = high.max(*x);
        }
        raise(&mut self.largest, high.max(-low), frame);
        if deviations.len() > 1 {
            raise(&mut self.between, high - low, frame);
        }
    }

    /// Takes in frames with one take each: how many, the lowest and the highest deviation, and the first frame at which one is as large, absolute, as that number.
    pub(crate) fn add_single(&mut self, frames: u64, lowest: f64, highest: f64, first: impl FnOnce(f64) -> Option<i64>) {
        self.frames += frames;
        self.means = Some(self.means.map_or((lowest, highest), |(l, h)| (l.min(lowest), h.max(highest))));
        let largest = highest.max(-lowest);
        if let Some(frame) = Some(largest).filter(|l| self.largest.is_none_or(|g| *l > g.value)).and_then(first) {
            raise(&mut self.largest, largest, frame);
        }
    }

    /// Frames with at least one take.
    #[must_use]
    pub(crate) fn frames(&self) -> u64 {
        self.frames
    }

    /// Greatest 4 s_i; `None` where no frame has two takes.
    #[must_use]
    pub(crate) fn repeatability(&self) -> Option<Greatest> {
        self.repeatability
    }

    /// Greatest mean_i + 2 s_i less least mean_i - 2 s_i; `None` where no frame has two takes.
    #[must_use]
    pub(crate) fn accuracy(&self) -> Option<f64> {
        self.outer.map(|(low, high)| high - low)
    }

    /// Greatest mean_i less least mean_i; `None` without a frame.
    #[must_use]
    pub(crate) fn mean_range(&self) -> Option<f64> {
        self.means.map(|(low, high)| high - low)
    }

    /// Largest deviation of any take, absolute; `None` without a frame.
    #[must_use]
    pub(crate) fn largest_deviation(&self) -> Option<Greatest> {
        self.largest
    }

    /// Largest difference between two takes at one frame; `None` where no frame has two takes.
    #[must_use]
    pub(crate) fn pass_to_pass(&self) -> Option<Greatest> {
        self.between
    }
}

fn raise(greatest: &mut Option<Greatest>, value: f64, frame: i64) {
    if greatest.is_none_or(|g| value > g.value) {
        // Adding 0 takes the sign off a negative zero.
        *greatest = Some(Greatest { value: value + 0.0, frame });
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn one_value_has_a_mean_and_no_deviation() {
        assert_eq!(spread(&[1.0, 2.0, 3.0]), Some((2.0, Some(1.0))));
        assert_eq!(spread(&[7.0]), Some((7.0, None)));
        assert_eq!(spread(&[]), None);
    }

    #[test]
    fn one_take_has_no_spread_but_a_largest_deviation() {
        let mut s = Statistics::default();
        s.add(1, &[-3.0]);
        s.add(2, &[2.0]);
        s.add(3, &[]);
        assert_eq!((s.repeatability(), s.accuracy(), s.pass_to_pass()), (None, None, None));
        assert_eq!((s.largest_deviation(), s.mean_range(), s.frames()), (Some(Greatest { value: 3.0, frame: 1 }), Some(5.0), 2));
    }

    #[test]
    fn nothing_at_all_is_nothing_and_no_deviation_is_zero_without_a_sign() {
        assert_eq!(Statistics::default().largest_deviation(), None);
        let mut s = Statistics::default();
        s.add(1, &[0.0, 0.0]);
        assert!(s.largest_deviation().unwrap().value.is_sign_positive() && s.pass_to_pass().unwrap().value.is_sign_positive());
    }
}
