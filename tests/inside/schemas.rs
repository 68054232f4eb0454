//! The list of keys, the JSON Schemas made from it, the reference, and the reader: none says anything that another does not.

use std::fs;
use std::path::{Path, PathBuf};

use movewright::bounds::{Bound, Code};
use movewright::input::keys::{self, Default, Entry, Holds, ROUTINE_FILE, Rule, SHOT, STAGE, Section, reference, schema};
use movewright::input::{self, Unreadable};
use serde_json::{Value, json};

use crate::inside::common::json_schema::Validator;

const KEY_FILE: &str = "frame,heron_a.hoist,heron_a.heave\n1,200,\n20,,0\n60,360,6\n96,420,-3\n";

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures")
}

fn json_of(toml_text: &str) -> Value {
    toml::from_str(toml_text).unwrap()
}

/// JSON as TOML, every table in braces.
fn toml_of(value: &Value) -> String {
    match value {
        Value::Object(map) => {
            format!("{{ {} }}", map.iter().map(|(k, v)| format!("\"{k}\" = {}", toml_of(v))).collect::<Vec<_>>().join(", "))
        }
        Value::Array(list) => format!("[{}]", list.iter().map(toml_of).collect::<Vec<_>>().join(", ")),
        other => other.to_string(),
    }
}

fn file_of(value: &Value) -> String {
    value.as_object().unwrap().iter().map(|(k, v)| format!("\"{k}\" = {}\n", toml_of(v))).collect()
}

/// The examples of the reference, whole files, and the checkers of both kinds.
struct Pair {
    stage: Value,
    shot: Value,
    stage_schema: Validator,
    shot_schema: Validator,
}

impl Pair {
    fn of_the_reference() -> Pair {
        Pair {
            stage: json_of(&reference::example_of(&STAGE)),
            shot: json_of(&reference::example_of(&SHOT)),
            stage_schema: Validator::new(schema::stage()).unwrap(),
            shot_schema: Validator::new(schema::shot()).unwrap(),
        }
    }

    /// What the schema and what the reader say of one file changed; messages of the reader.
    fn verdicts(&self, top: &Section, changed: &Value) -> (bool, Result<(), String>) {
        let is_stage = std::ptr::eq(top, &raw const STAGE);
        let (stage, shot) = if is_stage { (changed, &self.shot) } else { (&self.stage, changed) };
        let schema = if is_stage { &self.stage_schema } else { &self.shot_schema };
        let (stage, shot) = (file_of(stage), file_of(shot));
        let read = |name: &str| match name {
            "shot.toml" => Ok(shot.clone().into_bytes()),
            "stage.toml" => Ok(stage.clone().into_bytes()),
            "take_off.toml" => Ok(ROUTINE_FILE.example.as_bytes().to_vec()),
            "heron_a.csv" => Ok(KEY_FILE.as_bytes().to_vec()),
            "hand.csv" => Ok(b"time_s,heron_a.hoist\n0,200\n1.5,260\n3,420\n".to_vec()),
            _ => Err(Unreadable::Missing),
        };
        (schema.is_valid(changed), input::parse("shot.toml", &read).map(|_| ()).map_err(|r| r.to_string()))
    }
}

/// Pointers to every table of a section in a file.
fn places(top: &'static Section, value: &Value, wanted: &Section) -> Vec<String> {
    let mut found = Vec::new();
    walk(top, value, String::new(), wanted, &mut found);
    found
}

fn walk(section: &'static Section, value: &Value, at: String, wanted: &Section, found: &mut Vec<String>) {
    if std::ptr::eq(section, wanted) {
        found.push(at.clone());
    }
    for entry in section.keys {
        let Some(inner) = value.get(entry.name) else { continue };
        let at = format!("{at}/{}", entry.name);
        match entry.holds {
            Holds::One(s) => walk(s, inner, at, wanted, found),
            Holds::Many(s) => {
                inner.as_array().unwrap().iter().enumerate().for_each(|(i, v)| walk(s, v, format!("{at}/{i}"), wanted, found))
            }
            Holds::Named(s) => inner.as_object().unwrap().iter().for_each(|(k, v)| walk(s, v, format!("{at}/{k}"), wanted, found)),
            Holds::Kinds(kinds) => {
                for (i, v) in inner.as_array().unwrap().iter().enumerate() {
                    let (_, s) = kinds.iter().find(|(word, _)| v["kind"] == *word).unwrap();
                    walk(s, v, format!("{at}/{i}"), wanted, found);
                }
            }
            _ => {}
        }
    }
}

/// A table of the file with one key set, and what may not stand beside it removed.
fn with_key(file: &Value, at: &str, section: &Section, key: &str, value: Value) -> Value {
    let mut changed = file.clone();
    let table = changed.pointer_mut(at).unwrap().as_object_mut().unwrap();
    for rule in section.rules {
        if let Rule::OneOf(keys) | Rule::AtMostOne(keys) = rule
            && keys.contains(&key)
        {
            keys.iter().for_each(|other| drop(table.remove(*other)));
        }
    }
    table.insert(key.to_owned(), value);
    changed
}

/// Every key of both files with its section and the top of its file.
fn every_key() -> Vec<(&'static Section, &'static Section, &'static Entry)> {
    [&STAGE, &SHOT]
        .into_iter()
        .flat_map(|top| {
            keys::all_below(top).into_iter().flat_map(move |section| section.keys.iter().map(move |entry| (top, section, entry)))
        })
        .collect()
}

/// A table in which the key's example is taken by reader and schema alike.
fn home_of(pair: &Pair, top: &'static Section, section: &'static Section, entry: &Entry) -> String {
    let file = if std::ptr::eq(top, &raw const STAGE) { &pair.stage } else { &pair.shot };
    let mut told = String::new();
    for at in places(top, file, section) {
        let changed = with_key(file, &at, section, entry.name, schema::from_toml(entry.example));
        match pair.verdicts(top, &changed) {
            (true, Ok(())) => return at,
            (valid, read) => told.push_str(&format!("\n{at}: schema {valid}, reader {read:?}")),
        }
    }
    panic!("{} {}: the example `{}` is taken nowhere{told}", section.header, entry.name, entry.example);
}

#[test]
fn the_examples_of_the_reference_are_whole_files() {
    let pair = Pair::of_the_reference();
    for (top, file) in [(&STAGE, &pair.stage), (&SHOT, &pair.shot)] {
        let (valid, read) = pair.verdicts(top, file);
        if let Err(told) = read {
            panic!("{told}");
        }
        assert!(valid);
    }
}

#[test]
fn the_example_of_every_key_is_taken_by_reader_and_schema() {
    let pair = Pair::of_the_reference();
    let mut tried = 0;
    for (top, section, entry) in every_key() {
        if !entry.example.is_empty() {
            home_of(&pair, top, section, entry);
            tried += 1;
        }
    }
    assert!(tried > 100, "{tried}");
}

/// Values just outside of what a key holds, with what is wrong about them.
fn outside(entry: &Entry) -> Vec<Value> {
    let example = schema::from_toml(entry.example);
    let beyond = |bound: &Bound| {
        let most = bound.most + bound.most.abs().max(1.0) * 1e-6;
        let least = if bound.above_least { bound.least } else { bound.least - bound.least.abs().max(1e-3) * 1e-6 };
        [json!(least), json!(most)]
    };
    let in_list = |bounds: Vec<Bound>, list: &Value| {
        let mut values = Vec::new();
        for (i, bound) in bounds.iter().enumerate() {
            for wrong in beyond(bound) {
                let mut list = list.clone();
                list[i] = wrong;
                values.push(list);
            }
        }
        let mut longer = list.clone();
        longer.as_array_mut().unwrap().push(json!(0));
        let mut shorter = list.clone();
        shorter.as_array_mut().unwrap().pop();
        values.extend([longer, shorter]);
        values
    };
    match &entry.holds {
        Holds::Text | Holds::Choice(_) => vec![json!(7), json!(true), json!(["x"])],
        Holds::Shaped(..) => vec![json!(7), json!("no such shape!"), json!("")],
        Holds::Number(bound) => beyond(bound).into_iter().chain([json!("7"), json!([7])]).collect(),
        Holds::Whole(least, most) => {
            let over = if *most == i64::MAX { json!(1.5) } else { json!(most + 1) };
            vec![json!(least - 1), over, json!("1")]
        }
        Holds::Flag => vec![json!(1), json!("true")],
        Holds::Numbers(bounds) => in_list(bounds.to_vec(), &example),
        Holds::TwoWholes(least, most) => vec![json!([least - 1, 5]), json!([5, most + 1]), json!([1]), json!("1")],
        Holds::NumberAndName(_, bound) => {
            let rows = beyond(bound).into_iter().map(|frame| json!([[frame, "x"]]));
            rows.chain([json!([[1, 2]]), json!([[1]]), json!([[1, "x", 2]]), json!([]), json!("x")]).collect()
        }
        Holds::Rows(columns) | Holds::RowsOrFile(columns) => {
            let rows = in_list(columns.iter().map(|(_, b)| *b).collect(), &example[0]);
            rows.into_iter().map(|row| json!([row])).chain([json!([]), json!(7)]).collect()
        }
        Holds::UpTo(most, bound) => {
            let lists = beyond(bound).into_iter().map(|x| json!([x]));
            lists.chain([json!([]), json!(vec![0; most + 1]), json!(["x"]), json!(7)]).collect()
        }
        Holds::Names(count) => [json!("x"), json!([7])].into_iter().chain(count.map(|_| json!(["x"]))).collect(),
        Holds::Points(bounds) => {
            let lists = in_list(bounds.to_vec(), &json!([1, 2, 3]));
            lists.into_iter().map(|list| json!({ "hide": list })).chain([json!({ "hide": 1 }), json!(2)]).collect()
        }
        Holds::Lists(n, bounds) => {
            let lists = in_list(bounds.to_vec(), &example[0]).into_iter().map(|list| json!(vec![list; *n]));
            lists.chain([json!([example[0]]), json!(7)]).collect()
        }
        Holds::Choices(_) => vec![json!([]), json!("clearance"), json!(["x"]), json!(7)],
        Holds::Factors(bound) => {
            beyond(bound).into_iter().map(|x| json!({ "roll": x })).chain([json!({ "roll": "x" }), json!(2)]).collect()
        }
        Holds::One(_) | Holds::Many(_) | Holds::Named(_) | Holds::Kinds(_) => vec![json!(7), json!("x"), json!([7])],
    }
}

#[test]
fn what_is_out_of_a_key_s_range_is_refused_by_reader_and_schema() {
    let pair = Pair::of_the_reference();
    for (top, section, entry) in every_key() {
        let file = if std::ptr::eq(top, &raw const STAGE) { &pair.stage } else { &pair.shot };
        let at = if entry.example.is_empty() { places(top, file, section)[0].clone() } else { home_of(&pair, top, section, entry) };
        for wrong in outside(entry) {
            let changed = with_key(file, &at, section, entry.name, wrong.clone());
            let (valid, read) = pair.verdicts(top, &changed);
            let shown = format!("{} {} = {wrong}", section.header, entry.name);
            assert!(!valid, "the schema takes {shown}");
            assert!(read.is_err(), "the reader takes {shown}");
        }
    }
}

#[test]
fn a_key_that_must_be_given_is_missed_by_both_and_an_unknown_one_refused() {
    let pair = Pair::of_the_reference();
    for (top, section, entry) in every_key() {
        let file = if std::ptr::eq(top, &raw const STAGE) { &pair.stage } else { &pair.shot };
        let at = &places(top, file, section)[0];
        let mut changed = file.clone();
        changed.pointer_mut(at).unwrap().as_object_mut().unwrap().remove(entry.name);
        let (valid, read) = pair.verdicts(top, &changed);
        let must = matches!(entry.default, Default::Must | Default::MustUnlessLike);
        assert!(!(valid && must), "the schema does without {} {}", section.header, entry.name);
        assert!(!(read.is_ok() && must), "the reader does without {} {}", section.header, entry.name);
        changed = file.clone();
        changed.pointer_mut(at).unwrap().as_object_mut().unwrap().insert("heronry".to_owned(), json!(1));
        let (valid, read) = pair.verdicts(top, &changed);
        assert!(!valid && read.is_err_and(|told| told.contains("unknown key `heronry`")), "{}", section.header);
    }
}

/// A default said is the value a key has where it is left out.
#[test]
fn a_default_written_out_changes_nothing() {
    let pair = Pair::of_the_reference();
    let loaded = |stage: &Value, shot: &Value| {
        let (stage, shot) = (file_of(stage), file_of(shot));
        let read = |name: &str| match name {
            "shot.toml" => Ok(shot.clone().into_bytes()),
            "stage.toml" => Ok(stage.clone().into_bytes()),
            "take_off.toml" => Ok(ROUTINE_FILE.example.as_bytes().to_vec()),
            _ => Ok(KEY_FILE.as_bytes().to_vec()),
        };
        let loaded = input::parse("shot.toml", &read).unwrap_or_else(|told| panic!("{told}"));
        // Places of keys differ with the text; everything else must not.
        let text = format!("{:?} {:?}", loaded.stage, loaded.shot);
        text.split("place: Place {").map(|part| part.split_once('}').map_or(part, |(_, rest)| rest).to_owned()).collect::<Vec<_>>()
    };
    let mut tried = 0;
    for (top, section, entry) in every_key() {
        let Default::Value(value) = entry.default else { continue };
        let is_stage = std::ptr::eq(top, &raw const STAGE);
        let file = if is_stage { &pair.stage } else { &pair.shot };
        // Where nothing else of the example hangs on the key, it can be left out.
        for at in places(top, file, section) {
            // In a group that is like another, what is left out is the other's.
            let group = at.split('/').take(3).collect::<Vec<_>>().join("/");
            if is_stage && file.pointer(&group).is_some_and(|g| g.get("like").is_some()) {
                continue;
            }
            let said = with_key(file, &at, section, entry.name, schema::from_toml(value));
            let mut left_out = said.clone();
            left_out.pointer_mut(&at).unwrap().as_object_mut().unwrap().remove(entry.name);
            if !matches!(pair.verdicts(top, &said), (true, Ok(()))) {
                continue;
            }
            tried += 1;
            let (a, b) = if is_stage {
                (loaded(&said, &pair.shot), loaded(&left_out, &pair.shot))
            } else {
                (loaded(&pair.stage, &said), loaded(&pair.stage, &left_out))
            };
            assert!(a == b, "{} {} = {value} is not what holds where it is left out", section.header, entry.name);
        }
    }
    assert!(tried > 20, "{tried}");
}

fn toml_files(dir: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(dir).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            toml_files(&path, found);
        } else if path.extension().is_some_and(|e| e == "toml") {
            found.push(path);
        }
    }
}

#[test]
fn every_fixture_is_valid_where_it_has_no_mistake_of_input() {
    let pair = Pair::of_the_reference();
    let mut files = Vec::new();
    toml_files(&fixtures(), &mut files);
    let (mut valid, mut refused) = (0, 0);
    for path in files {
        let Ok(value) = toml::from_str::<Value>(&fs::read_to_string(&path).unwrap()) else { continue };
        let is_shot = value.get("stage").is_some();
        let schema = if is_shot { &pair.shot_schema } else { &pair.stage_schema };
        let read = if is_shot { input::load(&path).map(|_| ()) } else { input::load_stage(&path).map(|_| ()) };
        let told = schema.faults(&value);
        match read {
            Ok(()) => {
                assert!(told.is_empty(), "{}: {told:?}", path.display());
                valid += 1;
            }
            Err(_) if path.ends_with("broken/typing_errors.toml") => {
                assert!(told.len() >= 4, "{told:?}");
                refused += 1;
            }
            Err(_) => {}
        }
    }
    assert!(valid >= 7 && refused == 1, "{valid} {refused}");
}

#[test]
fn rules_between_keys_of_one_table_are_in_the_schema() {
    let pair = Pair::of_the_reference();
    let stage_changes: &[(&str, &str, Value)] = &[
        ("/group/0/axis/1/load", "mass", json!(3)),
        ("/group/1/joint/0", "turn", json!([0, 1, 0])),
        ("/group/2/joint/3", "channel", json!("pan")),
        ("/group/1/mechanism/1", "mass", Value::Null),
        ("/group/1/mechanism/2", "wound", Value::Null),
        ("/group/0/axis/0", "travel_per_rev", Value::Null),
        ("/group/3", "like", Value::Null),
        ("/group/1/mechanism/0", "kind", json!("lever")),
    ];
    let shot_changes: &[(&str, &str, Value)] = &[
        ("/track/0", "blend", json!(2)),
        ("/track/0", "channel", Value::Null),
        ("/aim/0", "offset", json!([1, 2, 3])),
        ("", "pass", json!([])),
    ];
    for (top, file, changes) in [(&STAGE, &pair.stage, stage_changes), (&SHOT, &pair.shot, shot_changes)] {
        for (at, key, value) in changes {
            let mut changed = file.clone();
            let table = changed.pointer_mut(at).unwrap().as_object_mut().unwrap();
            match value {
                Value::Null => drop(table.remove(*key).unwrap_or_else(|| panic!("{at} has no {key}"))),
                other => drop(table.insert((*key).to_owned(), other.clone())),
            }
            let (valid, read) = pair.verdicts(top, &changed);
            assert!(!valid, "the schema takes {at} {key} {value}");
            assert!(read.is_err(), "the reader takes {at} {key} {value}");
        }
    }
}

#[test]
fn the_committed_references_are_what_is_printed() {
    let committed = fs::read_to_string(fixtures().join("KEYS.md")).unwrap();
    assert!(committed == reference::markdown(), "run: cargo run -- schema --reference > fixtures/KEYS.md");
    let committed = fs::read_to_string(fixtures().join("ERRORS.md")).unwrap();
    assert!(committed == Code::reference(), "run: cargo run -- schema --errors > fixtures/ERRORS.md");
}
