//! The picture at every frame: outlines of proxies, rods and wires as the first camera's lens sees them.
//!
//! What: of each figure the outlines of its proxies at mid-exposure and swept through the exposure (at its opening, middle and closing), and its rods and wires at mid-exposure; plate pixels,
//! whole, through the lens as it is focused then. Sets as in [`super::scene`].
//! Limits: outlines are drawn to a four-hundredth of the picture's width, and what sweeps less is not shown swept; the files for paint have a fraction of a pixel. What is cut by the near plane is drawn as far as it is seen.

use serde::Serialize;

use super::page_error::PageError;
use crate::compile::{Compiled, frame_time};
use crate::mechanism::silhouette::{points_round, silhouette};
use crate::mechanism::{Lens, Pixel, Pose};
use crate::output::handoff::line::line;
use crate::output::handoff::outline::hull;
use crate::output::handoff::poses::{self, PoseError};
use crate::shot::{Exposure, Pass};
use crate::stage::{Body, Posture};
use crate::time::FrameTime;

/// What a camera sees.
#[derive(Serialize)]
pub(super) struct Picture {
    camera: String,
    size: [u32; 2],
    figures: Vec<FigureData>,
    /// Shutter angles of the exposures shown, one for each set; 0 where the pass is held.
    shutters: Vec<f64>,
}

/// A figure, for each set and frame.
#[derive(Serialize)]
struct FigureData {
    name: String,
    sets: Vec<Option<Vec<FrameData>>>,
}

/// Lists of right and down, pixels: the first point, then from each point to the next.
#[derive(Serialize, PartialEq)]
struct FrameData {
    /// Outlines at mid-exposure.
    #[serde(rename = "o")]
    outlines: Vec<Vec<i64>>,
    /// Outlines swept through the exposure; empty where less than [`SAG`] is swept.
    #[serde(rename = "s", skip_serializing_if = "Vec::is_empty")]
    swept: Vec<Vec<i64>>,
    /// Rods, then wires.
    #[serde(rename = "l")]
    lines: Vec<Vec<i64>>,
}

/// Parts of the picture's width that an outline may be off.
const SAG: f64 = 400.0;

/// The picture of the first camera; `None` where there is none.
pub(super) fn picture(compiled: &Compiled, shown: &[&Pass]) -> Result<Option<Picture>, PageError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let Some((camera, lens)) = stage.bodies().iter().find_map(|b| Some((b, b.lens()?))) else { return Ok(None) };
    let figures: Vec<&Body> = stage.bodies().iter().filter(|b| b.group() != camera.group()).collect();
    let mut data: Vec<FigureData> =
        figures.iter().map(|b| FigureData { name: poses::name(stage, b).to_owned(), sets: Vec::new() }).collect();
    for pass in shown {
        let mut all: Vec<Vec<FrameData>> = figures.iter().map(|_| Vec::new()).collect();
        for frame in shot.frames().frames() {
            let views: Vec<View> = offsets(pass)
                .iter()
                .map(|o| View::of(compiled, pass, (camera, lens), FrameTime(frame_time(frame) + o)))
                .collect::<Result<_, _>>()?;
            for (figure, list) in figures.iter().zip(&mut all) {
                let postures: Vec<Posture> = views.iter().map(|v| posture(compiled, pass, figure, v.t)).collect::<Result<_, _>>()?;
                list.push(frame_data(figure, &views, &postures));
            }
        }
        for (figure, list) in data.iter_mut().zip(all) {
            let known = figure.sets.first().is_some_and(|first| first.as_ref() == Some(&list));
            figure.sets.push((!known).then_some(list));
        }
    }
    let shutters = shown.iter().map(|p| if p.exposure() == Exposure::Moving { p.shutter().degrees() } else { 0.0 }).collect();
    Ok(Some(Picture { camera: poses::name(stage, camera).to_owned(), size: lens.pixels(), figures: data, shutters }))
}

/// Middle, opening and closing of the exposure, frames; of a held one the middle.
fn offsets(pass: &Pass) -> Vec<f64> {
    let half = pass.shutter().degrees() / 720.0;
    if pass.exposure() == Exposure::Moving { vec![0.0, -half, half] } else { vec![0.0] }
}

/// The camera at an instant.
struct View {
    t: FrameTime,
    lens: Lens,
    camera: Pose<f64>,
}

impl View {
    fn of(compiled: &Compiled, pass: &Pass, (camera, lens): (&Body, &Lens), t: FrameTime) -> Result<View, PageError> {
        let pose = *posture(compiled, pass, camera, t)?.body();
        let name = poses::name(compiled.stage(), camera).to_owned();
        let focus = compiled.focus_at(Some(pass), camera, t).map_err(|error| PoseError::NoPose { body: name, at: t.0, error })?;
        Ok(View { t, lens: lens.focused(focus), camera: pose })
    }
}

fn posture(compiled: &Compiled, pass: &Pass, body: &Body, t: FrameTime) -> Result<Posture, PageError> {
    let no_pose = |error| PoseError::NoPose { body: poses::name(compiled.stage(), body).to_owned(), at: t.0, error };
    Ok(compiled.posture_at(Some(pass), body, t).map_err(no_pose)?)
}

fn frame_data(figure: &Body, views: &[View], postures: &[Posture]) -> FrameData {
    let (mut outlines, mut swept) = (Vec::new(), Vec::new());
    for solid in figure.shown() {
        let seen = |(view, posture): (&View, &Posture)| -> Vec<Pixel> {
            let [across, _] = view.lens.pixels().map(f64::from);
            let ends = solid.ends.map(|end| view.camera.inward(posture.out(&end)));
            silhouette(&view.lens, ends, solid.radius, points_round(&view.lens, ends, solid.radius, across / SAG))
                .spots
                .iter()
                .map(|s| s.plate)
                .collect()
        };
        let mut instants = views.iter().zip(postures).map(seen);
        let middle = instants.next().unwrap_or_default();
        let (still, all) = (hull(&middle), hull(&instants.fold(middle, |all, more| [all, more].concat())));
        outlines.push(corners(&still));
        let small = views.first().map_or(0.0, |v| f64::from(v.lens.pixels()[0]) / SAG);
        let grown = extent(&still).iter().zip(extent(&all)).any(|(a, b)| (a - b).abs() > small);
        swept.push(if grown { corners(&all) } else { Vec::new() });
    }
    if swept.iter().all(Vec::is_empty) {
        swept.clear();
    }
    let (Some(view), Some(posture)) = (views.first(), postures.first()) else { return FrameData { outlines, swept, lines: Vec::new() } };
    let lines = figure.lines().iter().map(|l| {
        let path = line(&view.lens, l.ends.map(|end| view.camera.inward(posture.out(&end))), l.diameter).path;
        corners(&path.iter().map(|s| s.plate).collect::<Vec<_>>())
    });
    FrameData { outlines, swept, lines: lines.collect() }
}

/// Left, right, top and bottom.
fn extent(outline: &[Pixel]) -> [f64; 4] {
    let start = [f64::INFINITY, f64::NEG_INFINITY, f64::INFINITY, f64::NEG_INFINITY];
    outline.iter().fold(start, |[l, r, t, b], p| [l.min(p.right), r.max(p.right), t.min(p.down), b.max(p.down)])
}

fn corners(outline: &[Pixel]) -> Vec<i64> {
    let (mut right, mut down) = (0, 0);
    let step = |p: &Pixel| {
        let at = [whole(p.right), whole(p.down)];
        let by = [at[0].saturating_sub(right), at[1].saturating_sub(down)];
        [right, down] = at;
        by
    };
    outline.iter().flat_map(step).collect()
}

/// Whole units for drawing.
pub(super) fn whole(x: f64) -> i64 {
    crate::number::whole::nearest(x).unwrap_or(0)
}
