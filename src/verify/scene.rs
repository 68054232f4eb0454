//! A scene in binary glTF, read anew: the container, every entry of its description, and every number of its animation.
//!
//! Source: Khronos glTF 2.0 specification: a header of 12 bytes (magic, version 2, length), a chunk of JSON filled up with spaces, a chunk of numbers; all little-endian.
//! What: the description is worked out from the stage and the shot and compared entry by entry; then the numbers in the order in which it places them: times, rods, and for
//! each body positions and turns, read in step by frame. Invariant: memory is that of the description and of one buffer for each body's two runs.
//! Tolerance: single precision, and what two honest computations of a place may differ by.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use serde_json::Value;

use super::fault::{FaultKind, Faults};
use super::parts::handed_over;
use super::plan::Plan;
use super::posed::{Posed, oriented};
use super::size::Size;
use super::stretched::Wire;
use crate::files;
use crate::shot::Shot;
use crate::stage::Stage;

/// Longest description that is read, bytes.
const MOST_JSON: u64 = 64 << 20;

/// Two numbers of single precision computed two ways.
const SINGLE: f64 = 1e-6;

/// The same of double precision.
const DOUBLE: f64 = 1e-12;

/// Bytes that a run of numbers reads ahead.
const AHEAD: usize = 4096;

/// A scene being read.
pub(super) struct Scene {
    file: String,
    size: Size,
    open: Option<Open>,
    names: Vec<String>,
    before: Vec<Option<[f64; 4]>>,
    /// What the description has as the first place of each body.
    first: Vec<[Value; 3]>,
    is_first: bool,
}

struct Open {
    file: File,
    /// Positions and turns of each body.
    runs: Vec<[Run; 2]>,
    /// Positions, turns and sizes of each wire, and its node.
    wires: Vec<([Run; 3], usize)>,
}

/// Consecutive numbers of a file.
struct Run {
    next: u64,
    buffer: Vec<u8>,
    at: usize,
}

impl Scene {
    /// Opens a scene, reads its description and what does not move.
    pub(super) fn open(
        dir: &Path,
        file: &str,
        (stage, shot): (&Stage, &Shot),
        (size, first_frame): (Size, i64),
        faults: &mut Faults,
    ) -> Scene {
        let names = handed_over(stage).into_iter().map(|(_, _, name)| name).collect::<Vec<_>>();
        let mut scene =
            Scene { file: file.to_owned(), size, open: None, before: vec![None; names.len()], names, first: Vec::new(), is_first: true };
        match scene.read(&dir.join(file), stage, shot, first_frame) {
            Ok(open) => scene.open = Some(open),
            Err(what) => faults.file(FaultKind::HandOff, file, what),
        }
        scene
    }

    fn read(&mut self, path: &Path, stage: &Stage, shot: &Shot, first_frame: i64) -> Result<Open, String> {
        let cut = |e: std::io::Error| format!("cannot be read to its end: {e}");
        let opened = files::open(path).map_err(|e| format!("cannot be read: {e}"))?;
        // Only as many numbers are read as the shot leads to; the length is compared with that.
        let (length, mut file) = (opened.limit(), opened.into_inner());
        let word = |file: &mut File| -> Result<[u8; 4], String> {
            let mut bytes = [0; 4];
            file.read_exact(&mut bytes).map_err(cut)?;
            Ok(bytes)
        };
        let [magic, version, whole, json_length, json_kind] = [(); 5].map(|()| word(&mut file));
        let number = |bytes: [u8; 4]| u64::from(u32::from_le_bytes(bytes));
        if &magic? != b"glTF" || number(version?) != 2 || number(whole?) != length || &json_kind? != b"JSON" {
            return Err("is no binary glTF 2.0 file of its length".to_owned());
        }
        let json_length = number(json_length?);
        if json_length > MOST_JSON.min(length) {
            return Err(format!("has a description of {json_length} bytes"));
        }
        let mut text = vec![0; usize::try_from(json_length).map_err(|_| "has too long a description".to_owned())?];
        file.read_exact(&mut text).map_err(cut)?;
        let mut found: Value = serde_json::from_slice(&text).map_err(|e| format!("has a description that is no JSON: {e}"))?;
        let (numbers_length, numbers_kind) = (number(word(&mut file)?), word(&mut file)?);
        if &numbers_kind != b"BIN\0" || 28 + json_length + numbers_length != length {
            return Err("has no chunk of numbers that fills it".to_owned());
        }
        self.first = take_places(&mut found);
        let plan = Plan::new(stage, shot, (self.size, first_frame));
        let extents: Vec<Option<[[f64; 3]; 2]>> = plan.shapes.iter().map(|s| take_extent(&mut found, s.accessor)).collect();
        if let Some(what) = differs(&plan.description, &found, &mut String::new()) {
            return Err(what);
        }
        if numbers_length != plan.bytes {
            return Err(format!("has {numbers_length} bytes of numbers, expected {}", plan.bytes));
        }
        let start = 28 + json_length;
        for still in &plan.still {
            let mut run = Run::at(start + still.offset);
            for (i, expected) in still.numbers(shot, stage, self.size).enumerate() {
                let [found] = run.next(&mut file).map_err(cut)?;
                if !((found - expected).abs() <= SINGLE * expected.abs()) {
                    return Err(format!("{} {i}: found {found}, expected {expected}", still.what));
                }
            }
        }
        for (placed, extent) in plan.shapes.iter().zip(extents) {
            placed.check(&mut file, start, extent)?;
        }
        let wires = plan.wires.iter().map(|(offsets, node)| (offsets.map(|offset| Run::at(start + offset)), *node)).collect();
        let runs = plan.runs.iter().map(|pair| pair.map(|offset| Run::at(start + offset))).collect();
        Ok(Open { file, runs, wires })
    }

    /// The numbers of a frame.
    pub(super) fn frame(&mut self, frame: i64, (all, wires): (&[Posed], &[Wire]), faults: &mut Faults) {
        let Some(open) = &mut self.open else { return };
        let is_first = core::mem::take(&mut self.is_first);
        for (((posed, runs), name), (i, before)) in all.iter().zip(&mut open.runs).zip(&self.names).zip(self.before.iter_mut().enumerate())
        {
            let [positions, turns] = runs;
            let read = positions.next::<3>(&mut open.file).and_then(|p| Ok((p, turns.next::<4>(&mut open.file)?)));
            let (position, [x, y, z, w]) = match read {
                Ok(numbers) => numbers,
                Err(error) => {
                    faults.file(FaultKind::HandOff, &self.file, format!("cannot be read to its end: {error}"));
                    self.open = None;
                    return;
                }
            };
            if !posed.known {
                continue;
            }
            let found = [w, x, y, z];
            let expected = oriented(posed.place.turn, *before, found);
            *before = Some(expected);
            let divisor = self.size.divisor;
            let mut wrong = posed.place.at.into_iter().zip(position).zip(posed.position_room()).any(|((at, found), room)| {
                let expected = at / divisor;
                !((found - expected).abs() <= SINGLE * expected.abs() + room / divisor)
            });
            wrong |= expected.into_iter().zip(found).zip(posed.turn_room()).any(|((e, f), room)| !((f - e).abs() <= SINGLE + room));
            if is_first && let Some([translation, rotation, _]) = self.first.get(i) {
                wrong |= !(same(translation, &position) && same(rotation, &[x, y, z, w]));
            }
            if wrong {
                let (at, turn) = (posed.place.at.map(|x| x / divisor), expected);
                faults.at(FaultKind::HandOff, &self.file, Some(name), frame, || {
                    let [w, i, j, k] = turn;
                    format!("found at {position:?} m turned {:?}, expected {at:.6?} m turned {:.6?}", [x, y, z, found[0]], [i, j, k, w])
                });
            }
        }
        for (wire, ([places, turns, sizes], node)) in wires.iter().zip(&mut open.wires) {
            let file = &mut open.file;
            let read = places.next::<3>(file).and_then(|p| Ok((p, turns.next::<4>(file)?, sizes.next::<3>(file)?)));
            let (place, turn, stretch) = match read {
                Ok(numbers) => numbers,
                Err(error) => {
                    faults.file(FaultKind::HandOff, &self.file, format!("cannot be read to its end: {error}"));
                    self.open = None;
                    return;
                }
            };
            let begins = !is_first || self.first.get(*node).is_some_and(|[p, t, s]| same(p, &place) && same(t, &turn) && same(s, &stretch));
            if let Some(what) = wire.wrong(place, turn, stretch, self.size.divisor, SINGLE) {
                faults.at(FaultKind::HandOff, &self.file, Some(&wire.group), frame, || what);
            } else if !begins {
                faults.at(FaultKind::HandOff, &self.file, Some(&wire.group), frame, || "a wire begins elsewhere".to_owned());
            }
        }
    }
}

/// True for a list of these numbers.
fn same(found: &Value, numbers: &[f64]) -> bool {
    let list: Option<Vec<f64>> = found.as_array().and_then(|l| l.iter().map(Value::as_f64).collect());
    list.is_some_and(|l| l.len() == numbers.len() && l.iter().zip(numbers).all(|(a, b)| (a - b).abs() <= SINGLE * b.abs()))
}

/// Takes the extent of a mesh out of a description.
fn take_extent(description: &mut Value, accessor: usize) -> Option<[[f64; 3]; 2]> {
    let accessor = description.get_mut("accessors")?.get_mut(accessor)?.as_object_mut()?;
    let three = |list: Value| -> Option<[f64; 3]> {
        let list: Option<Vec<f64>> = list.as_array()?.iter().map(Value::as_f64).collect();
        list?.try_into().ok()
    };
    Some([three(accessor.remove("min")?)?, three(accessor.remove("max")?)?])
}

impl Run {
    fn at(offset: u64) -> Run {
        Run { next: offset, buffer: Vec::new(), at: 0 }
    }

    fn next<const N: usize>(&mut self, file: &mut File) -> std::io::Result<[f64; N]> {
        let mut numbers = [0.0; N];
        for number in &mut numbers {
            let bytes = match self.buffer.get(self.at..).and_then(<[u8]>::first_chunk) {
                Some(bytes) => *bytes,
                None => {
                    file.seek(SeekFrom::Start(self.next))?;
                    self.buffer.clear();
                    file.take(AHEAD as u64).read_to_end(&mut self.buffer)?;
                    self.next += self.buffer.len() as u64;
                    self.at = 0;
                    *self.buffer.first_chunk().ok_or(std::io::ErrorKind::UnexpectedEof)?
                }
            };
            self.at += 4;
            *number = f64::from(f32::from_le_bytes(bytes));
        }
        Ok(numbers)
    }
}

/// Takes the nodes' places and the name of the program out of a description.
fn take_places(description: &mut Value) -> Vec<[Value; 3]> {
    if let Some(asset) = description.get_mut("asset").and_then(Value::as_object_mut)
        && asset.get("generator").and_then(Value::as_str).is_some_and(|g| g.starts_with("movewright "))
    {
        asset.remove("generator");
    }
    let nodes = description.get_mut("nodes").and_then(Value::as_array_mut);
    let take = |node: &mut Value| {
        let node = node.as_object_mut()?;
        Some(["translation", "rotation", "scale"].map(|key| node.remove(key).unwrap_or_default()))
    };
    nodes.into_iter().flatten().map(|n| take(n).unwrap_or_default()).collect()
}

/// The first entry in which two descriptions differ, in words.
fn differs(expected: &Value, found: &Value, at: &mut String) -> Option<String> {
    let here = at.len();
    match (expected, found) {
        (Value::Object(e), Value::Object(f)) => {
            if let Some(key) = e.keys().find(|k| !f.contains_key(*k)).or_else(|| f.keys().find(|k| !e.contains_key(*k))) {
                let what = if f.contains_key(key) { "is too many" } else { "is missing" };
                return Some(format!("description: {at}/{key} {what}"));
            }
            e.iter().find_map(|(key, e)| {
                at.push('/');
                at.push_str(key);
                let different = differs(e, f.get(key)?, at);
                at.truncate(here);
                different
            })
        }
        (Value::Array(e), Value::Array(f)) if e.len() == f.len() => e.iter().zip(f).enumerate().find_map(|(i, (e, f))| {
            at.push_str(&format!("/{i}"));
            let different = differs(e, f, at);
            at.truncate(here);
            different
        }),
        (Value::Number(e), Value::Number(f)) => {
            // Extremes of numbers in single precision are written as such.
            let digits = if at.starts_with("/accessors") { SINGLE } else { DOUBLE };
            let digits = if e.is_u64() || e.is_i64() { 0.0 } else { digits };
            let near = e.as_f64().zip(f.as_f64()).is_some_and(|(e, f)| (e - f).abs() <= digits * e.abs());
            (!near).then(|| format!("description: {at} is {f}, expected {e}"))
        }
        (e, f) => (e != f).then(|| format!("description: {at} is {}, expected {}", short(f), short(e))),
    }
}

fn short(value: &Value) -> String {
    value.to_string().chars().take(60).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn whole_numbers_are_compared_to_the_last_digit_and_others_to_single_precision() {
        let differ = |a: Value, b: Value| differs(&a, &b, &mut String::new());
        assert_eq!(differ(json!({"accessors": [1, 0.1]}), json!({"accessors": [1, 0.100_000_001]})), None);
        assert!(differ(json!({"a": [1, 0.1]}), json!({"a": [1, 0.100_000_001]})).is_some());
        assert_eq!(differ(json!({"a": [9_000_000]}), json!({"a": [9_000_001]})).unwrap(), "description: /a/0 is 9000001, expected 9000000");
        assert_eq!(differ(json!({"a": 1}), json!({"a": 1, "b": 2})).unwrap(), "description: /b is too many");
        assert_eq!(differ(json!({"a": {"c": "x"}}), json!({"a": {}})).unwrap(), "description: /a/c is missing");
        assert!(differ(json!([1]), json!([1, 2])).is_some() && differ(json!("x"), json!("y")).is_some());
    }
}
