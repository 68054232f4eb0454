//! Passes that leave the same axes at home share a set of places; and what of a set is as it was in a shot before this one.

use crate::check::register::instants;
use crate::compile::Compiled;
use crate::shot::{Exposure, Pass};
use crate::stage::{Body, PerAxis, Stage};

/// Passes that leave the same axes at home.
pub(super) struct Sets<'a> {
    /// Of every set a pass that stands for it, the first moving one if there is one.
    pub(super) shown: Vec<&'a Pass>,
    pub(super) of_pass: Vec<usize>,
}

impl<'a> Sets<'a> {
    pub(super) fn of(compiled: &'a Compiled) -> Sets<'a> {
        let (stage, passes) = (compiled.stage(), compiled.shot().passes());
        let mut shown: Vec<&Pass> = Vec::new();
        let mut of_pass = Vec::new();
        for pass in passes {
            let at = shown.iter().position(|other| pass.parks_like(stage, other)).unwrap_or(shown.len());
            match shown.get_mut(at) {
                None => shown.push(pass),
                Some(held) if held.exposure() == Exposure::Held && pass.exposure() == Exposure::Moving => *held = pass,
                Some(_) => {}
            }
            of_pass.push(at);
        }
        Sets { shown, of_pass }
    }
}

/// What is as it was in a shot before this one, on an equal stage.
pub(super) struct Same {
    axes: PerAxis<bool>,
    /// Whether the sets of places are of the same passes and frames.
    sets: bool,
}

impl Same {
    /// Compares two shots on equal stages.
    pub(super) fn between(old: &Compiled, new: &Compiled) -> Same {
        let ([was, is], stage) = ([old, new].map(|c| Sets::of(c).shown), new.stage());
        let alike = |(a, b): (&&Pass, &&Pass)| a.parks_like(stage, b) && instants(a) == instants(b);
        // What no axis moves stands still, but in other frames all the same.
        let frames = old.shot().frames() == new.shot().frames();
        Same { axes: new.unchanged_since(old), sets: frames && was.len() == is.len() && was.iter().zip(&is).all(alike) }
    }

    /// True where a body stands, at every frame of every set, where it stood.
    pub(super) fn has(&self, stage: &Stage, body: &Body) -> bool {
        let mut all = body.every_channel().iter().copied().chain(body.focus()).flat_map(|c| stage.axes_of(c));
        self.sets && all.all(|id| self.axes[id])
    }
}
