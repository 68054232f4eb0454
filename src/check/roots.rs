//! Which exceeded limits have one cause: a person wants to see the key that was mistyped, not all that follows from it.
//!
//! What: limits exceeded between neighbouring keys of one track belong together, in every pass and on every axis that follows the track, as far as the stretches touch:
//! a curve swings on both sides of a bad key. What has no keys of its own (an aim, a gap between two bodies) is folded under the worst cause among the tracks that it
//! depends on. A pass for which a slower pace was tried and holds in every way, and in which more than one such cause is found, is too fast: the pace is the cause.
//! Invariant: every violation of the report is in exactly one root; nothing is judged here.

use std::collections::{BTreeMap, BTreeSet};

use super::clearance::Against;
use super::report::Report;
use super::stopping;
use super::violation::{Between, Cause, Limit, Part, Subject, Violation};
use crate::signal::SourceKind;
use crate::stage::{AxisId, GroupId};

/// A violation with the index of its pass.
pub(crate) type Found<'a> = (usize, &'a Violation);

/// One cause and what follows from it.
#[derive(Debug, Clone)]
pub(crate) struct Root<'a> {
    /// True where the pace of the pass is the cause.
    pub(crate) too_fast: bool,
    /// The violation to be shown.
    pub(crate) lead: Found<'a>,
    /// All others, in the order of the report.
    pub(crate) rest: Vec<Found<'a>>,
}

/// Every exceeded limit of a report under its cause; the worst cause first, paces before keys.
#[must_use]
pub(crate) fn roots(report: &Report) -> Vec<Root<'_>> {
    let all: Vec<Found<'_>> = report.passes.iter().enumerate().flat_map(|(i, p)| p.violations.iter().map(move |v| (i, v))).collect();
    let causes = gathered(report, &all);
    let too_fast = |i: usize| {
        let causes = causes.iter().filter(|c| c.iter().any(|(pass, _)| *pass == i)).count();
        causes > 1 && report.passes.get(i).is_some_and(|p| p.runnable.seconds_per_frame.is_some())
    };
    let fast: BTreeSet<usize> = (0..report.passes.len()).filter(|i| too_fast(*i)).collect();
    let of_pass = |i: &usize| all.iter().copied().filter(|(pass, _)| pass == i).collect();
    let mut roots: Vec<Root<'_>> = fast.iter().map(of_pass).filter_map(|found| root(found, true)).collect();
    let others: Vec<Found<'_>> = all.iter().copied().filter(|(pass, _)| !fast.contains(pass)).collect();
    let mut keyed: Vec<Root<'_>> = gathered(report, &others).into_iter().filter_map(|found| root(found, false)).collect();
    keyed.sort_by(|a, b| b.lead.1.severity().total_cmp(&a.lead.1.severity()));
    roots.extend(keyed);
    roots
}

/// What is shown of violations with one cause: one for which a change of the track was found, or the one that says most about where the curve goes.
fn root(found: Vec<Found<'_>>, too_fast: bool) -> Option<Root<'_>> {
    let mended = |v: &Violation| v.fixes.iter().any(|f| f.is_pace() == too_fast);
    let order = |v: &Violation| (mended(v), nearness(v.part), v.limit.plainness());
    let worse = |a: &Violation, b: &Violation| order(a).cmp(&order(b)).then(a.severity().total_cmp(&b.severity()));
    let lead = (0..found.len()).rev().max_by(|a, b| match (found.get(*a), found.get(*b)) {
        (Some((_, a)), Some((_, b))) => worse(a, b),
        _ => core::cmp::Ordering::Equal,
    })?;
    let (lead, rest): (Vec<_>, Vec<_>) = found.into_iter().enumerate().partition(|(i, _)| *i == lead);
    Some(Root { too_fast, lead: lead.first()?.1, rest: rest.into_iter().map(|(_, f)| f).collect() })
}

/// What is photographed comes first, then what a run adds to it, then the way there and home.
fn nearness(part: Part) -> u32 {
    match part {
        Part::Photographed => 2,
        Part::RunUp | Part::RunDown => 1,
        Part::MoveToStart | Part::ReturnHome => 0,
    }
}

/// Touching stretches between keys of one track, or an axis whose limits no track explains; the last apart where it is about another pass's counts.
#[derive(Debug, Clone, Copy, PartialEq)]
enum CauseOf {
    Keys { track: usize, cluster: usize },
    Axis(AxisId, bool),
}

/// Violations by cause, in the order in which the causes first appear.
fn gathered<'a>(report: &Report, all: &[Found<'a>]) -> Vec<Vec<Found<'a>>> {
    let behind: Vec<BTreeSet<usize>> = all.iter().map(|(_, v)| tracks_behind(report, v)).collect();
    // What a track alone moves shows that the track is at fault; what several move shows nothing where one of them is known to be.
    let mut at_fault: BTreeMap<usize, f64> = BTreeMap::new();
    for ((_, v), tracks) in all.iter().zip(&behind) {
        if let (Some(track), 1, true) = (tracks.first(), tracks.len(), !v.is_between_two()) {
            let known = at_fault.entry(*track).or_insert(0.0);
            *known = known.max(v.severity());
        }
    }
    let own = |v: &Violation| v.between.filter(|_| !v.is_between_two());
    let track_of = |v: &Violation, tracks: &BTreeSet<usize>| {
        let known = tracks.iter().filter_map(|t| at_fault.get_key_value(t)).max_by(|a, b| a.1.total_cmp(b.1));
        known.map(|(t, _)| *t).or_else(|| own(v).map(|b| b.track))
    };
    let tracks: Vec<Option<usize>> = all.iter().zip(&behind).map(|((_, v), tracks)| track_of(v, tracks)).collect();
    let mut stretches: BTreeMap<usize, BTreeSet<[Option<usize>; 2]>> = BTreeMap::new();
    for ((_, v), track) in all.iter().zip(&tracks) {
        if let Some(b) = own(v).filter(|b| Some(b.track) == *track) {
            stretches.entry(b.track).or_default().insert(keys(&b));
        }
    }
    let clusters: BTreeMap<usize, BTreeMap<[Option<usize>; 2], usize>> =
        stretches.into_iter().map(|(track, keys)| (track, clusters(&keys))).collect();
    // What has no keys of its own on the track goes with the worst of them.
    let mut worst: BTreeMap<usize, (f64, usize)> = BTreeMap::new();
    let cluster_of = |v: &Violation, track: usize| {
        let b = own(v).filter(|b| b.track == track)?;
        clusters.get(&track)?.get(&keys(&b)).copied()
    };
    for ((_, v), track) in all.iter().zip(&tracks) {
        if let Some((track, cluster)) = track.and_then(|t| Some((t, cluster_of(v, t)?))) {
            let known = worst.entry(track).or_insert((f64::NEG_INFINITY, cluster));
            if v.severity() > known.0 {
                *known = (v.severity(), cluster);
            }
        }
    }
    let mut causes: Vec<(CauseOf, Vec<Found<'a>>)> = Vec::new();
    for (found, track) in all.iter().zip(&tracks) {
        let (_, v) = found;
        let keyed = track.and_then(|track| {
            let cluster = cluster_of(v, track).or_else(|| worst.get(&track).map(|(_, cluster)| *cluster))?;
            Some(CauseOf::Keys { track, cluster })
        });
        let cause = keyed.unwrap_or(CauseOf::Axis(v.subject.axis(), v.limit == Limit::Register));
        match causes.iter_mut().find(|(known, _)| *known == cause) {
            Some((_, list)) => list.push(*found),
            None => causes.push((cause, vec![*found])),
        }
    }
    causes.into_iter().map(|(_, list)| list).collect()
}

fn keys(b: &Between) -> [Option<usize>; 2] {
    [b.before, b.after].map(|k| k.map(|(i, ..)| i))
}

/// Stretches of one track that share a key have one number.
fn clusters(stretches: &BTreeSet<[Option<usize>; 2]>) -> BTreeMap<[Option<usize>; 2], usize> {
    let mut number = 0_usize;
    let mut last: Option<usize> = None;
    let mut clusters = BTreeMap::new();
    for [before, after] in stretches {
        if last.is_none() || last != *before {
            number += 1;
        }
        clusters.insert([*before, *after], number);
        last = *after;
    }
    clusters
}

/// Every track that moves what a violation is about.
fn tracks_behind(report: &Report, v: &Violation) -> BTreeSet<usize> {
    let (stage, shot) = (report.compiled.stage(), report.compiled.shot());
    let mut tracks = BTreeSet::new();
    let mut add_axis = |id: AxisId| {
        for source in stage.channels_of(id).into_iter().flat_map(|c| report.compiled.sources_of(c)) {
            if source.kind == SourceKind::Track {
                tracks.insert(source.index);
            }
        }
    };
    let of_group = |group: GroupId| -> Vec<AxisId> {
        let channels = stage.body_of(group).map(|b| b.every_channel().to_vec()).unwrap_or_default();
        channels.into_iter().flat_map(|c| stage.axes_of(c)).collect()
    };
    if let Cause::Stopping(stopping::against::Against::Carriage(other)) = v.cause {
        add_axis(other);
    }
    match &v.subject {
        Subject::Axis(axis) => {
            add_axis(*axis);
            let is_aimed = |a: &&crate::shot::Aim| a.channels().iter().any(|c| stage.axes_of(*c).contains(axis));
            for aim in shot.aims().iter().filter(is_aimed) {
                aim.groups().into_iter().flat_map(of_group).for_each(&mut add_axis);
            }
            for focus in shot.focuses().iter().filter(|f| f.moves(stage, *axis)) {
                focus.groups().into_iter().flat_map(of_group).for_each(&mut add_axis);
            }
        }
        Subject::Shutter(_) => {}
        Subject::Body(group, _) => of_group(*group).into_iter().for_each(&mut add_axis),
        Subject::Pair(nearest, axis) => {
            add_axis(*axis);
            let other = match nearest.against {
                Against::Group(other) | Against::Rail(other) => Some(other),
                Against::Own | Against::Obstacle(_) | Against::KeepOut(_) => None,
            };
            core::iter::once(nearest.group).chain(other).flat_map(of_group).for_each(&mut add_axis);
        }
    }
    tracks
}
