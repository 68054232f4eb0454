//! Sentences about figures on three wires.
//!
//! Form: no full stop at the end; numbers with their unit. Invariant: nothing is judged here.

use crate::check::figures::{distinct, figure};
use crate::check::hang::found::WireReport;
use crate::check::violation::LimbWeight;
use crate::number::directed::{self, Places};
use crate::stage::{Body, GroupId, Stage};

/// A share of the weight, on the careful side of a least one.
fn percent(share: f64) -> String {
    format!("{} %", directed::down(100.0 * share, Places::Decimals(1)))
}

/// A wire that carries too little: what it carries and what it must, N.
pub(super) fn slack(body: &str, wire: usize, share: f64, [carries, must]: [f64; 2], when: &str) -> String {
    let (carries, must) = distinct(carries, must, "N");
    format!("{body}: wire {} carries {carries} at {when}, {} of the weight, and goes slack below {must}", wire + 1, percent(share))
}

/// A weight that was tried.
pub(super) fn trim(stage: &Stage, group: GroupId, wire: usize, mass: f64, share: f64) -> String {
    let at = stage.body_of(group).and_then(Body::hang).and_then(|hang| hang.wires.get(wire).copied());
    let at = at.map_or(String::new(), |p| format!(" at ({}, {}, {})", p.x, p.y, p.z));
    let grams = figure(1000.0 * mass, "g");
    format!("add {grams}{at}: wire {} then carries {} of the weight at least, and the others enough", wire + 1, percent(share))
}

/// A weight on a limb that was tried.
pub(super) fn weight(weight: &LimbWeight) -> String {
    let (grams, [mass, centre, inertia]) = (figure(1000.0 * weight.mass, "g"), weight.limb);
    format!(
        "add {grams} at {} mm along the arm of the limb (`mass = {mass}`, `centre_of_mass = {centre}`, `inertia = {inertia}`): its wire then stays taut throughout the pass",
        weight.distance
    )
}

/// A wire that carries more than a share of its breaking load: what it carries and what is allowed, N.
pub(super) fn overloaded(pass: &str, body: &str, wire: usize, [carries, allowed]: [f64; 2]) -> String {
    let (carries, allowed) = distinct(carries, allowed, "N");
    format!(
        "pass {pass}, {body}: wire {} carries up to {carries}, more than its breaking load over the design factor, {allowed}; use a stronger wire",
        wire + 1
    )
}

/// What the wires of a figure carry is not known.
pub(super) fn unknown(pass: &str, body: &str) -> String {
    format!(
        "pass {pass}, {body}: what its wires carry is not computed: the budget of work is used up, or its pose is not known; --large allows a thousand times as much"
    )
}

/// A motor that can break a wire: the pull when it stalls and the breaking load, N.
pub(super) fn stall_breaks(axis: &str, body: &str, [pull, breaking]: [f64; 2]) -> String {
    let (pull, breaking) = distinct(pull, breaking, "N");
    format!("{axis}: its motor pulls up to {pull}, a wire of {body} breaks at {breaking}; fit a slip clutch or limit the torque")
}

/// The wire of a figure that carries least, in a line.
#[must_use]
pub(crate) fn line(stage: &Stage, w: &WireReport) -> String {
    let body = stage.group_name(w.group);
    match w.carried {
        None => format!("{body} not computed"),
        Some([least, _]) => {
            let newton = |share: f64| figure(share * w.weight, "N");
            format!("{body} at least {} on wire {} (required {})", newton(least.share), w.wire + 1, newton(w.required))
        }
    }
}
