//! What turns channels into axes and back: the open trait that swashplates, limb wires and drums implement, and that a mechanism of your own may.
//!
//! Invariant: both directions are inverse to each other and carry three exact derivatives; what the mechanism cannot do is refused, never clipped. A stage checks
//! numbers, units and names, and that both directions agree with the axes at home; nothing checks the derivatives.
//! Limits: rigid geometry. `verify` recomputes a folder from its files, and no file can describe a mechanism of your own: it cannot recompute a folder made with one.

use core::fmt::Debug;

use super::OutOfReach;
use super::hanging::Hanging;
use super::interval::IntervalJet;
use super::slots::Slots;
use super::unit::Unit;
use crate::number::Jet;

/// What a mechanism calls one of its channels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Quantity {
    /// Its name in messages: `heave`, `angle`. An [`OutOfReach::Range`] of this name leads to the channel's keys.
    pub name: &'static str,
    /// Its unit.
    pub unit: Unit,
}

/// A mechanism: channels, which are animated, to axes, which turn. See the module's text for what it promises.
///
/// The first five methods are needed. A mechanism of several axes that must fit together needs [`enclose`](Mechanism::enclose) too; any other gives the
/// [`axis_range`](Mechanism::axis_range) of each axis. Slices are as long as [`channels`](Mechanism::channels) and [`axes`](Mechanism::axes) say.
///
/// ```
/// use movewright::mechanism::{IntervalJet, Mechanism, OutOfReach, Quantity, Real, Unit, one_to_one};
/// use movewright::signal::Jet;
///
/// /// A pin on a wheel of this radius (mm), in a slot that it lifts: height = radius x sin(turn), from -90 to 90 deg.
/// #[derive(Debug)]
/// struct Yoke(f64);
///
/// impl Yoke {
///     fn height<T: Real>(&self, turn: T) -> Result<T, OutOfReach> {
///         let found = turn.value();
///         if !(-90.0 < found && found < 90.0) {
///             return Err(OutOfReach::Range { quantity: "turn", found, least: -90.0, most: 90.0, unit: "deg" });
///         }
///         Ok(turn.to_radians_of_degrees().sine().times(self.0))
///     }
/// }
///
/// impl Mechanism for Yoke {
///     fn kind(&self) -> &str {
///         "yoke"
///     }
///     fn channels(&self) -> &[Quantity] {
///         &[Quantity { name: "height", unit: Unit::Millimetre }]
///     }
///     fn axes(&self) -> &[Unit] {
///         &[Unit::Degree]
///     }
///     fn to_axes(&self, channels: &[Jet], axes: &mut [Jet]) -> Result<(), OutOfReach> {
///         one_to_one(channels, axes, |height| {
///             let sine = height / self.0;
///             if !(-1.0 < sine.p && sine.p < 1.0) {
///                 return Err(OutOfReach::Range { quantity: "height", found: height.p, least: -self.0, most: self.0, unit: "mm" });
///             }
///             Ok(sine.asin().to_degrees_of_radians())
///         })
///     }
///     fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach> {
///         one_to_one(axes, channels, |turn| self.height(turn))
///     }
///     fn axis_range(&self, _which: usize) -> Option<[f64; 2]> {
///         Some([-90.0, 90.0])
///     }
///     // The formula decides nothing by the value but what is out of reach, so it holds for ranges as it is.
///     fn enclose(&self, axes: &[IntervalJet], channels: &mut [IntervalJet]) -> Option<()> {
///         one_to_one(axes, channels, |turn| self.height(turn)).ok()
///     }
/// }
///
/// let (yoke, mut turn) = (Yoke(100.0), [Jet::default()]);
/// yoke.to_axes(&[Jet { p: 50.0, v: 1.0, a: 0.0, j: 0.0 }], &mut turn)?;
/// assert!((turn[0].p - 30.0).abs() < 1e-12 && turn[0].v > 0.0);
/// assert!(yoke.to_axes(&[Jet::constant(100.0)], &mut turn).is_err());
/// # Ok::<(), OutOfReach>(())
/// ```
pub trait Mechanism: Debug + Send + Sync {
    /// What people call it, for messages: `swashplate`, `limb_wire`.
    fn kind(&self) -> &str;

    /// Its channels, in order: 1 to 8.
    fn channels(&self) -> &[Quantity];

    /// Units of its axes, in order: 1 to 8.
    fn axes(&self) -> &[Unit];

    /// Inverse kinematics: positions of the axes for the channels' values, each with its derivatives.
    ///
    /// # Errors
    /// A place that the mechanism cannot take.
    fn to_axes(&self, channels: &[Jet], axes: &mut [Jet]) -> Result<(), OutOfReach>;

    /// As [`to_axes`](Mechanism::to_axes), where two formulas meet by the one that holds with the channels at `beside`. By default there is one formula.
    ///
    /// # Errors
    /// As [`to_axes`](Mechanism::to_axes).
    fn to_axes_beside(&self, channels: &[Jet], _beside: &[f64], axes: &mut [Jet]) -> Result<(), OutOfReach> {
        self.to_axes(channels, axes)
    }

    /// Forward kinematics: the channels' values for positions of the axes. The inverse of [`to_axes`](Mechanism::to_axes).
    ///
    /// # Errors
    /// Positions that no place of the mechanism has.
    fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach>;

    /// Forward kinematics of axes that stand still. By default [`to_channels`](Mechanism::to_channels) is asked; a formula for plain numbers is quicker, and must
    /// give the same bits.
    ///
    /// # Errors
    /// As [`to_channels`](Mechanism::to_channels).
    fn to_channels_at_rest(&self, axes: &[f64], channels: &mut [f64]) -> Result<(), OutOfReach> {
        let (mut still, mut found) = (Slots::<Jet>::new(axes.len()), Slots::<Jet>::new(channels.len()));
        still.as_mut_slice().iter_mut().zip(axes).for_each(|(slot, position)| *slot = Jet::constant(*position));
        self.to_channels(still.as_slice(), found.as_mut_slice())?;
        channels.iter_mut().zip(found.as_slice()).for_each(|(slot, value)| *slot = value.p);
        Ok(())
    }

    /// Ranges that certainly hold the channels while the axes stay in theirs; `None` where they cannot be bounded. Narrow ranges must give narrow ranges.
    ///
    /// Clearance and the reach of axes that must fit together are proven by it. A formula written over [`Real`](super::Real) holds for ranges as it is where it
    /// reads a value only to refuse what is out of reach. By default nothing is bounded: clearance of what the mechanism moves, and its reach where an axis has no
    /// range of its own, are then not certified, and the check says so.
    fn enclose(&self, _axes: &[IntervalJet], _channels: &mut [IntervalJet]) -> Option<()> {
        None
    }

    /// The positions that axis `which` can take, the ends as near as one likes; infinite where nothing stops it. `None`, the default, where it depends on other axes.
    fn axis_range(&self, _which: usize) -> Option<[f64; 2]> {
        None
    }

    /// The limb that hangs on its wire, where a wire must stay taut. Default: none.
    fn hanging(&self) -> Option<&dyn Hanging> {
        None
    }

    /// How much longer the rope is under its load with the only channel at `channel`, mm; it is reported, not compensated. Default: none.
    fn stretch(&self, _channel: f64) -> Option<f64> {
        None
    }

    /// Values of the only channel at which rope climbs to its next layer on a drum, rising: the axis's speed jumps there, and no move may pass. Default: none.
    fn layer_changes(&self) -> Vec<f64> {
        Vec::new()
    }

    /// Values of the only channel, rising, at which two formulas meet and the third derivative of the axis jumps. Default: none.
    fn bends(&self) -> Vec<f64> {
        Vec::new()
    }
}

/// The formula of a mechanism of one channel and one axis, from the one to the other.
///
/// # Errors
/// What the formula says; another number of channels or axes than one.
pub fn one_to_one<T: Copy>(from: &[T], to: &mut [T], formula: impl FnOnce(T) -> Result<T, OutOfReach>) -> Result<(), OutOfReach> {
    let ([from], [to]) = (from, to) else { return Err(OutOfReach::WrongCount) };
    *to = formula(*from)?;
    Ok(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::super::{
        CarriedFrom, Drum, DrumSpec, LimbWire, LimbWireSpec, Measured, MeasuredSpec, Over, Real, Spool, Swashplate, SwashplateSpec,
    };
    use super::*;

    fn ours() -> Vec<Box<dyn Mechanism>> {
        let plate = |rod_length| {
            Swashplate::new(SwashplateSpec { radius: 90.0, azimuths: [0.0, 240.0, 120.0], rod_length, carried_from: CarriedFrom::Below })
                .unwrap()
        };
        let spool = Spool { turns_per_layer: 10.0, layers: 3, wound: 2.0 };
        let drum = Drum::new(DrumSpec { radius: 30.0, rope_diameter: 2.0, spool: Some(spool) }).unwrap();
        let wire = LimbWire::new(LimbWireSpec { arm: 80.0, guide: [20.0, 200.0], neutral: 10.0 }).unwrap();
        let points = vec![[-50.0, -40.0], [-20.0, -11.0], [10.0, 2.0], [70.0, 55.0]];
        let table = MeasuredSpec { points, over: Over::Value, channel_unit: Unit::Millimetre, axis_unit: Unit::Degree };
        let table = Measured::new(table).unwrap();
        vec![Box::new(plate(None)), Box::new(plate(Some(300.0))), Box::new(drum), Box::new(wire), Box::new(table)]
    }

    /// Plain numbers, jets and ranges are one formula: the same bits, and a range of no width that holds them.
    #[test]
    fn every_kind_of_number_gives_the_same_place() {
        for mechanism in ours() {
            let n = mechanism.axes().len();
            for i in 0..200_u32 {
                let axes: Vec<f64> = [0.37, -0.21, 0.11].iter().take(n).map(|k| k * f64::from(i) - 30.0).collect();
                let (mut plain, mut jets, mut ranges) = (vec![0.0; n], vec![Jet::default(); n], vec![IntervalJet::constant(0.0); n]);
                mechanism.to_channels_at_rest(&axes, &mut plain).unwrap();
                mechanism.to_channels(&axes.iter().map(|p| Jet { p: *p, v: 1.0, a: 0.5, j: 0.1 }).collect::<Vec<_>>(), &mut jets).unwrap();
                mechanism.enclose(&axes.iter().map(|p| IntervalJet::constant(*p)).collect::<Vec<_>>(), &mut ranges).unwrap();
                for ((p, jet), range) in plain.iter().zip(&jets).zip(&ranges) {
                    assert_eq!(p.to_bits(), jet.p.to_bits(), "{mechanism:?} {axes:?}");
                    // The enclosed inverse is as narrow as its own allowance, 1e-12 and rounding.
                    let room = 1e-10 * (1.0 + p.abs());
                    assert!(
                        range.p.lo - 1e-13 * (1.0 + p.abs()) <= *p && *p <= range.p.hi + 1e-13 * (1.0 + p.abs()),
                        "{mechanism:?} {range:?} {p}"
                    );
                    assert!(range.p.hi - range.p.lo <= room, "{mechanism:?} {range:?}");
                }
                let mut back = vec![Jet::default(); n];
                mechanism.to_axes(&jets, &mut back).unwrap();
                assert!(
                    back.iter().zip(&axes).all(|(b, p)| (b.p - p).abs() <= 1e-9 && (b.v - 1.0).abs() <= 1e-9),
                    "{mechanism:?} {back:?} {axes:?}"
                );
            }
        }
    }

    #[test]
    fn another_number_of_axes_is_refused() {
        for mechanism in ours() {
            let n = mechanism.axes().len();
            let (jets, mut out) = (vec![Jet::default(); n + 1], vec![Jet::default(); n]);
            assert_eq!(mechanism.to_channels(&jets, &mut out), Err(OutOfReach::WrongCount));
            assert_eq!(mechanism.to_axes(&jets, &mut out), Err(OutOfReach::WrongCount));
            assert!(mechanism.enclose(&vec![IntervalJet::constant(0.0); n + 1], &mut vec![IntervalJet::constant(0.0); n]).is_none());
        }
    }
}
