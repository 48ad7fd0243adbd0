//! JSON values -> text that a person can compare line by line: one thing a line, numbers of a few fixed decimals.

use std::borrow::Borrow;

use serde_json::{Map, Number, Value};

/// What fits into so many characters stands on one line.
const WIDTH: usize = 100;

/// A list too long to stand in memory as a value: its key, under which an object of the document has an empty list, and
/// its items.
pub(super) struct Long<'a> {
    pub(super) key: &'a str,
    pub(super) items: &'a mut dyn Iterator<Item = Value>,
}

/// The text of a value, with an end of line. The `long` list stands a line an item.
pub(super) fn text(value: &Value, long: Option<Long>) -> String {
    let mut text = Text {
        text: String::new(),
        long,
    };
    text.write(value, 0);
    text.text.push('\n');
    text.text
}

/// Rounds every number with a fraction: times to the five decimals of `hits.tsv`, others to what they are good for.
pub(super) fn round(value: &mut Value) {
    round_as("", value);
}

fn round_as(key: &str, value: &mut Value) {
    match value {
        Value::Object(map) => map.iter_mut().for_each(|(key, value)| round_as(key, value)),
        Value::Array(list) => list.iter_mut().for_each(|value| round_as(key, value)),
        Value::Number(number) if number.is_f64() => {
            let decimals = match key {
                "bits" | "more_bits" => 1,
                "late_ms" | "spread_ms" => 2,
                "tempo_bpm" | "ratio" | "spread" | "sure" | "share" | "kept" | "together" | "unexplained" => {
                    3
                }
                _ => 5,
            };
            let factor = 10f64.powi(decimals);
            // Adding nought turns a negative nought into a plain one.
            let rounded = number.as_f64().map(|x| (x * factor).round() / factor + 0.0);
            *value = rounded
                .and_then(Number::from_f64)
                .map_or(Value::Null, Value::Number);
        }
        _ => {}
    }
}

/// Text that is being written.
struct Text<'a> {
    text: String,
    long: Option<Long<'a>>,
}

impl Text<'_> {
    fn write(&mut self, value: &Value, depth: usize) {
        let room = WIDTH.saturating_sub(2 * depth);
        match value {
            Value::Array(list) if !fits(value, room) => self.list(list.iter(), depth),
            Value::Object(map)
                if !map.is_empty() && (depth == 0 || self.holds(map) || !fits(value, room)) =>
            {
                for (at, (key, item)) in map.iter().enumerate() {
                    self.begin(if at == 0 { "{" } else { "," }, depth + 1);
                    self.text.push_str(&Value::from(key.as_str()).to_string());
                    self.text.push_str(": ");
                    match self.long.take_if(|long| long.key == key) {
                        Some(long) => self.list(long.items, depth + 1),
                        None => self.write(item, depth + 1),
                    }
                }
                self.begin("", depth);
                self.text.push('}');
            }
            _ => one_line(value, &mut self.text),
        }
    }

    /// Whether the long list stands in this object.
    fn holds(&self, map: &Map<String, Value>) -> bool {
        self.long.as_ref().is_some_and(|long| map.contains_key(long.key))
    }

    fn list<V: Borrow<Value>>(&mut self, items: impl Iterator<Item = V>, depth: usize) {
        let mut none = true;
        for item in items {
            self.begin(if none { "[" } else { "," }, depth + 1);
            self.write(item.borrow(), depth + 1);
            none = false;
        }
        if none {
            self.text.push_str("[]");
        } else {
            self.begin("", depth);
            self.text.push(']');
        }
    }

    /// Ends a line with `sign` and begins the next.
    fn begin(&mut self, sign: &str, depth: usize) {
        self.text.push_str(sign);
        self.text.push('\n');
        self.text.extend(std::iter::repeat_n("  ", depth));
    }
}

/// Whether a value takes no more than `room` bytes on one line.
fn fits(value: &Value, room: usize) -> bool {
    length(value, room).is_some()
}

/// Bytes of a value on one line; none where they are more than `most`, so that little is looked at.
fn length(value: &Value, most: usize) -> Option<usize> {
    let sum = match value {
        Value::Array(list) => {
            let mut sum = 2 * list.len().max(1);
            for item in list {
                sum += length(item, most.checked_sub(sum)?)?;
            }
            sum
        }
        Value::Object(map) => {
            let mut sum = 2 * map.len().max(1);
            for (key, item) in map {
                sum += Value::from(key.as_str()).to_string().len() + 2;
                sum += length(item, most.checked_sub(sum)?)?;
            }
            sum
        }
        scalar => scalar.to_string().len(),
    };
    (sum <= most).then_some(sum)
}

fn one_line(value: &Value, text: &mut String) {
    match value {
        Value::Array(list) => {
            text.push('[');
            for (at, item) in list.iter().enumerate() {
                text.push_str(if at == 0 { "" } else { ", " });
                one_line(item, text);
            }
            text.push(']');
        }
        Value::Object(map) => {
            text.push('{');
            for (at, (key, item)) in map.iter().enumerate() {
                text.push_str(if at == 0 { "" } else { ", " });
                text.push_str(&Value::from(key.as_str()).to_string());
                text.push_str(": ");
                one_line(item, text);
            }
            text.push('}');
        }
        scalar => text.push_str(&scalar.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn short_things_take_one_line_and_long_ones_a_line_an_item() {
        let long: Vec<f64> = (0..40).map(f64::from).collect();
        let value = json!({"a": {"b": [1, 2], "c": null}, "long": long});
        let text = text(&value, None);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[1], "  \"a\": {\"b\": [1, 2], \"c\": null},");
        assert_eq!(lines[2], "  \"long\": [");
        assert_eq!(lines[3], "    0.0,");
        assert_eq!(lines.len(), 45);
        assert_eq!(serde_json::from_str::<Value>(&text).unwrap(), value);
    }

    #[test]
    fn a_list_that_comes_item_by_item_stands_as_if_it_were_in_the_value() {
        let digest = "0".repeat(WIDTH);
        for count in [0, 1, 40] {
            let items = || (0..count).map(|n| json!([n, "kick", null]));
            let whole = json!({"a": [1], "written": {"digest": digest, "rows": items().collect::<Vec<_>>()}});
            let around = json!({"a": [1], "written": {"digest": digest, "rows": []}});
            let long = Long {
                key: "rows",
                items: &mut items(),
            };
            assert_eq!(
                serde_json::from_str::<Value>(&text(&around, Some(long))).unwrap(),
                whole
            );
            if count != 1 {
                let long = Long {
                    key: "rows",
                    items: &mut items(),
                };
                assert_eq!(text(&around, Some(long)), text(&whole, None));
            }
        }
    }

    #[test]
    fn an_empty_document_is_still_a_document() {
        for value in [json!({}), json!([]), json!(null)] {
            assert_eq!(serde_json::from_str::<Value>(&text(&value, None)).unwrap(), value);
        }
    }

    #[test]
    fn times_keep_five_decimals_and_bits_one() {
        let mut value =
            json!({"time": 1.234_567_8, "bits": 57.26, "late": -0.000_000_1, "n": 3, "list": [0.1]});
        round(&mut value);
        let expected = json!({"time": 1.23457, "bits": 57.3, "late": 0.0, "n": 3, "list": [0.1]});
        assert_eq!(value, expected);
        assert_eq!(value["late"].to_string(), "0.0");
    }
}
