//! Where a machine stands: a file of two columns, `axis,steps`, read after referencing.
//!
//! Invariant: one count for each axis of the stage, inside its travel; nothing is taken as standing at home unsaid. Limits: whether the machine stands there is not known here.

use std::path::Path;

use crate::bounds::Code;
use crate::files::{self, Unreadable};
use crate::stage::{AxisId, PerAxis, Stage};

/// Bytes of such a file: far beyond that of any stage.
const MOST: u64 = 16 * 1024 * 1024;

/// Why positions were not read.
#[derive(Debug, thiserror::Error)]
pub(crate) enum PositionsError {
    /// The file cannot be read.
    #[error("cannot read `{file}`: {why}")]
    File {
        /// The file.
        file: String,
        /// Why.
        why: Unreadable,
    },
    /// A line that is not as it should be.
    #[error("{file}:{line}: {what}")]
    Line {
        /// The file.
        file: String,
        /// From 1.
        line: usize,
        /// What was found, what is allowed.
        what: String,
    },
    /// An axis without a line.
    #[error("{file} has no line for axis {axis}{more}; write one line `axis,steps` for each axis of the stage")]
    Missing {
        /// The file.
        file: String,
        /// The first such axis.
        axis: String,
        /// How many more.
        more: String,
    },
}

impl PositionsError {
    /// Its code.
    pub(crate) fn code(&self) -> Code {
        match self {
            PositionsError::File { why: Unreadable::Missing, .. } => Code::MissingFile,
            PositionsError::File { why: Unreadable::NotAFile(_), .. } => Code::NotAFile,
            PositionsError::File { why: Unreadable::TooLarge { .. }, .. } => Code::FileTooLarge,
            PositionsError::File { why: Unreadable::Refused(_), .. } => Code::UnreadableFile,
            PositionsError::Line { .. } | PositionsError::Missing { .. } => Code::InvalidLog,
        }
    }
}

/// The positions that a file holds. Unit: unit.
///
/// # Errors
/// [`PositionsError`].
pub(crate) fn read(path: &Path, stage: &Stage) -> Result<PerAxis<f64>, PositionsError> {
    let file = path.display().to_string();
    let bytes = files::read(path, MOST).map_err(|why| PositionsError::File { file: file.clone(), why })?;
    positions(&file, &String::from_utf8_lossy(&bytes), stage)
}

fn positions(file: &str, text: &str, stage: &Stage) -> Result<PerAxis<f64>, PositionsError> {
    let wrong = |line: usize, what: String| PositionsError::Line { file: file.to_owned(), line, what };
    let mut found: Vec<Option<f64>> = stage.axis_ids().map(|_| None).collect();
    let mut lines = text.trim_start_matches('\u{feff}').lines().enumerate();
    let header = lines.next().map_or("", |(_, line)| line.trim());
    if header != "axis,steps" {
        return Err(wrong(1, format!("the header is `{}`, expected `axis,steps`", header.chars().take(64).collect::<String>())));
    }
    for (index, line) in lines.filter(|(_, line)| !line.trim().is_empty()) {
        let at = |what: String| wrong(index + 1, what);
        let cut = |text: &str| text.trim().chars().take(64).collect::<String>();
        let Some((name, steps)) = line.split_once(',') else { return Err(at(format!("`{}` is not `axis,steps`", cut(line)))) };
        let Some(id) = stage.axis_ids().find(|id| stage.axis_name(*id) == name.trim()) else {
            return Err(at(format!("the stage has no axis `{}`", cut(name))));
        };
        let steps: i64 = steps.trim().parse().map_err(|_| at(format!("`{}` is not a whole number of steps", cut(steps))))?;
        let position = position(stage, id, steps).ok_or_else(|| {
            let travel = stage.axis(id).travel();
            at(format!("axis {} at {steps} steps is outside its travel of {} to {}", name.trim(), travel.lower, travel.upper))
        })?;
        match found.get_mut(id.index()) {
            Some(slot @ None) => *slot = Some(position),
            _ => return Err(at(format!("axis {} has a line already", name.trim()))),
        }
    }
    let left: Vec<&str> =
        stage.axis_ids().filter(|id| found.get(id.index()).copied().flatten().is_none()).map(|id| stage.axis_name(id)).collect();
    PerAxis::try_new(stage, |id| found.get(id.index()).copied().flatten().ok_or(())).map_err(|()| PositionsError::Missing {
        file: file.to_owned(),
        axis: left.first().copied().unwrap_or_default().to_owned(),
        more: if left.len() > 1 { format!(" and {} more", left.len() - 1) } else { String::new() },
    })
}

/// Where an axis is on this step; `None` outside its travel.
fn position(stage: &Stage, id: AxisId, steps: i64) -> Option<f64> {
    let axis = stage.axis(id);
    let position = axis.position_of(steps);
    let travel = axis.travel();
    (travel.lower <= position && position <= travel.upper && axis.count(position) == Some(steps)).then_some(position)
}
