//! Loads as a page draws them: how far a figure swings over a pass, what its wires carry, how long each held frame rests and needs to.
//!
//! What: of the swing the greatest in each of 256 parts of the pass and the greatest while the shutter is open; the exact peak of the check goes in besides. Shares of the weight are taken at 256 places from run-up to
//! run-down or at the stations, and where the check found the least.
//! Invariant: sampled, for drawing only: whether a limit is exceeded is taken from the check; at most 256 points a curve and pass, and work is bounded.
//! Limits: no swing is drawn where it is not known, or where following it once more takes too long.

use serde::Serialize;

use crate::check::hang::found::WireReport;
use crate::check::swing::found::{SwingReport, Swung};
use crate::check::swing::settling;
use crate::check::{At, PassReport};
use crate::motion::pendulum::greatest::Swinging;
use crate::motion::pendulum::{State, size};
use crate::number::whole;
use crate::program::Program;
use crate::program::hanging::hung::{Hung, Oscillator, Unknown, Watcher};
use crate::program::hanging::support::Support;
use crate::stage::{Body, GroupId, Utilisation};
use crate::time::{FrameTime, Seconds};

/// Points of a curve at most.
const POINTS: u32 = 256;

/// What is drawn of a figure in a pass.
#[derive(Serialize)]
pub(super) struct LoadData {
    group: String,
    swings: Vec<SwingCurve>,
    #[serde(skip_serializing_if = "Option::is_none")]
    wires: Option<WireCurves>,
    settling: Vec<SettlingCurve>,
}

/// The greatest swing in each part of a pass, mm.
#[derive(Serialize)]
struct SwingCurve {
    /// Counted from 1; none for the pendulum.
    mode: Option<usize>,
    limit: Option<f64>,
    over: bool,
    /// Where the first part begins and the last one ends, frames.
    span: [f64; 2],
    most: Vec<f64>,
    /// The greatest while the shutter is open.
    exposed: Vec<f64>,
    /// Frame and mm of the greatest during exposures, as the check found it.
    peak: [f64; 2],
}

/// Shares of the weight, wire by wire.
#[derive(Serialize)]
struct WireCurves {
    least_tension: f64,
    /// Wires that carry too little, by the check.
    over: [bool; 3],
    frames: Vec<f64>,
    shares: [Vec<f64>; 3],
}

/// Seconds before the shutter opens on each frame of a held pass.
#[derive(Serialize)]
struct SettlingCurve {
    mode: Option<usize>,
    over: bool,
    frames: Vec<f64>,
    rests: Vec<f64>,
    /// None where more than an hour is needed.
    needs: Vec<Option<f64>>,
}

/// Every figure of which something is drawn, in stage order.
pub(super) fn loads(report: &PassReport) -> Vec<LoadData> {
    let program = &report.program;
    let stage = program.compiled().stage();
    let of = |body: &Body| {
        let group = body.group();
        let data = LoadData {
            group: stage.group_name(group).to_owned(),
            swings: swings(report, body),
            wires: wires(report, body),
            settling: settling_curves(report, group),
        };
        (!data.swings.is_empty() || data.wires.is_some() || !data.settling.is_empty()).then_some(data)
    };
    stage.bodies().iter().filter_map(of).collect()
}

fn swings(report: &PassReport, body: &Body) -> Vec<SwingCurve> {
    let own = report.swings.iter().filter(|s| s.group == body.group());
    own.filter_map(|s| curve(&report.program, body, s, s.found.ok()?)).collect()
}

fn curve(program: &Program, body: &Body, s: &SwingReport, swung: Swung) -> Option<SwingCurve> {
    let swing = body.swing()?;
    let oscillator = Oscillator::all_of(swing).nth(s.mode.map_or(0, |mode| mode + 1))?;
    let support = Support::new(program.compiled().stage(), body, swing, |id| program.timeline(id));
    let mut parts = Parts::of(program, s.period);
    Hung::at_rest(oscillator, &support).carry(&support, program.end().0, &mut parts).ok()?;
    parts.see(swung.peak.at, swung.peak.value, false);
    parts.see(swung.exposed.at, swung.exposed.value, true);
    let drawn = |list: &[f64]| list.iter().map(|x| rounded(*x)).collect();
    Some(SwingCurve {
        mode: s.mode.map(|mode| mode + 1),
        limit: s.limit,
        over: is_over(s.utilisation()),
        span: parts.span,
        most: drawn(&parts.most),
        exposed: drawn(&parts.exposed),
        peak: [program.clock().frame_at(Seconds(swung.exposed.at)).0, swung.exposed.value],
    })
}

fn is_over(utilisation: Option<Utilisation>) -> bool {
    utilisation.is_some_and(Utilisation::is_exceeded)
}

/// A pass in parts of equal frame time.
struct Parts<'a> {
    program: &'a Program,
    span: [f64; 2],
    /// When each part begins, and the last one ends, s.
    edges: Vec<f64>,
    most: Vec<f64>,
    exposed: Vec<f64>,
    /// Seconds between two looks.
    fine: f64,
    left: u64,
}

/// Looks in one period.
const LOOKS: f64 = 16.0;

/// Looks in one part of a pass and stretch at most.
const MOST_LOOKS: f64 = 64.0;

/// Work for one swing at most: that of the check in a usual shot.
const MOST_WORK: u64 = 6_000_000;

impl<'a> Parts<'a> {
    fn of(program: &'a Program, period: f64) -> Parts<'a> {
        let clock = program.clock();
        let span = [clock.frame_at(clock.begin()).0, clock.frame_at(program.end()).0];
        let [from, to] = span;
        let edge = |i: u32| clock.seconds_at(FrameTime(from + (to - from) * f64::from(i) / f64::from(POINTS))).0;
        let none = || (0..POINTS).map(|_| 0.0).collect();
        let edges = (0..=POINTS).map(edge).collect();
        Parts { program, span, edges, most: none(), exposed: none(), fine: period / LOOKS, left: MOST_WORK }
    }

    /// Takes in a swing at a second of the program.
    fn see(&mut self, t: f64, value: f64, is_open: bool) {
        let at = self.edges.partition_point(|edge| *edge <= t).saturating_sub(1);
        let last = self.most.len().saturating_sub(1);
        let lists = [Some(&mut self.most), is_open.then_some(&mut self.exposed)];
        for slot in lists.into_iter().flatten().filter_map(|list| list.get_mut(at.min(last))) {
            *slot = slot.max(value);
        }
    }
}

impl Watcher for Parts<'_> {
    fn spend(&mut self, work: u64) -> Result<(), Unknown> {
        self.left = self.left.checked_sub(work).ok_or(Unknown::Budget)?;
        Ok(())
    }

    fn look(&mut self, path: &dyn Swinging, begin: f64, lasts: f64) -> Result<(), Unknown> {
        let clock = self.program.clock();
        let end = begin + lasts;
        let mut from = begin.max(clock.begin().0);
        while from < end {
            let next = self.edges.get(self.edges.partition_point(|edge| *edge <= from)).copied();
            let to = next.map_or(end, |edge| edge.min(end));
            let looks = ((to - from) / self.fine).ceil().clamp(1.0, MOST_LOOKS);
            let count = whole::floor(looks).and_then(|n| u32::try_from(n).ok()).unwrap_or(1);
            self.spend(u64::from(count))?;
            for i in 0..=count {
                let t = from + (to - from) * f64::from(i) / looks;
                let value = size(path.at((t - begin).min(lasts)));
                // The end of a part counts for it as its beginning does.
                self.see(if i == count { 0.5 * (from + to) } else { t }, value, clock.is_open(Seconds(t)));
            }
            if next.is_none() {
                break;
            }
            from = to;
        }
        Ok(())
    }

    fn stands(&mut self, _state: &State, _begin: f64, _end: f64, _length: f64) {}
}

/// Four digits: more than a screen has.
fn rounded(x: f64) -> f64 {
    format!("{x:.3e}").parse().unwrap_or(x)
}

fn wires(report: &PassReport, body: &Body) -> Option<WireCurves> {
    let hang = body.hang()?;
    let own: Vec<&WireReport> = report.wires.iter().filter(|w| w.group == body.group()).collect();
    let [a, b, c] = own.as_slice() else { return None };
    let (program, compiled) = (&report.program, report.program.compiled());
    let mut frames = places(program);
    let (from, to) = (frames.first().copied()?, frames.last().copied()?);
    for [least, _] in own.iter().filter_map(|w| w.carried) {
        // On a move between held exposures axes are elsewhere than on the curve.
        if let (At::Frame(at), None) = (least.at, program.stations()) {
            frames.extend(Some(at.0).filter(|at| from < *at && *at < to));
        }
    }
    frames.sort_by(f64::total_cmp);
    frames.dedup();
    let mut shares = [Vec::new(), Vec::new(), Vec::new()];
    for frame in &frames {
        let posture = compiled.posture_at(Some(program.pass()), body, FrameTime(*frame)).ok()?;
        shares.iter_mut().zip(hang.shares(posture.body())).for_each(|(list, share)| list.push(rounded(share)));
    }
    let over = [a, b, c].map(|w| is_over(w.utilisation()));
    let frames = frames.into_iter().map(super::curves::short).collect();
    Some(WireCurves { least_tension: hang.least_tension, over, frames, shares })
}

/// Frame times at which shares are drawn; beside them there is room for the least of each wire.
fn places(program: &Program) -> Vec<f64> {
    let clock = program.clock();
    if program.stations().is_some() {
        return frames(program).into_iter().map(|(_, frame)| frame).collect();
    }
    let (from, to) = (clock.frame_at(clock.begin()).0, clock.frame_at(program.end()).0);
    let parts = POINTS - 4;
    (0..=parts).map(|i| from + (to - from) * f64::from(i) / f64::from(parts)).collect()
}

/// Exposed frames of a pass, with their numbers counted from 0: all of them, or where there are more than can be drawn every second, every third and so on.
fn frames(program: &Program) -> Vec<(usize, f64)> {
    let exposed = program.clock().exposed();
    let stride = exposed.count().div_ceil(usize::try_from(POINTS).unwrap_or(1)).max(1);
    exposed.frames().enumerate().step_by(stride).map(|(i, n)| (i, FrameTime::of_frame(n).0)).collect()
}

fn settling_curves(report: &PassReport, group: GroupId) -> Vec<SettlingCurve> {
    let program = &report.program;
    let rests = settling::rests(program);
    let own = report.settling.iter().filter(|s| s.group == group);
    own.map(|s| {
        let shown = frames(program);
        let swing = report.swings.iter().find(|w| w.group == group && w.mode == s.mode);
        let of = |list: &[f64]| shown.iter().map(|(i, _)| list.get(*i).copied().unwrap_or(0.0)).collect::<Vec<f64>>();
        SettlingCurve {
            mode: s.mode.map(|mode| mode + 1),
            over: swing.is_some_and(|w| is_over(w.utilisation())),
            rests: of(&rests).into_iter().map(rounded).collect(),
            needs: of(&s.frames).into_iter().map(|n| n.is_finite().then(|| rounded(n))).collect(),
            frames: shown.iter().map(|(_, frame)| *frame).collect(),
        }
    })
    .collect()
}
