//! A measurement of one axis: a CSV table of commanded and measured positions with the side of approach.
//!
//! Units: of the axis. Header: `commanded,measured,direction`, in any order. Direction: `+` or `1` where the commanded position rose before the reading, `-` or `-1` where it fell. Invariant: every mistake of
//! the file is recorded once, with the line and column of its cell; a blank `measured` is a position not yet measured, which is counted and left out. Limits: [`MOST_READINGS`] rows, [`MOST_READING_BYTES`].

use std::path::Path;
use std::sync::Arc;

use super::lines::byte_order_mark;
use super::log::{Log, Spot};
use super::rejection::Rejection;
use super::sources::{self, Sources};
use super::{FilePlace, document, files, key_file, values};
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
    let place = FilePlace::of(path)?;
    let mut log = Log::new(Sources::in_folders(place.folders));
    if let Err(flaw) = sources::check_file_name(&place.name) {
        log.add(None, "", flaw);
        return Err(log.reject());
    }
    let measured = match crate::files::read(&place.folder.join(&place.name), MOST_READING_BYTES) {
        Ok(bytes) => parsed(&mut log, &place.name, &bytes.into(), axis),
        Err(why) => {
            log.add(None, "", files::flaw(&why, &place.name));
            None
        }
    };
    super::finish(log, measured).map(|(measured, _)| measured).map_err(|mut rejection| {
        rejection.sources_mut().found_below(&place.folder);
        rejection
    })
}

fn parsed(log: &mut Log, name: &str, bytes: &Arc<[u8]>, axis: &Axis) -> Option<MeasuredFile> {
    let file = log.add_file(name, bytes);
    let text = document::text(log, file, bytes, usize::MAX)?;
    let shift = byte_order_mark(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes().get(shift..).unwrap_or_default());
    let mut record = csv::StringRecord::new();
    let mut order: Option<[usize; 3]> = None;
    let (mut readings, mut starts) = (Vec::new(), Vec::new());
    let (mut rows, mut blank) = (0_usize, 0_usize);
    let mut header = Spot { file, bytes: 0..0 };
    // The text is UTF-8 and in memory: reading a record cannot fail, only end.
    while reader.read_record(&mut record).unwrap_or(false) {
        let start = record.position().and_then(|p| usize::try_from(p.byte()).ok()).unwrap_or(0) + shift;
        let mut row = Row { log: &mut *log, file, record: &record, bytes, start };
        let Some(order) = order else {
            header = row.spot(0);
            order = Some(row.header()?);
            continue;
        };
        if record.iter().all(str::is_empty) || !row.has_width() {
            continue;
        }
        rows += 1;
        if rows > MOST_READINGS {
            let flaw = Flaw::new(Code::TooMany, "", "too many rows");
            row.report_at(0, flaw.found(format!("row {rows}"), format!("1 to {MOST_READINGS} rows")));
            break;
        }
        if let Some(reading) = row.reading(order) {
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
                    Spot { file, bytes: cell(bytes, *start, column) }
                });
                log.add(Some(at.unwrap_or_else(|| header.clone())), "", flaw);
            }
            None
        }
    }
}

fn cell(bytes: &[u8], start: usize, cell: usize) -> core::ops::Range<usize> {
    let cells = key_file::cells(bytes, start);
    let last = cells.last().map_or(0..0, |c| c.end..c.end);
    cells.get(cell).cloned().unwrap_or(last)
}

/// A record and where it begins.
struct Row<'r> {
    log: &'r mut Log,
    file: usize,
    record: &'r csv::StringRecord,
    bytes: &'r [u8],
    start: usize,
}

impl Row<'_> {
    fn spot(&self, at: usize) -> Spot {
        Spot { file: self.file, bytes: cell(self.bytes, self.start, at) }
    }

    fn report_at(&mut self, cell: usize, flaw: Flaw) {
        let spot = self.spot(cell);
        self.log.add(Some(spot), "", flaw);
    }

    /// Where each of the columns is.
    fn header(&mut self) -> Option<[usize; 3]> {
        let before = self.log.count();
        let mut places = [None; 3];
        for (i, title) in self.record.iter().enumerate() {
            let known = COLUMNS.iter().position(|name| *name == title);
            match known.and_then(|column| places.get_mut(column)) {
                Some(place) if place.is_none() => *place = Some(i),
                Some(_) => {
                    let flaw = Flaw::new(Code::DuplicateName, "", "two columns share a name");
                    self.report_at(i, flaw.found(values::quoted(title), "each column once"));
                }
                None => {
                    let mut flaw =
                        Flaw::new(Code::MissingColumn, "", "a column is none of a measurement").found(values::quoted(title), HEADER);
                    if title.contains([';', '\t']) {
                        flaw = flaw.help("separate cells with commas, and write decimals with a point");
                    }
                    self.report_at(i, flaw);
                }
            }
        }
        if let [Some(commanded), Some(measured), Some(direction)] = places {
            return (self.log.count() == before).then_some([commanded, measured, direction]);
        }
        if self.log.count() == before {
            let missing = COLUMNS.iter().zip(places).find(|(_, place)| place.is_none()).map_or("", |(name, _)| name);
            self.report_at(0, Flaw::new(Code::MissingColumn, "", "a column is missing").found(format!("no column `{missing}`"), HEADER));
        }
        None
    }

    fn has_width(&mut self) -> bool {
        let wrong = key_file::of_other_width(self.record.len(), COLUMNS.len());
        if let Some((cell, flaw)) = &wrong {
            self.report_at(*cell, flaw.clone());
        }
        wrong.is_none()
    }

    /// The row; measured is NaN where it is blank.
    fn reading(&mut self, [commanded, measured, direction]: [usize; 3]) -> Option<Reading> {
        let from = self.number(commanded);
        let to = if self.record.get(measured).is_some_and(str::is_empty) { Some(f64::NAN) } else { self.number(measured) };
        let approach = match self.record.get(direction).unwrap_or_default() {
            "+" | "1" | "+1" => Some(Approach::Up),
            "-" | "-1" => Some(Approach::Down),
            other => {
                let flaw = Flaw::new(Code::UnknownDirection, "", "the direction of approach is not known");
                let flaw =
                    flaw.found(if other.is_empty() { "a blank cell".to_owned() } else { values::quoted(other) }, "+ or -, or 1 or -1");
                self.report_at(direction, flaw.help("write + if the position rose before the reading, and - if it fell"));
                None
            }
        };
        Some(Reading { commanded: from?, measured: to?, approach: approach? })
    }

    fn number(&mut self, cell: usize) -> Option<f64> {
        let text = self.record.get(cell).unwrap_or_default();
        let number = text.parse::<f64>().ok().filter(|x| x.is_finite());
        if number.is_none() {
            let flaw = Flaw::new(Code::NotANumber, "", "a cell is not a number");
            let found = if text.is_empty() { "a blank cell".to_owned() } else { values::quoted(text) };
            self.report_at(cell, flaw.found(found, "a finite number such as 12.5"));
        }
        number
    }
}
