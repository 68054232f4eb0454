//! A recording of markers: where each is, row by row, in mm and s.
//!
//! Invariant: two markers or more, each with the same two or three coordinates; times rise strictly; at least [`FEWEST_ROWS`] rows and a quarter of all have no gap; something moves or spans more than
//! [`SMALLEST`] mm: below that the numbers are metres. A gap stays a gap.

use crate::bounds::{Code, Flaw, counted};

/// Rows without a gap that a study needs. Three points lie on a parabola; a fourth can contradict it.
const FEWEST_ROWS: usize = 4;

/// Smallest size of a recording, mm: the largest range of one coordinate over all markers and rows. A person in metres is smaller (common practice, no source).
const SMALLEST: f64 = 10.0;

/// Usual time from row to row, s, from which on the times may not be seconds: hardly anything is recorded so slowly (common practice, no source).
const SLOW: f64 = 1.0;

/// A checked recording.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Markers {
    names: Vec<String>,
    dimensions: usize,
    times: Vec<f64>,
    lines: Vec<u32>,
    /// By row, then marker, then coordinate; NaN in a gap.
    positions: Vec<f64>,
}

/// What a recording is made from.
#[derive(Debug, Clone, Default)]
pub(crate) struct MarkersSpec {
    /// Names of the markers.
    pub(crate) names: Vec<String>,
    /// 2 or 3 coordinates of each.
    pub(crate) dimensions: usize,
    /// Time of each row, s.
    pub(crate) times: Vec<f64>,
    /// Line of each row in its file.
    pub(crate) lines: Vec<u32>,
    /// By row, then marker, then coordinate, mm; NaN in a gap.
    pub(crate) positions: Vec<f64>,
}

impl Markers {
    /// Checks a recording. Where a flaw is one of a row it has its index.
    ///
    /// # Errors
    /// Every flaw.
    pub(crate) fn new(spec: MarkersSpec) -> Result<Markers, Vec<Flaw>> {
        let MarkersSpec { names, dimensions, times, lines, positions } = spec;
        let mut flaws = Vec::new();
        if names.len() < 2 {
            let flaw = Flaw::new(Code::TooFewMarkers, "markers", "a recording needs two markers or more");
            flaws.push(
                flaw.found(counted(names.len(), "marker"), "2 markers or more")
                    .help("track a second marker: drives are motions of several markers, and a limb moves against a body"),
            );
        }
        for (i, (a, b)) in times.iter().zip(times.iter().skip(1)).enumerate() {
            if !(a < b) {
                let title = if a == b { "two rows share a time" } else { "rows are out of order" };
                let flaw = Flaw::new(Code::TimesOutOfOrder, "time_s", title).at_index(i + 1);
                flaws.push(flaw.found(format!("{b} s after {a} s"), "strictly rising times"));
            }
        }
        if times.len() < FEWEST_ROWS {
            let flaw = Flaw::new(Code::TooFewSamples, "time_s", "the recording has too few rows");
            flaws.push(
                flaw.found(counted(times.len(), "row"), format!("{FEWEST_ROWS} rows or more"))
                    .help("record five beats or more; one whole beat is the least"),
            );
        }
        if !flaws.is_empty() {
            return Err(flaws);
        }
        let markers = Markers { names, dimensions, times, lines, positions };
        let (complete, all) = (markers.complete().len(), markers.times.len());
        if !is_enough(complete, all) {
            let flaw = Flaw::new(Code::TooManyGaps, "markers", "too few rows are complete").found(
                format!("{complete} of {all} rows have every marker"),
                format!("a quarter of the rows, and {FEWEST_ROWS} rows or more"),
            );
            flaws.push(flaw.help(markers.advice_on_gaps()));
        } else if !(markers.size() >= SMALLEST) {
            let flaw = Flaw::new(Code::NotMillimetres, "markers", "the positions look like metres");
            let found = format!("x, y and z of all markers each stay within a range of {:.3}", markers.size());
            flaws.push(
                flaw.found(found, format!("positions in mm: a range of {SMALLEST} mm or more")).help("multiply the positions by 1000"),
            );
        }
        if flaws.is_empty() { Ok(markers) } else { Err(flaws) }
    }

    /// Names of the markers.
    pub(crate) fn names(&self) -> &[String] {
        &self.names
    }

    /// Coordinates of a marker: 2 or 3.
    pub(crate) fn dimensions(&self) -> usize {
        self.dimensions
    }

    /// Coordinates of all markers together.
    pub(crate) fn coordinates(&self) -> usize {
        self.dimensions * self.names.len()
    }

    /// Times of the rows, s.
    pub(crate) fn times(&self) -> &[f64] {
        &self.times
    }

    /// The coordinates of a row, marker by marker.
    pub(crate) fn row(&self, row: usize) -> &[f64] {
        let width = self.coordinates();
        self.positions.get(row * width..(row + 1) * width).unwrap_or_default()
    }

    /// Indices of the rows without a gap.
    pub(crate) fn complete(&self) -> Vec<usize> {
        (0..self.times.len()).filter(|r| self.row(*r).iter().all(|x| x.is_finite())).collect()
    }

    /// Gaps: each marker that has some, with the lines of the file, first and last of each gap.
    pub(crate) fn gaps(&self) -> Vec<(&str, Vec<[u32; 2]>)> {
        let all = self.names.iter().enumerate().map(|(marker, name)| (name.as_str(), self.gaps_of(marker)));
        all.filter(|(_, gaps)| !gaps.is_empty()).collect()
    }

    fn gaps_of(&self, marker: usize) -> Vec<[u32; 2]> {
        let mut gaps: Vec<[u32; 2]> = Vec::new();
        let mut before = false;
        for (row, line) in self.lines.iter().enumerate() {
            let missing = self.is_missing(row, marker);
            match gaps.last_mut() {
                Some([_, last]) if missing && before => *last = *line,
                _ if missing => gaps.push([*line, *line]),
                _ => {}
            }
            before = missing;
        }
        gaps
    }

    fn is_missing(&self, row: usize, marker: usize) -> bool {
        self.row(row).iter().skip(marker * self.dimensions).take(self.dimensions).any(|x| !x.is_finite())
    }

    /// What makes enough rows complete: one marker left out where that is enough.
    fn advice_on_gaps(&self) -> String {
        let all = self.times.len();
        let count = |marker: usize| (0..all).filter(|row| self.is_missing(*row, marker)).count();
        let missing: Vec<(&str, usize)> = self.names.iter().enumerate().map(|(i, name)| (name.as_str(), count(i))).collect();
        let most = missing.iter().copied().enumerate().reduce(|a, b| if b.1.1 > a.1.1 { b } else { a });
        let Some((marker, (name, rows))) = most else { return "track the markers again".to_owned() };
        let is_there = |row: &usize| (0..self.names.len()).all(|m| m == marker || !self.is_missing(*row, m));
        let without = (0..all).filter(is_there).count();
        if self.names.len() > 2 && is_enough(without, all) {
            let of = counted(without, "row");
            return format!("leave out the columns of `{name}`, then {of} of {all} have every marker; or track it again");
        }
        let least = missing.iter().map(|(_, rows)| *rows).min().unwrap_or(0);
        format!("track the markers again, or keep only the seconds in which all are seen: each is missing in {least} to {rows} rows")
    }

    /// The usual time from row to row, s, where it is so long that the times may not be seconds.
    pub(crate) fn slow_step(&self) -> Option<f64> {
        let mut steps: Vec<f64> = self.times.iter().zip(self.times.iter().skip(1)).map(|(a, b)| b - a).collect();
        steps.sort_by(f64::total_cmp);
        steps.get(steps.len() / 2).copied().filter(|step| *step >= SLOW)
    }

    /// Largest range of a coordinate over all markers and rows.
    fn size(&self) -> f64 {
        let range = |axis: usize| {
            let values = self.positions.iter().skip(axis).step_by(self.dimensions.max(1)).filter(|x| x.is_finite());
            let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(*x), high.max(*x)));
            high - low
        };
        (0..self.dimensions).map(range).fold(0.0, f64::max)
    }
}

/// True where so many complete rows of all are enough.
fn is_enough(complete: usize, all: usize) -> bool {
    complete >= FEWEST_ROWS && complete.saturating_mul(4) >= all
}

/// The indices of markers by their names; each that is not there, or is named twice, is a flaw.
pub(crate) fn indices(markers: &Markers, names: &[&str]) -> Result<Vec<usize>, Flaw> {
    let mut found = Vec::new();
    for name in names {
        match markers.names.iter().position(|n| n == name) {
            Some(i) if !found.contains(&i) => found.push(i),
            Some(_) => {
                return Err(Flaw::new(Code::DuplicateName, "--body", format!("`{name}` is named twice")).help("name each marker once"));
            }
            None => {
                let known = markers.names.iter().take(12).map(String::as_str).collect::<Vec<_>>().join(", ");
                let more = markers.names.len().saturating_sub(12);
                let known = if more > 0 { format!("{known} and {more} more") } else { known };
                return Err(Flaw::new(Code::UnknownMarker, "--body", "the recording has no such marker").found(format!("`{name}`"), known));
            }
        }
    }
    Ok(found)
}
