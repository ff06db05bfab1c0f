//! Values that no rule can be judged by, and in what a policy differs from the shipped one.

use std::fmt;

use crate::policy::{Policy, Term};
use crate::statistics::count;

/// A value that no rule can be judged by, or a policy that cannot be told from another.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct PolicyFault {
    /// The entries concerned, by their names in the file.
    pub terms: Vec<&'static str>,
    /// What is wrong with them.
    pub text: String,
    /// What to do.
    pub remedy: String,
}

impl fmt::Display for PolicyFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.text, self.remedy)
    }
}

/// Entries of which the first must not be above the second.
const ORDERED: [(&str, &str); 12] = [
    ("strip_seconds_at_least", "strip_seconds_at_most"),
    ("rate_hz_at_least", "rate_hz_recommended"),
    ("rate_hz_recommended", "rate_hz_at_most"),
    ("step_uv_recommended", "step_uv_at_most"),
    ("high_pass_hz_at_most", "high_pass_hz_warn"),
    ("low_pass_hz_warn", "low_pass_hz_at_least"),
    ("wander_uv_note", "wander_uv_warn"),
    ("hum_uv_note", "hum_uv_warn"),
    ("muscle_uv_note", "muscle_uv_warn"),
    ("muscle_uv_note", "muscle_uv_burst"),
    ("heart_rate_per_min_at_least", "heart_rate_per_min_at_most"),
    ("cable_flat_uv_at_most", "cable_large_uv_at_least"),
];

impl Policy {
    /// What is wrong with its values; nothing with those of the shipped policy.
    /// A policy that differs from the shipped one must not bear its name and version.
    #[must_use]
    pub fn faults(&self) -> Vec<PolicyFault> {
        let mut faults = Vec::new();
        faults.extend(self.off.iter().filter(|code| crate::rule(code).is_none()).map(|code| PolicyFault {
            terms: vec!["off"],
            text: format!("off holds {code}, which is no rule"),
            remedy: "`ecgkeep explain` lists the codes".to_owned(),
        }));
        faults.extend(Policy::TERMS.iter().filter_map(|term| self.outside(term)));
        faults.extend(ORDERED.iter().filter_map(|(low, high)| self.disorder(low, high)));
        faults.extend(self.fault_of_the_name());
        faults
    }

    fn fault_of_the_name(&self) -> Option<PolicyFault> {
        let shipped = Policy::default();
        let (terms, text) = if self.name.trim().is_empty() || self.version.trim().is_empty() {
            (vec!["name", "version"], "name and version must not be empty".to_owned())
        } else if self.name == shipped.name && self.version == shipped.version && !self.changes().is_empty() {
            let text = format!(
                "the policy bears the name of the shipped one, {} {}, and differs from it: {}",
                self.name,
                self.version,
                self.changes().join(", ")
            );
            (vec!["name"], text)
        } else {
            return None;
        };
        let remedy = "give it a name and a version of its own, such as name = \"our-clinic\" and version = \"1\": both \
                      are printed with every answer"
            .to_owned();
        Some(PolicyFault { terms, text, remedy })
    }

    fn outside(&self, term: &Term) -> Option<PolicyFault> {
        let (low, high) = *term.bounds.first()?;
        let value = (term.number)(self)?;
        // Not a number is within no bounds.
        (!(low..=high).contains(&value)).then(|| PolicyFault {
            terms: vec![term.name],
            text: format!("{} is {value}; it must be a number from {low} to {high}", term.name),
            remedy: match (term.number)(&Policy::default()) {
                Some(shipped) => format!("the shipped policy has {shipped}"),
                None => "leave it out to take the shipped one".to_owned(),
            },
        })
    }

    fn disorder(&self, low: &'static str, high: &'static str) -> Option<PolicyFault> {
        let number = |name: &str| Policy::TERMS.iter().find(|term| term.name == name)?.number(self);
        let (below, above) = (number(low)?, number(high)?);
        (below > above).then(|| PolicyFault {
            terms: vec![low, high],
            text: format!("{low} is {below} and {high} is {above}: the first must not be above the second"),
            remedy: "change one of them, or state both".to_owned(),
        })
    }

    /// In what it differs from the shipped policy, an entry each, name and version apart: `hum_uv_warn 80 (shipped
    /// 50)`, `leads with V7, without V1`. Empty for the shipped policy, whatever its name.
    #[must_use]
    pub fn changes(&self) -> Vec<String> {
        let shipped = Policy::default();
        let entries = Policy::TERMS.iter().filter(|term| !["name", "version"].contains(&term.name));
        let change = |term: &Term| Some(format!("{} {}", term.name, (term.change)(self, &shipped)?));
        entries.filter_map(change).collect()
    }
}

impl Term {
    fn number(&self, policy: &Policy) -> Option<f64> {
        (self.number)(policy)
    }
}

impl fmt::Debug for Term {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Term").field("name", &self.name).finish_non_exhaustive()
    }
}

/// What a policy can hold.
pub(super) trait Value {
    /// As a number, where it is one.
    fn number(&self) -> Option<f64>;

    /// What it is instead of the shipped value, on one line; `None` where it is the same.
    fn change(&self, shipped: &Self) -> Option<String>;
}

/// Values that are shown as they are.
macro_rules! plain {
    ($($kind:ty, $number:expr;)+) => {
        $(impl Value for $kind {
            fn number(&self) -> Option<f64> {
                let number: fn(&$kind) -> Option<f64> = $number;
                number(self)
            }

            fn change(&self, shipped: &$kind) -> Option<String> {
                (self != shipped).then(|| format!("{self} (shipped {shipped})"))
            }
        })+
    };
}

plain! {
    f64, |value| Some(*value);
    usize, |value| Some(count(*value));
    bool, |_| None;
    String, |_| None;
}

impl<T: PartialEq + fmt::Display> Value for Vec<T> {
    fn number(&self) -> Option<f64> {
        None
    }

    fn change(&self, shipped: &Vec<T>) -> Option<String> {
        let beyond = |word: &str, one: &[T], other: &[T]| {
            let items: Vec<String> =
                one.iter().filter(|item| !other.contains(item)).map(ToString::to_string).collect();
            (!items.is_empty()).then(|| format!("{word} {}", items.join(", ")))
        };
        let parts = [beyond("with", self, shipped), beyond("without", shipped, self)];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        (!parts.is_empty()).then(|| parts.join(", "))
    }
}
