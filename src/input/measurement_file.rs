//! A measurement of one axis: a CSV table of commanded and measured positions with the side of approach.
//!
//! Units: of the axis. Header: `commanded,measured,direction`, in any order. Direction: `+` or `1` where the commanded position rose before the reading, `-` or `-1` where it fell. Invariant: every mistake of
//! the file is recorded once, with the line and column of its cell; a blank `measured` is a position not yet measured, which is counted and left out. Limits: [`MOST_READINGS`] rows, [`MOST_READING_BYTES`].

use std::path::Path;
use std::sync::Arc;

use super::csv_row::{self, CsvRow};
use super::lines::byte_order_mark;
use super::log::{Log, Spot};
use super::rejection::Rejection;
use super::{document, values};
use crate::bounds::{Code, Flaw, MOST_READING_BYTES, MOST_READINGS};
use crate::rig::{Approach, Measurement, Reading};
use crate::stage::Axis;

const COLUMNS: [&str; 3] = ["commanded", "measured", "direction"];

const HEADER: &str = "the header commanded,measured,direction";

/// A measurement with what its file leaves out.
#[derive(Debug)]
pub(crate) struct MeasuredFile {
    /// The readings.
    pub(crate) measurement: Measurement,
    /// Rows without a measured position.
    pub(crate) blank: usize,
}

/// Reads a measurement of an axis.
///
/// # Errors
/// Every mistake of the file.
pub(crate) fn read(path: &Path, axis: &Axis) -> Result<MeasuredFile, Rejection> {
    super::alone(path, MOST_READING_BYTES, |log, place, bytes| parsed(log, &place.name, &bytes, axis))
}

fn parsed(log: &mut Log, name: &str, bytes: &Arc<[u8]>, axis: &Axis) -> Option<MeasuredFile> {
    let file = log.add_file(name, bytes);
    let text = document::text(log, file, bytes, usize::MAX)?;
    let shift = byte_order_mark(bytes);
    let mut reader = csv_row::reader(text, shift);
    let mut record = csv::StringRecord::new();
    let mut order: Option<[usize; 3]> = None;
    let (mut readings, mut starts) = (Vec::new(), Vec::new());
    let (mut rows, mut blank) = (0_usize, 0_usize);
    let mut header = Spot { file, bytes: 0..0 };
    // The text is UTF-8 and in memory: reading a record cannot fail, only end.
    while reader.read_record(&mut record).unwrap_or(false) {
        let start = csv_row::start(&record, shift);
        let mut row = CsvRow { log: &mut *log, file, record: &record, bytes, start };
        let Some(order) = order else {
            header = row.spot(0);
            order = Some(read_header(&mut row)?);
            continue;
        };
        if record.iter().all(str::is_empty) || !row.has_width(COLUMNS.len()) {
            continue;
        }
        rows += 1;
        if rows > MOST_READINGS {
            let flaw = Flaw::new(Code::TooMany, "", "too many rows");
            row.report_at(0, flaw.found(format!("row {rows}"), format!("1 to {MOST_READINGS} rows")));
            break;
        }
        if let Some(reading) = reading(&mut row, order) {
            match reading.measured.is_nan() {
                true => blank += 1,
                false => {
                    readings.push(reading);
                    starts.push((start, order));
                }
            }
        }
    }
    if order.is_none() {
        log.add(None, "", Flaw::new(Code::EmptyFile, "", "the measurement is empty").found("no header", HEADER));
    }
    if log.count() > 0 {
        return None;
    }
    match Measurement::new(axis, readings) {
        Ok(measurement) => Some(MeasuredFile { measurement, blank }),
        Err(flaws) => {
            for flaw in flaws {
                let at = flaw.index.and_then(|i| starts.get(i)).map(|(start, order)| {
                    let column = COLUMNS.iter().zip(order).find(|(name, _)| **name == flaw.field).map_or(0, |(_, column)| *column);
                    Spot { file, bytes: csv_row::cell(bytes, *start, column) }
                });
                log.add(Some(at.unwrap_or_else(|| header.clone())), "", flaw);
            }
            None
        }
    }
}

/// Where each of the columns is.
fn read_header(row: &mut CsvRow<'_>) -> Option<[usize; 3]> {
    let before = row.log.count();
    let mut places = [None; 3];
    for (i, title) in row.record.iter().enumerate() {
        let known = COLUMNS.iter().position(|name| *name == title);
        match known.and_then(|column| places.get_mut(column)) {
            Some(place) if place.is_none() => *place = Some(i),
            Some(_) => {
                let flaw = Flaw::new(Code::DuplicateName, "", "two columns share a name");
                row.report_at(i, flaw.found(values::quoted(title), "each column once"));
            }
            None => {
                let mut flaw = Flaw::new(Code::MissingColumn, "", "a column is none of a measurement").found(values::quoted(title), HEADER);
                if title.contains([';', '\t']) {
                    flaw = flaw.help("separate cells with commas, and write decimals with a point");
                }
                row.report_at(i, flaw);
            }
        }
    }
    if let [Some(commanded), Some(measured), Some(direction)] = places {
        return (row.log.count() == before).then_some([commanded, measured, direction]);
    }
    if row.log.count() == before {
        let missing = COLUMNS.iter().zip(places).find(|(_, place)| place.is_none()).map_or("", |(name, _)| name);
        row.report_at(0, Flaw::new(Code::MissingColumn, "", "a column is missing").found(format!("no column `{missing}`"), HEADER));
    }
    None
}

/// The row; measured is NaN where it is blank.
fn reading(row: &mut CsvRow<'_>, [commanded, measured, direction]: [usize; 3]) -> Option<Reading> {
    let from = number(row, commanded);
    let to = if row.record.get(measured).is_some_and(str::is_empty) { Some(f64::NAN) } else { number(row, measured) };
    let approach = match row.record.get(direction).unwrap_or_default() {
        "+" | "1" | "+1" => Some(Approach::Up),
        "-" | "-1" => Some(Approach::Down),
        other => {
            let flaw = Flaw::new(Code::UnknownDirection, "", "the direction of approach is not known");
            let flaw = flaw.found(if other.is_empty() { "a blank cell".to_owned() } else { values::quoted(other) }, "+ or -, or 1 or -1");
            row.report_at(direction, flaw.help("write + if the position rose before the reading, and - if it fell"));
            None
        }
    };
    Some(Reading { commanded: from?, measured: to?, approach: approach? })
}

fn number(row: &mut CsvRow<'_>, cell: usize) -> Option<f64> {
    let text = row.record.get(cell).unwrap_or_default();
    let number = text.parse::<f64>().ok().filter(|x| x.is_finite());
    if number.is_none() {
        let flaw = Flaw::new(Code::NotANumber, "", "a cell is not a number");
        let found = if text.is_empty() { "a blank cell".to_owned() } else { values::quoted(text) };
        row.report_at(cell, flaw.found(found, "a finite number such as 12.5"));
    }
    number
}
