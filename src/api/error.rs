//! The one error of the library.

use core::fmt;

use crate::bounds::{Code, Flaw};
use crate::compile::CompileError;
use crate::input::{Diagnostic, Rejection};
use crate::output::ExportError;
use crate::output::columns::ColumnError;
use crate::output::rows::RowsError;
use crate::page::PageError;
use crate::program::NoPlan;
use crate::signal::SignalError;
use crate::time::{ClockError, ExposureError, RateError, TimecodeError};
use crate::verify::NotAFolder;

/// Why something was refused or could not be done. It lists everything that was wrong, not the first thing.
///
/// ```
/// use movewright::{Axis, Error};
///
/// let error: Error = Axis::mm("Bridge").travel(10.0..=0.0).build().unwrap_err();
/// let codes: Vec<&str> = error.flaws().iter().map(|f| f.code()).collect();
/// assert_eq!(codes, ["invalid-name", "empty-range", "out-of-range", "out-of-range", "out-of-range"]);
/// ```
pub struct Error(Kind);

/// What it is about.
#[derive(Debug)]
pub(super) enum Kind {
    /// Data that was given is flawed.
    Flawed(Vec<Flaw>),
    /// Input files are flawed.
    Rejected(Rejection),
    /// Channels or axes have no curve.
    NoCurve(Vec<CompileError>),
    /// A pass has no plan.
    NoPlan(NoPlan),
    /// Limits are exceeded: one sentence each.
    LimitsExceeded(Vec<String>),
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
        match &self.0 {
            Kind::Flawed(flaws) => flaws.clone(),
            Kind::Rejected(r) => r.diagnostics().iter().map(of_diagnostic).collect(),
            Kind::NoCurve(errors) => errors.iter().map(CompileError::flaw).collect(),
            Kind::NoPlan(e) => one(Code::NoPlan, e.to_string()),
            Kind::LimitsExceeded(all) => all.iter().map(|s| Flaw::new(Code::LimitExceeded, "", s.clone())).collect(),
            Kind::Unknown { what, .. } => one(
                match *what {
                    "axis" => Code::UnknownAxis,
                    "group" => Code::UnknownGroup,
                    "pass" => Code::UnknownPass,
                    _ => Code::UnknownChannel,
                },
                self.to_string(),
            ),
            Kind::Outside { .. } => one(Code::NoPosition, self.to_string()),
            Kind::NotAFolder(_) => one(Code::NotAFolder, self.to_string()),
            Kind::Rows(_) | Kind::Columns(_) | Kind::Export(_) | Kind::Page(_) | Kind::Io(_) => one(Code::WriteFailed, self.to_string()),
        }
    }

    /// Every mistake of input files with its place, where that is what was wrong.
    #[must_use]
    pub fn rejection(&self) -> Option<&Rejection> {
        match &self.0 {
            Kind::Rejected(rejection) => Some(rejection),
            _ => None,
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
        match &self.0 {
            Kind::Flawed(flaws) => lines(f, flaws),
            Kind::Rejected(r) => r.fmt(f),
            Kind::NoCurve(errors) => lines(f, errors),
            Kind::NoPlan(e) => e.fmt(f),
            Kind::LimitsExceeded(all) => lines(f, all),
            Kind::Unknown { what, name } => write!(f, "there is no {what} `{name}`"),
            Kind::Outside { frame } => write!(f, "the move does not reach frame {frame}"),
            Kind::Rows(e) => e.fmt(f),
            Kind::Columns(e) => e.fmt(f),
            Kind::Export(e) => e.fmt(f),
            Kind::Page(e) => e.fmt(f),
            Kind::NotAFolder(e) => e.fmt(f),
            Kind::Io(e) => e.fmt(f),
        }
    }
}

impl core::error::Error for Error {
    fn source(&self) -> Option<&(dyn core::error::Error + 'static)> {
        match &self.0 {
            Kind::Io(e) => Some(e),
            Kind::Export(e) => Some(e),
            Kind::Rows(e) => Some(e),
            Kind::Columns(e) => Some(e),
            Kind::Page(e) => Some(e),
            Kind::NotAFolder(e) => Some(e),
            Kind::NoPlan(e) => Some(e),
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
                Error(Kind::$variant(error))
            }
        })*
    };
}

from! {
    Vec<Flaw> => Flawed;
    Rejection => Rejected;
    Vec<CompileError> => NoCurve;
    NoPlan => NoPlan;
    RowsError => Rows;
    ColumnError => Columns;
    ExportError => Export;
    PageError => Page;
    NotAFolder => NotAFolder;
    std::io::Error => Io;
}

/// What was wrong is printed for people in either form: an example's `main` may return it.
impl fmt::Debug for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl From<Kind> for Error {
    fn from(kind: Kind) -> Error {
        Error(kind)
    }
}

impl From<Flaw> for Error {
    fn from(flaw: Flaw) -> Error {
        Error(Kind::Flawed(vec![flaw]))
    }
}

macro_rules! flawed {
    ($($of:ty => $code:ident, $field:literal;)*) => {
        $(impl From<$of> for Error {
            fn from(error: $of) -> Error {
                Error(Kind::Flawed(vec![Flaw::new(Code::$code, $field, error.to_string())]))
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
