//! What most likely went wrong with one axis in one take, where its deviations say so plainly.
//!
//! What: four patterns are tried, each with the spread that it leaves unexplained: the same deviation throughout (steps lost at once, or a wrong reference); one for
//! either direction of travel (backlash); levels that jump by full steps at some frames (steps lost there); a line (slip). A pattern is plain where what it leaves
//! is at most a quarter of what it explains. Common practice, no source; a hint where to look, never a verdict.
//! Units: steps, in the direction of positive travel. Invariant: memory does not grow with frames.

/// Jumps that are kept; a take with more is no plain case of lost steps.
const MOST_JUMPS: usize = 4;

/// What is left unexplained, as a share of what is explained, at most.
const PLAIN: f64 = 0.25;

/// Fewest frames for a line: below, anything looks like one.
const FEWEST_FOR_A_LINE: f64 = 8.0;

/// A likely cause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cause {
    /// Which.
    pub kind: CauseKind,
    /// How much, steps: the offset, the first jump, the difference between directions, the whole slip.
    pub steps: f64,
    /// Frame at which it was first seen.
    pub frame: i64,
    /// How many jumps, for lost steps; 1 otherwise.
    pub times: usize,
}

/// Kind of a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CauseKind {
    /// The same deviation throughout.
    Offset,
    /// Levels that jump by full steps.
    LostSteps,
    /// One level for either direction of travel.
    Backlash,
    /// A slow ramp.
    Slip,
}

impl CauseKind {
    /// Its name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            CauseKind::Offset => "offset",
            CauseKind::LostSteps => "lost_steps",
            CauseKind::Backlash => "backlash",
            CauseKind::Slip => "slip",
        }
    }
}

/// Deviations near one value.
#[derive(Debug, Clone, Copy)]
struct Level {
    from: i64,
    n: f64,
    mean: f64,
    low: f64,
    high: f64,
}

impl Level {
    fn starting(frame: i64, x: f64) -> Level {
        Level { from: frame, n: 1.0, mean: x, low: x, high: x }
    }

    fn add(&mut self, x: f64) {
        self.n += 1.0;
        self.mean += (x - self.mean) / self.n;
        self.low = self.low.min(x);
        self.high = self.high.max(x);
    }

    fn range(&self) -> f64 {
        self.high - self.low
    }
}

/// What is remembered of one axis in one take.
#[derive(Debug, Clone)]
pub(super) struct Trace {
    full_step: f64,
    all: Option<Level>,
    closed: [Option<Level>; MOST_JUMPS],
    jumps: usize,
    now: Option<Level>,
    last: f64,
    up: Option<Level>,
    down: Option<Level>,
    last_direction: f64,
    turns: u64,
    /// Mean frame, and co-moments of frame and deviation about their means.
    line: Line,
}

#[derive(Debug, Clone, Copy, Default)]
struct Line {
    mean_x: f64,
    mean_y: f64,
    xx: f64,
    xy: f64,
    yy: f64,
    last_x: f64,
}

impl Trace {
    /// A trace of an axis with this many steps in a full step.
    pub(super) fn new(microsteps: u32) -> Trace {
        Trace {
            full_step: f64::from(microsteps),
            all: None,
            closed: [None; MOST_JUMPS],
            jumps: 0,
            now: None,
            last: 0.0,
            up: None,
            down: None,
            last_direction: 0.0,
            turns: 0,
            line: Line::default(),
        }
    }

    /// Takes in the deviation at a frame; `direction` is the sign of the last motion of the pass before it, 0 where it has not moved.
    pub(super) fn add(&mut self, frame: i64, x: f64, direction: f64) {
        let Some(all) = &mut self.all else {
            self.all = Some(Level::starting(frame, x));
            self.now = self.all;
            self.line = Line { mean_y: x, ..Line::default() };
            self.last = x;
            self.side(frame, x, direction);
            return;
        };
        all.add(x);
        let (n, place) = (all.n, (frame - all.from) as f64);
        self.line.add(n, place, x);
        if (x - self.last).abs() >= 0.5 * self.full_step {
            if let Some(slot) = self.closed.get_mut(self.jumps) {
                *slot = self.now;
            }
            self.jumps += 1;
            self.now = Some(Level::starting(frame, x));
        } else if let Some(now) = &mut self.now {
            now.add(x);
        }
        self.last = x;
        self.side(frame, x, direction);
    }

    fn side(&mut self, frame: i64, x: f64, direction: f64) {
        if direction == 0.0 {
            return;
        }
        if self.last_direction * direction < 0.0 {
            self.turns += 1;
        }
        self.last_direction = direction;
        let side = if direction > 0.0 { &mut self.up } else { &mut self.down };
        match side {
            Some(level) => level.add(x),
            None => *side = Some(Level::starting(frame, x)),
        }
    }

    /// The likely cause, where one is plain.
    pub(super) fn cause(&self) -> Option<Cause> {
        let all = self.all.filter(|a| a.n >= 2.0 && (a.low != 0.0 || a.high != 0.0))?;
        self.offset(&all).or_else(|| self.by_level()).or_else(|| self.slip(&all))
    }

    fn offset(&self, all: &Level) -> Option<Cause> {
        (all.range() <= PLAIN * all.mean.abs()).then_some(Cause { kind: CauseKind::Offset, steps: all.mean, frame: all.from, times: 1 })
    }

    fn by_level(&self) -> Option<Cause> {
        let (backlash, lost) = (self.backlash(), self.lost());
        // With one turn only, a loss just there looks like backlash; multiples of a full step speak for the loss.
        if self.turns < 2 { lost.or(backlash) } else { backlash.or(lost) }
    }

    fn backlash(&self) -> Option<Cause> {
        let (up, down) = self.up.zip(self.down)?;
        let between = up.mean - down.mean;
        let left = up.range().max(down.range());
        let plain = self.turns > 0 && up.n >= 2.0 && down.n >= 2.0 && between != 0.0 && left <= PLAIN * between.abs();
        plain.then_some(Cause { kind: CauseKind::Backlash, steps: between, frame: up.from.max(down.from), times: 1 })
    }

    fn lost(&self) -> Option<Cause> {
        if self.jumps == 0 || self.jumps > MOST_JUMPS {
            return None;
        }
        let levels: Vec<Level> = self.closed.iter().copied().take(self.jumps).chain([self.now]).flatten().collect();
        let left = levels.iter().map(Level::range).fold(0.0, f64::max);
        let mut first = None;
        for (a, b) in levels.iter().zip(levels.iter().skip(1)) {
            let jump = b.mean - a.mean;
            let full_steps = (jump / self.full_step).round_ties_even();
            let plain =
                full_steps != 0.0 && (jump - full_steps * self.full_step).abs() <= PLAIN * self.full_step && left <= PLAIN * jump.abs();
            if !plain {
                return None;
            }
            first = first.or(Some(Cause { kind: CauseKind::LostSteps, steps: jump, frame: b.from, times: self.jumps }));
        }
        first
    }

    fn slip(&self, all: &Level) -> Option<Cause> {
        let l = &self.line;
        if all.n < FEWEST_FOR_A_LINE || !(l.xx > 0.0) {
            return None;
        }
        let slope = l.xy / l.xx;
        let whole = slope * l.last_x;
        // Root mean square of what the line leaves; twice that on either side stands for the range of it.
        let left = ((l.yy - slope * l.xy).max(0.0) / all.n).sqrt();
        (4.0 * left <= PLAIN * 2.0 * whole.abs() && whole.abs() >= 2.0).then_some(Cause {
            kind: CauseKind::Slip,
            steps: whole,
            frame: all.from,
            times: 1,
        })
    }
}

impl Line {
    /// Co-moments about running means (B. Welford, Technometrics 4(3) 1962, from memory), `n` with this point.
    fn add(&mut self, n: f64, x: f64, y: f64) {
        let (dx, dy) = (x - self.mean_x, y - self.mean_y);
        self.mean_x += dx / n;
        self.mean_y += dy / n;
        self.xx += dx * (x - self.mean_x);
        self.xy += dx * (y - self.mean_y);
        self.yy += dy * (y - self.mean_y);
        self.last_x = x;
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn cause(microsteps: u32, deviation: impl Fn(i64) -> f64, direction: impl Fn(i64) -> f64) -> Option<(CauseKind, f64, i64)> {
        let mut t = Trace::new(microsteps);
        for frame in 1..=100 {
            t.add(frame, deviation(frame), direction(frame));
        }
        t.cause().map(|c| (c.kind, c.steps, c.frame))
    }

    #[test]
    fn planted_causes_are_named_with_size_and_frame() {
        let up = |_| 1.0;
        let to_and_fro = |f: i64| if (f / 20) % 2 == 0 { 1.0 } else { -1.0 };
        assert_eq!(cause(10, |_| -40.0, up), Some((CauseKind::Offset, -40.0, 1)));
        assert_eq!(cause(10, |f| if f < 57 { 0.0 } else { -20.0 }, up), Some((CauseKind::LostSteps, -20.0, 57)));
        let (kind, steps, _) = cause(10, |f| 2.0 * to_and_fro(f), to_and_fro).unwrap();
        assert_eq!((kind, steps), (CauseKind::Backlash, 4.0));
        let (kind, steps, frame) = cause(10, |f| (f as f64 * 0.11).floor(), up).unwrap();
        assert_eq!((kind, frame), (CauseKind::Slip, 1));
        assert!((steps - 10.89).abs() < 0.5, "{steps}");
    }

    #[test]
    fn what_is_not_plain_gets_no_name() {
        let up = |_| 1.0;
        assert_eq!(cause(10, |_| 0.0, up), None);
        assert_eq!(cause(10, |f| f64::from(u8::from(f % 2 == 0)), up), None);
        assert_eq!(cause(10, |f| if f < 57 { 0.0 } else { -13.0 }, up), None, "no multiple of a full step");
        assert_eq!(cause(10, |f| if (f / 7) % 2 == 0 { 0.0 } else { 20.0 }, up), None, "comes back again and again");
    }

    #[test]
    fn one_frame_tells_nothing() {
        let mut t = Trace::new(1);
        t.add(1, 5.0, 1.0);
        assert_eq!(t.cause(), None);
    }
}
