//! The table of haze, row by row against distances and shares worked out anew.
//!
//! What: a distance as at full size, as a share of the visibility there; each time that the visibility goes by, 3.912 nepers are lost. Invariant: a number differs from the one worked
//! out anew by no more than half of its last digit and what two honest computations of the two places may differ by.

use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::figure::{add, length, less};
use super::haze_record::NEPERS;
use super::parts::handed_over;
use super::posed::Posed;
use super::poses::start_of;
use super::table::{Table, fixed};
use crate::number::elementary::exp;
use crate::shot::Shot;
use crate::stage::{Place as Part, Stage};

/// Name of the file.
pub(super) const FILE: &str = "haze.csv";

/// Nepers of a stop, natural logarithm of 2.
const STOP: f64 = core::f64::consts::LN_2;

/// Two honest computations of one number, as a share of it; of one that went through text too.
const ROUNDING: f64 = 1e-12;

/// The table being read.
pub(super) struct Haze {
    table: Option<Table>,
    /// Index of the camera among all that is handed over, and of every other with its name.
    camera: Option<usize>,
    bodies: Vec<(usize, String)>,
    /// Stops for each mm.
    stops: f64,
}

impl Haze {
    /// Opens the table; none where the shot has no haze.
    pub(super) fn open(dir: &Path, stage: &Stage, shot: &Shot, faults: &mut Faults) -> Option<Haze> {
        let haze = shot.haze()?;
        let (mut camera, mut bodies) = (None, Vec::new());
        for (i, (body, part, name)) in handed_over(stage).into_iter().enumerate() {
            let is_camera = part == Part::Body && body.lens().is_some();
            if is_camera && body.group() == haze.camera() {
                camera = Some(i);
            }
            if !is_camera {
                bodies.push((i, name));
            }
        }
        let table = Table::with_header(dir, FILE, 5, "frame,body,distance_mm,transmission,stops", faults);
        let full_size_mm = 1000.0 * haze.full_size_visibility();
        Some(Haze { table, camera, bodies, stops: NEPERS / STOP / stage.scale() / full_size_mm })
    }

    /// The rows of a frame, counted as the files count; after one that is not its own, the table is left.
    pub(super) fn frame(&mut self, number: i64, all: &[Posed], faults: &mut Faults) {
        let (Some(table), Some(camera)) = (&mut self.table, self.camera.and_then(|i| all.get(i))) else { return };
        for (index, name) in &self.bodies {
            let Some(body) = all.get(*index) else { continue };
            let line = table.line().map(|line| line.unwrap_or("the end").to_owned());
            let begin = format!("{number},{name},");
            let cells: Option<[f64; 3]> = line.as_ref().ok().and_then(|l| l.strip_prefix(&begin)).and_then(|rest| {
                let cells: Vec<&str> = rest.split(',').collect();
                let [distance, transmission, stops] = cells.as_slice() else { return None };
                Some([fixed(distance, 6)?, fixed(transmission, 9)?, fixed(stops, 6)?])
            });
            let Some(found) = cells else {
                let found = line.map_or_else(|what| what, |line| start_of(&line));
                faults.at(FaultKind::Rows, FILE, Some(name), number, || {
                    format!("found `{found}`, expected `{begin}` and a distance, a transmission and stops")
                });
                self.table = None;
                return;
            };
            if !(camera.known && body.known) {
                continue;
            }
            let distance = length(less(body.place.at, camera.place.at));
            let off = length(add(camera.position_room(), body.position_room()));
            let stops = self.stops * distance;
            let left = |stops: f64| exp(-STOP * stops);
            let transmission = left(stops);
            // Falling ever less steeply, it is off most where the place is nearer.
            let room = left((stops - self.stops * off).max(0.0)) - transmission;
            let expected = [
                ("distance", distance, 0.5e-6 + off, 6, "mm"),
                ("transmission", transmission, 0.5e-9 + room, 9, ""),
                ("loss", stops, 0.5e-6 + self.stops * off, 6, "stops"),
            ];
            for (found, (what, expected, room, places, unit)) in found.into_iter().zip(expected) {
                if !((found - expected).abs() <= room * (1.0 + 1e-9) + ROUNDING * expected) {
                    faults.at(FaultKind::HandOff, FILE, Some(name), number, || {
                        format!("found the {what} {found:.places$} {unit}, expected {expected:.places$}").replace(" ,", ",")
                    });
                    break;
                }
            }
        }
    }

    /// After the last frame nothing may follow.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        if let Some(table) = &mut self.table {
            table.end(FILE, faults);
        }
    }
}
