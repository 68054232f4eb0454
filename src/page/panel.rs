//! Panels: lines and dots over two axes, as SVG that needs no script.
//!
//! Form: the drawing is as wide as there is room; curves stretch with it, their strokes and all texts keep their size. Colours are those of the page, light or dark. Names stand beside the ends of their lines,
//! apart from each other. Invariant: numbers and fixed names alone, no text of the input. Limits: two or more points; texts beside the drawing have the room that `study.css` leaves.

use maud::{Markup, PreEscaped, html};

use crate::number::whole;

/// Height of a drawing, px: that of `study.css`.
const HEIGHT: f64 = 240.0;

/// Numbers that are asked for beside a drawing, and below it where there is room.
const MOST_UP: f64 = 6.0;
const MOST_ACROSS: [f64; 4] = [8.0, 5.0, 3.0, 2.0];

/// Width of a digit, px, and of the narrowest drawing, on a phone.
const DIGIT: f64 = 9.0;
const NARROWEST: f64 = 230.0;

/// Least distance between names, px.
const LINE: f64 = 17.0;

/// Share of the range that is left free above and below.
const FREE: f64 = 0.08;

/// Units of a stretched drawing, either way.
const UNITS: f64 = 1000.0;

/// What a series is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Dots: what was recorded.
    Dots,
    /// Dots in the accent: what exceeds a limit.
    Over,
    /// A line: what was computed.
    Line,
    /// A lighter line beside it.
    Second,
    /// A broken line.
    Limit,
}

impl Kind {
    const fn class(self) -> &'static str {
        match self {
            Kind::Dots => "dots",
            Kind::Over => "dots over",
            Kind::Line => "line",
            Kind::Second => "line second",
            Kind::Limit => "line limit",
        }
    }

    const fn is_dots(self) -> bool {
        matches!(self, Kind::Dots | Kind::Over)
    }
}

/// One drawn quantity.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Series {
    /// Beside its end; may be empty.
    pub(super) name: &'static str,
    pub(super) kind: Kind,
    pub(super) points: Vec<(f64, f64)>,
}

/// A panel; `about`: what it shows, for those who cannot see it.
pub(super) fn panel(about: &str, all: &[Series]) -> Markup {
    let across = Scale::of(all.iter().flat_map(|s| &s.points).map(|p| p.0), 0.0);
    let up = Scale::of(all.iter().flat_map(|s| &s.points).map(|p| p.1), FREE);
    // Heights count downwards.
    let from_top = |y: f64| 1.0 - up.share(y);
    let heights = up.ticks(MOST_UP);
    let longest = heights.iter().map(|(_, text)| text.len()).max().unwrap_or(0);
    // As many numbers across as a phone has room for.
    let fits = |ticks: &Vec<(f64, String)>| ticks.iter().map(|(_, text)| whole::count(text.len()) * DIGIT + DIGIT).sum::<f64>() < NARROWEST;
    let places = MOST_ACROSS.into_iter().map(|most| across.ticks(most)).find(fits).unwrap_or_default();
    html! {
        div.panel style=(format!("padding-left: {:.0}px", DIGIT * whole::count(longest) + 14.0)) {
            svg role="img" aria-label=(about) {
                line.axis x1="0" x2="0" y1="0" y2="100%" {}
                line.axis x1="0" x2="100%" y1="100%" y2="100%" {}
                @for (y, text) in &heights { text.soft x="-8" y=(percent(from_top(*y))) dy="0.35em" text-anchor="end" { (text) } }
                @for (x, text) in &places { text.soft x=(percent(across.share(*x))) y="100%" dy="1.4em" text-anchor="middle" { (text) } }
                svg viewBox=(format!("0 0 {UNITS} {UNITS}")) preserveAspectRatio="none" {
                    @for series in all {
                        @if !series.points.is_empty() { path class=(series.kind.class()) d=(path(series, &across, &from_top)) {} }
                    }
                }
                @for (name, y) in names(all, &from_top) { text x="100%" dx="7" y=(format!("{y:.1}")) dy="0.35em" { (PreEscaped(name)) } }
            }
        }
    }
}

fn percent(share: f64) -> String {
    format!("{:.3}%", 100.0 * share)
}

fn path(series: &Series, across: &Scale, from_top: &impl Fn(f64) -> f64) -> String {
    let mut text = String::new();
    for (i, (x, y)) in series.points.iter().enumerate() {
        let letter = if i == 0 || series.kind.is_dots() { 'M' } else { 'L' };
        text += &format!("{letter}{:.1} {:.1}", UNITS * across.share(*x), UNITS * from_top(*y));
        if series.kind.is_dots() {
            // A line of no length with round ends.
            text += "h0";
        }
    }
    text
}

/// Names with their heights, px: at the ends of their lines, moved apart where these are close.
fn names(all: &[Series], from_top: &impl Fn(f64) -> f64) -> Vec<(&'static str, f64)> {
    let end = |series: &Series| Some((series.name, HEIGHT * from_top(series.points.last()?.1)));
    let mut names: Vec<(&'static str, f64)> = all.iter().filter(|s| !s.name.is_empty()).filter_map(end).collect();
    names.sort_by(|a, b| a.1.total_cmp(&b.1));
    // From the lowest up: each no lower than the one below it leaves room for.
    let mut lowest = HEIGHT - 0.5 * LINE;
    for (_, y) in names.iter_mut().rev() {
        *y = y.min(lowest);
        lowest = *y - LINE;
    }
    names
}

/// A range of numbers along an axis.
struct Scale {
    low: f64,
    high: f64,
}

impl Scale {
    fn of(values: impl Iterator<Item = f64>, free: f64) -> Scale {
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), x| (l.min(x), h.max(x)));
        let (low, high) = if low < high { (low, high) } else { (low - 1.0, low + 1.0) };
        let free = free * (high - low);
        Scale { low: low - free, high: high + free }
    }

    fn share(&self, x: f64) -> f64 {
        (x - self.low) / (self.high - self.low)
    }

    /// Round numbers and their texts, about so many.
    fn ticks(&self, most: f64) -> Vec<(f64, String)> {
        let wanted = (self.high - self.low) / most;
        if !(wanted > 0.0 && wanted.is_finite()) {
            return Vec::new();
        }
        let (mut tens, mut decimals) = (1.0, 0_usize);
        while tens < wanted {
            tens *= 10.0;
        }
        while tens >= 10.0 * wanted {
            tens /= 10.0;
            decimals += 1;
        }
        // A tenth of `tens` is below what is wanted.
        let smaller = [0.1, 0.2, 0.5].into_iter().map(|k| k * tens).find(|step| *step >= wanted);
        if smaller.is_some() && tens < 5.0 {
            decimals += 1;
        }
        let step = smaller.unwrap_or(tens);
        let (Some(first), Some(last)) = (whole::ceiling(self.low / step), whole::floor(self.high / step)) else { return Vec::new() };
        // Adding zero makes a zero of minus zero.
        let tick = |n: i64| (whole::real(n) * step, format!("{:.decimals$}", whole::real(n) * step + 0.0));
        (first..=last).map(tick).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        let ticks = |low: f64, high: f64| Scale { low, high }.ticks(6.0).into_iter().map(|(_, text)| text).collect::<Vec<_>>().join(" ");
        assert_eq!(ticks(1.0, 12.0), "2 4 6 8 10 12");
        assert_eq!(ticks(0.0, 1.0), "0.0 0.2 0.4 0.6 0.8 1.0");
        assert_eq!(ticks(-207.0, 181.0), "-200 -100 0 100");
        assert_eq!(ticks(-0.7, 5.3), "0 1 2 3 4 5");
        assert_eq!(ticks(-3.1e-4, 5e-4), "-0.0002 0.0000 0.0002 0.0004");
        assert_eq!(ticks(12345.6696, 12345.6704), "12345.6696 12345.6698 12345.6700 12345.6702 12345.6704");
        assert_eq!(ticks(0.0, 3e6), "0 500000 1000000 1500000 2000000 2500000 3000000");
        assert_eq!(ticks(f64::NAN, 1.0), "");
    }

    #[test]
    fn names_stand_apart_and_within_the_drawing() {
        let series = |name, y| Series { name, kind: Kind::Line, points: vec![(0.0, 9.0), (1.0, y)] };
        let all = [series("a", 0.0), series("b", 0.1), series("c", 0.2), series("", 5.0)];
        let names = names(&all, &|y| 1.0 - y / 9.0);
        assert_eq!(names.iter().map(|n| n.0).collect::<String>(), "cba");
        for (above, below) in names.iter().zip(names.iter().skip(1)) {
            assert!(below.1 - above.1 >= LINE - 1e-9 && below.1 < HEIGHT, "{names:?}");
        }
    }
}
