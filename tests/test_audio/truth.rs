//! What is known of a clip, as a file that a person can read and a program can compare with.

use serde_json::{Map, Value};

/// Facts by name, in the order in which they are written.
#[derive(Default)]
pub(crate) struct Truth(Map<String, Value>);

impl Truth {
    /// Adds a fact.
    pub(crate) fn with(mut self, name: &str, fact: impl Into<Value>) -> Self {
        self.0.insert(name.to_owned(), fact.into());
        self
    }

    /// All facts as one value.
    #[cfg(test)]
    pub(crate) fn value(&self) -> Value {
        Value::Object(self.0.clone())
    }

    /// The file: one fact a line, lists of lists and of objects one element a line.
    pub(crate) fn text(&self) -> String {
        let fact =
            |(name, value): (&String, &Value)| format!("{}: {}", Value::from(name.as_str()), lines(value));
        format!(
            "{{\n{}\n}}\n",
            self.0.iter().map(fact).collect::<Vec<_>>().join(",\n")
        )
    }
}

fn lines(value: &Value) -> String {
    match value.as_array() {
        Some(list) if list.first().is_some_and(|v| v.is_array() || v.is_object()) => {
            format!(
                "[\n{}\n]",
                list.iter().map(Value::to_string).collect::<Vec<_>>().join(",\n")
            )
        }
        _ => value.to_string(),
    }
}

/// A time as it is written: to a hundredth of a millisecond.
pub(crate) fn rounded(seconds: f64) -> f64 {
    (seconds * 1e5).round() / 1e5
}
