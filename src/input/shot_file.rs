//! The shot file.
//!
//! Invariant: a [`Shot`] comes out only where every part of it passed its constructor; what is missing because of a mistake is not called missing a second time.

use core::ops::Range;

use super::aim_tables;
use super::choices::{EXPOSURES, INTERVALS, SHAPINGS};
use super::copies;
use super::files::Read;
use super::focus_tables;
use super::haze_table;
use super::key_file::SampleClock;
use super::keys;
use super::layers::Layers;
use super::light_tables;
use super::log::Log;
use super::names::Names;
use super::reader::Table;
use super::retime_tables;
use super::routines::{self, Called};
use super::values::{self, TEXT};
use crate::bounds::{Code, FRAME, Flaw, MOST_PASSES};
use crate::number::whole;
use crate::shot::{Exposure, Interval, Pass, Shaping, Sheet, Shot, ShotSpec, Wedge};
use crate::time::{FrameRate, FrameSpan, Timecode};

/// Everything of the shot file but its `stage` line; `None` where a part is missing, and then something was recorded.
pub(super) fn read(log: &mut Log, root: &mut Table<'_>, names: &Names<'_>, read: Read<'_>) -> Option<Shot> {
    root.reject_unknown_keys(log, &keys::SHOT);
    let name = root.display_name(log);
    let rate = frame_rate(log, root);
    let frames = frames(log, root);
    let timecode_start = timecode(log, root, rate);
    let cycle_start = cycle_start(log, root);
    let clock = SampleClock {
        start: cycle_start.unwrap_or_else(|| frames.map_or(1.0, |f| whole::real(f.first()))),
        rate: rate.or_else(|| FrameRate::new(24, 1).ok())?,
    };
    let mut layers = Layers::new(names, read, clock);
    let (tracks, cycles, drifts) = (layers.tracks(log, root), layers.cycles(log, root), layers.drifts(log, root));
    let mut all = Called { tracks, cycles, drifts, recordings: core::mem::take(&mut layers.recordings) };
    routines::routines(log, root, names, &mut layers, &mut all);
    let Called { tracks, cycles, drifts, recordings } = all;
    let (copies, copy_headers): (Vec<_>, Vec<_>) = copies::copies(log, root, names, &layers.driven).into_iter().unzip();
    let (aims, aim_headers): (Vec<_>, Vec<_>) = aim_tables::aims(log, root, names).into_iter().unzip();
    let (focuses, focus_headers): (Vec<_>, Vec<_>) = focus_tables::focuses(log, root, names).into_iter().unzip();
    let (retimes, retime_headers): (Vec<_>, Vec<_>) = retime_tables::retimes(log, root, names).into_iter().unzip();
    let lighting = light_tables::lighting(log, root, names);
    let haze = haze_table::haze(log, root, names);
    let before = log.count();
    let (passes, pass_headers): (Vec<_>, Vec<_>) = passes(log, root, (names, frames)).into_iter().unzip();
    let some_pass_was_wrong = log.count() > before;
    // The checks of the shot as a whole do not look at rate, frames and timecode: placeholders for them are harmless here.
    let spec = ShotSpec {
        name: name.unwrap_or_default().to_owned(),
        frame_rate: rate.or_else(|| FrameRate::new(24, 1).ok())?,
        frames: frames.or_else(|| FrameSpan::new(1, 1).ok())?,
        timecode_start: timecode_start.or_else(|| FrameRate::new(24, 1).ok().map(|rate| Timecode::from_count(0, rate)))?,
        tracks,
        cycles,
        drifts,
        copies,
        passes,
    };
    match Shot::new(names.stage, spec).and_then(|shot| shot.with_recordings(recordings)) {
        Ok(shot) => {
            let with = shot.with_aims(names.stage, aims).map_err(|flaws| (flaws, aim_headers));
            let with = with.and_then(|shot| shot.with_focuses(names.stage, focuses).map_err(|flaws| (flaws, focus_headers)));
            let with = with.and_then(|shot| shot.with_retimes(names.stage, retimes).map_err(|flaws| (flaws, retime_headers)));
            let with = with.and_then(|shot| shot.with_lighting(lighting).map_err(|flaws| (flaws, pass_headers)));
            let with = with.map(|shot| shot.with_haze(haze));
            match (with, cycle_start) {
                // Its range was checked where it was read.
                (Ok(shot), Some(frame)) => shot.with_cycle_start(frame).ok(),
                (Ok(shot), None) => Some(shot),
                (Err((flaws, headers)), _) => {
                    for flaw in flaws {
                        let at = flaw.index.and_then(|i| headers.get(i)).cloned();
                        root.report_bytes(log, at.unwrap_or(0..0), flaw);
                    }
                    None
                }
            }
        }
        Err(flaws) => {
            for flaw in flaws.into_iter().filter(|f| (f.code, f.field.as_str()) != (Code::MissingKey, "pass") || !some_pass_was_wrong) {
                let headers: &[Range<usize>] = if flaw.field == "pass" { &pass_headers } else { &copy_headers };
                let at = flaw.index.and_then(|i| headers.get(i)).cloned();
                root.report_bytes(log, at.unwrap_or_else(|| root.bytes_of(&flaw.field, None)), flaw);
            }
            None
        }
    }
}

fn frame_rate(log: &mut Log, root: &mut Table<'_>) -> Option<FrameRate> {
    let text = root.need(log, "frame_rate", "text in quotes such as \"24\", \"23.976\" or \"30000/1001\"", values::text)?;
    match FrameRate::parse(text) {
        Ok(rate) => Some(rate),
        Err(error) => {
            root.report_at(log, "frame_rate", told(Code::InvalidFrameRate, "`frame_rate` is not a frame rate", &error.to_string()));
            None
        }
    }
}

fn frames(log: &mut Log, root: &mut Table<'_>) -> Option<FrameSpan> {
    let [first, last] = root.need(log, "frames", "two whole numbers, [first frame, last frame]", values::two_wholes)?;
    match FrameSpan::new(first, last) {
        Ok(span) => Some(span),
        Err(error) => {
            let flaw = told(Code::InvalidFrameSpan, "`frames` is not a valid range of frames", &error.to_string());
            let swapped = FrameSpan::new(last, first).is_ok();
            root.report_at(log, "frames", if swapped { flaw.help(format!("write `frames = [{last}, {first}]`")) } else { flaw });
            None
        }
    }
}

fn timecode(log: &mut Log, root: &mut Table<'_>, rate: Option<FrameRate>) -> Option<Timecode> {
    let text = root.take(log, "timecode_start", "text in quotes such as \"10:00:00:00\"", values::text);
    let rate = rate?;
    let Some(text) = text else { return Some(Timecode::from_count(0, rate)) };
    match Timecode::parse(text, rate) {
        Ok(timecode) => Some(timecode),
        Err(error) => {
            root.report_at(
                log,
                "timecode_start",
                told(Code::InvalidTimecode, "`timecode_start` is not a timecode of this frame rate", &error.to_string()),
            );
            None
        }
    }
}

fn cycle_start(log: &mut Log, root: &mut Table<'_>) -> Option<f64> {
    let frame = root.take(log, "cycle_start", "a number, a frame", values::number)?;
    match FRAME.check("cycle_start", frame) {
        Ok(frame) => Some(frame),
        Err(flaw) => {
            root.report_at(log, "cycle_start", flaw);
            None
        }
    }
}

/// Errors of `time` read "what: found this, allowed that".
fn told(code: Code, title: &str, message: &str) -> Flaw {
    let (found, allowed) = message.split_once(", allowed ").unwrap_or((message, ""));
    let found = found.split_once("found ").map_or(found, |(_, found)| found);
    Flaw::new(code, "", title).found(values::cut(found, 120), allowed)
}

fn passes(log: &mut Log, root: &mut Table<'_>, (names, frames): (&Names<'_>, Option<FrameSpan>)) -> Vec<(Pass, Range<usize>)> {
    let tables = root.tables(log, "pass", "pass");
    if tables.len() > MOST_PASSES {
        root.report_at(
            log,
            "pass",
            Flaw::new(Code::TooMany, "pass", "the shot has too many passes")
                .found(format!("{} passes", tables.len()), format!("1 to {MOST_PASSES} passes")),
        );
        return Vec::new();
    }
    tables.into_iter().filter_map(|table| pass(log, table, (names, frames))).collect()
}

fn pass(log: &mut Log, mut table: Table<'_>, (names, frames): (&Names<'_>, Option<FrameSpan>)) -> Option<(Pass, Range<usize>)> {
    table.reject_unknown_keys(log, &keys::PASS);
    let name = table.need(log, "name", TEXT, values::text);
    if let Some(name) = name {
        table.label = format!("pass {}", values::cut(name, 64));
    }
    let exposure = table.choice(log, "exposure", EXPOSURES, None);
    let pace = table.need(log, "seconds_per_frame", "a number, s", values::number).unwrap_or(1.0);
    let shutter = table.need(log, "shutter", "a number, degrees", values::number).unwrap_or(180.0);
    let settle = table.take(log, "settle", "a number, s", values::number).unwrap_or(0.0);
    let interval = table.choice(log, "interval", INTERVALS, Some(Interval::Frame));
    let every = table.take(log, "every", "a whole number, frames", values::whole);
    let wedge = wedge(log, &mut table);
    let shaping = table.choice(log, "shaping", SHAPINGS, Some(Shaping::None));
    let stop = table.take(log, "stop", "a number", values::number);
    let light = table.take(log, "light", TEXT, values::text);
    let change = table.take(log, "change_s", "a number, s", values::number).unwrap_or(0.0);
    let (filters, notes) = (table.take(log, "filters", TEXT, values::text), table.take(log, "notes", TEXT, values::text));
    let park = names.groups_at(log, &mut table, "park");
    match Pass::new(names.stage, name.unwrap_or("unnamed"), exposure.unwrap_or(Exposure::Held), pace, shutter, settle, park)
        .and_then(|pass| pass.with_stop(names.stage, stop))
        .and_then(|pass| pass.with_interval(interval.unwrap_or_default()))
        .and_then(|pass| pass.with_every(every, frames))
        .and_then(|pass| pass.with_wedge(wedge, frames))
        .and_then(|pass| pass.with_shaping(names.stage, shaping.unwrap_or_default()))
        .and_then(|pass| Sheet::new(change, filters, notes).map(|sheet| pass.with_sheet(sheet)))
    {
        Ok(pass) => Some((pass.under(light), table.header)),
        Err(flaws) => {
            table.flaws(log, flaws, &[]);
            None
        }
    }
}

fn wedge(log: &mut Log, pass: &mut Table<'_>) -> Option<Wedge> {
    let mut table = pass.table(log, "wedge", "a table, { frame = ..., stops = [...] }")?;
    table.reject_unknown_keys(log, &keys::WEDGE);
    let frame = table.need(log, "frame", "a whole number, a frame", values::whole);
    let stops = table.need(log, "stops", "a list of numbers, stops", values::numbers);
    match Wedge::new(frame?, stops?) {
        Ok(wedge) => Some(wedge),
        Err(flaws) => {
            table.flaws(log, flaws, &[]);
            None
        }
    }
}
