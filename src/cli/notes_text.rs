//! The notes as text: one kind after the other, of each kind the first, and how many more there are; all of them, and those that
//! ask nothing of anybody, with `--all`.

use super::show::Show;
use super::wrap::text_line as line;
use crate::check::{Note, Report, words};

/// Adds the notes.
pub(super) fn add(t: &mut String, report: &Report, show: Show) {
    let stage = report.compiled.stage();
    let mut kinds: Vec<&str> = Vec::new();
    for n in &report.notes {
        if !kinds.contains(&n.kind.name()) {
            kinds.push(n.kind.name());
        }
    }
    for kind in kinds {
        let shown = |n: &&Note| n.kind.name() == kind && (show.all || !n.asks_nothing());
        let all: Vec<&Note> = report.notes.iter().filter(shown).collect();
        // Kinds that say the same of every axis are one list of names.
        let shared = match kind {
            "never_moves" => Some("never move in the photographed span"),
            "torque_unchecked" => Some("torque not checked: no load, rotor inertia or torque table in the stage file"),
            _ => None,
        };
        if let (Some(what), true) = (shared, all.len() > 1) {
            let names: Vec<&str> = all.iter().filter_map(|n| n.axis).map(|id| stage.axis_name(id)).collect();
            let shown = if show.all { names.len() } else { names.len().min(FEW_NAMES) };
            let more = if shown < names.len() { format!(" and {} more (--all)", names.len() - shown) } else { String::new() };
            line(t, &format!("  {what}: {}{more}", names.iter().take(shown).copied().collect::<Vec<_>>().join(", ")));
            continue;
        }
        let shown = if show.all || all.len() <= FEW_NOTES { all.len() } else { 1 };
        for (i, n) in all.iter().take(shown).enumerate() {
            let more = if i + 1 == shown && shown < all.len() { format!("; {} more (--all)", all.len() - shown) } else { String::new() };
            line(t, &format!("  {}{more}", words::note(&report.compiled, n)));
        }
    }
}

/// Axes of one kind of note named without `--all`.
const FEW_NAMES: usize = 4;

/// Notes of one kind that are all shown without `--all`; of more only the first.
const FEW_NOTES: usize = 2;
