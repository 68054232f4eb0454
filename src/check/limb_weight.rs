//! A weight on a limb after which its wire, which gravity cannot keep taut, stays taut throughout the pass.
//!
//! What: with a mass w at the distance d along the arm gravity turns the limb at (m c + w d) g cos(angle) / (I + w d^2). At the instant at which the wire is slackest the least w follows for every d up to the arm;
//! it is least where d = g cos(angle) / (2 acceleration), or at the arm's end. It is rounded up, and tried by the search that found the wire slack; where another instant is the slackest then, once more.
//! Invariant: what is offered was tried, with the very numbers that it states. Limits: a point mass on the line of the arm; on the other side of the joint the arm is taken to be as long.
//! Source: moments about a fixed axis, parallel axis theorem; any textbook of mechanics.

use super::slack::{limb_of, slackest};
use super::violation::LimbWeight;
use crate::number::directed::{Places, up};
use crate::number::elementary;
use crate::program::Program;
use crate::stage::AxisId;

/// Trials of one offer at most.
const MOST_ROUNDS: usize = 8;

/// By how much more is tried where the same weight comes out again.
const MORE: f64 = 1.25;

/// The lightest weight that is offered, kg.
const GRAM: f64 = 1e-3;

/// A weight for the limb on the wire of an axis; `None` where none helps.
pub(super) fn limb_weight(program: &Program, axis: AxisId) -> Option<LimbWeight> {
    let limb = limb_of(program, axis)?;
    let (own, arm) = (limb.parts()?, limb.arm()?);
    // Of a balanced limb nothing shows which way gravity would turn it: it is looked at a millimetre out of balance.
    let [mass, centre, inertia] = own;
    let mut parts = if centre.abs() < 1e-3 { [mass, 1e-3, inertia + mass * 1e-6] } else { own };
    let (mut side, mut tried) = (0.0, 0.0);
    for _ in 0..MOST_ROUNDS {
        let (wanted, gravity) = slackest(program, axis, limb.with_parts(parts)?.as_ref()).ok()??;
        let per = elementary::radians(gravity) * parts[2] / (parts[0] * parts[1]);
        // Where gravity turns it the other way by then, no weight along the arm serves both.
        if !(per * side >= 0.0) || per == 0.0 {
            return None;
        }
        side = if per > 0.0 { 1.0 } else { -1.0 };
        let (least, distance) = least(own, side * per, side, elementary::radians(wanted), arm)?;
        let least = if least > tried { least } else { MORE * tried };
        let grams: f64 = up(1e3 * least.max(GRAM), Places::Mantissa(1)).parse().ok()?;
        tried = 1e-3 * grams;
        parts = with(own, tried, side * distance);
        let trial = limb.with_parts(parts)?;
        if slackest(program, axis, trial.as_ref()).ok()?.is_none() {
            return Some(LimbWeight { mass: tried, distance: side * distance * 1e3, limb: [parts[0], rounded(parts[1] * 1e3), parts[2]] });
        }
    }
    None
}

/// The least mass that turns a limb fast enough, kg, and its distance, m, in whole millimetres; `per` is the moment of a mass of 1 kg at 1 m, `wanted` the angular acceleration, rad/s2.
fn least([mass, centre, inertia]: [f64; 3], per: f64, side: f64, wanted: f64, arm: f64) -> Option<(f64, f64)> {
    let best = if wanted > 0.0 { (0.5 * per / wanted).min(arm) } else { arm };
    let distance = 1e-3 * (1e3 * best + 1e-9).floor();
    let lacks = wanted * inertia - per * mass * centre * side;
    let gives = distance * (per - wanted * distance);
    (distance > 0.0 && gives > 0.0).then_some((lacks / gives, distance))
}

/// A limb with a weight: centre and inertia to six digits, as they are stated.
fn with([mass, centre, inertia]: [f64; 3], weight: f64, at: f64) -> [f64; 3] {
    let whole = mass + weight;
    let centre = rounded(1e3 * (mass * centre + weight * at) / whole) * 1e-3;
    [rounded(whole), centre, rounded(inertia + weight * at * at)]
}

fn rounded(x: f64) -> f64 {
    format!("{x:.5e}").parse().unwrap_or(x)
}
