//! Movewright compiles choreography for a miniature stage into stepper positions.
//!
//! A [`Stage`] is the machine, a [`Shot`] one choreographed move and the passes that photograph it. [`Compiled`] is both with one exact curve for each axis;
//! its check says what every pass asks of every axis, and an approved job is written as plain columns, rows for a controller, or an output folder.
//! Everything that is refused is one [`Error`] that lists all flaws.
//!
//! ```
//! use movewright::write::Column;
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
//! Stages and shots are usually read from files: [`input::load`], then [`Loaded::compile`](input::Loaded::compile). A signal or mechanism of your
//! own implements [`signal::Signal`] or [`mechanism::Mechanism`] and is compiled, fitted and checked like those of the files.
//!
//! | module | what it has |
//! | --- | --- |
//! | [`stage`], [`mechanism`] | the machine described: axes, bodies, surroundings, geometry |
//! | [`shot`], [`time`] | shapes of tracks, passes; frame rates, timecode, seconds |
//! | [`signal`] | signals of your own, and the curves that a shot is compiled to |
//! | [`input`] | stage and shot from files, every mistake with its place |
//! | [`report`] | what a check or a verification found |
//! | [`write`](mod@write) | columns, rows for a controller, the output folder |
//! | [`measure`] | logged positions of takes compared with their pass |
//!
//! Everything else is private. What may grow is `#[non_exhaustive]`. No signature has a type of another crate: there are the standard library's alone. The
//! one trait of another crate that public types implement is `serde::Serialize`, on what [`measure::compare`] returns.
//!
//! Software limits are not a safety function. What is checked is what the stage states, and nothing else: keep people clear of suspended loads and of
//! motors that start by themselves, and follow local codes and licensed practice.

#![cfg_attr(not(feature = "cli"), allow(dead_code, unused_imports, reason = "what only the program uses is left out by the linker"))]

mod api;
mod bounds;
mod check;
#[cfg(feature = "cli")]
mod cli;
mod compile;
mod files;
pub mod input;
pub mod measure;
pub mod mechanism;
mod motion;
mod number;
mod output;
mod page;
mod program;
mod rig;
pub mod shot;
pub mod signal;
pub mod stage;
mod study;
pub mod time;
mod verify;

pub use api::{AxisBuilder, CompiledAxis, CycleBuilder, Error, PassBuilder, ShotBuilder, StageBuilder, TrackBuilder, verify};
pub use bounds::Flaw;
pub use compile::Compiled;
pub use shot::Shot;
pub use stage::{Axis, Stage};

/// What a check found, and what the verification of a folder found, as data.
///
/// [`Report`](report::Report) has everything as JSON as well, and sentences for people. Units: of the axis, and seconds. A limit is exceeded where
/// [`Utilisation`](report::Utilisation) says so, and nowhere else.
pub mod report {
    pub use crate::check::{
        At, AxisReport, Fastest, Limit, Part, PassReport, Peak, Reach, Report, Runnable, StretchReport, Tightest, Violation,
    };
    pub use crate::stage::{AxisId, PerAxis, TorqueUse, Utilisation};
    pub use crate::verify::{Fault, FaultKind, Scope, Verdict};
}

/// An approved job written: columns, rows for a controller, the output folder.
///
/// Invariant: only a job within its limits is written, or one of which somebody said that it is to be written all the same. Files and folders are
/// written completely or not at all.
pub mod write {
    pub use crate::api::{Approved, Folder, Row, RowTable, Rows};
    pub use crate::output::Written;
    pub use crate::output::columns::Column;
}

/// The program `movewright`: everything it does, by the arguments it was started with.
#[cfg(feature = "cli")]
#[doc(hidden)]
#[must_use]
pub fn run() -> std::process::ExitCode {
    std::process::ExitCode::from(cli::run().status())
}

/// For the ledger of work, which counts what `movewright study` computes: hinges and drives that exceed the noise, both together; `None` where the recording is refused.
#[doc(hidden)]
#[must_use]
pub fn study_counted(recording: &std::path::Path, body: &[&str]) -> Option<usize> {
    let markers = input::load_markers(recording).ok()?;
    let body = study::markers::indices(&markers, body).ok()?;
    let study = study::Study::of(&markers, &body).ok()?;
    Some(study.hinges.len() + study.rank?)
}

/// For the ledger of work, which counts what `movewright compare --points` computes: losses of steps that marks show in the first pass, each with frame, what it is on, and its places in both
/// runs (pixels to the right and down); `None` where a mark is refused.
#[doc(hidden)]
#[must_use]
pub fn lost_steps_counted(compiled: &Compiled, marks: &[(i64, &str, [f64; 2], [f64; 2])]) -> Option<usize> {
    use check::mark_shifts::{Mark, per_step};
    let first: Vec<Mark<'_>> = marks.iter().map(|(frame, owner, at, _)| Mark { frame: *frame, owner, at: *at }).collect();
    let sights = per_step(compiled, compiled.shot().passes().first()?, &first).ok()?;
    let pairs = marks.iter().zip(sights);
    let shifts: Vec<_> = pairs.map(|((frame, mark, was, is), per_step)| measure::Shift::of((*frame, mark), *was, *is, per_step)).collect();
    Some(measure::losses(&shifts).losses.len())
}

/// The code of the page for integrators is run as a test.
#[cfg(doctest)]
#[doc = include_str!("../examples/feeding_a_controller/README.md")]
pub struct FeedingAController;

#[cfg(test)]
extern crate self as movewright;

#[cfg(test)]
#[path = "../tests/inside/lib.rs"]
mod inside;
