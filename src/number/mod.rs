//! The arithmetic that every room stands on: elementary functions, jets, exact conversions, the seeded generator.
//!
//! Invariant: this room imports nothing of ours, and nothing outside it may call an elementary function of the
//! standard library. That keeps one input at one output on every processor and system.

pub mod directed;
pub mod elementary;
pub mod generator;
pub mod jet;
pub mod whole;

pub use generator::Generator;
pub use jet::Jet;
