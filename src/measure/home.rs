//! Steps lost between two readings of the home switches.
//!
//! What: an open-loop stepper counts the steps that were commanded. Where its home switch trips at another count after a take than before, the difference is steps lost, as far as it is
//! more than the switch's own scatter. Each axis has one or more readings before and after. With the pooled variance s^2 of both, at least 1/12 (whole steps), and n and m readings,
//! t = difference / (s sqrt(1/n + 1/m)) has n + m - 2 degrees of freedom.
//! Criterion: steps are lost where the probability of such a t without a loss, times the number of axes, is below 0.01. With one reading before and one after there is no
//! scatter: there a difference of a full step or more counts as lost.
//! Source: Student's t for two samples (textbook); its distribution is [`student`].
//! Units: steps, in the direction of positive travel.

use std::io::Read;

use serde::Serialize;

use super::facts::AxisFacts;
use super::log::LogError;
use super::rows::Input;
use super::statistics::spread;
use super::sums::ROUNDING;
use crate::bounds::visible;
use crate::number::student;

/// Probability that any axis is wrongly said to have lost steps.
const WRONGLY: f64 = 0.01;

/// Most readings of one axis.
const MOST: usize = 1000;

/// What the home switches say.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct HomeComparison {
    /// True where no axis lost steps.
    pub no_steps_lost: bool,
    /// Axes with readings before and after, in order of the stage.
    pub axes: Vec<HomeAxis>,
    /// Axes without readings on one side or both.
    pub not_read: Vec<String>,
}

/// One axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[non_exhaustive]
pub struct HomeAxis {
    /// Full name.
    pub axis: String,
    /// `mm` or `deg`.
    pub unit: &'static str,
    /// Readings before and after.
    pub readings_before: usize,
    /// Readings after.
    pub readings_after: usize,
    /// Mean count after less mean count before, steps of positive travel.
    pub difference_steps: f64,
    /// The same in units.
    pub difference_units: f64,
    /// Standard deviation of one reading; null where each side has one reading.
    pub scatter_steps: Option<f64>,
    /// The least difference that counts as lost.
    pub least_steps: f64,
    /// Whether steps were lost.
    pub lost: bool,
    /// Full steps lost, as the nearest whole number; 0 where none.
    pub full_steps: i64,
}

/// Compares where the home switches tripped before with where they did after.
///
/// # Errors
/// A table that cannot be read or names no axis of the stage.
pub fn homes<R: Read>(before: Input<R>, after: Input<R>, axes: &[AxisFacts]) -> Result<HomeComparison, LogError> {
    let names = (before.name.clone(), after.name.clone());
    let of = |input| {
        let counts = counts(input, &axes.iter().map(|facts| facts.name.as_str()).collect::<Vec<_>>())?;
        Ok::<_, LogError>(counts.iter().map(|axis| axis.iter().map(|n| *n as f64).collect::<Vec<f64>>()).collect::<Vec<_>>())
    };
    let (before, after) = (of(before)?, of(after)?);
    let both = |(b, a): (&Vec<f64>, &Vec<f64>)| !b.is_empty() && !a.is_empty();
    let tried = before.iter().zip(&after).filter(|p| both(*p)).count() as f64;
    let mut found = Vec::new();
    let mut not_read = Vec::new();
    for ((facts, before), after) in axes.iter().zip(&before).zip(&after) {
        match one(facts, before, after, tried) {
            Some(axis) => found.push(axis),
            None => not_read.push(facts.name.clone()),
        }
    }
    if found.is_empty() {
        let what = format!("has no axis with a reading that {} has too; expected the same axes in both", names.0);
        return Err(LogError { log: names.1, line: 0, what });
    }
    Ok(HomeComparison { no_steps_lost: found.iter().all(|a| !a.lost), axes: found, not_read })
}

fn one(facts: &AxisFacts, before: &[f64], after: &[f64], tried: f64) -> Option<HomeAxis> {
    let ((mean_before, s_before), (mean_after, s_after)) = (spread(before)?, spread(after)?);
    let (n, m) = (before.len() as f64, after.len() as f64);
    let freedom = before.len() + after.len() - 2;
    let squares =
        s_before.unwrap_or(0.0) * s_before.unwrap_or(0.0) * (n - 1.0) + s_after.unwrap_or(0.0) * s_after.unwrap_or(0.0) * (m - 1.0);
    let scatter = (freedom > 0).then(|| (squares / freedom as f64).sqrt());
    let full = f64::from(facts.microsteps);
    let least = scatter.map_or(full, |s| {
        let error = (s * s).max(ROUNDING).sqrt() * (1.0 / n + 1.0 / m).sqrt();
        error * student::exceeded_by(freedom, WRONGLY / tried.max(1.0))
    });
    let way = if facts.reversed { -1.0 } else { 1.0 };
    let difference = (mean_after - mean_before) * way + 0.0;
    let lost = difference.abs() >= least;
    let full_steps = crate::number::whole::nearest(difference / full).filter(|_| lost).unwrap_or(0);
    Some(HomeAxis {
        axis: facts.name.clone(),
        unit: facts.unit,
        readings_before: before.len(),
        readings_after: after.len(),
        difference_steps: difference,
        difference_units: difference / facts.steps_per_unit,
        scatter_steps: scatter,
        least_steps: least,
        lost,
        full_steps,
    })
}

/// Counts at the home switches, axis by axis in the order of `axes`: a table `axis,steps`, any number of readings of each axis.
///
/// # Errors
/// A table that cannot be read, has another header, names an unknown axis, or holds anything but whole numbers; more than [`MOST`] readings of one axis.
pub(crate) fn counts<R: Read>(input: Input<R>, axes: &[&str]) -> Result<Vec<Vec<i64>>, LogError> {
    let name = input.name;
    let wrong = |line: u64, what: String| LogError { log: name.clone(), line, what };
    let shown = |text: &str| visible(&text.chars().take(60).collect::<String>());
    let mut table = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(input.reader);
    let header: Vec<String> = table.headers().map_err(|e| wrong(0, format!("cannot be read: {e}")))?.iter().map(str::to_owned).collect();
    if header.iter().map(|h| h.trim_start_matches('\u{feff}')).ne(["axis", "steps"]) {
        return Err(wrong(1, format!("the header is `{}`, expected `axis,steps`", shown(&header.join(",")))));
    }
    let mut all = vec![Vec::new(); axes.len()];
    for row in table.records() {
        let row = row.map_err(|e| {
            wrong(e.position().map_or(0, csv::Position::line), "the row does not have two cells, expected `axis,steps`".to_owned())
        })?;
        let line = row.position().map_or(0, csv::Position::line);
        let (axis, steps) = (row.get(0).unwrap_or_default(), row.get(1).unwrap_or_default());
        let place = axes.iter().position(|name| *name == axis);
        let place = place.ok_or_else(|| wrong(line, format!("`{}` is not an axis of this stage", shown(axis))))?;
        let number = steps.parse::<i64>().ok().filter(|n| n.unsigned_abs() as f64 <= crate::number::whole::EXACT);
        let number =
            number.ok_or_else(|| wrong(line, format!("the count of {axis} is `{}`, expected a whole number of steps", shown(steps))))?;
        let Some(counts) = all.get_mut(place) else { continue };
        if counts.len() == MOST {
            return Err(wrong(line, format!("{axis} has more than {MOST} readings")));
        }
        counts.push(number);
    }
    Ok(all)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn axis(microsteps: u32, reversed: bool) -> AxisFacts {
        AxisFacts {
            name: "heron.lift".into(),
            unit: "mm",
            steps_per_unit: 100.0,
            reversed,
            microsteps,
            backlash: None,
            pixels_per_unit: None,
        }
    }

    fn found(before: &str, after: &str, facts: &AxisFacts) -> HomeAxis {
        let input = |name: &str, counts: &str| {
            let rows: String = counts.split(' ').map(|c| format!("heron.lift,{c}\n")).collect();
            Input { name: name.into(), reader: std::io::Cursor::new(format!("axis,steps\n{rows}").into_bytes()) }
        };
        homes(input("before", before), input("after", after), core::slice::from_ref(facts)).unwrap().axes.remove(0)
    }

    #[test]
    fn a_loss_beyond_the_scatter_is_named_and_scatter_is_not() {
        let lost = found("1 -1 0 2 -2", "-31 -33 -32 -30 -34", &axis(16, false));
        assert_eq!((lost.lost, lost.difference_steps, lost.full_steps), (true, -32.0, -2));
        // D: s^2 = 2.5, error = sqrt(2.5 x 2/5) = 1, t of 8 degrees of freedom at 1 % = 3.355.
        assert!((lost.least_steps - 3.355).abs() < 1e-3, "{}", lost.least_steps);
        assert!(!found("1 -1 0 2 -2", "4 2 3 5 1", &axis(16, false)).lost, "3 is within");
        assert!(found("1 -1 0 2 -2", "5 3 4 6 2", &axis(16, false)).lost, "4 is beyond");
        assert_eq!(found("0 1", "-32 -31", &axis(16, true)).difference_steps, 32.0);
    }

    #[test]
    fn one_reading_on_each_side_counts_from_a_full_step_on() {
        for (after, lost) in [("15", false), ("16", true), ("-16", true), ("0", false)] {
            let found = found("0", after, &axis(16, false));
            assert_eq!((found.lost, found.scatter_steps), (lost, None), "{after}");
        }
    }

    #[test]
    fn wrong_tables_are_refused_with_their_line() {
        let input = |text: &str| Input { name: "after".into(), reader: std::io::Cursor::new(text.as_bytes().to_vec()) };
        for (text, what) in [
            ("", "after, line 1: the header is ``, expected `axis,steps`"),
            ("axis,count\n", "after, line 1: the header is `axis,count`, expected `axis,steps`"),
            ("axis,steps\nheron.yaw,1\n", "after, line 2: `heron.yaw` is not an axis of this stage"),
            ("axis,steps\nheron.lift,nan\n", "after, line 2: the count of heron.lift is `nan`, expected a whole number of steps"),
            ("axis,steps\nheron.lift,0.5\n", "after, line 2: the count of heron.lift is `0.5`, expected a whole number of steps"),
            ("axis,steps\nheron.lift,1,2\n", "after, line 2: the row does not have two cells, expected `axis,steps`"),
            ("axis,steps\n", "after: has no axis with a reading that before has too; expected the same axes in both"),
        ] {
            let before = Input { name: "before".into(), reader: std::io::Cursor::new(b"axis,steps\nheron.lift,0\n".to_vec()) };
            assert_eq!(homes(before, input(text), &[axis(16, false)]).unwrap_err().to_string(), what);
        }
    }
}
