//! Looking up channels and groups by the names that a shot gives.
//!
//! Invariant: an unknown name is a mistake only where all names of the stage are known; behind a stage file that could not be read no name is blamed.

use std::collections::BTreeMap;

use super::log::Log;
use super::reader::Table;
use super::values;
use crate::bounds::{Code, Flaw};
use crate::stage::{ChannelId, GroupId, Stage};

/// The names of a stage.
#[derive(Debug)]
pub(super) struct Names<'s> {
    /// The stage, or a placeholder with the names that could be read.
    pub(super) stage: &'s Stage,
    /// True where these are all the names there are.
    pub(super) complete: bool,
    groups: BTreeMap<&'s str, GroupId>,
    channels: BTreeMap<GroupId, Locals<'s>>,
    none: Locals<'s>,
}

/// Channels of a group by their names within it.
type Locals<'s> = BTreeMap<&'s str, ChannelId>;

impl<'s> Names<'s> {
    /// The names of `stage`.
    pub(super) fn new(stage: &'s Stage, complete: bool) -> Names<'s> {
        let groups: BTreeMap<&str, GroupId> = stage.group_ids().map(|id| (stage.group_name(id), id)).collect();
        let mut channels: BTreeMap<GroupId, Locals<'s>> = BTreeMap::new();
        for full in stage.channel_names() {
            let Some((group, local)) = full.split_once('.') else { continue };
            if let (Some(group), Some(id)) = (groups.get(group), stage.channel(full)) {
                channels.entry(*group).or_default().insert(local, id);
            }
        }
        Names { stage, complete, groups, channels, none: Locals::new() }
    }

    /// The channel of this name. `Err(None)` where it is unknown but may exist.
    pub(super) fn channel(&self, log: &mut Log, name: &str) -> Result<ChannelId, Option<Flaw>> {
        if let Some(channel) = self.stage.channel(name) {
            return Ok(channel);
        }
        if !self.complete {
            return Err(None);
        }
        Err(Some(unknown_channel(log, self.stage, name)))
    }

    /// The channel of this name in a group; the name has no group in it. `Err(None)` where it is unknown but may exist.
    pub(super) fn local_channel(&self, log: &mut Log, group: GroupId, name: &str) -> Result<ChannelId, Option<Flaw>> {
        let known = self.channels_of(group);
        if let Some(channel) = known.get(name) {
            return Ok(*channel);
        }
        if !self.complete {
            return Err(None);
        }
        let of = self.group_name(group);
        if self.stage.axis_of_name(&format!("{of}.{name}")).is_some() {
            // A mechanism drives an axis of that name: the same advice, with the group's name in it.
            return Err(Some(unknown_channel(log, self.stage, &format!("{of}.{name}"))));
        }
        let flaw = Flaw::new(Code::UnknownChannel, "channel", format!("`{of}` has no such channel")).found(
            values::quoted(name),
            format!("a channel of `{of}`, without the group's name: {}", values::names(known.keys().copied())),
        );
        let last = name.rsplit('.').next().unwrap_or(name);
        let near = known.get_key_value(last).map(|(k, _)| *k).or_else(|| log.nearest(last, known.keys().copied()));
        Err(Some(match near {
            Some(near) => flaw.help(format!("write \"{near}\"")),
            None => flaw.help("a routine names channels without their group"),
        }))
    }

    /// The group of this name. `Err(None)` where it is unknown but may exist.
    pub(super) fn group(&self, log: &mut Log, name: &str) -> Result<GroupId, Option<Flaw>> {
        match self.groups.get(name) {
            Some(group) => Ok(*group),
            None if self.complete => Err(Some(unknown_group(log, name, self.groups.keys().copied()))),
            None => Err(None),
        }
    }

    /// The group that a key of a table names; a mistake is recorded at the key.
    pub(super) fn group_at(&self, log: &mut Log, table: &mut Table<'_>, key: &'static str, name: &str) -> Option<GroupId> {
        match self.group(log, name) {
            Ok(group) => Some(group),
            Err(flaw) => {
                if let Some(flaw) = flaw {
                    table.report_at(log, key, flaw);
                }
                None
            }
        }
    }

    /// The groups that a key lists, each once.
    pub(super) fn groups_at(&self, log: &mut Log, table: &mut Table<'_>, key: &'static str) -> Vec<GroupId> {
        const ALLOWED: &str = "names of groups of the stage, [\"...\", \"...\"]";
        let mut groups = Vec::new();
        let Some(list) = table.take(log, key, ALLOWED, values::list) else { return groups };
        for value in list {
            let Some(name) = values::text(value.get_ref()) else {
                table.report_bytes(
                    log,
                    value.span(),
                    Flaw::new(Code::WrongType, key, format!("an entry of `{key}` is not a name"))
                        .found(values::shown(value.get_ref()), ALLOWED),
                );
                continue;
            };
            match self.group(log, name) {
                Ok(group) if groups.contains(&group) => {}
                Ok(group) => groups.push(group),
                Err(Some(flaw)) => table.report_bytes(log, value.span(), flaw),
                Err(None) => {}
            }
        }
        groups
    }

    /// Some group of the stage, for looking at the other keys of a table whose group is unknown.
    pub(super) fn any_group(&self) -> GroupId {
        self.stage.any_group()
    }

    /// Some channel of the stage, likewise.
    pub(super) fn any_channel(&self) -> ChannelId {
        self.stage.any_channel()
    }

    /// The name of a group.
    pub(super) fn group_name(&self, group: GroupId) -> &'s str {
        self.stage.group_name(group)
    }

    /// The channels of a group by their names within it.
    pub(super) fn channels_of(&self, group: GroupId) -> &Locals<'s> {
        self.channels.get(&group).unwrap_or(&self.none)
    }
}

/// The flaw that a channel's name is not known.
pub(super) fn unknown_channel<'s>(log: &mut Log, stage: &'s Stage, name: &str) -> Flaw {
    let known = stage.channel_names();
    if let Some(channels) = stage.axis_of_name(name).map(|axis| stage.channels_of(axis)) {
        let named: Vec<String> = channels.iter().map(|c| values::quoted(stage.channel_name(*c))).collect();
        let flaw = Flaw::new(Code::UnknownChannel, "channel", format!("a mechanism drives the axis `{name}`, so it is no channel"));
        return flaw
            .found(values::quoted(name), "a channel of the mechanism")
            .help(format!("animate {}: the mechanism computes the axis", named.join(" or ")));
    }
    let flaw = Flaw::new(Code::UnknownChannel, "channel", "the stage has no such channel")
        .found(values::quoted(name), format!("a channel of the stage: {}", values::names(known.iter().map(String::as_str))));
    let end = format!(".{name}");
    let mut same_end = known.iter().filter(|k| !name.contains('.') && k.ends_with(&end));
    let near = match (same_end.next(), same_end.next()) {
        (Some(only), None) => Some(only.as_str()),
        _ => match name.split_once('.') {
            // Within a group that exists, only the second half can be the slip.
            Some((group, local)) if stage.groups().iter().any(|g| g.name() == group) => {
                let of = |full: &&'s String| full.split_once('.').is_some_and(|(g, _)| g == group);
                let locals: Vec<&str> = known.iter().filter(of).filter_map(|full| full.split_once('.')).map(|(_, local)| local).collect();
                let near = log.nearest(local, locals.into_iter());
                near.and_then(|near| known.iter().filter(of).find(|full| full.split_once('.').is_some_and(|(_, l)| l == near)))
                    .map(String::as_str)
            }
            _ => log.nearest(name, known.iter().map(String::as_str)),
        },
    };
    match near {
        Some(near) => flaw.help(format!("write \"{near}\"")),
        None => flaw.help("channels are named group.axis, as in the stage file"),
    }
}

/// The flaw that a group's name is not known.
pub(super) fn unknown_group<'n>(log: &mut Log, name: &str, known: impl ExactSizeIterator<Item = &'n str> + Clone) -> Flaw {
    let flaw = Flaw::new(Code::UnknownGroup, "", "the stage has no such group")
        .found(values::quoted(name), format!("a group of the stage: {}", values::names(known.clone())));
    match log.nearest(name, known) {
        Some(near) => flaw.help(format!("write \"{near}\"")),
        None => flaw.help("name a group as the stage file does"),
    }
}
