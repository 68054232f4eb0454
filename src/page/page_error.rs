//! Why a page or a plot could not be made.

use crate::output::handoff::poses::PoseError;

/// Why a page could not be made.
#[derive(Debug, thiserror::Error)]
pub(crate) enum PageError {
    /// A body without a pose.
    #[error(transparent)]
    Pose(#[from] PoseError),
    /// The data could not be put into words.
    #[error("the data of the page could not be written: {0}")]
    Json(#[from] serde_json::Error),
    /// No such axis.
    #[error("the stage has no axis `{0}`")]
    NoAxis(String),
    /// The plot could not be drawn.
    #[error("the plot could not be drawn: {0}")]
    Drawing(String),
}
