//! How much of its tightest limit an axis uses in each frame: the numbers behind the page's map.
//!
//! What: of a moving pass the exact extremes of velocity, acceleration, jerk, step rate and torque over [n - 1/2, n + 1/2], by the roots that the check
//! uses; where the axis leaves its travel, that too. Of a held pass the peaks and torque of the move that leaves frame n, or the time it needs as a share of
//! the time there is where that is more. A limit that the check found exceeded - clearance, a slack wire, another count - counts at its frames. Parked
//! axes use nothing. Invariant: a frame is above 1 exactly where the check exceeds a limit of its axis there.

use super::held::fits;
use super::report::PassReport;
use super::violation::{Cause, Violation};
use crate::compile::frame_time;
use crate::motion::curve::{Curve, Piece};
use crate::motion::{Peaks, Quintic};
use crate::program::{Program, Stations, Torque};
use crate::stage::{Axis, AxisId, PacedPeaks, PerAxis, Utilisation};

/// Utilisations of one pass: for each axis one number for each photographed frame.
#[must_use]
pub(crate) fn usage(report: &PassReport) -> PerAxis<Vec<Utilisation>> {
    let program = report.program.as_ref();
    PerAxis::new(program.compiled().stage(), |id| row(program, &report.violations, id))
}

/// The same of one axis.
#[must_use]
pub(crate) fn row(program: &Program, violations: &[Violation], id: AxisId) -> Vec<Utilisation> {
    let frames = program.compiled().shot().frames();
    if program.parks(id) || program.pass().wedge().is_some() {
        return vec![Utilisation::NONE; frames.count()];
    }
    let mut row = match program.stations() {
        None => frames.frames().map(|n| moving(program, id, n)).collect(),
        Some(stations) => {
            let moves = between(program, stations, id);
            // The move that leaves a frame passes those that are not exposed; after the last exposure nothing moves.
            let step = usize::try_from(program.pass().every()).unwrap_or(1);
            let mut row: Vec<Utilisation> =
                moves.into_iter().flat_map(|used| core::iter::repeat_n(used, step)).take(frames.count()).collect();
            let exposed = frames.count() - usize::try_from(frames.last() - stations.exposed().last()).unwrap_or(0);
            row.iter_mut().skip(exposed).for_each(|used| *used = Utilisation::NONE);
            row
        }
    };
    for v in violations.iter().filter(|v| v.subject.axis() == id && v.frame().is_some()) {
        let Some(exceeded) = v.beside_peaks().filter(|_| !matches!(v.cause, Cause::TooLong { .. })) else { continue };
        for (_, used) in frames.frames().zip(&mut row).filter(|(n, _)| shows(v, *n)) {
            *used = used.max(exceeded);
        }
    }
    row
}

/// True where the frame has a part of the violation's span; of a span that is one instant, where that lies in the frame or on its edge.
fn shows(v: &Violation, frame: i64) -> bool {
    let ((from, to), (since, until)) = ((frame_time(frame) - 0.5, frame_time(frame) + 0.5), v.span);
    if since < until { since < to && from < until } else { since <= to && from <= since }
}

fn moving(program: &Program, id: AxisId, frame: i64) -> Utilisation {
    let axis = program.compiled().stage().axis(id);
    let curve = program.compiled().motion(id).curve();
    let middle = frame_time(frame);
    let pace = program.clock().pace().get();
    let mut used = Utilisation::NONE;
    let torque = Torque::of(axis);
    for (start, end, part) in parts(curve, middle - 0.5, middle + 0.5) {
        let piece = Piece { index: 0, start, end, quintic: &part };
        let paced = PacedPeaks::new(&Peaks::of_piece(&piece), pace);
        used = used.max(of_axis(axis, &paced));
        if let Some(t) = torque.as_ref().and_then(|t| t.worst(core::iter::once(piece), pace)) {
            used = used.max(t.utilisation());
        }
    }
    used
}

/// The tightest limit of an axis with these peaks; travel counts where it is left.
fn of_axis(axis: &Axis, paced: &PacedPeaks) -> Utilisation {
    let rates = paced.of_limits(axis).into_iter().flatten().fold(Utilisation::NONE, Utilisation::max);
    let travel = paced.of_travel(axis);
    if travel.is_exceeded() { rates.max(travel) } else { rates }
}

/// The parts of a curve's pieces between two instants.
fn parts(curve: &Curve, from: f64, to: f64) -> Vec<(f64, f64, Quintic)> {
    let range = curve.overlapping(from, to);
    let cut = |piece: Piece<'_>| {
        let h = piece.length();
        let local = |t: f64| ((t - piece.start) / h).clamp(0.0, 1.0);
        let (a, b) = (local(from), local(to));
        let part = if a == 0.0 && b == 1.0 { *piece.quintic } else { piece.quintic.part(a, b) };
        (a < b).then_some((piece.start + a * h, piece.start + b * h, part))
    };
    curve.pieces().skip(range.start).take(range.len()).filter_map(cut).collect()
}

fn between(program: &Program, stations: &Stations, id: AxisId) -> Vec<Utilisation> {
    let axis = program.compiled().stage().axis(id);
    let positions = stations.positions(program.compiled().motion(id).curve());
    let torque = Torque::of(axis);
    let standing = torque.as_ref().map_or(Utilisation::NONE, |t| t.standing(0.0).utilisation());
    let l = axis.limits();
    let mut row: Vec<Utilisation> = positions
        .iter()
        .map(|x| {
            let travel = Utilisation::of_travel(*x, *x, axis.travel());
            if travel.is_exceeded() { standing.max(travel) } else { standing }
        })
        .collect();
    for ((common, law), used) in stations.laws(id, &positions).zip(&mut row) {
        if !(law.duration() > 0.0) {
            continue;
        }
        if let Some(available) = stations.available().filter(|available| !fits(law.duration(), *available)) {
            *used = used.max(Utilisation::of(law.duration(), available.0));
        }
        let Ok(law) = law.stretched(common.seconds.0) else { continue };
        let [v, a, j] = law.peaks();
        let rates = [(v, l.velocity), (a, l.acceleration), (j, l.jerk)];
        *used = rates.into_iter().map(|(value, limit)| Utilisation::of(value, limit)).fold(*used, Utilisation::max);
        if let Some(t) = torque.as_ref().and_then(|t| law.torque(t, 0.0)) {
            *used = used.max(t.utilisation());
        }
    }
    row
}
