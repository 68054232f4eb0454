//! Meshes of a scene against the shapes that they stand for.
//!
//! What: every vertex lies on the surface, with the normal that the surface has there; every side of a triangle is that of another the other way round; every triangle turns outwards; and the volume, by the
//! divergence theorem, is that of the shape but for what flat triangles lose. So a mesh that is open, inside out, coarse or of another size is found, however its vertices are counted.
//! Limits: of what is a thousand times as far away as thick, vertices alone are compared. Invariant: shares no formula with the meshes that were written.

use std::collections::BTreeSet;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

use super::figure::{Point, add, dot, length, less};

/// Digits of single precision, and of normals.
const DIGITS: f64 = 2e-6;

/// The least share of the volume that a round shape keeps: capsules of 64 vertices round, wires of 16.
const ROUND: f64 = 0.995;
const ROUND_WIRE: f64 = 0.97;

/// Lengths over the radius beyond which vertices alone are compared, not triangles.
const FAR: f64 = 1e3;

/// What a mesh stands for, in the scene's lengths.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Shape {
    /// All that is no farther than so much from a line.
    Capsule([Point; 2], f64),
    /// A cylinder from the origin one unit along Y.
    Wire(f64),
    /// A box by two corners.
    Cuboid(Point, Point),
}

/// A shape and where its numbers stand: positions, normals, corners of triangles.
pub(super) struct Placed {
    pub(super) shape: Shape,
    pub(super) offsets: [u64; 3],
    /// The accessor of its positions.
    pub(super) accessor: usize,
}

impl Shape {
    /// Vertices, and three times the triangles.
    pub(super) fn counts(&self) -> (u64, u64) {
        match self {
            Shape::Capsule([a, b], _) if a == b => (2 + 64 * 31, 3 * 64 * 62),
            Shape::Capsule(..) => (2 + 64 * 32, 3 * 64 * 64),
            Shape::Wire(_) => (64, 3 * 60),
            Shape::Cuboid(..) => (24, 3 * 12),
        }
    }

    /// Shapes whose triangles are counted alike.
    pub(super) fn kind(&self) -> &'static str {
        match self {
            Shape::Capsule([a, b], _) if a == b => "ball",
            Shape::Capsule(..) => "capsule",
            Shape::Wire(_) => "wire",
            Shape::Cuboid(..) => "box",
        }
    }

    fn volume(&self) -> (f64, f64) {
        let pi = core::f64::consts::PI;
        match self {
            Shape::Capsule([a, b], r) => (pi * r * r * (length(less(*b, *a)) + 4.0 / 3.0 * r), ROUND),
            Shape::Wire(r) => (pi * r * r, ROUND_WIRE),
            Shape::Cuboid(a, b) => (less(*b, *a).iter().product(), 1.0 - DIGITS),
        }
    }

    /// How far a vertex is off the surface, and how far its normal is off.
    fn off(&self, at: Point, normal: Point) -> (f64, f64) {
        match self {
            Shape::Capsule([a, b], r) => {
                let along = less(*b, *a);
                let whole = dot(along, along);
                let share = if whole > 0.0 { (dot(less(at, *a), along) / whole).clamp(0.0, 1.0) } else { 0.0 };
                let out = less(at, add(*a, along.map(|x| share * x)));
                (length(out) - r, length(less(out.map(|x| x / r), normal)))
            }
            Shape::Wire(r) => {
                let [x, y, z] = at;
                let of_side = length(less([x / r, 0.0, z / r], normal));
                let of_end = length(less([0.0, 2.0 * y - 1.0, 0.0], normal));
                (((x * x + z * z).sqrt() - r).abs().max((y * (y - 1.0)).abs()), of_side.min(of_end))
            }
            Shape::Cuboid(a, b) => {
                let outside = |i: usize| {
                    let (x, a, b, n) = (at.get(i)?, a.get(i)?, b.get(i)?, normal.get(i)?);
                    let off = (x - a).abs().min((x - b).abs());
                    // A side's normal shows to where the vertex is from the middle.
                    let way = if *x > 0.5 * (a + b) { 1.0 } else { -1.0 };
                    Some((off, n.abs(), *n == way))
                };
                let three: Vec<_> = (0..3).filter_map(outside).collect();
                let off = three.iter().map(|t| t.0).fold(0.0, f64::max);
                let one = three.iter().filter(|t| t.1 > 0.0).count() == 1 && three.iter().any(|t| t.2);
                (off, if one { 0.0 } else { 1.0 })
            }
        }
    }

    /// A length that vertices are rounded with.
    fn size(&self) -> f64 {
        match self {
            Shape::Capsule([a, b], r) => length(*a) + length(*b) + r,
            Shape::Wire(r) => *r,
            Shape::Cuboid(a, b) => length(*a) + length(*b),
        }
    }
}

impl Placed {
    /// Reads the numbers from `start` on and compares them; `extent` is what the description says of them.
    ///
    /// # Errors
    /// What does not hold, in words.
    pub(super) fn check(&self, file: &mut File, start: u64, extent: Option<[Point; 2]>) -> Result<(), String> {
        let (vertices, corners) = self.shape.counts();
        let mut bytes = |offset: u64, count: u64| -> Result<Vec<u8>, String> {
            let cut = |e: std::io::Error| format!("cannot be read to its end: {e}");
            file.seek(SeekFrom::Start(start + offset)).map_err(cut)?;
            let mut bytes = Vec::new();
            file.take(count).read_to_end(&mut bytes).map_err(cut)?;
            Ok(bytes)
        };
        let points = |bytes: &[u8]| -> Vec<Point> {
            let numbers: Vec<f64> = bytes.as_chunks::<4>().0.iter().map(|b| f64::from(f32::from_le_bytes(*b))).collect();
            numbers.as_chunks::<3>().0.to_vec()
        };
        let [at, normal, index] = self.offsets;
        let (positions, normals) = (points(&bytes(at, 12 * vertices)?), points(&bytes(normal, 12 * vertices)?));
        let indices: Vec<usize> =
            bytes(index, 2 * corners)?.as_chunks::<2>().0.iter().map(|b| usize::from(u16::from_le_bytes(*b))).collect();
        self.holds(&positions, &normals, indices.as_chunks::<3>().0, extent)
            .map_err(|what| format!("mesh of a {}: {what}", self.shape.kind()))
    }

    fn holds(&self, positions: &[Point], normals: &[Point], triangles: &[[usize; 3]], extent: Option<[Point; 2]>) -> Result<(), String> {
        let size = self.shape.size();
        for (i, (at, normal)) in positions.iter().zip(normals).enumerate() {
            let (off, turned) = self.shape.off(*at, *normal);
            // A normal is that of a rounded place.
            let slack = DIGITS * (1.0 + size / self.radius());
            if !(off.abs() <= DIGITS * size && turned <= slack) {
                return Err(format!("vertex {i} at {at:?} with normal {normal:?} is not on the surface"));
            }
        }
        let fold =
            |pick: fn(f64, f64) -> f64| positions.iter().copied().reduce(|[a, b, c], [x, y, z]| [pick(a, x), pick(b, y), pick(c, z)]);
        // The description has the nearest short decimals.
        let near = |said: Point, fold: Option<Point>| {
            fold.is_some_and(|fold| said.iter().zip(fold).all(|(a, b)| (a - b).abs() <= DIGITS * b.abs()))
        };
        if !extent.is_some_and(|[least, greatest]| near(least, fold(f64::min)) && near(greatest, fold(f64::max))) {
            return Err("the extent is not that of the vertices".to_owned());
        }
        // Thin and far away, single precision draws neighbouring vertices together.
        if size > FAR * self.radius() {
            return Ok(());
        }
        let place = |i: usize| positions.get(i).map(|p| p.map(|x| (x + 0.0).to_bits()));
        let (mut sides, mut volume) = (BTreeSet::new(), 0.0);
        for t in triangles {
            let [Some(a), Some(b), Some(c)] = t.map(|i| positions.get(i).copied()) else {
                return Err("a triangle has no vertex".to_owned());
            };
            let out = cross(less(b, a), less(c, a));
            if !t.iter().all(|i| normals.get(*i).is_some_and(|n| dot(out, *n) > 0.0)) {
                return Err("a triangle does not turn outwards".to_owned());
            }
            let [i, j, k] = *t;
            for (from, to) in [(i, j), (j, k), (k, i)] {
                if !sides.insert((place(from), place(to))) {
                    return Err("two triangles lie on one another".to_owned());
                }
            }
            volume += dot(a, cross(b, c)) / 6.0;
        }
        if sides.iter().any(|(from, to)| !sides.contains(&(*to, *from))) {
            return Err("it is not closed".to_owned());
        }
        let (whole, least) = self.shape.volume();
        let digits = 10.0 * DIGITS * (1.0 + size / self.radius());
        if !((least - digits) * whole <= volume && volume <= whole * (1.0 + digits)) {
            return Err(format!("its volume is {volume}, expected {whole}"));
        }
        Ok(())
    }

    fn radius(&self) -> f64 {
        match &self.shape {
            Shape::Capsule(_, r) | Shape::Wire(r) => *r,
            Shape::Cuboid(..) => 1.0,
        }
    }
}

fn cross([a, b, c]: Point, [x, y, z]: Point) -> Point {
    [b * z - c * y, c * x - a * z, a * y - b * x]
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;

    /// A box by its eight corners with three normals each, then with one corner moved, one triangle turned, one missing.
    #[test]
    fn a_box_by_hand() {
        let placed = Placed { shape: Shape::Cuboid([0.0; 3], [1.0, 2.0, 4.0]), offsets: [0; 3], accessor: 0 };
        let (mut positions, mut normals, mut triangles) = (Vec::new(), Vec::new(), Vec::new());
        for axis in 0..3 {
            for side in [0.0, 1.0] {
                let first = positions.len();
                for (u, v) in [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)] {
                    let (mut p, mut n) = ([0.0; 3], [0.0; 3]);
                    (p[axis], p[(axis + 1) % 3], p[(axis + 2) % 3], n[axis]) = (side, u, v, 2.0 * side - 1.0);
                    positions.push([p[0], 2.0 * p[1], 4.0 * p[2]]);
                    normals.push(n);
                }
                let quad = if side > 0.0 { [0, 1, 2, 3] } else { [0, 3, 2, 1] }.map(|i| first + i);
                triangles.extend([[quad[0], quad[1], quad[2]], [quad[0], quad[2], quad[3]]]);
            }
        }
        let extent = Some([[0.0; 3], [1.0, 2.0, 4.0]]);
        assert_eq!(placed.holds(&positions, &normals, &triangles, extent), Ok(()));
        assert!(placed.holds(&positions, &normals, &triangles, None).is_err());
        assert!(placed.holds(&positions, &normals, &triangles[1..], extent).unwrap_err().contains("not closed"));
        let mut turned = triangles.clone();
        turned[3].reverse();
        assert!(placed.holds(&positions, &normals, &turned, extent).unwrap_err().contains("outwards"));
        positions[2][1] += 1e-3;
        assert!(placed.holds(&positions, &normals, &triangles, extent).unwrap_err().contains("vertex 2"));
    }
}
