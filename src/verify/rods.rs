//! The support rods in the picture, and their outlines, row by row against rods seen anew.
//!
//! What: a rod's ends are seen from the camera; one nearer than a hundredth of the focal length gives way to where the rod passes that plane, one beyond the reach of the distortion to
//! where the rod passes that circle. A distorted rod is looked at in nine points. The outline holds the rod at nine
//! instants of an exposure, its margin is a quarter of the longest second difference of a point between them and a quarter of the longest one along it. An outline is compared as a shape: no corner of either is
//! further from the other than what two honest computations may differ by; which points on a side count as corners is left open.
//! Invariant: where it is not certain whether an end is before that plane, the row's form alone is read.

use std::collections::BTreeSet;
use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::figure::Point;
use super::line::{Line, line, second_difference};
use super::oracle::Oracle;
use super::parts::Figure;
use super::picture::{Pixel, View, apart, may_be, outline, outside, place_of, turned};
use super::posed::{BEYOND_FIRST_ORDER, Posed, focus, shifted};
use super::poses::start_of;
use super::table::{Table, fixed};
use crate::mechanism::Lens;
use crate::shot::{Exposure, Pass};
use crate::stage::{Body, ChannelId, Stage};

/// Spaces between the instants at which an exposure is looked at.
const PARTS: u32 = 8;

/// Nine instants of nine points; more corners no outline has.
const MOST_CORNERS: usize = 81;

/// Half of the last digit of pixels, and of what is added up of them.
const HALF_DIGIT: f64 = 0.5e-4;

/// Shifts differ between the instants of an exposure, of which three are looked at.
const OTHER_INSTANTS: f64 = 1.5;

/// Ends that are off across the picture are off in depth by no more than so many times as much.
const WIDER: f64 = 16.0;

/// Slopes of the distortion by small differences.
const DIFFERENCES: f64 = 1e-8;

/// Rounding of pixels far outside the picture, as a share of them.
const ROUNDING: f64 = 1e-11;

/// Both tables of one pass.
pub(super) struct Rods<'a> {
    stage: &'a Stage,
    pass: &'a Pass,
    lines: (String, Option<Table>),
    outlines: (String, Option<Table>),
    /// The row of the outlines that was read too far.
    ahead: Option<String>,
}

/// The ends of all rods and wires of a figure at one instant, in the stage's axes.
struct Held {
    lines: Vec<[Point; 2]>,
    /// For each channel that may be off, the same with that channel moved by as much.
    moved: Vec<Vec<[Point; 2]>>,
    known: bool,
}

/// Coordinates of both ends on the plate, then undistorted.
type Eight = [f64; 8];

/// A rod at one instant with how far each coordinate of its ends may be off; `None` where the near plane or the reach decides.
type Seen = (Line, Option<Eight>);

impl<'a> Rods<'a> {
    /// Opens the tables that are there.
    pub(super) fn open(dir: &Path, there: &BTreeSet<String>, stage: &'a Stage, pass: &'a Pass, faults: &mut Faults) -> Rods<'a> {
        let mut table = |kind: &str, header: &str| {
            let name = format!("{}.{kind}.csv", pass.name());
            let table = there.contains(&name).then(|| Table::with_header(dir, &name, 20, header, faults)).flatten();
            (name, table)
        };
        let ends = "undistorted_x1,undistorted_y1,undistorted_x2,undistorted_y2";
        let widths = "width1,width2,undistorted_width1,undistorted_width2";
        let lines = table("rods", &format!("frame,camera,group,rod,instant,x1,y1,x2,y2,cut,state,{ends},bow,{widths}"));
        let corners = "frame,camera,group,rod,corner,x,y,margin,cut,state,undistorted_x,undistorted_y,width,undistorted_width";
        let outlines = table("rod_outlines", corners);
        Rods { stage, pass, lines, outlines, ahead: None }
    }

    /// The rows of a frame.
    pub(super) fn frame(&mut self, oracle: &Oracle<'_>, (frame, shown): (i64, i64), faults: &mut Faults) {
        if self.lines.1.is_none() && self.outlines.1.is_none() {
            return;
        }
        let middle = frame as f64;
        let instants: Vec<f64> = match self.pass.exposure() {
            Exposure::Held => vec![middle],
            Exposure::Moving => {
                let open = self.pass.shutter().degrees() / 360.0;
                (0..=PARTS).map(|k| middle + open * (f64::from(k) / f64::from(PARTS) - 0.5)).collect()
            }
        };
        let wanted = |b: &&Body| b.lens().is_some() || !b.lines().is_empty();
        let bodies: Vec<(&Body, Vec<Held>)> =
            self.stage.bodies().iter().filter(wanted).map(|b| (b, self.held(oracle, b, &instants))).collect();
        for camera in self.stage.bodies() {
            let Some(lens) = camera.lens() else { continue };
            let focused = |t: &f64| View::of(lens, focus(oracle, self.stage, Some(self.pass), camera, &oracle.state(*t)));
            let lenses: Vec<View<'_>> = instants.iter().map(focused).collect();
            let views = self.places(oracle, camera, &instants);
            for (body, places) in &bodies {
                let known = views.iter().all(|p| p.known) && places.iter().all(|p| p.known);
                for (number, rod) in (1_usize..).zip(body.lines()) {
                    let [camera, group] = [camera, *body].map(|b| self.stage.group_name(b.group()));
                    let seen: Vec<Seen> = lenses.iter().zip(&views).zip(places).map(|((v, c), b)| seen(v, c, b, number - 1)).collect();
                    let begin = format!("{shown},{camera},{group},{number},");
                    let about = About { frame, group, begin: &begin, lens, known, diameter: rod.diameter };
                    self.three_lines(&about, &seen, faults);
                    self.one_outline(&about, &seen, faults);
                }
            }
        }
    }

    /// The ends of everything fixed to a figure at every instant; how far they may be off at the first, the middle and the last.
    fn held(&self, oracle: &Oracle<'_>, body: &Body, instants: &[f64]) -> Vec<Held> {
        let looked_at = [0, instants.len() / 2, instants.len().saturating_sub(1)];
        let all = |value: &dyn Fn(ChannelId) -> f64| {
            let figure = Figure::of(body, value);
            body.lines().iter().map(|l| l.ends.map(|hold| figure.out(&hold))).collect::<Vec<_>>()
        };
        let held = |(i, t): (usize, &f64)| {
            let what = (oracle, self.stage, Some(self.pass));
            let (lines, moved, known) = shifted(what, body, &oracle.state(*t), looked_at.contains(&i), &all);
            Held { lines, moved, known }
        };
        instants.iter().enumerate().map(held).collect()
    }

    /// A body at every instant; how far it may be off at the first, the middle and the last.
    fn places(&self, oracle: &Oracle<'_>, body: &Body, instants: &[f64]) -> Vec<Posed> {
        let looked_at = [0, instants.len() / 2, instants.len().saturating_sub(1)];
        let posed = |(i, t): (usize, &f64)| Posed::of(oracle, self.stage, Some(self.pass), body, &oracle.state(*t), looked_at.contains(&i));
        instants.iter().enumerate().map(posed).collect()
    }

    /// After the last frame nothing may follow.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        if let (name, Some(table)) = &mut self.lines {
            table.end(name, faults);
        }
        if let (name, Some(table)) = &mut self.outlines {
            match self.ahead.take() {
                Some(_) => faults.file(FaultKind::Rows, name, "goes on after the last row".to_owned()),
                None => table.end(name, faults),
            }
        }
    }

    fn three_lines(&mut self, about: &About<'_>, seen: &[Seen], faults: &mut Faults) {
        let (name, table) = &mut self.lines;
        let which = [0, seen.len() / 2, seen.len().saturating_sub(1)];
        for (instant, seen) in ["open", "middle", "close"].into_iter().zip(which.map(|i| seen.get(i))) {
            let (Some(open), Some(seen)) = (table.as_mut(), seen) else { return };
            let begin = format!("{}{instant},", about.begin);
            let read = open.line().map(|l| l.map(str::to_owned));
            let result = match &read {
                Ok(Some(line)) => line.strip_prefix(&begin).ok_or(line.as_str()).map(|rest| line_row(about, rest, seen)),
                Ok(None) => Err("the end"),
                Err(what) => Err(what.as_str()),
            };
            match result {
                Ok(None) => {}
                Ok(Some(what)) => faults.at(FaultKind::HandOff, name, Some(about.group), about.frame, || format!("{instant}: {what}")),
                Err(found) => {
                    let found = start_of(found);
                    faults.at(FaultKind::Rows, name, Some(about.group), about.frame, || format!("found `{found}`, expected `{begin}`"));
                    *table = None;
                    return;
                }
            }
        }
    }

    fn one_outline(&mut self, about: &About<'_>, seen: &[Seen], faults: &mut Faults) {
        let (name, table) = &mut self.outlines;
        let Some(open) = table.as_mut() else { return };
        let mut rows: Vec<String> = Vec::new();
        let wrong = loop {
            let line = match self.ahead.take().map_or_else(|| open.line().map(|l| l.map(str::to_owned)), |l| Ok(Some(l))) {
                Ok(line) => line,
                Err(what) => break Some(what),
            };
            match line {
                Some(line) if rows.len() <= MOST_CORNERS => match line.strip_prefix(about.begin) {
                    Some(rest) => rows.push(rest.to_owned()),
                    None => {
                        self.ahead = Some(line);
                        break None;
                    }
                },
                Some(_) => break Some("an outline has more corners than points".to_owned()),
                None => break None,
            }
        };
        let wrong = wrong.or_else(|| {
            let found = self.ahead.as_deref().map_or_else(|| "the end".to_owned(), start_of);
            rows.is_empty().then(|| format!("found `{found}`, expected `{}`", about.begin))
        });
        if let Some(what) = wrong {
            faults.at(FaultKind::Rows, name, Some(about.group), about.frame, || what);
            *table = None;
            return;
        }
        if let Some(what) = outline_rows(about, &rows, seen) {
            faults.at(FaultKind::HandOff, name, Some(about.group), about.frame, || what);
        }
    }
}

/// What a row is about.
struct About<'a> {
    frame: i64,
    group: &'a str,
    /// The cells that both tables begin with.
    begin: &'a str,
    lens: &'a Lens,
    /// False where a place could not be found again.
    known: bool,
    /// Of a wire.
    diameter: Option<f64>,
}

fn seen(view: &View<'_>, camera: &Posed, figure: &Held, number: usize) -> Seen {
    let ends = figure.lines.get(number).copied().unwrap_or([[f64::NAN; 3]; 2]);
    let here = line(view, &camera.place, ends);
    let numbers = |l: Line| -> Option<Eight> {
        let same = l.cut == here.cut && l.path.is_ok() == here.path.is_ok();
        let [[a, b], [c, d]] = l.ends().unwrap_or_default();
        let [[e, f], [g, h]] = l.undistorted;
        same.then_some([a, b, c, d, e, f, g, h]).filter(|e| e.iter().all(|x| x.is_finite()))
    };
    let by_camera = camera.shifts(&|c| numbers(line(view, c, ends)));
    let by_body = numbers(here.clone()).and_then(|here| {
        let mut room: Eight = [0.0; 8];
        for moved in &figure.moved {
            let there = numbers(line(view, &camera.place, *moved.get(number)?))?;
            for ((r, a), b) in room.iter_mut().zip(there).zip(here) {
                *r += BEYOND_FIRST_ORDER * (a - b).abs();
            }
        }
        Some(room)
    });
    // Pixels count from the axis, which lies in the picture or about it.
    let size = view.lens.pixels().map(f64::from).into_iter().fold(0.0, f64::max);
    let room = by_camera.zip(by_body).zip(numbers(here.clone())).map(|((a, b), n)| {
        let mut room = a;
        for ((r, b), n) in room.iter_mut().zip(b).zip(n) {
            *r += b + ROUNDING * n.abs() + view.slack * (n.abs() + size);
        }
        room
    });
    (here, room)
}

/// What does not hold in the rest of a row of lines.
fn line_row(about: &About<'_>, rest: &str, (line, room): &Seen) -> Option<String> {
    let cells: Vec<&str> = rest.split(',').collect();
    let [x1, y1, x2, y2, cut, state, ux1, uy1, ux2, uy2, bow, widths @ ..] = cells.as_slice() else {
        return Some(format!("found `{rest}`, expected fifteen cells"));
    };
    let [w1, w2, uw1, uw2] = widths else { return Some(format!("found `{rest}`, expected fifteen cells")) };
    let texts = [*x1, *y1, *x2, *y2, *ux1, *uy1, *ux2, *uy2, *bow];
    let numbers = texts.map(|t| fixed(t, 4));
    let blank = texts.iter().all(|t| t.is_empty());
    if !blank && numbers.contains(&None) {
        return Some(format!("`{rest}` has cells that are no numbers with four decimals"));
    }
    let room = room.filter(|_| about.known)?;
    let Some([a, b]) = line.ends() else {
        let state = if line.path == Err(true) { "beyond_distortion" } else { "behind_camera" };
        return (rest != format!(",,,,,{state},,,,,,,,,"))
            .then(|| format!("found `{rest}`, expected a rod that is not to be seen, {state}"));
    };
    let [c, d] = line.undistorted;
    let expected = [a[0], a[1], b[0], b[1], c[0], c[1], d[0], d[1]];
    for ((found, expected), room) in numbers.iter().zip(expected).zip(room) {
        if !(found.is_some_and(|f| (f - expected).abs() <= HALF_DIGIT + room)) {
            return Some(format!("found {}, expected {expected:.4?} px within {:.4} px", texts.join(", "), HALF_DIGIT + room));
        }
    }
    let most = room.into_iter().fold(0.0, f64::max);
    let (found, expected) = (numbers[8], line.bow());
    // Ends and points are off by as much, across the line between the ends.
    if !found.is_some_and(|f| (f - expected).abs() <= HALF_DIGIT + 3.0 * most) {
        return Some(format!("found bow `{bow}`, expected {expected:.4} px"));
    }
    let expected_cut = match line.cut {
        [false, false] => "",
        [true, false] => "from",
        [false, true] => "to",
        [true, true] => "both",
    };
    if *cut != expected_cut {
        return Some(format!("found cut `{cut}`, expected `{expected_cut}`"));
    }
    let is_cut = line.cut != [false, false];
    let said = if is_cut && *state == "part_in_picture" { &["in_picture", "part_in_picture"] as &[&str] } else { &[*state] };
    let never = is_cut && *state == "in_picture";
    let corners = outline(line.path());
    if never || !said.iter().any(|s| may_be(about.lens, &corners, line.sag(), most, s)) {
        let expected = place_of(about.lens, &corners, line.sag()).name();
        return Some(format!("found `{state}`, expected `{expected}`"));
    }
    let [[p1, u1], [p2, u2]] = line.widths;
    let [d1, d2] = line.depths;
    let places = [(w1, p1, d1), (w2, p2, d2), (uw1, u1, d1), (uw2, u2, d2)];
    places.into_iter().find_map(|(found, expected, depth)| wrong_width(found, expected, about, most, depth))
}

/// What does not hold in the width of a wire at a depth, where ends may be `room` pixels off.
fn wrong_width(found: &str, of_one: f64, about: &About<'_>, room: f64, depth: f64) -> Option<String> {
    let Some(diameter) = about.diameter else { return (!found.is_empty()).then(|| format!("found width `{found}` of a rod")) };
    let expected = diameter * of_one;
    // An end that is off by `room` pixels is off by as many times the length that one pixel has there, also in depth, and by some more at the edge of a wide picture.
    let pixel = 1.0 / of_one;
    let slack = HALF_DIGIT + expected * (WIDER * room * pixel / depth + DIFFERENCES);
    let holds = fixed(found, 4).is_some_and(|f| (f - expected).abs() <= slack);
    (!holds).then(|| format!("found width `{found}` px, expected {expected:.4} px within {slack:.4} px"))
}

/// What does not hold in the rows of an outline.
fn outline_rows(about: &About<'_>, rows: &[String], seen: &[Seen]) -> Option<String> {
    let (mut found, mut undistorted): (Vec<Pixel>, Vec<Pixel>) = (Vec::new(), Vec::new());
    let mut rest_of: Option<[&str; 5]> = None;
    for (i, row) in rows.iter().enumerate() {
        let cells: Vec<&str> = row.split(',').collect();
        let [corner, x, y, margin, cut, state, ux, uy, width, undistorted_width] = cells.as_slice() else {
            return Some(format!("found `{row}`, expected ten cells"));
        };
        let here = [*margin, *cut, *state, *width, *undistorted_width];
        if *rest_of.get_or_insert(here) != here {
            return Some(format!("corner {corner} has another margin, cut, state or width than the first"));
        }
        if [corner, x, y, margin, ux, uy].iter().all(|c| c.is_empty()) && rows.len() == 1 {
            continue;
        }
        match (fixed(x, 4), fixed(y, 4), fixed(ux, 4), fixed(uy, 4)) {
            (Some(x), Some(y), Some(ux), Some(uy)) if *corner == (i + 1).to_string() => {
                found.push([x, y]);
                undistorted.push([ux, uy]);
            }
            _ => return Some(format!("found `{row}`, expected corner {} with four decimals", i + 1)),
        }
    }
    let [margin, cut, state, found_width, found_undistorted] = rest_of?;
    // Which instants are looked at is the same for all; where the near plane decides at one, nothing can be said of the whole.
    let rooms: Option<Vec<Eight>> = seen.iter().map(|(_, room)| *room).collect();
    let room = rooms.filter(|_| about.known)?.into_iter().flatten().fold(0.0, f64::max) * OTHER_INSTANTS;
    let points: Vec<Pixel> = seen.iter().flat_map(|(l, _)| l.path().iter().copied()).collect();
    let expected = outline(&points);
    if expected.is_empty() != found.is_empty() {
        return Some(format!("found {} corners, expected {}", found.len(), expected.len()));
    }
    let expected_cut = seen.iter().any(|(l, _)| l.cut != [false, false] || (l.path.is_err() && !expected.is_empty()));
    if (cut == "some") != expected_cut || !(cut == "some" || cut.is_empty()) {
        return Some(format!("found cut `{cut}`, expected `{}`", if expected_cut { "some" } else { "" }));
    }
    let shown = || seen.iter().filter(|(l, _)| l.path.is_ok());
    let nearest = shown().flat_map(|(l, _)| l.depths).fold(f64::INFINITY, f64::min);
    let widest = |which: fn([f64; 2]) -> f64| shown().flat_map(|(l, _)| l.widths).map(which).fold(0.0, f64::max);
    for (found, widest) in [(found_width, widest(|[plate, _]| plate)), (found_undistorted, widest(|[_, undistorted]| undistorted))] {
        if expected.is_empty() && !found.is_empty() {
            return Some(format!("found width `{found}` of what is not to be seen"));
        }
        if !expected.is_empty()
            && let Some(what) = wrong_width(found, widest, about, room, nearest)
        {
            return Some(what);
        }
    }
    if expected.is_empty() {
        let expected = if seen.iter().any(|(l, _)| l.path == Err(true)) { "beyond_distortion" } else { "behind_camera" };
        return (state != expected).then(|| format!("found `{state}`, expected `{expected}`"));
    }
    // A corner is off by its digits and by both rooms, across and down.
    let most = core::f64::consts::SQRT_2 * (HALF_DIGIT + room) + ROUNDING * expected.iter().flatten().fold(0.0_f64, |m, x| m.max(x.abs()));
    let far = |from: &[Pixel], of: &[Pixel]| of.iter().map(|p| outside(from, *p)).fold(0.0, f64::max);
    let off = far(&expected, &found).max(far(&found, &expected));
    if !(off <= most) {
        return Some(format!("the outline is {off:.4} px from the one expected, at most {most:.4} px"));
    }
    if found.len() > 2 {
        // Twice a triangle's area changes by no more than each corner's shift times the side across from it, and four times the square of the shift.
        let turns = found
            .iter()
            .zip(found.iter().cycle().skip(1))
            .zip(found.iter().cycle().skip(2))
            .map(|((a, b), c)| (turned(*a, *b, *c), apart(*a, *b) + apart(*b, *c) + apart(*c, *a)));
        if turns.into_iter().any(|(turn, sides)| !(turn >= -most * (sides + 4.0 * most))) {
            return Some("the corners are not in order round the outline".to_owned());
        }
    }
    if let Some(what) = undistorted_corners(about.lens, seen, &found, &undistorted, most) {
        return Some(what);
    }
    let sag = seen.iter().map(|(l, _)| l.sag()).fold(0.0, f64::max);
    let bend = sag + seen.windows(3).map(bend).fold(0.0, f64::max) / 4.0;
    let slack = HALF_DIGIT + core::f64::consts::SQRT_2 * room * if sag > 0.0 { 2.0 } else { 1.0 };
    if !fixed(margin, 4).is_some_and(|m| (m - bend).abs() <= slack) {
        return Some(format!("found margin {margin} px, expected {bend:.4} px within {slack:.4} px"));
    }
    let said = if expected_cut && state == "part_in_picture" { &["in_picture", "part_in_picture"] as &[&str] } else { &[state] };
    let never = expected_cut && state == "in_picture";
    if never || !said.iter().any(|s| may_be(about.lens, &expected, bend, most + slack, s)) {
        return Some(format!("found `{state}`, expected `{}`", place_of(about.lens, &expected, bend).name()));
    }
    None
}

/// What does not hold in the undistorted places beside the corners: distorted anew, they fall on their corners.
fn undistorted_corners(lens: &Lens, seen: &[Seen], found: &[Pixel], undistorted: &[Pixel], most: f64) -> Option<String> {
    // The focal length changes within an exposure only where the focus does; any that is in effect may fit.
    let views: Vec<View<'_>> = seen.iter().map(|(l, _)| View { lens, focal_length: l.focal_length.0, slack: l.focal_length.1 }).collect();
    let off = |(corner, [right, down]): (&Pixel, &Pixel)| {
        views.iter().map(|view| apart(*corner, view.distorted(view.back_on_plane([*right, *down])))).fold(f64::INFINITY, f64::min)
    };
    // Rounded undistorted pixels are stretched by the distortion as the plate is, by less than twice where pictures are taken.
    let worst = found.iter().zip(undistorted).map(off).fold(0.0, f64::max);
    (!(worst <= 3.0 * most))
        .then(|| format!("an undistorted corner falls {worst:.4} px from its corner on the plate, at most {:.4} px", 3.0 * most))
}

/// The longest second difference of a point of the rod over three instants, pixels.
fn bend(three: &[Seen]) -> f64 {
    let [(a, _), (b, _), (c, _)] = three else { return 0.0 };
    a.path().iter().zip(b.path()).zip(c.path()).map(|((a, b), c)| second_difference(*a, *b, *c)).fold(0.0, f64::max)
}
