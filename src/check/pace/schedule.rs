//! The day: when each pass starts and ends, and what its time goes into.
//!
//! Invariant: the parts of a pass add up to the time from its start to its end; the next change begins as the pass before is home again. Limits: passes as written, one after the other,
//! each once; nothing is known of breaks and repeats.

use crate::check::report::{PassReport, Report};
use crate::program::Program;

/// A pass in the day. Units: s.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Slot {
    /// Its name.
    pub pass: String,
    /// From the start of the day to the start of its change.
    pub start: f64,
    /// To its return home.
    pub end: f64,
    /// Each part: what it is, and how long it takes.
    pub parts: Vec<(&'static str, f64)>,
    /// Exposures.
    pub exposures: u64,
}

/// The day of a shot, from midnight where its start is given.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Schedule {
    /// Seconds from midnight to the start.
    pub start: Option<u32>,
    /// Passes in their order.
    pub slots: Vec<Slot>,
}

impl Schedule {
    /// All of it, s.
    #[must_use]
    pub(crate) fn seconds(&self) -> f64 {
        self.slots.last().map_or(0.0, |slot| slot.end)
    }

    /// A time of the day as `hh:mm:ss`, seconds rounded down; with the number of the day from the second on. Without a start it counts from 0.
    #[must_use]
    pub(crate) fn clock(&self, since: f64) -> String {
        let whole = crate::number::whole::floor(since + f64::from(self.start.unwrap_or(0))).unwrap_or(0);
        let (day, second) = (whole.div_euclid(DAY), whole.rem_euclid(DAY));
        let time = format!("{:02}:{:02}:{:02}", second / 3600, second / 60 % 60, second % 60);
        if day > 0 { format!("day {} {time}", day + 1) } else { time }
    }
}

/// Seconds of a day.
const DAY: i64 = 86_400;

/// All passes of a shot, one after the other.
#[must_use]
pub(crate) fn schedule(report: &Report) -> Schedule {
    let mut now = 0.0;
    let slot = |p: &PassReport| {
        let parts = parts(&p.program);
        let start = now;
        now += parts.iter().map(|(_, seconds)| seconds).sum::<f64>();
        let exposures = p.program.clock().exposures() as u64;
        Slot { pass: p.name().to_owned(), start, end: now, parts, exposures }
    };
    let slots = report.passes.iter().map(slot).collect();
    Schedule { start: report.compiled.shot().lighting().start, slots }
}

/// What the time of a pass goes into, in order.
fn parts(program: &Program) -> Vec<(&'static str, f64)> {
    let (pass, clock, compiled) = (program.pass(), program.clock(), program.compiled());
    let (pace, begin) = (clock.pace(), clock.begin().0);
    let mut parts = vec![("change", pass.sheet().change())];
    match program.stations() {
        Some(stations) => {
            let moves: f64 = stations.moves().iter().map(|m| m.seconds.0).sum();
            let exposures = clock.exposed_seconds().0;
            parts.extend([
                ("move to start", begin),
                ("exposures", exposures),
                ("moves between them", moves),
                ("rest between them", clock.running().0 - exposures - moves),
            ]);
        }
        None => {
            let (up, down) = (f64::from(compiled.run_up()), f64::from(compiled.run_down()));
            parts.extend([
                ("move to start", begin - pass.settle()),
                ("rest before the run-up", pass.settle()),
                ("run-up", pace.seconds_of(up)),
                ("exposures", clock.running().0 - pace.seconds_of(up) - pace.seconds_of(down)),
                ("run-down", pace.seconds_of(down)),
            ]);
        }
    }
    parts.push(("return home", program.way().back().0));
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_of_the_day() {
        let of = |start| Schedule { start, slots: Vec::new() };
        assert_eq!(of(Some(27_000)).clock(0.0), "07:30:00");
        assert_eq!(of(Some(86_340)).clock(59.9), "23:59:59");
        assert_eq!(of(Some(86_340)).clock(60.0), "day 2 00:00:00");
        assert_eq!(of(None).clock(3_661.5), "01:01:01");
        assert_eq!(of(None).clock(200_000.0), "day 3 07:33:20");
    }
}
