//! `movewright compare`: which pass of the folder a log is of, where it is not of the one that was asked for.

use std::path::Path;

use super::args::CompareArgs;
use super::compare_folder::{Failure, WrittenFolder, opened, wrong};
use super::wrap;
use crate::bounds::Code;
use crate::measure::{self, Asked, AxisFacts, Candidate, Comparison, FittingPass, LogError, LogUnits, TakeFacts};

/// The tables of a folder, and what the logs were compared with.
pub(super) struct Tables<'a> {
    pub(super) folder: &'a WrittenFolder,
    pub(super) axes: &'a [AxisFacts],
    pub(super) pass: &'a str,
    pub(super) units: LogUnits,
}

/// What was found.
#[derive(Default)]
pub(super) struct Fits {
    /// By log, in the order of the logs.
    pub(super) passes: Vec<FittingPass>,
    /// Tables that were changed or cannot be read.
    pub(super) not_read: Vec<String>,
}

impl Tables<'_> {
    /// The passes that the logs fit which deviate by more than noise.
    ///
    /// # Errors
    /// A log that cannot be read again.
    pub(super) fn fits(&self, args: &CompareArgs, c: &Comparison) -> Result<Fits, Failure> {
        let mut all = Fits::default();
        let deviates = |t: &TakeFacts| !t.unexplained.is_empty() || c.causes.iter().any(|cause| cause.log == t.log);
        for (log, take) in args.logs.iter().zip(&c.takes).filter(|(_, take)| deviates(take)) {
            let found = self.of(log, Some(&take.unexplained))?;
            all.passes.extend(found.passes);
            all.not_read.extend(found.not_read.into_iter().filter(|table| !all.not_read.contains(table)).collect::<Vec<_>>());
        }
        Ok(all)
    }

    /// An error of a log, with the pass that it fits where there is one.
    pub(super) fn with_fits(&self, args: &CompareArgs, error: &LogError) -> String {
        let of = args.logs.iter().find(|log| error.line == 0 && log.display().to_string() == error.log);
        let found = of.and_then(|log| self.of(log, None).ok()).unwrap_or_default();
        let fits: String = found.passes.iter().map(|fits| format!("; it {}", fits.message)).collect();
        format!("{error}{fits}")
    }

    fn of(&self, log: &Path, unexplained: Option<&[String]>) -> Result<Fits, Failure> {
        let (mut candidates, mut not_read) = (Vec::new(), Vec::new());
        for entry in &self.folder.manifest.passes {
            for (units, file) in [(LogUnits::Steps, &entry.steps), (LogUnits::Units, &entry.units)] {
                let table = self.folder.table(file).and_then(|path| opened(&path));
                match table {
                    Ok(table) => candidates.push(Candidate { pass: entry.name.clone(), units, table }),
                    Err(_) => not_read.push(file.clone()),
                }
            }
        }
        let asked = Asked { pass: self.pass, units: self.units, unexplained };
        let found = measure::recognise(opened(log)?, asked, candidates, self.axes);
        let (passes, unreadable) = found.map_err(|e| wrong(Code::InvalidLog, e))?;
        not_read.extend(unreadable);
        Ok(Fits { passes, not_read })
    }
}

impl Fits {
    /// What is said of each log that is likely of another move.
    pub(super) fn lines(&self, text: &mut String, c: &Comparison) {
        for fits in &self.passes {
            wrap::line(text, &format!("{}: {}", fits.log, fits.message), 2);
        }
        for t in c.takes.iter().filter(|t| t.another_move && self.passes.iter().all(|fits| fits.log != t.log)) {
            let what =
                "most moving axes deviate in a way that no fault explains, and no pass of this folder fits, at any rate that was tried";
            wrap::line(text, &format!("{}: {what}; check whether this is the log of another shot", t.log), 2);
        }
        if !self.not_read.is_empty() {
            wrap::line(text, &format!("not tried, because changed or not readable: {}", self.not_read.join(", ")), 2);
        }
    }
}
