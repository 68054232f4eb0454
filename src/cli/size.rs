//! The option that allows a job that costs more work than usual.

use clap::Args as ClapArgs;

use crate::bounds::Budget;

#[derive(Debug, Clone, Copy, ClapArgs)]
pub(super) struct Size {
    /// Allow a thousand times the usual work, and more than 100 million axes x frames x passes
    #[arg(long)]
    large: bool,
}

impl Size {
    /// The work that is allowed.
    pub(super) fn budget(self) -> Budget {
        if self.large { Budget::Large } else { Budget::Usual }
    }
}
