//! The closing lines of `movewright verify`: what was recomputed, what only a hash vouches for, what was not looked at.
//!
//! Invariant: every part of a folder is in exactly one of the lists.

use crate::verify::Verdict;

/// Each list with its label.
pub(super) fn lists(verdict: &Verdict) -> [(&'static str, Vec<String>); 4] {
    [
        ("recomputed", recomputed(verdict)),
        ("limits judged again", limits(verdict)),
        ("compared by hash only", by_hash(verdict)),
        ("not looked at", not_looked_at(verdict)),
    ]
}

fn recomputed(verdict: &Verdict) -> Vec<String> {
    let scope = &verdict.scope;
    let mut list = Vec::new();
    let mut add = |done: bool, what: &str| {
        if done {
            list.push(what.to_owned());
        }
    };
    add(scope.measured, "positions of axes that were not measured, against the plan");
    add(scope.measured, "shifts.csv at every frame");
    add(scope.measured, "plan.json and measured.json against source/");
    add(scope.columns, "every step and position, to half a step (fitted curves: 1/16 step more)");
    add(scope.columns, "timecode, register of the passes and the manifest");
    add(scope.moves, "times of the moves between held exposures");
    add(scope.poses, "poses, lenses, scene.glb and scene.usda at every frame");
    add(scope.rods, "rods and outlines at opening, middle and closing of every exposure");
    add(scope.silhouettes, "silhouettes over every exposure, within their margins");
    add(scope.haze, "haze.csv at every frame");
    if let Some(rows) = scope.rows {
        list.push(format!("all {rows} rows, during and between exposures, and their shutter"));
    }
    list
}

fn limits(verdict: &Verdict) -> Vec<String> {
    let scope = &verdict.scope;
    let instants = "at 16 instants per frame, 9 per move between held exposures, 65 per leg of the move to start";
    match scope.exceeded {
        _ if scope.limits => {
            let mut list = vec![format!("travel, velocity, acceleration, jerk, step rate, torque, slack wires and clearance, {instants}")];
            if scope.rows.is_some() {
                list.push("velocity and acceleration from row to row".to_owned());
            }
            list
        }
        Some(true) => vec!["the manifest says that limits are exceeded, and so they are".to_owned()],
        Some(false) => vec![format!("the manifest says that limits are exceeded; none was found exceeded {instants}")],
        None => Vec::new(),
    }
}

fn by_hash(verdict: &Verdict) -> Vec<String> {
    let scope = &verdict.scope;
    if scope.measured {
        return vec!["the measured positions (units.csv) of every axis that was measured".to_owned()];
    }
    if !scope.columns {
        return vec!["every listed file".to_owned()];
    }
    vec![format!("comments, holding torques, bands of resonance and gobo openings in source/ ({} files)", scope.sources)]
}

fn not_looked_at(verdict: &Verdict) -> Vec<String> {
    let scope = &verdict.scope;
    if scope.measured {
        let mut list = vec![
            "limits, the return home and everything else that only the folder of the plan has (run `movewright verify` on it)".to_owned(),
        ];
        if !verdict.not_computed.is_empty() {
            list.push(not_found_again(&verdict.not_computed));
        }
        return list;
    }
    if !scope.columns {
        return vec!["everything that needs the stage and the shot in source/".to_owned()];
    }
    let mut list = vec!["limits between these instants and on the return home (`movewright check` proves them)".to_owned()];
    if scope.swings {
        list.push("how far hanging figures swing (`movewright check` computes it)".to_owned());
    }
    if scope.hangs {
        list.push("what the three wires of figures carry (`movewright check` computes it)".to_owned());
    }
    list.push("room to stop after a fault, and what happens without power (`movewright check` computes it)".to_owned());
    list.push("wording of cautions and violations".to_owned());
    if !scope.stated {
        list.push("whether clearances, motors and loads in source/ are those of the check (the manifest does not state them)".to_owned());
    }
    if scope.rows.is_some() {
        list.push("the manifest's figures for controllers that interpolate between rows".to_owned());
    }
    if !verdict.not_computed.is_empty() {
        list.push(not_found_again(&verdict.not_computed));
    }
    list
}

fn not_found_again(axes: &[String]) -> String {
    format!("aimed axes whose angles were not found again: {}", axes.join(", "))
}
