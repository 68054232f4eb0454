//! The table of channels that are no axis, row by row against values worked out anew.
//!
//! Invariant: a value differs from the one worked out anew by no more than half of its last digit and what its axes may honestly be off; what no layer drives is compared too.

use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::oracle::Oracle;
use super::poses::start_of;
use super::table::{Table, fixed};
use crate::stage::{ChannelId, Stage};

/// Name of the file.
pub(super) const FILE: &str = "channels.csv";

/// Half of the last digit.
const HALF_DIGIT: f64 = 0.5e-6;

/// Rooms are followed to the first order.
const BEYOND_FIRST_ORDER: f64 = 1.05;

/// Rounding of a value at rest, as a share of it.
const ROUNDING: f64 = 1e-9;

/// The table being read.
pub(super) struct Channels<'a> {
    stage: &'a Stage,
    table: Option<Table>,
    channels: Vec<ChannelId>,
}

/// Every channel that a mechanism brings, in the order of the stage.
pub(super) fn of_mechanisms(stage: &Stage) -> Vec<ChannelId> {
    let brought: Vec<ChannelId> = stage.machines().iter().flat_map(|m| m.channels().iter().copied()).collect();
    stage.channel_names().iter().filter_map(|name| stage.channel(name)).filter(|c| brought.contains(c)).collect()
}

impl<'a> Channels<'a> {
    /// Opens the table.
    pub(super) fn open(dir: &Path, stage: &'a Stage, faults: &mut Faults) -> Channels<'a> {
        let channels = of_mechanisms(stage);
        let names: Vec<&str> = channels.iter().map(|c| stage.channel_name(*c)).collect();
        let header = format!("frame,timecode,{}", names.join(","));
        Channels { stage, table: Table::with_header(dir, FILE, channels.len() + 2, &header, faults), channels }
    }

    /// The row of a frame; after one that is not its own, the table is left.
    pub(super) fn frame(&mut self, oracle: &Oracle<'_>, frame: i64, label: &str, faults: &mut Faults) {
        let Some(table) = &mut self.table else { return };
        let begin = format!("{frame},{label},");
        let line = table.line().map(|l| l.map(str::to_owned));
        let cells: Option<Vec<String>> = match &line {
            Ok(Some(line)) => line.strip_prefix(&begin).map(|rest| rest.split(',').map(str::to_owned).collect()),
            _ => None,
        };
        let Some(cells) = cells.filter(|c| c.len() == self.channels.len()) else {
            let found = match line {
                Ok(Some(line)) => start_of(&line),
                Ok(None) => "the end".to_owned(),
                Err(what) => what,
            };
            faults.at(FaultKind::Rows, FILE, None, frame, || {
                format!("found `{found}`, expected `{begin}` and {} values", self.channels.len())
            });
            self.table = None;
            return;
        };
        let state = oracle.state(frame as f64);
        let rooms = oracle.rooms(&self.channels, &state);
        for (channel, cell) in self.channels.iter().zip(&cells) {
            let room = rooms.iter().find(|(c, _)| c == channel).map_or(f64::INFINITY, |(_, room)| *room);
            // At a dead centre a channel may be off by anything.
            if !room.is_finite() || !oracle.is_channel_known(*channel) {
                continue;
            }
            let expected = state.channel(*channel);
            let room = HALF_DIGIT + BEYOND_FIRST_ORDER * room + ROUNDING * expected.abs();
            if !fixed(cell, 6).is_some_and(|found| (found - expected).abs() <= room) {
                let (name, unit) = (self.stage.channel_name(*channel), self.stage.channel_unit(*channel));
                faults.at(FaultKind::Position, FILE, Some(name), frame, || {
                    format!("found {cell} {unit}, expected {expected:.6} {unit} within {room:.1e} {unit}")
                });
            }
        }
    }

    /// After the last frame nothing may follow.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        if let Some(table) = &mut self.table {
            table.end(FILE, faults);
        }
    }
}
