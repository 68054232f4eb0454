//! How far a controller that interpolates between rows departs from the curve, at most, in steps.
//!
//! With rows h seconds apart, A the greatest acceleration and J the greatest jerk of an axis (steps/s2, steps/s3; exact peaks, not samples):
//! - straight lines: A h^2 / 8;
//! - cubics through positions and velocities (Hermite): the smaller of J h^3 / 96 and A h^2 / 16;
//! - cubics through positions alone, velocity at a row = (next - previous) / 2h (Catmull-Rom): the smaller of 5 J h^3 / 96 and 3 A h^2 / 16,
//!   between rows that have a row to either side.
//!
//! Rounding positions to steps adds at most 1/2 step to the first two and 5/8 to the third (the sizes of its weights sum to 5/4), and velocities
//! rounded to thousandths of a step per second h / 8000 step to the second.
//!
//! Source: the line is the textbook bound (C. de Boor, A Practical Guide to Splines, 2001, ch. III, from memory). D: the cubics, by Peano's
//! theorem. The kernel of the Hermite error is the deflection G(x, s) of a beam clamped at both ends; jerk acts through dG/ds, whose
//! sizes sum to 2 max G = 2/192 as G has one hump, acceleration through d2G/ds2, whose sizes sum to 1/16 at most, both in the middle.
//! Central differences err by A h / 2 or J h^2 / 6, and a velocity acts on the path with at most h / 4.
//! Limits: where acceleration steps, J is infinite and the bounds with A hold alone.

use super::rate::RowRate;
use super::tracks::{Track, Tracks};

/// Bounds for one axis. Unit: steps, rounding left out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Departure {
    /// Index on the stage.
    pub axis: usize,
    /// Straight lines between rows.
    pub linear: f64,
    /// Cubics through positions and velocities.
    pub hermite: f64,
    /// Cubics through positions alone.
    pub catmull_rom: f64,
    /// The smallest rate at which straight lines stay within half a step. Unit: rows a second.
    pub half_step_rate: f64,
}

/// One way of going from row to row.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Way {
    /// What it is called.
    pub name: &'static str,
    /// Its bound.
    pub departure: fn(&Departure) -> f64,
    /// What rounding positions to whole steps may add. Unit: steps.
    pub rounding: f64,
}

/// The ways that bounds are given for.
pub(crate) const WAYS: [Way; 3] = [
    Way { name: "straight lines", departure: |d| d.linear, rounding: 0.5 },
    Way { name: "cubics through positions and velocities", departure: |d| d.hermite, rounding: 0.5 },
    Way { name: "cubics through positions alone", departure: |d| d.catmull_rom, rounding: 0.625 },
];

/// Bounds for every axis of the program, in stage order.
#[must_use]
pub(crate) fn departures(tracks: &Tracks<'_>, rate: RowRate) -> Vec<Departure> {
    tracks.axes().iter().enumerate().map(|(axis, track)| departure(axis, track, 1.0 / rate.hz())).collect()
}

/// The greatest of each bound over all axes, with the axis it is of; `None` for no axis.
#[must_use]
pub(crate) fn worst(all: &[Departure], which: impl Fn(&Departure) -> f64) -> Option<(usize, f64)> {
    let mut found: Option<(usize, f64)> = None;
    for d in all {
        let value = which(d);
        if found.is_none_or(|(_, w)| value > w) {
            found = Some((d.axis, value));
        }
    }
    found
}

fn departure(axis: usize, track: &Track<'_>, h: f64) -> Departure {
    let spu = track.axis.drive().steps_per_unit();
    let (bend, rise) = (track.acceleration * spu * h * h, track.jerk * spu * h * h * h);
    Departure {
        axis,
        linear: bend / 8.0,
        hermite: (rise / 96.0).min(bend / 16.0),
        catmull_rom: (5.0 * rise / 96.0).min(3.0 * bend / 16.0),
        half_step_rate: (track.acceleration * spu / 4.0).sqrt(),
    }
}
