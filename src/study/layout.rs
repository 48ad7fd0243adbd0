//! JSON values -> text that a person can compare line by line: one thing a line, numbers of a few fixed decimals.

use serde_json::{Number, Value};

/// What fits into so many characters stands on one line.
const WIDTH: usize = 100;

/// The text of a value, with an end of line.
pub(super) fn text(value: &Value) -> String {
    let mut text = String::new();
    write(value, 0, &mut text);
    text.push('\n');
    text
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

fn write(value: &Value, depth: usize, text: &mut String) {
    let line = one_line(value);
    let room = WIDTH.saturating_sub(2 * depth);
    let pad = "  ".repeat(depth + 1);
    let end = "  ".repeat(depth);
    match value {
        Value::Array(list) if line.len() > room => {
            for (at, item) in list.iter().enumerate() {
                text.push_str(if at == 0 { "[\n" } else { ",\n" });
                text.push_str(&pad);
                write(item, depth + 1, text);
            }
            text.push_str(&format!("\n{end}]"));
        }
        Value::Object(map) if !map.is_empty() && (depth == 0 || line.len() > room) => {
            for (at, (key, item)) in map.iter().enumerate() {
                text.push_str(if at == 0 { "{\n" } else { ",\n" });
                text.push_str(&format!("{pad}{}: ", Value::from(key.as_str())));
                write(item, depth + 1, text);
            }
            text.push_str(&format!("\n{end}}}"));
        }
        _ => text.push_str(&line),
    }
}

fn one_line(value: &Value) -> String {
    match value {
        Value::Array(list) => {
            let items: Vec<String> = list.iter().map(one_line).collect();
            format!("[{}]", items.join(", "))
        }
        Value::Object(map) => {
            let item = |(key, value): (&String, &Value)| {
                format!("{}: {}", Value::from(key.as_str()), one_line(value))
            };
            let items: Vec<String> = map.iter().map(item).collect();
            format!("{{{}}}", items.join(", "))
        }
        scalar => scalar.to_string(),
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
        let text = text(&value);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines[1], "  \"a\": {\"b\": [1, 2], \"c\": null},");
        assert_eq!(lines[2], "  \"long\": [");
        assert_eq!(lines[3], "    0.0,");
        assert_eq!(lines.len(), 45);
        assert_eq!(serde_json::from_str::<Value>(&text).unwrap(), value);
    }

    #[test]
    fn an_empty_document_is_still_a_document() {
        for value in [json!({}), json!([]), json!(null)] {
            assert_eq!(serde_json::from_str::<Value>(&text(&value)).unwrap(), value);
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
