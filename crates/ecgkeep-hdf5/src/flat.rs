//! What is single, as attributes: each named by its path in the model, such as `subject.name.family` or
//! `acquisition.operators.0.name.text`. Every leaf of the model is a text there.
//!
//! The paths are those of the model's own form (`schemas/recording.schema.json`), so a field that is added to the model
//! is carried at once.

use std::collections::BTreeMap;

#[cfg(feature = "hdf5")]
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

/// Names within names: the model needs 6.
const MOST_DEPTH: usize = 16;

/// A leaf: a text, or an item of which nothing is said but that it is there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Leaf {
    /// A text.
    Text(String),
    /// Nothing.
    Empty,
}

/// The leaves of a part of the model below `name`, by path.
#[cfg(feature = "hdf5")]
pub(crate) fn write(name: &str, part: &impl Serialize) -> Vec<(String, Leaf)> {
    let mut leaves = Vec::new();
    match serde_json::to_value(part) {
        Ok(Value::Object(members)) if members.is_empty() => {}
        Ok(value) => walk(name, &value, &mut leaves),
        Err(_) => {}
    }
    leaves
}

#[cfg(feature = "hdf5")]
fn walk(path: &str, value: &Value, leaves: &mut Vec<(String, Leaf)>) {
    let empty = |leaves: &mut Vec<_>| leaves.push((path.to_owned(), Leaf::Empty));
    match value {
        Value::Object(members) if members.is_empty() => empty(leaves),
        Value::Array(items) if items.is_empty() => empty(leaves),
        Value::Object(members) => {
            members.iter().for_each(|(name, value)| walk(&format!("{path}.{name}"), value, leaves));
        }
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(at, value)| walk(&format!("{path}.{at}"), value, leaves));
        }
        Value::String(text) => leaves.push((path.to_owned(), Leaf::Text(text.clone()))),
        Value::Null => {}
        other => leaves.push((path.to_owned(), Leaf::Text(other.to_string()))),
    }
}

/// The part of the model below `name` that leaves say.
/// # Errors
/// What does not fit, as a lower-case fragment.
pub(crate) fn read<T: DeserializeOwned>(name: &str, leaves: &BTreeMap<String, Leaf>) -> Result<T, String> {
    let mut tree = Tree::default();
    let prefix = format!("{name}.");
    for (path, leaf) in leaves.range(prefix.clone()..).take_while(|(path, _)| path.starts_with(&prefix)) {
        let steps: Vec<&str> = path[prefix.len()..].split('.').collect();
        if steps.len() > MOST_DEPTH {
            return Err(format!("{path} has more than {MOST_DEPTH} names"));
        }
        tree.put(&steps, leaf).ok_or_else(|| format!("{path} says more of what is said already"))?;
    }
    serde_json::from_value(tree.into_value(name)?).map_err(|error| error.to_string())
}

/// Leaves put together.
#[derive(Default)]
struct Tree {
    leaf: Option<Leaf>,
    branches: BTreeMap<String, Tree>,
}

impl Tree {
    /// `None` where the place is taken.
    fn put(&mut self, steps: &[&str], leaf: &Leaf) -> Option<()> {
        if self.leaf.is_some() {
            return None;
        }
        match steps {
            [] if self.branches.is_empty() => self.leaf = Some(leaf.clone()),
            [] => return None,
            [first, rest @ ..] => self.branches.entry((*first).to_owned()).or_default().put(rest, leaf)?,
        }
        Some(())
    }

    fn into_value(mut self, path: &str) -> Result<Value, String> {
        match self.leaf {
            Some(Leaf::Text(text)) => return Ok(Value::String(text)),
            // nothing is said of it: of the model's parts only persons, codes and the like can be so
            Some(Leaf::Empty) => return Ok(Value::Object(Map::new())),
            None => {}
        }
        let is_list =
            self.branches.keys().next().is_some_and(|name| name.bytes().all(|b| b.is_ascii_digit()));
        if !is_list {
            let members = self.branches.into_iter().map(|(name, tree)| {
                let value = tree.into_value(&format!("{path}.{name}"))?;
                Ok((name, value))
            });
            return members.collect::<Result<Map<_, _>, String>>().map(Value::Object);
        }
        let mut items = Vec::with_capacity(self.branches.len());
        for at in 0..self.branches.len() {
            let item = self.branches.remove(&at.to_string());
            let item = item.ok_or_else(|| format!("{path}.{at} is missing in a list"))?;
            items.push(item.into_value(&format!("{path}.{at}"))?);
        }
        Ok(Value::Array(items))
    }
}

#[cfg(all(test, feature = "hdf5"))]
mod tests {
    use ecgkeep_demo::every_field;
    use ecgkeep_recording::{Acquisition, Person, Subject};

    use super::*;

    fn comes_back<T: Serialize + DeserializeOwned + PartialEq + std::fmt::Debug>(
        part: &T,
    ) -> Vec<(String, Leaf)> {
        let leaves = write("x", part);
        assert_eq!(&read::<T>("x", &leaves.iter().cloned().collect()).expect("it fits"), part);
        leaves
    }

    #[test]
    fn what_is_single_comes_back() {
        let recording = every_field();
        let leaves = comes_back(&recording.subject);
        assert!(leaves.iter().any(|(path, _)| path == "x.identifiers.0.value"), "{leaves:?}");
        comes_back(&recording.acquisition);
        comes_back(&recording.origin);
        assert!(comes_back(&Subject::default()).is_empty());
        let nobody = Acquisition { operators: vec![Person::default(); 12], ..Acquisition::default() };
        assert!(comes_back(&nobody).contains(&("x.operators.11".to_owned(), Leaf::Empty)));
    }

    #[test]
    fn what_does_not_fit_is_said() {
        let text = |text: &str| Leaf::Text(text.to_owned());
        let said = |leaves: &[(&str, Leaf)]| {
            let leaves = leaves.iter().map(|(path, leaf)| ((*path).to_owned(), leaf.clone())).collect();
            read::<Subject>("subject", &leaves).expect_err("it does not fit")
        };
        assert_eq!(
            said(&[("subject.medications.1.text", text("x"))]),
            "subject.medications.0 is missing in a list"
        );
        assert_eq!(
            said(&[("subject.name", text("x")), ("subject.name.text", text("y"))]),
            "subject.name.text says more of what is said already"
        );
        assert!(said(&[("subject.nickname", text("x"))]).starts_with("unknown field `nickname`"));
        assert!(said(&[(&format!("subject{}", ".a".repeat(17)), text("x"))]).ends_with("more than 16 names"));
    }
}
