//! Which frames a pass exposes, as its table of the shot file has it: every frame, the first and then every Nth, or one alone.

use crate::shot::{Exposure, Pass, Shot};

/// The first frame that it exposes.
pub(super) fn first(shot: &Shot, pass: &Pass) -> i64 {
    pass.wedge().map_or(shot.frames().first(), |wedge| wedge.frame())
}

/// The last one.
pub(super) fn last(shot: &Shot, pass: &Pass) -> i64 {
    let (first, step) = (first(shot, pass), i64::from(pass.every()));
    if pass.wedge().is_some() { first } else { shot.frames().last() - (shot.frames().last() - first) % step }
}

/// True where it exposes a frame of the shot.
pub(super) fn exposes(shot: &Shot, pass: &Pass, frame: i64) -> bool {
    let first = first(shot, pass);
    first <= frame && frame <= last(shot, pass) && (frame - first) % i64::from(pass.every()) == 0
}

/// Frames of the shot that the program runs through: a held pass goes only to those that it exposes.
pub(super) fn frames_run(shot: &Shot, pass: &Pass) -> u64 {
    let stations = first(shot, pass).abs_diff(last(shot, pass)) / u64::from(pass.every()) + 1;
    if pass.exposure() == Exposure::Held { stations } else { shot.frames().count() as u64 }
}

/// When each exposure of a wedge opens and closes, microseconds from the first opening: whole ones. One of k stops lasts 2^k times as long as that of the pass; between two
/// of them the shutter is closed for what that leaves of a frame. Empty where a frame is exposed once.
pub(super) fn wedge(pass: &Pass) -> Vec<[u64; 2]> {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "times are positive, and below 2^53 microseconds by the bounds of what is read"
    )]
    let whole = |seconds: f64| (seconds * 1e6).round() as u64;
    let open = pass.pace().get() * pass.shutter().degrees() / 360.0;
    let dark = whole(pass.pace().get() - open);
    let mut all: Vec<[u64; 2]> = Vec::new();
    for stops in pass.wedge().map_or(&[][..], |wedge| wedge.stops()) {
        let begin = all.last().map_or(0, |[_, closed]| closed + dark);
        all.push([begin, begin + whole(open * power_of_two(*stops)).max(1)]);
    }
    all
}

/// 2 to a power between -10 and 10: whole stops by doubling, the rest by halving intervals of square roots of 2 (`2^(1/2^n)`), to 2^-53.
fn power_of_two(stops: f64) -> f64 {
    let (mut whole, mut rest) = (1.0, stops);
    while rest >= 1.0 {
        (whole, rest) = (2.0 * whole, rest - 1.0);
    }
    while rest < 0.0 {
        (whole, rest) = (0.5 * whole, rest + 1.0);
    }
    let mut root = core::f64::consts::SQRT_2;
    for _ in 0..52 {
        rest *= 2.0;
        if rest >= 1.0 {
            (whole, rest) = (whole * root, rest - 1.0);
        }
        root = root.sqrt();
    }
    whole
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_of_two() {
        for (stops, expected) in
            [(0.0, 1.0), (3.0, 8.0), (-2.0, 0.25), (0.5, core::f64::consts::SQRT_2), (-1.0 / 3.0, 0.793_700_525_984_099_7)]
        {
            assert!((power_of_two(stops) - expected).abs() < 1e-14, "{stops}");
        }
    }
}
