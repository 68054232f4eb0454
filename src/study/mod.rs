//! A performer's recording: how few drives reproduce its motion, with what error.
//!
//! What: marker positions over time ([`Markers`]), less the rigid motion of a body ([`body`]), are split into drives: directions in which all markers move together, the largest first
//! ([`drives`]). Invariant: only rows without a gap enter; nothing is filled in. Numbers are rounded to a millionth of a mm or s where they leave, since the decomposition of the matrix library is
//! right to far less than that and its last digits depend on the processor.

pub(crate) mod beat;
pub(crate) mod body;
pub(crate) mod drives;
pub(crate) mod figure_fit;
pub(crate) mod hinge_fit;
pub(crate) mod hinges;
pub(crate) mod lags;
pub(crate) mod markers;
pub(crate) mod noise;
pub(crate) mod performance;
pub(crate) mod period;
mod plays;
pub(crate) mod rig;
pub(crate) mod rig_beat;

use crate::bounds::{self, Code, Flaw};
use crate::number::whole;
use drives::{Drives, Residual};
use hinges::Hinge;
use lags::Lag;
pub(crate) use markers::Markers;
use noise::Noise;
pub(crate) use plays::Plays;

/// What a recording needs.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Study {
    /// Indices of the complete rows.
    pub(crate) rows: Vec<usize>,
    /// The coordinates of these rows as seen from the body, one row after the other, mm.
    pub(crate) moving: Vec<f64>,
    /// Coordinates of a marker.
    pub(crate) dimensions: usize,
    /// Times of the complete rows, s.
    pub(crate) times: Vec<f64>,
    /// Length of one beat, s; `None` where the motion does not repeat, or where the rows have no even clock.
    pub(crate) period: Option<f64>,
    /// Drives that move more than the noise; `None` where too few rows follow each other for the noise to be known.
    pub(crate) rank: Option<usize>,
    /// What is left with one drive, two, and so on.
    pub(crate) residuals: Vec<Residual>,
    /// Directions and positions of the drives.
    pub(crate) drives: Drives,
    /// Pairs of drives that do the same, one later than the other.
    pub(crate) lags: Vec<Lag>,
    /// Axes about which markers turn.
    pub(crate) hinges: Vec<Hinge>,
}

impl Study {
    /// Studies a recording less the rigid motion of some of its markers, by their indices; none: nothing is removed.
    ///
    /// # Errors
    /// A body that has no place in space, or leaves no marker; more rows and markers than are computed.
    pub(crate) fn of(markers: &Markers, body: &[usize]) -> Result<Study, Flaw> {
        let coordinates = markers.coordinates();
        let rows = markers.complete();
        let work = rows.len().saturating_mul(coordinates).saturating_mul(coordinates);
        if work > bounds::MOST_STUDIED {
            return Err(Flaw::new(Code::BudgetExceeded, "", "the recording is too large")
                .found(
                    format!("{} complete rows of {coordinates} coordinates", rows.len()),
                    format!("rows x coordinates^2 at most {}", bounds::MOST_STUDIED),
                )
                .help("study fewer seconds, leave out markers, or keep every second row"));
        }
        let moving = body::without(markers, &rows, body)?;
        let drives = Drives::of(&moving, coordinates)?;
        let residuals = drives.residuals(&moving, markers.dimensions());
        let times: Vec<f64> = rows.iter().filter_map(|r| markers.times().get(*r).copied()).collect();
        let noise = Noise::of(&rows, markers.times());
        let rank = noise::rank(&drives, noise.as_ref());
        let clock = period::Clock::of(&times);
        let leading = rank.unwrap_or(usize::MAX).clamp(1, LEADING);
        let period = clock.as_ref().and_then(|clock| period::of(&drives, clock, leading));
        let lags = match (&clock, period) {
            (Some(clock), Some(period)) => lags::of(&drives, clock, rank.unwrap_or(1).min(LEADING), period),
            _ => Vec::new(),
        };
        let hinges = hinges::of(&moving, markers.dimensions(), markers.names().len(), body, noise.as_ref());
        Ok(Study { rows, moving, dimensions: markers.dimensions(), times, period, rank, residuals, drives, lags, hinges })
    }

    /// Drives that are worth describing: those that move more than the noise, or as many as a person reads.
    pub(crate) fn described(&self) -> usize {
        self.rank.unwrap_or(LEADING).min(2 * LEADING).min(self.drives.count())
    }

    /// The fewest drives that leave no marker farther off than `within` mm.
    pub(crate) fn needed(&self, within: f64) -> Option<usize> {
        self.residuals.iter().find(|r| r.worst <= within).map(|r| r.n)
    }
}

/// Drives that are looked at for the beat and for lags.
const LEADING: usize = 6;

/// Rounded to a millionth.
pub(crate) fn shown(x: f64) -> f64 {
    const MILLION: f64 = 1e6;
    whole::nearest(x * MILLION).map_or(x, |n| whole::real(n) / MILLION)
}
