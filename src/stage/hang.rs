//! A figure on three wires: what is given of it, and the share of its weight that each wire carries.
//!
//! What: the wires are vertical, so each pulls straight up at its point of the figure; forces and moments about both horizontal axes balance. The three shares are then those with which the centre of mass
//! lies between the three points as seen from above (barycentric coordinates; any textbook of statics). Below 0 a wire would have to push. Invariant: at home the three points lie on no line as seen from above.
//! Limits: statics: neither acceleration nor swing counts, and wires that lean pull otherwise.

use crate::bounds::{BREAKING_LOAD, COORDINATE, Code, DESIGN_FACTOR, Flaw, HUNG_MASS, LEAST_TENSION};
use crate::mechanism::{GRAVITY, Pose, Real, Vector};

/// Share of the weight that a wire must carry where the stage file does not say; common practice, no source.
pub(crate) const USUAL_LEAST_TENSION: f64 = 0.05;

/// A figure on three wires. Units: kg, mm in the figure, N.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct HangSpec {
    /// Mass.
    pub mass: f64,
    /// Centre of mass.
    pub centre: [f64; 3],
    /// Where the wires hold it.
    pub wires: [[f64; 3]; 3],
    /// Share of the weight that each wire must carry.
    pub least_tension: f64,
    /// Breaking load of one wire, and by what it is divided.
    pub breaking: Option<[f64; 2]>,
}

/// A checked figure on three wires.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Hang {
    /// kg.
    pub mass: f64,
    /// In the figure, mm.
    pub centre: Vector,
    /// Likewise.
    pub wires: [Vector; 3],
    /// Share of the weight that each wire must carry.
    pub least_tension: f64,
    /// Breaking load of one wire, N, and by what it is divided.
    pub breaking: Option<[f64; 2]>,
}

impl HangSpec {
    /// A figure with the usual least tension and no breaking load.
    #[must_use]
    pub fn new(mass: f64, centre: [f64; 3], wires: [[f64; 3]; 3]) -> HangSpec {
        HangSpec { mass, centre, wires, least_tension: USUAL_LEAST_TENSION, breaking: None }
    }

    /// Every number out of its range.
    pub(crate) fn flaws(&self) -> Vec<Flaw> {
        let mut flaws: Vec<Flaw> = HUNG_MASS.check("mass", self.mass).err().into_iter().collect();
        flaws.extend(LEAST_TENSION.check("least_tension", self.least_tension).err());
        if let Some([load, factor]) = self.breaking {
            flaws.extend(BREAKING_LOAD.check("breaking_load", load).err());
            flaws.extend(DESIGN_FACTOR.check("design_factor", factor).err());
        }
        for (key, points) in [("centre", core::slice::from_ref(&self.centre)), ("wires", self.wires.as_slice())] {
            let wrong = points.iter().find(|p| !p.iter().all(|c| COORDINATE.contains(*c)));
            flaws.extend(wrong.map(|p| {
                Flaw::new(Code::OutOfRange, key, format!("`{key}` is out of range"))
                    .found(format!("{p:?}"), format!("each from {COORDINATE}"))
            }));
        }
        flaws
    }

    /// The same checked, for a figure that is posed like this at home.
    ///
    /// # Errors
    /// Every flaw.
    pub(super) fn checked(self, home: &Pose<f64>) -> Result<Hang, Vec<Flaw>> {
        let flaws = self.flaws();
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let hang = Hang {
            mass: self.mass,
            centre: Vector::from(self.centre),
            wires: self.wires.map(Vector::from),
            least_tension: self.least_tension,
            breaking: self.breaking,
        };
        let sides = [(0, 1), (1, 2), (2, 0)]
            .map(|(i, j)| self.wires.get(i).zip(self.wires.get(j)).map_or(0.0, |(a, b)| (Vector::from(*a) - Vector::from(*b)).length()));
        let longest = sides.into_iter().fold(0.0, f64::max);
        let area = hang.areas(home).into_iter().fold(0.0, |sum, area| sum + area);
        if area.abs() > ON_A_LINE * longest * longest {
            return Ok(hang);
        }
        let flaw = Flaw::new(Code::ImpossibleMechanism, "wires", "the three wires hold the figure on one line, as seen from above");
        Err(vec![
            flaw.found("three points on a line", "a triangle, seen from above with everything at home")
                .help("measure the points again, or move one of them aside"),
        ])
    }
}

/// Twice the triangle's area over the square of its longest side below which its points are on a line: a height of a hundredth of that side.
const ON_A_LINE: f64 = 0.01;

impl Hang {
    /// Weight, N.
    #[must_use]
    pub(crate) fn weight(&self) -> f64 {
        self.mass * GRAVITY
    }

    /// The share of the weight that each wire carries in a pose.
    #[must_use]
    pub(crate) fn shares<T: Real>(&self, pose: &Pose<T>) -> [T; 3] {
        let [a, b, c] = self.areas(pose);
        let all = a + b + c;
        [a / all, b / all, c / all]
    }

    /// The same with a weight of so many kg at one of its wires.
    #[must_use]
    pub(crate) fn trimmed(&self, wire: usize, more: f64) -> Hang {
        let at = self.wires.get(wire).copied().unwrap_or(self.centre);
        let mass = self.mass + more;
        let centre = (self.centre.times(self.mass) + at.times(more)).times(1.0 / mass);
        Hang { mass, centre, ..*self }
    }

    /// Twice the areas, as seen from above, of the triangles of the centre of mass with the two other wires of each.
    fn areas<T: Real>(&self, pose: &Pose<T>) -> [T; 3] {
        let [a, b, c] = self.wires.map(|wire| pose.turn.out_fixed(wire - self.centre));
        let area = |p: Vector<T>, q: Vector<T>| p.z * q.x - p.x * q.z;
        [area(b, c), area(c, a), area(a, b)]
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// By hand: 90 mm before the middle and 45 mm behind it, the centre of mass in the middle: moments about the hind wires' line give 45 / 135 to the fore wire. 30 mm further aft: 15 / 135.
    #[test]
    fn shares_by_hand() {
        let spec = HangSpec::new(1.9, [0.0, -30.0, 0.0], [[90.0, 0.0, 0.0], [-45.0, 0.0, 78.0], [-45.0, 0.0, -78.0]]);
        let level = Pose::home();
        let hang = spec.clone().checked(&level).unwrap();
        for share in hang.shares(&level) {
            assert!((share - 1.0 / 3.0).abs() < 1e-15);
        }
        let aft = HangSpec { centre: [-30.0, -30.0, 0.0], ..spec.clone() }.checked(&level).unwrap();
        let [fore, left, right] = aft.shares(&level);
        assert!((fore - 1.0 / 9.0).abs() < 1e-15 && (left - right).abs() < 1e-15 && (fore + left + right - 1.0).abs() < 1e-15);
        // 200 g at the fore wire: (1.9 / 9 + 0.2) / 2.1.
        let [fore, ..] = aft.trimmed(0, 0.2).shares(&level);
        assert!((fore - (1.9 / 9.0 + 0.2) / 2.1).abs() < 1e-15);
        let line = HangSpec { wires: [[0.0; 3], [50.0, 9.0, 0.0], [100.0, 0.0, 0.0]], ..spec.clone() };
        assert_eq!(line.checked(&level).unwrap_err().len(), 1);
        assert_eq!(HangSpec { mass: f64::NAN, least_tension: 0.5, breaking: Some([0.0, 0.5]), ..spec }.flaws().len(), 4);
    }

    /// The same by three equations of statics, solved by elimination, for a figure that leans.
    #[test]
    fn shares_are_those_of_three_equations() {
        use crate::mechanism::space::Turn;
        use nalgebra::{Matrix3, Vector3};
        let spec = HangSpec::new(1.9, [4.0, -30.0, -7.0], [[90.0, 5.0, 0.0], [-45.0, 0.0, 78.0], [-40.0, -8.0, -70.0]]);
        let hang = spec.checked(&Pose::home()).unwrap();
        for degrees in [-35.0, -9.0, 0.0, 20.0] {
            let turn = Turn::about(Vector::new(0.6, 0.0, 0.8), degrees);
            let pose = Pose { turn, position: Vector::new(5.0, 700.0, -3.0) };
            let [a, b, c] = hang.wires.map(|w| pose.out_fixed(w));
            let m = pose.out_fixed(hang.centre);
            let matrix = Matrix3::new(1.0, 1.0, 1.0, a.x, b.x, c.x, a.z, b.z, c.z);
            let tensions = matrix.lu().solve(&Vector3::new(1.0, m.x, m.z)).unwrap();
            for (share, tension) in hang.shares(&pose).into_iter().zip(tensions.iter()) {
                assert!((share - tension).abs() < 1e-12, "{share} {tension}");
            }
        }
    }
}
