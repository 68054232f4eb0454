//! What the figures sweep in the picture, row by row against outlines seen anew.
//!
//! What: no corner may reach farther than the proxy sweeps ([`super::sweep`]); along every side of the outline, and in sixteen directions more, the sweep may reach no farther than
//! the margin beyond it. On a distorted plate the corners are compared undistorted and distorted anew, the sweep by touching points of balls along the capsules.
//! Invariant: shares no formula with the outlines that were written, which are hulls of points round the circles of touch.
//! Limits: the margin is held between bounds, not recomputed to its digit; where it is not certain what the near plane or the reach of the distortion cuts away, only what is
//! certain is compared.

use std::collections::BTreeSet;
use std::path::Path;
use std::rc::Rc;

use super::fault::{FaultKind, Faults};
use super::oracle::{Oracle, State};
use super::parts::{Figure, part_name};
use super::picture::{Pixel, View, apart, may_be, turned};
use super::posed::{Posed, focus, shifted};
use super::poses::start_of;
use super::sweep::{Held, Sweep, bow, ways};
use super::table::{Table, fixed};
use crate::mechanism::Lens;
use crate::shot::{Exposure, Pass};
use crate::stage::{Body, ChannelId, Stage};

/// Spaces between the instants at which an exposure is looked at.
const PARTS: u32 = 8;

/// Half of the last digit of pixels.
const HALF_DIGIT: f64 = 0.05;

/// The least margin: corners left out, half of the last digit both ways.
const LEAST_MARGIN: f64 = 0.5 + 0.07;

/// The same with what polygons of fewer than 64 points may be off, and rounded up to its digit.
const USUAL_MARGIN: f64 = 0.5 + 0.08 + 0.25 + 0.1;

/// What a polygon of 64 points may be off, as a share of half of its size: 1 - cos(1/128 turn), twice for a size that was taken too great.
const OF_THE_SIZE: f64 = 2.0 * 0.001_205;

/// A point of the outline may bend more over time than how far it reaches in the directions looked at; points at the side turn about the ball.
const BENDS: f64 = 3.0;

/// Longest row, in cells of the longest.
const COLUMNS: usize = 2000;

/// The silhouettes of one pass.
pub(super) struct Silhouettes<'a> {
    stage: &'a Stage,
    pass: &'a Pass,
    name: String,
    table: Option<Table>,
}

impl<'a> Silhouettes<'a> {
    /// Opens the table where it is there.
    pub(super) fn open(dir: &Path, there: &BTreeSet<String>, stage: &'a Stage, pass: &'a Pass, faults: &mut Faults) -> Silhouettes<'a> {
        let name = format!("{}.silhouettes.csv", pass.name());
        let header = "frame,camera,body,proxy,margin,cut,state,outline,undistorted";
        let table = there.contains(&name).then(|| Table::with_header(dir, &name, COLUMNS, header, faults)).flatten();
        Silhouettes { stage, pass, name, table }
    }

    /// The rows of a frame; after one that is not its own, the table is left.
    pub(super) fn frame(&mut self, oracle: &Oracle<'_>, (frame, shown): (i64, i64), faults: &mut Faults) {
        if self.table.is_none() {
            return;
        }
        let middle = frame as f64;
        let instants: Vec<Rc<State>> = match self.pass.exposure() {
            Exposure::Held => vec![oracle.state(middle)],
            Exposure::Moving => {
                let open = self.pass.shutter().degrees() / 360.0;
                (0..=PARTS).map(|k| oracle.state(middle + open * (f64::from(k) / f64::from(PARTS) - 0.5))).collect()
            }
        };
        let stage = self.stage;
        let figures = stage.bodies().iter().filter(|b| is_shown(b));
        let figures: Vec<(&Body, Vec<Held>)> = figures.map(|b| (b, self.held(oracle, b, &instants))).collect();
        for camera in stage.bodies() {
            let Some(lens) = camera.lens() else { continue };
            let focused = |state: &Rc<State>| View::of(lens, focus(oracle, stage, Some(self.pass), camera, state));
            let views: Vec<View<'_>> = instants.iter().map(focused).collect();
            let posed =
                |(i, state): (usize, &Rc<State>)| Posed::of(oracle, stage, Some(self.pass), camera, state, is_looked_at(i, instants.len()));
            let stands: Vec<Posed> = instants.iter().enumerate().map(posed).collect();
            let group = stage.group_name(camera.group());
            for (figure, held) in &figures {
                let known = stands.iter().all(|p| p.known) && held.iter().all(|h| h.known);
                for (i, solid) in figure.shown().iter().enumerate() {
                    let part = part_name(stage, figure, solid.ends[0].place);
                    let begin = format!("{shown},{group},{part},{},", i + 1);
                    let sweep = known.then(|| Sweep::of(&views, &stands, held, i, solid.radius));
                    if !self.row((frame, &part), &begin, lens, sweep.as_ref(), faults) {
                        return;
                    }
                }
            }
        }
    }

    /// Reads a row; false where the table is left.
    fn row(&mut self, (frame, part): (i64, &str), begin: &str, lens: &Lens, sweep: Option<&Sweep<'_>>, faults: &mut Faults) -> bool {
        let Some(table) = &mut self.table else { return false };
        let read = table.line();
        let result = match &read {
            Ok(Some(line)) => line.strip_prefix(begin).ok_or(*line).map(|rest| cells(rest, lens, sweep)),
            Ok(None) => Err("the end"),
            Err(what) => Err(what.as_str()),
        };
        match result {
            Ok(None) => true,
            Ok(Some(what)) => {
                faults.at(FaultKind::HandOff, &self.name, Some(part), frame, || what);
                true
            }
            Err(found) => {
                let found = start_of(found);
                faults.at(FaultKind::Rows, &self.name, Some(part), frame, || format!("found `{found}`, expected `{begin}`"));
                self.table = None;
                false
            }
        }
    }

    /// The ends of every proxy at every instant; how far they may be off at the first, the middle and the last.
    fn held(&self, oracle: &Oracle<'_>, body: &Body, instants: &[Rc<State>]) -> Vec<Held> {
        let all = |value: &dyn Fn(ChannelId) -> f64| {
            let figure = Figure::of(body, value);
            body.shown().iter().map(|s| s.ends.map(|hold| figure.out(&hold))).collect::<Vec<_>>()
        };
        let held = |(i, state): (usize, &Rc<State>)| {
            let what = (oracle, self.stage, Some(self.pass));
            let (ends, moved, known) = shifted(what, body, state, is_looked_at(i, instants.len()), &all);
            Held { ends, moved, known }
        };
        instants.iter().enumerate().map(held).collect()
    }

    /// After the last frame nothing may follow.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        if let Some(table) = &mut self.table {
            table.end(&self.name, faults);
        }
    }
}

/// True for a figure that has rows.
pub(super) fn is_shown(body: &Body) -> bool {
    body.lens().is_none() && !body.shown().is_empty()
}

fn is_looked_at(i: usize, all: usize) -> bool {
    [0, all / 2, all.saturating_sub(1)].contains(&i)
}

/// What does not hold in the rest of a row; without a sweep its form alone is read.
fn cells(rest: &str, lens: &Lens, sweep: Option<&Sweep<'_>>) -> Option<String> {
    let shown: Vec<&str> = rest.split(',').collect();
    let [margin, cut, state, outline, undistorted] = shown.as_slice() else {
        return Some(format!("found `{}`, expected five cells after the proxy", start_of(rest)));
    };
    let is_plain = lens.distortion().is_none();
    let (Some(found), Some(beside)) = (corners(outline), corners(undistorted)) else {
        return Some("an outline is not pairs of numbers with one decimal".to_owned());
    };
    if beside.len() != if is_plain { 0 } else { found.len() } {
        return Some(format!("found {} undistorted corners beside {}", beside.len(), found.len()));
    }
    let found_margin = fixed(margin, 1);
    if found.is_empty() != margin.is_empty() || (found_margin.is_none() && !margin.is_empty()) || !matches!(*cut, "" | "some") {
        return Some(format!("found margin `{margin}` and cut `{cut}` with {} corners", found.len()));
    }
    let sweep = sweep.filter(|s| s.seen.iter().all(|seen| seen.certain))?;
    let beyond = sweep.is_beyond();
    let nothing = sweep.seen.iter().all(|s| s.ends.is_none());
    let behind_cut = sweep.seen.iter().any(|s| s.is_cut);
    let Some(found_margin) = found_margin else {
        // Nothing is seen of it: behind the near plane, or beyond the distortion.
        let expected = if nothing { "behind_camera" } else { "beyond_distortion" };
        let may_be_empty = nothing || beyond != Some(false);
        return (!may_be_empty || *state != expected || cut.is_empty())
            .then(|| format!("found an empty outline, `{state}`, expected {}", if nothing { expected } else { "corners" }));
    };
    if nothing {
        return Some(format!("found {} corners of what is not to be seen", found.len()));
    }
    let cut_for_certain = behind_cut || beyond == Some(true);
    if (beyond.is_some() || cut_for_certain) && (*cut == "some") != cut_for_certain {
        return Some(format!("found cut `{cut}`, expected `{}`", if cut_for_certain { "some" } else { "" }));
    }
    let of_cut = *cut == "some" && *state == "part_in_picture";
    let said = if of_cut { &["in_picture", "part_in_picture"] as &[&str] } else { &[*state] };
    if (*cut == "some" && *state == "in_picture") || !said.iter().any(|s| may_be(lens, &found, found_margin, 4.0 * HALF_DIGIT, s)) {
        return Some(format!("found `{state}`, where the corners are not"));
    }
    shape(lens, sweep, &found, &beside, found_margin, beyond == Some(false))
}

/// What does not hold in an outline.
fn shape(lens: &Lens, sweep: &Sweep<'_>, found: &[Pixel], beside: &[Pixel], margin: f64, all_within: bool) -> Option<String> {
    let is_plain = lens.distortion().is_none();
    let round = || found.iter().zip(found.iter().cycle().skip(1)).zip(found.iter().cycle().skip(2)).take(found.len());
    if found.len() > 2 && round().any(|((a, b), c)| !(turned(*a, *b, *c) >= -4.0 * HALF_DIGIT * (apart(*a, *b) + apart(*b, *c) + 1.0))) {
        return Some("the corners are not in order round the outline".to_owned());
    }
    // Out of each side, and out of each corner: half way between its sides.
    let sides: Vec<Pixel> = found.iter().zip(found.iter().cycle().skip(1)).filter_map(|(a, b)| unit([b[1] - a[1], a[0] - b[0]])).collect();
    let before = sides.iter().cycle().skip(sides.len().saturating_sub(1));
    let out_of: Vec<Pixel> = sides.iter().zip(before).filter_map(|(a, b)| unit([a[0] + b[0], a[1] + b[1]])).collect();
    let far = |points: &[Pixel], way: Pixel| points.iter().map(|p| p[0] * way[0] + p[1] * way[1]).fold(f64::NEG_INFINITY, f64::max);
    let digits = |way: Pixel| HALF_DIGIT * (way[0].abs() + way[1].abs());
    let corners = if is_plain { found } else { beside };
    let mut most_room = 0.0_f64;
    for way in ways().chain(out_of) {
        let (reach, room) = sweep.reach(way);
        most_room = most_room.max(room);
        let beyond = far(corners, way) - reach;
        if !(beyond <= digits(way) + room) {
            return Some(format!("a corner is {beyond:.2} px outside what the proxy sweeps"));
        }
    }
    let plate = if is_plain { Vec::new() } else { sweep.on_plate() };
    let mut size = 0.0_f64;
    for way in ways().chain(sides) {
        let (reach, room) = if is_plain {
            sweep.reach(way)
        } else {
            (plate.iter().map(|(p, _)| p[0] * way[0] + p[1] * way[1]).fold(f64::NEG_INFINITY, f64::max), most_room)
        };
        size = size.max(0.5 * (far(found, way) + far(found, [-way[0], -way[1]])));
        let short = reach - far(found, way);
        if !(short <= margin + room) {
            return Some(format!("the proxy sweeps {short:.2} px beyond the outline, margin {margin} px"));
        }
    }
    if !is_plain {
        // Any focal length that is in effect may fit.
        let off = |(corner, [right, down]): (&Pixel, &Pixel)| {
            let again = |v: &View<'_>| apart(*corner, v.distorted(v.back_on_plane([*right, *down])));
            sweep.views.iter().map(again).fold(f64::INFINITY, f64::min)
        };
        let worst = found.iter().zip(beside).map(off).fold(0.0, f64::max);
        let most = 6.0 * HALF_DIGIT + 3.0 * most_room;
        if !(worst <= most) {
            return Some(format!("an undistorted corner falls {worst:.2} px from its corner on the plate, at most {most:.2} px"));
        }
    }
    let bend = sweep.bend();
    let bowed = if is_plain { 0.0 } else { bow(&plate) };
    let least = LEAST_MARGIN + 0.5 * bend - most_room;
    let greatest = USUAL_MARGIN.max(USUAL_MARGIN - 0.25 + OF_THE_SIZE * size) + BENDS * bend + bowed + 4.0 * most_room;
    // What is partly cut away has points that come and go.
    let holds = margin >= least && (margin <= greatest || !all_within);
    (!holds).then(|| format!("found margin {margin} px, expected between {least:.2} and {greatest:.2} px"))
}

fn unit([x, y]: Pixel) -> Option<Pixel> {
    let long = apart([x, y], [0.0; 2]);
    (long > 0.0).then(|| [x / long, y / long])
}

/// `x y x y ...`.
fn corners(text: &str) -> Option<Vec<Pixel>> {
    if text.is_empty() {
        return Some(Vec::new());
    }
    let numbers: Vec<f64> = text.split(' ').map(|t| fixed(t, 1)).collect::<Option<_>>()?;
    let (pairs, rest) = numbers.as_chunks::<2>();
    rest.is_empty().then(|| pairs.to_vec())
}
#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::super::sweep::tests::{lens, sweep};
    use super::*;
    use crate::verify::sine::{cosine, sine};

    /// An honest square round a ball of 75 px is one with its corners on the ball and a margin for its sides, 75 (1 - cos 45 deg) = 21.97 px; anything else is named.
    #[test]
    fn outlines_by_hand() {
        let lens = lens();
        let views = [View::of(&lens, (None, 0.0))];
        let t = 0.05_f64;
        let ball = sweep(&views, [[0.0, 0.0, -1000.0]; 2], 1000.0 * t / (1.0 + t * t).sqrt());
        let square = [[565.0, 512.0], [640.0, 437.0], [715.0, 512.0], [640.0, 587.0]];
        let what = |corners: &[Pixel], margin: f64| shape(&lens, &ball, corners, &[], margin, true);
        assert_eq!(what(&square, 22.0), Some("found margin 22 px, expected between 0.57 and 0.93 px".to_owned()));
        assert!(what(&square, 21.9).unwrap().contains("sweeps 21.97 px beyond the outline"));
        let many =
            |radius: f64| (0..64_u8).map(|k| f64::from(k) / 64.0).map(|k| [640.0 + radius * cosine(k), 512.0 + radius * sine(k)]).collect();
        let (round, wide): (Vec<Pixel>, Vec<Pixel>) = (many(75.0), many(75.3));
        assert_eq!((what(&round, 0.8), what(&round, 0.6)), (None, None));
        assert!(what(&wide, 0.8).unwrap().contains("a corner is 0.30 px outside"));
        assert!(what(&round, 0.5).unwrap().contains("margin 0.5 px"));
        let crossed = [round[0], round[20], round[10], round[40]];
        assert!(what(&crossed, 80.0).unwrap().contains("not in order"));
    }
}
