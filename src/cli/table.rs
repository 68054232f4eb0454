//! The check as text: the passes, what is exceeded with what would help, what the passes share, notes, the verdict.
//!
//! What: passes that share a move share their lines, and the axes of all passes are one table, the most used first; with `--all` each pass has its own lines, with
//! every axis and every violation. Form: lines of 80 columns that survive a narrow window and a printer; one accent, for exceeded limits.

use super::axes_table;
use super::haze_text;
use super::notes_text;
use super::passes_text;
use super::show::{Show, accent};
use super::wrap::{self, text_line as line};
use crate::check::{Report, folded, roots, words};
use crate::number::directed::{self, Places};
use crate::output::manifest::NOTICE;

/// The whole text, ending in a line feed.
pub(super) fn text(report: &Report, show: Show) -> String {
    let mut t = String::new();
    let (stage, shot) = (report.compiled.stage(), report.compiled.shot());
    let frames = shot.frames();
    line(
        &mut t,
        &format!(
            "{}: {}, frames {} to {} at {} frames/s",
            shot.name(),
            words::axes(stage.axes().len()),
            frames.first(),
            frames.last(),
            shot.frame_rate()
        ),
    );
    line(&mut t, "");
    passes_text::table(&mut t, report);
    exceeded(&mut t, report, show);
    if show.all {
        for pass in &report.passes {
            line(&mut t, "");
            line(&mut t, &format!("pass {}", pass.name()));
            passes_text::facts(pass, show).iter().for_each(|fact| line(&mut t, fact));
            axes_table::of_pass(&mut t, pass);
        }
    } else {
        passes_text::shared(&mut t, report, show);
        axes_table::of_all(&mut t, report);
    }
    haze_text::add(&mut t, report, show);
    if !report.registration.pairs.is_empty() {
        line(&mut t, "");
    }
    registration(&mut t, report);
    if !report.notes.is_empty() {
        line(&mut t, "");
        line(&mut t, "Notes (no limit exceeded)");
        notes_text::add(&mut t, report, show);
    }
    line(&mut t, "");
    let over: usize = report.passes.iter().map(|p| p.violations.len()).sum();
    line(&mut t, &if over == 0 { words::WITHIN.to_owned() } else { accent(&words::exceeded(over)) });
    wrap::line(&mut t, NOTICE, 0);
    t
}

/// Every cause of exceeded limits with its fixes and how much follows from it; with `--all` what follows too.
fn exceeded(t: &mut String, report: &Report, show: Show) {
    let roots = roots::roots(report);
    if roots.is_empty() {
        return;
    }
    line(t, "");
    let shown = if show.all { roots.len() } else { roots.len().min(FEW_CAUSES) };
    for root in roots.iter().take(shown) {
        wrap::line(t, &format!("{} {}", accent("exceeded:"), folded::lead(report, root)), 2);
        let (_, v) = root.lead;
        for fix in v.fixes.iter().filter(|f| !root.too_fast || f.is_pace()) {
            wrap::line(t, &format!("  fix (tested): {}", words::fix(&report.compiled, v, fix)), 2);
        }
        if show.all {
            for (pass, v) in &root.rest {
                let name = report.passes.get(*pass).map(crate::check::PassReport::name).unwrap_or_default();
                wrap::line(t, &format!("  with it, pass {name}: {}", words::violation(&report.compiled, v)), 2);
                for fix in &v.fixes {
                    wrap::line(t, &format!("    fix (tested): {}", words::fix(&report.compiled, v, fix)), 2);
                }
            }
        } else if let Some(rest) = folded::consequences(report, root) {
            wrap::line(t, &format!("  {rest} (--all)"), 2);
        }
    }
    if shown < roots.len() {
        line(t, &format!("and {} (--all)", words::count(u64::try_from(roots.len() - shown).unwrap_or(u64::MAX), "more cause")));
    }
}

/// Causes shown without `--all`.
const FEW_CAUSES: usize = 6;

/// Which passes match: pairs of which the same is to be said share a sentence.
fn registration(t: &mut String, report: &Report) {
    let stage = report.compiled.stage();
    let apart = stage.axis_ids().filter_map(|id| report.lag_between_paces[id].map(|s| (id, s)));
    if let Some((axis, steps)) = apart.filter(|(_, s)| *s > LAG_SHOWN).max_by(|a, b| a.1.total_cmp(&b.1)) {
        line(
            t,
            &format!(
                "rotor lag: passes of different pace may differ by up to {} steps ({})",
                directed::up(steps, Places::Decimals(2)),
                stage.axis_name(axis)
            ),
        );
    }
    let name = |i: usize| report.passes.get(i).map(crate::check::PassReport::name).unwrap_or_default();
    let mut said: Vec<(String, Vec<String>, bool)> = Vec::new();
    for pair in &report.registration.pairs {
        let how = words::how_they_match(report, pair);
        let who = format!("{}-{}", name(pair.first), name(pair.second));
        match said.iter_mut().find(|(known, ..)| *known == how) {
            Some((_, pairs, _)) => pairs.push(who),
            None => said.push((how, vec![who], pair.misses.is_empty())),
        }
    }
    for (how, pairs, registers) in said {
        let text = format!("{}: {how}", pairs.join(", "));
        line(t, &if registers { text } else { accent(&text) });
    }
}

/// Steps of rotor lag between passes below which nothing is said: a hundredth of a step is no mismatch anybody sees.
const LAG_SHOWN: f64 = 0.01;
