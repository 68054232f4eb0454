//! Validates JSON against a schema, with the keywords that the schemas of the crate use. A schema with any other keyword is refused.
//!
//! Source: JSON Schema draft 2020-12, core (section 10) and validation (section 6). Checked once against the Python package `jsonschema` 4.26.0:
//! the same verdict on 1201 stages and shots that `schemas.rs` makes, 413 of them valid.
//! Checked once against the JSON Schema Test Suite that comes with that package: all 338 cases of the 95 schemas in this subset.
//! Limits: no references, no formats, `enum` and `const` of scalars only.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use regex::Regex;
use serde_json::{Map, Number, Value};

pub struct Validator {
    schema: Value,
    patterns: BTreeMap<String, Regex>,
}

impl Validator {
    /// # Errors
    /// What in the schema this validator does not know.
    pub fn new(schema: Value) -> Result<Validator, String> {
        let mut patterns = BTreeMap::new();
        learn(&schema, &mut patterns)?;
        Ok(Validator { schema, patterns })
    }

    pub fn is_valid(&self, value: &Value) -> bool {
        self.faults(value).is_empty()
    }

    /// One line for each keyword that fails: where in the value, and which.
    pub fn faults(&self, value: &Value) -> Vec<String> {
        let mut faults = Vec::new();
        self.apply(&self.schema, value, "", &mut faults);
        faults
    }

    fn holds(&self, schema: &Value, value: &Value) -> bool {
        let mut faults = Vec::new();
        self.apply(schema, value, "", &mut faults);
        faults.is_empty()
    }

    fn apply(&self, schema: &Value, value: &Value, at: &str, faults: &mut Vec<String>) {
        let Value::Object(keywords) = schema else {
            if *schema == Value::Bool(false) {
                faults.push(format!("{at}: nothing is allowed here"));
            }
            return;
        };
        for (keyword, said) in keywords {
            if !self.keyword(keywords, keyword, said, value, at, faults) {
                faults.push(format!("{at}: {value} fails `{keyword}`: {said}"));
            }
        }
    }

    /// Whether the keyword holds; what fails deeper inside the value is added to `faults`.
    fn keyword(&self, beside: &Map<String, Value>, keyword: &str, said: &Value, value: &Value, at: &str, faults: &mut Vec<String>) -> bool {
        let holding = || list(said).iter().filter(|schema| self.holds(schema, value)).count();
        match (keyword, value) {
            ("type", _) => match said {
                Value::Array(types) => types.iter().any(|name| is_of_type(name.as_str().unwrap(), value)),
                name => is_of_type(name.as_str().unwrap(), value),
            },
            ("enum", _) => list(said).iter().any(|allowed| same(allowed, value)),
            ("const", _) => same(said, value),
            ("minimum", Value::Number(n)) => order(n, said) != Ordering::Less,
            ("exclusiveMinimum", Value::Number(n)) => order(n, said) == Ordering::Greater,
            ("maximum", Value::Number(n)) => order(n, said) != Ordering::Greater,
            ("pattern", Value::String(text)) => self.patterns[said.as_str().unwrap()].is_match(text),
            ("minItems", Value::Array(items)) => items.len() as u64 >= said.as_u64().unwrap(),
            ("maxItems", Value::Array(items)) => items.len() as u64 <= said.as_u64().unwrap(),
            ("required", Value::Object(map)) => list(said).iter().all(|name| map.contains_key(name.as_str().unwrap())),
            ("properties", Value::Object(map)) => {
                let inner = said.as_object().unwrap();
                map.iter()
                    .filter_map(|(k, v)| Some((k, v, inner.get(k)?)))
                    .for_each(|(k, v, s)| self.apply(s, v, &format!("{at}/{k}"), faults));
                true
            }
            ("additionalProperties", Value::Object(map)) => {
                let known = beside.get("properties").and_then(Value::as_object);
                let others = map.iter().filter(|(k, _)| known.is_none_or(|known| !known.contains_key(*k)));
                others.for_each(|(k, v)| self.apply(said, v, &format!("{at}/{k}"), faults));
                true
            }
            ("prefixItems", Value::Array(items)) => {
                list(said).iter().zip(items).enumerate().for_each(|(i, (s, v))| self.apply(s, v, &format!("{at}/{i}"), faults));
                true
            }
            ("items", Value::Array(items)) => {
                let first = beside.get("prefixItems").map_or(0, |prefix| list(prefix).len());
                items.iter().enumerate().skip(first).for_each(|(i, v)| self.apply(said, v, &format!("{at}/{i}"), faults));
                true
            }
            ("allOf", _) => {
                list(said).iter().for_each(|schema| self.apply(schema, value, at, faults));
                true
            }
            ("anyOf", _) => holding() > 0,
            ("oneOf", _) => holding() == 1,
            ("not", _) => !self.holds(said, value),
            ("if", _) => {
                let branch = if self.holds(said, value) { "then" } else { "else" };
                beside.get(branch).into_iter().for_each(|schema| self.apply(schema, value, at, faults));
                true
            }
            // Notes for a person, the branches of `if`, and keywords of another type than the value's.
            _ => true,
        }
    }
}

fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

/// Looks at every keyword of a schema and those in it, met by a value or not.
fn learn(schema: &Value, patterns: &mut BTreeMap<String, Regex>) -> Result<(), String> {
    let keywords = match schema {
        Value::Bool(_) => return Ok(()),
        Value::Object(keywords) => keywords,
        other => return Err(format!("not a schema: {other}")),
    };
    for (keyword, said) in keywords {
        let unknown = Err(format!("not known here: `{keyword}`: {said}"));
        let scalar = |value: &Value| !value.is_array() && !value.is_object();
        match (keyword.as_str(), said) {
            ("$schema" | "title" | "description", Value::String(_)) | ("default", _) | ("examples", Value::Array(_)) => {}
            ("type", Value::String(name)) if TYPES.contains(&name.as_str()) => {}
            ("type", Value::Array(names)) if names.iter().all(|name| name.as_str().is_some_and(|name| TYPES.contains(&name))) => {}
            ("enum", Value::Array(allowed)) if allowed.iter().all(scalar) => {}
            ("const", allowed) if scalar(allowed) => {}
            ("minimum" | "exclusiveMinimum" | "maximum", Value::Number(_)) => {}
            ("minItems" | "maxItems", Value::Number(n)) if n.is_u64() => {}
            ("required", Value::Array(names)) if names.iter().all(Value::is_string) => {}
            ("pattern", Value::String(pattern)) => {
                patterns.insert(pattern.clone(), Regex::new(pattern).map_err(|e| e.to_string())?);
            }
            ("properties", Value::Object(inner)) => inner.values().try_for_each(|s| learn(s, patterns))?,
            ("prefixItems" | "allOf" | "anyOf" | "oneOf", Value::Array(inner)) => inner.iter().try_for_each(|s| learn(s, patterns))?,
            ("additionalProperties" | "items" | "not" | "if", inner) => learn(inner, patterns)?,
            ("then" | "else", inner) if keywords.contains_key("if") => learn(inner, patterns)?,
            _ => return unknown,
        }
    }
    Ok(())
}

const TYPES: [&str; 7] = ["string", "number", "integer", "boolean", "array", "object", "null"];

fn is_of_type(name: &str, value: &Value) -> bool {
    match (name, value) {
        ("integer", Value::Number(n)) => n.is_i64() || n.is_u64() || n.as_f64().is_some_and(|x| x.fract() == 0.0),
        ("string", Value::String(_))
        | ("number", Value::Number(_))
        | ("boolean", Value::Bool(_))
        | ("array", Value::Array(_))
        | ("object", Value::Object(_))
        | ("null", Value::Null) => true,
        _ => false,
    }
}

/// 1 and 1.0 are one number.
fn same(a: &Value, b: &Value) -> bool {
    match (a, b) {
        (Value::Number(a), Value::Number(_)) => order(a, b) == Ordering::Equal,
        _ => a == b,
    }
}

fn order(a: &Number, b: &Value) -> Ordering {
    match (a.as_i64(), b.as_i64()) {
        (Some(a), Some(b)) => a.cmp(&b),
        _ => a.as_f64().unwrap().partial_cmp(&b.as_f64().unwrap()).unwrap(),
    }
}

/// Schema, values that are valid, values that are not. Source: verdicts of the Python package `jsonschema` 4.26.0.
const VERDICTS: &str = r#"
{"type": "integer"} | [1, 1.0] | [1.5, "1", true]
{"type": "number"} | [1, 1.5] | ["1", false]
{"type": "string"} | [""] | [1, null]
{"type": "boolean"} | [true] | [1]
{"type": "array"} | [[]] | [{}]
{"type": "object"} | [{}] | [[]]
{"const": 1} | [1, 1.0] | [2, "1"]
{"enum": ["mm", "deg"]} | ["mm"] | ["m", 1]
{"minimum": 0} | [0, -0.0, 1, "x"] | [-1e-09]
{"exclusiveMinimum": 0} | [1e-09] | [0, -1]
{"maximum": 10} | [10, 10.0, -3] | [10.5]
{"maximum": 9007199254740993} | [9007199254740993] | [9007199254740994]
{"pattern": "^[a-z][a-z0-9_]{0,3}$"} | ["her", 7] | ["heron", "1a", ""]
{"pattern": "b"} | ["abc"] | ["ac"]
{"minItems": 2, "maxItems": 2} | [[1, 2], "x"] | [[1], [1, 2, 3]]
{"required": ["a", "b"]} | [{"a": 1, "b": 2}, []] | [{"a": 1}]
{"properties": {"a": {"type": "integer"}}} | [{"a": 1}, {"b": "x"}, 3] | [{"a": "x"}]
{"properties": {"a": {}}, "additionalProperties": false} | [{"a": 1}, {}] | [{"a": 1, "b": 2}]
{"additionalProperties": {"type": "number"}} | [{"x": 1}] | [{"x": "1"}]
{"prefixItems": [{"type": "integer"}, {"type": "string"}], "items": false} | [[1, "a"], [1]] | [["a", 1], [1, "a", 2]]
{"items": {"minimum": 0}} | [[0, 1], []] | [[0, -1]]
{"allOf": [{"required": ["a"]}, {"required": ["b"]}]} | [{"a": 1, "b": 1}] | [{"a": 1}]
{"anyOf": [{"type": "string"}, {"minItems": 1}]} | ["x", [1]] | [[]]
{"oneOf": [{"required": ["a"]}, {"required": ["b"]}]} | [{"a": 1}, {"b": 1}] | [{"a": 1, "b": 1}, {}]
{"not": {"required": ["a", "b"]}} | [{"a": 1}] | [{"a": 1, "b": 1}]
{"if": {"required": ["a"]}, "then": {"required": ["b"]}, "else": {"required": ["c"]}} | [{"a": 1, "b": 1}, {"c": 1}] | [{"a": 1, "c": 1}, {"b": 1}]
{"if": {"required": ["a"]}, "then": {"required": ["b"]}} | [{"c": 1}] | [{"a": 1}]
"#;

#[test]
fn every_keyword_gives_the_verdicts_of_another_validator() {
    let mut keywords = 0;
    for row in VERDICTS.trim().lines() {
        let parts: Vec<Value> = row.split(" | ").map(|part| serde_json::from_str(part).unwrap()).collect();
        let validator = Validator::new(parts[0].clone()).unwrap();
        for (i, expected) in [(1, true), (2, false)] {
            for value in list(&parts[i]) {
                assert_eq!(validator.is_valid(value), expected, "{}: {value}", parts[0]);
            }
        }
        keywords += parts[0].as_object().unwrap().len();
    }
    assert!(keywords > 30, "{keywords}");
}

#[test]
fn what_it_does_not_know_is_refused_wherever_it_stands() {
    for unknown in [
        r##"{"items": {"$ref": "#"}}"##,
        r#"{"properties": {"a": {"minLength": 1}}}"#,
        r#"{"type": ["string", "text"]}"#,
        r#"{"then": {"required": ["a"]}}"#,
        r#"{"enum": [[1]]}"#,
        r#"{"minItems": 1.5}"#,
        r#"{"pattern": "("}"#,
        r#"{"allOf": [3]}"#,
    ] {
        assert!(Validator::new(serde_json::from_str(unknown).unwrap()).is_err(), "{unknown}");
    }
}
