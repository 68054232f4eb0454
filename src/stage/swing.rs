//! A figure as a pendulum under its carriage: where it hangs, how long the pendulum is, how it is damped, and further measured modes.
//!
//! Invariant: the joint and the channel exist, every number lies in its range, the length at home is above 0. Units: mm, s, shares of critical damping.
//! Limits: that the length stays above 0 as the channel moves is for the check of a pass to say.

use super::ids::ChannelId;
use crate::bounds::{Code, Flaw, LENGTH_PER_UNIT, MOST_MODES, SPAN, SWING_DAMPING, SWING_LENGTH, SWING_PERIOD};

/// Damping of a swing where nothing is written, as a share of critical.
pub(crate) const USUAL_DAMPING: f64 = 0.01;

/// What a swing is made from; units as in the stage file.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct SwingSpec {
    /// Name of the joint after which it hangs.
    pub joint: String,
    /// From there to the centre of mass with everything at home, mm.
    pub length: f64,
    /// Full name of the channel that changes the length, and by how many mm for each of its units.
    pub length_channel: Option<(String, f64)>,
    /// Share of critical damping.
    pub damping: f64,
    /// Largest swing during exposures, mm; `None` where it is only reported.
    pub limit: Option<f64>,
    /// Further measured modes: period in s, share of critical damping.
    pub modes: Vec<[f64; 2]>,
}

impl SwingSpec {
    /// A pendulum of constant length, with the usual damping and no limit.
    #[must_use]
    pub fn new(joint: &str, length: f64) -> SwingSpec {
        SwingSpec { joint: joint.to_owned(), length, length_channel: None, damping: USUAL_DAMPING, limit: None, modes: Vec::new() }
    }

    /// Every number out of its range; flaws of a mode have its place in the list as their index.
    pub(crate) fn flaws(&self) -> Vec<Flaw> {
        let mut flaws: Vec<Flaw> = SWING_LENGTH.check("length", self.length).err().into_iter().collect();
        flaws.extend(self.length_channel.as_ref().and_then(|(_, per_unit)| LENGTH_PER_UNIT.check("length_per_unit", *per_unit).err()));
        flaws.extend(SWING_DAMPING.check("damping", self.damping).err());
        flaws.extend(self.limit.and_then(|limit| SPAN.check("limit", limit).err()));
        if self.modes.len() > MOST_MODES {
            let flaw = Flaw::new(Code::TooMany, "modes", "the swing has too many modes");
            flaws.push(flaw.found(format!("{} modes", self.modes.len()), format!("at most {MOST_MODES}")));
        }
        for (i, [period, damping]) in self.modes.iter().enumerate() {
            let of_mode = [SWING_PERIOD.check("period_s", *period).err(), SWING_DAMPING.check("damping", *damping).err()];
            flaws.extend(of_mode.into_iter().flatten().map(|flaw| flaw.at_index(i)));
        }
        flaws
    }

    /// The number of the joint it names among these.
    ///
    /// # Errors
    /// No joint has that name.
    pub(crate) fn after(&self, joints: &[(String, usize)]) -> Result<usize, Flaw> {
        let found = joints.iter().find(|(name, _)| *name == self.joint).map(|(_, number)| *number);
        found.ok_or_else(|| {
            let names: Vec<String> = joints.iter().take(12).map(|(name, _)| format!("`{name}`")).collect();
            let known = if names.is_empty() { "a joint of the group that has a `name`".to_owned() } else { names.join(", ") };
            Flaw::new(Code::UnknownPlace, "joint", "the figure hangs from a joint that the group does not name")
                .found(format!("\"{}\"", self.joint), known)
                .help("give the joint of the carriage a `name`, and write it here")
        })
    }
}

/// A channel that changes the length of a pendulum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LengthChange {
    /// The channel.
    pub channel: ChannelId,
    /// Its value at home.
    pub home: f64,
    /// mm for each of its units.
    pub per_unit: f64,
}

/// A checked swing.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Swing {
    /// The joint after which it hangs.
    pub after: usize,
    /// Length at home, mm.
    pub length: f64,
    /// What changes it.
    pub change: Option<LengthChange>,
    /// Share of critical damping.
    pub damping: f64,
    /// Largest swing during exposures, mm.
    pub limit: Option<f64>,
    /// Further modes: period in s, share of critical damping.
    pub modes: Vec<[f64; 2]>,
}
