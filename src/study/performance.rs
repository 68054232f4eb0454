//! What plays a recording: the mean beat of its drives, and recorded curves where the beats are not enough.
//!
//! What: the fewest drives whose mean beat leaves every marker within the distance; the number of keys is the smallest that also manages it on every second beat, fitted to the others. Where no beat does,
//! what is left is a recording of the drives, followed so closely that the markers stay within. Invariant: `worst` is measured on all complete rows; where recorded curves are added it is a bound:
//! what the drives leave, and the distance of the curves, each times the drive's length at the marker.

use super::Study;
use super::beat::{self, Beat, Phases};
use crate::bounds::{Allowance, Budget, Code, Flaw};
use crate::motion::stay_near::{self, CannotFit, Ends};
use crate::number::figures;

/// Keys of a beat that are tried.
const KEYS: [usize; 9] = [4, 6, 8, 10, 12, 16, 20, 24, 32];

/// Keys with which the period is refined.
const PERIOD_KEYS: usize = 12;

/// Drives that are tried beyond the fewest, before recorded curves are added.
const MORE_DRIVES: usize = 2;

/// Share of the distance that the drives may take where curves are added; the rest is for these.
const DRIVES_SHARE: f64 = 0.75;

/// Keys and curves that play a recording.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Performance {
    /// Drives.
    pub(crate) drives: usize,
    /// Mean beat with its period, s.
    pub(crate) beat: Option<(Beat, f64)>,
    /// Farthest that a marker is off on every second beat, the beat fitted to the others, mm.
    pub(crate) held_out: Option<f64>,
    /// What the beat leaves, followed by recorded curves.
    pub(crate) recorded: Option<Recorded>,
    /// No marker is farther off, mm.
    pub(crate) worst: f64,
}

/// Curves near samples.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Recorded {
    /// How far a curve may miss a sample, mm.
    pub(crate) within: f64,
    /// For each complete row the position of every drive, less the beat.
    pub(crate) samples: Vec<Vec<f64>>,
}

impl Recorded {
    /// Whether a track can stay near the samples of every drive, within the work that a shot may take for them.
    fn followed(&self, times: &[f64]) -> Result<(), CannotFit> {
        let drives = self.samples.first().map_or(0, Vec::len);
        let mut allowance = Allowance::new(Budget::Usual);
        (0..drives).try_for_each(|drive| {
            let samples: Vec<(f64, f64)> = times.iter().zip(&self.samples).filter_map(|(t, row)| Some((*t, *row.get(drive)?))).collect();
            let fit = stay_near::fit(&samples, self.within, Ends::Straight, allowance.most(samples.len()))?;
            allowance.take(samples.len(), fit.cost);
            Ok(())
        })
    }
}

impl Performance {
    /// What plays a recording within a distance.
    ///
    /// # Errors
    /// A distance that no number of drives keeps.
    pub(crate) fn of(study: &Study, within: f64) -> Result<Performance, Flaw> {
        let Some(needed) = study.needed(within) else {
            let least = study.residuals.iter().map(|r| r.worst).fold(f64::INFINITY, f64::min);
            let flaw = Flaw::new(Code::OutOfRange, "--within", "no number of drives stays so close");
            return Err(flaw.found(format!("{within} mm"), format!("at least {least:.6} mm for this recording")));
        };
        let times = &study.times;
        let most = (needed + MORE_DRIVES).min(study.drives.count());
        let period = study.period.map(|period| beat::refined(&study.drives, needed, times, period, PERIOD_KEYS));
        if let Some(period) = period {
            for drives in needed..=most {
                if let Some(found) = beats_alone(study, times, drives, period, within) {
                    return Ok(found);
                }
            }
        }
        let found = with_curves(study, times, period, within);
        let Some((recorded, error)) = found.recorded.as_ref().and_then(|r| Some((r, r.followed(times).err()?))) else {
            return Ok(found);
        };
        let left = format!("{} left for each curve", figures::figure(recorded.within, "mm"));
        let allowed = "more than the noise of the recording";
        let help = "write a larger --within: the noise of the recording is larger than what is left for the curves";
        let (code, title, found) = match error {
            CannotFit::TooCostly { most, .. } => (
                Code::BudgetExceeded,
                "following the recorded curves so closely would take too much work",
                format!("{left}, which takes more than {most} multiplications"),
            ),
            CannotFit::TooClose | CannotFit::Malformed => (Code::NoCurve, "the recorded curves cannot be followed so closely", left),
        };
        Err(Flaw::new(code, "--within", title).found(found, allowed).help(help))
    }
}

/// Beats alone, where they are enough.
fn beats_alone(study: &Study, times: &[f64], drives: usize, period: f64, within: f64) -> Option<Performance> {
    let phases = Phases::of(times, period);
    let (fitted, held) = (phases.alternate(true), phases.alternate(false));
    for keys in KEYS {
        let Some(half) = Beat::fit(&study.drives, drives, &fitted, keys) else { continue };
        let held_out = study.worst(drives, &held, &half);
        if !(held_out <= within) {
            continue;
        }
        let whole = Beat::fit(&study.drives, drives, &phases, keys)?;
        let worst = study.worst(drives, &phases, &whole);
        if worst <= within {
            return Some(Performance { drives, beat: Some((whole, period)), held_out: Some(held_out), recorded: None, worst });
        }
    }
    None
}

/// The beat that is best on beats that it was not fitted to, if there is one, and curves for what it leaves.
fn with_curves(study: &Study, times: &[f64], period: Option<f64>, within: f64) -> Performance {
    let enough = study.residuals.iter().find(|r| r.worst <= DRIVES_SHARE * within).or(study.residuals.last());
    let (drives, left) = enough.map_or((0, 0.0), |r| (r.n, r.worst));
    let phases = period.map(|period| (Phases::of(times, period), period));
    let beat = phases.as_ref().and_then(|(phases, period)| {
        let (fitted, held) = (phases.alternate(true), phases.alternate(false));
        let tried =
            KEYS.into_iter().filter_map(|keys| Some((keys, study.worst(drives, &held, &Beat::fit(&study.drives, drives, &fitted, keys)?))));
        let (keys, held_out) = tried.reduce(|a, b| if b.1 < a.1 { b } else { a })?;
        Some((Beat::fit(&study.drives, drives, phases, keys)?, *period, held_out))
    });
    let samples = (0..times.len())
        .map(|row| {
            let of_beat = |drive: usize| match (&beat, &phases) {
                (Some((beat, ..)), Some((phases, _))) => phases.beats.get(row).map_or(0.0, |at| beat.at(drive, *at)),
                _ => 0.0,
            };
            (0..drives).map(|drive| study.drives.at(row, drive) - of_beat(drive)).collect()
        })
        .collect();
    let reach = study.longest(drives);
    let within = (within - left) / reach;
    let held_out = beat.as_ref().map(|(.., held_out)| *held_out);
    Performance {
        drives,
        beat: beat.map(|(beat, period, _)| (beat, period)),
        held_out,
        recorded: Some(Recorded { within, samples }),
        worst: left + within * reach,
    }
}

impl Study {
    /// Farthest that a marker is off where the drives follow a beat, over some rows.
    fn worst(&self, drives: usize, phases: &Phases, beat: &Beat) -> f64 {
        let width = self.drives.mean.len();
        let mut worst = 0.0_f64;
        for (row, at) in phases.rows.iter().zip(&phases.beats) {
            let recorded = self.moving.get(row * width..(row + 1) * width).unwrap_or_default();
            let positions: Vec<f64> = (0..drives).map(|drive| beat.at(drive, *at)).collect();
            let rebuilt = self.drives.rebuilt(&positions);
            let off: Vec<f64> = recorded.iter().zip(&rebuilt).map(|(a, b)| a - b).collect();
            let far = off.chunks(self.dimensions.max(1)).map(|m| m.iter().map(|x| x * x).sum::<f64>()).fold(0.0, f64::max);
            worst = worst.max(far.sqrt());
        }
        worst
    }

    /// Largest sum over the drives of how far each moves a marker, per mm of the drive.
    fn longest(&self, drives: usize) -> f64 {
        let mut sums = vec![0.0; self.drives.mean.len() / self.dimensions.max(1)];
        for drive in 0..drives {
            let direction: Vec<f64> = self.drives.directions.column(drive).iter().copied().collect();
            for (sum, part) in sums.iter_mut().zip(direction.chunks(self.dimensions.max(1))) {
                *sum += part.iter().map(|x| x * x).sum::<f64>().sqrt();
            }
        }
        sums.into_iter().fold(f64::MIN_POSITIVE, f64::max)
    }
}
