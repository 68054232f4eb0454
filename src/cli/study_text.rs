//! A study as text: the recording, the drives with what they leave over, what each does, and the hinges.

use super::wrap::{self, text_line as line};
use crate::bounds::counted;
use crate::number::figures;
use crate::study::hinges::LEAST_SWEEP;
use crate::study::performance::Performance;
use crate::study::rig::{Left, Rig, Used};
use crate::study::{Markers, Plays, Study, shown};

/// Drives in the table.
const SHOWN: usize = 12;

/// Markers of a drive that are named.
const NAMED: usize = 4;

/// Gaps of a marker that are listed.
const LISTED: usize = 6;

/// The whole text, ending in a line feed.
pub(super) fn text(file: &str, markers: &Markers, study: &Study, body: &[usize], within: Option<f64>, plays: &Plays<'_>) -> String {
    let mut t = String::new();
    let name = |i: &usize| markers.names().get(*i).map_or("", String::as_str);
    let (first, last) = (markers.times().first().copied().unwrap_or(0.0), markers.times().last().copied().unwrap_or(0.0));
    let rows = markers.times().len();
    line(
        &mut t,
        &format!(
            "{file}: {} of {} in {}-D, {first:.3} s to {last:.3} s",
            counted(rows, "row"),
            counted(markers.names().len(), "marker"),
            markers.dimensions()
        ),
    );
    if let Some(step) = markers.slow_step() {
        let what = format!(
            "Rows are {step:.3} s apart. If the times are milliseconds, divide them by 1000; if they are frames, by the frame rate"
        );
        wrap::line(&mut t, &what, 2);
    }
    gaps(&mut t, markers, rows - study.rows.len());
    match body {
        [] => line(&mut t, "Positions as recorded: no rigid motion was removed (--body names the markers of the body)"),
        [only] => line(&mut t, &format!("Positions relative to {}: one marker, so its turn stays in", name(only))),
        _ => line(&mut t, &format!("Rigid motion removed of {}", body.iter().map(name).collect::<Vec<_>>().join(", "))),
    }
    line(
        &mut t,
        &match study.period {
            Some(period) => format!("One beat takes {period:.3} s"),
            None => "No beat: the motion does not repeat within half of the recording, or the rows have no even clock".to_owned(),
        },
    );
    line(
        &mut t,
        &match study.rank {
            Some(rank) => format!(
                "{} the noise of the recording",
                match rank {
                    0 => "No drive moves more than".to_owned(),
                    1 => "1 drive moves more than".to_owned(),
                    _ => format!("{rank} drives move more than"),
                }
            ),
            None => "Noise unknown: six complete rows must follow each other, a few times".to_owned(),
        },
    );
    line(&mut t, "");
    line(&mut t, "drives       rms      worst marker");
    for r in study.residuals.iter().take(SHOWN) {
        line(&mut t, &format!("{:>6}  {:>9.3} mm  {:>9.3} mm", r.n, r.rms, r.worst));
    }
    let more = study.residuals.len().saturating_sub(SHOWN);
    if more > 0 {
        line(&mut t, &format!("{more} more (--json)"));
    }
    if let Some(within) = within {
        line(&mut t, "");
        line(
            &mut t,
            &match study.needed(within) {
                Some(n) => format!(
                    "{} within {}",
                    if n == 1 { "1 drive stays".to_owned() } else { format!("{n} drives stay") },
                    figures::figure(within, "mm")
                ),
                None => format!("No number of drives stays within {}", figures::figure(within, "mm")),
            },
        );
    }
    if let Some(played) = plays.drives {
        routine(&mut t, played);
    }
    line(&mut t, "");
    for drive in 0..study.described() {
        what(&mut t, markers, study, drive);
    }
    for lag in &study.lags {
        let as_what = if lag.correlation < 0.0 { "mirrored, " } else { "" };
        let (follows, leads) = (lag.follows + 1, lag.leads + 1);
        wrap::line(
            &mut t,
            &format!(
                "Drive {follows} follows drive {leads}, {as_what}{:.3} s later (correlation {:.3})",
                lag.seconds,
                lag.correlation.abs()
            ),
            2,
        );
    }
    line(&mut t, "");
    hinges(&mut t, markers, study);
    if let Some(rig) = plays.rig {
        line(&mut t, "");
        figure(&mut t, markers, rig);
    }
    if let Some(beat) = plays.beat {
        let (worst, held_out) = (figures::most(beat.worst, "mm"), figures::most(beat.held_out, "mm"));
        line(&mut t, "");
        wrap::line(
            &mut t,
            &format!(
                "Routine: {}, a beat of {} keys for each; no marker is more than {worst} off",
                counted(beat.channels.len(), "channel"),
                beat.keys()
            ),
            2,
        );
        wrap::line(&mut t, &format!("Every second beat, left out of the fit: at most {held_out} off"), 2);
    }
    t
}

/// How well a figure of the stage follows, and what each of its axes is for.
fn figure(t: &mut String, markers: &Markers, rig: &Rig<'_>) {
    let left = |left: &Left| format!("{} rms, worst marker {}", figures::figure(shown(left.rms), "mm"), figures::most(left.worst, "mm"));
    let what = format!(
        "{} with {}, in {}: {}",
        rig.group,
        if rig.axes.len() == 1 { "1 axis".to_owned() } else { format!("{} axes", rig.axes.len()) },
        counted(rig.rows, "row"),
        left(&rig.left)
    );
    wrap::line(t, &what, 2);
    for on in &rig.markers {
        let name = markers.names().get(on.marker).map_or("", String::as_str);
        wrap::line(t, &format!("  {name} is on {}: {}", on.on, left(&on.left)), 4);
    }
    line(t, "");
    line(t, "without                    rms   worst marker");
    let mut axes: Vec<&Used> = rig.axes.iter().collect();
    let lost = |axis: &Used| axis.without.map_or(f64::INFINITY, |left| left.rms);
    axes.sort_by(|a, b| lost(a).total_cmp(&lost(b)));
    for axis in &axes {
        match &axis.without {
            Some(left) => line(t, &format!("{:<20} {:>9.3} mm {:>9.3} mm", axis.axis, left.rms, left.worst)),
            None => line(t, &format!("{:<20} no place without it", axis.axis)),
        }
    }
    line(t, "");
    for axis in &rig.axes {
        let [low, high] = axis.range;
        let ends = match axis.at_end {
            0 => "travel is enough".to_owned(),
            n => format!("at an end of its travel in {}", counted(n, "row")),
        };
        let times = axis.fastest / axis.allowed;
        let slower = if times > 1.0 { format!("; its velocity needs {times:.1} times the time of the performance") } else { String::new() };
        wrap::line(t, &format!("{}: {low:.1} to {high:.1} {}, {ends}{slower}", axis.axis, axis.unit), 2);
    }
    line(t, "Not checked here: taut wires, acceleration, jerk, clearance. `check` of a shot does");
}

/// The axes about which markers turn, as lines of a stage file.
fn hinges(t: &mut String, markers: &Markers, study: &Study) {
    if study.hinges.is_empty() {
        let what = format!("No hinge: no marker turns by {LEAST_SWEEP} deg or more about an axis of the body that the recording fixes");
        return wrap::line(t, &what, 2);
    }
    for (i, hinge) in study.hinges.iter().enumerate() {
        let of = |(marker, radius): &(usize, f64)| format!("{} at {radius:.1} mm", markers.names().get(*marker).map_or("", String::as_str));
        let named: Vec<String> = hinge.markers.iter().take(NAMED).map(of).collect();
        let more = hinge.markers.len().saturating_sub(NAMED);
        let more = if more > 0 { format!(" and {more} more (--json)") } else { String::new() };
        let [low, high] = hinge.range;
        let sure = if markers.dimensions() == 2 {
            String::new()
        } else {
            format!("; standard error of the axis {}", figures::most(hinge.axis_error, "deg"))
        };
        let what = format!(
            "Hinge {}: {}{more}; {low:+.1} to {high:+.1} deg from the first complete row; {} rms off, at most {}{sure}",
            i + 1,
            named.join(", "),
            figures::figure(shown(hinge.rms), "mm"),
            figures::most(hinge.worst, "mm"),
        );
        wrap::line(t, &what, 2);
    }
    line(t, "As limbs of a stage file, in the axes of the recording's first complete row:");
    for (i, hinge) in study.hinges.iter().enumerate() {
        // Adding zero makes a zero of minus zero.
        let numbers =
            |of: [f64; 3], unit: f64, digits: usize| of.map(|x| format!("{:.digits$}", (x / unit).round() * unit + 0.0)).join(", ");
        line(t, "");
        line(t, "[[group.limb]]");
        line(t, &format!("name = \"limb_{}\"", i + 1));
        line(t, &format!("pivot = [{}]", numbers(hinge.pivot, 0.1, 1)));
        line(t, &format!("turn = [{}]", numbers(hinge.turn, 1e-4, 4)));
        line(t, &format!("channel = \"limb_{}\"", i + 1));
    }
}

fn routine(t: &mut String, played: &Performance) {
    let keys = played.beat.as_ref().map(|(beat, _)| format!("a beat of {} keys for each", beat.keys(0).len()));
    let curves = played.recorded.as_ref().map(|r| format!("recorded curves within {}", figures::most(r.within, "mm")));
    let what: Vec<String> = [keys, curves].into_iter().flatten().collect();
    wrap::line(
        t,
        &format!(
            "Routine: {}, {}; no marker is more than {} off",
            counted(played.drives, "drive"),
            what.join(" and "),
            figures::most(played.worst, "mm")
        ),
        2,
    );
    if let Some(held_out) = played.held_out {
        let with = if played.recorded.is_some() { " with the beats alone" } else { "" };
        wrap::line(t, &format!("Every second beat, left out of the fit: at most {} off{with}", figures::most(held_out, "mm")), 2);
    }
}

fn gaps(t: &mut String, markers: &Markers, rows: usize) {
    if rows == 0 {
        return line(t, "No gaps");
    }
    line(
        t,
        &format!(
            "{} gaps and {} left out:",
            if rows == 1 { "1 row has".to_owned() } else { format!("{rows} rows have") },
            if rows == 1 { "is" } else { "are" }
        ),
    );
    for (marker, lines) in markers.gaps() {
        let listed: Vec<String> =
            lines.iter().take(LISTED).map(|[from, to]| if from == to { from.to_string() } else { format!("{from} to {to}") }).collect();
        let more = lines.len().saturating_sub(LISTED);
        let more = if more > 0 { format!(" and {more} more (--json)") } else { String::new() };
        wrap::line(
            t,
            &format!(
                "  {marker}: {} {}{more}",
                if listed.len() == 1 && !listed.concat().contains("to") { "line" } else { "lines" },
                listed.join(", ")
            ),
            4,
        );
    }
}

fn what(t: &mut String, markers: &Markers, study: &Study, drive: usize) {
    let reaches = study.drives.reaches(drive, markers.dimensions());
    let farthest = reaches.first().map_or(0.0, |r| r.travel);
    // What moves less than a tenth of the farthest is not what the drive is for.
    let moved: Vec<String> = reaches
        .iter()
        .filter(|r| r.travel >= 0.1 * farthest)
        .take(NAMED)
        .map(|r| {
            let direction: Vec<String> = r.direction.iter().map(|x| format!("{x:+.2}")).collect();
            let name = markers.names().get(r.marker).map_or("", String::as_str);
            format!("{name} {:.1} mm along ({})", r.travel, direction.join(" "))
        })
        .collect();
    wrap::line(t, &format!("Drive {}: {}", drive + 1, moved.join(", ")), 2);
}
