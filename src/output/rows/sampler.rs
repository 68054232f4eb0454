//! Counts of many rows at once, axis by axis: the same integers as asking for each instant alone.
//!
//! What: within a piece a quintic whose coefficients are already in steps is evaluated without divisions, and rounded by adding and
//! taking away 1.5 x 2^52 (to the nearest, ties to even, for sizes below 2^51). That value may differ from the one defined,
//! `axis.count(curve.at(x))`, in its last bits; it is taken only where it is further from a half step than the two can differ, and
//! the stretch is evaluated as defined wherever one of its rows is not. So the integers are those of the definition, always.
//! Limits: velocities are evaluated as defined throughout.

use super::rate::RowRate;
use super::tracks::{Run, Track, Tracks};
use super::{Extent, RowsError};
use crate::motion::Quintic;
use crate::motion::curve::{Curve, Piece};
use crate::program::motion::{HeldLeg, HeldLegs, Motion};
use crate::stage::Axis;
use crate::time::Seconds;

/// Rows of a table as numbers, one column after the other.
#[derive(Debug, Default)]
pub(super) struct Sheet {
    seconds: Vec<f64>,
    frames: Vec<f64>,
    /// Counts, then thousandths of steps/s and of steps/s2, `stride` apart.
    columns: Vec<i64>,
    stride: usize,
}

/// 1.5 x 2^52: added to a number below 2^51 in size it leaves no bits for fractions.
const SHIFT: f64 = 6_755_399_441_055_744.0;

impl Sheet {
    /// Evaluates `rows` rows from row `first` for the axes `which`; after all positions come all velocities from order 1 on, and then all accelerations from order 2 on.
    pub(super) fn fill(
        &mut self,
        tracks: &Tracks<'_>,
        rate: RowRate,
        (which, orders): (&[usize], u8),
        first: u64,
        rows: usize,
    ) -> Result<(), RowsError> {
        self.seconds.clear();
        self.seconds.extend((first..).take(rows).map(|row| rate.seconds(row)));
        let clock = tracks.program().clock();
        // Rows before the end of the move to start have a curve in seconds, and no frame.
        let before = self.seconds.partition_point(|t| *t < clock.begin().0);
        // Rows after its end, where they are asked for, have another.
        let end = clock.end().0;
        let until = if tracks.extent() == Extent::ReturnHome { self.seconds.partition_point(|t| *t <= end) } else { rows };
        let (program, returning) = self.seconds.split_at_checked(until).unwrap_or_default();
        let (taking_up, running) = program.split_at_checked(before).unwrap_or_default();
        let returning: Vec<f64> = returning.iter().map(|t| t - end).collect();
        self.frames.clear();
        self.frames.extend(running.iter().map(|t| clock.frame_at(Seconds(*t)).0));
        // An odd number of cache lines apart, so that the columns of one row do not fall on the same places of the cache.
        self.stride = (rows.div_ceil(8) | 1) * 8;
        self.columns.resize(which.len() * (1 + usize::from(orders)) * self.stride, 0);
        let rows_of = Rows { tracks, taking_up, running, frames: &self.frames, returning: &returning };
        let mut columns = self.columns.chunks_mut(self.stride);
        for order in 0..=orders {
            for index in which {
                let Some(track) = tracks.axes().get(*index) else { continue };
                let out = columns.next().and_then(|c| c.get_mut(..rows)).unwrap_or_default();
                rows_of.column(track, order, out).map_err(|row| RowsError::NoPosition {
                    axis: track.name.to_owned(),
                    seconds: self.seconds.get(row).copied().unwrap_or_default(),
                })?;
            }
        }
        Ok(())
    }

    /// Columns in order; of each the rows.
    pub(super) fn columns(&self) -> &[i64] {
        &self.columns
    }

    /// From one column to the next.
    pub(super) fn stride(&self) -> usize {
        self.stride
    }

    /// Stage times of the rows.
    pub(super) fn seconds(&self) -> &[f64] {
        &self.seconds
    }
}

/// The instants of some rows, in the three parts of a program.
struct Rows<'a> {
    tracks: &'a Tracks<'a>,
    /// Seconds of the move to start.
    taking_up: &'a [f64],
    /// Seconds after it, and the same in frame time.
    running: &'a [f64],
    frames: &'a [f64],
    /// Seconds since the end of the program.
    returning: &'a [f64],
}

impl Rows<'_> {
    /// One column: counts (order 0), or velocities (1) or accelerations (2) in thousandths. The error is the row without a number.
    fn column(&self, track: &Track<'_>, order: u8, out: &mut [i64]) -> Result<(), usize> {
        let before = self.taking_up.len();
        let (out_before, out) = out.split_at_mut_checked(before).unwrap_or_default();
        let (out, out_after) = out.split_at_mut_checked(self.running.len()).unwrap_or_default();
        move_to_start(track, self.taking_up, order, out_before)?;
        let pace = self.tracks.program().clock().pace().get();
        match track.run {
            Run::Parked => {
                out.fill(0);
                Ok(())
            }
            Run::Moving(curve) if order == 0 => along(track.axis, curve, self.frames, out),
            Run::Moving(curve) => rates_along(track.axis, curve, (order, pace), self.frames, out),
            Run::Held(curve) if order == 0 => between(self.tracks, track, curve, self.running, out),
            Run::Held(curve) => rates_between(self.tracks, track, curve, order, self.running, out),
        }
        .map_err(|row| before + row)?;
        return_home(track, self.returning, order, out_after).map_err(|row| before + self.running.len() + row)
    }
}

/// The way from home to the start.
fn move_to_start(track: &Track<'_>, seconds: &[f64], order: u8, out: &mut [i64]) -> Result<(), usize> {
    if seconds.is_empty() {
        return Ok(());
    }
    match track.move_to_start {
        Some(curve) if order == 0 => along(track.axis, curve, seconds, out),
        Some(curve) => rates_along(track.axis, curve, (order, 1.0), seconds, out),
        None => {
            // Parked: it stands at home.
            out.fill(0);
            if matches!(track.run, Run::Parked) { Ok(()) } else { Err(0) }
        }
    }
}

/// The way home, at seconds since the end of the program. After it the axis stands there.
fn return_home(track: &Track<'_>, seconds: &[f64], order: u8, out: &mut [i64]) -> Result<(), usize> {
    out.fill(0);
    let Some(curve) = track.return_home else { return Ok(()) };
    let moving = seconds.partition_point(|t| *t < curve.end());
    let (seconds, out) = (seconds.get(..moving).unwrap_or_default(), out.get_mut(..moving).unwrap_or_default());
    if order == 0 { along(track.axis, curve, seconds, out) } else { rates_along(track.axis, curve, (order, 1.0), seconds, out) }
}

/// Counts along a curve at rising frame times. The error is the row without one.
fn along(axis: &Axis, curve: &Curve, frames: &[f64], out: &mut [i64]) -> Result<(), usize> {
    each_piece(curve, frames, out, &mut |piece, frames, out| counts(axis, piece, frames, out))?;
    // At its end a curve has a position of its own: that with which what follows would begin.
    for (row, (x, n)) in frames.iter().zip(out).enumerate().rev().take_while(|(_, (x, _))| **x == curve.end()) {
        *n = curve.at(*x).and_then(|p| axis.count(p)).ok_or(row)?;
    }
    Ok(())
}

/// Velocities or accelerations along a curve in thousandths of steps/s or steps/s2.
fn rates_along(axis: &Axis, curve: &Curve, (order, pace): (u8, f64), frames: &[f64], out: &mut [i64]) -> Result<(), usize> {
    each_piece(curve, frames, out, &mut |piece, frames, out| {
        for (row, (x, n)) in frames.iter().zip(out).enumerate() {
            let jet = piece.jet(*x);
            let rate = if order == 1 { jet.v / pace } else { jet.a / (pace * pace) };
            *n = thousandths(axis, rate).ok_or(row)?;
        }
        Ok(())
    })
}

/// Steps/s or steps/s2 in thousandths, to the nearest, ties to even; `None` from 2^51 thousandths on.
fn thousandths(axis: &Axis, rate: f64) -> Option<i64> {
    let v = 1000.0 * axis.drive().steps(rate);
    (v.abs() < 0.25 * SHIFT).then(|| nearest(v))
}

/// The nearest whole number, ties to even, of a size below 2^51.
#[inline]
fn nearest(y: f64) -> i64 {
    // Numbers from 2^52 to 2^53 are one apart, and so are their bit patterns.
    (y + SHIFT).to_bits().wrapping_sub(SHIFT.to_bits()).cast_signed()
}

/// Fills in the rows of a stretch within one piece; the error is the row that has no number.
type OnPiece<'a> = dyn FnMut(&Piece<'_>, &[f64], &mut [i64]) -> Result<(), usize> + 'a;

/// Calls `each` for every stretch of rows that lies within one piece.
fn each_piece(curve: &Curve, frames: &[f64], out: &mut [i64], each: &mut OnPiece<'_>) -> Result<(), usize> {
    let (mut frames, mut out) = (frames, out);
    let mut before = 0;
    while let Some(x) = frames.first() {
        if !(curve.start() <= *x && *x <= curve.end()) {
            return Err(before);
        }
        let piece = curve.piece_at(*x).ok_or(before)?;
        let last = piece.index + 1 == curve.len();
        // The end of the curve belongs to its last piece, any other knot to the piece that begins there.
        let n = frames.partition_point(|x| *x < piece.end || (last && *x == piece.end)).max(1);
        let (here, later) = frames.split_at_checked(n).ok_or(before)?;
        let (into, rest) = core::mem::take(&mut out).split_at_mut_checked(n).ok_or(before)?;
        each(&curve.uncut(&piece), here, into).map_err(|row| before + row)?;
        (frames, out) = (later, rest);
        before += n;
    }
    Ok(())
}

fn counts(axis: &Axis, piece: &Piece<'_>, frames: &[f64], out: &mut [i64]) -> Result<(), usize> {
    if piece.quintic.is_hold() {
        out.fill(axis.count(piece.quintic.at(0.0)).ok_or(0_usize)?);
        return Ok(());
    }
    if let Some(quick) = Quick::of(axis, piece)
        && quick.counts(frames, out)
    {
        return Ok(());
    }
    as_defined(axis, piece, frames, out)
}

/// The definition: position by the curve's own arithmetic, then the axis's count.
fn as_defined(axis: &Axis, piece: &Piece<'_>, frames: &[f64], out: &mut [i64]) -> Result<(), usize> {
    for (row, (x, n)) in frames.iter().zip(out).enumerate() {
        *n = axis.count(piece.at(*x)).ok_or(row)?;
    }
    Ok(())
}

/// A piece in steps, to be evaluated without divisions.
struct Quick {
    start: f64,
    per_frame: f64,
    steps: Quintic,
    /// How far from a whole step a value may be and still be on the same side of every half step as the one defined.
    certain: f64,
}

impl Quick {
    /// `None` where the two ways could differ by a noticeable part of a step.
    ///
    /// Bound on the difference, with e = 2^-53 and S the sum of the sizes of coefficients and home, in steps: local time differs by 3 e,
    /// which moves the polynomial by at most 15 e S; each Horner evaluation errs by 10 e S; taking off home, multiplying and
    /// dividing by 3 e S, scaling coefficients by 4 e S. In all below 45 e S; 64 e S = 2^-47 S is taken.
    fn of(axis: &Axis, piece: &Piece<'_>) -> Option<Quick> {
        let drive = axis.drive();
        let scale = if drive.is_reversed() { -drive.steps_per_unit() } else { drive.steps_per_unit() };
        let size = piece.quintic.0.iter().map(|c| c.abs()).sum::<f64>() + axis.home().abs();
        let differ = size * drive.steps_per_unit() / 140_737_488_355_328.0;
        // Below 2^44 steps; the shift is good to 2^51.
        if !(differ < 0.125) {
            return None;
        }
        let [c0, c1, c2, c3, c4, c5] = piece.quintic.0;
        let steps = Quintic([c0 - axis.home(), c1, c2, c3, c4, c5]).scaled(scale);
        Some(Quick { start: piece.start, per_frame: 1.0 / piece.length(), steps, certain: 0.5 - differ })
    }

    /// Fills in the counts; false where one of them is not certain.
    fn counts(&self, frames: &[f64], out: &mut [i64]) -> bool {
        let [c0, c1, c2, c3, c4, c5] = self.steps.0;
        let mut doubtful = 0_u64;
        for (x, n) in frames.iter().zip(out) {
            let u = (x - self.start) * self.per_frame;
            let y = c0 + u * (c1 + u * (c2 + u * (c3 + u * (c4 + u * c5))));
            let shifted = y + SHIFT;
            let off = (y - (shifted - SHIFT)).abs();
            doubtful |= u64::from(!(off < self.certain));
            *n = shifted.to_bits().wrapping_sub(SHIFT.to_bits()).cast_signed();
        }
        doubtful == 0
    }
}

/// Counts of a held pass.
fn between(tracks: &Tracks<'_>, track: &Track<'_>, curve: &Curve, seconds: &[f64], out: &mut [i64]) -> Result<(), usize> {
    // The count at which the axis stands to the end of the leg of this index.
    let mut standing: Option<(i64, i64)> = None;
    held(tracks, track, curve, seconds, &mut |row, leg, since| {
        let count = match standing {
            Some((index, count)) if index == leg.index => count,
            _ => track.axis.count(leg.motion(since)?.position)?,
        };
        standing = leg.stands(since).then_some((leg.index, count));
        *out.get_mut(row)? = count;
        Some(())
    })
}

/// Velocities or accelerations of a held pass, in thousandths.
fn rates_between(tracks: &Tracks<'_>, track: &Track<'_>, curve: &Curve, order: u8, seconds: &[f64], out: &mut [i64]) -> Result<(), usize> {
    held(tracks, track, curve, seconds, &mut |row, leg, since| {
        let motion = if leg.stands(since) { Motion::at(0.0) } else { leg.motion(since)? };
        *out.get_mut(row)? = thousandths(track.axis, if order == 1 { motion.velocity } else { motion.acceleration })?;
        Some(())
    })
}

/// Calls `each` for every row with its leg and the seconds since the end of the move to start. The error is the row for which it has no number.
fn held(
    tracks: &Tracks<'_>,
    track: &Track<'_>,
    curve: &Curve,
    seconds: &[f64],
    each: &mut dyn FnMut(usize, &HeldLeg, Seconds) -> Option<()>,
) -> Result<(), usize> {
    let program = tracks.program();
    let legs = HeldLegs { clock: program.clock(), stations: program.stations().ok_or(0_usize)? };
    let mut leg: Option<HeldLeg> = None;
    for (row, t) in seconds.iter().enumerate() {
        let t = Seconds(*t);
        let index = legs.index(t);
        let here = match leg.take().filter(|l| l.index == index) {
            Some(here) => here,
            None => legs.leg(track.id, curve, index).ok_or(row)?,
        };
        each(row, &here, program.clock().since_begin(t)).ok_or(row)?;
        leg = Some(here);
    }
    Ok(())
}
