//! The support rods in the picture, and their outlines, row by row against rods seen anew.
//!
//! What: a rod's ends are seen from the camera; one nearer than a hundredth of the focal length gives way to where the rod passes that plane. The outline holds the rod at nine
//! instants of an exposure, its margin is a quarter of the longest second difference of an end between them. An outline is compared as a shape: no corner of either is
//! further from the other than what two honest computations may differ by; which points on a side count as corners is left open.
//! Invariant: where it is not certain whether an end is before that plane, the row's form alone is read.

use std::collections::BTreeSet;
use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::figure::{Place, Point, point};
use super::oracle::Oracle;
use super::picture::{Pixel, apart, may_be, outline, outside, place_of, projected, turned};
use super::posed::Posed;
use super::poses::start_of;
use super::table::{Table, fixed};
use crate::mechanism::Lens;
use crate::shot::{Exposure, Pass};
use crate::stage::{Body, Rod, Stage};

/// Spaces between the instants at which an exposure is looked at.
const PARTS: u32 = 8;

/// The near plane, in focal lengths.
const NEAR: f64 = 0.01;

/// Half of the last digit of pixels, and of what is added up of them.
const HALF_DIGIT: f64 = 0.5e-4;

/// Shifts differ between the instants of an exposure, of which three are looked at.
const OTHER_INSTANTS: f64 = 1.5;

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

/// A rod at one instant: its ends in the picture, and which is behind the camera.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Line {
    ends: Option<[Pixel; 2]>,
    cut: Option<usize>,
}

/// A rod at one instant with how far each coordinate of its ends may be off; `None` where the near plane decides.
type Seen = (Line, Option<[f64; 4]>);

impl<'a> Rods<'a> {
    /// Opens the tables that are there.
    pub(super) fn open(dir: &Path, there: &BTreeSet<String>, stage: &'a Stage, pass: &'a Pass, faults: &mut Faults) -> Rods<'a> {
        let mut table = |kind: &str, header: &str| {
            let name = format!("{}.{kind}.csv", pass.name());
            let table = there.contains(&name).then(|| Table::with_header(dir, &name, 11, header, faults)).flatten();
            (name, table)
        };
        let lines = table("rods", "frame,camera,group,rod,instant,x1,y1,x2,y2,cut,state");
        let outlines = table("rod_outlines", "frame,camera,group,rod,corner,x,y,margin,cut,state");
        Rods { stage, pass, lines, outlines, ahead: None }
    }

    /// The rows of a frame.
    pub(super) fn frame(&mut self, oracle: &Oracle<'_>, frame: i64, faults: &mut Faults) {
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
        let wanted = |b: &&Body| b.lens().is_some() || !b.rods().is_empty();
        let bodies: Vec<(&Body, Vec<Posed>)> =
            self.stage.bodies().iter().filter(wanted).map(|b| (b, self.places(oracle, b, &instants))).collect();
        for (camera, views) in &bodies {
            let Some(lens) = camera.lens() else { continue };
            for (body, places) in &bodies {
                let known = views.iter().chain(places).all(|p| p.known);
                for (number, rod) in (1_usize..).zip(body.rods()) {
                    let [camera, group] = [camera, body].map(|b| self.stage.group_name(b.group()));
                    let seen: Vec<Seen> = views.iter().zip(places).map(|(c, b)| seen(lens, c, b, rod)).collect();
                    let begin = format!("{frame},{camera},{group},{number},");
                    let about = About { frame, group, begin: &begin, lens, known };
                    self.three_lines(&about, &seen, faults);
                    self.one_outline(&about, &seen, faults);
                }
            }
        }
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
        // Nine instants have eighteen ends; more corners no outline has.
        let wrong = loop {
            let line = match self.ahead.take().map_or_else(|| open.line().map(|l| l.map(str::to_owned)), |l| Ok(Some(l))) {
                Ok(line) => line,
                Err(what) => break Some(what),
            };
            match line {
                Some(line) if rows.len() <= 2 * PARTS as usize + 2 => match line.strip_prefix(about.begin) {
                    Some(rest) => rows.push(rest.to_owned()),
                    None => {
                        self.ahead = Some(line);
                        break None;
                    }
                },
                Some(_) => break Some("an outline has more corners than ends".to_owned()),
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
}

/// The rod of a body in the picture of a camera.
fn line(lens: &Lens, camera: &Place, body: &Place, rod: &Rod) -> Line {
    let near = NEAR * lens.focal_length();
    let [from, to] = [rod.from, rod.to].map(|end| camera.inward(body.out(point(end))));
    let depth = |p: Point| -p[2];
    let passing = |ahead: Point, behind: Point| {
        let share = (depth(ahead) - near) / (depth(ahead) - depth(behind));
        let [x, y, _] = [0, 1, 2].map(|i: usize| {
            let (a, b) = (ahead.get(i).copied().unwrap_or(0.0), behind.get(i).copied().unwrap_or(0.0));
            a + share * (b - a)
        });
        [x, y, -near]
    };
    let (ends, cut) = match (near <= depth(from), near <= depth(to)) {
        (true, true) => ([from, to], None),
        (true, false) => ([from, passing(from, to)], Some(1)),
        (false, true) => ([passing(to, from), to], Some(0)),
        (false, false) => return Line { ends: None, cut: None },
    };
    Line { ends: Some(ends.map(|p| projected(lens, p))), cut }
}

fn seen(lens: &Lens, camera: &Posed, body: &Posed, rod: &Rod) -> Seen {
    let here = line(lens, &camera.place, &body.place, rod);
    let numbers = |l: Line| {
        let same = l.cut == here.cut && l.ends.is_some() == here.ends.is_some();
        let ends = if same { Some(l.ends.map_or([0.0; 4], |[[a, b], [c, d]]| [a, b, c, d])) } else { None };
        ends.filter(|e| e.iter().all(|x| x.is_finite()))
    };
    let by_camera = camera.shifts(&|c| numbers(line(lens, c, &body.place, rod)));
    let by_body = body.shifts(&|b| numbers(line(lens, &camera.place, b, rod)));
    let room = by_camera.zip(by_body).zip(numbers(here)).map(|((a, b), n)| {
        let mut room = a;
        for ((r, b), n) in room.iter_mut().zip(b).zip(n) {
            *r += b + ROUNDING * n.abs();
        }
        room
    });
    (here, room)
}

/// What does not hold in the rest of a row of lines.
fn line_row(about: &About<'_>, rest: &str, (line, room): &Seen) -> Option<String> {
    let cells: Vec<&str> = rest.split(',').collect();
    let [x1, y1, x2, y2, cut, state] = cells.as_slice() else { return Some(format!("found `{rest}`, expected six cells")) };
    let texts = [*x1, *y1, *x2, *y2];
    let numbers = texts.map(|t| fixed(t, 4));
    let blank = texts.iter().all(|t| t.is_empty());
    if !blank && numbers.contains(&None) {
        return Some(format!("`{rest}` has cells that are no numbers with four decimals"));
    }
    let room = room.filter(|_| about.known)?;
    let Some([a, b]) = line.ends else {
        return (rest != ",,,,,behind_camera").then(|| format!("found `{rest}`, expected a rod behind the camera"));
    };
    let expected = [a[0], a[1], b[0], b[1]];
    for ((found, expected), room) in numbers.iter().zip(expected).zip(room) {
        if !(found.is_some_and(|f| (f - expected).abs() <= HALF_DIGIT + room)) {
            return Some(format!("found {}, expected {expected:.4?} px within {:.4} px", texts.join(", "), HALF_DIGIT + room));
        }
    }
    let expected_cut = ["from", "to"];
    let expected_cut = line.cut.and_then(|i| expected_cut.get(i).copied()).unwrap_or_default();
    if *cut != expected_cut {
        return Some(format!("found cut `{cut}`, expected `{expected_cut}`"));
    }
    let most = room.into_iter().fold(0.0, f64::max);
    let said = if line.cut.is_some() && *state == "part_in_picture" { &["in_picture", "part_in_picture"] as &[&str] } else { &[*state] };
    let never = line.cut.is_some() && *state == "in_picture";
    if never || !said.iter().any(|s| may_be(about.lens, &[a, b], 0.0, most, s)) {
        let expected = place_of(about.lens, &[a, b], 0.0).name();
        return Some(format!("found `{state}`, expected `{expected}`"));
    }
    None
}

/// What does not hold in the rows of an outline.
fn outline_rows(about: &About<'_>, rows: &[String], seen: &[Seen]) -> Option<String> {
    let mut found: Vec<Pixel> = Vec::new();
    let mut rest_of: Option<(&str, &str, &str)> = None;
    for (i, row) in rows.iter().enumerate() {
        let cells: Vec<&str> = row.split(',').collect();
        let [corner, x, y, margin, cut, state] = cells.as_slice() else { return Some(format!("found `{row}`, expected six cells")) };
        let same = *rest_of.get_or_insert((margin, cut, state));
        if same != (*margin, *cut, *state) {
            return Some(format!("corner {corner} has another margin, cut or state than the first"));
        }
        if [corner, x, y, margin].iter().all(|c| c.is_empty()) && rows.len() == 1 {
            continue;
        }
        match (fixed(x, 4), fixed(y, 4)) {
            (Some(x), Some(y)) if *corner == (i + 1).to_string() => found.push([x, y]),
            _ => return Some(format!("found `{row}`, expected corner {} with four decimals", i + 1)),
        }
    }
    let (margin, cut, state) = rest_of?;
    // Which instants are looked at is the same for all; where the near plane decides at one, nothing can be said of the whole.
    let rooms: Option<Vec<[f64; 4]>> = seen.iter().map(|(_, room)| *room).collect();
    let room = rooms.filter(|_| about.known)?.into_iter().flatten().fold(0.0, f64::max) * OTHER_INSTANTS;
    let points: Vec<Pixel> = seen.iter().filter_map(|(l, _)| l.ends).flatten().collect();
    let expected = outline(&points);
    if expected.is_empty() != found.is_empty() {
        return Some(format!("found {} corners, expected {}", found.len(), expected.len()));
    }
    let expected_cut = seen.iter().any(|(l, _)| l.cut.is_some() || (l.ends.is_none() && !expected.is_empty()));
    if (cut == "some") != expected_cut || !(cut == "some" || cut.is_empty()) {
        return Some(format!("found cut `{cut}`, expected `{}`", if expected_cut { "some" } else { "" }));
    }
    if expected.is_empty() {
        return (state != "behind_camera").then(|| format!("found `{state}`, expected a rod behind the camera"));
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
    let bend = seen.windows(3).map(bend).fold(0.0, f64::max) / 4.0;
    let slack = HALF_DIGIT + core::f64::consts::SQRT_2 * room;
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

/// The longer second difference of the two ends over three instants, pixels.
fn bend(three: &[Seen]) -> f64 {
    let [(a, _), (b, _), (c, _)] = three else { return 0.0 };
    let (Some(a), Some(b), Some(c)) = (a.ends, b.ends, c.ends) else { return 0.0 };
    let ends = a.iter().zip(b).zip(c);
    ends.map(|((a, b), c)| apart([a[0] + c[0], a[1] + c[1]], [2.0 * b[0], 2.0 * b[1]])).fold(0.0, f64::max)
}
