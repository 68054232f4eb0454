//! Tests of the public surface and of the program, in one binary: one link instead of one for each file. `cargo test --test it NAME::` runs the file
//! `NAME.rs` alone. Tests of what the library keeps to itself are in `tests/inside`.

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

// Files for the tests.
mod apart;
mod case;
#[allow(dead_code, reason = "the tests use part of it")]
#[path = "../../src/number/generator.rs"]
mod generator;
mod marsh;
mod seeded_shot;
#[allow(dead_code, reason = "the tests use part of it")]
#[path = "../../src/bounds/visible.rs"]
mod visible;

mod aim_miss;
mod browser;
mod budget;
mod command_line;
mod compare_causes;
mod documents;
mod fastest_pace;
mod feeders;
mod folded;
mod framing;
mod gobo_flicker;
mod guides;
mod haze;
mod held_clearance;
mod hidden_characters;
mod lens;
mod live_edit;
mod live_page;
mod load_panels;
mod measured;
mod offers;
mod old_words;
mod one_verdict;
mod opened_files;
mod own_signals;
mod plain_answers;
mod plates;
mod printed_bounds;
mod proxies;
mod report_page;
mod rig;
mod rows_command;
mod rows_parts;
mod slack_wires;
mod standard_output;
mod study_command;
mod study_page;
mod takes;
mod terminal;
mod test_passes;
mod tidy;
mod timecode;
mod timing;
mod torque_share;
mod trial_findings;
mod usd;
mod verify_aim;
mod verify_edits;
mod verify_measured;
mod verify_sound;
mod watch;
mod watch_edit;
mod wedges;
mod whole_or_not;
mod wrong_calls;
