//! The whole program of a pass as rows at a fixed rate: plain CSV for controllers that take positions by the clock.
//!
//! Form: header `t_s,AXIS,...` in stage order; row k at exactly k / rate seconds of stage time, from 0 to the first row that is not before the
//! end, where everything rests; integer steps. With velocities, columns `AXIS:steps_per_s` (three decimals) follow all positions, in the same order; with the
//! shutter, a column `shutter` follows, 1 while a frame is exposed; with the frame, a last column `frame`, the photographed frame while it is exposed and
//! empty otherwise. With the return home, rows go on from the end of the program until every axis rests at home. LF, `.`, no quoting needed.
//! Invariant: each count is `axis.count(position)` of its own instant, whatever the rate, the threads and the pieces of work; memory does not
//! grow with the length. Limits: 1e6 rows per second, 1e12 rows.

mod extent;
pub(crate) mod format;
pub(crate) mod interpolation;
mod rate;
mod sampler;
mod table;
mod tracks;

pub(crate) use extent::Extent;
pub(crate) use rate::RowRate;
pub(crate) use table::Table;
pub(crate) use tracks::Tracks;

use crate::bounds::ROW_RATE;
use crate::program::Leg;

/// Why rows were not written.
#[derive(Debug, thiserror::Error)]
pub(crate) enum RowsError {
    /// A rate that is not allowed.
    #[error("`{found}` is not a row rate; allowed: {ROW_RATE}, written as 1000, 12.5 or 30000/1001")]
    Rate {
        /// The rate asked for.
        found: String,
    },
    /// Too many rows.
    #[error("the program would have {rows:.0} rows; at most {most:.0} are written: choose a lower rate")]
    TooMany {
        /// About how many.
        rows: f64,
        /// Most.
        most: f64,
    },
    /// More rows x axes than are written without being asked for.
    #[error(
        "the program would have {rows} rows of {axes} axes; at most {most} counts are written: choose a lower rate, or add --large if this is intended"
    )]
    TooLarge {
        /// Rows.
        rows: u64,
        /// Axes.
        axes: usize,
        /// Most rows x axes.
        most: u64,
    },
    /// A move of a held pass that is longer than the time there is for it.
    #[error("axis {axis} needs {seconds} s from frame {from} to the next, and has {available} s between exposures")]
    DoesNotFit {
        /// Full name.
        axis: String,
        /// Frame it leaves.
        from: i64,
        /// Seconds it takes.
        seconds: f64,
        /// Seconds there are.
        available: f64,
    },
    /// A move to start or a return home on which something comes too near: no controller is to be fed with it.
    #[error("pass {pass}: something comes too close on the {} (see the notes of `check`); no rows are written", name(*leg))]
    TooNear {
        /// The pass.
        pass: String,
        /// The leg.
        leg: Leg,
    },
    /// No position, no count below 2^53, or no velocity below 2^51 thousandths of a step per second.
    #[error("axis {axis} has no position and velocity at {seconds} s that fit step counts")]
    NoPosition {
        /// Full name.
        axis: String,
        /// Stage time.
        seconds: f64,
    },
    /// The writer failed.
    #[error("the rows could not be written: {0}")]
    Io(#[from] std::io::Error),
}

/// A leg in a sentence.
fn name(leg: Leg) -> &'static str {
    match leg {
        Leg::MoveToStart => "move to start",
        Leg::ReturnHome => "return home",
    }
}
