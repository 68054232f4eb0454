//! `movewright pace`: the stop, the exposure, and the pace that follows.

use super::args::PaceArgs;
use super::prepared::prepare;
use super::take;
use super::wrap::text_line as line;
use super::{Outcome, terminal};
use crate::bounds::{Code, counted};
use crate::check::figures::figure;
use crate::check::pace::schedule::Schedule;
use crate::check::pace::{self, Depth, Paces, PassPace};
use crate::output::{pace_json, pass_list};
use crate::time::Seconds;

pub(super) fn run(args: &PaceArgs) -> Outcome {
    let Some(p) = prepare(&args.shot, args.size.budget()) else { return Outcome::Wrong };
    let verdict = if p.report.within_limits() { Outcome::Fine } else { Outcome::Over };
    let paces = pace::paces(&p.report);
    let takes = args.takes.as_deref().map(|record| take::in_record(record, &take::passes_of(p.report.compiled.shot())));
    let takes = match takes.transpose() {
        Ok(takes) => takes,
        Err(flaw) => return terminal::refusal(&flaw),
    };
    if args.csv {
        return match pass_list::text(&p.report.compiled, &paces, takes.as_deref()) {
            Ok(text) => terminal::result(&text, verdict),
            Err(error) => {
                terminal::error(Code::WriteFailed, format!("the list of passes could not be written: {error}"));
                Outcome::Wrong
            }
        };
    }
    if !args.json {
        let mut text = text(&paces);
        if let (Some(record), Some(takes)) = (&args.takes, &takes) {
            line(&mut text, "");
            line(&mut text, &format!("Takes in {}", record.display()));
            text.push_str(&take::lines(takes));
        }
        return terminal::result(&text, verdict);
    }
    match pace_json::text(&p.report.compiled, &paces, takes.as_deref()) {
        Ok(text) => terminal::json(&text, verdict),
        Err(error) => {
            terminal::error(Code::WriteFailed, format!("the paces could not be written as JSON: {error}"));
            Outcome::Wrong
        }
    }
}

fn text(paces: &Paces) -> String {
    let mut t = String::new();
    match &paces.depth {
        Ok(depth) => focus(&mut t, depth),
        Err(why) => line(&mut t, &format!("Depth of field is not computed: {why}")),
    }
    for pass in &paces.passes {
        line(&mut t, "");
        exposure(&mut t, pass);
    }
    line(&mut t, "");
    day(&mut t, &paces.day);
    t
}

fn focus(t: &mut String, d: &Depth) {
    for (what, r) in [("nearest", &d.nearest), ("farthest", &d.farthest)] {
        let proof = if r.tight { "" } else { " (a bound; the search ended early)" };
        line(t, &format!("{what}: {} at {}, frame {:.2}{proof}", r.what, figure(r.mm, "mm"), r.frame.0));
    }
    line(t, &format!("one fixed focus for all of it: {} from the lens, f/{:.1}", figure(d.focus, "mm"), d.fixed));
    if let Some((stop, frame)) = d.followed {
        line(t, &format!("with the focus as it follows: f/{stop:.1}, needed at frame {:.0}", frame.0));
    }
    if let Some(look) = d.look {
        line(t, &format!("the look of full size: f/{look:.1}"));
    }
    match d.advised {
        Some(stop) => line(t, &format!("stop to use: f/{stop:.1}, the next third of a stop")),
        None => line(t, "no stop of the lens is small enough: follow focus, move the camera back, or use a shorter lens"),
    }
    if let Some(airy) = d.diffraction {
        line(t, &format!("  diffraction there is {:.1} um, more than the circle of confusion: the whole picture softens", airy * 1000.0));
    }
}

/// When each pass starts and ends, and what its time goes into.
fn day(t: &mut String, day: &Schedule) {
    line(t, if day.start.is_some() { "The day, passes as written" } else { "All passes as written, counted from the start" });
    for slot in &day.slots {
        let parts = slot.parts.iter().filter(|(_, seconds)| *seconds > 0.0);
        let parts: Vec<String> = parts.map(|(what, seconds)| format!("{what} {}", Seconds(*seconds))).collect();
        line(t, &format!("  {} {}: {}", day.clock(slot.start), slot.pass, parts.join(", ")));
    }
    line(t, &format!("  {} end, {} in all", day.clock(day.seconds()), Seconds(day.seconds())));
}

fn exposure(t: &mut String, p: &PassPace) {
    line(t, &p.pass);
    match (p.exposure, p.by_light, &p.light, p.stop) {
        (Some(seconds), Some(pace), Some(light), Some(stop)) => {
            line(
                t,
                &format!(
                    "  light {light} at f/{stop:.1}: the shutter must be open {}, {} per frame",
                    figure(seconds, "s"),
                    figure(pace, "s")
                ),
            );
        }
        _ => line(t, "  exposure is not computed: it needs [light.NAME], and a stop"),
    }
    if let Some(machine) = p.by_machine {
        let who = if p.by_camera { "the camera has its time" } else { "the machine runs" };
        line(t, &format!("  {who} at {} per frame or slower", figure(machine, "s")));
    } else if p.own_times {
        line(t, "  each frame takes the time that it needs: the pace sets the exposure alone");
    }
    if let Some(off) = p.off {
        line(t, &format!("  as written, {} per frame: {}", figure(p.written, "s"), error(off, p.shutter)));
    }
    for soft in &p.soft {
        let [first, last] = soft.frames;
        line(t, &format!("  out of focus at this stop: {} in {} between {first} and {last}", soft.what, counted(soft.count, "frame")));
    }
    for differs in &p.differs {
        line(t, &format!("  does not match the first pass: {differs}"));
    }
    if let Some(most) = p.blurs.iter().max_by(|a, b| a.greatest.total_cmp(&b.greatest)) {
        let (worst, median) = (figure(most.greatest, "px"), figure(most.median, "px"));
        line(t, &format!("  blur during an exposure: most {}, {worst} at frame {}, {median} in the median", most.what, most.frame));
    }
    match (p.advised, p.why_not) {
        (Some((pace, off)), _) => {
            let machine = if p.by_camera { "the camera" } else { "the machine" };
            let by = if p.own_times || p.by_light > p.by_machine { "light" } else { machine };
            line(t, &format!("  tested pace, set by {by}: seconds_per_frame = {pace:.1} ({})", error(off, None)));
        }
        (None, Some(why)) => line(t, &format!("  no pace is offered: {why}")),
        (None, None) => {}
    }
}

/// How far an exposure is off, and what cures it.
fn error(off: f64, shutter: Option<f64>) -> String {
    if off.abs() < 0.05 {
        return "the exposure is right".to_owned();
    }
    let angle = shutter.filter(|angle| *angle <= 360.0).map_or(String::new(), |angle| format!(", or a shutter of {angle:.0} deg"));
    if off > 0.0 {
        format!("{off:.2} stops over; add ND of density {:.2}{angle}", 0.301 * off)
    } else if angle.is_empty() {
        format!("{:.2} stops under; open the stop, add light or run slower", -off)
    } else {
        format!("{:.2} stops under; open the stop, add light or run slower{angle}", -off)
    }
}
