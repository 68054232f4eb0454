//! What a key that is being dragged does: the curves of the axes that follow it, and what they use of their limits in one pass.
//!
//! Invariant: figures are those that the whole check finds for these axes alone; nothing is written. Limits: axes of other groups that copy the key or aim at it follow when it is saved, and so
//! does everything that concerns several axes.

use serde::Serialize;

use super::curves::{AxisData, ChannelData, axis, channel_data};
use super::data::{OverData, escaped, thousandths};
use super::handle::{Handles, SeenFile};
use super::page_error::PageError;
use crate::check::one_axis::{OneAxis, one_axis};
use crate::check::{Limit, Peak};
use crate::compile::Compiled;
use crate::number::directed::{self, Places};
use crate::number::figures::distinct;
use crate::output::channels;
use crate::program::Program;
use crate::stage::{AxisId, ChannelId, Stage};

#[derive(Serialize)]
struct Tried {
    axes: Vec<AxisData>,
    /// Of the pass that was asked for, for each axis.
    usage: Vec<Vec<u32>>,
    over: Vec<OverData>,
    /// Peaks during exposures beside their limits, for each axis; empty where it is parked.
    limits: Vec<Vec<PeakData>>,
    /// The channel, where a mechanism turns it into axes.
    channels: Vec<ChannelData>,
}

#[derive(Serialize)]
struct PeakData {
    text: String,
    /// Thousandths of the limit.
    used: u32,
}

/// The curves and limits of the axes of one channel, as JSON.
///
/// # Errors
/// A pass that cannot be planned; a channel without a value at a frame.
pub(crate) fn tried(
    compiled: &Compiled,
    channel: ChannelId,
    axes: &[AxisId],
    pass: usize,
    files: Vec<SeenFile>,
) -> Result<String, PageError> {
    let program = Program::one(compiled, pass)?.ok_or(PageError::NoPass)?;
    let handles = Handles::new(compiled, files);
    let made = channels::of_mechanisms(compiled.stage());
    let mut all = Tried { axes: Vec::new(), usage: Vec::new(), over: Vec::new(), limits: Vec::new(), channels: Vec::new() };
    for id in axes {
        let one = one_axis(&program, *id);
        all.axes.push(axis(compiled, *id, &made, handles.as_ref()));
        all.usage.push(thousandths(&one.usage));
        all.over.extend(one.violations.iter().map(|v| OverData::of(compiled, v)));
        all.limits.push(limits(compiled.stage(), *id, &one));
    }
    if made.contains(&channel) {
        all.channels = channel_data(compiled, &[channel], handles.as_ref())?;
    }
    Ok(escaped(serde_json::to_string(&all)?))
}

fn limits(stage: &Stage, id: AxisId, one: &OneAxis) -> Vec<PeakData> {
    if one.report.parked {
        return Vec::new();
    }
    let unit = stage.axis(id).unit().symbol();
    let units = [format!("{unit}/s"), format!("{unit}/s2"), format!("{unit}/s3"), "steps/s".to_owned()];
    let rates = one.report.photographed.rates().into_iter().zip(&units);
    let peak = |((limit, peak), unit): ((Limit, &Peak), &String)| {
        let (used, (value, allowed)) = (peak.utilisation()?, distinct(peak.value, peak.limit?, ""));
        let (value, allowed) = (value.trim_end(), allowed.trim_end());
        let share = directed::up(100.0 * used.share(), Places::Decimals(1));
        let text = format!("{} {value} of {allowed} {unit}, {share} % of limit", limit.name().replace('_', " "));
        Some(PeakData { text, used: used.thousandths() })
    };
    rates.filter_map(peak).collect()
}
