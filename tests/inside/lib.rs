//! Tests of what the library keeps to itself, compiled with it: `cargo test --lib inside::NAME::` runs the file `NAME.rs` alone.
//!
//! Tests of the public surface and of the program are in `tests/it`. The file is named `lib.rs` so that failing seeds of property tests are
//! kept in `tests/proptest-regressions`.

#![allow(
    unreachable_pub,
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::disallowed_methods,
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::approx_constant,
    clippy::type_complexity,
    reason = "a test may stop at the first surprise, computes by other means than the crate, and writes constants as its source prints them"
)]

// Stages, shots and files for the tests; textbook kinematics.
mod common;
mod kinematics;
mod wrong_files;

mod camera_timing;
mod causes;
mod clearance;
mod clearance_oracle;
mod compare;
mod compare_blocks;
mod costs;
mod diagnostics;
mod exact_extremes;
mod findings_and_advice;
mod focus;
mod fuzz;
mod growth;
mod hand_off;
mod hang;
mod hinges;
mod hostile_input;
mod limbs;
mod measured;
mod mechanisms;
mod motors;
mod mutants;
mod own_mechanisms;
mod own_signals;
mod pace;
mod page;
mod passes_register;
mod pixels;
mod profile_edges;
mod profile_least_time;
mod profile_properties;
mod published_peaks;
mod published_profiles;
mod published_retimes;
mod published_splines;
mod published_steppers;
mod random_moves;
mod recognise;
mod recordings;
mod register;
mod repeatability;
mod retimes;
mod rig;
mod rows;
mod rows_end;
mod rows_part;
mod run_up_and_held;
mod schemas;
mod schemas_of_documents;
mod shaping;
mod shortest;
mod sound_mutants;
mod staged;
mod stay_near;
mod steady_counts;
mod stopping;
mod study;
mod study_rig;
mod swing;
mod taken_over;
mod traps;
mod verify;
mod verify_damage;
mod verify_hidden;
mod wrong_input;
