//! The `movewright` command: all of it is in the library's `cli` room.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(movewright::cli::run().status())
}
