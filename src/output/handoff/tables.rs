//! Cameras and figures frame by frame, as plain CSV.
//!
//! Form: `camera.csv` for bodies with a lens with the columns `frame,timecode,camera`, [`POSE`] and [`LENS`], `bodies.csv` with `frame,timecode,body` and [`POSE`] for those without and for
//! limbs, which are called `GROUP.LIMB` and come after their body; all in the stage's axes; one
//! row a photographed frame and body, at mid-exposure; LF, `.`, no quoting needed. With several samples to a frame there is a row for each, and two more columns [`SAMPLE`].
//! Positions in metres with 9 decimals, quaternions of length one with 12, right-handed, Y up; a camera
//! looks along its own -Z from its entrance pupil, which is where it is. Lengths of the lens in mm with 6 decimals, coefficients with 9. At full size positions and the depth of focus are
//! divided by the stage's scale; focal length, film back and the scale of the focus stay, so that the view is the same.

use std::io;

use super::poses::{PoseError, PosedBody, Size};
use super::sampling::Sampling;
use crate::compile::frame_time;
use crate::mechanism::Lens;
use crate::output::decimals::decimals;
use crate::shot::{Pass, Shot};
use crate::stage::Stage;

/// Which bodies a table is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Those with a lens.
    Cameras,
    /// Those without.
    Figures,
}

const POSE: [&str; 7] = ["x_m", "y_m", "z_m", "qx", "qy", "qz", "qw"];
const LENS: [&str; 20] = [
    "focal_length_mm",
    "back_width_mm",
    "back_height_mm",
    "pixels_across",
    "pixels_down",
    "principal_x_mm",
    "principal_y_mm",
    "pixel_aspect",
    "k1",
    "k2",
    "k3",
    "p1",
    "p2",
    "overscan",
    "focus_mm",
    "focus_depth_m",
    "f_number",
    "film_plane_mm",
    "near_depth_m",
    "far_depth_m",
];
const SAMPLE: [&str; 2] = ["sample", "frame_time"];

/// Writes the table of one kind of body.
///
/// # Errors
/// A writer that fails.
pub(crate) fn write(
    out: impl io::Write,
    stage: &Stage,
    shot: &Shot,
    bodies: &[PosedBody<'_>],
    kind: Kind,
    (size, sampling): (Size, &Sampling),
) -> Result<(), PoseError> {
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
    let (what, lens): (&str, &[&str]) = match kind {
        Kind::Cameras => ("camera", &LENS),
        Kind::Figures => ("body", &[]),
    };
    let sample: &[&str] = if sampling.is_within_frames() { &SAMPLE } else { &[] };
    table.write_record(["frame", "timecode", what].iter().chain(&POSE).chain(lens).chain(sample))?;
    let divisor = size.divisor(stage);
    let mut digits = itoa::Buffer::new();
    let mut text = String::new();
    let mut record = csv::ByteRecord::new();
    let f_number = shot.passes().iter().find_map(Pass::stop);
    let mut nth = 0_usize;
    for (row, frame) in (0_i64..).zip(shot.frames().frames()) {
        for (sample, offset) in (1_usize..).zip(sampling.offsets()) {
            for body in bodies.iter().filter(|b| b.lens().is_some() == (kind == Kind::Cameras)) {
                let Some(pose) = body.poses.get(nth) else { continue };
                record.clear();
                record.push_field(digits.format(sampling.number(frame)).as_bytes());
                text.clear();
                shot.timecode_start().after(row).append_to(&mut text);
                record.push_field(text.as_bytes());
                record.push_field(body.name.as_bytes());
                let (p, q) = (&pose.translation.vector, &pose.rotation);
                for length in [p.x, p.y, p.z] {
                    push(&mut record, &mut text, length / divisor, 9);
                }
                for part in [q.i, q.j, q.k, q.w] {
                    push(&mut record, &mut text, part, 12);
                }
                if let Some(lens) = body.lens() {
                    let focus = body.focus.get(nth).copied();
                    let numbers = (divisor, f_number, sharp(lens, focus, f_number));
                    push_lens(&mut record, &mut text, &lens.focused(focus), focus, numbers);
                }
                if sampling.is_within_frames() {
                    record.push_field(digits.format(sample).as_bytes());
                    push(&mut record, &mut text, frame_time(sampling.number(frame)) + offset, 6);
                }
                table.write_byte_record(&record)?;
            }
            nth += 1;
        }
    }
    table.flush()?;
    Ok(())
}

/// Between these depths everything is in focus, mm; `None` where it is not known, or infinite.
fn sharp(lens: &Lens, focus: Option<f64>, f_number: Option<f64>) -> [Option<f64>; 2] {
    let depths = focus.zip(f_number).and_then(|(focus, stop)| lens.depth_of_field(stop, focus));
    depths.map_or([None; 2], |depths| depths.map(|depth| Some(depth).filter(|d| d.is_finite())))
}

/// The lens as it is focused at an instant.
fn push_lens(
    record: &mut csv::ByteRecord,
    text: &mut String,
    lens: &Lens,
    focus: Option<f64>,
    (divisor, f_number, sharp): (f64, Option<f64>, [Option<f64>; 2]),
) {
    let mut digits = itoa::Buffer::new();
    for length in core::iter::once(lens.focal_length()).chain(lens.back()) {
        push(record, text, length, 6);
    }
    for pixels in lens.pixels() {
        record.push_field(digits.format(pixels).as_bytes());
    }
    let (optics, k) = (lens.optics(), lens.distortion().spec());
    for number in [optics.principal_point[0], optics.principal_point[1], optics.pixel_aspect] {
        push(record, text, number, 6);
    }
    for coefficient in [k.k1, k.k2, k.k3, k.p1, k.p2] {
        push(record, text, coefficient, 9);
    }
    push(record, text, lens.overscan(), 6);
    let depth = focus.map(|focus| (focus - optics.film_plane.unwrap_or(0.0)) / divisor);
    let [near, far] = sharp.map(|depth| depth.map(|d| d / divisor));
    let depth = depth.filter(|_| optics.film_plane.is_some());
    for (number, places) in [(focus, 6), (depth, 9), (f_number, 6), (optics.film_plane, 6), (near, 9), (far, 9)] {
        match number {
            Some(number) => push(record, text, number, places),
            None => record.push_field(b""),
        }
    }
}

fn push(record: &mut csv::ByteRecord, text: &mut String, x: f64, places: usize) {
    decimals(text, x, places);
    record.push_field(text.as_bytes());
}
