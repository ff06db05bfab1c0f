//! Whose recording it is, by whom and when it was made.

use crate::evidence::Evidence;

pub(crate) mod filing_conflict;
pub(crate) mod operator;
pub(crate) mod test_recording;
pub(crate) mod time;
pub(crate) mod two_identifiers;

/// Which of the three identifiers of a patient are stated, and where.
pub(crate) struct Identifiers {
    /// Name of the identifier, and who supplied it where the file does not carry it.
    stated: Vec<(&'static str, Option<String>)>,
}

impl Identifiers {
    pub fn of(evidence: &Evidence) -> Identifiers {
        let policy = evidence.policy;
        let (file, beside) = (&evidence.recording.subject, evidence.filing.map(|filing| &filing.subject));
        let has_id =
            |s: &ecgkeep_recording::Subject| s.identifiers.iter().any(|id| policy.is_stated(&id.value));
        let has_name = |s: &ecgkeep_recording::Subject| policy.is_stated(&s.name.line());
        let has_birth = |s: &ecgkeep_recording::Subject| s.birth_date.is_some();
        let mut stated = Vec::new();
        let mut look = |what, has: &dyn Fn(&ecgkeep_recording::Subject) -> bool| {
            if has(file) {
                stated.push((what, None));
            } else if beside.is_some_and(has) {
                stated.push((what, Some(evidence.supplied_by())));
            }
        };
        look("identifier", &has_id);
        look("name", &has_name);
        look("birth date", &has_birth);
        Identifiers { stated }
    }

    pub fn count(&self) -> usize {
        self.stated.len()
    }

    /// `identifier, name (supplied beside the file by A. Nurse)`; who supplied all of several is named once; `none` where
    /// nothing is stated.
    pub fn list(&self) -> String {
        let one = |(what, who): &(&str, Option<String>)| match who {
            Some(who) => format!("{what} ({who})"),
            None => (*what).to_owned(),
        };
        match self.stated.as_slice() {
            [] => "none".to_owned(),
            [(_, Some(who)), _, ..] if self.stated.iter().all(|(_, other)| other.is_some()) => {
                let all: Vec<&str> = self.stated.iter().map(|(what, _)| *what).collect();
                format!("{} (all {who})", all.join(", "))
            }
            some => some.iter().map(one).collect::<Vec<_>>().join(", "),
        }
    }

    /// `two identifiers present; not compared with the patient`.
    pub fn line(&self) -> String {
        let many = match self.count() {
            0 => return "no identifier of the patient is present".to_owned(),
            1 => "one identifier",
            2 => "two identifiers",
            _ => "three identifiers",
        };
        format!("{many} present: {}; not compared with the patient", self.list())
    }
}
