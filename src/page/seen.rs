//! The picture at every frame: outlines of proxies, rods and wires as the first camera's lens sees them.
//!
//! What: of each figure the outlines of its proxies at mid-exposure and swept through the exposure (at its opening, middle and closing), and its rods and wires at mid-exposure; plate pixels,
//! whole, through the lens as it is focused then. Sets as in [`super::scene`].
//! Limits: outlines are rough ones, off by a four-hundredth of the picture's width at most, and what sweeps less is not shown swept; the files for paint have a fraction of a pixel. What is cut by the near
//! plane is drawn as far as it is seen.

use serde::Serialize;

use super::page_error::PageError;
use super::sets::{Same, Sets};
use crate::check::register::instants;
use crate::compile::{Compiled, frame_time};
use crate::mechanism::convex::hull;
use crate::mechanism::rough_outline::{Extent, SAG, rough_outline};
use crate::mechanism::{Lens, Pixel, Pose};
use crate::output::handoff::line::line;
use crate::output::handoff::poses::{self, focus, posture};
use crate::shot::{Exposure, Pass};
use crate::stage::{Body, Posture};
use crate::time::FrameTime;

/// What a camera sees.
#[derive(Serialize)]
pub(super) struct Picture {
    camera: String,
    pub(super) size: [u32; 2],
    pub(super) figures: Vec<FigureData>,
    /// Shutter angles of the exposures shown, one for each set; 0 where the pass is held.
    shutters: Vec<f64>,
}

/// A figure, for each set and frame; `null` where they are those of the first set.
#[derive(Serialize, Clone)]
pub(super) struct FigureData {
    pub(super) name: String,
    sets: Vec<Option<Vec<FrameData>>>,
}

impl FigureData {
    /// Frame by frame, as it is seen in a set.
    pub(super) fn of_set(&self, set: usize) -> Option<&[FrameData]> {
        self.sets.get(set)?.as_ref().or(self.sets.first()?.as_ref()).map(Vec::as_slice)
    }
}

/// Lists of right and down, pixels: the first point, then from each point to the next.
#[derive(Serialize, Clone, PartialEq)]
pub(super) struct FrameData {
    /// Outlines at mid-exposure.
    #[serde(rename = "o")]
    outlines: Vec<Vec<i64>>,
    /// Outlines swept through the exposure; empty where less than a rough outline may be off is swept.
    #[serde(rename = "s", skip_serializing_if = "Vec::is_empty")]
    swept: Vec<Vec<i64>>,
    /// Rods, then wires.
    #[serde(rename = "l")]
    lines: Vec<Vec<i64>>,
}

/// The picture of the first camera; `None` where there is none. Figures that it saw alike before are taken over.
pub(super) fn picture(compiled: &Compiled, shown: &[&Pass], before: Option<(&Same, &Picture)>) -> Result<Option<Picture>, PageError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let Some((camera, lens)) = stage.camera().and_then(|b| Some((b, b.lens()?))) else { return Ok(None) };
    let figures: Vec<&Body> = stage.bodies().iter().filter(|b| b.group() != camera.group()).collect();
    let before = before.filter(|(same, _)| same.has(stage, camera)).map(|(same, picture)| (same, picture.figures.as_slice()));
    let known = |(number, figure): (usize, &&Body)| before.filter(|(same, _)| same.has(stage, figure))?.1.get(number).cloned();
    let known: Vec<Option<FigureData>> = figures.iter().enumerate().map(known).collect();
    let fresh: Vec<&Body> = figures.iter().zip(&known).filter(|(_, known)| known.is_none()).map(|(figure, _)| *figure).collect();
    let mut data = fresh.iter().map(|b| FigureData { name: poses::name(stage, b).to_owned(), sets: Vec::new() }).collect::<Vec<_>>();
    for pass in shown.iter().filter(|_| !fresh.is_empty()) {
        let mut all: Vec<Vec<FrameData>> = fresh.iter().map(|_| Vec::new()).collect();
        for frame in shot.frames().frames() {
            let views: Vec<View> = instants(pass)
                .iter()
                .map(|o| View::of(compiled, pass, (camera, lens), FrameTime(frame_time(frame) + o)))
                .collect::<Result<_, _>>()?;
            for (figure, list) in fresh.iter().zip(&mut all) {
                let postures: Vec<Posture> = views.iter().map(|v| posture(compiled, Some(pass), figure, v.t)).collect::<Result<_, _>>()?;
                list.push(frame_data(figure, &views, &postures));
            }
        }
        for (figure, list) in data.iter_mut().zip(all) {
            let known = figure.sets.first().is_some_and(|first| first.as_ref() == Some(&list));
            figure.sets.push((!known).then_some(list));
        }
    }
    let mut data = data.into_iter();
    let figures = known.into_iter().filter_map(|known| known.or_else(|| data.next())).collect();
    let shutters = shown.iter().map(|p| if p.exposure() == Exposure::Moving { p.shutter().degrees() } else { 0.0 }).collect();
    Ok(Some(Picture { camera: poses::name(stage, camera).to_owned(), size: lens.pixels(), figures, shutters }))
}

/// What a page shows of the picture; kept for the page after it.
pub(crate) struct Pictured(pub(super) Option<Picture>);

/// The picture in the sets of the passes; figures that the camera sees as it did in a shot before, on an equal stage, are taken over.
///
/// # Errors
/// A figure without a place at a frame.
pub(crate) fn pictured(compiled: &Compiled, before: Option<(&Compiled, &Pictured)>) -> Result<Pictured, PageError> {
    let same = before.map(|(old, pictured)| (Same::between(old, compiled), pictured));
    let before = same.as_ref().and_then(|(same, pictured)| Some((same, pictured.0.as_ref()?)));
    Ok(Pictured(if compiled.stage().bodies().is_empty() { None } else { picture(compiled, &Sets::of(compiled).shown, before)? }))
}

/// The camera at an instant.
struct View {
    t: FrameTime,
    lens: Lens,
    camera: Pose<f64>,
}

impl View {
    fn of(compiled: &Compiled, pass: &Pass, (camera, lens): (&Body, &Lens), t: FrameTime) -> Result<View, PageError> {
        let pose = *posture(compiled, Some(pass), camera, t)?.body();
        Ok(View { t, lens: lens.focused(focus(compiled, Some(pass), camera, t)?), camera: pose })
    }
}

fn frame_data(figure: &Body, views: &[View], postures: &[Posture]) -> FrameData {
    let middle = views.len() / 2;
    let (Some(view), Some(posture)) = (views.get(middle), postures.get(middle)) else {
        return FrameData { outlines: Vec::new(), swept: Vec::new(), lines: Vec::new() };
    };
    let small = f64::from(view.lens.pixels()[0]) / SAG;
    let (mut outlines, mut swept) = (Vec::new(), Vec::new());
    for solid in figure.shown() {
        let seen = |(view, posture): (&View, &Posture)| {
            rough_outline(&view.lens, solid.ends.map(|end| view.camera.inward(posture.out(&end))), solid.radius)
        };
        let instants: Vec<Vec<Pixel>> = views.iter().zip(postures).map(seen).collect();
        let (still, all) = (instants.get(middle).map_or(&[][..], Vec::as_slice), hull(&instants.concat()));
        let grown = Extent::of(still).0.iter().zip(Extent::of(&all).0).any(|(a, b)| (a - b).abs() > small);
        outlines.push(corners(still));
        swept.push(if grown { corners(&all) } else { Vec::new() });
    }
    if swept.iter().all(Vec::is_empty) {
        swept.clear();
    }
    let lines = figure.lines().iter().map(|l| {
        let path = line(&view.lens, l.ends.map(|end| view.camera.inward(posture.out(&end))), l.diameter).path;
        corners(&path.iter().map(|s| s.plate).collect::<Vec<_>>())
    });
    FrameData { outlines, swept, lines: lines.collect() }
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
