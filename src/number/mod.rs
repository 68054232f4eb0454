//! The arithmetic that every module uses: elementary functions, jets, exact conversions, numbers as text, the seeded generator.
//!
//! Invariant: this module imports nothing of ours, and nothing outside it may call an elementary function of the
//! standard library. That keeps one input at one output on every processor and system.

pub(crate) mod directed;
pub(crate) mod elementary;
pub(crate) mod figures;
pub(crate) mod generator;
pub(crate) mod jet;
pub(crate) mod student;
pub(crate) mod whole;

pub(crate) use generator::Generator;
pub use jet::Jet;
