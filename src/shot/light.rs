//! What the meter said of each light, what must be sharp, and when the day starts.
//!
//! Invariant: numbers in their bounds, names of lights unique; what must be sharp exists on the stage. Limits: data only, what follows from it is computed by the checks.

use crate::bounds::{self, Flaw};
use crate::stage::GroupId;

/// A meter reading.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Light {
    /// Its name.
    pub name: String,
    /// Stop at which it was read.
    pub f_number: f64,
    /// Exposure that it asks for there, s.
    pub seconds: f64,
    /// How much longer filters make it.
    pub filter_factor: f64,
    /// Exponent of film above 1 s (reciprocity failure); 1 for digital.
    pub reciprocity: f64,
}

impl Light {
    /// Checks a reading.
    ///
    /// # Errors
    /// Every number out of its range.
    pub(crate) fn new(name: &str, f_number: f64, seconds: f64, filter_factor: f64, reciprocity: f64) -> Result<Light, Vec<Flaw>> {
        let checks = [
            bounds::F_NUMBER.check("f_number", f_number),
            bounds::EXPOSURE.check("seconds", seconds),
            bounds::FILTER_FACTOR.check("filter_factor", filter_factor),
            bounds::RECIPROCITY.check("reciprocity", reciprocity),
        ];
        let flaws: Vec<Flaw> = checks.into_iter().filter_map(Result::err).collect();
        if flaws.is_empty() { Ok(Light { name: name.to_owned(), f_number, seconds, filter_factor, reciprocity }) } else { Err(flaws) }
    }
}

/// Something that must be sharp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Sharp {
    /// The proxies of a group.
    Group(GroupId),
    /// A point of the stage, mm.
    Point([f64; 3]),
    /// An obstacle, by its number.
    Obstacle(usize),
}

/// Lights, depth of field and the day of a shot.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Lighting {
    /// What must be sharp, by name; `None`: every group with proxies but the camera.
    pub sharp: Option<Vec<(String, Sharp)>>,
    /// The stop whose depth the audience should believe at full size.
    pub look: Option<f64>,
    /// Meter readings.
    pub lights: Vec<Light>,
    /// When the day starts, s after midnight.
    pub start: Option<u32>,
}

impl Lighting {
    /// The light of a pass: the one it names, or the only one.
    #[must_use]
    pub(crate) fn of(&self, named: Option<&str>) -> Option<&Light> {
        match (named, self.lights.as_slice()) {
            (Some(name), all) => all.iter().find(|l| l.name == name),
            (None, [only]) => Some(only),
            (None, _) => None,
        }
    }
}
