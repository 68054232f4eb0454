//! Cameras and figures frame by frame, as plain CSV.
//!
//! Form: `camera.csv` with the header `frame,timecode,camera,x_m,y_m,z_m,qx,qy,qz,qw,focal_length_mm,back_width_mm,back_height_mm,pixels_across,pixels_down`
//! for bodies with a lens, `bodies.csv` with `frame,timecode,body,x_m,y_m,z_m,qx,qy,qz,qw` for those without; one row a photographed frame and body,
//! at mid-exposure; LF, `.`, no quoting needed. Positions in metres with 9 decimals, quaternions of length one with 12, right-handed, Y up; a camera
//! looks along its own -Z. At full size positions are divided by the stage's scale; focal length and film back stay, so that the view is the same.

use std::io;

use super::poses::{PoseError, PosedBody, Size};
use crate::output::decimals::decimals;
use crate::shot::Shot;
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
const LENS: [&str; 5] = ["focal_length_mm", "back_width_mm", "back_height_mm", "pixels_across", "pixels_down"];

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
    size: Size,
) -> Result<(), PoseError> {
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
    let (what, lens): (&str, &[&str]) = match kind {
        Kind::Cameras => ("camera", &LENS),
        Kind::Figures => ("body", &[]),
    };
    table.write_record(["frame", "timecode", what].iter().chain(&POSE).chain(lens))?;
    let divisor = size.divisor(stage);
    let mut digits = itoa::Buffer::new();
    let mut text = String::new();
    let mut record = csv::ByteRecord::new();
    for ((row, nth), frame) in (0_i64..).zip(0_usize..).zip(shot.frames().frames()) {
        for body in bodies.iter().filter(|b| b.body.lens().is_some() == (kind == Kind::Cameras)) {
            let Some(pose) = body.poses.get(nth) else { continue };
            record.clear();
            record.push_field(digits.format(frame).as_bytes());
            text.clear();
            shot.timecode_start().after(row).append_to(&mut text);
            record.push_field(text.as_bytes());
            record.push_field(body.name.as_bytes());
            let (p, q) = (&pose.translation.vector, &pose.rotation);
            for length in [p.x, p.y, p.z] {
                decimals(&mut text, length / divisor, 9);
                record.push_field(text.as_bytes());
            }
            for part in [q.i, q.j, q.k, q.w] {
                decimals(&mut text, part, 12);
                record.push_field(text.as_bytes());
            }
            if let Some(lens) = body.body.lens() {
                for length in core::iter::once(lens.focal_length()).chain(lens.back()) {
                    decimals(&mut text, length, 6);
                    record.push_field(text.as_bytes());
                }
                for pixels in lens.pixels() {
                    record.push_field(digits.format(pixels).as_bytes());
                }
            }
            table.write_byte_record(&record)?;
        }
    }
    table.flush()?;
    Ok(())
}
