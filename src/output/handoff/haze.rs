//! What haze leaves of the light of each figure, frame by frame: `haze.csv`, for lamps and compositing.
//!
//! Form: columns [`COLUMNS`], one row per photographed frame and body or limb, in the order of `bodies.csv`, at mid-exposure, straight from the camera's entrance pupil to the origin of the
//! body; LF, `.`, no quoting needed. Distances on the stage in mm with 6 decimals, shares with 9, stops with 6. Invariant: nothing is parked, as in `bodies.csv`.

use std::io;

use super::poses::{PoseError, PosedBody};
use super::sampling::Sampling;
use crate::output::decimals::decimals;
use crate::shot::{Haze, Shot};

/// Name of the file.
pub(super) const FILE: &str = "haze.csv";

const COLUMNS: [&str; 5] = ["frame", "body", "distance_mm", "transmission", "stops"];

/// Writes the table; `bodies` have one pose for each frame, at its middle.
///
/// # Errors
/// A writer that fails.
pub(super) fn write(
    out: impl io::Write,
    (shot, haze): (&Shot, &Haze),
    bodies: &[PosedBody<'_>],
    middles: &Sampling,
) -> Result<(), PoseError> {
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
    table.write_record(COLUMNS)?;
    let camera = bodies.iter().find(|b| b.limb.is_none() && b.body.group() == haze.camera());
    let mut digits = itoa::Buffer::new();
    let (mut text, mut record) = (String::new(), csv::ByteRecord::new());
    for (nth, frame) in shot.frames().frames().enumerate() {
        let Some(pupil) = camera.and_then(|c| c.poses.get(nth)) else { continue };
        for body in bodies.iter().filter(|b| b.lens().is_none()) {
            let Some(pose) = body.poses.get(nth) else { continue };
            let apart = pose.translation.vector - pupil.translation.vector;
            let veiled = haze.veil((apart.x * apart.x + apart.y * apart.y + apart.z * apart.z).sqrt());
            record.clear();
            record.push_field(digits.format(middles.number(frame)).as_bytes());
            record.push_field(body.name.as_bytes());
            for (number, places) in [(veiled.distance, 6), (veiled.transmission, 9), (veiled.stops, 6)] {
                decimals(&mut text, number, places);
                record.push_field(text.as_bytes());
            }
            table.write_byte_record(&record)?;
        }
    }
    table.flush()?;
    Ok(())
}
