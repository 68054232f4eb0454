//! The figures in the picture: what every proxy sweeps in an exposure.
//!
//! Form: `PASS.silhouettes.csv` with the header of [`HEAD`]: for every photographed frame, camera, and proxy that is for pictures (`proxy` counts them from 1 in their group; `body` is `GROUP` or
//! `GROUP.LIMB`) one row: `outline` lists the corners of the convex outline of what it sweeps while the shutter is open, `x y x y ...`, pixels on the plate from the left and the top of the picture, one decimal;
//! `undistorted` the same points without the distortion, empty where the lens has none. Pixel (0, 0) is the outer corner of the first pixel. One row holds a whole outline, for they have some fifty corners.
//! The outline holds the proxy at nine instants, eighths of the exposure; the proxy leaves it by no more than `margin` pixels: what its round ends leave their polygons and what corners left out would add, and between instants and along a
//! distorted plate twice the sag of the strongest bends found there, an estimate, not a proof. Nothing is cut in silence: `cut` is `some` where a part of it is nearer than the near plane (a hundredth of the focal
//! length) or farther off the axis than the distortion describes, and `state` says where the outline is; of a proxy with nothing to see the lists are empty.

use std::io;

use super::line::second_difference;
use super::outline::{State, hull, state};
use super::poses::{PoseError, focus, name, posture};
use super::rods::instants;
use super::sampling::Sampling;
use crate::compile::Compiled;
use crate::mechanism::silhouette::{NEAR, Silhouette, Spot, leaves, points_round, silhouette};
use crate::mechanism::{Lens, Pixel, Vector};
use crate::output::decimals::decimals;
use crate::shot::Pass;
use crate::stage::{Body, Posture, Stage};
use crate::time::FrameTime;

/// Columns.
const HEAD: [&str; 9] = ["frame", "camera", "body", "proxy", "margin", "cut", "state", "outline", "undistorted"];

/// How far polygons may be off the round ends, pixels, up to 64 points.
const SAG: f64 = 0.25;

/// Half of the last digit, in both directions at most.
const ROUNDED: f64 = 0.08;

/// Corners are left out as long as what they add is no more than this, pixels.
const LEFT_OUT: f64 = 0.5;

/// True where there is a proxy for pictures and a camera to see it.
#[must_use]
pub(crate) fn any(stage: &Stage) -> bool {
    stage.bodies().iter().any(|b| b.lens().is_some()) && stage.bodies().iter().any(|b| b.lens().is_none() && !b.shown().is_empty())
}

/// A proxy in one exposure.
#[derive(Debug)]
struct Swept {
    outline: Vec<Pixel>,
    undistorted: Vec<Pixel>,
    margin: f64,
    cut: bool,
    state: State,
}

/// Writes the silhouettes of a pass.
///
/// # Errors
/// A body without a pose in an exposure; a writer that fails.
pub(crate) fn write(out: impl io::Write, compiled: &Compiled, pass: &Pass, sampling: &Sampling) -> Result<(), PoseError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let mut table = csv::WriterBuilder::new().terminator(csv::Terminator::Any(b'\n')).from_writer(out);
    table.write_record(HEAD)?;
    let (mut text, mut digits, mut record) = (String::new(), itoa::Buffer::new(), csv::ByteRecord::new());
    let names: Vec<Vec<String>> =
        stage.bodies().iter().map(|b| b.shown().iter().map(|s| stage.part_name(b, s.ends[0].place)).collect()).collect();
    for frame in shot.frames().frames() {
        let instants: Vec<FrameTime> = instants(pass, frame).into_iter().map(FrameTime).collect();
        let at = |body: &Body| instants.iter().map(|t| posture(compiled, Some(pass), body, *t)).collect::<Result<Vec<Posture>, _>>();
        let figures: Vec<(&Body, &Vec<String>, Vec<Posture>)> = stage
            .bodies()
            .iter()
            .zip(&names)
            .filter(|(b, _)| b.lens().is_none() && !b.shown().is_empty())
            .map(|(b, names)| Ok((b, names, at(b)?)))
            .collect::<Result<_, PoseError>>()?;
        for camera in stage.bodies() {
            let Some(lens) = camera.lens() else { continue };
            let stands = at(camera)?;
            let focused = |t: &FrameTime| focus(compiled, Some(pass), camera, *t).map(|focus| lens.focused(focus));
            let lenses: Vec<Lens> = instants.iter().map(focused).collect::<Result<_, _>>()?;
            for (figure, names, places) in &figures {
                for ((number, solid), part) in (1_usize..).zip(figure.shown()).zip(*names) {
                    let ends = |(c, f): (&Posture, &Posture)| solid.ends.map(|end| c.body().inward(f.out(&end)));
                    let ends: Vec<[Vector; 2]> = stands.iter().zip(places).map(ends).collect();
                    let swept = swept(&lenses, &ends, solid.radius);
                    record.clear();
                    record.push_field(digits.format(sampling.number(frame)).as_bytes());
                    record.push_field(name(stage, camera).as_bytes());
                    record.push_field(part.as_bytes());
                    record.push_field(digits.format(number).as_bytes());
                    if swept.outline.is_empty() {
                        record.push_field(b"");
                    } else {
                        // Rounded up.
                        decimals(&mut text, swept.margin + 0.05, 1);
                        record.push_field(text.as_bytes());
                    }
                    record.push_field(if swept.cut { b"some" } else { b"" });
                    record.push_field(swept.state.name().as_bytes());
                    list(&mut record, &mut text, &swept.outline);
                    list(&mut record, &mut text, if lens.distortion().is_none() { &[] } else { &swept.undistorted });
                    table.write_byte_record(&record)?;
                }
            }
        }
    }
    table.flush()?;
    Ok(())
}

/// What a capsule sweeps, by its ends in the camera's axes at every instant.
fn swept(lenses: &[Lens], ends: &[[Vector; 2]], radius: f64) -> Swept {
    let both = || lenses.iter().zip(ends);
    let points = both().map(|(lens, e)| points_round(lens, *e, radius, SAG)).max().unwrap_or(8);
    let seen: Vec<Silhouette> = both().map(|(lens, e)| silhouette(lens, *e, radius, points)).collect();
    let spots: Vec<Spot> = seen.iter().flat_map(|s| s.spots.iter().copied()).collect();
    let outline = fewer(&hull(&spots.iter().map(|s| s.plate).collect::<Vec<_>>()));
    let spot_of = |corner: &Pixel| spots.iter().find(|s| s.plate == *corner).map_or(*corner, |s| s.undistorted);
    let undistorted = outline.iter().map(spot_of).collect();
    let round = both().map(|(lens, e)| leaves(lens, *e, radius, points)).fold(0.0, f64::max);
    let over_time = seen.windows(3).map(bend).fold(0.0, f64::max) / 4.0;
    let along = seen.iter().map(|s| bow(&s.spots, points)).fold(0.0, f64::max) / 4.0;
    let margin = if outline.is_empty() { 0.0 } else { round + LEFT_OUT + ROUNDED + over_time + along };
    let cut = seen.iter().any(|s| s.is_cut || (s.spots.is_empty() && !outline.is_empty()));
    let state = match (lenses.first(), outline.as_slice()) {
        (Some(lens), corners @ [_, ..]) => match state(lens, corners, margin) {
            State::In if cut => State::Part,
            other => other,
        },
        _ if both().any(|(lens, e)| e.iter().any(|v| NEAR * lens.focal_length() + radius <= -v.z)) => State::Beyond,
        _ => State::Behind,
    };
    Swept { outline, undistorted, margin, cut, state }
}

/// A convex outline with as few of its corners as leave nothing out by more than [`LEFT_OUT`], taken from the first on.
fn fewer(corners: &[Pixel]) -> Vec<Pixel> {
    let mut kept: Vec<Pixel> = Vec::new();
    let mut from = 0;
    while let Some(here) = corners.get(from) {
        kept.push(*here);
        let ends = (from + 2)..=corners.len();
        let end_at = |to: usize| corners.get(to).or(corners.first()).copied();
        let holds = |to: &usize| {
            let (Some(end), Some(between)) = (end_at(*to), corners.get(from + 1..*to)) else { return false };
            between.iter().all(|p| off(*here, end, *p) <= LEFT_OUT)
        };
        from = ends.take_while(holds).last().unwrap_or(from + 1);
    }
    // Two corners are no outline: what is that thin keeps all.
    if kept.len() < 3 { corners.to_vec() } else { kept }
}

/// How far a point is from the line through two others, pixels.
fn off(a: Pixel, b: Pixel, p: Pixel) -> f64 {
    let (x, y) = (b.right - a.right, b.down - a.down);
    let length = (x * x + y * y).sqrt();
    let (right, down) = (p.right - a.right, p.down - a.down);
    if length > 0.0 { ((x * down - y * right) / length).abs() } else { (right * right + down * down).sqrt() }
}

/// The longest second difference of a point over three instants, pixels.
fn bend(three: &[Silhouette]) -> f64 {
    let [a, b, c] = three else { return 0.0 };
    let same = a.spots.len() == b.spots.len() && b.spots.len() == c.spots.len();
    let all = a.spots.iter().zip(&b.spots).zip(&c.spots).filter(|_| same);
    all.map(|((a, b), c)| second_difference(a.plate, b.plate, c.plate)).fold(0.0, f64::max)
}

/// The longest second difference along the balls of a distorted plate, pixels.
fn bow(spots: &[Spot], points: u32) -> f64 {
    let n = usize::try_from(points).unwrap_or(usize::MAX);
    let rows: Vec<&[Spot]> = spots.chunks(n.max(1)).collect();
    let along = |three: &[&[Spot]]| {
        let [a, b, c] = three else { return 0.0 };
        a.iter().zip(*b).zip(*c).map(|((a, b), c)| second_difference(a.plate, b.plate, c.plate)).fold(0.0, f64::max)
    };
    rows.windows(3).map(along).fold(0.0, f64::max)
}

/// `x y x y ...`, one decimal.
fn list(record: &mut csv::ByteRecord, text: &mut String, corners: &[Pixel]) {
    let mut all = String::with_capacity(14 * corners.len());
    for x in corners.iter().flat_map(|p| [p.right, p.down]) {
        if !all.is_empty() {
            all.push(' ');
        }
        decimals(text, x, 1);
        all.push_str(text);
    }
    record.push_field(all.as_bytes());
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;
    use crate::mechanism::LensSpec;
    use crate::number::elementary;

    /// Derived: a ball of 600 mm 1000 mm ahead is seen as a circle of 1500 px x 0.75 = 1125 px about the middle. Every corner is on it, the circle is nowhere farther outside than the margin,
    /// and the margin that is written is not below it.
    #[test]
    fn a_ball_by_hand_leaves_its_outline_by_no_more_than_the_margin() {
        let lens = Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap();
        for (ahead, radius, px) in [(1000.0, 600.0, 1125.0), (1000.0, 60.0, 1500.0 * 0.06 / (1.0 - 0.0036_f64).sqrt())] {
            let ball = swept(&vec![lens.clone(); 9], &[[Vector::new(0.0, 0.0, -ahead); 2]; 9], radius);
            let apart = |p: &Pixel| ((p.right - 640.0) * (p.right - 640.0) + (p.down - 512.0) * (p.down - 512.0)).sqrt();
            assert!(ball.outline.iter().all(|p| (apart(p) - px).abs() < 1e-9), "{ball:?}");
            let (mut all, mut text) = (csv::ByteRecord::new(), String::new());
            list(&mut all, &mut text, &ball.outline);
            let written: Vec<f64> = String::from_utf8_lossy(&all[0]).split(' ').map(|t| t.parse().unwrap()).collect();
            decimals(&mut text, ball.margin + 0.05, 1);
            let margin: f64 = text.parse().unwrap();
            let worst = (0..720)
                .map(|i| {
                    let turn = core::f64::consts::PI * f64::from(i) / 360.0;
                    let (x, y) = (elementary::cos(turn), elementary::sin(turn));
                    let reach = written.chunks(2).map(|p| (p[0] - 640.0) * x + (p[1] - 512.0) * y).fold(f64::NEG_INFINITY, f64::max);
                    px - reach
                })
                .fold(0.0, f64::max);
            assert!(ball.margin <= margin && worst <= margin && worst > 0.1, "{worst} {margin}");
            assert!((ball.state, ball.cut) == (if radius > 100.0 { State::Part } else { State::In }, false));
        }
    }

    /// Between the pupil and the near plane nothing is seen of it, and no distortion is to blame.
    #[test]
    fn what_is_nearer_than_the_near_plane_is_behind_the_camera() {
        let lens = Lens::new(LensSpec { focal_length: 15.0, back: [12.8, 10.24], pixels: [1280, 1024] }).unwrap();
        let near = swept(&[lens], &[[Vector::new(0.0, 0.0, -5.0); 2]], 6.0);
        assert!(near.outline.is_empty() && near.cut && near.state == State::Behind);
    }
}
