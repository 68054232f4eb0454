//! The published schemas of what is written, and what is written: check, pace, changes, manifest, input errors.

use movewright::check::pace::paces;
use movewright::check::{Report, changes};
use movewright::cli::errors_json::{self, Errors};
use movewright::compile::Compiled;
use movewright::output::{changes_json, check_json, manifest, pace_json, schemas};
use serde_json::{Value, json};

use crate::inside::common::inputs::Inputs;
use crate::inside::common::json_schema::Validator;

fn compiled(inputs: &Inputs) -> Compiled {
    let loaded = inputs.load().unwrap();
    Compiled::compile(loaded.stage, loaded.shot).unwrap()
}

fn checked(inputs: &Inputs) -> Report {
    compiled(inputs).check().unwrap()
}

fn read(text: &str) -> Value {
    serde_json::from_str(text).unwrap()
}

/// Shots that differ in what they have: the demo with a wedge; hung, aimed, winged and turned figures; each broken shot that can be read; no figure at all.
fn shots() -> Vec<(String, Inputs)> {
    let wedge = "[[pass]]\nname = \"strip\"\nexposure = \"held\"\nseconds_per_frame = 14\nshutter = 180\nlight = \"stage\"\nwedge = { frame = 120, stops = [0, 1] }\n[[pass]]";
    let demo = Inputs::of("herons").with("shot.toml", "frames = [1, 288]", "frames = [110, 130]").with("shot.toml", "[[pass]]", wedge);
    let mut all = vec![("demo".to_owned(), demo)];
    all.extend(
        ["aimed", "followed", "hung", "plate", "turned", "winged"].map(|name| (name.to_owned(), Inputs::of(&format!("slips/{name}")))),
    );
    all.push(("costs".to_owned(), Inputs::of("costs").with("shot.toml", "frames = [1, 36]", "frames = [1, 6]")));
    // What exceeds its limits has violations, with offers and without.
    let hurried = Inputs::of("slips/hung");
    let pace = hurried.0["shot.toml"].lines().find(|l| l.starts_with("seconds_per_frame")).unwrap().to_owned();
    all.push(("hurried".to_owned(), hurried.with("shot.toml", &pace, "seconds_per_frame = 0.01")));
    all
}

/// Everything that is written has the form that is published, whatever a shot has; and no schema takes a document without what it requires, or with another type.
#[test]
fn what_is_written_is_what_is_published() {
    let of = |schema: Value| Validator::new(schema).unwrap();
    let (check, pace, written, changed) = (of(schemas::check()), of(schemas::pace()), of(schemas::manifest()), of(schemas::changes()));
    let mut violations = 0;
    for (name, inputs) in shots() {
        let report = checked(&inputs);
        let document = read(&check_json::text(&report).unwrap());
        violations += document["passes"].as_array().unwrap().iter().map(|p| p["violations"].as_array().unwrap().len()).sum::<usize>();
        let documents = [
            ("check", &check, document),
            ("pace", &pace, read(&pace_json::text(&report.compiled, &paces(&report), None).unwrap())),
            ("manifest", &written, serde_json::to_value(manifest::manifest(&report, "shot.toml")).unwrap()),
        ];
        for (what, schema, document) in documents {
            assert_eq!(schema.faults(&document), [""; 0], "{name}: {what}");
            broken(schema, &document, what);
        }
    }
    assert!(violations > 0);
    let (old, new) = (Inputs::of("slips/hung"), Inputs::of("slips/hung"));
    let frames = old.0["shot.toml"].lines().find(|l| l.starts_with("frames")).unwrap().to_owned();
    let new = new.with("shot.toml", &frames, "frames = [1, 5]");
    let document = read(&changes_json::text(&changes::between(&compiled(&old), &compiled(&new)), &[]).unwrap());
    assert_eq!(changed.faults(&document), [""; 0]);
    broken(&changed, &document, "changes");
}

#[test]
fn errors_have_their_place_and_the_form_that_is_published() {
    let schema = Validator::new(errors_json::schema()).unwrap();
    let wrong = Inputs::of("slips/hung").with("shot.toml", "format = 1", "format = 1\nheronry = 2").load().unwrap_err();
    let mut errors = Errors::none();
    errors.add_all(&wrong);
    let document = read(&errors.text().unwrap());
    assert_eq!(schema.faults(&document), [""; 0]);
    let first = &document["errors"][0];
    assert_eq!(
        (&first["code"], &first["file"], &first["line"], &first["column"]),
        (&json!("unknown-key"), &json!("shot.toml"), &json!(2), &json!(1))
    );
    broken(&schema, &document, "errors");
}

/// Leaves out each key of a document that its schema requires, and gives each another type.
fn broken(schema: &Validator, document: &Value, what: &str) {
    let keys: Vec<String> = document.as_object().unwrap().keys().cloned().collect();
    let mut missed = 0;
    for key in &keys {
        let mut without = document.clone();
        without.as_object_mut().unwrap().remove(key);
        missed += usize::from(!schema.is_valid(&without));
        let mut other = document.clone();
        other[key] = json!({ "heronry": true });
        assert!(!schema.is_valid(&other) || document[key].is_object(), "{what}: {key} may be anything");
    }
    assert!(2 * missed >= keys.len(), "{what} requires {missed} of {keys:?}");
}
