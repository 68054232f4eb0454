//! The support rods and wires in the picture: the paint department's guide.
//!
//! Form: `PASS.rods.csv` with the header of [`LINES`]: for every photographed frame, camera and rod (counted
//! from 1 in its group, wires after rods) one row each for `open`, `middle` and `close` of the shutter, the rod's ends in pixels from the left and the top of the picture,
//! four decimals: on the plate, as the lens distorts it, and undistorted beside. `PASS.rod_outlines.csv` with that of [`OUTLINES`]: one row for every corner, counted from 1, of the
//! convex outline of what the rod sweeps in the exposure, on the plate; beside each corner the undistorted place of that point. Pixel (0, 0) is the outer corner of the first pixel, (0.5, 0.5) its middle.
//! Nothing is cut in silence: `state` says where the rod or its outline is, `cut` which end is
//! behind the camera or beyond what the distortion describes (`from`, `to`, `both`, or `some` in an outline), in whose place stands where the rod passes the near plane or that border; a rod
//! with nothing to see has a row without numbers. Ends beyond the edges of the picture are written as they are.
//!
//! The near plane is a hundredth of the focal length ahead of the lens. A distorted rod is a curve: `bow` is how far it leaves the line between its ends, at the ninths looked at. The outline holds
//! the rod at nine instants, eighths of the exposure; between
//! them, and between the points along it, it leaves the outline by no more than `margin` pixels, twice the sag of the strongest bends found there (a path with second
//! derivative b leaves its chord over h by at most b h^2 / 8): an estimate, not a proof. The width of a wire is that at its ends; in an outline, the greatest at any end in the exposure.
//! Limits: a rod is a line, its thickness, half of a wire's width and all blur out of
//! focus are for who paints to add; where an end passes the near plane within the exposure the margin does not hold, and `cut` says so.

use std::io;

use super::line::{Cut, Line, Spot, Width, line, second_difference};
use super::outline::{State, hull, state};
use super::poses::{PoseError, focus, name, posture};
use super::sampling::Sampling;
use crate::compile::{Compiled, frame_time};
use crate::mechanism::{Lens, Pixel};
use crate::number::whole;
use crate::output::decimals::decimals;
use crate::shot::{Exposure, Pass};
use crate::stage::{Body, Line as Rod, Posture, Stage};
use crate::time::FrameTime;

/// Spaces between the instants at which an exposure is looked at.
const PARTS: usize = 8;

/// True where there is a rod and a camera to see it.
#[must_use]
pub(crate) fn any(stage: &Stage) -> bool {
    stage.bodies().iter().any(|b| b.lens().is_some()) && stage.bodies().iter().any(|b| !b.lines().is_empty())
}

/// Columns of the rods.
const LINES: [&str; 20] = [
    "frame",
    "camera",
    "group",
    "rod",
    "instant",
    "x1",
    "y1",
    "x2",
    "y2",
    "cut",
    "state",
    "undistorted_x1",
    "undistorted_y1",
    "undistorted_x2",
    "undistorted_y2",
    "bow",
    "width1",
    "width2",
    "undistorted_width1",
    "undistorted_width2",
];
/// Columns of the outlines.
const OUTLINES: [&str; 14] = [
    "frame",
    "camera",
    "group",
    "rod",
    "corner",
    "x",
    "y",
    "margin",
    "cut",
    "state",
    "undistorted_x",
    "undistorted_y",
    "width",
    "undistorted_width",
];

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
    /// The same points undistorted.
    pub undistorted: Vec<Pixel>,
    /// By how much the rod may leave the outline between the instants looked at, pixels.
    pub margin: f64,
    /// True where an end is behind the camera at one of the instants.
    pub cut: bool,
    /// Where the outline with its margin is.
    pub state: State,
    /// The greatest widths of a wire at the instants looked at.
    pub width: Option<Width>,
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
    let needed: Vec<&Body> = stage.bodies().iter().filter(|b| b.lens().is_some() || !b.lines().is_empty()).collect();
    for frame in shot.frames().frames() {
        let instants = instants(pass, frame);
        let mut poses: Vec<(&Body, Vec<Posture>)> = Vec::with_capacity(needed.len());
        for body in &needed {
            let at = instants.iter().map(|t| posture(compiled, Some(pass), body, FrameTime(*t))).collect::<Result<_, _>>()?;
            poses.push((body, at));
        }
        for (camera, stands) in &poses {
            let Some(lens) = camera.lens() else { continue };
            let focused = |t: &f64| focus(compiled, Some(pass), camera, FrameTime(*t)).map(|focus| lens.focused(focus));
            let lenses: Vec<Lens> = instants.iter().map(focused).collect::<Result<_, _>>()?;
            for (body, places) in &poses {
                for (number, rod) in (1..).zip(body.lines()) {
                    let seen_by = |((lens, c), b): ((&Lens, &Posture), &Posture)| seen_by(lens, c, b, rod);
                    let lines: Vec<Line> = lenses.iter().zip(stands).zip(places).map(seen_by).collect();
                    let (camera, group) = (name(stage, camera).to_owned(), name(stage, body).to_owned());
                    seen.extend(swept(lens, &lines, Seen::of(frame, camera, group, number)));
                }
            }
        }
    }
    Ok(Guide { seen })
}

/// When an exposure is looked at: once where it is held, else at its ends, its middle, and evenly between.
pub(super) fn instants(pass: &Pass, frame: i64) -> Vec<f64> {
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

/// A rod or wire of a figure in the picture of a camera.
fn seen_by(lens: &Lens, camera: &Posture, figure: &Posture, rod: &Rod) -> Line {
    line(lens, rod.ends.map(|end| camera.body().inward(figure.out(&end))), rod.diameter)
}

impl Seen {
    fn of(frame: i64, camera: String, group: String, rod: usize) -> Seen {
        let lines = [Line::unseen(State::Behind), Line::unseen(State::Behind), Line::unseen(State::Behind)];
        Seen {
            frame,
            camera,
            group,
            rod,
            lines,
            outline: Vec::new(),
            undistorted: Vec::new(),
            margin: 0.0,
            cut: false,
            state: State::Behind,
            width: None,
        }
    }
}

/// The outline over all instants, and the lines at the first, middle and last of them; `None` without instants.
fn swept(lens: &Lens, lines: &[Line], empty: Seen) -> Option<Seen> {
    let three = [lines.first()?.clone(), lines.get(lines.len() / 2)?.clone(), lines.last()?.clone()];
    let spots: Vec<Spot> = lines.iter().flat_map(|l| l.path.iter().copied()).collect();
    let over_time = lines.windows(3).map(bend).fold(0.0, f64::max) / 4.0;
    let margin = over_time + lines.iter().map(Line::sag).fold(0.0, f64::max);
    let outline = hull(&spots.iter().map(|s| s.plate).collect::<Vec<_>>());
    let spot_of = |corner: &Pixel| spots.iter().find(|s| s.plate == *corner).map_or(*corner, |s| s.undistorted);
    let undistorted = outline.iter().map(spot_of).collect();
    let cut = lines.iter().any(|l| l.cut.is_some() || (l.path.is_empty() && !outline.is_empty()));
    let state = match outline.as_slice() {
        [] if lines.iter().any(|l| l.state == State::Beyond) => State::Beyond,
        [] => State::Behind,
        corners => match state(lens, corners, margin) {
            State::In if cut => State::Part,
            other => other,
        },
    };
    let widths = lines.iter().filter_map(|l| l.widths).flatten();
    let width = widths.reduce(|a, b| Width { plate: a.plate.max(b.plate), undistorted: a.undistorted.max(b.undistorted) });
    Some(Seen { lines: three, outline, undistorted, margin, cut, state, width, ..empty })
}

/// The longest second difference of a point of the rod over three instants, pixels.
fn bend(three: &[Line]) -> f64 {
    let [a, b, c] = three else { return 0.0 };
    let paths = a.path.iter().zip(&b.path).zip(&c.path);
    paths.map(|((a, b), c)| second_difference(a.plate, b.plate, c.plate)).fold(0.0, f64::max)
}

impl Guide {
    /// Writes the rods at the shutter's opening, middle and closing.
    ///
    /// # Errors
    /// A writer that fails.
    pub(crate) fn write_lines(&self, out: impl io::Write, sampling: &Sampling) -> Result<(), PoseError> {
        let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
        table.write_record(LINES)?;
        let mut text = String::new();
        for seen in &self.seen {
            for (instant, line) in ["open", "middle", "close"].into_iter().zip(&seen.lines) {
                let mut record = seen.begin(sampling);
                record.push_field(instant.as_bytes());
                let ends = line.ends();
                let mut four = |of: fn(&Spot) -> Pixel, record: &mut csv::ByteRecord| match &ends {
                    Some(ends) => ends.iter().map(of).flat_map(|p| [p.right, p.down]).for_each(|x| push(record, &mut text, x)),
                    None => (0..4).for_each(|_| record.push_field(b"")),
                };
                four(|s| s.plate, &mut record);
                record.push_field(line.cut.map_or("", Cut::name).as_bytes());
                record.push_field(line.state.name().as_bytes());
                four(|s| s.undistorted, &mut record);
                match ends {
                    Some(_) => push(&mut record, &mut text, line.bow()),
                    None => record.push_field(b""),
                }
                match line.widths {
                    Some([a, b]) => {
                        [a.plate, b.plate, a.undistorted, b.undistorted].into_iter().for_each(|x| push(&mut record, &mut text, x));
                    }
                    None => (0..4).for_each(|_| record.push_field(b"")),
                }
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
    pub(crate) fn write_outlines(&self, out: impl io::Write, sampling: &Sampling) -> Result<(), PoseError> {
        let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
        table.write_record(OUTLINES)?;
        let (mut text, mut digits) = (String::new(), itoa::Buffer::new());
        for seen in &self.seen {
            let end = |record: &mut csv::ByteRecord| {
                record.push_field(if seen.cut { b"some" } else { b"" });
                record.push_field(seen.state.name().as_bytes());
            };
            let widths = |record: &mut csv::ByteRecord, text: &mut String| match seen.width {
                Some(width) => [width.plate, width.undistorted].into_iter().for_each(|x| push(record, text, x)),
                None => (0..2).for_each(|_| record.push_field(b"")),
            };
            if seen.outline.is_empty() {
                let mut record = seen.begin(sampling);
                (0..4).for_each(|_| record.push_field(b""));
                end(&mut record);
                (0..4).for_each(|_| record.push_field(b""));
                table.write_byte_record(&record)?;
            }
            for ((number, corner), undistorted) in (1_usize..).zip(&seen.outline).zip(&seen.undistorted) {
                let mut record = seen.begin(sampling);
                record.push_field(digits.format(number).as_bytes());
                [corner.right, corner.down, seen.margin].into_iter().for_each(|x| push(&mut record, &mut text, x));
                end(&mut record);
                [undistorted.right, undistorted.down].into_iter().for_each(|x| push(&mut record, &mut text, x));
                widths(&mut record, &mut text);
                table.write_byte_record(&record)?;
            }
        }
        table.flush()?;
        Ok(())
    }
}

impl Seen {
    /// The fields both tables begin with.
    fn begin(&self, sampling: &Sampling) -> csv::ByteRecord {
        let mut digits = itoa::Buffer::new();
        let mut record = csv::ByteRecord::new();
        record.push_field(digits.format(sampling.number(self.frame)).as_bytes());
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
