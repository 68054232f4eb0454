//! Feed the rows of one pass to a controller: read the header, check the whole file, then send each row when its second has come.
//!
//! Usage: `feeder FOLDER PASS [--now]`. FOLDER is an output folder written with `compile --rows HZ`. `send` below prints; put your controller there.
//! `--now` does not wait. Nothing is sent before the whole file has been checked: a file that is cut, or has other columns than its manifest, is refused.

#![allow(clippy::print_stdout, reason = "an example")]

use std::error::Error;
use std::fs::File;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::time::{Duration, Instant};

/// Where the axes' positions are in a row. Velocities (`AXIS:steps_per_s`) and the shutter are no positions.
fn positions(header: &str, axes: &[String]) -> Result<Vec<usize>, Box<dyn Error>> {
    let names: Vec<&str> = header.split(',').collect();
    if names.first() != Some(&"t_s") {
        return Err("refused: the first column is not t_s".into());
    }
    for name in &names {
        let axis = name.split(':').next().unwrap_or(name);
        if !(["t_s", "shutter", "frame", "warning"].contains(name) || axes.iter().any(|a| a == axis)) {
            return Err(format!("refused: unknown column {name}").into());
        }
    }
    let place = |axis: &String| names.iter().position(|n| n == axis).ok_or_else(|| format!("refused: no column for {axis}").into());
    axes.iter().map(place).collect()
}

/// The rows of a file one after the other; a line without its end, or with another number of cells, is refused.
fn each(path: &Path, axes: &[String], row: &mut dyn FnMut(f64, &[i64])) -> Result<u64, Box<dyn Error>> {
    let mut file = BufReader::new(File::open(path)?);
    let mut line = String::new();
    file.read_line(&mut line)?;
    let header = line.strip_suffix('\n').ok_or("refused: no header")?.to_owned();
    let (places, columns) = (positions(&header, axes)?, header.split(',').count());
    let mut count = 0;
    loop {
        line.clear();
        if file.read_line(&mut line)? == 0 {
            return Ok(count);
        }
        let whole = line.strip_suffix('\n').ok_or("refused: the last line is cut")?;
        let cells: Vec<&str> = whole.split(',').collect();
        if cells.len() != columns {
            return Err(format!("refused: a row has {} cells, the header {columns}", cells.len()).into());
        }
        let cell = |i: usize| cells.get(i).copied().unwrap_or_default();
        let steps = places.iter().map(|i| cell(*i).parse()).collect::<Result<Vec<i64>, _>>()?;
        row(cell(0).parse()?, &steps);
        count += 1;
    }
}

fn send(second: f64, steps: &[i64]) {
    let steps: Vec<String> = steps.iter().map(i64::to_string).collect();
    println!("{second} {}", steps.join(" "));
}

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [folder, pass, options @ ..] = args.as_slice() else { return Err("usage: feeder FOLDER PASS [--now]".into()) };
    let folder = Path::new(folder);
    let manifest: serde_json::Value = serde_json::from_reader(File::open(folder.join("manifest.json"))?)?;
    let passes = manifest.get("passes").and_then(|p| p.as_array()).ok_or("no passes")?;
    let entry = &passes.iter().find(|p| p["name"] == pass.as_str()).ok_or("no such pass")?["rows"];
    let columns = manifest.get("columns").and_then(|c| c.as_array()).ok_or("no columns")?;
    let axes: Vec<String> = columns.iter().filter_map(|c| c["axis"].as_str()).map(str::to_owned).collect();
    let path = folder.join(entry["file"].as_str().ok_or("the folder has no rows: compile it with --rows")?);
    let (count, wanted) = (each(&path, &axes, &mut |_, _| {})?, entry["rows"].as_u64().unwrap_or(0));
    if count != wanted {
        return Err(format!("refused: {count} rows, the manifest has {wanted}").into());
    }
    let (start, now) = (Instant::now(), options.iter().any(|o| o == "--now"));
    each(&path, &axes, &mut |second, steps| {
        if !now {
            std::thread::sleep(Duration::from_secs_f64(second).saturating_sub(start.elapsed()));
        }
        send(second, steps);
    })?;
    Ok(())
}
