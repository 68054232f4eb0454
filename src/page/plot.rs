//! One axis or channel as a picture for documents: position, velocity, acceleration and jerk against frame, as SVG.
//!
//! Form: four panels, one below the other; limits as grey lines where they are near enough to be drawn, named where they are not; keys as circles,
//! the photographed span between two thin lines; what exceeds a limit in the one accent. Invariant: drawn from the pieces that become steps.
//! A channel that is no axis is drawn from its mechanism's forward kinematics, evenly sampled; it has no limits of its own. Limits: of a held pass the position alone means something, and alone is drawn.

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;

use super::curves::{keys, keys_of};
use super::page_error::PageError;
use crate::compile::Compiled;
use crate::motion::curve::Curve;
use crate::number::figures::figure;
use crate::number::{Jet, whole};
use crate::shot::{Exposure, Pass, Shot};
use crate::stage::{Axis, ChannelId, Utilisation};
use crate::time::FrameTime;

/// How every plot begins.
pub(crate) const PLOT_BEGINS: &str = "<!-- movewright plot -->";

/// How every plot ends, line ends left out.
pub(crate) const PLOT_ENDS: &str = "</svg>";

const INK: RGBColor = RGBColor(26, 26, 26);
const SOFT: RGBColor = RGBColor(140, 140, 140);
const ACCENT: RGBColor = RGBColor(213, 94, 0);
const SIZE: (u32, u32) = (1000, 900);

type Panel<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// What one panel shows.
struct Quantity {
    name: &'static str,
    unit: String,
    order: usize,
    lower: f64,
    upper: f64,
}

/// What is drawn.
enum Drawn<'a> {
    /// An axis's curve.
    Curve(&'a Curve),
    /// A channel with its derivatives at instants.
    Samples(Vec<(f64, Jet)>),
}

impl<'a> Drawn<'a> {
    /// A channel that a mechanism brings, sampled over the move of its axes.
    fn channel(compiled: &'a Compiled, channel: ChannelId) -> Drawn<'a> {
        let curves = compiled.stage().axes_of(channel).into_iter().map(|a| compiled.motion(a).curve());
        let (start, end) = curves.fold((f64::NEG_INFINITY, f64::INFINITY), |(s, e), c| (c.start().max(s), c.end().min(e)));
        let at = |i: u32| start + (end - start) * (f64::from(i) / COLUMNS);
        let samples = (0..=SAMPLES).map(at).filter_map(|t| Some((t, compiled.channel_jet_at(channel, FrameTime(t.clamp(start, end)))?)));
        Drawn::Samples(samples.collect())
    }

    fn span(&self) -> (f64, f64) {
        match self {
            Drawn::Curve(curve) => (curve.start(), curve.end()),
            Drawn::Samples(all) => (all.first().map_or(0.0, |s| s.0), all.last().map_or(1.0, |s| s.0)),
        }
    }

    /// The quantity along it.
    fn points(&self, pace: f64, order: usize) -> Vec<(f64, f64)> {
        let scale = [1.0, pace, pace * pace, pace * pace * pace].get(order).copied().unwrap_or(1.0);
        match self {
            Drawn::Curve(curve) => points(curve, pace, order),
            Drawn::Samples(all) => all.iter().map(|(t, j)| (*t, [j.p, j.v, j.a, j.j].get(order).copied().unwrap_or(0.0) / scale)).collect(),
        }
    }

    /// The position at a key, the nearest sample's of a channel.
    fn at(&self, t: f64) -> Option<f64> {
        match self {
            Drawn::Curve(curve) => curve.at(t),
            Drawn::Samples(all) => {
                let (from, to) = self.span();
                let near = all.iter().min_by(|a, b| (a.0 - t).abs().total_cmp(&(b.0 - t).abs()));
                near.filter(|_| from <= t && t <= to).map(|(at, j)| j.p + j.v * (t - at))
            }
        }
    }
}

/// The plot of an axis or a channel, by its full name, at the pace of a pass.
///
/// # Errors
/// An axis or channel the stage does not have; a drawing that fails.
pub(crate) fn plot(compiled: &Compiled, pass: &Pass, name: &str) -> Result<String, PageError> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let (drawn, quantities, keys) = match (stage.axis_of_name(name), stage.channel(name)) {
        (Some(id), _) => (Drawn::Curve(compiled.motion(id).curve()), quantities(stage.axis(id), pass), keys(compiled, id)),
        (None, Some(channel)) => {
            let quantities = unlimited(stage.channel_unit(channel), pass);
            (Drawn::channel(compiled, channel), quantities, keys_of(compiled, &[channel]))
        }
        (None, None) => return Err(PageError::NoAxis(name.to_owned())),
    };
    let mut text = String::new();
    {
        let height = if quantities.len() == 1 { SIZE.1 / 2 } else { SIZE.1 };
        let root = SVGBackend::with_string(&mut text, (SIZE.0, height)).into_drawing_area();
        root.fill(&WHITE).map_err(drawing)?;
        let title = format!("{}: {}, pass {}, {} s per frame", shot.name(), name, pass.name(), pass.pace().get());
        let root = root.titled(&title, ("sans-serif", 20).into_font().color(&INK)).map_err(drawing)?;
        for (area, q) in root.split_evenly((quantities.len(), 1)).iter().zip(&quantities) {
            panel(area, shot, &drawn, pass, q, &keys)?;
        }
        root.present().map_err(drawing)?;
    }
    Ok(format!("{PLOT_BEGINS}\n{text}"))
}

fn drawing(error: impl core::fmt::Display) -> PageError {
    PageError::Drawing(error.to_string())
}

fn quantities(axis: &Axis, pass: &Pass) -> Vec<Quantity> {
    let (l, t, u) = (axis.limits(), axis.travel(), axis.unit().symbol());
    let mut all = vec![Quantity { name: "position", unit: u.to_owned(), order: 0, lower: t.lower, upper: t.upper }];
    if pass.exposure() == Exposure::Moving {
        for (order, name, unit, limit) in [
            (1, "velocity", format!("{u}/s"), l.velocity),
            (2, "acceleration", format!("{u}/s2"), l.acceleration),
            (3, "jerk", format!("{u}/s3"), l.jerk),
        ] {
            all.push(Quantity { name, unit, order, lower: -limit, upper: limit });
        }
    }
    all
}

/// The quantities of a channel, which has no limits.
fn unlimited(unit: &str, pass: &Pass) -> Vec<Quantity> {
    let names = [("value", ""), ("velocity", "/s"), ("acceleration", "/s2"), ("jerk", "/s3")];
    let shown = if pass.exposure() == Exposure::Moving { names.len() } else { 1 };
    let quantity = |(order, (name, per)): (usize, (&'static str, &str))| Quantity {
        name,
        unit: format!("{unit}{per}"),
        order,
        lower: f64::NEG_INFINITY,
        upper: f64::INFINITY,
    };
    names.into_iter().enumerate().take(shown).map(quantity).collect()
}

/// Samples a panel is wide, at least; and every knot from either side.
const COLUMNS: f64 = 900.0;

/// The same, of a channel.
const SAMPLES: u32 = 900;

/// The quantity along the curve, piece by piece.
fn points(curve: &Curve, pace: f64, order: usize) -> Vec<(f64, f64)> {
    let scale = [1.0, pace, pace * pace, pace * pace * pace].get(order).copied().unwrap_or(1.0);
    let whole_length = curve.end() - curve.start();
    let mut all = Vec::new();
    for piece in curve.pieces() {
        let n = whole::ceiling(piece.length() / whole_length * COLUMNS).and_then(|n| u32::try_from(n).ok()).unwrap_or(2).max(2);
        for i in 0..=n {
            let u = f64::from(i) / f64::from(n);
            let jet = piece.quintic.jet(u, piece.length());
            let value = [jet.p, jet.v, jet.a, jet.j].get(order).copied().unwrap_or(0.0);
            all.push((piece.start + u * piece.length(), value / scale));
        }
    }
    all
}

fn panel(
    area: &DrawingArea<SVGBackend<'_>, Shift>,
    shot: &Shot,
    drawn: &Drawn<'_>,
    pass: &Pass,
    q: &Quantity,
    keys: &[f64],
) -> Result<(), PageError> {
    let points = drawn.points(pass.pace().get(), q.order);
    let (start, end) = drawn.span();
    let (least, most) = points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), (_, y)| (l.min(*y), m.max(*y)));
    let size = (most - least).max(most.abs()).max(least.abs()).max(f64::MIN_POSITIVE);
    // Limits far off would press the curve flat: they are named instead.
    let near = |limit: f64| (limit - 0.5 * (least + most)).abs() <= 2.5 * size;
    let mut low = if near(q.lower) { least.min(q.lower) } else { least };
    let mut high = if near(q.upper) { most.max(q.upper) } else { most };
    if !(low < high) {
        (low, high) = (low - 1.0, high + 1.0);
    }
    let pad = 0.08 * (high - low);
    let caption = if !q.upper.is_finite() || (near(q.lower) && near(q.upper)) {
        format!("{}, {}", q.name, q.unit)
    } else {
        format!("{}, {}; limits {} to {}", q.name, q.unit, figure(q.lower, ""), figure(q.upper, ""))
    };
    let mut chart = ChartBuilder::on(area)
        .caption(caption, ("sans-serif", 15).into_font().color(&INK))
        .margin(8)
        .x_label_area_size(26)
        .y_label_area_size(70)
        .build_cartesian_2d(start..end, (low - pad)..(high + pad))
        .map_err(drawing)?;
    chart
        .configure_mesh()
        .disable_mesh()
        .x_labels(8)
        .y_labels(4)
        .axis_style(SOFT)
        .label_style(("sans-serif", 13).into_font().color(&INK))
        .y_label_formatter(&|y| figure(*y, ""))
        .x_label_formatter(&|x| format!("{x:.0}"))
        .draw()
        .map_err(drawing)?;
    let (from, to) = shot.frames().photographed();
    for at in [from, to] {
        line(&mut chart, vec![(at, low - pad), (at, high + pad)], SOFT.stroke_width(1))?;
    }
    for limit in [q.lower, q.upper].into_iter().filter(|l| near(*l)) {
        line(&mut chart, vec![(start, limit), (end, limit)], SOFT.stroke_width(2))?;
    }
    line(&mut chart, points.clone(), INK.stroke_width(2))?;
    let used = |y: f64| match q.order {
        0 => Utilisation::of_margin((y - q.lower).min(q.upper - y), q.upper - q.lower),
        _ => Utilisation::of(y.abs(), q.upper),
    };
    let is_over = |y: f64| q.upper.is_finite() && used(y).is_exceeded();
    for part in points.split(|(_, y)| !is_over(*y)).filter(|part| !part.is_empty()) {
        line(&mut chart, part.to_vec(), ACCENT.stroke_width(3))?;
    }
    if q.order == 0 {
        let marks = keys.iter().filter_map(|k| Some((*k, drawn.at(*k)?)));
        chart.draw_series(marks.map(|at| Circle::new(at, 4, INK.stroke_width(2)))).map_err(drawing)?;
    }
    Ok(())
}

fn line(chart: &mut Panel<'_, '_>, points: Vec<(f64, f64)>, style: ShapeStyle) -> Result<(), PageError> {
    chart.draw_series(LineSeries::new(points, style)).map_err(drawing)?;
    Ok(())
}
