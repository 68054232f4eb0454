//! How far each figure is off in the picture, row by row against both places seen anew.
//!
//! What: the origin of each body and limb in the picture of the first camera, measured and planned, at the middle of each frame. Tolerance: what both cameras and both places may honestly be off,
//! and half of the last digit. Invariant: where it is not certain whether an origin is in front of the camera, a row may be there or not.

use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::figure::{Place, Point};
use super::oracle::Oracle;
use super::parts::handed_over;
use super::picture::{View, apart};
use super::posed::{BEYOND_FIRST_ORDER, Posed, focus};
use super::table::{Table, fixed};
use crate::stage::{Body, Place as Part, Stage};

/// The table.
pub(super) const FILE: &str = "shifts.csv";

/// Half of the last of four decimals.
const HALF_DIGIT: f64 = 0.5e-4;

/// Rounding of pixels, as a share of them.
const ROUNDING: f64 = 1e-11;

/// Origins nearer to the plane of the lens than this, mm, or to the reach of its distortion than this share of it, may be seen or not.
const EDGE: f64 = 1e-6;

/// The table being read.
pub(super) struct Shifts<'a> {
    stage: &'a Stage,
    table: Option<Table>,
    /// A row that was read and belongs to what comes next.
    ahead: Option<String>,
}

/// Where an origin falls, px, and how far either number may be off.
struct Seen {
    at: [f64; 2],
    room: [f64; 2],
}

/// What a camera makes of an origin.
enum Sight {
    Seen(Seen),
    Unseen,
    /// At an edge, or of a place that was not found again.
    Uncertain,
}

impl<'a> Shifts<'a> {
    /// Opens the table.
    pub(super) fn open(dir: &Path, stage: &'a Stage, faults: &mut Faults) -> Shifts<'a> {
        Shifts { stage, table: Table::with_header(dir, FILE, 6, "frame,body,x,y,right_px,down_px", faults), ahead: None }
    }

    /// The rows of a frame, of the plan and as measured.
    pub(super) fn frame(&mut self, [plan, measured]: [&Oracle<'_>; 2], (frame, shown): (i64, i64), faults: &mut Faults) {
        let stage = self.stage;
        let Some(camera) = stage.bodies().iter().find(|b| b.lens().is_some()) else { return };
        for (body, part, name) in handed_over(stage).into_iter().filter(|(b, ..)| b.lens().is_none()) {
            if self.table.is_none() {
                return;
            }
            let both = [plan, measured].map(|oracle| sight(oracle, stage, camera, (body, part), frame as f64));
            let begin = format!("{shown},{name},");
            let row = match self.row(&begin) {
                Ok(row) => row,
                Err(what) => {
                    self.table = None;
                    return faults.at(FaultKind::Rows, FILE, Some(&name), frame, || what);
                }
            };
            let wrong = match (&both, row) {
                ([Sight::Seen(was), Sight::Seen(is)], Some(row)) => wrong(&row, was, is),
                ([Sight::Seen(_), Sight::Seen(_)], None) => Some("the row is missing".to_owned()),
                ([Sight::Unseen, _] | [_, Sight::Unseen], Some(_)) => {
                    Some("found a row of an origin that is not in front of the camera".to_owned())
                }
                _ => None,
            };
            if let Some(what) = wrong {
                faults.at(FaultKind::HandOff, FILE, Some(&name), frame, || what);
            }
        }
    }

    /// After the last frame nothing may follow.
    pub(super) fn end(&mut self, faults: &mut Faults) {
        let left = self.ahead.take().is_some();
        if let Some(table) = &mut self.table {
            if left {
                faults.file(FaultKind::Rows, FILE, "goes on after the last row".to_owned());
            } else {
                table.end(FILE, faults);
            }
        }
    }

    /// The rest of the next row where it begins so; another row waits.
    fn row(&mut self, begin: &str) -> Result<Option<String>, String> {
        let Some(table) = &mut self.table else { return Ok(None) };
        let line = match self.ahead.take() {
            Some(line) => Some(line),
            None => table.line()?.map(str::to_owned),
        };
        let rest = line.as_ref().and_then(|l| l.strip_prefix(begin)).map(str::to_owned);
        self.ahead = line.filter(|_| rest.is_none());
        Ok(rest)
    }
}

/// What does not hold in the rest of a row.
fn wrong(row: &str, was: &Seen, is: &Seen) -> Option<String> {
    let numbers: Option<Vec<f64>> = row.split(',').map(|cell| fixed(cell, 4)).collect();
    let Some([x, y, right, down]) = numbers.as_deref() else { return Some(format!("`{row}` is not four numbers with four decimals")) };
    let shift = [is.at[0] - was.at[0], is.at[1] - was.at[1]];
    let both = [was.room[0] + is.room[0], was.room[1] + is.room[1]];
    let each = [(x, is.at[0], is.room[0]), (y, is.at[1], is.room[1]), (right, shift[0], both[0]), (down, shift[1], both[1])];
    let off = each.into_iter().find(|(found, expected, room)| !((*found - expected).abs() <= HALF_DIGIT + room));
    off.map(|(found, expected, room)| format!("found {found} px, expected {expected:.4} px within {:.4} px", HALF_DIGIT + room))
}

/// An origin in the picture of a camera.
fn sight(oracle: &Oracle<'_>, stage: &Stage, camera: &Body, which: (&Body, Part), t: f64) -> Sight {
    let state = oracle.state(t);
    let (Some(lens), eye) = (camera.lens(), Posed::of(oracle, stage, None, camera, &state, true)) else { return Sight::Unseen };
    let thing = Posed::of_part(oracle, stage, which, &state, false);
    let view = View::of(lens, focus(oracle, stage, None, camera, &state));
    if !(eye.known && thing.known) {
        return Sight::Uncertain;
    }
    let reach = if lens.distortion().is_none() { f64::INFINITY } else { lens.distortion().reach() };
    // Depth in front of the lens, and how far inside the reach.
    let inside = |eye: &Place, at: Point| {
        let [x, y, z] = eye.inward(at);
        let off = apart(View::on_plane([x, y, z]), [0.0; 2]);
        [-z, if reach.is_finite() { (reach - off) / reach } else { f64::INFINITY }]
    };
    let all = || {
        core::iter::once((eye.place, thing.place.at))
            .chain(eye.moved.iter().map(|m| (*m, thing.place.at)))
            .chain(thing.moved.iter().map(|m| (eye.place, m.at)))
    };
    if all().any(|(eye, at)| inside(&eye, at).into_iter().any(|x| x < -EDGE)) {
        let certain = all().all(|(eye, at)| inside(&eye, at).into_iter().any(|x| x < -EDGE));
        return if certain { Sight::Unseen } else { Sight::Uncertain };
    }
    if !all().all(|(eye, at)| inside(&eye, at).into_iter().all(|x| x > EDGE)) {
        return Sight::Uncertain;
    }
    let pixel = |eye: &Place, at: Point| view.distorted(View::on_plane(eye.inward(at)));
    let at = pixel(&eye.place, thing.place.at);
    let size = lens.pixels().map(f64::from).into_iter().fold(0.0, f64::max);
    let mut room = at.map(|x| ROUNDING * (x.abs() + size) + view.slack * (x.abs() + size));
    for (eye, place) in all().skip(1) {
        for ((room, there), here) in room.iter_mut().zip(pixel(&eye, place)).zip(at) {
            *room += BEYOND_FIRST_ORDER * (there - here).abs();
        }
    }
    Sight::Seen(Seen { at, room })
}
