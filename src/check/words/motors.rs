//! Sentences about motors.
//!
//! Form: no full stop at the end; numbers with their unit. Invariant: nothing is judged here.

use crate::bounds::count;

/// A load that is heavy beside the rotor.
pub(super) fn inertia(name: &str, ratio: f64) -> String {
    format!("{name}: the load has {ratio:.1} times the inertia of the rotor (usual: up to 10); use a higher gear ratio or a larger motor")
}

/// An axis within a band of resonance: how long and from which frame, in words.
pub(super) fn resonance(pass: &str, name: &str, [from, to]: [f64; 2], [seconds, frame]: [&str; 2]) -> String {
    format!(
        "pass {pass}, {name}: {seconds} of exposures at {from} to {to} full steps/s, where it resonates (frame {frame}); use another pace or gear"
    )
}

/// Steps that show one by one: how many in the exposure of the first frame, and in how many frames.
pub(super) fn grain(who: &str, camera: &str, (steps, frames): (i64, usize), pixels: f64, frame: f64) -> String {
    format!(
        "{who}: makes only {} during the exposure of frame {frame}, each up to {pixels:.2} px ({camera}): it shows as separate images, in {} in all; use more microsteps or a higher gear ratio",
        count(u64::try_from(steps).unwrap_or(0), "step"),
        count(u64::try_from(frames).unwrap_or(u64::MAX), "frame")
    )
}
