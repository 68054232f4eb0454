//! The channels that are no axis, frame by frame: what a figure is asked to do where mechanisms turn it into axes.
//!
//! Form: `channels.csv` with the header `frame,timecode,CHANNEL,...` in the order of the stage, one row a photographed frame, the value at mid-exposure in mm or deg with six
//! decimals; LF, `.`, no quoting needed. Invariant: values come back from the compiled curves, the ones that become steps, by each mechanism's forward kinematics.

use std::io::Write;

use super::decimals::decimals;
use crate::compile::Compiled;
use crate::compile::place::NoPose;
use crate::stage::{ChannelId, Stage};
use crate::time::FrameTime;

/// Why the table could not be written.
#[derive(Debug, thiserror::Error)]
pub(crate) enum ChannelError {
    /// The writer failed.
    #[error("the channels could not be written: {0}")]
    Csv(#[from] csv::Error),
    /// The writer failed at the end.
    #[error("the channels could not be written: {0}")]
    Io(#[from] std::io::Error),
    /// A mechanism has no pose for where its axes stand.
    #[error("the channels have no values at frame {frame}: {error}")]
    NoPose {
        /// Frame.
        frame: i64,
        /// Why.
        error: NoPose,
    },
}

/// Every channel that is no axis, in the order of the stage.
#[must_use]
pub(crate) fn of_mechanisms(stage: &Stage) -> Vec<ChannelId> {
    let all = stage.channel_names().iter().filter_map(|name| stage.channel(name));
    all.filter(|channel| stage.own_axis(*channel).is_none()).collect()
}

/// Writes the table.
///
/// # Errors
/// A writer that fails; a mechanism without a pose.
pub(crate) fn write(out: impl Write, compiled: &Compiled, channels: &[ChannelId]) -> Result<(), ChannelError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
    table.write_record(["frame", "timecode"].into_iter().chain(channels.iter().map(|c| stage.channel_name(*c))))?;
    let mut digits = itoa::Buffer::new();
    let (mut text, mut record) = (String::new(), csv::ByteRecord::new());
    for (row, frame) in (0_i64..).zip(shot.frames().frames()) {
        let values = compiled.channel_values_at(channels, FrameTime::of_frame(frame));
        record.clear();
        record.push_field(digits.format(frame).as_bytes());
        text.clear();
        shot.timecode_start().after(row).append_to(&mut text);
        record.push_field(text.as_bytes());
        for value in values.map_err(|error| ChannelError::NoPose { frame, error })? {
            decimals(&mut text, value, 6);
            record.push_field(text.as_bytes());
        }
        table.write_byte_record(&record)?;
    }
    table.flush()?;
    Ok(())
}
