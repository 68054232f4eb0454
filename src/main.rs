//! The `movewright` command: all of it is in the library's `cli` folder.

use std::process::ExitCode;

fn main() -> ExitCode {
    movewright::run()
}
