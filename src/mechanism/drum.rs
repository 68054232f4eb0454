//! A hoist's drum: height of what hangs to turn of the drum, layer by layer, and the stretch of the rope.
//!
//! A rope of diameter d on a drum of diameter D winds on the circle of its own middle: D + (2 i - 1) d in layer i, so one turn is
//! pi (D + (2 i - 1) d) of height. Source: usual formula of rope drums (redcrab-software.com, drum winder calculator), square
//! stacking without nesting. Positive turns wind rope on and raise. Within a layer height and turn are in proportion; at the
//! start of a layer the speed of the height jumps, which no axis follows: [`Drum::layer_changes`] says where. Stretch is
//! reported, not compensated: F L / (A E), Hooke's law.
//!
//! Limits: the small slant of a turn is left out (one rope diameter a turn: relative d^2 / (2 pi^2 D^2), for D/d = 24 below 1e-4),
//! as are nesting of layers, fleet angle and the length from drum to sheave.

use super::OutOfReach;
use super::interval::{IntervalJet, Range};
use super::kinematics::{Mechanism, Quantity, one_to_one};
use super::real::Real;
use super::unit::Unit;
use crate::bounds::{self, AREA, Bound, Flaw, LAYERS, LENGTH, MODULUS, SPAN, TURNS_PER_LAYER, WOUND};
use crate::number::{Jet, elementary};

/// How a rope lies on its drum where it may lie in more than one layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spool {
    /// Turns side by side in one layer.
    pub turns_per_layer: f64,
    /// Most layers, 1 to 64.
    pub layers: u32,
    /// Turns on the drum at height 0.
    pub wound: f64,
}

/// What a drum is made from; units as in the stage file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrumSpec {
    /// Radius of the bare drum, mm; of a grooved drum at the bottom of its groove.
    pub radius: f64,
    /// Diameter of the rope, mm; 0 for a thin wire.
    pub rope_diameter: f64,
    /// Layers of rope; without it the rope lies in one endless layer.
    pub spool: Option<Spool>,
}

/// A checked drum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drum {
    spec: DrumSpec,
    /// What hangs on it, where that is given.
    hung: Option<Hung>,
}

impl Drum {
    /// Checks a drum.
    ///
    /// # Errors
    /// Every number out of its range; more turns at height 0 than the layers hold.
    pub fn new(spec: DrumSpec) -> Result<Drum, Vec<Flaw>> {
        let mut flaws = Vec::new();
        flaws.extend(LENGTH.check("radius", spec.radius).err());
        flaws.extend(SPAN.check("rope_diameter", spec.rope_diameter).err());
        if let Some(spool) = spec.spool {
            flaws.extend(TURNS_PER_LAYER.check("turns_per_layer", spool.turns_per_layer).err());
            flaws.extend(LAYERS.check("layers", i64::from(spool.layers)).err());
            if flaws.is_empty() {
                let most = spool.turns_per_layer * f64::from(spool.layers);
                let holds = Bound { most, ..WOUND };
                flaws.extend(holds.check("wound", spool.wound).err().map(|f| f.help("turns on the drum at height 0")));
            }
        }
        if flaws.is_empty() { Ok(Drum { spec, hung: None }) } else { Err(flaws) }
    }

    /// The same drum with what hangs on it: the stretch of its rope is then reported.
    #[must_use]
    pub fn with_hung(self, hung: Hung) -> Drum {
        Drum { hung: Some(hung), ..self }
    }

    /// Turn of the drum, deg, that raises what hangs to `height`, mm; 0 at height 0.
    ///
    /// # Errors
    /// [`OutOfReach::Range`] for more rope than the layers hold, or less than none.
    pub(crate) fn turn<T: Real>(&self, height: T) -> Result<T, OutOfReach> {
        let found = height.value();
        let [least, most] = self.heights();
        if !(least <= found && found <= most) {
            return Err(OutOfReach::Range { quantity: "height", found, least, most, unit: "mm" });
        }
        let Some(spool) = self.spec.spool else {
            return Ok(height.times(360.0 / self.turn_length(1)));
        };
        // The last layer whose start is not above the height; the first where rounding leaves none.
        let layer = (1..=spool.layers).rev().find(|&layer| self.start(spool, layer) <= found).unwrap_or(1);
        let turns_before = spool.turns_per_layer * f64::from(layer - 1) - spool.wound;
        let in_layer = height - T::constant(self.start(spool, layer));
        Ok(in_layer.times(360.0 / self.turn_length(layer)) + T::constant(360.0 * turns_before))
    }

    /// Height, mm, at which the drum has turned by `turn`, deg: the inverse of [`Drum::turn`].
    ///
    /// # Errors
    /// [`OutOfReach::Range`] for more turns than the layers hold, or less than none.
    pub(crate) fn height<T: Real>(&self, turn: T) -> Result<T, OutOfReach> {
        let found = turn.value();
        let out = |least, most| OutOfReach::Range { quantity: "turn", found, least, most, unit: "deg" };
        let Some(spool) = self.spec.spool else {
            return if found.is_finite() { Ok(turn.times(self.turn_length(1) / 360.0)) } else { Err(out(f64::MIN, f64::MAX)) };
        };
        let starts = |layer: u32| starts_at(spool, layer);
        let [least, most] = self.turns();
        if !(least <= found && found <= most) {
            return Err(out(least, most));
        }
        let layer = (1..=spool.layers).rev().find(|&layer| starts(layer) <= found).unwrap_or(1);
        let in_layer = (turn - T::constant(starts(layer))).times(self.turn_length(layer) / 360.0);
        Ok(in_layer + T::constant(self.start(spool, layer)))
    }

    /// Turns that the rope on the drum allows, deg: least and most.
    #[must_use]
    pub(crate) fn turns(&self) -> [f64; 2] {
        self.spec.spool.map_or([f64::MIN, f64::MAX], |spool| [1, spool.layers + 1].map(|layer| starts_at(spool, layer)))
    }

    /// Heights that the rope on the drum allows, mm: lowest and highest.
    #[must_use]
    pub(crate) fn heights(&self) -> [f64; 2] {
        match self.spec.spool {
            None => [f64::MIN, f64::MAX],
            Some(spool) => [self.start(spool, 1), self.start(spool, spool.layers + 1)],
        }
    }

    /// Heights at which the rope climbs to its next layer, mm, rising: the speed of the drum jumps there.
    #[must_use]
    pub(crate) fn layer_changes(&self) -> Vec<f64> {
        self.spec.spool.map_or_else(Vec::new, |spool| (2..=spool.layers).map(|layer| self.start(spool, layer)).collect())
    }

    /// Rope in one turn of layer `layer` (1, 2, ...), mm.
    #[must_use]
    pub(crate) fn turn_length(&self, layer: u32) -> f64 {
        let middle = self.spec.radius + (f64::from(layer) - 0.5) * self.spec.rope_diameter;
        elementary::TURN * middle
    }

    /// All the rope that the layers hold, mm; `None` without layers.
    #[cfg(test)]
    pub(crate) fn capacity(&self) -> Option<f64> {
        self.spec.spool.map(|spool| self.rope(spool, spool.turns_per_layer * f64::from(spool.layers)))
    }

    /// Height at which a layer starts.
    fn start(&self, spool: Spool, layer: u32) -> f64 {
        self.rope(spool, spool.turns_per_layer * f64::from(layer - 1)) - self.rope(spool, spool.wound)
    }

    /// Rope in the first `turns` turns: full layers i = 1..k hold n pi (k D + k^2 d), the sum of their turns; the rest lies in the next.
    fn rope(&self, spool: Spool, turns: f64) -> f64 {
        let full = (turns / spool.turns_per_layer).floor();
        let rest = turns - full * spool.turns_per_layer;
        let (radius, d) = (self.spec.radius, self.spec.rope_diameter);
        elementary::TURN * (spool.turns_per_layer * (full * radius + 0.5 * full * full * d) + rest * (radius + (full + 0.5) * d))
    }
}

impl Mechanism for Drum {
    fn kind(&self) -> &str {
        "drum"
    }

    fn channels(&self) -> &[Quantity] {
        &[Quantity { name: "height", unit: Unit::Millimetre }]
    }

    fn axes(&self) -> &[Unit] {
        &[Unit::Degree]
    }

    fn to_axes(&self, channels: &[Jet], axes: &mut [Jet]) -> Result<(), OutOfReach> {
        one_to_one(channels, axes, |height| self.turn(height))
    }

    fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach> {
        one_to_one(axes, channels, |turn| self.height(turn))
    }

    fn to_channels_at_rest(&self, axes: &[f64], channels: &mut [f64]) -> Result<(), OutOfReach> {
        one_to_one(axes, channels, |turn| self.height(turn))
    }

    fn enclose(&self, axes: &[IntervalJet], channels: &mut [IntervalJet]) -> Option<()> {
        let over = |turn: IntervalJet| {
            // Height rises with turn, in proportion within a layer: its ends are those of the turn, its slopes those of the layers between.
            let at = |p: f64| self.height(Jet::time(p));
            let (low, high) = (at(turn.p.lo)?, at(turn.p.hi)?);
            let slope = Range::between(low.v, high.v);
            let bend = if low.v == high.v { Range::ZERO } else { Range::WHOLE };
            Ok(turn.through(Range::between(low.p, high.p), slope, bend))
        };
        one_to_one(axes, channels, over).ok()
    }

    fn axis_range(&self, _which: usize) -> Option<[f64; 2]> {
        Some(self.turns())
    }

    fn stretch(&self, channel: f64) -> Option<f64> {
        self.hung.map(|hung| hung.stretch_at(channel))
    }

    fn layer_changes(&self) -> Vec<f64> {
        Drum::layer_changes(self)
    }
}

/// Turn, deg, at which a layer starts.
fn starts_at(spool: Spool, layer: u32) -> f64 {
    360.0 * (spool.turns_per_layer * f64::from(layer - 1) - spool.wound)
}

/// A rope or wire that stretches.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rope {
    area: f64,
    modulus: f64,
}

impl Rope {
    /// A rope of metallic cross section `area` (mm2) and `modulus` of elasticity (N/mm2), both as the maker gives them.
    ///
    /// # Errors
    /// Every number out of its range.
    pub fn new(area: f64, modulus: f64) -> Result<Rope, Vec<Flaw>> {
        let flaws: Vec<Flaw> = [AREA.check("area", area).err(), MODULUS.check("modulus", modulus).err()].into_iter().flatten().collect();
        if flaws.is_empty() { Ok(Rope { area, modulus }) } else { Err(flaws) }
    }

    /// Stretch, mm, of `length` mm under `force` N: F L / (A E).
    #[must_use]
    pub fn stretch(&self, force: f64, length: f64) -> f64 {
        force * length / (self.area * self.modulus)
    }
}

/// The load on a drum's rope, so that its stretch can be reported.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hung {
    /// The rope.
    pub rope: Rope,
    /// Mass of the load, kg.
    pub mass: f64,
    /// Rope between drum and load at height 0, mm.
    pub length: f64,
}

impl Hung {
    /// Checks what hangs.
    ///
    /// # Errors
    /// Every number out of its range.
    pub fn new(rope: Rope, mass: f64, length: f64) -> Result<Hung, Vec<Flaw>> {
        let flaws: Vec<Flaw> =
            [bounds::MASS.check("mass", mass).err(), LENGTH.check("rope_length", length).err()].into_iter().flatten().collect();
        if flaws.is_empty() { Ok(Hung { rope, mass, length }) } else { Err(flaws) }
    }

    /// Stretch of the rope at a height, mm: the load's weight over the rope that is out; none where no rope is out.
    #[must_use]
    pub fn stretch_at(&self, height: f64) -> f64 {
        self.rope.stretch(self.mass * super::GRAVITY, (self.length - height).max(0.0))
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::super::real::oracle::{both, close, same};
    use super::*;
    use crate::number::Jet;

    fn drum(radius: f64, rope_diameter: f64, spool: Option<Spool>) -> Drum {
        Drum::new(DrumSpec { radius, rope_diameter, spool }).unwrap()
    }

    /// Source: description of a winch drum calculator (oanor.com, cable drum): drum 10 in, flange 20 in, width 12 in, rope 0.5 in, so
    /// 24 turns in 10 layers: "about 940 ft". Closed form pi (b/d) n (D + n d) = 11309.73355 in (redcrab-software.com, drum winder).
    #[test]
    fn the_published_drum_holds_its_rope() {
        let inch = 25.4;
        let drum = drum(5.0 * inch, 0.5 * inch, Some(Spool { turns_per_layer: 24.0, layers: 10, wound: 0.0 }));
        let held = drum.capacity().unwrap() / inch;
        assert!((held - 11_309.733_55).abs() <= 5e-6, "{held}");
        assert!((held / 12.0 - 940.0).abs() <= 5.0);
        let by_turns: f64 = (1..=10).map(|layer| 24.0 * drum.turn_length(layer)).sum();
        assert!((by_turns - drum.capacity().unwrap()).abs() <= 1e-12 * by_turns);
        assert_eq!(drum.heights()[1], drum.capacity().unwrap());
    }

    /// Source: Firgelli, drum and rope conversion: effective diameter 200 mm at 30 and 60 rev/min pays out 0.31 and 0.628 m/s.
    #[test]
    fn the_published_payout_speeds() {
        let drum = drum(95.0, 10.0, None);
        for (rpm, printed, half_unit) in [(30.0, 0.31, 5e-3), (60.0, 0.628, 5e-4)] {
            let speed = drum.height(Jet { p: 0.0, v: rpm * 360.0 / 60.0, a: 0.0, j: 0.0 }).unwrap().v / 1000.0;
            assert!((speed - printed).abs() <= half_unit, "{speed}");
        }
    }

    /// Sources: EIT Mechanical Review, 2nd ed., strain: 49.93 MPa on 10 m of 210 GPa stretches 2.378 mm. 430 kg on 3.9 m of 1.8e-5 m2 and
    /// 86 GPa with g = 9.8 stretches 10.6167 mm (clutchprep.com, problem 50693).
    #[test]
    fn published_stretches() {
        let one = Rope::new(1.0, 210e3).unwrap().stretch(49.93, 10e3);
        assert!((one - 2.378).abs() <= 5e-4, "{one}");
        let other = Rope::new(18.0, 86e3).unwrap().stretch(430.0 * 9.8, 3900.0);
        assert!((other - 10.6167).abs() <= 5e-5, "{other}");
    }

    proptest! {
        /// There and back, in every layer; sums of a few thousand mm and degrees: 1e-12 of them.
        #[test]
        fn there_and_back(radius in 20.0..200.0_f64, d in 0.0..12.0_f64, layers in 1_u32..8, n in 1.0..30.0_f64, wound in 0.0..1.0_f64,
            share in 0.0..1.0_f64, v in -3.0..3.0_f64) {
            let wound = wound * n * f64::from(layers);
            let drum = drum(radius, d, Some(Spool { turns_per_layer: n, layers, wound }));
            let [least, most] = drum.heights();
            let height = Jet { p: least + share * (most - least), v, a: -v, j: 0.5 };
            let back = drum.height(drum.turn(height).unwrap()).unwrap();
            prop_assert!((back.p - height.p).abs() <= 1e-12 * (most - least));
            close(Jet { p: 0.0, ..back }, Jet { p: 0.0, ..height }, 1e-14);
            prop_assert!(drum.turn(0.0).unwrap().abs() <= 1e-9);
        }
    }

    /// The speed jumps at a change of layer and nowhere else: by the ratio of the two diameters.
    #[test]
    fn layers_change_where_it_says() {
        let drum = drum(50.0, 4.0, Some(Spool { turns_per_layer: 10.0, layers: 3, wound: 5.0 }));
        let changes = drum.layer_changes();
        assert_eq!(changes.len(), 2);
        assert!((changes[0] - 5.0 * drum.turn_length(1)).abs() <= 1e-12 * changes[0]);
        let speed = |height: f64| drum.turn(Jet::time(height)).unwrap().v;
        assert!((speed(changes[0] - 1e-6) / speed(changes[0] + 1e-6) - 56.0 / 52.0).abs() <= 1e-14);
        let gap = drum.turn(changes[1] + 1e-9).unwrap() - drum.turn(changes[1] - 1e-9).unwrap();
        assert!((0.0..=1e-7).contains(&gap), "{gap}");
        let [least, most] = drum.heights();
        assert!(drum.turn(least).is_ok() && drum.turn(most).is_ok());
        assert_eq!(
            drum.turn(most + 1.0).unwrap_err(),
            OutOfReach::Range { quantity: "height", found: most + 1.0, least, most, unit: "mm" }
        );
        assert!(drum.height(-5.0 * 360.0 - 0.1).is_err() && drum.height(25.0 * 360.0).is_ok());
        assert!(drum.turn(f64::NAN).is_err() && drum.height(f64::NAN).is_err());
    }

    #[test]
    fn derivatives_are_those_of_an_independent_library() {
        let drum = drum(50.0, 4.0, Some(Spool { turns_per_layer: 10.0, layers: 3, wound: 5.0 }));
        let (mine, theirs) = both(4000.0, 3.0, -1.0, 0.2);
        same(drum.turn(mine).unwrap(), drum.turn(theirs).unwrap(), 1e-13);
    }

    #[test]
    fn drums_that_hold_nothing_are_refused() {
        assert_eq!(Drum::new(DrumSpec { radius: 0.0, rope_diameter: -1.0, spool: None }).unwrap_err().len(), 2);
        let spool = Spool { turns_per_layer: 10.0, layers: 2, wound: 20.5 };
        let flaws = Drum::new(DrumSpec { radius: 50.0, rope_diameter: 4.0, spool: Some(spool) }).unwrap_err();
        assert_eq!((flaws.len(), flaws[0].field.as_str()), (1, "wound"));
        let spool = Spool { layers: 0, ..spool };
        assert_eq!(Drum::new(DrumSpec { radius: 50.0, rope_diameter: 4.0, spool: Some(spool) }).unwrap_err()[0].field, "layers");
        assert_eq!(Rope::new(f64::NAN, 0.0).unwrap_err().len(), 2);
    }
}
