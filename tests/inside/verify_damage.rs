//! Damage to a written folder is found, whatever it is and also where the hashes were put right.

use crate::inside::common::folder::{Files, files_of, manifest, marsh, repair, rows, set_manifest, set_rows, shift, verdict_of};
use movewright::number::Generator;
use movewright::verify::Fault;
use serde_json::Value;

fn below(g: &mut Generator, n: usize) -> usize {
    usize::try_from(g.bits() % u64::try_from(n).unwrap()).unwrap()
}

fn pick<'a, T>(g: &mut Generator, from: &'a [T]) -> &'a T {
    &from[below(g, from.len())]
}

const TABLES: [&str; 6] =
    ["picture.steps.csv", "picture.units.csv", "rods.steps.csv", "rods.units.csv", "empty.steps.csv", "empty.units.csv"];

/// What was damaged, for the test to demand more than any fault at all.
struct Damage {
    what: String,
    axis: Option<String>,
    frame: Option<i64>,
}

fn damage(what: impl Into<String>) -> Damage {
    Damage { what: what.into(), axis: None, frame: None }
}

const KINDS: usize = 15;

fn do_damage(kind: usize, g: &mut Generator, files: &mut Files) -> Damage {
    let any: Vec<String> = files.keys().filter(|n| *n != "manifest.json").cloned().collect();
    let table = *pick(g, &TABLES);
    let hide = g.bits().is_multiple_of(2);
    let mut d = match kind {
        0 => {
            let name = pick(g, &any).clone();
            let bytes = files.get_mut(&name).unwrap();
            let at = below(g, bytes.len());
            bytes[at] ^= 1 << below(g, 8);
            return damage(format!("bit of byte {at} of {name}"));
        }
        1 => {
            let name = pick(g, &any).clone();
            files.remove(&name);
            damage(format!("{name} taken away"))
        }
        2 => {
            let name = *pick(g, &["source/notes.csv", "source/old/shot.toml", "source/more.toml"]);
            files.insert(name.into(), b"frame\n1\n".to_vec());
            damage(format!("{name} put in"))
        }
        3 => {
            let bytes = files.get_mut(table).unwrap();
            let at = below(g, bytes.len());
            bytes.truncate(at);
            damage(format!("{table} cut off after {at} bytes"))
        }
        4 => {
            let other = **pick(g, &TABLES.iter().filter(|t| files[**t] != files[table]).collect::<Vec<_>>());
            let (a, b) = (files[table].clone(), files[other].clone());
            files.insert(table.into(), b);
            files.insert(other.into(), a);
            damage(format!("{table} and {other} exchanged"))
        }
        5 => {
            let mut r = rows(files, table);
            let (a, b) = loop {
                let (a, b) = (2 + below(g, r[0].len() - 2), 2 + below(g, r[0].len() - 2));
                // Two columns that say the same, as of two parked axes, are no damage but for their names.
                if a != b {
                    break (a, b);
                }
            };
            let names_only = r.iter().skip(1).all(|r| r[a] == r[b]);
            let from = if names_only { 0 } else { below(g, 2) };
            for row in r.iter_mut().skip(from) {
                row.swap(a, b);
                if from == 0 && !names_only && row[0] == "frame" {
                    break;
                }
            }
            set_rows(files, table, &r);
            damage(format!("columns {a} and {b} of {table} exchanged"))
        }
        6 => {
            let mut r = rows(files, table);
            let at = 1 + below(g, r.len() - 2);
            match below(g, 3) {
                0 => drop(r.remove(at)),
                1 => r.insert(at, r[at].clone()),
                _ => r.swap(at, at + 1),
            }
            set_rows(files, table, &r);
            damage(format!("row {at} of {table}"))
        }
        7 => {
            let table = *pick(g, &["picture.steps.csv", "rods.steps.csv", "empty.steps.csv"]);
            let mut r = rows(files, table);
            let (row, column) = (1 + below(g, r.len() - 1), 2 + below(g, r[0].len() - 2));
            let by = *pick(g, &[-1000, -17, -1, 1, 3, 200]);
            r[row][column] = (r[row][column].parse::<i64>().unwrap() + by).to_string();
            set_rows(files, table, &r);
            let (axis, frame) = (r[0][column].clone(), r[row][0].parse().unwrap());
            Damage { what: format!("count of {axis} at {frame} in {table} by {by}"), axis: Some(axis), frame: Some(frame) }
        }
        8 => {
            let by = *pick(g, &[-40, -2, 2, 7]);
            let (row, column) = (1 + below(g, 49), 2 + below(g, 5));
            let mut last = None;
            for pass in ["picture", "rods", "empty"] {
                let parked = pass == "empty" && rows(files, "empty.steps.csv")[0][column].starts_with("heron_b");
                if !parked {
                    last = Some(shift(files, pass, row, column, by));
                }
            }
            let (axis, frame) = last.unwrap();
            Damage { what: format!("{axis} by {by} at {frame} in every table"), axis: Some(axis), frame: Some(frame) }
        }
        9 => {
            let mut m = manifest(files);
            let (path, value) = pick(
                g,
                &[
                    ("/clock/frame_rate", Value::from("30")),
                    ("/clock/first_frame", Value::from(-3)),
                    ("/clock/last_frame", Value::from(45)),
                    ("/clock/timecode_start", Value::from("00:00:59;21")),
                    ("/clock/run_up_frames", Value::from(4000)),
                    ("/clock/run_down_frames", Value::from(4000)),
                    ("/passes/0/seconds_per_frame", Value::from(6.25)),
                    ("/passes/1/duration_s", Value::from(1.0)),
                    ("/passes/1/shutter", Value::from(180.0)),
                    ("/passes/2/settle", Value::from(0.0)),
                    ("/passes/2/exposure", Value::from("moving")),
                ],
            )
            .clone();
            *m.pointer_mut(path).unwrap() = value;
            set_manifest(files, &m);
            return damage(format!("manifest {path}"));
        }
        10 => {
            let mut r = rows(files, table);
            let row = 1 + below(g, r.len() - 1);
            r[row][1] = (*pick(g, &["00:01:00;00", "00:00:59:29", "01:00:00;00", ""])).to_owned();
            set_rows(files, table, &r);
            damage(format!("label of row {row} of {table}"))
        }
        11 => {
            let (file, from, to) = *pick(
                g,
                &[
                    ("source/shot.toml", "[12, 900.0]", "[12, 900.5]"),
                    ("source/shot.toml", "[20, -12.0]", "[20.5, -12.0]"),
                    ("source/shot.toml", "seed = 11", "seed = 12"),
                    ("source/shot.toml", "phase = 0.2", "phase = 0.21"),
                    ("source/shot.toml", "delay = 5", "delay = 6"),
                    ("source/shot.toml", "shape = \"catmull_rom\"", "shape = \"cosine\""),
                    ("source/stage.toml", "travel = [-720, 720]", "travel = [-720, 721]"),
                    ("source/stage.toml", "reverse = true", "reverse = false"),
                    ("source/stage.toml", "max_jerk = 600", "max_jerk = 601"),
                    ("source/lift.csv", "250.25\n40", "250.5\n40"),
                ],
            );
            let text = String::from_utf8(files[file].clone()).unwrap();
            assert!(text.contains(from), "{from}");
            files.insert(file.into(), text.replacen(from, to, 1).into_bytes());
            damage(format!("{from} in {file}"))
        }
        12 => {
            let r = rows(files, "empty.steps.csv");
            let parked: Vec<usize> = (2..r[0].len()).filter(|c| r[0][*c].starts_with("heron_b")).collect();
            let (axis, frame) = shift(files, "empty", 1 + below(g, r.len() - 1), *pick(g, &parked), *pick(g, &[-3, 1, 90]));
            Damage { what: format!("parked {axis} at {frame}"), axis: Some(axis), frame: Some(frame) }
        }
        13 => {
            let mut r = rows(files, "empty.moves.csv");
            let row = 1 + below(g, r.len() - 1);
            let seconds: f64 = r[row][2].parse().unwrap();
            r[row][2] = format!("{:.6}", (seconds + pick(g, &[-0.5, -0.01, 0.01, 2.0])).abs());
            set_rows(files, "empty.moves.csv", &r);
            damage(format!("move {row}"))
        }
        _ => {
            let mut m = manifest(files);
            let path = *pick(
                g,
                &[
                    "/columns/0/steps_per_unit",
                    "/columns/1/home",
                    "/columns/2/travel/1",
                    "/columns/3/max_velocity",
                    "/columns/4/max_acceleration",
                    "/columns/2/max_step_rate",
                ],
            );
            let old = m.pointer(path).unwrap().as_f64().unwrap();
            *m.pointer_mut(path).unwrap() = Value::from(old + 1.0);
            set_manifest(files, &m);
            return damage(format!("manifest {path}"));
        }
    };
    // Kinds whose point is the content are always hidden behind right hashes; the others now and then.
    if kind >= 5 || hide {
        repair(files);
        d.what.push_str(", hashes put right");
    }
    d
}

fn names(fault: &Fault, d: &Damage) -> bool {
    fault.axis == d.axis && fault.frame == d.frame
}

#[test]
fn every_one_of_225_seeded_damages_of_fifteen_kinds_is_found() {
    let temp = tempfile::tempdir().unwrap();
    let sound = files_of(&marsh(temp.path()));
    assert_eq!(verdict_of(&sound).faults, []);
    for seed in 0..15 * KINDS {
        let kind = seed % KINDS;
        let mut g = Generator::new(u64::try_from(seed).unwrap());
        let mut files = sound.clone();
        let d = do_damage(kind, &mut g, &mut files);
        assert!(files != sound, "seed {seed} did no damage: {}", d.what);
        let faults = verdict_of(&files).faults;
        assert!(!faults.is_empty(), "seed {seed}: not found: {}", d.what);
        if d.axis.is_some() {
            assert!(faults.iter().any(|f| names(f, &d)), "seed {seed}: {}: {faults:#?}", d.what);
        }
    }
}
