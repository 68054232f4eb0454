//! Cameras and figures frame by frame, as plain CSV, and what a folder gets where the stage says where its bodies are.
//!
//! Form: `camera.csv` with the header `frame,timecode,camera,x_m,y_m,z_m,qx,qy,qz,qw,focal_length_mm,back_width_mm,back_height_mm,pixels_across,pixels_down`
//! for bodies with a lens, `bodies.csv` with `frame,timecode,body,x_m,y_m,z_m,qx,qy,qz,qw` for those without; one row a photographed frame and body,
//! at mid-exposure; LF, `.`, no quoting needed. Positions in metres with 9 decimals, quaternions of length one with 12, right-handed, Y up; a camera
//! looks along its own -Z. At full size positions are divided by the stage's scale; focal length and film back stay, so that the view is the same.

use std::io;

use super::decimals::decimals;
use super::export::{Export, ExportError};
use super::folder::Aside;
use super::place::{PlaceError, Placed, Size, placed};
use super::{gltf, rods};
use crate::shot::Shot;
use crate::stage::Stage;

/// Which bodies a table is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
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
pub fn write(out: impl io::Write, stage: &Stage, shot: &Shot, bodies: &[Placed<'_>], kind: Kind, size: Size) -> Result<(), PlaceError> {
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

/// Adds to a folder what the paint and CG departments take over; nothing where the stage does not say where its bodies are.
pub(super) fn add(aside: &mut Aside, export: &Export<'_>, step: &mut dyn FnMut(&str)) -> Result<(), ExportError> {
    let compiled = &export.report.compiled;
    let (stage, shot) = (compiled.stage(), compiled.shot());
    if stage.bodies().is_empty() {
        return Ok(());
    }
    if rods::any(stage) {
        for pass in shot.passes() {
            let guide = rods::guide(compiled, pass)?;
            let name = format!("{}.rods.csv", pass.name());
            step(&name);
            aside.file(&name, |out| guide.write_lines(out).map_err(ExportError::from))?;
            let name = format!("{}.rod_outlines.csv", pass.name());
            step(&name);
            aside.file(&name, |out| guide.write_outlines(out).map_err(ExportError::from))?;
        }
    }
    let bodies = placed(compiled)?;
    let sizes: &[(Size, &str)] = if export.full_size { &[(Size::Model, ""), (Size::Full, ".full_size")] } else { &[(Size::Model, "")] };
    for (size, mark) in sizes {
        for (kind, stem) in [(Kind::Cameras, "camera"), (Kind::Figures, "bodies")] {
            if bodies.iter().all(|b| b.body.lens().is_some() != (kind == Kind::Cameras)) {
                continue;
            }
            let name = format!("{stem}{mark}.csv");
            step(&name);
            aside.file(&name, |out| write(out, stage, shot, &bodies, kind, *size).map_err(ExportError::from))?;
        }
        let name = format!("scene{mark}.glb");
        step(&name);
        aside.file(&name, |out| gltf::write(out, stage, shot, &bodies, *size).map_err(ExportError::from))?;
    }
    Ok(())
}
