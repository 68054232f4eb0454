//! A table that was measured: channel to axis and back, for focus rings, levers and cams that nobody computes.
//!
//! Between neighbouring points the axis is a quintic over the value (or over 1 / value), with second derivative 0 at the points: C2. Slope at an inner point: the harmonic mean
//! 2ab/(a+b) of the slopes a and b of the chords beside it, never more than 1.25 times the smaller; at an end that of the end chord. With slopes s and t in units of the
//! chord the derivative has the Bernstein coefficients (s, s, 5 - 2(s + t), t, t) (derived from the end conditions), all above 0 as s + t <= 2.5: strictly monotone, with one inverse,
//! found by Newton's method in a bracket that shrinks. Derivatives of the inverse follow from those of the quintic (any calculus textbook).
//! Invariant: both columns are strictly monotone. Nothing outside the table has a place. Limits: at a point the third derivative jumps ([`Mechanism::bends`]); play and temperature of
//! the ring are not in the table.

use super::OutOfReach;
use super::interval::{IntervalJet, Range};
use super::kinematics::{Mechanism, Quantity, one_to_one};
use super::real::Real;
use super::unit::Unit;
use crate::bounds::{Code, Flaw, MOST_POINTS, POSITION};
use crate::motion::bernstein::Bernstein;
use crate::motion::quintic::{Node, Quintic};
use crate::number::Jet;

/// What the table is smooth over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Over {
    /// The channel's value.
    #[default]
    Value,
    /// One over the value; all values are above 0.
    Reciprocal,
}

/// What a table is made from.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasuredSpec {
    /// Value of the channel and position of the axis at each point, in the order of the table.
    pub points: Vec<[f64; 2]>,
    /// What it is smooth over.
    pub over: Over,
    /// Unit of the channel.
    pub channel_unit: Unit,
    /// Unit of the axis.
    pub axis_unit: Unit,
}

/// A checked table.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    over: Over,
    quantity: [Quantity; 1],
    axis: [Unit; 1],
    /// In rising order of what the table is smooth over.
    pieces: Vec<Piece>,
    /// True where the axis rises with what the table is smooth over.
    rises: bool,
    /// Values of the channel, least and greatest.
    values: [f64; 2],
    /// Positions of the axis, least and greatest.
    positions: [f64; 2],
}

/// What the table is smooth over at a point, then the point.
type Row = (f64, [f64; 2]);

/// Between two neighbouring points.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    /// What the table is smooth over, at both ends.
    from: f64,
    to: f64,
    /// The channel there.
    values: [f64; 2],
    /// The axis there.
    axis: [f64; 2],
    quintic: Quintic,
}

/// How far beyond a piece, as a share of it, its formula is still asked: what rounding of a place at its end may be.
const BESIDE: f64 = 1e-9;

/// A move that ends at the end of the table may round to beyond it, by less than this part of the table: it is at the end.
const ROUNDING: f64 = 1e-9;

impl Measured {
    /// Checks a table.
    ///
    /// # Errors
    /// Fewer than two points or too many; numbers out of range; columns that do not go one way; values of 0 or less where it is smooth over 1 / value.
    pub fn new(spec: MeasuredSpec) -> Result<Measured, Vec<Flaw>> {
        let MeasuredSpec { points, over, channel_unit, axis_unit } = spec;
        let flaws = flaws(&points, over);
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let smooth = |value: f64| if over == Over::Value { value } else { 1.0 / value };
        let mut rows: Vec<Row> = points.iter().map(|[value, axis]| (smooth(*value), [*value, *axis])).collect();
        rows.sort_by(|a, b| a.0.total_cmp(&b.0));
        let ends: Vec<_> = rows.iter().zip(rows.iter().skip(1)).map(|(a, b)| (*a, *b)).collect();
        let chords: Vec<f64> = ends.iter().map(|((a, [_, y]), (b, [_, z]))| (z - y) / (b - a)).collect();
        let slope = |point: usize| match (point.checked_sub(1).and_then(|i| chords.get(i)), chords.get(point)) {
            (Some(a), Some(b)) => inner_slope(*a, *b),
            (Some(only), None) | (None, Some(only)) => *only,
            (None, None) => f64::NAN,
        };
        let piece = |(i, (a, b)): (usize, &(Row, Row))| {
            let ((from, [value, axis]), (to, [next_value, next_axis])) = (*a, *b);
            let node = |p: f64, v: f64| Node { p, v, a: 0.0 };
            let quintic = Quintic::between(node(axis, slope(i)), node(next_axis, slope(i + 1)), to - from);
            Piece { from, to, values: [value, next_value], axis: [axis, next_axis], quintic }
        };
        let pieces: Vec<Piece> = ends.iter().enumerate().map(piece).collect();
        if pieces.iter().any(|p| !(p.quintic.0.iter().all(|c| c.is_finite()) && p.from < p.to)) {
            let flaw = Flaw::new(Code::ImpossibleMechanism, "points", "two points of the table are too close together");
            return Err(vec![flaw.found("a slope that is not finite", "points farther apart")]);
        }
        let range = |column: usize| {
            let all = points.iter().filter_map(|row| row.get(column).copied());
            [all.clone().fold(f64::INFINITY, f64::min), all.fold(f64::NEG_INFINITY, f64::max)]
        };
        Ok(Measured {
            over,
            quantity: [Quantity { name: "value", unit: channel_unit }],
            axis: [axis_unit],
            rises: chords.first().is_some_and(|c| *c > 0.0),
            pieces,
            values: range(0),
            positions: range(1),
        })
    }

    /// The axis at a value, by the piece that holds there, or by that at `beside` where the value lies at its very end.
    fn position(&self, value: Jet, beside: f64) -> Result<Jet, OutOfReach> {
        let [least, most] = self.values;
        if !(least <= value.p && value.p <= most) {
            let unit = self.quantity[0].unit.symbol();
            return Err(OutOfReach::Range { quantity: "value", found: value.p, least, most, unit });
        }
        let over = self.smooth(value);
        let near = Some(self.smooth(Jet::constant(beside)).p).filter(|_| least <= beside && beside <= most).and_then(|at| self.piece(at));
        let holds = |p: &&Piece| {
            let room = BESIDE * (p.to - p.from);
            p.from - room <= over.p && over.p <= p.to + room
        };
        let piece = near.filter(holds).or_else(|| self.piece(over.p)).ok_or(OutOfReach::WrongCount)?;
        let width = piece.to - piece.from;
        let q = piece.quintic.jet((over.p - piece.from) / width, width);
        Ok(over.through(q.p, q.v, q.a, q.j))
    }

    /// The value at a position of the axis.
    fn value(&self, axis: Jet) -> Result<Jet, OutOfReach> {
        let [least, most] = self.positions;
        let room = ROUNDING * (most - least);
        if !(least - room <= axis.p && axis.p <= most + room) {
            return Err(OutOfReach::Range { quantity: "axis", found: axis.p, least, most, unit: self.axis[0].symbol() });
        }
        let piece = self.piece_of_axis(axis.p).ok_or(OutOfReach::WrongCount)?;
        let (u, width) = (piece.inverse(axis.p.max(least).min(most)), piece.to - piece.from);
        let q = piece.quintic.jet(u, width);
        let slope = 1.0 / q.v;
        let (bend, twist) = (-q.a * slope * slope * slope, (3.0 * q.a * q.a - q.v * q.j) * slope * slope * slope * slope * slope);
        let over = axis.through(piece.from + u * width, slope, bend, twist);
        let mut value = self.smooth(over);
        // The ends of the piece as they were written: rounding must not lead out of the table.
        let [a, b] = piece.values;
        value.p = if u <= 0.0 { a } else { value.p.max(a.min(b)).min(a.max(b)) };
        value.p = if u >= 1.0 { b } else { value.p };
        Ok(value)
    }

    /// What the table is smooth over; its own inverse.
    fn smooth<T: Real>(&self, value: T) -> T {
        match self.over {
            Over::Value => value,
            Over::Reciprocal => T::constant(1.0) / value,
        }
    }

    fn piece(&self, over: f64) -> Option<&Piece> {
        self.pieces.get(self.pieces.partition_point(|p| p.from <= over).saturating_sub(1))
    }

    fn piece_of_axis(&self, axis: f64) -> Option<&Piece> {
        let before = |p: &Piece| if self.rises { p.axis[0] <= axis } else { p.axis[0] >= axis };
        self.pieces.get(self.pieces.partition_point(before).saturating_sub(1))
    }

    /// Ranges of the value over ranges of the axis; `None` where they lie outside the table.
    fn enclosed(&self, axis: IntervalJet) -> Option<IntervalJet> {
        let [least, most] = self.positions;
        // Where the axis is outside, the channel has no value: what is inside holds all there are.
        let (lo, hi) = (axis.p.lo.max(least), axis.p.hi.min(most));
        if !(lo <= hi) {
            return None;
        }
        let (mut place, mut slope, mut bend): (Option<Range>, Option<Range>, Option<Range>) = (None, None, None);
        let join = |sum: &mut Option<Range>, more: Range| *sum = Some(sum.map_or(more, |sum| sum.joined(more)));
        for piece in &self.pieces {
            let [a, b] = piece.axis;
            let (from, to) = (lo.max(a.min(b)), hi.min(a.max(b)));
            if !(from <= to) {
                continue;
            }
            let (u, v) = (piece.inverse(from), piece.inverse(to));
            let [u, v] = [u.min(v), u.max(v)];
            let width = piece.to - piece.from;
            let at = |u: f64| piece.from + u * width;
            join(&mut place, Range::between(at(u), at(v)));
            let [rate, change] = piece.slopes(u, v);
            let g = IntervalJet::constant(1.0) / rate;
            join(&mut slope, g.p);
            join(&mut bend, (-(change * g * g * g)).p);
        }
        let over = axis.through(place?, slope?, bend?);
        Some(self.smooth(over))
    }
}

impl Piece {
    /// Local place, 0 to 1, at which the axis has this position: Newton's method, halving where that leaves the bracket.
    fn inverse(&self, axis: f64) -> f64 {
        let rises = self.axis[1] > self.axis[0];
        for (place, end) in self.axis.into_iter().zip([0.0, 1.0]) {
            if axis == place {
                return end;
            }
        }
        let (mut lo, mut hi) = (0.0_f64, 1.0_f64);
        let mut u = ((axis - self.axis[0]) / (self.axis[1] - self.axis[0])).clamp(0.0, 1.0);
        for _ in 0..100 {
            let at = self.quintic.jet(u, 1.0);
            let off = at.p - axis;
            if off == 0.0 {
                return u;
            }
            if (off > 0.0) == rises {
                hi = u
            } else {
                lo = u
            }
            let next = u - off / at.v;
            let next = if lo < next && next < hi { next } else { 0.5 * (lo + hi) };
            if (next - u).abs() <= f64::EPSILON * 0.5 {
                return next;
            }
            u = next;
        }
        u
    }
}

impl Piece {
    /// Ranges of the axis's first and second derivative between two local places.
    fn slopes(&self, from: f64, to: f64) -> [IntervalJet; 2] {
        let width = self.to - self.from;
        let plain = |p: Range| IntervalJet { p, v: Range::ZERO, a: Range::ZERO };
        let share = to - from;
        if !(share > 0.0) {
            let at = self.quintic.jet(from, width);
            return [IntervalJet::constant(at.v), IntervalJet::constant(at.a)];
        }
        let (part, h) = (self.quintic.part(from, to), share * width);
        let over = |(lo, hi): (f64, f64), by: f64| plain(Range::between(lo / by, hi / by));
        [over(Bernstein::from_power(part.velocity()).hull(), h), over(Bernstein::from_power(part.acceleration()).hull(), h * h)]
    }
}

impl Mechanism for Measured {
    fn kind(&self) -> &str {
        "table"
    }

    fn channels(&self) -> &[Quantity] {
        &self.quantity
    }

    fn axes(&self) -> &[Unit] {
        &self.axis
    }

    fn to_axes(&self, channels: &[Jet], axes: &mut [Jet]) -> Result<(), OutOfReach> {
        one_to_one(channels, axes, |value| self.position(value, value.p))
    }

    fn to_axes_beside(&self, channels: &[Jet], beside: &[f64], axes: &mut [Jet]) -> Result<(), OutOfReach> {
        let [beside] = beside else { return Err(OutOfReach::WrongCount) };
        one_to_one(channels, axes, |value| self.position(value, *beside))
    }

    fn to_channels(&self, axes: &[Jet], channels: &mut [Jet]) -> Result<(), OutOfReach> {
        one_to_one(axes, channels, |axis| self.value(axis))
    }

    fn enclose(&self, axes: &[IntervalJet], channels: &mut [IntervalJet]) -> Option<()> {
        one_to_one(axes, channels, |axis| self.enclosed(axis).ok_or(OutOfReach::WrongCount)).ok()
    }

    fn axis_range(&self, _which: usize) -> Option<[f64; 2]> {
        Some(self.positions)
    }

    fn bends(&self) -> Vec<f64> {
        let mut inner: Vec<f64> = self.pieces.iter().skip(1).map(|p| p.values[0]).collect();
        inner.sort_by(f64::total_cmp);
        inner
    }
}

/// Slope at an inner point between chords of slopes `a` and `b`, which have one sign.
fn inner_slope(a: f64, b: f64) -> f64 {
    // Of the smaller and the ratio, so that no product of two slopes overflows.
    let (small, large) = if a.abs() < b.abs() { (a, b) } else { (b, a) };
    let mean = 2.0 / (1.0 + small / large);
    small * if mean < 1.25 { mean } else { 1.25 }
}

fn flaws(points: &[[f64; 2]], over: Over) -> Vec<Flaw> {
    let mut flaws = Vec::new();
    if !(2..=MOST_POINTS).contains(&points.len()) {
        let flaw = Flaw::new(Code::WrongCount, "points", "a table has the wrong number of points");
        return vec![flaw.found(crate::bounds::counted(points.len(), "point"), format!("2 to {MOST_POINTS} points"))];
    }
    for (i, number) in points.iter().enumerate().flat_map(|(i, row)| row.map(|x| (i, x))) {
        flaws.extend(POSITION.check("points", number).err().map(|f| f.at_index(i)));
    }
    if !flaws.is_empty() {
        return flaws;
    }
    for (i, [value, _]) in points.iter().enumerate().filter(|(_, [value, _])| over == Over::Reciprocal && !(*value >= 1e-9)) {
        let flaw = Flaw::new(Code::OutOfRange, "points", "a table over the reciprocal has a value that is not above 0");
        flaws.push(flaw.found(value.to_string(), "values of 1e-9 or more").help("use over = \"value\", or remove the point").at_index(i));
    }
    for (column, what) in ["channel", "axis"].into_iter().enumerate() {
        let of = |row: &[f64; 2]| row.get(column).copied().unwrap_or(f64::NAN);
        let rises = points.first().map(of) < points.get(1).map(of);
        let steps = points.iter().zip(points.iter().skip(1)).enumerate();
        let one_way = |a: f64, b: f64| if rises { a < b } else { a > b };
        for (i, (a, b)) in steps.map(|(i, (a, b))| (i, (of(a), of(b)))).filter(|(_, (a, b))| !one_way(*a, *b)) {
            let title = format!("the {what} column of a table does not go one way");
            let flaw = Flaw::new(Code::KeysOutOfOrder, "points", title);
            flaws.push(
                flaw.found(format!("{b} after {a}"), "values that only rise or only fall")
                    .help("sort the points by the channel, and measure this one again")
                    .at_index(i + 1),
            );
        }
    }
    flaws
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::super::real::oracle::close;
    use super::*;

    const RING: [[f64; 2]; 5] = [[600.0, 290.0], [900.0, 190.0], [1500.0, 112.0], [3000.0, 55.0], [1e6, 0.0]];

    fn table(points: &[[f64; 2]], over: Over) -> Result<Measured, Vec<Flaw>> {
        Measured::new(MeasuredSpec { points: points.to_vec(), over, channel_unit: Unit::Millimetre, axis_unit: Unit::Degree })
    }

    fn forward(table: &Measured, value: Jet) -> Jet {
        table.position(value, value.p).unwrap()
    }

    #[test]
    fn points_are_met_and_nothing_beyond_has_a_place() {
        for over in [Over::Value, Over::Reciprocal] {
            let ring = table(&RING, over).unwrap();
            for [value, axis] in RING {
                assert!((forward(&ring, Jet::constant(value)).p - axis).abs() <= 1e-12 * 290.0, "{over:?} {value}");
                assert!((ring.value(Jet::constant(axis)).unwrap().p - value).abs() <= 1e-12 * value, "{over:?} {axis}");
            }
            for value in [599.999, 1_000_001.0, f64::NAN] {
                assert!(matches!(ring.position(Jet::constant(value), value), Err(OutOfReach::Range { least: 600.0, most: 1e6, .. })));
            }
            assert!(ring.value(Jet::constant(-1e-6)).is_err() && ring.value(Jet::constant(290.001)).is_err());
            // A millionth of a millionth of a degree beyond is rounding.
            assert_eq!((ring.value(Jet::constant(-1e-12)).unwrap().p, ring.value(Jet::constant(290.0 + 1e-12)).unwrap().p), (1e6, 600.0));
            assert_eq!(ring.bends(), [900.0, 1500.0, 3000.0]);
        }
    }

    /// A ring whose angle is 174 deg m over the distance is a straight line over 1 / distance: 174 000 / 1200 = 145 deg, with the derivatives of k / x.
    #[test]
    fn over_the_reciprocal_a_hyperbola_is_exact() {
        let points: Vec<[f64; 2]> = [600.0, 900.0, 2000.0, 1e6].iter().map(|x| [*x, 174_000.0 / x]).collect();
        let ring = table(&points, Over::Reciprocal).unwrap();
        let at = forward(&ring, Jet { p: 1200.0, v: 3.0, a: -0.5, j: 0.01 });
        assert!((at.p - 145.0).abs() <= 1e-10, "{at:?}");
        let exact = Jet::constant(174_000.0) / Jet { p: 1200.0, v: 3.0, a: -0.5, j: 0.01 };
        close(at, exact, 1e-10);
    }

    /// Source: kennethleegallery.com, view camera: a 200 mm lens with its bellows drawn to 315 mm is focused at 547 mm (exactly 547.8). The draw of a thin lens, f + f^2 / (D - f),
    /// tabulated at seven distances; between them the table is good to a millimetre.
    #[test]
    fn a_tabulated_bellows_finds_the_published_distance() {
        let points: Vec<[f64; 2]> =
            [450.0, 500.0, 600.0, 800.0, 1200.0, 3000.0, 1e5].iter().map(|d| [*d, 200.0 * d / (d - 200.0)]).collect();
        let bellows = table(&points, Over::Reciprocal).unwrap();
        let distance = bellows.value(Jet::constant(315.0)).unwrap().p;
        assert!((distance - 547.0).abs() <= 1.5 && (distance - 547.826).abs() <= 1.0, "{distance}");
    }

    /// A rising chord of 1 before one of 3: mean 1.5, capped at 1.25. At 1 / 4 of the first piece the quintic with end slopes 1 and 1.25 (by hand): u + 0.25 (-4u^3 + 7u^4 - 3u^5).
    #[test]
    fn between_points_it_is_the_quintic_of_the_text() {
        let lever = table(&[[0.0, 0.0], [1.0, 1.0], [2.0, 4.0]], Over::Value).unwrap();
        let u = 0.25_f64;
        let by_hand = u + 0.25 * u * u * u * (-4.0 + 7.0 * u - 3.0 * u * u);
        assert!((forward(&lever, Jet::constant(u)).p - by_hand).abs() <= 1e-15);
        let (left, right) = (lever.position(Jet::time(1.0), 0.5).unwrap(), lever.position(Jet::time(1.0), 1.5).unwrap());
        assert!((left.v - 1.25).abs() <= 1e-14 && (right.v - 1.25).abs() <= 1e-14 && left.a.abs() <= 1e-13 && right.a == 0.0);
        // Only the third derivative jumps: 60 d - 24 s - 36 t of the first piece, 60 d - 36 s - 24 t of the second, in units of its own.
        assert!((left.j - (60.0 - 24.0 - 45.0)).abs() <= 1e-12 && (right.j - (180.0 - 45.0 - 72.0)).abs() <= 1e-12, "{left:?} {right:?}");
        // Beside a place that is not next to it the value decides.
        assert_eq!(lever.position(Jet::time(1.5), 0.5).unwrap(), lever.position(Jet::time(1.5), 1.6).unwrap());
    }

    #[test]
    fn tables_that_cannot_be_turned_round_are_refused() {
        let found = |points: &[[f64; 2]], over| -> Vec<(&str, Option<usize>)> {
            table(points, over).unwrap_err().into_iter().map(|f| (f.code.slug(), f.index)).collect()
        };
        assert_eq!(found(&[[600.0, 290.0]], Over::Value), [("wrong-count", None)]);
        assert_eq!(found(&[[0.0, 0.0], [1.0, 2.0], [2.0, 2.0]], Over::Value), [("keys-out-of-order", Some(2))]);
        assert_eq!(found(&[[0.0, 0.0], [1.0, 2.0], [0.5, 3.0]], Over::Value), [("keys-out-of-order", Some(2))]);
        assert_eq!(found(&[[0.0, 0.0], [1.0, f64::NAN]], Over::Value), [("out-of-range", Some(1))]);
        assert_eq!(found(&[[0.0, 0.0], [1.0, 2.0]], Over::Reciprocal), [("out-of-range", Some(0))]);
        assert_eq!(found(&[[1e9 - 1e-7, 0.0], [1e9, 2.0]], Over::Reciprocal), [("impossible-mechanism", None)]);
        assert!(table(&[[-1.0, 0.0], [1.0, 2.0]], Over::Value).is_ok());
    }

    fn random() -> impl Strategy<Value = Measured> {
        let steps = prop::collection::vec((1.0..900.0_f64, 0.5..80.0_f64), 1..7);
        (steps, any::<bool>(), any::<bool>(), any::<bool>()).prop_map(|(steps, falls, backwards, reciprocal)| {
            let (mut value, mut axis) = (300.0, -20.0);
            let mut points = vec![[value, axis]];
            for (dv, da) in steps {
                value += dv;
                axis += if falls { -da } else { da };
                points.push([value, axis]);
            }
            if backwards {
                points.reverse();
            }
            table(&points, if reciprocal { Over::Reciprocal } else { Over::Value }).unwrap()
        })
    }

    proptest! {
        /// There and back with all derivatives: 1e-8 of the size, and what some roundings of the axis's numbers move where neighbouring slopes are up to some 40,000 to one.
        #[test]
        fn there_and_back(table in random(), share in 0.0..1.0_f64, v in -3.0..3.0_f64, a in -1.0..1.0_f64) {
            let [least, most] = table.values;
            let value = Jet { p: (least + share * (most - least)).min(most), v, a, j: 0.5 };
            let axis = forward(&table, value);
            let back = table.value(axis).unwrap();
            prop_assert!((back.p - value.p).abs() <= 1e-10 * value.p, "{back:?} {value:?}");
            let next = |x: f64| x * (1.0 + f64::EPSILON);
            let (place, speed) = (Jet { p: next(axis.p), ..axis }, Jet { v: next(axis.v), ..axis });
            let rounded = [place, speed, Jet { a: next(axis.a), ..axis }, Jet { j: next(axis.j), ..axis }].map(|axis| table.value(axis).unwrap_or(back));
            for part in [|jet: &Jet| jet.v, |jet: &Jet| jet.a, |jet: &Jet| jet.j] {
                let moved: f64 = rounded.iter().map(|jet| (part(jet) - part(&back)).abs()).sum();
                let room = 1e-8 * (1.0 + part(&value).abs()) + 16.0 * moved;
                prop_assert!((part(&back) - part(&value)).abs() <= room, "{back:?} {value:?} {room}");
            }
        }

        /// Every position has one value: the axis moves one way only. Differences of a thousandth of the way show it.
        #[test]
        fn it_is_strictly_monotone(table in random()) {
            let [least, most] = table.values;
            let at = |i: u32| forward(&table, Jet::constant((least + f64::from(i) / 1000.0 * (most - least)).min(most))).p;
            let falls = at(1000) < at(0);
            for i in 0..1000 {
                prop_assert!((at(i + 1) < at(i)) == falls && at(i + 1) != at(i), "{table:?} {i}");
            }
        }

        /// Ranges hold every moment of a motion of the axis, whatever pieces it crosses; 1e-9 of the size is rounding.
        #[test]
        fn ranges_hold_every_moment(table in random(), from in 0.0..1.0_f64, to in 0.0..1.0_f64, u in 0.0..1.0_f64) {
            let [least, most] = table.positions;
            let place = |share: f64| (least + share * (most - least)).min(most);
            let (start, end) = (place(from), place(to));
            let axis = Jet { p: (start + u * (end - start)).max(least).min(most), v: end - start, a: 0.0, j: 0.0 };
            let over = IntervalJet { p: Range::between(start, end), v: Range::between(end - start, end - start), a: Range::ZERO };
            let (moment, range) = (table.value(axis).unwrap(), table.enclosed(over).unwrap());
            for (x, r) in [(moment.p, range.p), (moment.v, range.v), (moment.a, range.a)] {
                let room = 1e-9 * (1.0 + x.abs());
                prop_assert!(r.lo - room <= x && x <= r.hi + room, "{x} outside {r:?}");
            }
        }
    }
}
