//! JSON Schema of the files, so that editors complete keys and mark mistakes while they are made.
//!
//! Source: JSON Schema draft 2020-12, core and validation vocabularies. Invariant: what the reader takes, the schema takes; the reverse holds within one table. Limits: names
//! that must exist, keys in rising order, geometry and what a group takes over with `like` are known to the reader alone.

use serde_json::{Map, Value, json};

use super::{Default, Entry, Holds, ROUTINE_FILE, Rule, SHOT, STAGE, Section};
use crate::bounds::Bound;

/// Schema of the stage file.
#[must_use]
pub(crate) fn stage() -> Value {
    of_file("Stage of a miniature: motors, axes, limits, mechanisms, bodies", &STAGE)
}

/// Schema of the shot file.
#[must_use]
pub(crate) fn shot() -> Value {
    of_file("Shot: what is animated, and the passes it is run in", &SHOT)
}

/// Schema of a routine's file.
#[must_use]
pub(crate) fn routine() -> Value {
    of_file("Routine: the choreography of one figure, channels without a group", &ROUTINE_FILE)
}

fn of_file(title: &str, section: &'static Section) -> Value {
    let mut schema = Map::new();
    schema.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
    schema.insert("title".to_owned(), json!(title));
    schema.extend(table(section, true));
    Value::Object(schema)
}

/// One table. Where the group may be `like` another, `whole` is false and what can be taken over may be missing.
fn table(section: &'static Section, whole: bool) -> Map<String, Value> {
    let properties: Map<String, Value> = section.keys.iter().map(|entry| (entry.name.to_owned(), property(section, entry))).collect();
    let must = |entry: &&Entry| entry.default == Default::Must || (whole && entry.default == Default::MustUnlessLike);
    let required: Vec<&str> = section.keys.iter().filter(must).map(|entry| entry.name).collect();
    let mut schema = Map::new();
    schema.insert("description".to_owned(), json!(section.meaning));
    schema.insert("type".to_owned(), json!("object"));
    schema.insert("properties".to_owned(), Value::Object(properties));
    schema.insert("required".to_owned(), json!(required));
    schema.insert("additionalProperties".to_owned(), json!(false));
    let rules: Vec<Value> = section.rules.iter().filter(|rule| whole || !matches!(rule, Rule::NeededWith(..))).flat_map(rule).collect();
    if !rules.is_empty() {
        schema.insert("allOf".to_owned(), Value::Array(rules));
    }
    schema
}

fn property(section: &'static Section, entry: &'static Entry) -> Value {
    let mut schema = match &entry.holds {
        Holds::Text => object(json!({ "type": "string" })),
        Holds::Shaped(pattern, _) => object(json!({ "type": "string", "pattern": pattern })),
        Holds::Number(bound) => number(bound),
        Holds::Whole(least, most) if least == most => object(json!({ "const": least })),
        Holds::Whole(least, most) => whole(*least, *most),
        Holds::Flag => object(json!({ "type": "boolean" })),
        Holds::Choice(words) => object(json!({ "type": "string", "enum": words() })),
        Holds::Numbers(bounds) => tuple(bounds.iter().map(number).collect()),
        Holds::TwoWholes(least, most) => tuple(vec![whole(*least, *most), whole(*least, *most)]),
        Holds::Rows(columns) => rows(columns),
        Holds::NumberAndName(_, bound) => {
            let row = json!({ "type": "array", "prefixItems": [number(bound), { "type": "string" }], "items": false, "minItems": 2 });
            object(json!({ "type": "array", "items": row, "minItems": 1 }))
        }
        Holds::RowsOrFile(columns) => object(json!({ "anyOf": [rows(columns), { "type": "string" }] })),
        Holds::UpTo(most, bound) => object(json!({ "type": "array", "items": number(bound), "minItems": 1, "maxItems": most })),
        Holds::Names(Some(count)) => {
            object(json!({ "type": "array", "items": { "type": "string" }, "minItems": count, "maxItems": count }))
        }
        Holds::Names(None) => object(json!({ "type": "array", "items": { "type": "string" } })),
        Holds::Points(bounds) => object(json!({ "type": "object", "additionalProperties": tuple(bounds.iter().map(number).collect()) })),
        Holds::Lists(n, bounds) => tuple((0..*n).map(|_| tuple(bounds.iter().map(number).collect())).collect()),
        Holds::Choices(words) => object(json!({ "type": "array", "items": { "type": "string", "enum": words() }, "minItems": 1 })),
        Holds::Factors(bound) => object(json!({ "type": "object", "additionalProperties": number(bound) })),
        Holds::One(inner) => table(inner, true),
        Holds::Many(inner) => object(json!({ "type": "array", "items": item(section, inner) })),
        Holds::Named(inner) => object(json!({ "type": "object", "additionalProperties": table(inner, true) })),
        Holds::Kinds(kinds) => object(json!({ "type": "array", "items": of_kinds(kinds) })),
    };
    if core::ptr::eq(section, &super::SHOT) && entry.name == "pass" {
        schema.insert("minItems".to_owned(), json!(1));
    }
    schema.insert("description".to_owned(), json!(described(entry)));
    if let Default::Value(text) = entry.default {
        schema.insert("default".to_owned(), from_toml(text));
    }
    if !entry.example.is_empty() {
        schema.insert("examples".to_owned(), json!([from_toml(entry.example)]));
    }
    Value::Object(schema)
}

/// An entry of a list of tables. A group is whole unless it is `like` another; then its axes may take keys over.
fn item(section: &'static Section, inner: &'static Section) -> Value {
    if core::ptr::eq(inner, &super::AXIS) {
        return Value::Object(table(inner, false));
    }
    let mut schema = table(inner, !core::ptr::eq(inner, &super::GROUP));
    if core::ptr::eq(inner, &super::GROUP) && core::ptr::eq(section, &STAGE) {
        let axis = table(&super::AXIS, true);
        let rules: Vec<Value> = super::AXIS.rules.iter().flat_map(rule).collect();
        let items = json!({ "required": axis.get("required"), "allOf": rules });
        schema.insert("if".to_owned(), json!({ "required": ["like"] }));
        schema.insert("else".to_owned(), json!({ "required": ["axis"], "properties": { "axis": { "minItems": 1, "items": items } } }));
    }
    Value::Object(schema)
}

/// Tables chosen by `kind`: what an editor shows depends on its value.
fn of_kinds(kinds: &[(&'static str, &'static Section)]) -> Value {
    let words: Vec<&str> = kinds.iter().map(|(word, _)| *word).collect();
    let chosen: Vec<Value> = kinds
        .iter()
        .map(|(word, inner)| {
            json!({ "if": { "properties": { "kind": { "const": word } }, "required": ["kind"] }, "then": Value::Object(table(inner, true)) })
        })
        .collect();
    json!({ "type": "object", "properties": { "kind": { "enum": words } }, "required": ["kind"], "allOf": chosen })
}

fn rule(rule: &Rule) -> Vec<Value> {
    let given = |key: &str| json!({ "required": [key] });
    match *rule {
        Rule::OneOf(keys) => vec![json!({ "oneOf": keys.iter().map(|key| given(key)).collect::<Vec<_>>() })],
        Rule::AtMostOne(keys) => vec![json!({ "not": { "required": keys } })],
        Rule::AllOrNone(keys) => {
            vec![json!({ "if": { "anyOf": keys.iter().map(|key| given(key)).collect::<Vec<_>>() }, "then": { "required": keys } })]
        }
        Rule::OnlyWith(key, other, words) => {
            vec![json!({ "if": given(key), "then": { "required": [other], "properties": { other: { "enum": words } } } })]
        }
        Rule::NeededWith(key, other, word) => {
            vec![json!({ "if": { "required": [other], "properties": { other: { "const": word } } }, "then": given(key) })]
        }
        Rule::NeededWithList(key, other) => {
            vec![json!({ "if": { "required": [other], "properties": { other: { "type": "array" } } }, "then": given(key) })]
        }
        Rule::OnlyBeside(key, others) => {
            vec![json!({ "if": given(key), "then": { "anyOf": others.iter().map(|other| given(other)).collect::<Vec<_>>() } })]
        }
    }
}

/// Meaning and unit in one line.
fn described(entry: &Entry) -> String {
    let mut text = entry.meaning.to_owned();
    if !entry.unit.is_empty() {
        text.push_str(&format!(" ({})", entry.unit));
    }
    match (&entry.holds, entry.default) {
        (Holds::Shaped(_, words), _) => text.push_str(&format!(": {words}")),
        (_, Default::None(words)) if entry.sections().is_empty() => text.push_str(&format!("; left out: {words}")),
        _ => {}
    }
    text
}

fn number(bound: &Bound) -> Map<String, Value> {
    let least = if bound.above_least { "exclusiveMinimum" } else { "minimum" };
    object(json!({ "type": "number", least: plain(bound.least), "maximum": plain(bound.most) }))
}

fn whole(least: i64, most: i64) -> Map<String, Value> {
    object(json!({ "type": "integer", "minimum": least, "maximum": most }))
}

fn tuple(entries: Vec<Map<String, Value>>) -> Map<String, Value> {
    let count = entries.len();
    object(json!({ "type": "array", "prefixItems": entries, "items": false, "minItems": count, "maxItems": count }))
}

fn rows(columns: &[(&str, Bound)]) -> Map<String, Value> {
    let entries = columns.iter().map(|(name, bound)| {
        let mut entry = number(bound);
        entry.insert("title".to_owned(), json!(name));
        entry
    });
    object(json!({ "type": "array", "minItems": 1, "items": tuple(entries.collect()) }))
}

/// A number without a needless `.0`; those that need it have no whole value.
fn plain(value: f64) -> Value {
    let text = if value.fract() == 0.0 { format!("{value:.0}") } else { format!("{value:?}") };
    serde_json::from_str(&text).unwrap_or_else(|_| json!(value))
}

fn object(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(map) => map,
        _ => Map::new(),
    }
}

/// A value of the table, written as TOML, as JSON.
#[must_use]
pub(crate) fn from_toml(text: &str) -> Value {
    let read = toml::from_str::<Map<String, Value>>(&format!("x = {text}"));
    read.ok().and_then(|mut table| table.remove("x")).unwrap_or(Value::Null)
}

#[cfg(test)]
mod tests {
    use super::super::all_below;
    use super::*;

    #[test]
    fn defaults_and_examples_are_values() {
        for entry in [&STAGE, &SHOT].into_iter().flat_map(all_below).flat_map(|section| section.keys) {
            let told = [Some(entry.example).filter(|e| !e.is_empty()), if let Default::Value(v) = entry.default { Some(v) } else { None }];
            for text in told.into_iter().flatten() {
                assert_ne!(from_toml(text), Value::Null, "{}: {text}", entry.name);
            }
        }
    }

    #[test]
    fn ends_of_a_range_belong_or_not_as_in_the_bound() {
        assert_eq!(Value::Object(number(&crate::bounds::EFFICIENCY)), json!({ "type": "number", "exclusiveMinimum": 0, "maximum": 1 }));
        assert_eq!(Value::Object(number(&crate::bounds::PACE)), json!({ "type": "number", "minimum": 0.001, "maximum": 86400 }));
    }
}
