//! The tables of cameras and figures, row by row against places worked out anew.
//!
//! Form: see the hand-off tables of the guide for integrators: metres with nine decimals, quaternions with twelve, a camera's lens with six, coefficients of its distortion with nine.
//! Invariant: a number differs from the one worked out anew by no more than half of its last digit and what two honest computations may differ by.

use std::path::Path;

use super::fault::{FaultKind, Faults};
use super::parts::handed_over;
use super::picture::View;
use super::posed::{Posed, oriented};
use super::table::{Table, fixed};
use crate::shot::Shot;
use crate::stage::{Body, Place as Part, Stage};

/// One table being read.
pub(super) struct Poses<'a> {
    file: String,
    table: Option<Table>,
    /// Its bodies and limbs by their index among all, with their names.
    bodies: Vec<(usize, &'a Body, String)>,
    cameras: bool,
    /// What a length in mm is divided by.
    divisor: f64,
    /// The stop that the first pass which has one gives.
    stop: Option<f64>,
    is_sampled: bool,
    before: Vec<Option<[f64; 4]>>,
}

impl<'a> Poses<'a> {
    /// Opens the table of cameras or of figures. `divisor` is what a length in mm is divided by.
    pub(super) fn open(
        dir: &Path,
        file: &str,
        (stage, shot): (&'a Stage, &Shot),
        cameras: bool,
        (divisor, is_sampled): (f64, bool),
        faults: &mut Faults,
    ) -> Poses<'a> {
        let is_camera = |body: &Body, part: Part| body.lens().is_some() && part == Part::Body;
        let bodies: Vec<_> = handed_over(stage)
            .into_iter()
            .enumerate()
            .filter(|(_, (b, part, _))| is_camera(b, *part) == cameras)
            .map(|(i, (b, _, name))| (i, b, name))
            .collect();
        let what = if cameras { "camera" } else { "body" };
        let lens = if cameras {
            ",focal_length_mm,back_width_mm,back_height_mm,pixels_across,pixels_down,principal_x_mm,principal_y_mm,pixel_aspect,k1,k2,k3,p1,p2,overscan,focus_mm,\
             focus_depth_m,f_number,film_plane_mm,near_depth_m,far_depth_m"
        } else {
            ""
        };
        let sample = if is_sampled { ",sample,frame_time" } else { "" };
        let header = format!("frame,timecode,{what},x_m,y_m,z_m,qx,qy,qz,qw{lens}{sample}");
        let table = Table::with_header(dir, file, 32, &header, faults);
        let before = vec![None; bodies.len()];
        let stop = shot.passes().iter().find_map(crate::shot::Pass::stop);
        Poses { file: file.to_owned(), table, bodies, cameras, divisor, stop, is_sampled, before }
    }

    /// The rows of a frame; after one that is not its own, the table is left.
    pub(super) fn frame(&mut self, at: &Row<'_>, all: &[Posed], focus: &dyn Fn(&Body) -> (Option<f64>, f64), faults: &mut Faults) {
        let frame = at.number;
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
            let sample = if self.is_sampled { format!(",{},{:.6}", at.sample, at.at) } else { String::new() };
            let read = line
                .strip_suffix(&sample)
                .ok_or_else(|| format!("found the row `{}`, expected one that ends in `{sample}`", start_of(line)));
            let lens = body.lens().filter(|_| self.cameras);
            let expected = lens.map(|lens| (View::of(lens, focus(body)), focus(body)));
            let result =
                read.and_then(|line| row(line, (frame, at.label, name), posed, self.divisor, expected.map(|e| (e, self.stop)), before));
            match result {
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

/// What a row stands for.
#[derive(Debug)]
pub(super) struct Row<'a> {
    /// The frame as the files count it.
    pub(super) number: i64,
    pub(super) label: &'a str,
    /// From 1.
    pub(super) sample: usize,
    /// Frame time of the sample, counted so.
    pub(super) at: f64,
}

/// A lens in focus: the view, and the distance with how far that may be off.
type Focused<'a> = (View<'a>, (Option<f64>, f64));

/// What does not hold of a lens.
fn lens_cells(shown: &[&str], (view, (focus, room)): Focused<'_>, stop: Option<f64>, divisor: f64) -> Option<String> {
    let (lens, optics, k) = (view.lens, view.lens.optics(), view.lens.distortion().spec());
    let plain = |x: f64| (Some(x), 0.5e-6, 6);
    let blank = |x: Option<f64>, room: f64, places: usize| (x, room, places);
    let depth = focus.zip(optics.film_plane).map(|(focus, back)| (focus - back) / divisor);
    // What is in focus, from f^2 (s - d) / (d (s - f)) = N c on the near side, and the same with the other sign beyond.
    let blur = stop.zip(optics.circle_of_confusion).map(|(stop, confusion)| stop * confusion);
    let sharp = |is_near: bool| {
        let Some(((s, blur), back)) = focus.zip(blur).zip(optics.film_plane) else { return blank(None, 0.0, 9) };
        let f2 = lens.focal_length() * lens.focal_length();
        let limit = |s: f64| {
            let below = f2 + (if is_near { blur } else { -blur }) * (s - back - lens.focal_length());
            (below > 0.0).then(|| (s - back) * f2 / below / divisor)
        };
        // As far as the focus is known.
        match (limit(s - room), limit(s), limit(s + room)) {
            (Some(a), Some(b), Some(c)) => blank(Some(b), 0.5e-9 + (c - a).abs(), 9),
            (None, None, None) => blank(None, 0.0, 9),
            _ => blank(shown.last().and_then(|cell| fixed(cell, 9)), f64::INFINITY, 9),
        }
    };
    let [width, height] = lens.back();
    let expected = [
        (Some(view.focal_length), 0.5e-6 + view.slack * view.focal_length + 1e-12, 6),
        plain(width),
        plain(height),
        plain(optics.principal_point[0]),
        plain(optics.principal_point[1]),
        plain(optics.pixel_aspect),
        (Some(k.k1), 0.5e-9, 9),
        (Some(k.k2), 0.5e-9, 9),
        (Some(k.k3), 0.5e-9, 9),
        (Some(k.p1), 0.5e-9, 9),
        (Some(k.p2), 0.5e-9, 9),
        (view.overscan(), 1e-6 + 4.0 * view.slack, 6),
        blank(focus, 0.5e-6 + room, 6),
        blank(depth, 0.5e-9 + room / divisor, 9),
        blank(stop, 0.5e-6, 6),
        blank(optics.film_plane, 0.5e-6, 6),
        sharp(true),
        sharp(false),
    ];
    let names = "focal length,back width,back height,principal x,principal y,pixel aspect,k1,k2,k3,p1,p2,overscan,focus,depth of focus,f-number,film plane,near limit,far limit";
    let pixels = lens.pixels().map(|n| n.to_string());
    let [focal, width, height, across, down, rest @ ..] = shown else { return Some("the lens has too few cells".to_owned()) };
    if [*across, *down] != pixels.each_ref().map(String::as_str) {
        return Some(format!("found {across} x {down} pixels, expected {} x {}", pixels[0], pixels[1]));
    }
    let cells: Vec<&str> = [*focal, *width, *height].into_iter().chain(rest.iter().copied()).collect();
    if cells.len() != expected.len() {
        return Some(format!("the lens has {} cells, expected {}", cells.len() + 2, expected.len() + 2));
    }
    for ((cell, (number, room, places)), name) in cells.iter().zip(expected).zip(names.split(',')) {
        let fits = match number {
            None => cell.is_empty(),
            Some(expected) => {
                fixed(cell, places).is_some_and(|found| (found - expected).abs() <= room * (1.0 + 1e-9) + ROUNDING * expected.abs())
            }
        };
        if !fits {
            let expected = number.map_or("none".to_owned(), |n| format!("{n:.places$}"));
            return Some(format!("found the {name} `{cell}`, expected {expected}"));
        }
    }
    None
}

/// Two honest computations of one number.
const ROUNDING: f64 = 1e-14;

/// What does not hold in a row; the error is a row of another form.
fn row(
    line: &str,
    (frame, label, name): (i64, &str, &str),
    posed: &Posed,
    divisor: f64,
    lens: Option<(Focused<'_>, Option<f64>)>,
    before: &mut Option<[f64; 4]>,
) -> Result<Option<String>, String> {
    let rest = line
        .strip_prefix(&format!("{frame},{label},{name},"))
        .ok_or_else(|| format!("found the row `{}`, expected that of frame {frame}, {label}, {name}", start_of(line)))?;
    let cells: Vec<&str> = rest.split(',').collect();
    let places = [9, 9, 9, 12, 12, 12, 12];
    let (pose, shown) = cells.split_at_checked(places.len()).ok_or_else(|| "the row is too short".to_owned())?;
    let numbers: Option<Vec<f64>> = pose.iter().zip(places).map(|(cell, places)| fixed(cell, places)).collect();
    let Some([x, y, z, qx, qy, qz, qw]) = numbers.and_then(|n| <[f64; 7]>::try_from(n).ok()) else {
        return Err("a cell is not a number with its decimals".to_owned());
    };
    match lens {
        Some((focused, stop)) => {
            if let Some(what) = lens_cells(shown, focused, stop, divisor) {
                return Ok(Some(what));
            }
        }
        None if shown.is_empty() => {}
        None => return Err("the row is too long".to_owned()),
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
