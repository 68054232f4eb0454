//! Where an axis reverses within the photographed span: there its backlash shows.
//!
//! Invariant: reversals are zeros of velocity with a change of sign, from roots; none is missed between samples.

use crate::compile::AxisMove;
use crate::motion::bernstein::roots;
use crate::time::FrameTime;

/// Instants within the photographed span at which the axis reverses.
#[must_use]
pub(crate) fn reversals(m: &AxisMove) -> Vec<FrameTime> {
    let mut found = Vec::new();
    let mut last = 0.0_f64;
    let mut stopped_at: Option<f64> = None;
    let range = m.photographed();
    let mut cuts = Vec::with_capacity(8);
    for piece in m.curve().pieces().skip(range.start).take(range.len()) {
        if piece.quintic.is_hold() {
            continue;
        }
        let [v0, v1, v2, v3, v4] = piece.quintic.velocity();
        let at = |u: f64| v0 + u * (v1 + u * (v2 + u * (v3 + u * v4)));
        cuts.clear();
        cuts.push(0.0);
        roots([v0, v1, v2, v3, v4], &mut |u| cuts.push(u));
        cuts.push(1.0);
        for (a, b) in cuts.iter().zip(cuts.iter().skip(1)) {
            let way = at(0.5 * (a + b));
            if way == 0.0 {
                continue;
            }
            if last * way < 0.0 {
                // Where it stood still between, it reverses when it moves on.
                let turn = piece.start + a * piece.length();
                found.push(FrameTime(stopped_at.map_or(turn, |s| turn.max(s))));
            }
            last = if way > 0.0 { 1.0 } else { -1.0 };
        }
        stopped_at = Some(piece.end);
    }
    found
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::program::tests::one_axis;
    use crate::shot::Shape;

    #[test]
    fn every_reversal_is_found_and_a_rest_on_the_way_is_none() {
        let keys = [(5.0, 0.0), (15.0, 30.0), (25.0, 30.0), (35.0, 60.0), (45.0, 20.0)];
        let compiled = one_axis(&keys, Shape::StopAtKeys, 0.1, -50.0);
        assert_eq!(reversals(compiled.axes().first().unwrap()), [FrameTime(35.0)]);
    }
}
