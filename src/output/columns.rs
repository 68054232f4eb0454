//! The per-frame columns of a pass: integer steps, and units with six decimals.
//!
//! Form: header `frame,timecode,AXIS,...` in stage order, one row a frame that the pass exposes, the position at mid-exposure; LF, `.`, no quoting needed.
//! Invariant: each position is rounded once, from the curve, never a sum of rounded differences; parked axes stand at home.

use std::io::Write;

use super::decimals::decimals;
use crate::compile::{Compiled, frame_time};
use crate::motion::curve::Walk;
use crate::shot::Pass;
use crate::stage::Axis;

/// What the numbers of a table are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[non_exhaustive]
pub enum Column {
    /// Whole steps from home.
    Steps,
    /// Units of the axis (mm, deg), six decimals.
    Units,
}

/// Why a table could not be written.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ColumnError {
    /// The writer failed.
    #[error("the columns could not be written: {0}")]
    Csv(#[from] csv::Error),
    /// The writer failed at the end.
    #[error("the columns could not be written: {0}")]
    Io(#[from] std::io::Error),
    /// A curve has no value, or no step count below 2^53, at a frame.
    #[error("axis {axis} has no position at frame {frame} that fits a step count")]
    NoPosition {
        /// Full name.
        axis: String,
        /// Frame.
        frame: i64,
    },
}

/// Writes the table of one pass.
///
/// # Errors
/// A writer that fails; a position no count can hold.
pub(crate) fn write(out: impl Write, compiled: &Compiled, pass: &Pass, column: Column) -> Result<(), ColumnError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
    table.write_record(["frame", "timecode"].into_iter().chain(stage.axis_names().iter().map(String::as_str)))?;
    let mut axes: Vec<Reader<'_>> = stage
        .each_axis()
        .map(|(id, axis)| {
            let walk = (!pass.parks(stage, id)).then(|| Walk::new(compiled.motion(id).curve()));
            Reader { axis, name: stage.axis_name(id), walk }
        })
        .collect();
    let mut digits = itoa::Buffer::new();
    let mut text = String::new();
    let mut record = csv::ByteRecord::new();
    for frame in pass.exposed(shot.frames()).frames() {
        record.clear();
        record.push_field(digits.format(frame).as_bytes());
        text.clear();
        shot.timecode_start().after(frame - shot.frames().first()).append_to(&mut text);
        record.push_field(text.as_bytes());
        for axis in &mut axes {
            let position = axis.position(frame)?;
            match column {
                Column::Steps => record.push_field(digits.format(axis.count(frame, position)?).as_bytes()),
                Column::Units => {
                    decimals(&mut text, position, 6);
                    record.push_field(text.as_bytes());
                }
            }
        }
        table.write_byte_record(&record)?;
    }
    table.flush()?;
    Ok(())
}

struct Reader<'a> {
    axis: &'a Axis,
    name: &'a str,
    walk: Option<Walk<'a>>,
}

impl Reader<'_> {
    fn position(&mut self, frame: i64) -> Result<f64, ColumnError> {
        match &mut self.walk {
            None => Ok(self.axis.home()),
            Some(walk) => walk.at(frame_time(frame)).ok_or_else(|| ColumnError::NoPosition { axis: self.name.to_owned(), frame }),
        }
    }

    fn count(&self, frame: i64, position: f64) -> Result<i64, ColumnError> {
        self.axis.count(position).ok_or_else(|| ColumnError::NoPosition { axis: self.name.to_owned(), frame })
    }
}
