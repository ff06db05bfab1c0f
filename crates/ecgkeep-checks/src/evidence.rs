//! What the rules look at.

use ecgkeep_recording::{CivilTime, Filing, Recording};

use crate::Policy;
use crate::beats::Beats;
use crate::noise::Noise;
use crate::strip::{Strip, Tracing, fullest};

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
    /// The noise of each lead of each strip.
    pub noise: Vec<Vec<Noise>>,
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
        let main = fullest(&strips);
        let beats = match main {
            Some(index) => Beats::find(&strips[index]),
            None => Err("there is no rhythm waveform".to_owned()),
        };
        let noise = strips.iter().map(Noise::of).collect();
        Evidence { recording, filing, policy, now, strips, main, noise, beats }
    }

    /// The waveform with most of the twelve leads.
    pub fn main(&self) -> Option<&Strip<'a>> {
        self.strips.get(self.main?)
    }

    /// Every lead with its strip and its noise.
    pub fn leads(&self) -> impl Iterator<Item = (&Strip<'a>, &Tracing<'a>, &Noise)> {
        let strips = self.strips.iter().zip(&self.noise);
        strips.flat_map(|(strip, noise)| {
            strip.tracings.iter().zip(noise).map(move |(lead, noise)| (strip, lead, noise))
        })
    }

    /// `supplied beside the file by A. Nurse`.
    pub fn supplied_by(&self) -> String {
        let who = self.filing.map(|filing| filing.supplied_by.line()).unwrap_or_default();
        let who = if who.is_empty() { "a person not named" } else { &who };
        format!("supplied beside the file by {who}")
    }
}
