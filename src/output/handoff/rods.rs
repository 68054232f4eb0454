//! The support rods in the picture: the paint department's guide.
//!
//! Form: `PASS.rods.csv` with the header `frame,camera,group,rod,instant,x1,y1,x2,y2,cut,state`: for every photographed frame, camera and rod (counted
//! from 1 in its group) one row each for `open`, `middle` and `close` of the shutter, the rod's ends in pixels from the left and the top of the picture,
//! four decimals. `PASS.rod_outlines.csv` with `frame,camera,group,rod,corner,x,y,margin,cut,state`: one row for every corner, counted from 1, of the
//! convex outline of what the rod sweeps in the exposure. Nothing is cut in silence: `state` says where the rod or its outline is, `cut` which end is
//! behind the camera (`from`, `to`, or `some` in an outline), in whose place stands where the rod passes the near plane; a rod behind the camera has a row
//! without numbers. Ends beyond the edges of the picture are written as they are.
//!
//! The near plane is a hundredth of the focal length ahead of the lens. The outline holds the rod at nine instants, eighths of the exposure; between
//! them its ends leave the outline by no more than `margin` pixels, twice the sag of the strongest bend found at those instants (a path with second
//! derivative b leaves its chord over h by at most b h^2 / 8): an estimate, not a proof. Limits: a rod is a line, its thickness and its blur out of
//! focus are for who paints to add; where an end passes the near plane within the exposure the margin does not hold, and `cut` says so.

use std::io;

use super::outline::{State, hull, state};
use super::poses::{PoseError, name, pose};
use crate::compile::{Compiled, frame_time};
use crate::mechanism::{Lens, Pixel, Pose, Vector};
use crate::number::whole;
use crate::output::decimals::decimals;
use crate::shot::{Exposure, Pass};
use crate::stage::{Body, Rod, Stage};
use crate::time::FrameTime;

/// Spaces between the instants at which an exposure is looked at.
const PARTS: usize = 8;
/// The near plane, in focal lengths.
const NEAR: f64 = 0.01;

/// True where there is a rod and a camera to see it.
#[must_use]
pub(crate) fn any(stage: &Stage) -> bool {
    stage.bodies().iter().any(|b| b.lens().is_some()) && stage.bodies().iter().any(|b| !b.rods().is_empty())
}

/// A rod as a camera sees it at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Line {
    /// Its ends in the picture, as far as they are ahead; `None` for a rod that is all behind the camera.
    pub ends: Option<[Pixel; 2]>,
    /// The end that is behind the camera: 0 or 1.
    pub cut: Option<usize>,
    /// Where it is.
    pub state: State,
}

/// A rod during one exposure.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Seen {
    /// Frame.
    pub frame: i64,
    /// Camera, a group's name.
    pub camera: String,
    /// Group that the rod carries.
    pub group: String,
    /// Number of the rod within its group, from 1.
    pub rod: usize,
    /// At the shutter's opening, middle and closing.
    pub lines: [Line; 3],
    /// Corners of the outline, in order round it; empty for a rod that is all behind the camera throughout.
    pub outline: Vec<Pixel>,
    /// By how much the rod may leave the outline between the instants looked at, pixels.
    pub margin: f64,
    /// True where an end is behind the camera at one of the instants.
    pub cut: bool,
    /// Where the outline with its margin is.
    pub state: State,
}

/// Every rod in every frame of a pass.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Guide {
    /// In order of frame, camera, group, rod.
    pub seen: Vec<Seen>,
}

/// Looks at every rod through every lens, in every exposure of the pass. A held exposure sees them stand still.
///
/// # Errors
/// A body without a pose in an exposure.
pub(crate) fn guide(compiled: &Compiled, pass: &Pass) -> Result<Guide, PoseError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let mut seen = Vec::new();
    let needed: Vec<&Body> = stage.bodies().iter().filter(|b| b.lens().is_some() || !b.rods().is_empty()).collect();
    for frame in shot.frames().frames() {
        let instants = instants(pass, frame);
        let mut poses: Vec<(&Body, Vec<Pose<f64>>)> = Vec::with_capacity(needed.len());
        for body in &needed {
            let at = instants.iter().map(|t| pose(compiled, Some(pass), body, FrameTime(*t))).collect::<Result<_, _>>()?;
            poses.push((body, at));
        }
        for (camera, stands) in &poses {
            let Some(lens) = camera.lens() else { continue };
            for (body, places) in &poses {
                for (number, rod) in (1..).zip(body.rods()) {
                    let lines: Vec<Line> = stands.iter().zip(places).map(|(c, b)| line(lens, c, b, rod)).collect();
                    let (camera, group) = (name(stage, camera).to_owned(), name(stage, body).to_owned());
                    seen.extend(swept(lens, &lines, Seen::of(frame, camera, group, number)));
                }
            }
        }
    }
    Ok(Guide { seen })
}

/// When an exposure is looked at: once where it is held, else at its ends, its middle, and evenly between.
fn instants(pass: &Pass, frame: i64) -> Vec<f64> {
    let middle = frame_time(frame);
    if pass.exposure() == Exposure::Held {
        return vec![middle];
    }
    let (open, close) = pass.shutter().window(frame);
    let at = |k: usize| match k {
        0 => open,
        PARTS => close,
        k if 2 * k == PARTS => middle,
        k => open + (close - open) * whole::count(k) / whole::count(PARTS),
    };
    (0..=PARTS).map(at).collect()
}

/// The rod of a body in the picture of a camera.
fn line(lens: &Lens, camera: &Pose<f64>, body: &Pose<f64>, rod: &Rod) -> Line {
    let near = NEAR * lens.focal_length();
    let [from, to] = [rod.from, rod.to].map(|end| camera.inward(body.out(end)));
    let ahead = |v: &Vector| near <= -v.z;
    let (ends, cut) = match (ahead(&from), ahead(&to)) {
        (true, true) => ([from, to], None),
        (true, false) => ([from, at_near(from, to, near)], Some(1)),
        (false, true) => ([at_near(to, from, near), to], Some(0)),
        (false, false) => return Line { ends: None, cut: None, state: State::Behind },
    };
    let [Ok(a), Ok(b)] = ends.map(|end| lens.project_seen(end)) else { return Line { ends: None, cut: None, state: State::Behind } };
    let state = match state(lens, &[a, b], 0.0) {
        State::In if cut.is_some() => State::Part,
        other => other,
    };
    Line { ends: Some([a, b]), cut, state }
}

/// Where the line from a point ahead to a point behind passes the near plane.
fn at_near(ahead: Vector, behind: Vector, near: f64) -> Vector {
    let part = (ahead.z + near) / (ahead.z - behind.z);
    let at = ahead + (behind - ahead).times(part);
    Vector { z: -near, ..at }
}

impl Seen {
    fn of(frame: i64, camera: String, group: String, rod: usize) -> Seen {
        let line = Line { ends: None, cut: None, state: State::Behind };
        Seen { frame, camera, group, rod, lines: [line; 3], outline: Vec::new(), margin: 0.0, cut: false, state: State::Behind }
    }
}

/// The outline over all instants, and the lines at the first, middle and last of them; `None` without instants.
fn swept(lens: &Lens, lines: &[Line], empty: Seen) -> Option<Seen> {
    let three = [*lines.first()?, *lines.get(lines.len() / 2)?, *lines.last()?];
    let points: Vec<Pixel> = lines.iter().filter_map(|l| l.ends).flatten().collect();
    let margin = lines.windows(3).map(bend).fold(0.0, f64::max) / 4.0;
    let outline = hull(&points);
    let cut = lines.iter().any(|l| l.cut.is_some() || (l.ends.is_none() && !outline.is_empty()));
    let state = match outline.as_slice() {
        [] => State::Behind,
        corners => match state(lens, corners, margin) {
            State::In if cut => State::Part,
            other => other,
        },
    };
    Some(Seen { lines: three, outline, margin, cut, state, ..empty })
}

/// The longer second difference of the two ends over three instants, pixels.
fn bend(three: &[Line]) -> f64 {
    let [Some(a), Some(b), Some(c)] = [0, 1, 2].map(|i| three.get(i).and_then(|l| l.ends)) else { return 0.0 };
    let longest = a.iter().zip(&b).zip(&c).map(|((a, b), c)| {
        let (x, y) = (a.right - b.right - (b.right - c.right), a.down - b.down - (b.down - c.down));
        (x * x + y * y).sqrt()
    });
    longest.fold(0.0, f64::max)
}

impl Guide {
    /// Writes the rods at the shutter's opening, middle and closing.
    ///
    /// # Errors
    /// A writer that fails.
    pub(crate) fn write_lines(&self, out: impl io::Write) -> Result<(), PoseError> {
        let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
        table.write_record(["frame", "camera", "group", "rod", "instant", "x1", "y1", "x2", "y2", "cut", "state"])?;
        let mut text = String::new();
        for seen in &self.seen {
            for (instant, line) in ["open", "middle", "close"].into_iter().zip(&seen.lines) {
                let mut record = seen.begin();
                record.push_field(instant.as_bytes());
                match line.ends {
                    Some(ends) => ends.iter().flat_map(|p| [p.right, p.down]).for_each(|x| push(&mut record, &mut text, x)),
                    None => (0..4).for_each(|_| record.push_field(b"")),
                }
                record.push_field(match line.cut {
                    None => b"",
                    Some(0) => b"from",
                    Some(_) => b"to",
                });
                record.push_field(line.state.name().as_bytes());
                table.write_byte_record(&record)?;
            }
        }
        table.flush()?;
        Ok(())
    }

    /// Writes the outlines.
    ///
    /// # Errors
    /// A writer that fails.
    pub(crate) fn write_outlines(&self, out: impl io::Write) -> Result<(), PoseError> {
        let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
        table.write_record(["frame", "camera", "group", "rod", "corner", "x", "y", "margin", "cut", "state"])?;
        let (mut text, mut digits) = (String::new(), itoa::Buffer::new());
        for seen in &self.seen {
            let end = |record: &mut csv::ByteRecord| {
                record.push_field(if seen.cut { b"some" } else { b"" });
                record.push_field(seen.state.name().as_bytes());
            };
            if seen.outline.is_empty() {
                let mut record = seen.begin();
                (0..4).for_each(|_| record.push_field(b""));
                end(&mut record);
                table.write_byte_record(&record)?;
            }
            for (number, corner) in (1_usize..).zip(&seen.outline) {
                let mut record = seen.begin();
                record.push_field(digits.format(number).as_bytes());
                [corner.right, corner.down, seen.margin].into_iter().for_each(|x| push(&mut record, &mut text, x));
                end(&mut record);
                table.write_byte_record(&record)?;
            }
        }
        table.flush()?;
        Ok(())
    }
}

impl Seen {
    /// The fields both tables begin with.
    fn begin(&self) -> csv::ByteRecord {
        let mut digits = itoa::Buffer::new();
        let mut record = csv::ByteRecord::new();
        record.push_field(digits.format(self.frame).as_bytes());
        record.push_field(self.camera.as_bytes());
        record.push_field(self.group.as_bytes());
        record.push_field(digits.format(self.rod).as_bytes());
        record
    }
}

/// Pixels, four decimals.
fn push(record: &mut csv::ByteRecord, text: &mut String, x: f64) {
    decimals(text, x, 4);
    record.push_field(text.as_bytes());
}
