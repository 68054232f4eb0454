//! The tables of focus: `[[focus]]` with `camera`, `channel` and `pulls = [[frame, "target"], ...]`.

use core::ops::Range;

use super::keys;
use super::log::Log;
use super::machine_tables::full_name;
use super::names::Names;
use super::reader::Table;
use super::targets::target;
use super::values::{self, TEXT};
use crate::bounds::{Code, Flaw};
use crate::shot::focus::Pull;
use crate::shot::{Focus, FocusSpec};

/// All `[[focus]]` with their headers.
pub(super) fn focuses(log: &mut Log, root: &mut Table<'_>, names: &Names<'_>) -> Vec<(Focus, Range<usize>)> {
    let tables = root.tables(log, "focus", "focus");
    tables.into_iter().filter_map(|table| focus(log, table, names)).collect()
}

fn focus(log: &mut Log, mut table: Table<'_>, names: &Names<'_>) -> Option<(Focus, Range<usize>)> {
    table.reject_unknown_keys(log, &keys::FOCUS);
    let camera = table.need(log, "camera", TEXT, values::text);
    let camera = camera.and_then(|name| names.group_at(log, &mut table, "camera", name));
    let channel = table.need(log, "channel", TEXT, values::text);
    let pulls = pulls(log, &mut table, names);
    let camera = camera?;
    let channel = match names.channel(log, &full_name(names.group_name(camera), channel?)) {
        Ok(channel) => channel,
        Err(flaw) => {
            if let Some(flaw) = flaw {
                table.report_at(log, "channel", flaw);
            }
            return None;
        }
    };
    let place = log.place(table.file, table.header.start);
    match Focus::new(names.stage, FocusSpec { camera, channel, pulls: pulls?, place }) {
        Ok(focus) => Some((focus, table.header)),
        Err(flaws) => {
            // Where the stage has mistakes of its own, a camera or target may be missing for them.
            if names.complete {
                table.flaws(log, flaws, &[]);
            }
            None
        }
    }
}

/// Frames with their targets; `None` where one of them has a mistake.
fn pulls(log: &mut Log, table: &mut Table<'_>, names: &Names<'_>) -> Option<Vec<Pull>> {
    const ALLOWED: &str = "a list of [frame, \"target\"]";
    let rows = table.need(log, "pulls", ALLOWED, values::list)?;
    let mut pulls = Vec::with_capacity(rows.len());
    let mut wrong = false;
    for row in rows {
        let place = log.place(table.file, row.span().start);
        let cells = match values::list(row.get_ref()) {
            Some(cells) if cells.len() == 2 => cells.first().zip(cells.get(1)),
            _ => None,
        };
        let read = cells.and_then(|(frame, name)| Some((values::number(frame.get_ref())?, values::text(name.get_ref())?, name.span())));
        let Some((frame, name, at)) = read else {
            let flaw = Flaw::new(Code::WrongType, "pulls", "an entry of `pulls` has the wrong shape");
            let flaw = flaw.found(values::shown(row.get_ref()), "[frame, \"target\"]: a number and a name in quotes");
            table.report_bytes(log, row.span(), flaw);
            wrong = true;
            continue;
        };
        match target(log, table, names, name, at) {
            Some(target) => pulls.push(Pull { frame, target, place }),
            None => wrong = true,
        }
    }
    Some(pulls).filter(|_| !wrong)
}
