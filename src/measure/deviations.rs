//! What a take was off in every frame: its positions less those of the pass, axis by axis.
//!
//! Units: those of the axis, in the direction of positive travel. Invariant: an axis with a column has a deviation in every frame of the pass; nothing is filled in. Memory: one number for each
//! logged axis and frame.

use std::io::{Read, Seek};

use super::facts::{AxisFacts, LogUnits};
use super::log::LogError;
use super::rows::{Input, Reading, Run, Table, walk};

/// A take, less its pass.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Deviations {
    /// For each axis one number for each frame of the pass, mm or deg; empty where the log has no column for it.
    pub(crate) by_axis: Vec<Vec<f64>>,
    /// Axes without a column.
    pub(crate) not_logged: Vec<String>,
}

/// Reads a take in step with its pass.
///
/// # Errors
/// As [`compare`](super::compare); a frame of the pass that the log lacks, a cell that is blank.
pub(crate) fn deviations<R: Read + Seek + Send>(
    pass: Input<R>,
    take: Input<R>,
    axes: &[AxisFacts],
    units: LogUnits,
) -> Result<Deviations, LogError> {
    let names: Vec<&str> = axes.iter().map(|a| a.name.as_str()).collect();
    let mut pass = Table::open(pass, &names)?;
    let mut takes = [Table::open(take, &names)?];
    let log = takes[0].name.clone();
    let logged: Vec<usize> = takes[0].log.logged().collect();
    let mut by_axis = vec![Vec::new(); axes.len()];
    let mut missing: Option<String> = None;
    walk(&mut pass, &mut takes, axes.len(), Reading::default(), &mut |run| {
        if missing.is_none() {
            missing = add(run, axes, &logged, units, &mut by_axis);
        }
    })?;
    if let Some(what) = missing {
        return Err(LogError { log, line: 0, what });
    }
    let not_logged = axes.iter().enumerate().filter(|(i, _)| !logged.contains(i)).map(|(_, f)| f.name.clone()).collect();
    Ok(Deviations { by_axis, not_logged })
}

/// Adds a stretch of frames; what is missing, where something is.
fn add(run: &Run<'_>, axes: &[AxisFacts], logged: &[usize], units: LogUnits, by_axis: &mut [Vec<f64>]) -> Option<String> {
    let first = run.frames.first()?;
    let Some(log) = run.takes.first().copied().flatten() else {
        return Some(format!("has no frame {first}; measured positions need every frame of the pass"));
    };
    for axis in logged {
        let (facts, into) = (axes.get(*axis)?, by_axis.get_mut(*axis)?);
        let factor = facts.to_steps(units) / facts.steps_per_unit;
        let of = |rows: &'_ [f64]| rows.iter().skip(*axis).step_by(run.stride).copied().collect::<Vec<f64>>();
        for ((frame, measured), planned) in run.frames.iter().zip(of(log)).zip(of(run.pass)) {
            let off = (measured - planned) * factor;
            if !off.is_finite() {
                return Some(format!(
                    "has no position of {} in frame {frame}; measured positions need every frame of the pass",
                    facts.name
                ));
            }
            into.push(off);
        }
    }
    None
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "tests")]
mod tests {
    use super::*;

    fn input(name: &str, text: &str) -> Input<std::io::Cursor<Vec<u8>>> {
        Input { name: name.into(), reader: std::io::Cursor::new(text.as_bytes().to_vec()) }
    }

    fn axes() -> Vec<AxisFacts> {
        let axis = |name: &str, reversed| AxisFacts {
            name: name.into(),
            unit: "mm",
            steps_per_unit: 4.0,
            reversed,
            microsteps: 16,
            backlash: None,
            pixels_per_unit: None,
        };
        vec![axis("a", false), axis("b", true), axis("c", false)]
    }

    #[test]
    fn units_and_directions() {
        let pass = "frame,timecode,a,b,c\n1,x,10,10,0\n2,x,20,20,0\n";
        let found = deviations(input("pass", pass), input("log", "frame,b,a\n1,10,14\n2,16,20\n"), &axes(), LogUnits::Steps).unwrap();
        assert_eq!(found.by_axis, [vec![1.0, 0.0], vec![0.0, 1.0], vec![]]);
        assert_eq!(found.not_logged, ["c"]);
        let found = deviations(input("pass", pass), input("log", "frame,b\n1,10\n2,16\n"), &axes(), LogUnits::Units).unwrap();
        assert_eq!(found.by_axis[1], [0.0, -4.0]);
    }

    #[test]
    fn nothing_is_filled_in() {
        let pass = "frame,a,b,c\n1,10,10,0\n2,20,20,0\n3,30,30,0\n";
        for (log, what) in [
            ("frame,a\n1,10\n3,30\n", "log: has no frame 2; measured positions need every frame of the pass"),
            ("frame,a\n1,10\n2,20\n", "log: has no frame 3; measured positions need every frame of the pass"),
            ("frame,a\n1,10\n2,\n3,30\n", "log: has no position of a in frame 2; measured positions need every frame of the pass"),
        ] {
            let error = deviations(input("pass", pass), input("log", log), &axes(), LogUnits::Steps).unwrap_err().to_string();
            assert_eq!(error, what);
        }
    }
}
