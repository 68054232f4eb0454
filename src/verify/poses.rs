//! The tables of cameras and figures, row by row against places worked out anew.
//!
//! Form: see the hand-off tables of the guide for integrators: metres with nine decimals, quaternions with twelve, a camera's lens with six.
//! Invariant: a number differs from the one worked out anew by no more than half of its last digit and what two honest computations may differ by.

use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::posed::{Posed, oriented};
use super::table::{Table, fixed};
use crate::stage::{Body, Stage};

/// One table being read.
pub(super) struct Poses<'a> {
    file: String,
    table: Option<Table>,
    /// Its bodies by their index on the stage, with their group's name.
    bodies: Vec<(usize, &'a Body, &'a str)>,
    /// What a length in mm is divided by.
    divisor: f64,
    before: Vec<Option<[f64; 4]>>,
}

impl<'a> Poses<'a> {
    /// Opens the table of cameras or of figures. `divisor` is what a length in mm is divided by.
    pub(super) fn open(dir: &Path, file: &str, stage: &'a Stage, cameras: bool, divisor: f64, faults: &mut Faults) -> Poses<'a> {
        let bodies: Vec<_> = stage
            .bodies()
            .iter()
            .enumerate()
            .filter(|(_, b)| b.lens().is_some() == cameras)
            .map(|(i, b)| (i, b, stage.group_name(b.group())))
            .collect();
        let what = if cameras { "camera" } else { "body" };
        let lens = if cameras { ",focal_length_mm,back_width_mm,back_height_mm,pixels_across,pixels_down" } else { "" };
        let header = format!("frame,timecode,{what},x_m,y_m,z_m,qx,qy,qz,qw{lens}");
        let table = Table::with_header(dir, file, 15, &header, faults);
        let before = vec![None; bodies.len()];
        Poses { file: file.to_owned(), table, bodies, divisor, before }
    }

    /// The rows of a frame; after one that is not its own, the table is left.
    pub(super) fn frame(&mut self, frame: i64, label: &str, all: &[Posed], faults: &mut Faults) {
        let Some(table) = &mut self.table else { return };
        for ((index, body, name), before) in self.bodies.iter().zip(&mut self.before) {
            let Some(posed) = all.get(*index) else { continue };
            let line = match table.line() {
                Ok(Some(line)) => line,
                Ok(None) => {
                    faults.at(FaultKind::Rows, &self.file, Some(name), frame, || "the row is missing".to_owned());
                    self.table = None;
                    return;
                }
                Err(what) => {
                    faults.at(FaultKind::Rows, &self.file, Some(name), frame, || what);
                    self.table = None;
                    return;
                }
            };
            match row(line, (frame, label, name), posed, (body, self.divisor), before) {
                Ok(None) => {}
                Ok(Some(what)) => faults.at(FaultKind::HandOff, &self.file, Some(name), frame, || what),
                Err(what) => {
                    faults.at(FaultKind::Rows, &self.file, Some(name), frame, || what);
                    self.table = None;
                    return;
                }
            }
        }
    }

    /// After the last frame nothing may follow.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        if let Some(table) = &mut self.table {
            table.end(&self.file, faults);
        }
    }
}

/// What does not hold in a row; the error is a row of another form.
fn row(
    line: &str,
    (frame, label, name): (i64, &str, &str),
    posed: &Posed,
    (body, divisor): (&Body, f64),
    before: &mut Option<[f64; 4]>,
) -> Result<Option<String>, String> {
    let rest = line
        .strip_prefix(&format!("{frame},{label},{name},"))
        .ok_or_else(|| format!("found the row `{}`, expected that of frame {frame}, {label}, {name}", start_of(line)))?;
    let cells: Vec<&str> = rest.split(',').collect();
    let places = [9, 9, 9, 12, 12, 12, 12];
    let (pose, lens) = cells.split_at_checked(places.len()).ok_or_else(|| "the row is too short".to_owned())?;
    let numbers: Option<Vec<f64>> = pose.iter().zip(places).map(|(cell, places)| fixed(cell, places)).collect();
    let Some([x, y, z, qx, qy, qz, qw]) = numbers.and_then(|n| <[f64; 7]>::try_from(n).ok()) else {
        return Err("a cell is not a number with its decimals".to_owned());
    };
    let expected_lens = body.lens().map(|lens| {
        let lengths = [lens.focal_length(), lens.back()[0], lens.back()[1]].map(|x| format!("{x:.6}"));
        let pixels = lens.pixels().map(|n| n.to_string());
        lengths.into_iter().chain(pixels).collect::<Vec<_>>().join(",")
    });
    if lens.join(",") != expected_lens.clone().unwrap_or_default() {
        return Ok(Some(format!("found the lens `{}`, expected `{}`", lens.join(","), expected_lens.unwrap_or_default())));
    }
    if !posed.known {
        return Ok(None);
    }
    let room = posed.position_room();
    for ((axis, found), (at, room)) in ["x", "y", "z"].iter().zip([x, y, z]).zip(posed.place.at.into_iter().zip(room)) {
        let (expected, room) = (at / divisor, 0.5e-9 + room / divisor);
        if !((found - expected).abs() <= room) {
            return Ok(Some(format!("{axis} is {found} m, expected {expected:.9} m within {room:.1e} m")));
        }
    }
    let found = [qw, qx, qy, qz];
    let expected = oriented(posed.place.turn, *before, found);
    *before = Some(expected);
    for (((part, found), expected), room) in ["qw", "qx", "qy", "qz"].iter().zip(found).zip(expected).zip(posed.turn_room()) {
        if !((found - expected).abs() <= 0.5e-12 + room) {
            return Ok(Some(format!("{part} is {found}, expected {expected:.12} within {:.1e}", 0.5e-12 + room)));
        }
    }
    Ok(None)
}

/// The first letters of a line.
pub(super) fn start_of(line: &str) -> String {
    line.chars().take(60).collect()
}
