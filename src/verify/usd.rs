//! A scene as OpenUSD text, read anew: every line that stands still, and every sample of what moves.
//!
//! What: the lines are worked out from the stage and the shot and compared one by one, numbers as numbers; then samples are read in step with the frames: places, turns, focal length, distance of focus, wires.
//! Invariant: memory is that of the lines that stand still and of one buffer for each thing that moves. Shares nothing with the writer. Units of the file: cm; apertures and focal length mm.
//! Tolerance: one of the last digit of lengths, and what two honest computations of a place may differ by.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::figure::{Point, add, length, less, point};
use super::parts::{handed_over, hangs_on, proxies, rods};
use super::picture::View;
use super::posed::{Posed, oriented};
use super::size::Size;
use super::stretched::Wire;
use crate::files;
use crate::shot::{Pass, Shot};
use crate::stage::{Body, Place as Part, Stage};

/// Longest line, bytes: a sample of all wires of a group.
const MOST_LINE: u64 = 1 << 20;

/// Bytes that a list of samples reads ahead.
const AHEAD: u64 = 4096;

/// One of the last of seven decimals.
const DIGIT: f64 = 1.1e-7;

/// What moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Moving {
    /// The place of a body or limb, by its index among all.
    Place(usize),
    Turn(usize),
    Focal(usize),
    Focus(usize),
    /// The box about the wires of a group: from this one on, so many.
    Extent(usize, usize),
    Points(usize, usize),
}

/// A list of samples being read.
struct Samples {
    what: Moving,
    next: u64,
    buffer: Vec<u8>,
    before: Option<[f64; 4]>,
}

/// A scene being read.
pub(super) struct Usd<'a> {
    stage: &'a Stage,
    name: String,
    /// What a length in mm is divided by.
    divisor: f64,
    open: Option<(File, Vec<Samples>)>,
    names: Vec<String>,
    /// Half of the greatest diameter of each group's wires, by the first wire.
    halves: Vec<(usize, f64)>,
}

/// A sample of a frame.
pub(super) struct Sample<'s> {
    pub(super) frame: i64,
    /// As the file counts it.
    pub(super) time: &'s str,
    pub(super) posed: &'s [Posed],
    pub(super) wires: &'s [Wire],
    pub(super) focus: &'s dyn Fn(&Body) -> (Option<f64>, f64),
}

/// How the file counts.
#[derive(Clone, Copy)]
pub(super) struct Counts {
    pub(super) first_frame: i64,
    /// Samples per frame.
    pub(super) samples: usize,
}

impl<'a> Usd<'a> {
    /// Opens a scene and compares what stands still.
    pub(super) fn open(
        dir: &Path,
        name: &str,
        (stage, shot): (&'a Stage, &Shot),
        (size, counts): (Size, Counts),
        faults: &mut Faults,
    ) -> Usd<'a> {
        let names = handed_over(stage).into_iter().map(|(_, _, name)| name).collect();
        let mut usd = Usd { stage, name: name.to_owned(), divisor: size.divisor / 100.0, open: None, names, halves: Vec::new() };
        let expected = usd.lines(shot, size, counts);
        match read(&dir.join(name), &expected, shot.frames().count() * counts.samples) {
            Ok(open) => usd.open = Some(open),
            Err(what) => faults.file(FaultKind::HandOff, name, what),
        }
        usd
    }

    /// The samples of an instant.
    pub(super) fn sample(&mut self, at: &Sample<'_>, faults: &mut Faults) {
        let Some((file, lists)) = &mut self.open else { return };
        for list in lists {
            let line = match list.line(file) {
                Ok(line) => line,
                Err(what) => {
                    faults.file(FaultKind::HandOff, &self.name, what);
                    self.open = None;
                    return;
                }
            };
            let of = match list.what {
                Moving::Place(i) | Moving::Turn(i) | Moving::Focal(i) | Moving::Focus(i) => self.names.get(i).map(String::as_str),
                Moving::Extent(first, _) | Moving::Points(first, _) => at.wires.get(first).map(|w| w.group.as_str()),
            };
            let value = line.trim().strip_suffix(',').and_then(|l| l.split_once(": ")).filter(|(time, _)| *time == at.time);
            let found: Option<Vec<f64>> =
                value.and_then(|(_, v)| v.split(DELIMITERS).filter(|t| !t.is_empty()).map(|t| t.parse().ok()).collect());
            let wrong = match found {
                None => Some(format!("found `{}`, expected a sample at {}", line.trim(), at.time)),
                Some(found) => wrong(list, &found, at, (self.stage, self.divisor, &self.halves)),
            };
            if let Some(what) = wrong {
                faults.at(FaultKind::HandOff, &self.name, of, at.frame, || what);
            }
        }
    }

    /// Every line that stands still, in order, and what moves in between.
    fn lines(&mut self, shot: &Shot, size: Size, counts: Counts) -> Vec<Line> {
        let stage = self.stage;
        let mut lines = Vec::new();
        let mut say = |text: String| lines.extend(text.lines().map(|l| Line::Still(l.to_owned())));
        let rate = 1.0 / shot.frame_rate().seconds(1);
        let last = counts.first_frame + (shot.frames().last() - shot.frames().first());
        let quoted = |text: &str| format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""));
        say(format!(
            "#usda 1.0\n(\n    customLayerData = {{\n        string generator = \"\"\n        string shot = {}",
            quoted(shot.name())
        ));
        say(format!("        string size = \"{}\"\n        string frame_rate = \"{}\"", size.name, shot.frame_rate()));
        say(format!(
            "        string timecode_start = \"{}\"\n        double stage_scale = {}\n    }}",
            shot.timecode_start(),
            stage.scale()
        ));
        say(format!("    defaultPrim = \"stage\"\n    endTimeCode = {last}\n    framesPerSecond = {rate}\n    metersPerUnit = 0.01"));
        say(format!("    startTimeCode = {}\n    timeCodesPerSecond = {rate}\n    upAxis = \"Y\"\n)\n\n", counts.first_frame));
        say(format!("def Xform \"stage\" (\n    displayName = {}\n)\n{{", quoted(stage.name())));
        let all = handed_over(stage);
        for (i, _) in all.iter().enumerate().filter(|(_, (_, part, _))| *part == Part::Body) {
            self.part(&mut lines, &all, i, 1, (shot, counts));
        }
        self.wires(&mut lines);
        let obstacles = &stage.surroundings().obstacles;
        let mut say = |text: String| lines.push(Line::Still(text));
        if !obstacles.is_empty() {
            say("    def Xform \"_obstacles\"".to_owned());
            say("    {".to_owned());
            for (i, o) in obstacles.iter().enumerate() {
                let title = format!("_obstacle_{}", i + 1);
                let ends = [o.shape.from, o.shape.to].map(point);
                self.capsule(&mut say, (&title, Some(quoted(&o.name))), ends, o.shape.radius, 2);
            }
            say("    }".to_owned());
        }
        say("}".to_owned());
        lines
    }

    fn part(&self, lines: &mut Vec<Line>, all: &[(&Body, Part, String)], index: usize, depth: usize, of: (&Shot, Counts)) {
        let Some((body, part, name)) = all.get(index) else { return };
        let (around, inside) = ("    ".repeat(depth), "    ".repeat(depth + 1));
        let lens = body.lens().filter(|_| *part == Part::Body);
        let mut say = |text: String| lines.extend(text.lines().map(|l| Line::Still(l.to_owned())));
        let kind = if lens.is_some() { "Camera" } else { "Xform" };
        say(format!("{around}def {kind} \"{}\"\n{around}{{", name.rsplit('.').next().unwrap_or(name)));
        if let Some(lens) = lens {
            let (shot, counts) = of;
            let ([width, height], optics) = (lens.back(), lens.optics());
            say(format!("{inside}float2 clippingRange = ({}, 10000000)", lens.focal_length() / self.divisor));
            match body.focus() {
                None => say(format!("{inside}float focalLength = {}", lens.focal_length())),
                Some(_) => {
                    lines.push(Line::moving(&inside, "float focalLength", Moving::Focal(index)));
                    if optics.film_plane.is_some() {
                        lines.push(Line::moving(&inside, "float focusDistance", Moving::Focus(index)));
                    }
                }
            }
            let mut say = |text: String| lines.extend(text.lines().map(|l| Line::Still(l.to_owned())));
            say(format!("{inside}float fStop = {}", shot.passes().iter().find_map(Pass::stop).unwrap_or(0.0)));
            let [right, down] = optics.principal_point;
            say(format!("{inside}float horizontalAperture = {width}\n{inside}float horizontalApertureOffset = {}", 0.0 - right));
            say(format!("{inside}float verticalAperture = {height}\n{inside}float verticalApertureOffset = {down}"));
            say(format!("{inside}token projection = \"perspective\""));
            let moving = shot.passes().iter().find(|p| p.exposure() == crate::shot::Exposure::Moving);
            if let Some(half) = moving.filter(|_| counts.samples > 1).map(|p| p.shutter().degrees() / 720.0) {
                say(format!("{inside}double shutter:close = {half}\n{inside}double shutter:open = {}", -half));
            }
        }
        lines.push(Line::moving(&inside, "double3 xformOp:translate", Moving::Place(index)));
        lines.push(Line::moving(&inside, "quatd xformOp:orient", Moving::Turn(index)));
        let mut say = |text: String| lines.extend(text.lines().map(|l| Line::Still(l.to_owned())));
        say(format!("{inside}uniform token[] xformOpOrder = [\"xformOp:translate\", \"xformOp:orient\"]"));
        let ends: Vec<Point> = rods(body, *part).flat_map(|r| r.ends).map(|e| point(e.at).map(|x| x / self.divisor)).collect();
        if !ends.is_empty() {
            let width = 1.0 / self.divisor;
            say(format!(
                "{inside}def BasisCurves \"_rods\" (\n{inside}    doc = \"Rods have no thickness in the stage file; the widths are for display.\"\n{inside})\n{inside}{{"
            ));
            say(format!("{inside}    int[] curveVertexCounts = [{}]", vec!["2"; ends.len() / 2].join(", ")));
            let [least, most] = extent(&ends, 0.5 * width);
            say(format!("{inside}    float3[] extent = [{}, {}]", triple(least), triple(most)));
            say(format!("{inside}    point3f[] points = [{}]", ends.iter().map(|e| triple(*e)).collect::<Vec<_>>().join(", ")));
            say(format!(
                "{inside}    uniform token type = \"linear\"\n{inside}    float[] widths = [{width}] (\n{inside}        interpolation = \"constant\""
            ));
            say(format!("{inside}    )\n{inside}}}"));
        }
        for (number, solid) in proxies(body, *part) {
            let mut say = |text: String| lines.push(Line::Still(text));
            self.capsule(&mut say, (&format!("_proxy_{number}"), None), solid.ends.map(|e| point(e.at)), solid.radius, depth + 1);
        }
        for (i, (other, which, _)) in all.iter().enumerate() {
            if hangs_on((other, *which), (body, *part)) {
                self.part(lines, all, i, depth + 1, of);
            }
        }
        lines.push(Line::Still(format!("{around}}}")));
    }

    fn wires(&mut self, lines: &mut Vec<Line>) {
        let inside = "    ".repeat(3);
        let mut first = 0;
        for body in self.stage.bodies() {
            let diameters: Vec<f64> = body.wires().map(|(_, d)| d / self.divisor).collect();
            if diameters.is_empty() {
                continue;
            }
            let mut say = |text: String| lines.extend(text.lines().map(|l| Line::Still(l.to_owned())));
            if first == 0 {
                say("    def Xform \"_wires\"\n    {".to_owned());
            }
            say(format!("        def BasisCurves \"{}\"\n        {{", self.stage.group_name(body.group())));
            say(format!("{inside}int[] curveVertexCounts = [{}]", vec!["2"; diameters.len()].join(", ")));
            self.halves.push((first, 0.5 * diameters.iter().copied().fold(0.0, f64::max)));
            lines.push(Line::moving(&inside, "float3[] extent", Moving::Extent(first, diameters.len())));
            lines.push(Line::moving(&inside, "point3f[] points", Moving::Points(first, diameters.len())));
            first += diameters.len();
            let widths: Vec<String> = diameters.iter().map(f64::to_string).collect();
            let mut say = |text: String| lines.extend(text.lines().map(|l| Line::Still(l.to_owned())));
            say(format!("{inside}uniform token type = \"linear\"\n{inside}float[] widths = [{}] (", widths.join(", ")));
            say(format!("{inside}    interpolation = \"uniform\"\n{inside})\n        }}"));
        }
        if first > 0 {
            lines.push(Line::Still("    }".to_owned()));
        }
    }

    /// A capsule or a ball: its middle line lies along Y before it is turned the shorter way.
    fn capsule(&self, say: &mut dyn FnMut(String), (title, display): (&str, Option<String>), ends: [Point; 2], radius: f64, depth: usize) {
        let inside = "    ".repeat(depth);
        let [from, to] = ends.map(|e| e.map(|x| x / self.divisor));
        let (along, radius) = (less(to, from), radius / self.divisor);
        let long = length(along);
        let kind = if long > 0.0 { "Capsule" } else { "Sphere" };
        say(format!("{inside}def {kind} \"{title}\"{}", if display.is_some() { " (" } else { "" }));
        if let Some(display) = display {
            say(format!("{inside}    displayName = {display}"));
            say(format!("{inside})"));
        }
        say(format!("{inside}{{"));
        let corner = [radius, 0.5 * long + radius, radius];
        say(format!("{inside}    float3[] extent = [{}, {}]", triple(corner.map(|x| -x)), triple(corner)));
        say(format!("{inside}    double radius = {radius}"));
        let mut order = "[\"xformOp:translate\"]";
        if long > 0.0 {
            order = "[\"xformOp:translate\", \"xformOp:orient\"]";
            say(format!("{inside}    uniform token axis = \"Y\""));
            say(format!("{inside}    double height = {long}"));
            // Half of the angle from Y has the cosine sqrt((1 + y) / 2); the axis lies across both.
            let [x, y, z] = along.map(|a| a / if along[1] < 0.0 { -long } else { long });
            let w = (0.5 * (1.0 + y)).sqrt();
            say(format!("{inside}    quatd xformOp:orient = ({w}, {}, 0, {})", 0.5 * z / w, -0.5 * x / w));
        }
        say(format!("{inside}    double3 xformOp:translate = {}", triple(add(from, to).map(|s| 0.5 * s))));
        say(format!("{inside}    uniform token[] xformOpOrder = {order}"));
        say(format!("{inside}}}"));
    }
}

/// A line that stands still, or the head of a list of samples.
#[derive(Debug, Clone, PartialEq)]
enum Line {
    Still(String),
    Moving(String, Moving),
}

impl Line {
    fn moving(inside: &str, name: &str, what: Moving) -> Line {
        Line::Moving(format!("{inside}{name}.timeSamples = {{"), what)
    }
}

/// Reads a scene once through: lines that stand still are compared, of lists of so many samples the beginning is kept.
fn read(path: &Path, expected: &[Line], samples: usize) -> Result<(File, Vec<Samples>), String> {
    let opened = files::open(path).map_err(|e| format!("cannot be read: {e}"))?;
    let mut reader = BufReader::new(opened);
    let (mut at, mut number) = (0_u64, 0_usize);
    let mut next = |reader: &mut BufReader<_>| -> Result<(Option<String>, u64, usize), String> {
        let mut bytes = Vec::new();
        let n = Read::take(&mut *reader, MOST_LINE).read_until(b'\n', &mut bytes).map_err(|e| format!("cannot be read to its end: {e}"))?;
        at += n as u64;
        number += 1;
        if n == 0 {
            return Ok((None, at, number));
        }
        let text = bytes.strip_suffix(b"\n").and_then(|b| String::from_utf8(b.to_vec()).ok());
        text.map(|t| (Some(t), at, number)).ok_or_else(|| format!("line {number} is cut off, too long or no text"))
    };
    let mut lists = Vec::new();
    for line in expected {
        let (found, at, number) = next(&mut reader)?;
        let (text, moving) = match line {
            Line::Still(text) => (text, None),
            Line::Moving(text, what) => (text, Some(*what)),
        };
        if !found.as_ref().is_some_and(|found| alike(text, found)) {
            let found: String = found.unwrap_or_default().trim().chars().take(120).collect();
            return Err(format!("line {number}: found `{found}`, expected `{}`", text.trim()));
        }
        if let Some(what) = moving {
            lists.push(Samples { what, next: at, buffer: Vec::new(), before: None });
            for _ in 0..samples {
                if next(&mut reader)?.0.is_none_or(|l| l.ends_with('}')) {
                    return Err(format!("line {number}: `{}` has fewer than {samples} samples", text.trim()));
                }
            }
            let (end, _, number) = next(&mut reader)?;
            if end.is_none_or(|l| l.trim() != "}") {
                return Err(format!("line {number}: the list of {samples} samples does not end"));
            }
        }
    }
    if next(&mut reader)?.0.is_some() {
        return Err("goes on after its last line".to_owned());
    }
    Ok((reader.into_inner().into_inner(), lists))
}

impl Samples {
    fn line(&mut self, file: &mut File) -> Result<String, String> {
        let cut = |e: std::io::Error| format!("cannot be read to its end: {e}");
        loop {
            if let Some(end) = self.buffer.iter().position(|b| *b == b'\n') {
                let line: Vec<u8> = self.buffer.drain(..=end).collect();
                return String::from_utf8(line).map_err(|_| "a sample is no text".to_owned());
            }
            file.seek(SeekFrom::Start(self.next)).map_err(cut)?;
            let n = Read::take(&mut *file, AHEAD).read_to_end(&mut self.buffer).map_err(cut)?;
            self.next += n as u64;
            if n == 0 || self.buffer.len() as u64 > MOST_LINE {
                return Err("a sample is cut off".to_owned());
            }
        }
    }
}

/// What does not hold in the numbers of a sample.
fn wrong(list: &mut Samples, found: &[f64], at: &Sample<'_>, (stage, divisor, halves): (&Stage, f64, &[(usize, f64)])) -> Option<String> {
    let body = |i: usize| handed_over(stage).into_iter().nth(i).map(|(body, ..)| body);
    let (expected, rooms): (Vec<f64>, Vec<f64>) = match list.what {
        Moving::Place(i) => {
            let posed = at.posed.get(i).filter(|p| p.known)?;
            (posed.place.at.map(|x| x / divisor).to_vec(), posed.position_room().map(|r| DIGIT + r / divisor).to_vec())
        }
        Moving::Turn(i) => {
            let posed = at.posed.get(i).filter(|p| p.known)?;
            let four: [f64; 4] = found.try_into().unwrap_or([f64::NAN; 4]);
            let expected = oriented(posed.place.turn, list.before, four);
            list.before = Some(expected);
            (expected.to_vec(), posed.turn_room().map(|r| r + 1e-15).to_vec())
        }
        Moving::Focal(i) => {
            let body = body(i)?;
            let view = View::of(body.lens()?, (at.focus)(body));
            (vec![view.focal_length], vec![1.1e-6 + view.slack * view.focal_length])
        }
        Moving::Focus(i) => {
            let body = body(i)?;
            let (focus, room) = (at.focus)(body);
            (vec![(focus? - body.lens()?.optics().film_plane?) / divisor], vec![DIGIT + room / divisor])
        }
        Moving::Extent(first, count) | Moving::Points(first, count) => {
            let wires = at.wires.get(first..first + count)?;
            let room = wires.iter().map(|w| w.room).collect::<Option<Vec<f64>>>()?.into_iter().fold(0.0, f64::max);
            let ends: Vec<Point> = wires.iter().flat_map(|w| w.ends).map(|e| e.map(|x| x / divisor)).collect();
            let half = halves.iter().find(|(f, _)| *f == first).map_or(0.0, |(_, half)| *half);
            let points = if matches!(list.what, Moving::Points(..)) { ends } else { extent(&ends, half).to_vec() };
            let all = points.concat();
            let rooms = vec![DIGIT + room / divisor; all.len()];
            (all, rooms)
        }
    };
    let holds = found.len() == expected.len()
        && found.iter().zip(&expected).zip(rooms).all(|((f, e), room)| (f - e).abs() <= room + 1e-12 * e.abs());
    (!holds).then(|| format!("{:?}: found {found:.7?}, expected {expected:.7?}", list.what))
}

const DELIMITERS: [char; 6] = [' ', ',', '(', ')', '[', ']'];

/// True for lines that differ in the last digits of their numbers at most; a program's name and version is any.
fn alike(expected: &str, found: &str) -> bool {
    if let Some((key, _)) = expected.split_once("= \"\"").filter(|(key, _)| key.trim() == "string generator") {
        return found.starts_with(key) && found.contains("\"movewright ");
    }
    let delimiters = |text: &str| text.chars().filter(|c| DELIMITERS.contains(c)).collect::<String>();
    let near = |(e, f): (&str, &str)| {
        let numbers = e.parse::<f64>().ok().zip(f.parse::<f64>().ok());
        e == f || numbers.is_some_and(|(e, f)| (e - f).abs() <= DIGIT.max(1e-12 * e.abs()))
    };
    delimiters(expected) == delimiters(found) && expected.split(DELIMITERS).zip(found.split(DELIMITERS)).all(near)
}

/// The corners of the box about points, wider by so much.
fn extent(points: &[Point], by: f64) -> [Point; 2] {
    let fold = |pick: fn(f64, f64) -> f64, by: f64| {
        let corner = points.iter().copied().reduce(|[a, b, c], [x, y, z]| [pick(a, x), pick(b, y), pick(c, z)]);
        corner.unwrap_or_default().map(|x| x + by)
    };
    [fold(f64::min, -by), fold(f64::max, by)]
}

fn triple([x, y, z]: Point) -> String {
    format!("({x}, {y}, {z})")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_alike_but_for_the_last_digits_of_numbers() {
        assert!(alike("  float x = [1.5, -0]", "  float x = [1.5000001, 0.0000000]"));
        for other in [
            "  float x = [1.500001, 0.0]",
            "  float y = [1.5, 0.0]",
            "  float x = (1.5, 0.0)",
            "  float x = [1.5, 0.0, 2.0]",
            " float x = [1.5, 0.0]",
        ] {
            assert!(!alike("  float x = [1.5, 0]", other), "{other}");
        }
        assert!(alike("    string generator = \"\"", "    string generator = \"movewright 9.9.9\""));
    }
}
