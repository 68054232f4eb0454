//! The one error of the library.

use core::fmt;

use crate::bounds::{Code, Flaw};
use crate::compile::CompileError;
use crate::compile::place::NoPose;
use crate::input::{Diagnostic, Rejection};
use crate::output::ExportError;
use crate::output::columns::ColumnError;
use crate::output::rows::RowsError;
use crate::page::PageError;
use crate::program::NoLaw;
use crate::signal::SignalError;
use crate::time::{ClockError, ExposureError, RateError, TimecodeError};
use crate::verify::NotAFolder;

/// Why something was refused or could not be done. It lists everything that was wrong, not the first thing.
///
/// ```
/// use movewright::{Axis, Error};
///
/// let error: Error = Axis::mm("Bridge").travel(10.0..=0.0).build().unwrap_err();
/// let codes: Vec<&str> = error.flaws().iter().map(|f| f.code.slug()).collect();
/// assert_eq!(codes, ["invalid-name", "empty-range", "out-of-range", "out-of-range", "out-of-range"]);
/// ```
#[derive(Debug)]
#[non_exhaustive]
pub enum Error {
    /// Data that was given is flawed.
    Flawed(Vec<Flaw>),
    /// Input files are flawed.
    Rejected(Rejection),
    /// Channels or axes have no curve.
    NoCurve(Vec<CompileError>),
    /// An axis cannot be moved from rest to rest within its limits.
    NoPlan(NoLaw),
    /// Limits are exceeded: one sentence each.
    LimitsExceeded(Vec<String>),
    /// A body or channel has no pose.
    NoPose(NoPose),
    /// Nothing of this name.
    Unknown {
        /// What was looked for.
        what: &'static str,
        /// The name given.
        name: String,
    },
    /// An instant outside the move.
    Outside {
        /// Frame time.
        frame: f64,
    },
    /// Rows were not made.
    Rows(RowsError),
    /// A table was not written.
    Columns(ColumnError),
    /// A folder was not written.
    Export(ExportError),
    /// A page or plot was not made.
    Page(PageError),
    /// There is no folder to verify.
    NotAFolder(NotAFolder),
    /// The system refused.
    Io(std::io::Error),
}

impl Error {
    /// Everything that was wrong, each with its code; one for what has no list of its own.
    #[must_use]
    pub fn flaws(&self) -> Vec<Flaw> {
        let one = |code, title: String| vec![Flaw::new(code, "", title)];
        match self {
            Error::Flawed(flaws) => flaws.clone(),
            Error::Rejected(r) => r.diagnostics().iter().map(of_diagnostic).collect(),
            Error::NoCurve(errors) => errors.iter().map(CompileError::flaw).collect(),
            Error::NoPlan(e) => one(Code::NoPlan, e.to_string()),
            Error::LimitsExceeded(all) => all.iter().map(|s| Flaw::new(Code::LimitExceeded, "", s.clone())).collect(),
            Error::NoPose(e) => one(Code::NoPosition, e.to_string()),
            Error::Unknown { what, .. } => one(
                match *what {
                    "axis" => Code::UnknownAxis,
                    "group" => Code::UnknownGroup,
                    "pass" => Code::UnknownPass,
                    _ => Code::UnknownChannel,
                },
                self.to_string(),
            ),
            Error::Outside { .. } => one(Code::NoPosition, self.to_string()),
            Error::NotAFolder(_) => one(Code::NotAFolder, self.to_string()),
            Error::Rows(_) | Error::Columns(_) | Error::Export(_) | Error::Page(_) | Error::Io(_) => {
                one(Code::WriteFailed, self.to_string())
            }
        }
    }
}

/// Every flaw on a line of its own.
impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fn lines<T: fmt::Display>(f: &mut fmt::Formatter<'_>, all: &[T]) -> fmt::Result {
            for (i, one) in all.iter().enumerate() {
                write!(f, "{}{one}", if i > 0 { "\n" } else { "" })?;
            }
            Ok(())
        }
        match self {
            Error::Flawed(flaws) => lines(f, flaws),
            Error::Rejected(r) => r.fmt(f),
            Error::NoCurve(errors) => lines(f, errors),
            Error::NoPlan(e) => e.fmt(f),
            Error::LimitsExceeded(all) => lines(f, all),
            Error::NoPose(e) => e.fmt(f),
            Error::Unknown { what, name } => write!(f, "there is no {what} `{name}`"),
            Error::Outside { frame } => write!(f, "the move does not reach to frame {frame}"),
            Error::Rows(e) => e.fmt(f),
            Error::Columns(e) => e.fmt(f),
            Error::Export(e) => e.fmt(f),
            Error::Page(e) => e.fmt(f),
            Error::NotAFolder(e) => e.fmt(f),
            Error::Io(e) => e.fmt(f),
        }
    }
}

impl core::error::Error for Error {
    fn source(&self) -> Option<&(dyn core::error::Error + 'static)> {
        match self {
            Error::Io(e) => Some(e),
            Error::Export(e) => Some(e),
            Error::Rows(e) => Some(e),
            Error::Columns(e) => Some(e),
            Error::Page(e) => Some(e),
            Error::NotAFolder(e) => Some(e),
            Error::NoPlan(e) => Some(e),
            _ => None,
        }
    }
}

fn of_diagnostic(d: &Diagnostic) -> Flaw {
    Flaw::new(d.code, "", d.title.clone()).found(d.found.clone(), d.allowed.clone()).help(d.help.clone())
}

macro_rules! from {
    ($($of:ty => $variant:ident;)*) => {
        $(impl From<$of> for Error {
            fn from(error: $of) -> Error {
                Error::$variant(error)
            }
        })*
    };
}

from! {
    Vec<Flaw> => Flawed;
    Rejection => Rejected;
    Vec<CompileError> => NoCurve;
    NoLaw => NoPlan;
    NoPose => NoPose;
    RowsError => Rows;
    ColumnError => Columns;
    ExportError => Export;
    PageError => Page;
    NotAFolder => NotAFolder;
    std::io::Error => Io;
}

impl From<Flaw> for Error {
    fn from(flaw: Flaw) -> Error {
        Error::Flawed(vec![flaw])
    }
}

macro_rules! flawed {
    ($($of:ty => $code:ident, $field:literal;)*) => {
        $(impl From<$of> for Error {
            fn from(error: $of) -> Error {
                Error::Flawed(vec![Flaw::new(Code::$code, $field, error.to_string())])
            }
        })*
    };
}

flawed! {
    RateError => InvalidFrameRate, "frame_rate";
    ExposureError => InvalidFrameSpan, "frames";
    TimecodeError => InvalidTimecode, "timecode_start";
    ClockError => OutOfRange, "seconds_per_frame";
    SignalError => NoCurve, "keys";
}
