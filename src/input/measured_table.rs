//! The table of a mechanism of kind "table": its points, in the stage file or in a CSV file beside it.
//!
//! Invariant: a CSV file is opened once, however many groups use it; its path leads from the stage file's folder. A mistake in it has the line and column of its cell.
//! Limits: [`MOST_CSV_BYTES`] and [`MOST_POINTS`]; commas between cells, points in numbers.

use core::ops::Range;
use std::sync::Arc;

use super::choices::{OVERS, UNITS};
use super::csv_row;
use super::document;
use super::files::{self, Read};
use super::lines::byte_order_mark;
use super::log::{Log, Spot};
use super::reader::Table;
use super::values;
use crate::bounds::{Code, Flaw, MOST_CSV_BYTES, MOST_POINTS, counted};
use crate::mechanism::{Measured, MeasuredSpec, Over, Unit};

/// What a stage file is read with.
#[derive(Clone, Copy)]
pub(super) struct Beside<'r> {
    /// How other files are read.
    pub(super) read: Read<'r>,
    /// Path from the shot's folder to the stage file's, with a `/` at the end, or nothing.
    pub(super) folder: &'r str,
}

const POINT: &str = "[channel, axis]";

/// A measured mechanism whose axis has this unit; `None` where its table has mistakes.
pub(super) fn measured(log: &mut Log, table: &mut Table<'_>, beside: Beside<'_>, axis_unit: Unit) -> Option<Measured> {
    let channel_unit = table.choice(log, "channel_unit", UNITS, None);
    let over = table.choice(log, "over", OVERS, Some(Over::default()));
    let (points, spots) = match table.take_quietly("points", values::text) {
        Some(file) => of_file(log, table, file, beside)?,
        None => {
            if !table.has("points") {
                let _ = table.need(log, "points", "[[channel, axis], ...], or the name of a CSV file in quotes", values::list);
                return None;
            }
            let list = table.pairs(log, "points", POINT);
            let points = list.keys.iter().map(|k| [k.frame, k.value]).collect();
            (Some(points).filter(|_| !list.incomplete)?, list.spots.into_iter().map(|bytes| Spot { file: list.file, bytes }).collect())
        }
    };
    let spec = MeasuredSpec { points, over: over?, channel_unit: channel_unit?, axis_unit };
    match Measured::new(spec) {
        Ok(measured) => Some(measured),
        Err(flaws) => {
            for flaw in flaws {
                match flaw.index.and_then(|i| spots.get(i)) {
                    Some(spot) => log.add(Some(spot.clone()), &table.label, flaw),
                    None => table.report_at(log, "points", flaw),
                }
            }
            None
        }
    }
}

/// The points of a CSV file of two columns, and where each is written.
fn of_file(log: &mut Log, table: &mut Table<'_>, written: &str, beside: Beside<'_>) -> Option<(Vec<[f64; 2]>, Vec<Spot>)> {
    let name = match log.sources().plain_name(&files::from_folder(beside.folder, written)) {
        Ok(name) => name,
        Err(flaw) => {
            table.report_at(log, "points", flaw);
            return None;
        }
    };
    let known = log.sources().iter().position(|s| s.name() == name);
    let (file, bytes) = match known.and_then(|i| Some((i, Arc::<[u8]>::from(log.sources().get(i)?.bytes())))) {
        Some(known) => known,
        None => match (beside.read)(&name) {
            Ok(bytes) => {
                let bytes: Arc<[u8]> = bytes.into();
                (log.add_file(&name, &bytes), bytes)
            }
            Err(why) => {
                table.report_at(log, "points", files::flaw(&why, &name));
                return None;
            }
        },
    };
    let names = ["channel", "axis"].map(|key| table.take_quietly(key, values::text).unwrap_or_default());
    rows(log, file, &bytes, names)
}

/// The rows below the header, whose two cells are `names`; `None` where there is a mistake.
fn rows(log: &mut Log, file: usize, bytes: &[u8], names: [&str; 2]) -> Option<(Vec<[f64; 2]>, Vec<Spot>)> {
    let text = document::text(log, file, bytes, MOST_CSV_BYTES)?;
    let shift = byte_order_mark(bytes);
    let mut reader = csv_row::reader(text, shift);
    let (mut points, mut spots, mut record) = (Vec::new(), Vec::new(), csv::StringRecord::new());
    let (mut header, written) = (true, log.count());
    // The text is UTF-8 and in memory: reading a record cannot fail, only end.
    while reader.read_record(&mut record).unwrap_or(false) {
        let start = csv_row::start(&record, shift);
        let cells = csv_row::cells(bytes, start);
        let end = cells.last().map_or(0..0, |c| c.end..c.end);
        let spot = |cell: usize| Spot { file, bytes: cells.get(cell).cloned().unwrap_or(end.clone()) };
        if record.iter().all(str::is_empty) {
            continue;
        }
        if record.len() != 2 {
            let flaw = Flaw::new(Code::WrongCount, "", "a row of the table does not have two cells");
            log.add(Some(spot(2.min(record.len()))), "", flaw.found(counted(record.len(), "cell"), "2 cells: channel, axis"));
            return None;
        }
        if core::mem::take(&mut header) {
            if let Some((i, (found, _))) = record.iter().zip(names).enumerate().find(|(_, (found, name))| found != name) {
                let [channel, axis] = names;
                let flaw = Flaw::new(Code::MissingColumn, "", "the header of the table does not name its channel and its axis");
                log.add(Some(spot(i)), "", flaw.found(values::quoted(found), format!("the header {channel},{axis}")));
                return None;
            }
            continue;
        }
        if points.len() == MOST_POINTS {
            let flaw = Flaw::new(Code::TooMany, "", "the table has too many points");
            log.add(Some(spot(0)), "", flaw.found(format!("point {}", MOST_POINTS + 1), format!("at most {MOST_POINTS} points")));
            return None;
        }
        let number = |i: usize| record.get(i).and_then(|cell| cell.parse::<f64>().ok()).filter(|x| x.is_finite());
        match (number(0), number(1)) {
            (Some(channel), Some(axis)) => {
                points.push([channel, axis]);
                let bytes: Range<usize> = spot(0).bytes.start..spot(1).bytes.end;
                spots.push(Spot { file, bytes });
            }
            (first, _) => {
                let i = usize::from(first.is_some());
                let flaw = Flaw::new(Code::NotANumber, "", "a cell is not a number");
                log.add(Some(spot(i)), "", flaw.found(values::quoted(record.get(i).unwrap_or_default()), "a finite number such as 12.5"));
            }
        }
    }
    (log.count() == written).then_some((points, spots))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::panic, reason = "tests")]
mod tests {
    use crate::input::{Loaded, Rejection, Unreadable, parse};

    const AXIS: &str = "[[group.axis]]\nname = \"focus\"\nunit = \"deg\"\ntravel = [0, 290]\nmax_velocity = 9\nmax_acceleration = 9\nmax_jerk = 9\nmotor = \"m\"\n";

    /// A focus ring with these keys, on a stage in the folder `stages`, with `points` in a file beside it.
    fn ring(keys: &str, file: &str) -> Result<Loaded, Rejection> {
        let stage = format!(
            "format = 1\nname = \"Marsh\"\n[motor.m]\nfull_steps_per_rev = 200\n[[group]]\nname = \"camera\"\n{AXIS}[[group.mechanism]]\nkind = \"table\"\n\
             axis = \"focus\"\nchannel = \"focus_distance\"\nchannel_unit = \"mm\"\nover = \"reciprocal\"\n{keys}[[group]]\nname = \"second\"\nlike = \"camera\"\n"
        );
        let shot = "format = 1\nname = \"Reeds\"\nstage = \"stages/marsh.toml\"\nframe_rate = \"24\"\nframes = [1, 48]\n[[track]]\nchannel = \"camera.focus_distance\"\n\
                    keys = [[1, 1200], [48, 1500]]\n[[pass]]\nname = \"beauty\"\nexposure = \"moving\"\nseconds_per_frame = 12\nshutter = 180\n";
        parse("shot.toml", &|name| match name {
            "shot.toml" => Ok(shot.as_bytes().to_vec()),
            "stages/marsh.toml" => Ok(stage.as_bytes().to_vec()),
            "stages/ring.csv" => Ok(file.as_bytes().to_vec()),
            _ => Err(Unreadable::Missing),
        })
    }

    fn places(read: Result<Loaded, Rejection>) -> Vec<(&'static str, u32, u32)> {
        let place = |d: &crate::input::Diagnostic| d.place.as_ref().map_or((d.code.slug(), 0, 0), |p| (d.code.slug(), p.line, p.column));
        read.err().unwrap().diagnostics().iter().map(place).collect()
    }

    const LIST: &str = "points = [[600, 290], [900, 190], [1500, 112], [1e6, 0]]\n";
    const FILE: &str = "points = \"ring.csv\"\n";
    const ROWS: &str = "focus_distance,focus\r\n600,290\r\n900,190\r\n\r\n1500,112\r\n1e6,0\r\n";

    #[test]
    fn a_list_and_a_file_give_the_same_ring_and_the_file_is_read_once() {
        let (list, file) = (ring(LIST, "").unwrap(), ring(FILE, ROWS).unwrap());
        for loaded in [&list, &file] {
            let channel = loaded.stage.channel("camera.focus_distance").unwrap();
            assert_eq!(loaded.stage.channel_rest(channel), 1e6);
            assert!(loaded.stage.channel("second.focus_distance").is_some());
        }
        assert_eq!(file.sources.iter().map(|s| s.name()).collect::<Vec<_>>(), ["shot.toml", "stages/marsh.toml", "stages/ring.csv"]);
        // The stage is another where its table is.
        let other = ring(FILE, &ROWS.replace("112", "113")).unwrap();
        assert!(file.sources.stage() != other.sources.stage() && file.sources.stage() == ring(FILE, ROWS).unwrap().sources.stage());
    }

    #[test]
    fn every_mistake_has_its_place() {
        assert_eq!(places(ring("", "")), [("missing-key", 15, 1)]);
        assert_eq!(places(ring("points = [[600, 290], [900, 190], [700, 112]]\n", "")), [("keys-out-of-order", 21, 35)]);
        assert_eq!(places(ring(FILE, &ROWS.replace("900", "1600"))), [("keys-out-of-order", 5, 1)]);
        assert_eq!(places(ring(FILE, &ROWS.replace("190", "x"))), [("not-a-number", 3, 5)]);
        assert_eq!(places(ring(FILE, &ROWS.replace("900,", "900,7,"))), [("wrong-count", 3, 7)]);
        assert_eq!(places(ring(FILE, "focus,focus_distance\n0,1\n")), [("missing-column", 1, 1)]);
        assert_eq!(places(ring(FILE, "focus_distance,focus\n")), [("wrong-count", 21, 10)]);
        assert_eq!(places(ring("points = \"../ring2.csv\"\n", "")), [("missing-file", 21, 10)]);
    }
}
