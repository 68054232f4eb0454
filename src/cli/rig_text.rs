//! The axis calibration sheet as text, the blank table of readings, and what a measurement says.
//!
//! Form: lines of 80 columns that survive a printer; one accent, for what the stage file has wrong.

use super::show::accent;
use super::wrap::{self, text_line as line};
use crate::bounds::counted;
use crate::number::figures::{distinct, figure};
use crate::number::whole;
use crate::output::rig_json::Measured;
use crate::rig::calibration::{Calibration, Finding};
use crate::rig::fit::Estimate;
use crate::rig::residual::Shape;
use crate::rig::targets::Targets;
use crate::rig::{Approach, AxisSheet};

/// Columns of a label.
const LABEL: usize = 15;

/// Positions in one line.
const ACROSS: usize = 3;

/// The sheets of some axes, and how to measure.
pub(super) fn sheets(stage: &str, file: &str, sheets: &[AxisSheet<'_>]) -> String {
    let mut t = String::new();
    line(&mut t, &format!("{stage}: axis calibration sheet, {}", counted(sheets.len(), "axis")));
    for sheet in sheets {
        one(&mut t, sheet);
    }
    line(&mut t, "");
    let example = sheets.iter().find(|s| s.targets.is_some()).map_or("GROUP.AXIS", |s| s.name);
    line(&mut t, "How to measure. Keep people clear of the load: axes start without warning.");
    line(&mut t, "1. Home the axis. Drive it to the lower end of its travel.");
    line(
        &mut t,
        "2. Stop at each position on the way up and read the gauge. Drive on to the upper end, and stop at each position on the way down.",
    );
    line(&mut t, "3. Write one row per reading: commanded,measured,direction. The direction is + on the way up and - on the way down.");
    line(&mut t, "The table to fill in, and what it says:");
    line(&mut t, &format!("  movewright rig {file} --axis {example} --blank > {example}.csv"));
    line(&mut t, &format!("  movewright rig {file} --measured {example}.csv"));
    t
}

fn one(t: &mut String, sheet: &AxisSheet<'_>) {
    let (axis, drive, unit) = (sheet.axis, sheet.axis.drive(), sheet.axis.unit().symbol());
    line(t, "");
    line(t, sheet.name);
    let number = plain(sheet.steps_per_unit());
    let exact = match &sheet.fraction {
        Some(fraction) if fraction.to_string() == number => format!("{number} exactly"),
        Some(fraction) => format!("{fraction} exactly, about {number}"),
        None => format!("about {number}"),
    };
    entry(t, &format!("steps per {unit}"), &exact);
    let (full, micro, gear, turn) = (drive.full_steps_per_rev(), drive.microsteps(), drive.gear_ratio(), drive.travel_per_rev());
    entry(t, "from", &format!("{full} full steps x {micro} microsteps x gear {gear} / {turn} {unit} per turn"));
    let worth = |x: f64| figure(x, unit);
    entry(
        t,
        "one step",
        &format!("{}; one full step {}, one motor turn {}", worth(sheet.step()), worth(sheet.full_step()), worth(sheet.motor_turn())),
    );
    let direction = if drive.is_reversed() { "positive travel counts down (reverse = true)" } else { "positive travel counts up" };
    entry(t, "direction", direction);
    entry(t, "home", &format!("{} {unit} is step 0", axis.home()));
    let [low, high] = sheet.travel_steps;
    entry(t, "travel", &format!("{} to {} {unit}, step {low} to {high}", axis.travel().lower, axis.travel().upper));
    entry(t, "motor", sheet.motor().unwrap_or("no name"));
    let backlash = axis.backlash().map(|b| format!("{b} {unit} ({})", steps(b * sheet.steps_per_unit())));
    entry(t, "backlash", &backlash.unwrap_or("not in the stage file".to_owned()));
    match &sheet.targets {
        Some(targets) => positions(t, targets, unit),
        None => entry(t, "measure at", "no position: backlash or steps are too large for the travel"),
    }
}

fn positions(t: &mut String, targets: &Targets, unit: &str) {
    let count = counted(targets.targets.len(), "position");
    let times = if targets.approaches == 1 { "once".to_owned() } else { format!("{} times", targets.approaches) };
    let fewer = targets.wanted.map(|n| format!("; {n} would be usual for this travel")).unwrap_or_default();
    entry(t, "measure at", &format!("{count} ({unit} = step), {times} from below and {times} from above{fewer}"));
    let decimals = targets.targets.iter().map(|t| format!("{}", t.position)).filter_map(|p| p.split_once('.').map(|(_, d)| d.len())).max();
    let cells: Vec<[String; 2]> =
        targets.targets.iter().map(|t| [format!("{:.*}", decimals.unwrap_or(0), t.position), t.steps.to_string()]).collect();
    let width = |i: usize| cells.iter().filter_map(|c| c.get(i)).map(String::len).max().unwrap_or(0);
    let (wide, deep) = (width(0), width(1));
    for row in cells.chunks(ACROSS) {
        let cells: Vec<String> = row.iter().map(|[position, steps]| format!("{position:>wide$} = {steps:>deep$}")).collect();
        line(t, &format!("  {:LABEL$}{}", "", cells.join("   ")));
    }
}

fn entry(t: &mut String, label: &str, text: &str) {
    wrap::line(t, &format!("  {label:LABEL$}{text}"), LABEL);
}

/// The table of readings with blank cells, in the order of the run.
pub(super) fn blank(targets: &Targets) -> String {
    let mut t = "commanded,measured,direction\n".to_owned();
    for _ in 0..targets.approaches {
        for target in &targets.targets {
            t.push_str(&format!("{},,+\n", target.position));
        }
        for target in targets.targets.iter().rev() {
            t.push_str(&format!("{},,-\n", target.position));
        }
    }
    t
}

/// What a measurement of an axis says.
pub(super) fn measured(sheet: &AxisSheet<'_>, measured: &Measured<'_>) -> String {
    let (mut t, unit, c) = (String::new(), sheet.axis.unit().symbol(), measured.calibration);
    let (readings, positions) = (measured.measurement.readings().len(), measured.measurement.targets().len());
    let blank = if measured.blank > 0 { format!("; {} without a reading", counted(measured.blank, "row")) } else { String::new() };
    line(&mut t, &format!("{}: {} at {}{blank}", sheet.name, counted(readings, "reading"), counted(positions, "position")));
    line(&mut t, "+- is one standard error");
    line(&mut t, "");
    let of_steps = sheet.steps_per_unit();
    let scale = c.fit.slope;
    let said = plain(of_steps);
    entry(&mut t, &format!("steps per {unit}"), &format!("{}; stage file {said}", with_error(c.steps_per_unit, "")));
    entry(&mut t, "scale", &format!("{} per {unit} commanded", with_error(scale, unit)));
    match c.backlash {
        Some(b) => {
            let stated = sheet.axis.backlash().map_or("none".to_owned(), |b| format!("{b} {unit}"));
            entry(&mut t, "backlash", &format!("{}, {}; stage file {stated}", with_error(b, unit), steps(b.value * of_steps)));
        }
        None => entry(&mut t, "backlash", "not known: all readings are from one side"),
    }
    let gauge = measured.measurement.resolution();
    let gauge = if gauge > 0.0 { format!("; the gauge reads to {}", figure(gauge, unit)) } else { String::new() };
    entry(&mut t, "scatter", &format!("{} about the line{gauge}", small(c.fit.deviation, unit)));
    line(&mut t, "");
    positioning(&mut t, c, unit);
    left(&mut t, c, unit);
    line(&mut t, "");
    if c.agrees() {
        line(&mut t, "The stage file agrees with this measurement.");
    }
    for finding in &c.findings {
        line(&mut t, &found(sheet, c, finding, unit));
    }
    lines(&mut t, sheet, c);
    t
}

fn positioning(t: &mut String, c: &Calibration, unit: &str) {
    line(t, &format!("ISO 230-2, {unit}             as it is   scale and direction corrected"));
    let as_it_is = c.as_it_is.as_ref();
    let value = |x: Option<f64>| x.map_or("-".to_owned(), |x| small(x, ""));
    let mut row = |label: &str, of: &dyn Fn(&crate::rig::positioning::Positioning) -> Option<f64>| {
        line(t, &format!("  {label:23}{:>10}   {:>10}", value(as_it_is.and_then(of)), value(of(&c.corrected))));
    };
    row("reversal B", &|p| p.reversal);
    row("repeatability R", &|p| p.repeatability);
    row("systematic deviation E", &|p| Some(p.systematic));
    row("accuracy A", &|p| p.accuracy);
    if c.corrected.repeatability.is_none() {
        wrap::line(t, "  -: needs two readings or more from either side at every position", 2);
    }
}

fn left(t: &mut String, c: &Calibration, unit: &str) {
    let name = |shape: &Shape| match shape {
        Shape::Bow => "a bow".to_owned(),
        Shape::MotorTurn(p) => format!("a wave of one motor turn ({})", figure(*p, unit)),
        Shape::OutputTurn(p) => format!("a wave of one output turn ({})", figure(*p, unit)),
    };
    if c.residual.patterns.is_empty() && c.residual.uneven.is_none() {
        wrap::line(t, "What is left of the deviations is noise, or less than half a step.", 2);
    }
    if !c.residual.not_judged.is_empty() {
        let names: Vec<String> = c.residual.not_judged.iter().map(name).collect();
        wrap::line(t, &format!("These positions cannot show {}.", names.join(" or ")), 2);
    }
    if !c.residual.targets_judged {
        wrap::line(t, "Too few positions were measured more than once to show a single bad place.", 2);
    }
}

fn found(sheet: &AxisSheet<'_>, c: &Calibration, finding: &Finding, unit: &str) -> String {
    let ratio = c.fit.slope.value.abs();
    let (what, text) = match finding {
        Finding::Scale => {
            let off = 100.0 * (ratio - 1.0);
            let far = if off > 0.0 { "too far" } else { "too short" };
            let hint = simple_ratio(ratio, c.fit.slope.error).map(|hint| format!(". {hint}")).unwrap_or_default();
            ("wrong scale", format!("{} moves {} % {far}{hint}", sheet.name, figure(off.abs(), "")))
        }
        Finding::Sign => ("wrong sign", format!("{} moves the other way than it is commanded", sheet.name)),
        Finding::Backlash => {
            let (now, was) = (c.backlash.map_or(0.0, |b| b.value), sheet.axis.backlash());
            let (now, was) = (distinct(now, was.unwrap_or(0.0), unit), was);
            let was = if was.is_some() { format!("the stage file says {}", now.1) } else { "the stage file gives none".to_owned() };
            ("wrong backlash", format!("{} has {}; {was}", sheet.name, now.0))
        }
        Finding::Sides => (
            "wrong sides",
            format!("{} reads more from below than from above. No backlash does that: check the column `direction`", sheet.name),
        ),
        Finding::Bow(height) => {
            let more = if *height > 0.0 { "more" } else { "less" };
            ("bow", format!("the middle of the measured travel reads {} {more} than the line between its ends", figure(height.abs(), unit)))
        }
        Finding::Periodic(shape, amplitude) => {
            let (what, period) = match shape {
                Shape::MotorTurn(p) => ("motor turn", *p),
                Shape::OutputTurn(p) => ("output turn", *p),
                Shape::Bow => ("bow", 0.0),
            };
            (
                "wave",
                format!("the deviation repeats with each {what} ({}), up to {} either way", figure(period, unit), figure(*amplitude, unit)),
            )
        }
        Finding::Uneven(u) => {
            let from = if u.approach == Approach::Up { "below" } else { "above" };
            let more = if u.deviation > 0.0 { "more" } else { "less" };
            let (at, off) = (figure(u.position, unit), figure(u.deviation.abs(), unit));
            ("bad place", format!("at {at} from {from} the gauge shows {off} {more} than the rest of the travel lets expect"))
        }
    };
    format!("{} {text}", accent(&format!("{what}:")))
}

/// What a simple ratio points at.
fn simple_ratio(ratio: f64, error: f64) -> Option<String> {
    let near = |x: f64| (ratio / x - 1.0).abs() < (4.0 * error / ratio).max(2e-3);
    if near(25.4) || near(1.0 / 25.4) {
        return Some("This is the ratio of inches to millimetres".to_owned());
    }
    let powers = (1..=8).scan(1.0, |power, _| {
        *power *= 2.0;
        Some(*power)
    });
    let power = powers.into_iter().find(|p| near(*p) || near(1.0 / *p))?;
    Some(format!("This is a factor of {power}: check the microsteps set on the driver"))
}

fn lines(t: &mut String, sheet: &AxisSheet<'_>, c: &Calibration) {
    if c.lines.is_empty() {
        return;
    }
    let (group, axis) = sheet.name.split_once('.').unwrap_or(("", sheet.name));
    line(t, "");
    line(t, &format!("Write into the stage file, group `{group}`, under [[group.axis]] name = \"{axis}\":"));
    let width = c.lines.iter().map(|l| l.key.len() + l.value.len()).max().unwrap_or(0) + 3;
    for l in &c.lines {
        line(t, &format!("  {:width$}   # was {}", format!("{} = {}", l.key, l.value), l.was));
    }
    if c.has(Finding::Scale) {
        let gear = sheet.axis.drive().gear_ratio() / c.fit.slope.value.abs();
        wrap::line(t, &format!("Or keep travel_per_rev, and write gear_ratio = {}", plain(gear)), 2);
    }
}

fn steps(x: f64) -> String {
    let text = figure(x, "");
    format!("{text} {}", if text == "1" { "step" } else { "steps" })
}

/// A figure; what is only rounding of the computation is 0.
fn small(x: f64, unit: &str) -> String {
    figure(if x.abs() < 1e-9 { 0.0 } else { x }, unit)
}

/// A value and its standard error, to two digits of the error and at most ten of the value.
fn with_error(e: Estimate, unit: &str) -> String {
    let (mut decimals, mut place, mut bound) = (0_usize, 10.0, e.value.abs());
    while decimals < 9 && bound < 1e9 && !(place <= e.error) {
        place /= 10.0;
        bound *= 10.0;
        decimals += 1;
    }
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    if e.error < 0.5 * place {
        return format!("{} +- 0{unit}", small(e.value, ""));
    }
    format!("{:.decimals$} +- {:.decimals$}{unit}", e.value, e.error)
}

/// A number to ten digits, without zeros at the end.
fn plain(x: f64) -> String {
    let mut decimals = 9_usize;
    let mut bound = 10.0;
    while decimals > 0 && x.abs() >= bound {
        bound *= 10.0;
        decimals -= 1;
    }
    let text = format!("{x:.decimals$}");
    // What is smaller than that is written in full.
    if whole::nearest(x).is_none() || text.trim_matches(['-', '0', '.']).is_empty() {
        return x.to_string();
    }
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}
