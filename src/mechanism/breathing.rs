//! Breathing: the focal length in effect at a focus distance, from a table that was measured.
//!
//! Between two points it goes straight over 1 / distance: a thin lens focused at s has the image distance f s / (s - f), which is close to f (1 + f / s) (any textbook of optics).
//! Before the first point and behind the last their focal lengths are kept; a note names the frames. Invariant: distances rise, all numbers lie in their ranges.
//! Limits: whole millimetres of a scale on a lens, not its optics; the entrance pupil stays where it is.

use crate::bounds::{Code, Flaw, LENGTH};

/// A checked table.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Breathing {
    /// Focus distance and focal length, mm.
    points: Vec<[f64; 2]>,
}

impl Breathing {
    /// Checks a table; an empty one says nothing.
    ///
    /// # Errors
    /// A number out of its range, distances that do not rise, a single point.
    pub(crate) fn new(points: Vec<[f64; 2]>) -> Result<Breathing, Vec<Flaw>> {
        let mut flaws = Vec::new();
        for (i, number) in points.iter().enumerate().flat_map(|(i, row)| row.map(|x| (i, x))) {
            flaws.extend(LENGTH.check("breathing", number).err().map(|f| f.at_index(i)));
        }
        for (i, (before, after)) in points.iter().zip(points.iter().skip(1)).enumerate() {
            if !(before[0] < after[0]) {
                let title = "focus distances of `breathing` do not rise";
                let flaw = Flaw::new(Code::KeysOutOfOrder, "breathing", title);
                flaws
                    .push(flaw.found(format!("{} mm behind {} mm", after[0], before[0]), "a greater distance in each row").at_index(i + 1));
            }
        }
        if points.len() == 1 {
            let title = "`breathing` has one point only";
            flaws.push(Flaw::new(Code::WrongCount, "breathing", title).found("1 row", "2 rows or more"));
        }
        if flaws.is_empty() { Ok(Breathing { points }) } else { Err(flaws) }
    }

    /// The table.
    #[must_use]
    pub(crate) fn points(&self) -> &[[f64; 2]] {
        &self.points
    }

    /// Focal length in effect, mm; `None` without a table.
    #[must_use]
    pub(crate) fn focal_length(&self, distance: f64) -> Option<f64> {
        let (first, last) = (self.points.first()?, self.points.last()?);
        if !(first[0] < distance) {
            return Some(first[1]);
        }
        let ([s0, f0], [s1, f1]) = self
            .points
            .iter()
            .zip(self.points.iter().skip(1))
            .map(|(a, b)| (*a, *b))
            .find(|(_, b)| distance < b[0])
            .unwrap_or((*last, *last));
        if s0 == s1 {
            return Some(f0);
        }
        let share = (1.0 / s0 - 1.0 / distance) / (1.0 / s0 - 1.0 / s1);
        Some(f0 + share * (f1 - f0))
    }

    /// True where a table does not reach a distance.
    #[must_use]
    pub(crate) fn ends_before(&self, distance: f64) -> bool {
        self.points.first().zip(self.points.last()).is_some_and(|(a, b)| !(a[0] <= distance && distance <= b[0]))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;

    /// Derived from the thin lens: 24 mm focused at 1.2 m has f s / (s - f) = 24.489796 mm, at 3 m 24.193548 mm: the picture is 1.2245 % smaller at 3 m.
    #[test]
    fn from_1_2_to_3_m_the_picture_changes_by_1_22_per_cent() {
        let thin = |s: f64| 24.0 * s / (s - 24.0);
        let table = |at: &[f64]| Breathing::new(at.iter().map(|s| [*s, thin(*s)]).collect()).unwrap();
        let ratio = |at: &[f64]| table(at).focal_length(1200.0).unwrap() / table(at).focal_length(3000.0).unwrap();
        assert!((ratio(&[1200.0, 3000.0]) - 1.012_245).abs() < 5e-7);
        // Between points a straight line over 1 / distance leaves f / (1 - f / s) by at most (1/1000 - 1/2000)^2 f^3 / 4 (1 - f / 1000)^3: 0.93 um, 3.8e-5 of f.
        let between = ratio(&[600.0, 1000.0, 2000.0, 5000.0, 1e6]);
        assert!((between - 1.012_245).abs() < 3.8e-5, "{between}");
        assert!((thin(1200.0) / thin(3000.0) - 1.012_245).abs() < 5e-7);
    }

    #[test]
    fn points_are_met_and_ends_are_kept_and_known() {
        let table = Breathing::new(vec![[600.0, 24.6], [3000.0, 24.1], [1e6, 24.0]]).unwrap();
        for (s, f) in [(600.0, 24.6), (3000.0, 24.1), (1e6, 24.0), (10.0, 24.6), (2e6, 24.0), (1000.0, 24.35)] {
            assert!((table.focal_length(s).unwrap() - f).abs() < 1e-12, "{s}: {:?}", table.focal_length(s));
        }
        assert!(table.ends_before(599.0) && table.ends_before(f64::NAN) && !table.ends_before(600.0) && !table.ends_before(1e6));
        assert_eq!(Breathing::default().focal_length(600.0), None);
        assert!(!Breathing::default().ends_before(600.0));
    }

    #[test]
    fn tables_that_say_nothing_are_refused() {
        let found = |points: Vec<[f64; 2]>| -> Vec<(&str, Option<usize>)> {
            Breathing::new(points).unwrap_err().into_iter().map(|f| (f.code.slug(), f.index)).collect()
        };
        assert_eq!(found(vec![[600.0, 24.0]]), [("wrong-count", None)]);
        assert_eq!(found(vec![[600.0, 24.0], [600.0, 25.0]]), [("keys-out-of-order", Some(1))]);
        assert_eq!(found(vec![[600.0, f64::NAN], [700.0, 25.0]]), [("out-of-range", Some(0))]);
    }
}
