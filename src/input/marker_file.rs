//! A recording of markers: a CSV table with a column of times and two or three columns for each marker.
//!
//! Units: s, mm. Header: `time_s,NAME.x,NAME.y,NAME.z,...`; all markers have `.z`, or none. Invariant: every mistake of the file is recorded once, with the line and column of its cell. A blank cell is
//! a gap of its marker, a row of blank cells no row. Limits: as of key files; at most [`MOST_MARKERS`] markers.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use super::csv_row::{self, CsvRow};
use super::lines::byte_order_mark;
use super::log::{Log, Spot};
use super::rejection::Rejection;
use super::{document, values};
use crate::bounds::{self, Bound, Code, Flaw, MOST_BYTES, MOST_CSV_BYTES, MOST_KEYS, MOST_MARKERS, counted};
use crate::study::Markers;
use crate::study::markers::MarkersSpec;

const HEADER: &str = "the header time_s,NAME.x,NAME.y,NAME.z,NAME.x,...";

/// Reads a recording.
///
/// # Errors
/// Every mistake of the file.
pub(crate) fn read(path: &Path) -> Result<Markers, Rejection> {
    super::alone(path, MOST_BYTES, |log, place, bytes| parsed(log, &place.name, &bytes))
}

/// The recording in a file's bytes; `None` where it has a mistake.
fn parsed(log: &mut Log, name: &str, bytes: &Arc<[u8]>) -> Option<Markers> {
    let file = log.add_file(name, bytes);
    let text = document::text(log, file, bytes, MOST_CSV_BYTES)?;
    let shift = byte_order_mark(bytes);
    let mut reader = csv_row::reader(text, shift);
    let mut record = csv::StringRecord::new();
    let mut spec: Option<(MarkersSpec, Vec<usize>)> = None;
    let mut starts: Vec<Spot> = Vec::new();
    let mut header = Spot { file, bytes: 0..0 };
    // The text is UTF-8 and in memory: reading a record cannot fail, only end.
    while reader.read_record(&mut record).unwrap_or(false) {
        let start = csv_row::start(&record, shift);
        let mut row = CsvRow { log: &mut *log, file, record: &record, bytes, start };
        let Some((spec, order)) = &mut spec else {
            header = row.spot(0);
            spec = Some(read_header(&mut row)?);
            continue;
        };
        if record.iter().all(str::is_empty) || !row.has_width(order.len() + 1) {
            continue;
        }
        if spec.times.len() >= MOST_KEYS {
            let flaw = Flaw::new(Code::TooMany, "", "too many rows");
            row.report_at(0, flaw.found(format!("row {}", spec.times.len() + 1), format!("1 to {MOST_KEYS} rows")));
            break;
        }
        let Some(time) = time(&mut row) else { continue };
        let spot = row.spot(0);
        let mut positions = vec![f64::NAN; order.len()];
        for (cell, to) in order.iter().enumerate() {
            if let Some(slot) = positions.get_mut(*to) {
                *slot = position(&mut row, cell + 1);
            }
        }
        spec.lines.push(log.place(file, spot.bytes.start).line);
        spec.times.push(time);
        spec.positions.extend(positions);
        starts.push(spot);
    }
    let Some((spec, _)) = spec else {
        log.add(None, "", Flaw::new(Code::EmptyFile, "", "the recording is empty").found("no header", HEADER));
        return None;
    };
    if log.count() > 0 {
        return None;
    }
    match Markers::new(spec) {
        Ok(markers) => Some(markers),
        Err(flaws) => {
            for flaw in flaws {
                let spot = flaw.index.and_then(|row| starts.get(row)).unwrap_or(&header).clone();
                log.add(Some(spot), "", flaw);
            }
            None
        }
    }
}

/// The markers, and for each column behind the first where its coordinate goes; `None` where nothing can be made of them.
fn read_header(row: &mut CsvRow<'_>) -> Option<(MarkersSpec, Vec<usize>)> {
    let first = row.record.get(0).unwrap_or_default();
    if first != "time_s" {
        let mut flaw = Flaw::new(Code::MissingColumn, "", "the first column is not `time_s`").found(values::quoted(first), HEADER);
        if first.contains([';', '\t']) {
            flaw = flaw.help("separate cells with commas, and write decimals with a point");
        } else {
            flaw = flaw.help("head the first column `time_s` and write seconds: frames divided by the frame rate");
        }
        row.report_at(0, flaw);
        return None;
    }
    let before = row.log.count();
    // By name: the marker's place in the order of the file, and the columns of x, y and z.
    let mut markers: BTreeMap<&str, (usize, [Option<usize>; 3])> = BTreeMap::new();
    let mut names: Vec<&str> = Vec::new();
    for (i, title) in row.record.iter().enumerate().skip(1) {
        let split = title.rsplit_once('.').and_then(|(name, axis)| Some((name, ["x", "y", "z"].iter().position(|a| *a == axis)?)));
        let Some((name, axis)) = split.filter(|(name, _)| !name.is_empty()) else {
            let flaw = Flaw::new(Code::MissingColumn, "", "a column is not a coordinate of a marker");
            row.report_at(
                i,
                flaw.found(values::quoted(title), "NAME.x, NAME.y or NAME.z").help("remove the column, or name its marker and its axis"),
            );
            continue;
        };
        let (_, columns) = markers.entry(name).or_insert_with(|| {
            names.push(name);
            (names.len() - 1, [None; 3])
        });
        match columns.get_mut(axis) {
            Some(column) if column.is_none() => *column = Some(i),
            _ => {
                let flaw = Flaw::new(Code::DuplicateName, "", "two columns share a name");
                row.report_at(i, flaw.found(values::quoted(title), "one column for each coordinate of a marker"));
            }
        }
    }
    if names.is_empty() && row.log.count() == before {
        row.report_at(0, Flaw::new(Code::NoKeys, "", "the recording has no marker").found("the column `time_s` alone", HEADER));
    }
    if names.len() > MOST_MARKERS {
        let flaw = Flaw::new(Code::TooMany, "", "too many markers");
        row.report_at(0, flaw.found(counted(names.len(), "marker"), format!("at most {MOST_MARKERS}")));
    }
    let dimensions = if markers.values().any(|(_, [.., z])| z.is_some()) { 3 } else { 2 };
    for name in &names {
        let columns = markers.get(name).map(|(_, columns)| *columns).unwrap_or_default();
        let missing = columns.iter().zip(["x", "y", "z"]).take(dimensions).find(|(column, _)| column.is_none());
        if let Some((_, axis)) = missing.filter(|_| row.log.count() == before) {
            let there = columns.iter().flatten().next().copied().unwrap_or(0);
            let flaw = Flaw::new(Code::MissingColumn, "", format!("`{}` has no `.{axis}`", values::cut(name, 130)));
            let allowed = if dimensions == 3 { "x, y and z of every marker" } else { "x and y of every marker" };
            let flaw = flaw.found(format!("no column `{}.{axis}`", values::cut(name, 130)), allowed);
            row.report_at(there, flaw.help("add the column, or remove the other columns of this marker"));
        }
    }
    if row.log.count() > before {
        return None;
    }
    let mut order = vec![0; row.record.len().saturating_sub(1)];
    for (marker, columns) in markers.values() {
        for (axis, column) in columns.iter().enumerate() {
            if let Some(slot) = column.and_then(|c| order.get_mut(c - 1)) {
                *slot = marker * dimensions + axis;
            }
        }
    }
    let names = names.into_iter().map(str::to_owned).collect();
    Some((MarkersSpec { names, dimensions, ..MarkersSpec::default() }, order))
}

fn time(row: &mut CsvRow<'_>) -> Option<f64> {
    let cell = row.record.get(0).unwrap_or_default();
    if cell.is_empty() {
        let flaw = Flaw::new(Code::MissingFrame, "", "a row has positions but no time");
        row.report_at(0, flaw.found("a blank cell", "seconds in the first column"));
        return None;
    }
    number(row, 0, cell, bounds::SAMPLE_TIME)
}

/// A coordinate; NaN in a gap, and where it is no number, which is recorded.
fn position(row: &mut CsvRow<'_>, cell: usize) -> f64 {
    match row.record.get(cell).unwrap_or_default() {
        "" => f64::NAN,
        text => number(row, cell, text, bounds::MARKER).unwrap_or(f64::NAN),
    }
}

fn number(row: &mut CsvRow<'_>, cell: usize, text: &str, range: Bound) -> Option<f64> {
    let Some(number) = text.parse::<f64>().ok().filter(|x| x.is_finite()) else {
        let flaw = Flaw::new(Code::NotANumber, "", "a cell is not a number");
        row.report_at(cell, flaw.found(values::quoted(text), "a finite number such as 12.5, or a blank cell for a gap"));
        return None;
    };
    match range.check("", number) {
        Ok(number) => Some(number),
        Err(flaw) => {
            row.report_at(cell, flaw);
            None
        }
    }
}
