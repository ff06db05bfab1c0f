//! Whether a JSON value has the shape of a JSON Schema: the part of JSON Schema 2020-12 that the schemas of this
//! repository use. A keyword that is not known here is an error, so that none is passed over in silence. The
//! reference checks do the same with an independent validator.

use std::collections::BTreeMap;
use std::path::Path;

use serde_json::{Map, Value};

/// The schemas of a folder, by file name.
pub struct Shapes(BTreeMap<String, Value>);

impl Shapes {
    /// Reads `*.schema.json`.
    /// # Panics
    /// Where the folder or a schema cannot be read.
    #[must_use]
    pub fn of(folder: &Path) -> Shapes {
        let listed = std::fs::read_dir(folder).expect("the schemas are here");
        let names =
            listed.map(|entry| entry.expect("can be listed").file_name().to_string_lossy().into_owned());
        let schemas = names.filter(|name| name.ends_with(".schema.json")).map(|name| {
            let text = std::fs::read(folder.join(&name)).expect("a schema can be read");
            let schema = serde_json::from_slice(&text).unwrap_or_else(|error| panic!("{name}: {error}"));
            (name, schema)
        });
        Shapes(schemas.collect())
    }

    /// File names and schemas.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &Value)> {
        self.0.iter().map(|(name, schema)| (name.as_str(), schema))
    }

    /// Everything in `value` that does not fit the schema of this file name.
    #[must_use]
    pub fn misfits(&self, name: &str, value: &Value) -> Vec<String> {
        let mut found = Vec::new();
        match self.0.get(name) {
            Some(schema) => Shape { all: &self.0, name, root: schema }.check(schema, value, "$", &mut found),
            None => found.push(format!("there is no schema {name}")),
        }
        found
    }
}

/// One schema among the others that it may refer to.
struct Shape<'a> {
    all: &'a BTreeMap<String, Value>,
    name: &'a str,
    root: &'a Value,
}

impl Shape<'_> {
    /// Follows `#/$defs/A`, `other.schema.json` or `other.schema.json#/$defs/A`.
    fn follow(&self, reference: &str, value: &Value, at: &str, found: &mut Vec<String>) -> Option<()> {
        let (file, pointer) = reference.split_once('#').unwrap_or((reference, ""));
        let shape = if file.is_empty() {
            Shape { all: self.all, name: self.name, root: self.root }
        } else {
            let (name, root) = self.all.get_key_value(file)?;
            Shape { all: self.all, name, root }
        };
        let schema = shape.root.pointer(pointer)?;
        shape.check(schema, value, at, found);
        Some(())
    }

    fn check(&self, schema: &Value, value: &Value, at: &str, found: &mut Vec<String>) {
        let Value::Object(keywords) = schema else {
            if schema == &Value::Bool(false) {
                found.push(format!("{at}: nothing may stand here"));
            }
            return;
        };
        for (keyword, rule) in keywords {
            self.keyword(keyword, rule, keywords, value, at, found);
        }
    }

    fn keyword(
        &self,
        keyword: &str,
        rule: &Value,
        beside: &Map<String, Value>,
        value: &Value,
        at: &str,
        found: &mut Vec<String>,
    ) {
        let mut misfit = |what: String| found.push(format!("{at}: {what}"));
        match keyword {
            "$schema" | "$id" | "$defs" | "$comment" | "title" | "description" | "default" | "examples"
            | "format" | "pattern" => {}
            "$ref" => {
                if rule.as_str().and_then(|to| self.follow(to, value, at, found)).is_none() {
                    found.push(format!("{at}: {rule} in {} leads nowhere", self.name));
                }
            }
            "type" if !types(rule).any(|name| is_of_type(value, name)) => {
                misfit(format!("{} is not of type {rule}", short(value)));
            }
            "type" => {}
            "const" if rule != value => misfit(format!("{} is not {rule}", short(value))),
            "enum" if !items(rule).contains(value) => misfit(format!("{} is none of {rule}", short(value))),
            "const" | "enum" => {}
            "minimum" if numbers(value, rule).is_some_and(|(value, least)| value < least) => {
                misfit(format!("{value} is less than {rule}"))
            }
            "maximum" if numbers(value, rule).is_some_and(|(value, most)| value > most) => {
                misfit(format!("{value} is more than {rule}"))
            }
            "minimum" | "maximum" => {}
            "required" => {
                for name in items(rule).iter().filter_map(Value::as_str) {
                    if value.is_object() && value.get(name).is_none() {
                        misfit(format!("{name} is missing"));
                    }
                }
            }
            "properties" => {
                for (name, value) in value.as_object().into_iter().flatten() {
                    if let Some(schema) = rule.get(name) {
                        self.check(schema, value, &format!("{at}.{name}"), found);
                    }
                }
            }
            "additionalProperties" => {
                let known = beside.get("properties");
                for (name, value) in value.as_object().into_iter().flatten() {
                    if known.is_none_or(|known| known.get(name).is_none()) {
                        self.check(rule, value, &format!("{at}.{name}"), found);
                    }
                }
            }
            "items" => {
                for (index, value) in items(value).iter().enumerate() {
                    self.check(rule, value, &format!("{at}[{index}]"), found);
                }
            }
            "anyOf" | "oneOf" => {
                let fits = items(rule).iter().filter(|schema| {
                    let mut misfits = Vec::new();
                    self.check(schema, value, at, &mut misfits);
                    misfits.is_empty()
                });
                let count = fits.count();
                if count == 0 || (keyword == "oneOf" && count > 1) {
                    misfit(format!("{} fits {count} of the shapes of {keyword}", short(value)));
                }
            }
            other => misfit(format!("the keyword {other} is not known to this test")),
        }
    }
}

/// Both as numbers; `None` where the value is none, which is the matter of `type`.
fn numbers(value: &Value, rule: &Value) -> Option<(f64, f64)> {
    value.as_f64().zip(rule.as_f64())
}

fn types(rule: &Value) -> impl Iterator<Item = &str> {
    rule.as_str().into_iter().chain(items(rule).iter().filter_map(Value::as_str))
}

fn is_of_type(value: &Value, name: &str) -> bool {
    match name {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        "string" => value.is_string(),
        "number" => value.is_number(),
        "integer" => value.is_i64() || value.is_u64(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        _ => false,
    }
}

fn items(value: &Value) -> &[Value] {
    value.as_array().map(Vec::as_slice).unwrap_or_default()
}

fn short(value: &Value) -> String {
    value.to_string().chars().take(80).collect()
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    fn misfits(schema: &Value, value: &Value) -> Vec<String> {
        let other = json!({ "$defs": { "b": { "type": "boolean" } } });
        let all = [("a".to_owned(), schema.clone()), ("b".to_owned(), other)];
        Shapes(BTreeMap::from(all)).misfits("a", value)
    }

    #[test]
    fn what_does_not_fit_is_found_and_what_fits_is_not() {
        let schema = json!({
            "type": "object", "required": ["a"], "additionalProperties": false,
            "properties": {
                "a": { "$ref": "#/$defs/a" }, "b": { "type": ["string", "null"], "enum": ["x", null] },
                "c": { "type": "array", "items": { "type": "integer", "minimum": 0, "maximum": 2 } },
                "d": { "anyOf": [{ "type": "boolean" }, { "const": 7 }] },
                "e": { "type": ["integer", "null"], "minimum": 0 },
            },
            "$defs": { "a": { "type": "number" } },
        });
        for fits in [
            json!({"a": 1.5}),
            json!({"a": 1, "b": null, "c": [0, 2], "d": 7, "e": null}),
            json!({"a": 1, "d": true}),
        ] {
            assert_eq!(misfits(&schema, &fits), Vec::<String>::new(), "{fits}");
        }
        for wrong in [
            json!([]),
            json!({}),
            json!({"a": "1"}),
            json!({"a": 1, "z": 1}),
            json!({"a": 1, "b": "y"}),
            json!({"a": 1, "c": [3]}),
            json!({"a": 1, "c": [-1]}),
            json!({"a": 1, "c": [0.5]}),
            json!({"a": 1, "d": 8}),
        ] {
            assert!(!misfits(&schema, &wrong).is_empty(), "{wrong}");
        }
        assert!(!misfits(&json!({"minLength": 1}), &json!("")).is_empty(), "an unknown keyword is said");
        assert!(
            !misfits(&json!({"$ref": "#/$defs/b"}), &json!(1)).is_empty(),
            "a reference that leads nowhere"
        );
    }
}
