//! Groups that take over the axes of another.
//!
//! Invariant: after [`settle`] every group that is `settled` holds all its axes, those taken over first, in their order; keys that the group gives itself replace, key by key (a `load` as a
//! whole), and axes of new names follow. The order of groups in the file is free. All groups together hold at most one axis more than a stage may have, whatever the file.

use std::collections::BTreeMap;

use super::keys;
use super::log::Log;
use super::names::unknown_group;
use super::reader::Table;
use crate::bounds::{Code, Flaw, MOST_AXES};

/// A group as written.
#[derive(Debug)]
pub(super) struct RawGroup<'t> {
    /// Its table.
    pub(super) table: Table<'t>,
    /// Its name; `None` where that has a mistake.
    pub(super) name: Option<&'t str>,
    /// The group it takes over.
    pub(super) like: Option<&'t str>,
    /// Its axes by name.
    pub(super) axes: Vec<(&'t str, Table<'t>)>,
    /// False where axes taken over are not known.
    pub(super) settled: bool,
    /// True where all names that it gives itself could be read.
    pub(super) names_whole: bool,
}

/// Gives every group the axes it takes over.
pub(super) fn settle(log: &mut Log, groups: &mut [RawGroup<'_>]) {
    let mut by_name = BTreeMap::new();
    for (i, group) in groups.iter().enumerate() {
        if let Some(name) = group.name {
            by_name.entry(name).or_insert(i);
        }
    }
    let mut base = Vec::new();
    for group in groups.iter_mut() {
        let found = group.like.map(|like| by_name.get(like).copied().ok_or(like));
        base.push(match found {
            Some(Ok(index)) => Some(index),
            Some(Err(like)) => {
                group.settled = false;
                let others: Vec<&str> = by_name.keys().copied().filter(|name| Some(*name) != group.name).collect();
                let flaw = unknown_group(log, like, others.iter().copied());
                group.table.report_at(log, "like", flaw);
                None
            }
            None => None,
        });
    }
    let mut total: usize = groups.iter().map(|g| g.axes.len()).sum();
    let mut state = vec![State::Fresh; groups.len()];
    for start in 0..groups.len() {
        let mut path = Vec::new();
        let mut next = Some(start);
        while let Some(i) = next.filter(|i| state.get(*i) == Some(&State::Fresh)) {
            mark(&mut state, i, State::OnPath);
            path.push(i);
            next = base.get(i).copied().flatten();
        }
        let circle = next.filter(|i| state.get(*i) == Some(&State::OnPath));
        if let Some(group) = circle.and_then(|i| groups.get_mut(i)) {
            group.settled = false;
            let found = format!("\"{}\", which leads back to this group", group.like.unwrap_or_default());
            let flaw = Flaw::new(Code::CircularReference, "like", "`like` forms a circle");
            group.table.report_at(log, "like", flaw.found(found, "a group with its own axes").help("write out the axes of one of them"));
        }
        while let Some(i) = path.pop() {
            take_over(groups, i, base.get(i).copied().flatten(), &mut total);
            mark(&mut state, i, State::Done);
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    Fresh,
    OnPath,
    Done,
}

fn mark(state: &mut [State], index: usize, to: State) {
    if let Some(slot) = state.get_mut(index) {
        *slot = to;
    }
}

fn take_over(groups: &mut [RawGroup<'_>], index: usize, base: Option<usize>, total: &mut usize) {
    let Some(base) = base.and_then(|b| groups.get(b)).filter(|_| base != Some(index)) else { return };
    let (settled, mut axes, table) = (base.settled, base.axes.clone(), base.table.clone());
    for (_, axis) in &mut axes {
        axis.taken_over = true;
    }
    let Some(group) = groups.get_mut(index) else { return };
    if !settled || !group.settled || *total > MOST_AXES {
        group.settled = false;
        return;
    }
    let places: BTreeMap<&str, usize> = axes.iter().enumerate().map(|(i, (name, _))| (*name, i)).collect();
    let before = group.axes.len();
    for (name, own) in core::mem::take(&mut group.axes) {
        match places.get(name).and_then(|i| axes.get_mut(*i)) {
            Some((_, table)) => table.overlay(&own),
            None => axes.push((name, own)),
        }
    }
    *total = *total - before + axes.len();
    group.axes = axes;
    let own = ["name", "like", "axis"];
    let kinds: Vec<&str> = keys::GROUP.names().filter(|key| !own.contains(key)).collect();
    group.table.inherit(&table, &kinds);
}
