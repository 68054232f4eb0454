//! Notes, where no limit is exceeded: overshoot, steps in acceleration, axes that never move, torque that cannot be checked.

pub(crate) use super::note_kind::{FLICKER, NoteKind};
use super::violation::Limit;
use crate::bounds::{Effort, Meter};
use crate::compile::{AxisMove, Coarse, Compiled};
use crate::motion::{Extreme, Peaks};
use crate::program::Torque;
use crate::shot::{Exposure, Pass, Shape, Shot};
use crate::signal::{Source, SourceKind, on_film};
use crate::stage::{Axis, AxisId, Driver, PerAxis};
use crate::time::FrameTime;

/// A note.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Note {
    /// The axis it is about, or the one to look at first.
    pub axis: Option<AxisId>,
    /// When, where it has an instant in frame time.
    pub frame: Option<FrameTime>,
    /// Size, where it has one, in the unit its sentence names.
    pub value: Option<f64>,
    /// What it says.
    pub kind: NoteKind,
}

impl Note {
    /// True where it says that something is as it should be, or as it mostly is meant to be: such notes are for the whole list.
    pub(crate) fn asks_nothing(&self) -> bool {
        match self.kind {
            NoteKind::Openings { per_exposure } => per_exposure <= FLICKER,
            NoteKind::OutOfFocus { chosen, .. } => chosen,
            NoteKind::Covers { .. } => true,
            _ => false,
        }
    }
}

/// Said where trials of fixes have used up what they may cost.
pub(super) fn not_tried(work: &Meter) -> Option<Note> {
    let trials = [Effort::Trials, Effort::TrialBoxes, Effort::TrialReaches, Effort::TrialSwings, Effort::TrialStops];
    let used_up = trials.iter().any(|effort| work.left(*effort) == 0);
    used_up.then_some(Note { axis: None, frame: None, value: None, kind: NoteKind::FixesNotTried })
}

/// Every note on the move, axis by axis in stage order.
pub(super) fn notes(compiled: &Compiled, reversals: &PerAxis<Vec<FrameTime>>) -> Vec<Note> {
    let (stage, shot) = (compiled.stage(), compiled.shot());
    let mut found = Vec::new();
    for (id, axis) in stage.each_axis() {
        let m = compiled.motion(id);
        let mut add = |frame: Option<f64>, value: Option<f64>, kind: NoteKind| {
            found.push(Note { axis: Some(id), frame: frame.map(FrameTime), value, kind });
        };
        let channels = stage.channels_of(id);
        let layers: Vec<Source> = channels.iter().flat_map(|c| compiled.sources_of(*c)).copied().collect();
        // A mechanism's axis has a range of its own; its channels' keys are not in its unit.
        let own: &[Source] = if matches!(stage.driver(id), Driver::Own(_)) { &layers } else { &[] };
        let time = compiled.time_of_channels(&channels);
        let film = on_film(time.as_deref());
        if let Some((at, by, kind)) = overshoot(shot, axis, m, own, &film) {
            add(Some(at), Some(by), kind);
        }
        for b in m.breaks() {
            add(Some(b.at), Some(b.after - b.before), NoteKind::AccelerationStep);
        }
        for c in m.coarse() {
            for (limit, value) in uncertain(compiled, id, axis, c) {
                add(Some(c.at), Some(value), NoteKind::NearSingular { limit });
            }
        }
        if let Some((at, by, height)) = stretch(compiled, id) {
            add(Some(at), Some(by), NoteKind::RopeStretch { height });
        }
        if let Some((at, per_frame, per_exposure)) = openings(compiled, id, axis, m) {
            add(Some(at), Some(per_frame), NoteKind::Openings { per_exposure });
        }
        if let (Some(backlash), Some(first)) = (axis.backlash().filter(|b| *b > 0.0), reversals[id].first()) {
            let steps = backlash * axis.drive().steps_per_unit();
            add(Some(first.0), Some(backlash), NoteKind::Reversals { times: reversals[id].len(), steps });
        }
        if let Some((at, off)) = misses_a_key(shot, axis, m, own, &film) {
            add(Some(at), Some(off), NoteKind::BlendedCorner);
        }
        if m.never_moves() {
            add(None, None, NoteKind::NeverMoves { driven: !layers.is_empty() });
        } else if Torque::of(axis).is_none() {
            add(None, None, NoteKind::TorqueUnchecked);
        }
    }
    found
}

/// Figures that a curve further from its signal than allowed leaves uncertain by more than is promised: velocity, acceleration and jerk by more than a thousandth of
/// the limit in the fastest pass, in per cent; a position by more than a sixteenth of a step, in steps. Twice the miss is given, as everywhere half of each tolerance is
/// demanded at the places looked at.
fn uncertain(compiled: &Compiled, id: AxisId, axis: &Axis, c: &Coarse) -> Vec<(Limit, f64)> {
    let moving = compiled.shot().passes().iter().filter(|p| p.exposure() == Exposure::Moving && !p.parks(compiled.stage(), id));
    let pace = moving.map(|p| p.pace().get()).reduce(f64::min);
    let [p, v, a, j] = c.off.map(|off| 2.0 * off);
    let l = axis.limits();
    let mut found = Vec::new();
    if let Some(t) = pace {
        let shares = [
            (Limit::Velocity, v / (t * l.velocity)),
            (Limit::Acceleration, a / (t * t * l.acceleration)),
            (Limit::Jerk, j / (t * t * t * l.jerk)),
            (Limit::StepRate, l.step_rate.map_or(0.0, |rate| v * axis.drive().steps_per_unit() / (t * rate))),
        ];
        found.extend(shares.into_iter().filter(|(_, share)| !(*share <= 1e-3)).map(|(limit, share)| (limit, 100.0 * share)));
    }
    let steps = p * axis.drive().steps_per_unit();
    if !(steps <= 1.0 / 16.0) {
        found.push((Limit::Position, steps));
    }
    found
}

/// How far the rope of a drum stretches under its load, at the lowest place of the photographed span: instant, mm, height.
fn stretch(compiled: &Compiled, id: AxisId) -> Option<(f64, f64, f64)> {
    let Driver::Machine(machine, _) = compiled.stage().driver(id) else { return None };
    let (mechanism, [_], [_]) = (machine.mechanism(), machine.axes(), machine.channels()) else { return None };
    let peaks = compiled.motion(id).peaks();
    let height = |turn: f64| {
        let mut height = [0.0];
        mechanism.to_channels_at_rest(&[turn], &mut height).ok().map(|()| height[0])
    };
    let heights = [peaks.least, peaks.greatest].map(|e| height(e.value).map(|h| (h, e.at)));
    let (height, at) = heights.into_iter().flatten().min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some((at, mechanism.stretch(height)?, height))
}

/// How often a turning gobo's openings pass at most: instant, per frame, per exposure. Above half an opening per exposure the shafts of
/// light no longer wander but flicker. `None` where it turns in no exposure: it stands, is parked, or every pass that moves it is held.
fn openings(compiled: &Compiled, id: AxisId, axis: &Axis, m: &AxisMove) -> Option<(f64, f64, f64)> {
    let openings = f64::from(axis.openings()?);
    let turns = |p: &&Pass| p.exposure() == Exposure::Moving && !p.parks(compiled.stage(), id);
    let longest = compiled.shot().passes().iter().filter(turns).map(|p| p.shutter().fraction()).reduce(f64::max)?;
    let peak = m.peaks().velocity;
    let per_frame = peak.value * openings / 360.0;
    (!m.never_moves()).then_some((peak.at, per_frame, per_frame * longest))
}

/// The one source, a track, of an axis that has no other.
fn only_track<'a>(shot: &'a Shot, layers: &[Source]) -> Option<(&'a crate::shot::Track, Source)> {
    match layers {
        [one] if one.kind == SourceKind::Track => shot.tracks().get(one.index).map(|t| (t, *one)),
        _ => None,
    }
}

/// Where the curve leaves the range of its keys, at the worst: instant, by how much.
fn overshoot(shot: &Shot, axis: &Axis, m: &AxisMove, layers: &[Source], film: &dyn Fn(f64) -> f64) -> Option<(f64, f64, NoteKind)> {
    let (track, source) = only_track(shot, layers)?;
    // The other shapes stay within their keys' range: monotone by its slopes, the rest as sums with shares from 0 to 1.
    if !matches!(track.shape(), Shape::MinimumJerk | Shape::NaturalCubic | Shape::CatmullRom) {
        return None;
    }
    let mut values = track.keys().iter().map(|k| k.value * source.scale);
    let first = values.next()?;
    let (low, high) = values.fold((first, first), |(lo, hi), v| (lo.min(v), hi.max(v)));
    let (keys_from, keys_to) = (film(track.keys().first()?.frame + source.delay), film(track.keys().last()?.frame + source.delay));
    let span = m.photographed();
    let range = m.curve().overlapping(keys_from, keys_to);
    let range = range.start.max(span.start)..range.end.min(span.end);
    // An extreme of the whole span that leaves the keys' range between the first key and the last is the extreme there; one that does not leave it shows nothing.
    let known = |e: Extreme| (low <= e.value && e.value <= high) || (keys_from <= e.at && e.at <= keys_to);
    let whole = m.peaks();
    let [least, greatest] = if !range.is_empty() && known(whole.least) && known(whole.greatest) {
        [whole.least, whole.greatest]
    } else {
        Peaks::positions(m.curve(), range, whole)?
    };
    let (below, above) = (low - least.value, greatest.value - high);
    let (by, at, to) = if below > above { (below, least.at, least.value) } else { (above, greatest.at, greatest.value) };
    // Less than a hundredth of a step is the arithmetic, not the curve.
    (by * axis.drive().steps_per_unit() > 0.01).then_some((at, by, NoteKind::Overshoot { keys: [low, high], to }))
}

/// By how much a blended track misses its keys at most: instant, miss.
fn misses_a_key(shot: &Shot, axis: &Axis, m: &AxisMove, layers: &[Source], film: &dyn Fn(f64) -> f64) -> Option<(f64, f64)> {
    let (track, source) = only_track(shot, layers)?;
    if !track.shape().is_blended() {
        return None;
    }
    let mut worst: Option<(f64, f64)> = None;
    for key in track.keys() {
        let frame = film(key.frame + source.delay);
        let Some(p) = m.curve().at(frame) else { continue };
        let off = (p - key.value * source.scale).abs();
        if off * axis.drive().steps_per_unit() > 0.5 && worst.is_none_or(|(_, w)| off > w) {
            worst = Some((frame, off));
        }
    }
    worst
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::check::fixture;
    use crate::stage::{AxisSpec, Unit};

    /// A plate on short rods that rolls to within 1e-9 of where a rod would fold: there the fit ends before it is close, and the peak given is off.
    #[test]
    fn a_figure_near_a_singular_place_is_given_with_its_uncertainty() {
        use crate::mechanism::{CarriedFrom, Swashplate, SwashplateSpec};
        use crate::signal::{AxisSignal, Layers};
        use crate::stage::MachineSpec;
        let plate = Swashplate::new(SwashplateSpec {
            radius: 100.0,
            azimuths: [-60.0, 60.0, 180.0],
            rod_length: Some(30.0),
            carried_from: CarriedFrom::Below,
        })
        .unwrap();
        let axis = |name: &str| AxisSpec::new(name, Unit::Millimetre, [-500.0, 500.0], [50.0, 20.0, 60.0]);
        let stage = fixture::stage("heron", vec![axis("a"), axis("b"), axis("c")]);
        let full = |names: [&str; 3]| names.map(|n| format!("heron.{n}"));
        let spec = MachineSpec::new(plate, full(["heave", "pitch", "roll"]), full(["a", "b", "c"]));
        let stage = stage.with_machines(vec![spec]).unwrap();
        // |y| (1 - cos roll) = L with |y| = 100 sin 60 deg.
        let folded = crate::number::elementary::degrees(crate::number::elementary::acos(1.0 - 30.0 / (100.0 * 0.75_f64.sqrt())));
        let near = |share: f64| {
            let track =
                fixture::track(&stage, "heron.roll", Shape::NaturalCubic, &[(-11.0, 0.0), (12.0, folded * (1.0 - share)), (35.0, 0.0)]);
            let passes = vec![fixture::pass(&stage, "picture", Exposure::Moving, 60.0)];
            fixture::compiled(stage.clone(), (1, 24), vec![track], passes)
        };
        let jerk_of = |compiled: &Compiled| {
            let id = compiled.stage().axis_of_name("heron.a").unwrap();
            let none = PerAxis::new(compiled.stage(), |_| Vec::new());
            let of = |n: &Note| (n.axis == Some(id) && n.kind == NoteKind::NearSingular { limit: Limit::Jerk }).then(|| n.value.unwrap());
            let uncertain: f64 = notes(compiled, &none).iter().filter_map(of).sum();
            let layers = Layers::of(compiled.shot(), compiled.budget(), None).unwrap();
            let signal = AxisSignal::of(compiled.stage(), compiled.shot(), &layers, id).unwrap();
            let truth = (-200_000..=200_000).map(|i| signal.jet(12.0 + f64::from(i) * 1e-7, 12.5).j.abs()).fold(0.0, f64::max);
            let per_cent = |j: f64| 100.0 * j / (60.0 * 216_000.0);
            (per_cent(compiled.motion(id).peaks().jerk.value), per_cent(truth), uncertain)
        };
        let (given, truth, uncertain) = jerk_of(&near(1e-9));
        assert!((given - truth).abs() > 0.1 && (given - truth).abs() <= uncertain, "{given} {truth} {uncertain}");
        let (given, truth, uncertain) = jerk_of(&near(1e-2));
        assert!((given - truth).abs() <= 0.1 && uncertain == 0.0, "{given} {truth} {uncertain}");
    }

    /// A gobo of 12 openings that turns over 50 frames, in passes of these exposures, shutters (deg) and whether they park it.
    fn openings_per_exposure(passes: &[(Exposure, f64, bool)], turn: f64) -> Option<f64> {
        let spec = AxisSpec { openings: Some(12), ..AxisSpec::new("turn", Unit::Degree, [-10.0, 2000.0], [1e6, 1e6, 1e6]) };
        let stage = fixture::stage("gobo", vec![spec]);
        let gobo = stage.group_of_name("gobo").unwrap();
        let pass = |(i, (exposure, shutter, parks)): (usize, &(Exposure, f64, bool))| {
            let park = if *parks { vec![gobo] } else { Vec::new() };
            Pass::new(&stage, &format!("p{i}"), *exposure, 10.0, *shutter, 0.0, park).unwrap()
        };
        let passes = passes.iter().enumerate().map(pass).collect();
        let track = fixture::track(&stage, "gobo.turn", Shape::MinimumJerk, &[(1.0, 0.0), (51.0, turn)]);
        let compiled = fixture::compiled(stage, (1, 51), vec![track], passes);
        let none = PerAxis::new(compiled.stage(), |_| Vec::new());
        notes(&compiled, &none).iter().find_map(|n| match n.kind {
            NoteKind::Openings { per_exposure } => Some(per_exposure),
            _ => None,
        })
    }

    /// 800 deg in 50 frames peak at 1.875 x 16 = 30 deg/frame (T. Flash, N. Hogan 1985): one opening of 30 deg per frame, a quarter of it at 90 deg of shutter.
    #[test]
    fn only_passes_that_turn_the_gobo_while_the_shutter_is_open_flicker() {
        let near = |found: Option<f64>, wanted: f64| found.is_some_and(|f| (f - wanted).abs() < 1e-9);
        let alone = [(Exposure::Moving, 90.0, false)];
        assert!(near(openings_per_exposure(&alone, 800.0), 0.25));
        assert!(near(openings_per_exposure(&[alone[0], (Exposure::Held, 270.0, false)], 800.0), 0.25));
        assert!(near(openings_per_exposure(&[alone[0], (Exposure::Moving, 270.0, true)], 800.0), 0.25));
        assert!(near(openings_per_exposure(&[alone[0], (Exposure::Moving, 270.0, false)], 800.0), 0.75));
        assert_eq!(openings_per_exposure(&[(Exposure::Held, 270.0, false)], 800.0), None);
        assert_eq!(openings_per_exposure(&[(Exposure::Moving, 270.0, true)], 800.0), None);
        assert_eq!(openings_per_exposure(&alone, 0.0), None, "it stands still");
    }
}
