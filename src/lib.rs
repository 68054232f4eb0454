//! Movewright compiles choreography for a miniature stage into stepper positions.
//!
//! A [`Stage`] is the machine, a [`Shot`] one choreographed move and the passes that photograph it. [`Compiled`] is both with one exact curve for each axis;
//! its check says what every pass asks of every axis, and an approved job is written as plain columns, rows for a controller, or an output folder.
//! Everything that is refused is one [`Error`] that lists all flaws.
//!
//! ```
//! use movewright::output::columns::Column;
//! use movewright::{Axis, Compiled, Error, Shot, Stage};
//!
//! fn main() -> Result<(), Error> {
//!     let bridge = Axis::mm("bridge").travel(0.0..=4000.0).velocity(40.0).acceleration(20.0).jerk(40.0).travel_per_rev(60.0).build()?;
//!     let stage = Stage::builder("Marsh").group("heron", [bridge]).build()?;
//!
//!     let mut shot = Shot::builder(&stage, "Over the reeds", 1..=48, "24")?;
//!     shot.track("heron.bridge")?.minimum_jerk([(1, 100.0), (48, 2600.0)])?;
//!     shot.pass("picture").shutter(180.0).moving(12.0)?;
//!     let shot = shot.build()?;
//!
//!     let compiled = Compiled::new(stage, shot)?;
//!     let report = compiled.check()?;
//!     assert_eq!(compiled.axis("heron.bridge")?.at(48)?, 2600.0);
//!
//!     let mut columns = Vec::new();
//!     report.approve()?.columns(&mut columns, "picture", Column::Steps)?;
//!     assert!(columns.starts_with(b"frame,timecode,heron.bridge\n1,00:00:00:00,"));
//!
//!     // At a hundredth of the pace the bridge is too fast: the job is refused, with what is exceeded.
//!     let mut hasty = Shot::builder(compiled.stage(), "Over the reeds", 1..=48, "24")?;
//!     hasty.track("heron.bridge")?.minimum_jerk([(1, 100.0), (48, 2600.0)])?;
//!     hasty.pass("picture").moving(0.12)?;
//!     let report = compiled.with_shot(hasty.build()?)?.check()?;
//!     assert!(report.approve().unwrap_err().to_string().contains("heron.bridge: velocity"));
//!     Ok(())
//! }
//! ```
//!
//! Stages and shots are usually read from files: [`input::load`]. A signal or mechanism of your own implements [`signal::Signal`] or
//! [`mechanism::Mechanism`] and is compiled, fitted and checked like those of the files.
//!
//! Software limits are not a safety function. What is checked is what the stage states, and nothing else: keep people clear of suspended loads and of
//! motors that start by themselves, and follow local codes and licensed practice.

pub mod api;
pub mod bounds;
pub mod check;
#[cfg(feature = "cli")]
pub mod cli;
pub mod compile;
mod files;
pub mod input;
pub mod measure;
pub mod mechanism;
pub mod motion;
pub mod number;
pub mod output;
pub mod page;
pub mod program;
pub mod shot;
pub mod signal;
pub mod stage;
pub mod time;
pub mod verify;

pub use api::{Error, verify};
pub use compile::Compiled;
pub use shot::Shot;
pub use stage::{Axis, Stage};

/// The code of the page for integrators is run as a test.
#[cfg(doctest)]
#[doc = include_str!("../examples/feeding_a_controller/README.md")]
pub struct FeedingAController;

#[cfg(test)]
extern crate self as movewright;

#[cfg(test)]
#[path = "../tests/inside/lib.rs"]
mod inside;
