//! A part of a pass as a shot of its own: some of its frames, or the way to one of them.
//!
//! What: the same choreography over these frames alone, for this pass alone. Run-up and run-down are then the shortest that hold for them, and the whole check judges
//! the part as it judges any pass. Cycles and drifts count from where they counted in the whole.
//! Invariant: positions in these frames are those of the whole pass, bit for bit, since fitting depends on signal, axis and knots only. Where the run-up does not move an
//! axis, it comes to its start from the side from which the whole pass came there, so that the play of its gears lies as it did.
//! Limits: the whole pass may have turned shortly before, by less than its backlash; the part then takes up all of it.

use super::Program;
use super::side::{before, first_direction};
use crate::bounds::{Code, Flaw};
use crate::compile::{CompileError, Compiled, Direction, Edge, Entry, frame_time};
use crate::shot::Exposure;
use crate::stage::{AxisId, PerAxis};
use crate::time::FrameSpan;

/// Which part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    /// These frames, as the pass exposes them.
    Frames(FrameSpan),
    /// The way to one frame, ending there at rest: a span of that frame alone.
    At(FrameSpan),
}

impl Part {
    /// Its frames.
    #[must_use]
    pub(crate) fn frames(self) -> FrameSpan {
        match self {
            Part::Frames(frames) | Part::At(frames) => frames,
        }
    }
}

/// Why there is no such part.
#[derive(Debug)]
pub(crate) enum NoPart {
    /// The frames do not make a shot.
    Shot(Vec<Flaw>),
    /// The choreography does not make a move.
    Curves(Vec<CompileError>),
}

impl Program {
    /// The part compiled, its only pass that of this program, beginning where each axis `stands`.
    ///
    /// # Errors
    /// [`NoPart`].
    pub(crate) fn part(&self, part: Part, stands: PerAxis<f64>) -> Result<Compiled, NoPart> {
        let (whole, pass) = (self.compiled(), self.pass());
        let part = self.exposed_in(part)?;
        let pass = match part {
            Part::Frames(_) => pass.clone(),
            Part::At(_) => pass.standing(),
        };
        let shot = whole.shot().of_frames(whole.stage(), part.frames(), pass).map_err(NoPart::Shot)?;
        let compiled = whole.with(shot).map_err(NoPart::Curves)?;
        let sides = PerAxis::new(whole.stage(), |id| self.side(&compiled, part, id));
        Ok(compiled.with_entry(Entry { stands, sides }))
    }

    /// Of a test pass the part from the first to the last frame that it exposes there, so that it exposes the same frames; any other part as it is.
    fn exposed_in(&self, part: Part) -> Result<Part, NoPart> {
        let (Part::Frames(span), exposed) = (part, self.clock().exposed()) else { return Ok(part) };
        let wedge = self.pass().wedge();
        if exposed.step() == 1 && wedge.is_none() {
            return Ok(part);
        }
        let mut frames = exposed.frames().filter(|n| span.contains(*n));
        let ends = frames.next().map(|first| (first, frames.last().unwrap_or(first)));
        let exact = ends.and_then(|(first, last)| FrameSpan::new(first, last).ok());
        exact.map(Part::Frames).ok_or_else(|| {
            let flaw = Flaw::new(Code::InvalidFrameSpan, "frames", "the test pass exposes none of these frames");
            let exposes = wedge.map_or_else(|| format!("one frame in {}", exposed.step()), |wedge| format!("frame {}", wedge.frame()));
            NoPart::Shot(vec![flaw.found(format!("frames {} to {}", span.first(), span.last()), exposes)])
        })
    }

    /// The side from which this pass came into the part; `None` where the part's own run-up leads in.
    fn side(&self, compiled: &Compiled, part: Part, id: AxisId) -> Option<Direction> {
        let first = part.frames().first();
        let curve = self.compiled().motion(id).curve();
        let came = match (self.pass().exposure(), part) {
            (Exposure::Held, _) => {
                // From station to station, of a test pass those that it exposes.
                let step = self.clock().exposed().step();
                let back = 1..=(first - self.compiled().shot().frames().first()) / step;
                let way = |k: i64| Some(curve.at(frame_time(first - (k - 1) * step))? - curve.at(frame_time(first - k * step))?);
                back.into_iter().find_map(|k| Direction::of(way(k)?))
            }
            (Exposure::Moving, Part::Frames(span)) => {
                let m = compiled.motion(id);
                if m.curve().pieces().take(m.edge(Edge::RunUp).len()).any(|p| !p.quintic.is_hold()) {
                    return None;
                }
                before(curve, span.photographed().0)
            }
            (Exposure::Moving, Part::At(_)) => before(curve, frame_time(first)),
        };
        came.or_else(|| first_direction(self.compiled().motion(id)))
    }
}
