//! A small checker for the words of JSON Schema that the study's schema uses, and the check of what is written.

use serde_json::Value;

use super::corrections::Corrections;
use super::document::Document;
use super::examples::full_study;
use super::{SCHEMA, Study};
use crate::names::{Layer, Limb, Mark, Voice};

/// Words that say nothing that can be broken.
const SILENT: [&str; 5] = ["$schema", "$id", "$defs", "title", "description"];

/// Everything in which `value` breaks `schema`, with the place. A word that is not known here is a fault as well.
fn faults(value: &Value, schema: &Value, root: &Value, place: &str) -> Vec<String> {
    let empty = serde_json::Map::new();
    let mut found = Vec::new();
    for (word, rule) in schema.as_object().unwrap_or(&empty) {
        let good = match word.as_str() {
            silent if SILENT.contains(&silent) => true,
            "$ref" => {
                let target = rule
                    .as_str()
                    .and_then(|r| root.pointer(r.trim_start_matches('#')));
                found.extend(faults(value, target.unwrap_or(&Value::Bool(false)), root, place));
                target.is_some()
            }
            "type" => match rule {
                Value::Array(types) => types.iter().any(|t| is(value, t)),
                one => is(value, one),
            },
            "const" => value == rule,
            "enum" => rule.as_array().is_some_and(|list| list.contains(value)),
            "minimum" => value.as_f64().zip(rule.as_f64()).is_none_or(|(v, r)| v >= r),
            "maximum" => value.as_f64().zip(rule.as_f64()).is_none_or(|(v, r)| v <= r),
            "minItems" => value
                .as_array()
                .zip(rule.as_u64())
                .is_none_or(|(v, r)| v.len() as u64 >= r),
            "maxItems" => value
                .as_array()
                .zip(rule.as_u64())
                .is_none_or(|(v, r)| v.len() as u64 <= r),
            "pattern" => {
                let digest = |s: &str| s.len() == 64 && s.bytes().all(|b| b"0123456789abcdef".contains(&b));
                rule == "^[0-9a-f]{64}$" && value.as_str().is_none_or(digest)
            }
            "required" => {
                let keys = rule.as_array().into_iter().flatten().filter_map(Value::as_str);
                keys.into_iter().all(|key| value.get(key).is_some())
            }
            "properties" => {
                for (key, item) in value.as_object().unwrap_or(&empty) {
                    match rule.get(key) {
                        Some(rule) => found.extend(faults(item, rule, root, &format!("{place}/{key}"))),
                        None => found.push(format!("{place}/{key} is not described")),
                    }
                }
                true
            }
            "additionalProperties" => {
                let items = value.as_object().unwrap_or(&empty).iter();
                found.extend(
                    items.flat_map(|(key, item)| faults(item, rule, root, &format!("{place}/{key}"))),
                );
                true
            }
            "items" => {
                let items = value.as_array().into_iter().flatten().enumerate();
                found.extend(items.flat_map(|(at, item)| faults(item, rule, root, &format!("{place}/{at}"))));
                true
            }
            "prefixItems" => {
                let rules = rule.as_array().into_iter().flatten();
                let items = value.as_array().into_iter().flatten().zip(rules).enumerate();
                found.extend(
                    items.flat_map(|(at, (item, rule))| faults(item, rule, root, &format!("{place}/{at}"))),
                );
                true
            }
            "anyOf" => {
                let mut rules = rule.as_array().into_iter().flatten();
                rules.any(|rule| faults(value, rule, root, place).is_empty())
            }
            _ => false,
        };
        if !good {
            found.push(format!("{place} breaks {word}: {rule}"));
        }
    }
    found
}

fn is(value: &Value, kind: &Value) -> bool {
    match kind.as_str() {
        Some("object") => value.is_object(),
        Some("array") => value.is_array(),
        Some("string") => value.is_string(),
        Some("number") => value.is_number(),
        Some("integer") => value.is_i64() || value.is_u64(),
        Some("boolean") => value.is_boolean(),
        Some("null") => value.is_null(),
        _ => false,
    }
}

fn document(study: &Study) -> Value {
    let text = Document::of(study, &Corrections::default(), "0".repeat(64), None)
        .text()
        .unwrap();
    serde_json::from_str(&text).unwrap()
}

#[test]
fn what_is_written_follows_the_schema() {
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let full = document(&full_study());
    assert_eq!(faults(&full, &schema, &schema, ""), [] as [String; 0]);
}

#[test]
fn the_schema_refuses_what_breaks_the_contract() {
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let full = document(&full_study());
    let broken = [
        ("/version", Value::from(2)),
        ("/format", Value::from("other")),
        ("/recording/sha256", Value::from("xyz")),
        ("/grid/meter", serde_json::json!([4])),
        ("/grid/sure", Value::from(1.5)),
        ("/cycles/0/start/time", Value::from("1:04")),
        ("/cycles/0/figure/0/limb", Value::from("foot")),
        ("/cycles/0/length_steps", Value::from(0)),
        ("/written/rows/0/1", Value::from("snair")),
        ("/voices/0/example_times", serde_json::json!([1, 2, 3, 4, 5, 6])),
    ];
    for (place, wrong) in broken {
        let mut document = full.clone();
        *document.pointer_mut(place).unwrap() = wrong;
        let found = faults(&document, &schema, &schema, "");
        assert!(!found.is_empty(), "{place}");
    }
    for key in full.as_object().unwrap().keys() {
        let mut document = full.clone();
        document.as_object_mut().unwrap().shift_remove(key);
        assert!(!faults(&document, &schema, &schema, "").is_empty(), "{key}");
    }
}

#[test]
fn the_schema_knows_every_name() {
    let schema: Value = serde_json::from_str(SCHEMA).unwrap();
    let names = |kind: &str| {
        let list = schema
            .pointer(&format!("/$defs/{kind}/enum"))
            .and_then(Value::as_array);
        list.into_iter()
            .flatten()
            .filter_map(Value::as_str)
            .map(str::to_owned)
            .collect::<Vec<_>>()
    };
    assert_eq!(
        names("voice"),
        Voice::ALL.iter().map(|v| v.name()).collect::<Vec<_>>()
    );
    assert_eq!(
        names("limb"),
        Limb::ALL.iter().map(|v| v.name()).collect::<Vec<_>>()
    );
    assert_eq!(
        names("layer"),
        Layer::ALL.iter().map(|v| v.name()).collect::<Vec<_>>()
    );
    assert_eq!(
        names("mark"),
        Mark::ALL.iter().map(|v| v.name()).collect::<Vec<_>>()
    );
}
