//! Every integration test in one program: one link instead of one for each file. `cargo test --test it NAME::` runs the file `NAME.rs` alone.

#![allow(
    missing_docs,
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

// Stages, shots and files for the tests.
mod common;
mod wrong_files;

mod browser;
mod clearance;
mod clearance_oracle;
mod command_line;
mod compare;
mod diagnostics;
mod exact_extremes;
mod feeders;
mod findings_and_advice;
mod fuzz;
mod guides;
mod hand_off;
mod hostile_input;
mod mechanisms;
mod one_verdict;
mod own_mechanisms;
mod own_signals;
mod passes_register;
mod pixels;
mod profile_edges;
mod profile_least_time;
mod profile_properties;
mod published_peaks;
mod published_profiles;
mod published_splines;
mod published_steppers;
mod random_moves;
mod register;
mod repeatability;
mod report_page;
mod rows;
mod rows_command;
mod rows_end;
mod run_up_and_held;
mod schemas;
mod steady_counts;
mod terminal;
mod tidy;
mod timecode;
mod traps;
mod trial_findings;
mod verify;
mod verify_aim;
mod verify_damage;
mod whole_or_not;
mod wrong_input;
