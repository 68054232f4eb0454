//! Which frames a test pass exposes, in words.

use crate::bounds::count;
use crate::program::Program;

/// One frame in how many, and how many exposures that is; `None` where a pass exposes every frame.
#[must_use]
pub(crate) fn test_pass(program: &Program) -> Option<String> {
    let every = program.pass().every();
    let exposures = u64::try_from(program.clock().exposures()).unwrap_or(u64::MAX);
    if let Some(wedge) = program.pass().wedge() {
        return Some(format!("wedge: exposes {wedge}, {} without moving", count(exposures, "exposure")));
    }
    (every > 1).then(|| format!("test pass: exposes one frame in {every}, {}", count(exposures, "exposure")))
}
