//! Key files: a CSV table with a column of frames and a column for each channel.
//!
//! Units: frames, and the units of the channels. Invariant: every mistake of the file is recorded once, with the line and column of its cell; a key carries the place of its cell. A blank cell is
//! no key, a row of blank cells no row.
//!
//! Limits: [`MOST_CSV_BYTES`]; commas between cells, points in numbers. A byte order mark, CRLF and spaces around cells are allowed.

use core::ops::Range;
use std::collections::BTreeMap;

use super::csv_row;
use super::document;
use super::lines::byte_order_mark;
use super::log::{Log, Spot};
use super::reader::KeyList;
use super::values;
use crate::bounds::{Code, Flaw, MOST_AXES, MOST_CSV_BYTES, MOST_KEYS};
use crate::shot::Key;
use crate::stage::ChannelId;
use crate::time::FrameRate;

/// The keys of one file.
#[derive(Debug, Default)]
pub(super) struct KeyFile {
    /// Columns behind the first, in order.
    pub(super) columns: Vec<Column>,
    /// True where the columns are those of the file.
    pub(super) readable: bool,
    /// True where the first column holds seconds, which became frames by the clock.
    pub(super) in_seconds: bool,
    /// True where a frame follows a later one; then the tracks are not reported for it again.
    pub(super) out_of_order: bool,
}

/// The keys of one channel.
#[derive(Debug)]
pub(super) struct Column {
    /// Name as written.
    pub(super) name: String,
    /// The channel, if the stage has it.
    pub(super) channel: Option<ChannelId>,
    /// Its name in the header.
    pub(super) header: Spot,
    /// Its keys.
    pub(super) list: KeyList,
}

/// How the name of a column becomes a channel.
type Lookup<'l> = dyn Fn(&mut Log, &str) -> Result<ChannelId, Option<Flaw>> + 'l;

/// How seconds of a recording become frames: frame = start + seconds x rate.
#[derive(Debug, Clone, Copy)]
pub(super) struct SampleClock {
    /// Frame at which the recording's clock stands at 0.
    pub(super) start: f64,
    /// Frames in a second.
    pub(super) rate: FrameRate,
}

/// Reads a key file. With a clock the first column may be `time_s` instead of `frame`.
pub(super) fn read(log: &mut Log, file: usize, bytes: &[u8], channel: &Lookup<'_>, clock: Option<SampleClock>) -> KeyFile {
    let mut table = KeyFile::default();
    let Some(text) = document::text(log, file, bytes, MOST_CSV_BYTES) else { return table };
    let shift = byte_order_mark(bytes);
    let mut reader = csv_row::reader(text, shift);
    let mut record = csv::StringRecord::new();
    let mut width = None;
    let mut before: Option<f64> = None;
    let mut rows = 0_usize;
    // The text is UTF-8 and in memory: reading a record cannot fail, only end.
    while reader.read_record(&mut record).unwrap_or(false) {
        let start = csv_row::start(&record, shift);
        let cells = csv_row::cells(bytes, start);
        let mut row = Row { log: &mut *log, file, record: &record, cells };
        let Some(width) = width else {
            if !row.header(&mut table, channel, clock.is_some()) {
                return table;
            }
            width = Some(record.len());
            continue;
        };
        if record.iter().all(str::is_empty) || !row.has_width(width) {
            continue;
        }
        rows += 1;
        if rows > MOST_KEYS {
            row.report_at(0, Flaw::new(Code::TooMany, "", "too many rows").found(format!("row {rows}"), format!("1 to {MOST_KEYS} rows")));
            break;
        }
        let Some(first) = row.first(table.in_seconds) else { continue };
        let frame = match clock.filter(|_| table.in_seconds) {
            Some(clock) => clock.frame(first),
            None => first,
        };
        if let Some(earlier) = before.filter(|earlier| !(*earlier < frame)) {
            let what = if earlier == frame { "two rows share a frame" } else { "rows are out of order" };
            row.report_at(
                0,
                Flaw::new(Code::KeysOutOfOrder, "", what).found(format!("frame {frame} after frame {earlier}"), "strictly rising frames"),
            );
            table.out_of_order = true;
        }
        before = Some(frame);
        row.keys(&mut table, frame);
    }
    table
}

impl SampleClock {
    fn frame(self, seconds: f64) -> f64 {
        self.start + seconds * f64::from(self.rate.numerator()) / f64::from(self.rate.denominator())
    }
}

/// A record and where its cells are.
struct Row<'r> {
    log: &'r mut Log,
    file: usize,
    record: &'r csv::StringRecord,
    cells: Vec<Range<usize>>,
}

impl Row<'_> {
    fn spot(&self, cell: usize) -> Spot {
        let last = self.cells.last().map_or(0..0, |c| c.end..c.end);
        Spot { file: self.file, bytes: self.cells.get(cell).cloned().unwrap_or(last) }
    }

    fn report_at(&mut self, cell: usize, flaw: Flaw) {
        self.log.add(Some(self.spot(cell)), "", flaw);
    }

    /// The columns; false where nothing can be made of them.
    fn header(&mut self, table: &mut KeyFile, lookup: &Lookup<'_>, seconds_allowed: bool) -> bool {
        let first = self.record.get(0).unwrap_or_default();
        table.in_seconds = seconds_allowed && first == "time_s";
        if first != "frame" && !table.in_seconds {
            let (title, header) = if seconds_allowed {
                ("the first column is neither `frame` nor `time_s`", "the header frame,CHANNEL,... or time_s,CHANNEL,...")
            } else {
                ("the first column is not `frame`", "the header frame,CHANNEL,CHANNEL,...")
            };
            let mut flaw = Flaw::new(Code::MissingColumn, "", title).found(values::quoted(first), header);
            if first.contains([';', '\t']) {
                flaw = flaw.help("separate cells with commas, and write decimals with a point");
            }
            self.report_at(0, flaw);
            return false;
        }
        if self.record.len() > MOST_AXES + 1 {
            let found = format!("{} columns", self.record.len());
            self.report_at(0, Flaw::new(Code::TooMany, "", "too many columns").found(found, format!("at most {}", MOST_AXES + 1)));
            return false;
        }
        let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
        for (i, name) in self.record.iter().enumerate().skip(1) {
            let column = i + 1;
            let channel = match seen.insert(name, column) {
                Some(first) => {
                    let found = format!("{} in columns {first} and {column}", values::quoted(name));
                    self.report_at(
                        i,
                        Flaw::new(Code::DuplicateName, "", "two columns share a name").found(found, "one column per channel"),
                    );
                    None
                }
                None => match lookup(self.log, name) {
                    Ok(channel) => Some(channel),
                    Err(flaw) => {
                        if let Some(flaw) = flaw {
                            self.report_at(i, flaw);
                        }
                        None
                    }
                },
            };
            let list = KeyList { file: self.file, ..KeyList::default() };
            table.columns.push(Column { name: name.to_owned(), channel, header: self.spot(i), list });
        }
        if table.columns.is_empty() {
            self.report_at(
                0,
                Flaw::new(Code::NoKeys, "", "the file has no column of keys")
                    .found("the column `frame` alone", "the header frame,CHANNEL,CHANNEL,..."),
            );
            return false;
        }
        table.readable = true;
        true
    }

    fn has_width(&mut self, width: usize) -> bool {
        let wrong = csv_row::of_other_width(self.record.len(), width);
        if let Some((cell, flaw)) = &wrong {
            self.report_at(*cell, flaw.clone());
        }
        wrong.is_none()
    }

    /// The frame or second of a row.
    fn first(&mut self, in_seconds: bool) -> Option<f64> {
        let cell = self.record.get(0).unwrap_or_default();
        if cell.is_empty() {
            let (title, allowed) = if in_seconds {
                ("a row has samples but no time", "seconds in the first column")
            } else {
                ("a row has keys but no frame", "a frame in the first column")
            };
            self.report_at(0, Flaw::new(Code::MissingFrame, "", title).found("a blank cell", allowed));
            return None;
        }
        self.number(0, cell)
    }

    fn number(&mut self, index: usize, cell: &str) -> Option<f64> {
        let number = cell.parse::<f64>().ok().filter(|x| x.is_finite());
        if number.is_none() {
            self.report_at(
                index,
                Flaw::new(Code::NotANumber, "", "a cell is not a number")
                    .found(values::quoted(cell), "a finite number such as 12.5, or a blank cell for no key"),
            );
        }
        number
    }

    fn keys(&mut self, table: &mut KeyFile, frame: f64) {
        for (i, cell) in self.record.iter().enumerate().skip(1) {
            if cell.is_empty() {
                continue;
            }
            let value = self.number(i, cell);
            let Some(column) = table.columns.get_mut(i - 1) else { continue };
            let Some(value) = value else {
                column.list.incomplete = true;
                continue;
            };
            let spot = self.spot(i);
            column.list.keys.push(Key { frame, value, place: self.log.place(self.file, spot.bytes.start) });
            column.list.spots.push(spot.bytes);
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::input::sources::Sources;
    use crate::stage::{Axis, AxisSpec, GroupSpec, Stage, Unit};

    fn read_text(text: &str) -> (KeyFile, Vec<(&'static str, u32, u32)>) {
        let axis = |name| Axis::new(AxisSpec::new(name, Unit::Millimetre, [0.0, 9.0], [1.0; 3])).unwrap();
        let stage = Stage::new("marsh", 1.0, vec![GroupSpec { name: "heron_a".into(), axes: vec![axis("lift"), axis("yaw")] }]).unwrap();
        let mut log = Log::new(Sources::default());
        let file = log.add_file("keys.csv", &text.as_bytes().into());
        let names = crate::input::names::Names::new(&stage, true);
        let table = read(&mut log, file, text.as_bytes(), &|log: &mut Log, name: &str| names.channel(log, name), None);
        let told = match log.close() {
            Ok(_) => Vec::new(),
            Err(r) => {
                r.diagnostics().iter().map(|d| (d.code.slug(), d.place.as_ref().unwrap().line, d.place.as_ref().unwrap().column)).collect()
            }
        };
        (table, told)
    }

    #[test]
    fn marks_blanks_crlf_spaces_and_quotes_are_read() {
        let text = "\u{feff}frame, heron_a.yaw ,\"heron_a.lift\"\r\n\r\n1, 0.5,\r\n , ,\r\n2.5,,\" 3\"\r\n";
        let (table, told) = read_text(text);
        assert_eq!(told, []);
        let keys: Vec<Vec<(f64, f64, u32, u32)>> =
            table.columns.iter().map(|c| c.list.keys.iter().map(|k| (k.frame, k.value, k.place.line, k.place.column)).collect()).collect();
        assert_eq!(keys, [vec![(1.0, 0.5, 3, 4)], vec![(2.5, 3.0, 5, 6)]]);
    }

    #[test]
    fn every_mistake_has_the_place_of_its_cell() {
        let (_, told) =
            read_text("frame,heron_a.lift,heron_a.lfit,heron_a.lift\n1,x,2,3\n,1,1,1\n2,1\n3,1,1,1,1\n3,inf,1,1\n3,1,1,1\n2,1,1,1\n");
        assert_eq!(
            told,
            [
                ("unknown-channel", 1, 20),
                ("duplicate-name", 1, 33),
                ("not-a-number", 2, 3),
                ("missing-frame", 3, 1),
                ("wrong-count", 4, 4),
                ("wrong-count", 5, 9),
                ("not-a-number", 6, 3),
                ("keys-out-of-order", 7, 1),
                ("keys-out-of-order", 8, 1)
            ]
        );
        assert_eq!(read_text("frame;heron_a.lift\n").1, [("missing-column", 1, 1)]);
        assert_eq!(read_text("frame\n1\n").1, [("no-keys", 1, 1)]);
        assert_eq!(read_text(" \r\n").1, [("empty-file", 1, 1)]);
    }
}
