//! What the rules look at.

use ecgkeep_recording::{CivilTime, Filing, Recording};

use crate::Policy;

/// The recording with what was supplied beside it, the policy, the time, and what is computed once for all rules.
pub(crate) struct Evidence<'a> {
    pub recording: &'a Recording,
    pub filing: Option<&'a Filing>,
    pub policy: &'a Policy,
    pub now: &'a CivilTime,
}

impl<'a> Evidence<'a> {
    pub fn new(
        recording: &'a Recording,
        filing: Option<&'a Filing>,
        policy: &'a Policy,
        now: &'a CivilTime,
    ) -> Evidence<'a> {
        Evidence { recording, filing, policy, now }
    }

    /// `supplied beside the file by A. Nurse`.
    pub fn supplied_by(&self) -> String {
        let who = self.filing.map(|filing| filing.supplied_by.line()).unwrap_or_default();
        let who = if who.is_empty() { "a person not named" } else { &who };
        format!("supplied beside the file by {who}")
    }
}
