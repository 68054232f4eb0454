//! Likely causes in words.

use super::cause::{CauseKind, Model};
use super::facts::AxisFacts;
use super::result::LikelyCause;
use crate::bounds::count;
use crate::number::figures::figure;

/// The causes that a model stands for: one, or one for each jump of lost steps.
pub(super) fn said(axes: &[AxisFacts], axis: &AxisFacts, log: &str, model: &Model) -> Vec<LikelyCause> {
    let other = model.other.and_then(|i| axes.get(i)).map(|f| f.name.clone());
    let one = |frame: i64, amount: f64| LikelyCause {
        axis: axis.name.clone(),
        log: log.to_owned(),
        cause: model.kind.name(),
        frame,
        // Adding 0 takes the sign off a negative zero.
        amount: amount + 0.0,
        unit: model.kind.unit(),
        other_axis: other.clone(),
        message: message(axis, model.kind, frame, amount, other.as_deref().unwrap_or_default()),
    };
    core::iter::once((model.frame, model.amount)).chain(model.further.iter().copied()).map(|(frame, by)| one(frame, by)).collect()
}

fn message(axis: &AxisFacts, kind: CauseKind, frame: i64, amount: f64, other: &str) -> String {
    let size = || format!("{} ({})", figure(amount / axis.steps_per_unit, axis.unit), figure(amount, "steps"));
    match kind {
        CauseKind::Offset => format!("off by {} throughout: steps lost before frame {frame}, or a different reference position", size()),
        CauseKind::LostSteps => {
            let full = amount / f64::from(axis.microsteps);
            let whole = full.round_ties_even();
            let full = if (full - whole).abs() <= 0.25 && whole != 0.0 {
                format!("{whole} full {}", if whole.abs() == 1.0 { "step" } else { "steps" })
            } else {
                "no whole number of full steps, so a coupling or belt may have slipped".to_owned()
            };
            format!("steps lost at frame {frame}: off by {} from there on ({full})", size())
        }
        CauseKind::Backlash if amount < 0.0 => {
            let size = format!("{} ({})", figure(-amount / axis.steps_per_unit, axis.unit), figure(-amount, "steps"));
            format!("ahead by {size} between the two directions of travel: backlash is compensated by too much")
        }
        CauseKind::Backlash => format!("{} between the two directions of travel: backlash", size()),
        CauseKind::Scale => {
            let factor = figure(amount, "times");
            format!("moves {factor} as far as commanded: check microsteps, gear ratio and travel per revolution")
        }
        CauseKind::FrameShift => {
            let frames = count(crate::number::whole::nearest(amount).map_or(0, i64::unsigned_abs), "frame");
            let way = if amount > 0.0 { "late" } else { "early" };
            format!("the log is {frames} {way} from frame {frame} on: correct its frame numbers, or check what triggers the log")
        }
        CauseKind::Sign => "moves in the opposite direction: check the sign in the drive, the log or the stage file".to_owned(),
        CauseKind::Swapped => format!("the log holds the positions of {other}: two columns or two motor cables are swapped"),
        CauseKind::Frozen => format!("stands still from frame {frame} on: check motor, cable and drive"),
        CauseKind::Drift => format!("drifts by {} over the take: slipping belt, wheel or coupling, or a part that warms up", size()),
        CauseKind::Units => {
            "the log is in other units than the pass: check --log-units, and whether the log counts steps or mm and deg".to_owned()
        }
    }
}
