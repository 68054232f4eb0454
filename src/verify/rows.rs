//! The rows of a pass's program, every one: its form, its second, its shutter, and the step on which every axis is.
//!
//! What: row k is at k / rate. Each count is the rounding of a position worked out anew: on the move to start and the moves between stations by a law of its own
//! ([`Law`](super::law::Law)), in run-up and run-down by the move of least jerk ([`Edge`](super::edge::Edge)), in the photographed span by the evaluation of the shot. Where the
//! folder says that it is within limits, differences of neighbouring rows are compared with the axis's limits as well.
//! Invariant: memory is that of two lines. Tolerance: half a step for rounding, the floor of the evaluation, and what fit and times of legs leave open.

use std::collections::BTreeSet;
use std::path::Path;

use super::between::Between;
use super::columns::Against;
use super::edge::{About, Side};
use super::exposed::{self, frames_run};
use super::fault::{FaultKind, Faults};
use super::limits::History;
use super::openings::Openings;
use super::oracle::{Oracle, steps, steps_per_unit};
use super::record::{PartRecord, PassRecord, Record, RowsRecord};
use super::recorded;
use super::row_clock::RowClock;
use super::stations::Stations;
use super::table::{Table, whole};
use super::timeline::{Departures, Timeline};
use crate::shot::{Exposure, Interval, Pass};
use crate::time::FrameSpan;

/// Reads the rows of every pass that has some.
pub(super) fn check(what: Against<'_>, dir: &Path, there: &BTreeSet<String>, record: &Record, faults: &mut Faults) {
    let mut departures = None;
    for (p, pass) in record.passes.iter().zip(what.shot.passes()) {
        let Some(rows) = &p.rows else { continue };
        let file = format!("{}.rows.csv", pass.name());
        // A file of another name is said elsewhere; opened only where it is a listed file below the folder.
        if !there.contains(&file) {
            continue;
        }
        let runs = (record.clock.run_up_frames, record.clock.run_down_frames);
        let folder = Folder { dir, there, p, rows };
        let checked = match &rows.part {
            None => folder.check(what, pass, runs, departures.get_or_insert_with(|| Departures::of(&what)), faults),
            Some(part) => folder.check_part(what, record, (pass, part), faults),
        };
        if let Err(what) = checked {
            faults.file(FaultKind::Rows, &file, what);
        }
    }
}

/// Where the rows of a pass are, and what the manifest says of them.
struct Folder<'f> {
    dir: &'f Path,
    there: &'f BTreeSet<String>,
    p: &'f PassRecord,
    rows: &'f RowsRecord,
}

impl Folder<'_> {
    /// The rows of a program; the error is what cannot be read, or does not agree with the manifest, as a whole.
    fn check(
        &self,
        what: Against<'_>,
        pass: &Pass,
        of_all: (u32, u32),
        departures: &Departures,
        faults: &mut Faults,
    ) -> Result<(), String> {
        let (rows, file) = (self.rows, format!("{}.rows.csv", pass.name()));
        let runs = if pass.exposure() == Exposure::Held { (0, 0) } else { of_all };
        let table = Table::open(&self.dir.join(&file), what.stage.axes().len() + 1).map_err(|e| format!("cannot be read: {e}"))?;
        let moves = self.dir.join(format!("{}.moves.csv", pass.name()));
        let openings = openings(&what, pass, self.p, rows, &moves)?;
        let (clock, begin) = clock(&what, pass, rows, runs, openings.as_ref())?;
        let timeline = Timeline::new(&what, pass, of_all, departures);
        if !timeline.may_take(begin) {
            let seconds = timeline.seconds();
            return Err(format!("the manifest has a move to start of {begin} s, expected {seconds} s"));
        }
        let known = self.there.contains(&format!("{}.moves.csv", pass.name()));
        let times = known.then(|| Table::open(&moves, 5).ok()).flatten();
        Rows::new(what, &timeline, rows, clock, begin, (times, openings)).read(table, &file, faults)
    }

    /// The rows of some frames of a pass: those of the same choreography over these frames alone.
    fn check_part(
        &self,
        what: Against<'_>,
        record: &Record,
        (pass, part): (&Pass, &PartRecord),
        faults: &mut Faults,
    ) -> Result<(), String> {
        let (first, last) = (part.first_frame, part.last_frame);
        let wrong = || format!("the manifest has frames {first} to {last}, which pass {} does not expose", pass.name());
        let span = FrameSpan::new(first, last).ok().filter(|_| [first, last].iter().all(|n| exposed::exposes(what.shot, pass, *n)));
        let shot = what.shot.of_frames(what.stage, span.ok_or_else(wrong)?, pass.clone()).map_err(|_| wrong())?;
        // What is wrong with recordings was said of the whole shot.
        let curves = recorded::check(record, what.stage, what.shot, &mut Faults::default());
        let oracle = Oracle::new(what.stage, &shot, curves)?;
        let what = Against { shot: &shot, oracle: &oracle, ..what };
        let pass = shot.passes().first().ok_or_else(wrong)?;
        self.check(what, pass, (part.run_up_frames, part.run_down_frames), &Departures::of(&what), faults)
    }
}

/// The openings that the table of moves of a pass states, where each frame takes only as long as it needs.
fn openings(what: &Against<'_>, pass: &Pass, p: &PassRecord, rows: &RowsRecord, moves: &Path) -> Result<Option<Openings>, String> {
    if pass.interval() != Interval::Shortest {
        return Ok(None);
    }
    let frames = usize::try_from(frames_run(what.shot, pass)).unwrap_or(usize::MAX);
    let wedge = exposed::wedge(pass);
    let once = pass.pace().get() * pass.shutter().degrees() / 360.0;
    let exposure = wedge.last().map_or(once, |[_, closes]| *closes as f64 / 1e6);
    if let Some(part) = &rows.part {
        let (begin, duration) = (rows.move_to_start_s, rows.duration_s - rows.move_to_start_s);
        let openings = Openings::of(&part.opens_s, frames, [begin, duration, exposure])?;
        return Ok(Some(openings.with_wedge(&wedge)));
    }
    let (first, begin) =
        p.first_opening_s.zip(p.move_to_start_s).ok_or("the manifest does not state when the shutter opens on the first frame")?;
    let mut table = Table::open(moves, 5).map_err(|e| format!("the table of moves cannot be read: {e}"))?;
    Openings::read(&mut table, frames, [first, begin, p.duration_s, exposure]).map(|openings| Some(openings.with_wedge(&wedge)))
}

/// Instants that one product and one sum give differ by this share of them, no more.
const LAST_BITS: f64 = 1e-12;

/// The clock that the manifest states, and the seconds of the move to start; what it says of the program's length must agree with the shot.
fn clock(
    what: &Against<'_>,
    pass: &Pass,
    rows: &RowsRecord,
    runs: (u32, u32),
    openings: Option<&Openings>,
) -> Result<(RowClock, f64), String> {
    let pace = pass.pace().get();
    let begin = whole_seconds(rows.move_to_start_s)
        .ok_or_else(|| format!("the manifest has a move to start of {} s, which is no whole number of seconds", rows.move_to_start_s))?;
    let frames = frames_run(what.shot, pass) + u64::from(runs.0) + u64::from(runs.1);
    let clock = RowClock::new(&rows.rate, begin, frames, pace)
        .and_then(|clock| openings.map_or(Some(clock), |o| clock.ending(begin, o.end_micros())))
        .ok_or_else(|| format!("the manifest has `{}` rows per second, which is no rate", rows.rate))?;
    let open = pass.shutter().degrees() / 360.0;
    let evenly = (f64::from(runs.0) + 0.5 - 0.5 * open) * pace;
    let opening = rows.move_to_start_s + openings.map_or(evenly, Openings::first);
    for (name, found, expected) in [
        ("rate_hz", rows.rate_hz, clock.hz()),
        ("duration_s", rows.duration_s, clock.end()),
        ("first_opening_s", rows.first_opening_s, opening),
    ] {
        if !((found - expected).abs() <= LAST_BITS * expected) {
            return Err(format!("the manifest has {name} {found}, expected {expected}"));
        }
    }
    let last = rows.rows.checked_sub(1).filter(|last| clock.is_over(*last) && (*last == 0 || !clock.is_over(last - 1)));
    if last.is_none() {
        return Err(format!(
            "the manifest has {} rows at {} per second; the last one must be the first that is not before the end, {} s",
            rows.rows,
            rows.rate,
            clock.end()
        ));
    }
    Ok((clock, rows.move_to_start_s))
}

struct Rows<'a> {
    what: Against<'a>,
    timeline: &'a Timeline<'a>,
    rows: u64,
    clock: RowClock,
    /// Seconds of the move to start.
    begin: f64,
    between: Between<'a>,
    stations: Stations<'a>,
    history: Vec<History>,
    /// Of each axis, the ways to its start that are still possible.
    ways: Vec<Vec<bool>>,
    /// A frame, and how far each axis may be off around it: [`Oracle::floor`](super::oracle::Oracle::floor), steps.
    floors: Option<(i64, Vec<f64>)>,
    /// What a row's counts should be: steps and how far they may be off, beside rounding.
    expected: Vec<(f64, f64)>,
}

impl<'a> Rows<'a> {
    fn new(
        what: Against<'a>,
        timeline: &'a Timeline<'a>,
        rows: &RowsRecord,
        clock: RowClock,
        begin: f64,
        (times, openings): (Option<Table>, Option<Openings>),
    ) -> Rows<'a> {
        let (hz, pace) = (clock.hz(), timeline.pass.pace().get());
        Rows {
            what,
            timeline,
            rows: rows.rows,
            clock,
            begin,
            between: Between::new(what, 1.0 / hz / pace),
            stations: Stations::new(what, timeline.pass, times, openings),
            history: what.stage.axes().iter().map(|a| History::new(a, 1.0 / hz)).collect(),
            ways: timeline.tracks.iter().map(|t| vec![true; t.ways.len()]).collect(),
            floors: None,
            expected: Vec::new(),
        }
    }

    /// Reads the table; the error is a row of another form, after which nothing is read.
    fn read(&mut self, mut table: Table, file: &str, faults: &mut Faults) -> Result<(), String> {
        let mut header = String::from("t_s");
        for name in self.what.stage.axis_names() {
            header.push(',');
            header.push_str(name);
        }
        header.push_str(",shutter");
        if table.line()? != Some(header.as_str()) {
            return Err("the header is not `t_s`, the stage's axes in order, `shutter`".to_owned());
        }
        let mut counts: Vec<i64> = Vec::new();
        for row in 0..self.rows {
            let t = self.clock.seconds(row);
            let line = table.line()?.ok_or_else(|| format!("ends before row {row}"))?;
            let shutter = self.cells(line, row, t, &mut counts)?;
            self.shutter(shutter, row, t, file, faults);
            self.at(if self.clock.is_over(row) { self.clock.end() } else { t }, &counts);
            self.compare(row, t, &counts, file, faults);
        }
        match table.line()? {
            None => Ok(()),
            Some(_) => Err(format!("goes on after row {}", self.rows.saturating_sub(1))),
        }
    }

    /// The counts of a row, and the shutter.
    fn cells(&self, line: &str, row: u64, t: f64, counts: &mut Vec<i64>) -> Result<i64, String> {
        let mut cells = line.split(',');
        let second = cells.next().unwrap_or_default();
        let at = second.parse::<f64>().unwrap_or(f64::NAN);
        let allowed = if self.clock.is_exact(row) { 0.0 } else { 1e-15 * t };
        if !((at - t).abs() <= allowed) {
            return Err(format!("row {row} is at `{second}` s, expected {t}"));
        }
        counts.clear();
        for cell in cells {
            counts.push(whole(cell).ok_or_else(|| format!("row {row} holds what is no whole number"))?);
        }
        match counts.pop() {
            Some(shutter @ (0 | 1)) if counts.len() == self.what.stage.axes().len() => Ok(shutter),
            _ => Err(format!("row {row} has not one step for every axis and the shutter as 0 or 1")),
        }
    }

    /// Frame time at a second of the program, up to its end.
    fn frame_time(&self, t: f64) -> f64 {
        let (from, to) = self.what.shot.frames().photographed();
        let [up, down] = self.timeline.runs;
        (from - up + (t - self.begin) / self.timeline.pass.pace().get()).min(to + down)
    }

    /// The column is 1 from the trigger of a frame, which comes before its opening by the camera's latency, to just before its closing.
    fn shutter(&self, found: i64, row: u64, t: f64, file: &str, faults: &mut Faults) {
        let latency = self.what.stage.camera_timing().latency;
        let open = match (self.is_open(t), if latency > 0.0 { self.is_open(t + latency) } else { Some(false) }) {
            (Some(true), _) | (_, Some(true)) => Some(true),
            (Some(false), Some(false)) => Some(false),
            _ => None,
        };
        self.is_said_open(found, open, (row, t), file, faults);
    }

    /// True from the opening of a frame to just before its closing; `None` for an instant that is one of these to the last bits.
    fn is_open(&self, t: f64) -> Option<bool> {
        if let Some(openings) = self.stations.openings() {
            return openings.is_open(t - self.begin, LAST_BITS * t.max(1.0));
        }
        let (frames, pass) = (self.what.shot.frames(), self.timeline.pass);
        let x = self.frame_time(t);
        let (frame, half) = (super::dense::nearest_frame(x), 0.5 * pass.shutter().degrees() / 360.0);
        let since = x - frame as f64;
        let near = |edge: f64| (since - edge).abs() <= LAST_BITS * (t + x.abs());
        // With a whole turn of the shutter one exposure closes as the next one opens.
        let is_edge = near(half) || near(-half) || (near(-0.5) || near(0.5)) && half >= 0.5;
        let number = frame - frames.first();
        let exposes = match pass.exposure() {
            // One frame of the clock for each exposure.
            Exposure::Held => 0 <= number && number <= self.stations.moves(),
            Exposure::Moving => exposed::exposes(self.what.shot, pass, frame),
        };
        (!is_edge).then_some(self.begin <= t && exposes && -half <= since && since < half)
    }

    /// The shutter of a row, where it is certain.
    fn is_said_open(&self, found: i64, open: Option<bool>, (row, t): (u64, f64), file: &str, faults: &mut Faults) {
        let Some(open) = open else { return };
        if (found == 1) != open {
            faults.place(FaultKind::Rows, file, Some("shutter"), None, || {
                format!("row {row}, {t} s: the shutter is {found}, expected {}", i64::from(open))
            });
        }
    }

    /// Works out where every axis is at a second of the program. The counts choose between ways that may both be right.
    fn at(&mut self, t: f64, counts: &[i64]) {
        self.expected.clear();
        let (axes, pass) = (self.what.stage.axes(), self.timeline.pass);
        let in_steps =
            |i: usize, about: About| axes.get(i).map_or((f64::NAN, 0.0), |a| (steps(a, about.value), about.room * steps_per_unit(a)));
        if t < self.begin {
            for (i, (track, open)) in self.timeline.tracks.iter().zip(&mut self.ways).enumerate() {
                let count = counts.get(i).copied().unwrap_or(0) as f64;
                let all: Vec<(f64, f64)> = self.timeline.on_the_way(track, t).map(|a| in_steps(i, a)).collect();
                let fits = |(expected, room): &(f64, f64)| (count - expected).abs() <= 0.5 + ROOM + room;
                let fitting: Vec<bool> = all.iter().zip(open.iter()).map(|(place, open)| *open && fits(place)).collect();
                let nearest = all.iter().zip(open.iter()).filter(|(_, open)| **open).map(|(place, _)| *place);
                let nearest = nearest.reduce(|a, b| if (count - b.0).abs() - b.1 < (count - a.0).abs() - a.1 { b } else { a });
                if fitting.contains(&true) {
                    *open = fitting;
                }
                self.expected.push(nearest.unwrap_or((0.0, 0.0)));
            }
            return;
        }
        if pass.exposure() == Exposure::Held {
            for (i, about) in self.stations.at(t - self.begin).iter().enumerate() {
                self.expected.push(in_steps(i, *about));
            }
            return;
        }
        let (from, to) = self.what.shot.frames().photographed();
        let x = self.frame_time(t);
        let [up, down] = self.timeline.runs;
        let run = if x < from {
            Some((Side::Start, up, 1.0 - (from - x) / up))
        } else if x > to {
            Some((Side::End, down, 1.0 - (x - to) / down))
        } else {
            None
        };
        match run {
            Some((side, frames, u)) => {
                for (i, track) in self.timeline.tracks.iter().enumerate() {
                    let edge = track.edges.as_ref().map(|[a, b]| if side == Side::Start { a } else { b });
                    self.expected.push(in_steps(i, edge.map_or(track.start, |e| e.run(side, frames, u).position)));
                }
            }
            None => {
                let frame = super::dense::nearest_frame(x);
                let floors = match &mut self.floors {
                    Some((known, floors)) if *known == frame => floors,
                    slot => {
                        let state = self.what.oracle.state(frame as f64);
                        let floors = self.what.stage.axis_ids().map(|id| self.what.oracle.floor(id, &state)).collect();
                        &mut slot.insert((frame, floors)).1
                    }
                };
                let places = self.between.at(x);
                let axes = self.what.stage.each_axis().zip(places).zip(floors.iter());
                for (i, (((id, axis), (position, room)), floor)) in axes.enumerate() {
                    let parked = pass.parks(self.what.stage, id);
                    let about = if parked { About { value: axis.home(), room: 0.0 } } else { About { value: *position, room: *room } };
                    let (expected, room) = in_steps(i, about);
                    self.expected.push((expected, room + if parked { 0.0 } else { *floor }));
                }
            }
        }
    }

    /// The counts against what was worked out, and against those of the rows before.
    fn compare(&mut self, row: u64, t: f64, counts: &[i64], file: &str, faults: &mut Faults) {
        let after = if self.clock.is_over(row) { ", after the end" } else { "" };
        let axes = self.what.stage.axis_ids().zip(self.what.stage.axis_names());
        for (((id, name), count), ((expected, room), history)) in axes.zip(counts).zip(self.expected.iter().zip(&mut self.history)) {
            if !self.what.oracle.is_known(id) && !self.timeline.pass.parks(self.what.stage, id) {
                continue;
            }
            if !((*count as f64 - expected).abs() <= 0.5 + ROOM + room) {
                faults.place(FaultKind::Rows, file, Some(name), None, || {
                    let room = if *room >= 0.01 { format!(", give or take {room:.2}") } else { String::new() };
                    format!("row {row}, {t} s{after}: on step {count}, expected {expected:.3} rounded{room}")
                });
            }
            if self.what.within_limits
                && let Some(what) = history.next(*count)
            {
                faults.place(FaultKind::Rows, file, Some(name), None, || format!("row {row}, {t} s{after}: {what}"));
            }
        }
    }
}

/// Rounding of two ways to one position, steps, beside what is carried along as room.
const ROOM: f64 = 1e-6;

/// A number of seconds that the manifest states as a whole number.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked to be whole and below 2^53")]
fn whole_seconds(s: f64) -> Option<u64> {
    ((0.0..=9_007_199_254_740_992.0).contains(&s) && s.floor() == s).then_some(s as u64)
}
