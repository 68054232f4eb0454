//! The mean beat of a figure that follows a recording: what its channels do in every beat.
//!
//! What: the mean beat ([`Beat`]) of the channels' values, with the fewest keys that keep every marker within the distance, on every second beat with the beat fitted to the others too. Invariant: distances
//! are those of the figure's markers, its channels at the beat. Limits: motion that repeats; what does not is refused.

use nalgebra::DMatrix;

use super::beat::{self, Beat, Phases};
use super::drives::Drives;
use super::figure_fit::off;
use super::rig::Followed;
use crate::bounds::{Code, Flaw};

/// Keys of a beat that are tried.
const KEYS: [usize; 9] = [4, 6, 8, 10, 12, 16, 20, 24, 32];

/// Keys with which the period is refined.
const PERIOD_KEYS: usize = 12;

/// What plays a recording on a figure.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RigBeat {
    /// Each channel by its full name, with places in the beat and values there.
    pub(crate) channels: Vec<(String, Vec<(f64, f64)>)>,
    /// Length of a beat, s.
    pub(crate) period: f64,
    /// Farthest that a marker is off, mm.
    pub(crate) worst: f64,
    /// The same on every second beat, the beat fitted to the others.
    pub(crate) held_out: f64,
}

impl RigBeat {
    /// The beat that keeps every marker within a distance, mm. `period`: about how long it is, s.
    ///
    /// # Errors
    /// A motion that does not repeat, or not so closely.
    pub(crate) fn of(followed: &Followed<'_>, period: Option<f64>, within: f64) -> Result<RigBeat, Flaw> {
        let Some(period) = period else {
            let flaw = Flaw::new(Code::NoCurve, "--write", "the motion does not repeat");
            return Err(flaw
                .found("no beat", "two beats or more, alike")
                .help("leave out --group: the drives of the recording are then written with recorded curves"));
        };
        let count = followed.channels.len();
        let at = |row: usize, channel: usize| -> f64 {
            let value = followed.channels.get(channel).and_then(|(i, _)| followed.rows.get(row)?.1.get(*i));
            value.copied().unwrap_or(f64::NAN)
        };
        let mut positions = DMatrix::from_fn(followed.rows.len(), count, at);
        let mean = positions.row_mean();
        positions.row_iter_mut().for_each(|mut row| row -= &mean);
        let channels = Drives { mean: mean.iter().copied().collect(), directions: DMatrix::identity(count, count), positions };
        let times: Vec<f64> = followed.rows.iter().map(|(t, ..)| *t).collect();
        let period = beat::refined(&channels, count, &times, period, PERIOD_KEYS);
        let phases = Phases::of(&times, period);
        let (fitted, held) = (phases.alternate(true), phases.alternate(false));
        let mut nearest = f64::INFINITY;
        for keys in KEYS {
            let (Some(half), Some(whole)) = (Beat::fit(&channels, count, &fitted, keys), Beat::fit(&channels, count, &phases, keys)) else {
                continue;
            };
            let far = |beat: &Beat, phases: &Phases| farthest(followed, &channels, beat, phases);
            let (held_out, worst) = (far(&half, &held), far(&whole, &phases));
            nearest = nearest.min(held_out.max(worst));
            if held_out.max(worst) <= within {
                let of = |(i, (_, name)): (usize, &(usize, String))| {
                    let mean = channels.mean.get(i).copied().unwrap_or(0.0);
                    (name.clone(), whole.keys(i).into_iter().map(|(beat, value)| (beat, value + mean)).collect())
                };
                return Ok(RigBeat { channels: followed.channels.iter().enumerate().map(of).collect(), period, worst, held_out });
            }
        }
        let flaw = Flaw::new(Code::OutOfRange, "--within", "no beat of the group stays so close");
        let found = format!("{within} mm");
        Err(if nearest.is_finite() {
            flaw.found(found, format!("at least {nearest:.6} mm for this recording and this group"))
        } else {
            flaw.found(found, "a recording of two beats or more, with rows all over the beat")
        })
    }

    /// Keys of each channel.
    pub(crate) fn keys(&self) -> usize {
        self.channels.first().map_or(0, |(_, keys)| keys.len())
    }
}

/// Farthest that a marker is off, over some rows.
fn farthest(followed: &Followed<'_>, channels: &Drives, beat: &Beat, phases: &Phases) -> f64 {
    let mut worst = 0.0_f64;
    for (row, at) in phases.rows.iter().zip(&phases.beats) {
        let Some((_, values, points)) = followed.rows.get(*row) else { continue };
        let mut values = values.clone();
        for (i, ((number, _), mean)) in followed.channels.iter().zip(&channels.mean).enumerate() {
            if let Some(slot) = values.get_mut(*number) {
                *slot = mean + beat.at(i, *at);
            }
        }
        let posture = followed.body.posture(&values);
        for (seat, point) in followed.seats.iter().zip(points) {
            let d = off(&posture, seat, *point);
            worst = worst.max(d.dot(d).sqrt());
        }
    }
    worst
}
