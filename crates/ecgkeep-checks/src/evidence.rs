//! What the rules look at.

use ecgkeep_recording::{CivilTime, Filing, Lead, Recording};

use crate::Policy;
use crate::beats::Beats;
use crate::strip::Strip;

/// The recording with what was supplied beside it, the policy, the time, and what is computed once for all rules.
pub(crate) struct Evidence<'a> {
    pub recording: &'a Recording,
    pub filing: Option<&'a Filing>,
    pub policy: &'a Policy,
    pub now: &'a CivilTime,
    /// One for each rhythm waveform, in order.
    pub strips: Vec<Strip<'a>>,
    /// The index in `strips` of the one with most of the twelve leads, the first among equals.
    main: Option<usize>,
    /// The beats of the main strip, or why there are none.
    pub beats: Result<Beats, String>,
}

impl<'a> Evidence<'a> {
    pub fn new(
        recording: &'a Recording,
        filing: Option<&'a Filing>,
        policy: &'a Policy,
        now: &'a CivilTime,
    ) -> Evidence<'a> {
        let strips: Vec<Strip> = recording.rhythm().map(Strip::of).collect();
        let held = |strip: &Strip| Lead::TWELVE.iter().filter(|lead| strip.lead(lead).is_some()).count();
        let main = (0..strips.len()).rev().max_by_key(|index| held(&strips[*index]));
        let beats = match main {
            Some(index) => Beats::find(&strips[index]),
            None => Err("there is no rhythm waveform".to_owned()),
        };
        Evidence { recording, filing, policy, now, strips, main, beats }
    }

    /// The waveform with most of the twelve leads.
    pub fn main(&self) -> Option<&Strip<'a>> {
        self.strips.get(self.main?)
    }

    /// `supplied beside the file by A. Nurse`.
    pub fn supplied_by(&self) -> String {
        let who = self.filing.map(|filing| filing.supplied_by.line()).unwrap_or_default();
        let who = if who.is_empty() { "a person not named" } else { &who };
        format!("supplied beside the file by {who}")
    }
}
