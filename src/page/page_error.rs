//! Why a page or a plot could not be made.

use crate::compile::Counts;
use crate::output::channels::ChannelError;
use crate::output::handoff::poses::PoseError;
use crate::program::NoPlan;

/// Why a page could not be made.
#[derive(Debug, thiserror::Error)]
pub(crate) enum PageError {
    /// A body without a pose.
    #[error(transparent)]
    Pose(#[from] PoseError),
    /// A channel without a value.
    #[error(transparent)]
    Channel(#[from] ChannelError),
    /// A pass that cannot be planned.
    #[error(transparent)]
    Plan(#[from] NoPlan),
    /// No pass of this index.
    #[error("the shot has no such pass")]
    NoPass,
    /// More axes x frames x passes than a page can hold.
    #[error(
        "the page would show {counts}; at most {most} counts fit: photograph fewer frames, or add --large where a page of this size is meant"
    )]
    TooLarge {
        /// The size of the job.
        counts: Counts,
        /// What is allowed.
        most: u64,
    },
    /// The data could not be put into words.
    #[error("the data of the page could not be written: {0}")]
    Json(#[from] serde_json::Error),
    /// No such axis or channel.
    #[error("the stage has no axis `{0}` and no such channel")]
    NoAxis(String),
    /// The plot could not be drawn.
    #[error("the plot could not be drawn: {0}")]
    Drawing(String),
}
