//! The outermost object: the name of the shape, then the recordings.

use std::fmt;

use ecgkeep_recording::Recording;
use serde::de::{DeserializeSeed, Deserializer, Error as _, MapAccess, Visitor};
use serde::{Deserialize, Serialize};

use crate::constants::{RECORDINGS_MEMBER, SCHEMA, SCHEMA_MEMBER};

/// Recordings of the resting ECG with everything that their sources say, samples included.
#[derive(Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[cfg_attr(test, schemars(deny_unknown_fields, title = "ecgkeep recording, version 1"))]
pub struct Document<'a> {
    /// The name and version of this shape.
    #[cfg_attr(test, schemars(extend("const" = SCHEMA)))]
    pub schema: &'static str,
    /// The recordings, in the order of the source.
    pub recordings: &'a [Recording],
}

/// What is known of a document while it is being read, kept also where reading fails.
#[derive(Default)]
pub struct Seen {
    /// The recordings.
    pub recordings: Vec<Recording>,
    /// Another shape than ours.
    pub other_schema: Option<String>,
    /// The name of the shape stands behind the recordings.
    pub schema_late: bool,
}

/// A member of the document.
#[derive(Deserialize)]
#[serde(field_identifier, rename_all = "snake_case")]
enum Member {
    Schema,
    Recordings,
}

impl<'de> DeserializeSeed<'de> for &mut Seen {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<(), D::Error> {
        deserializer.deserialize_map(self)
    }
}

impl<'de> Visitor<'de> for &mut Seen {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "an object with `{SCHEMA_MEMBER}` and `{RECORDINGS_MEMBER}`")
    }

    fn visit_map<M: MapAccess<'de>>(self, mut map: M) -> Result<(), M::Error> {
        let (mut schema, mut recordings) = (false, false);
        while let Some(member) = map.next_key()? {
            match member {
                Member::Schema if schema => return Err(M::Error::duplicate_field(SCHEMA_MEMBER)),
                Member::Recordings if recordings => return Err(M::Error::duplicate_field(RECORDINGS_MEMBER)),
                Member::Schema => {
                    schema = true;
                    self.schema_late = recordings;
                    let name: String = map.next_value()?;
                    if name != SCHEMA {
                        let error = M::Error::custom(format_args!("the shape is {name:?}"));
                        self.other_schema = Some(name);
                        return Err(error);
                    }
                }
                Member::Recordings => {
                    recordings = true;
                    self.recordings = map.next_value()?;
                }
            }
        }
        match (schema, recordings) {
            (false, _) => Err(M::Error::missing_field(SCHEMA_MEMBER)),
            (true, false) => Err(M::Error::missing_field(RECORDINGS_MEMBER)),
            (true, true) => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::Value;

    use super::*;

    const SCHEMAS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../schemas/");

    /// Descriptions without the marks of documentation comments, and 32-bit numbers with their range.
    fn finish(value: &mut Value) {
        match value {
            Value::String(text) => *text = text.replace("[`", "`").replace("`]", "`").replace('\n', " "),
            Value::Array(items) => items.iter_mut().for_each(finish),
            Value::Object(members) => {
                if members.get("format").is_some_and(|format| format == "int32") {
                    members.insert("minimum".into(), i32::MIN.into());
                    members.insert("maximum".into(), i32::MAX.into());
                }
                members.values_mut().for_each(finish);
            }
            Value::Null | Value::Bool(_) | Value::Number(_) => {}
        }
    }

    fn compare_with_committed(name: &str, mut schema: Value) {
        finish(&mut schema);
        let file = format!("{SCHEMAS}{name}.schema.json");
        if std::env::var_os("ECGKEEP_RENEW").is_some() {
            let text = serde_json::to_string_pretty(&schema).unwrap() + "\n";
            std::fs::write(&file, text).unwrap();
        }
        let committed = std::fs::read(&file).unwrap_or_default();
        assert!(
            serde_json::from_slice::<Value>(&committed).is_ok_and(|committed| committed == schema),
            "schemas/{name}.schema.json is not what the model says; \
             renew it with ECGKEEP_RENEW=1 cargo test -p ecgkeep-json committed_schemas"
        );
    }

    #[test]
    fn the_committed_schemas_are_those_of_the_model() {
        let value = |schema: schemars::Schema| serde_json::to_value(schema).unwrap();
        compare_with_committed("recording", value(schemars::schema_for!(Document<'static>)));
        // beside a recording, not in it: who supplied it and when must be known
        let mut filing = value(schemars::schema_for!(ecgkeep_recording::Filing));
        filing["required"] = serde_json::json!(["supplied_by", "at"]);
        compare_with_committed("filing", filing);
    }
}
