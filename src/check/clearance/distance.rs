//! Distance of two segments, and of a segment from a box, with the direction between their nearest points.
//!
//! Source: C. Ericson, Real-Time Collision Detection (Morgan Kaufmann 2005), 5.1.9, closest points of two segments; from memory.
//! Segment and box: the squared distance along the segment is convex and its slope a broken line, so its zero is found exactly
//! between the places where the segment crosses the box's planes. Two convex things are never nearer than along any one
//! direction: that is what bounds over an interval of time rest on. Limits: 0 where they meet; how deep is not known.

use crate::mechanism::Vector;

/// Distance of two things, and the direction, length one, from the second's nearest point to the first's; no direction where they meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Distance {
    /// Distance, mm.
    pub distance: f64,
    /// Direction, length one.
    pub direction: Option<Vector>,
}

fn distance_of(from: Vector, to: Vector) -> Distance {
    let d = to - from;
    let distance = d.length();
    Distance { distance, direction: (distance > 0.0).then(|| d.times(1.0 / distance)) }
}

/// Segment `a` from segment `b`; a point is a segment whose ends are one.
#[must_use]
pub(crate) fn segments(a: [Vector; 2], b: [Vector; 2]) -> Distance {
    let ([p1, q1], [p2, q2]) = (a, b);
    let (d1, d2, r) = (q1 - p1, q2 - p2, p1 - p2);
    let (aa, e, f) = (d1.dot(d1), d2.dot(d2), d2.dot(r));
    let unit = |x: f64| x.clamp(0.0, 1.0);
    let (s, t) = if aa == 0.0 && e == 0.0 {
        (0.0, 0.0)
    } else if aa == 0.0 {
        (0.0, unit(f / e))
    } else {
        let c = d1.dot(r);
        if e == 0.0 {
            (unit(-c / aa), 0.0)
        } else {
            let b = d1.dot(d2);
            let across = aa * e - b * b;
            // Parallel segments have many nearest points; below the rounding of the products any will do.
            let s = if across > 1e-14 * aa * e { unit((b * f - c * e) / across) } else { 0.0 };
            let t = (b * s + f) / e;
            if t < 0.0 {
                (unit(-c / aa), 0.0)
            } else if t > 1.0 {
                (unit((b - c) / aa), 1.0)
            } else {
                (s, t)
            }
        }
    };
    distance_of(p2 + d2.times(t), p1 + d1.times(s))
}

/// Segment `a` from the box between two corners.
#[must_use]
pub(crate) fn from_box([p, q]: [Vector; 2], least: Vector, greatest: Vector) -> Distance {
    let d = q - p;
    let at = |s: f64| p + d.times(s);
    let nearest = |x: Vector| {
        let inside = |x: f64, lo: f64, hi: f64| x.max(lo).min(hi);
        Vector::new(inside(x.x, least.x, greatest.x), inside(x.y, least.y, greatest.y), inside(x.z, least.z, greatest.z))
    };
    // Half the slope of the squared distance.
    let slope = |s: f64| d.dot(at(s) - nearest(at(s)));
    let mut places = [0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
    let planes = [
        (p.x, d.x, least.x),
        (p.x, d.x, greatest.x),
        (p.y, d.y, least.y),
        (p.y, d.y, greatest.y),
        (p.z, d.z, least.z),
        (p.z, d.z, greatest.z),
    ];
    for (place, (start, by, plane)) in places.iter_mut().skip(2).zip(planes) {
        let s = (plane - start) / by;
        *place = if 0.0 < s && s < 1.0 { s } else { 0.0 };
    }
    places.sort_by(f64::total_cmp);
    let (mut before, mut here) = (0.0, slope(0.0));
    let mut best = 1.0;
    if here >= 0.0 {
        best = 0.0;
    } else {
        for s in places {
            let next = slope(s);
            if next >= 0.0 {
                best = if next > here { before + (s - before) * (-here / (next - here)) } else { s };
                break;
            }
            (before, here) = (s, next);
        }
    }
    distance_of(nearest(at(best)), at(best))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn v(a: [f64; 3]) -> Vector {
        Vector::from(a)
    }

    #[test]
    fn worked_segments() {
        let along = [v([0.0, 0.0, 0.0]), v([10.0, 0.0, 0.0])];
        for (other, distance) in [
            ([[5.0, 3.0, -5.0], [5.0, 3.0, 5.0]], 3.0),
            ([[13.0, 4.0, 0.0], [20.0, 4.0, 0.0]], 5.0),
            ([[2.0, 7.0, 0.0], [8.0, 7.0, 0.0]], 7.0),
            ([[5.0, 0.0, 2.0], [5.0, 0.0, 2.0]], 2.0),
            ([[-3.0, 4.0, 0.0], [-3.0, 4.0, 0.0]], 5.0),
            ([[5.0, -1.0, 0.0], [5.0, 1.0, 0.0]], 0.0),
        ] {
            let other = other.map(v);
            assert_eq!(segments(along, other).distance, distance, "{other:?}");
            assert_eq!(segments(other, along).distance, distance, "{other:?}");
        }
        assert_eq!(segments(along, [v([5.0, -1.0, 0.0]), v([5.0, 1.0, 0.0])]).direction, None);
        assert_eq!(segments(along, [v([5.0, 3.0, -5.0]), v([5.0, 3.0, 5.0])]).direction, Some(v([0.0, -1.0, 0.0])));
    }

    #[test]
    fn worked_boxes() {
        let (least, greatest) = (v([0.0; 3]), v([10.0, 20.0, 30.0]));
        for (a, distance) in [
            ([[13.0, 24.0, 15.0], [13.0, 24.0, 15.0]], 5.0),
            ([[-5.0, 10.0, 10.0], [15.0, 10.0, 10.0]], 0.0),
            ([[-4.0, -3.0, -20.0], [-4.0, -3.0, 60.0]], 5.0),
            ([[12.0, 10.0, 10.0], [40.0, 10.0, 10.0]], 2.0),
            ([[5.0, 5.0, 5.0], [6.0, 6.0, 6.0]], 0.0),
        ] {
            assert_eq!(from_box(a.map(v), least, greatest).distance, distance, "{a:?}");
        }
    }

    fn close(mine: f64, least: f64, slack: f64) -> bool {
        // Sampling is never nearer than the nearest, and within half a gap of it.
        mine <= least + 1e-9 && least <= mine + slack
    }

    proptest! {
        #[test]
        fn dense_sampling_finds_nothing_nearer(c in prop::array::uniform12(-10.0..10.0_f64), flat in 0..4_u32) {
            let mut a = [v([c[0], c[1], c[2]]), v([c[3], c[4], c[5]])];
            let b = [v([c[6], c[7], c[8]]), v([c[9], c[10], c[11]])];
            match flat {
                0 => a[1] = a[0] + (b[1] - b[0]).times(1.5),
                1 => a[1] = a[0],
                _ => {}
            }
            let n = 60;
            let on = |s: [Vector; 2], i: i32| s[0] + (s[1] - s[0]).times(f64::from(i) / f64::from(n));
            let (mut least, mut least_box) = (f64::INFINITY, f64::INFINITY);
            let (lo, hi) = (v([b[0].x.min(b[1].x), b[0].y.min(b[1].y), b[0].z.min(b[1].z)]), v([b[0].x.max(b[1].x), b[0].y.max(b[1].y), b[0].z.max(b[1].z)]));
            for i in 0..=n {
                let x = on(a, i);
                for j in 0..=n {
                    least = least.min((x - on(b, j)).length());
                }
                let inside = v([x.x.max(lo.x).min(hi.x), x.y.max(lo.y).min(hi.y), x.z.max(lo.z).min(hi.z)]);
                least_box = least_box.min((x - inside).length());
            }
            let (la, lb) = ((a[1] - a[0]).length(), (b[1] - b[0]).length());
            let gap = 0.5 / f64::from(n);
            prop_assert!(close(segments(a, b).distance, least, (la + lb) * gap), "{} {least}", segments(a, b).distance);
            prop_assert!(close(from_box(a, lo, hi).distance, least_box, la * gap), "{} {least_box}", from_box(a, lo, hi).distance);
        }
    }
}
