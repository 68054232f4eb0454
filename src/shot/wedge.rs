//! A wedge: one frame exposed several times without moving, each exposure so many stops from that of the pass.
//!
//! What: an exposure of k stops lasts 2^k times as long as `seconds_per_frame` x shutter / 360; between two exposures the shutter is closed for the rest of `seconds_per_frame`.
//! Units: stops; microseconds, so that the last row is found in whole numbers. Limits: time alone is changed: the reciprocity of film is not counted.

use crate::bounds::{self, Code, Flaw, MOST_WEDGE};
use crate::number::elementary::exp2;
use crate::number::whole;
use crate::time::{Pace, Shutter};

/// A checked wedge.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Wedge {
    frame: i64,
    stops: Vec<f64>,
}

/// Microseconds of a second.
const MICRO: f64 = 1e6;

impl Wedge {
    /// Exposures of a frame, by the stops that each is from that of the pass.
    ///
    /// # Errors
    /// No exposure, too many, or stops out of their range.
    pub(crate) fn new(frame: i64, stops: Vec<f64>) -> Result<Wedge, Vec<Flaw>> {
        if !(1..=MOST_WEDGE).contains(&stops.len()) {
            let flaw = Flaw::new(Code::TooMany, "stops", "a wedge has too few or too many exposures");
            return Err(vec![flaw.found(format!("{} stops", stops.len()), format!("1 to {MOST_WEDGE} stops"))]);
        }
        let flaws: Vec<Flaw> = stops.iter().filter_map(|k| bounds::WEDGE.check("stops", *k).err()).take(1).collect();
        if flaws.is_empty() { Ok(Wedge { frame, stops }) } else { Err(flaws) }
    }

    /// The frame.
    #[must_use]
    pub(crate) fn frame(&self) -> i64 {
        self.frame
    }

    /// Stops of each exposure from that of the pass, in order.
    #[must_use]
    pub(crate) fn stops(&self) -> &[f64] {
        &self.stops
    }

    /// When each exposure opens and closes, microseconds from the opening of the first; each in whole ones, to the nearest, and at least one long.
    #[must_use]
    pub(crate) fn exposures(&self, pace: Pace, shutter: Shutter) -> Vec<[u64; 2]> {
        let micros = |seconds: f64| whole::nearest(seconds * MICRO).and_then(|n| u64::try_from(n).ok()).unwrap_or(0);
        let (open, closed) = (pace.get() * shutter.fraction(), micros(pace.get() * (1.0 - shutter.fraction())));
        let mut opens = 0;
        let each = self.stops.iter().map(|k| {
            let exposure = [opens, opens + micros(open * exp2(*k)).max(1)];
            opens = exposure[1] + closed;
            exposure
        });
        each.collect()
    }
}

/// As messages and files state it: `frame 120 at -1, 0, 1 stops`.
impl core::fmt::Display for Wedge {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        let stops: Vec<String> = self.stops.iter().map(f64::to_string).collect();
        write!(f, "frame {} at {} stops", self.frame, stops.join(", "))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    #[test]
    fn a_stop_is_twice_as_long() {
        let wedge = Wedge::new(120, vec![-1.0, 0.0, 1.0, 0.5]).unwrap();
        let found = wedge.exposures(Pace::new(12.0).unwrap(), Shutter::new(180.0).unwrap());
        // 3, 6, 12 and 6 x sqrt 2 s, with 6 s of darkness between them.
        assert_eq!(found, [[0, 3_000_000], [9_000_000, 15_000_000], [21_000_000, 33_000_000], [39_000_000, 47_485_281]]);
    }

    #[test]
    fn no_exposure_is_without_time_and_none_is_endless() {
        let short = Wedge::new(1, vec![-10.0; 2]).unwrap().exposures(Pace::new(1e-3).unwrap(), Shutter::new(1e-3).unwrap());
        assert!(short.iter().all(|[a, b]| a < b));
        let most = Wedge::new(1, vec![10.0; MOST_WEDGE]).unwrap().exposures(Pace::new(86_400.0).unwrap(), Shutter::new(360.0).unwrap());
        assert!(most.last().unwrap()[1] < 1 << 53);
        for stops in [vec![], vec![0.0; MOST_WEDGE + 1], vec![f64::NAN], vec![10.1], vec![-11.0]] {
            assert!(Wedge::new(1, stops).is_err());
        }
    }
}
