//! The code of each error of verifying and writing.
//!
//! Invariant: what a person mends differently has a different code; what the system refused is `write-failed`.

use crate::bounds::Code;
use crate::files::Unreadable;
use crate::output::ExportError;
use crate::output::channels::ChannelError;
use crate::output::columns::ColumnError;
use crate::output::handoff::poses::PoseError;
use crate::output::measured::MeasuredError;
use crate::output::rows::RowsError;
use crate::output::staged::StagedError;
use crate::page::PageError;
use crate::verify::NotAFolder;

/// An error with a code.
pub(super) trait Coded: core::fmt::Display {
    /// Its code.
    fn code(&self) -> Code;
}

impl Coded for StagedError {
    fn code(&self) -> Code {
        match self {
            StagedError::NotAFolder { .. } | StagedError::NotEmpty { .. } | StagedError::Foreign { .. } | StagedError::NotOurs { .. } => {
                Code::NotOurs
            }
            StagedError::NotAFile { .. } => Code::NotAFile,
            StagedError::Differs { .. } => Code::OutputDiffers,
            StagedError::Io { .. } => Code::WriteFailed,
        }
    }
}

impl Coded for ColumnError {
    fn code(&self) -> Code {
        match self {
            ColumnError::NoPosition { .. } => Code::NoPosition,
            ColumnError::Csv(_) | ColumnError::Io(_) => Code::WriteFailed,
        }
    }
}

impl Coded for PoseError {
    fn code(&self) -> Code {
        match self {
            PoseError::NoPose { .. } => Code::NoPosition,
            PoseError::TooLong { .. } => Code::FileTooLarge,
            PoseError::Csv(_) | PoseError::Io(_) | PoseError::Json(_) => Code::WriteFailed,
        }
    }
}

impl Coded for RowsError {
    fn code(&self) -> Code {
        match self {
            RowsError::Rate { .. } => Code::OutOfRange,
            RowsError::TooMany { .. } => Code::TooMany,
            RowsError::TooLarge { .. } => Code::BudgetExceeded,
            RowsError::DoesNotFit { .. } => Code::DoesNotFit,
            RowsError::TooNear { .. } => Code::TooClose,
            RowsError::NoPosition { .. } => Code::NoPosition,
            RowsError::Io(_) => Code::WriteFailed,
        }
    }
}

impl Coded for ExportError {
    fn code(&self) -> Code {
        match self {
            ExportError::Staged(error) => error.code(),
            ExportError::Columns(error) => error.code(),
            ExportError::Poses(error) => error.code(),
            ExportError::Rows(error) => error.code(),
            ExportError::Channels(ChannelError::NoPose { .. }) => Code::NoPosition,
            ExportError::Channels(ChannelError::Csv(_) | ChannelError::Io(_)) => Code::WriteFailed,
            ExportError::Io(_) | ExportError::Json(_) => Code::WriteFailed,
        }
    }
}

impl Coded for MeasuredError {
    fn code(&self) -> Code {
        match self {
            MeasuredError::Staged(error) => error.code(),
            MeasuredError::Columns(error) => error.code(),
            MeasuredError::Poses(error) => error.code(),
            MeasuredError::Pass(_) | MeasuredError::Curve(_) => Code::NoCurve,
            MeasuredError::Json(_) | MeasuredError::Io(_) => Code::WriteFailed,
        }
    }
}

impl Coded for PageError {
    fn code(&self) -> Code {
        match self {
            PageError::Pose(error) => error.code(),
            PageError::Channel(ChannelError::NoPose { .. }) => Code::NoPosition,
            PageError::Channel(ChannelError::Csv(_) | ChannelError::Io(_)) => Code::WriteFailed,
            PageError::TooLarge { .. } => Code::BudgetExceeded,
            PageError::NoAxis(_) => Code::UnknownAxis,
            PageError::NoPass => Code::UnknownPass,
            PageError::Plan(_) => Code::NoPlan,
            PageError::Json(_) | PageError::Drawing(_) => Code::WriteFailed,
        }
    }
}

impl Coded for Unreadable {
    fn code(&self) -> Code {
        match self {
            Unreadable::Missing => Code::MissingFile,
            Unreadable::NotAFile(_) => Code::NotAFile,
            Unreadable::TooLarge { .. } => Code::FileTooLarge,
            Unreadable::Refused(_) => Code::UnreadableFile,
        }
    }
}

impl Coded for NotAFolder {
    fn code(&self) -> Code {
        match self {
            NotAFolder::NoFolder(_) => Code::NotAFolder,
            NotAFolder::NotOurs(_) => Code::NotOurs,
            NotAFolder::Refused(..) => Code::UnreadableFile,
        }
    }
}
