//! Closed meshes of capsules, boxes and unit cylinders, for files that know triangles alone.
//!
//! Form: triangles run counter-clockwise as seen from outside; every vertex has its outward normal of length 1. Invariant: every vertex lies on the surface; a round surface is nowhere farther than 0.25 % of its
//! radius from its mesh, for no place of a ball is more than 4 deg from a vertex (1 - cos 4 deg = 0.24 %). A box and a cylinder have a vertex for each side that meets in a corner.
//! Units: those of what is handed in.

use crate::mechanism::Vector;
use crate::number::elementary;

/// Vertices round a capsule; the rings from pole to pole are as far from each other.
const ROUND: u16 = 64;

/// Vertices round a wire.
const ROUND_WIRE: u16 = 16;

/// Triangles with their vertices.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Mesh {
    pub(super) positions: Vec<[f64; 3]>,
    pub(super) normals: Vec<[f64; 3]>,
    pub(super) triangles: Vec<[u16; 3]>,
}

impl Mesh {
    /// All points no farther than `radius` from a line; a ball where its ends are one.
    pub(super) fn capsule([from, to]: [Vector; 2], radius: f64) -> Mesh {
        let along = to - from;
        let is_ball = !(along.length() > 0.0);
        let up = if is_ball { Vector::new(0.0, 1.0, 0.0) } else { along.times(1.0 / along.length()) };
        let [e, f] = across(up);
        let half = ROUND / 4;
        // Polar angles in parts of half a turn, and the end about which the ring lies: a capsule has two rings at its equator.
        let upper = (1..=half).map(|k| (k, to));
        let lower = (if is_ball { half + 1 } else { half }..2 * half).map(|k| (k, from));
        let rings: Vec<(u16, Vector)> = upper.chain(lower).collect();
        let mut mesh = Mesh::default();
        mesh.vertex(to + up.times(radius), up);
        for (k, middle) in &rings {
            let polar = core::f64::consts::PI * f64::from(*k) / f64::from(2 * half);
            let (out, high) = (elementary::sin(polar), elementary::cos(polar));
            for j in 0..ROUND {
                let (x, y) = circle(j, ROUND);
                let normal = e.times(out * x) + f.times(out * y) + up.times(high);
                mesh.vertex(*middle + normal.times(radius), normal);
            }
        }
        mesh.vertex(from - up.times(radius), up.times(-1.0));
        let last = (0_u16..).zip(&rings).map(|(r, _)| r).last().unwrap_or(0);
        let at = |ring: u16, j: u16| 1 + ring * ROUND + j % ROUND;
        let bottom = 1 + (last + 1) * ROUND;
        for j in 0..ROUND {
            mesh.triangles.push([0, at(0, j), at(0, j + 1)]);
            for ring in 0..last {
                let (a, b, c, d) = (at(ring, j), at(ring + 1, j), at(ring + 1, j + 1), at(ring, j + 1));
                mesh.triangles.extend([[a, b, c], [a, c, d]]);
            }
            mesh.triangles.push([at(last, j), bottom, at(last, j + 1)]);
        }
        mesh
    }

    /// From the origin one unit along Y.
    pub(super) fn cylinder(radius: f64) -> Mesh {
        let mut mesh = Mesh::default();
        let up = Vector::new(0.0, 1.0, 0.0);
        for j in 0..ROUND_WIRE {
            let (z, x) = circle(j, ROUND_WIRE);
            let normal = Vector::new(x, 0.0, z);
            let (low, high) = (normal.times(radius), normal.times(radius) + up);
            mesh.vertex(low, normal);
            mesh.vertex(high, normal);
            mesh.vertex(low, up.times(-1.0));
            mesh.vertex(high, up);
        }
        let at = |j: u16, which: u16| 4 * (j % ROUND_WIRE) + which;
        for j in 0..ROUND_WIRE {
            mesh.triangles.extend([[at(j, 0), at(j + 1, 0), at(j + 1, 1)], [at(j, 0), at(j + 1, 1), at(j, 1)]]);
        }
        for j in 1..ROUND_WIRE - 1 {
            mesh.triangles.extend([[at(0, 2), at(j + 1, 2), at(j, 2)], [at(0, 3), at(j, 3), at(j + 1, 3)]]);
        }
        mesh
    }

    /// A box along the axes, by its least and its greatest corner.
    pub(super) fn cuboid(least: Vector, greatest: Vector) -> Mesh {
        let mut mesh = Mesh::default();
        let [x, y, z] = [Vector::new(1.0, 0.0, 0.0), Vector::new(0.0, 1.0, 0.0), Vector::new(0.0, 0.0, 1.0)];
        let (middle, half) = ((least + greatest).times(0.5), (greatest - least).times(0.5));
        for (first, (out, right, up)) in
            (0_u16..).step_by(4).zip([(x, y, z), (x.times(-1.0), z, y), (y, z, x), (y.times(-1.0), x, z), (z, x, y), (z.times(-1.0), y, x)])
        {
            for (r, u) in [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)] {
                let corner = out + right.times(r) + up.times(u);
                mesh.vertex(middle + Vector::new(corner.x * half.x, corner.y * half.y, corner.z * half.z), out);
            }
            mesh.triangles.extend([[first, first + 1, first + 2], [first, first + 2, first + 3]]);
        }
        mesh
    }

    fn vertex(&mut self, at: Vector, normal: Vector) {
        self.positions.push([at.x, at.y, at.z]);
        self.normals.push([normal.x, normal.y, normal.z]);
    }
}

/// A place of so many round a circle.
fn circle(j: u16, round: u16) -> (f64, f64) {
    let turn = 2.0 * core::f64::consts::PI * f64::from(j) / f64::from(round);
    (elementary::cos(turn), elementary::sin(turn))
}

/// Two directions of length 1 that are, with a third of length 1, at right angles to each other and right-handed.
fn across(up: Vector) -> [Vector; 2] {
    let other = if up.y.abs() > 0.9 { Vector::new(0.0, 0.0, 1.0) } else { Vector::new(0.0, 1.0, 0.0) };
    let e = cross(other, up);
    let e = e.times(1.0 / e.length());
    [e, cross(up, e)]
}

fn cross(a: Vector, b: Vector) -> Vector {
    Vector::new(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use std::collections::BTreeSet;

    use super::*;

    /// Every side of every triangle is one of another the other way round; volume by the divergence theorem; all sides turn outwards.
    fn volume(mesh: &Mesh) -> f64 {
        let at = |i: u16| Vector::from(mesh.positions[usize::from(i)]);
        let place = |i: u16| mesh.positions[usize::from(i)].map(|x| ((x * 1e9).round() + 0.0).to_bits());
        let sides: BTreeSet<_> =
            mesh.triangles.iter().flat_map(|[a, b, c]| [(*a, *b), (*b, *c), (*c, *a)]).map(|(a, b)| (place(a), place(b))).collect();
        assert_eq!(sides.len(), 3 * mesh.triangles.len());
        assert!(sides.iter().all(|(a, b)| sides.contains(&(*b, *a))));
        let dot = |a: Vector, b: Vector| a.x * b.x + a.y * b.y + a.z * b.z;
        let mut whole = 0.0;
        for t in &mesh.triangles {
            let [a, b, c] = t.map(at);
            let out = cross(b - a, c - a);
            assert!(t.iter().all(|i| dot(out, Vector::from(mesh.normals[usize::from(*i)])) > 0.0));
            whole += dot(a, cross(b, c)) / 6.0;
        }
        assert!(mesh.normals.iter().all(|n| (Vector::from(*n).length() - 1.0).abs() < 1e-12));
        whole
    }

    /// Volumes by the textbook; of 64 sides (32/pi) sin(2 pi/64) = 0.9984 is left, of a ball twice as much is missing.
    #[test]
    fn meshes_are_closed_and_as_large_as_what_they_stand_for() {
        let pi = core::f64::consts::PI;
        let (a, b) = (Vector::new(10.0, -20.0, 5.0), Vector::new(-50.0, 30.0, 80.0));
        let whole = pi * 400.0 * (b - a).length() + 4.0 / 3.0 * pi * 8000.0;
        let share = volume(&Mesh::capsule([a, b], 20.0)) / whole;
        assert!((0.996..1.0).contains(&share), "{share}");
        let ball = volume(&Mesh::capsule([a; 2], 20.0)) / (4.0 / 3.0 * pi * 8000.0);
        assert!((0.995..1.0).contains(&ball), "{ball}");
        let wire = volume(&Mesh::cylinder(2.0)) / (4.0 * pi);
        assert!((0.97..1.0).contains(&wire), "{wire}");
        assert!((volume(&Mesh::cuboid(Vector::new(-1.0, 2.0, 3.0), Vector::new(4.0, 5.0, 7.0))) - 60.0).abs() < 1e-12);
    }
}
