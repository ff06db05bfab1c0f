//! What the rules look at.

use ecgkeep_recording::{CivilTime, Filing, PartialDate, Recording};

use crate::Policy;
use crate::beats::Beats;
use crate::interchange::years;
use crate::median_beat::MedianBeats;
use crate::noise::Noise;
use crate::spikes::Spikes;
use crate::strip::{Strip, Tracing, fullest, strips};

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
    /// The spikes of the main strip, or why none can be told.
    pub spikes: Result<Spikes, String>,
    /// The median beats of the main strip, or why there are none.
    pub typical: Result<MedianBeats, String>,
}

impl<'a> Evidence<'a> {
    pub fn new(
        recording: &'a Recording,
        filing: Option<&'a Filing>,
        policy: &'a Policy,
        now: &'a CivilTime,
    ) -> Evidence<'a> {
        let strips = strips(recording);
        let main = fullest(&strips);
        let beats = match main {
            Some(index) => Beats::find(&strips[index]),
            None => Err("there is no rhythm waveform".to_owned()),
        };
        let noise: Vec<Vec<Noise>> = strips.iter().map(Noise::of).collect();
        let spikes = match main {
            Some(index) => {
                Spikes::find(&strips[index], &noise[index], beats.as_ref().ok(), policy.spike_uv_at_least)
            }
            None => Err("there is no rhythm waveform".to_owned()),
        };
        let typical = match (&beats, main) {
            (Ok(beats), Some(index)) => Ok(MedianBeats::of(&strips, index, beats)),
            (Err(why), _) => Err(why.clone()),
            (Ok(_), None) => Err("there is no rhythm waveform".to_owned()),
        };
        Evidence { recording, filing, policy, now, strips, main, noise, beats, spikes, typical }
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

    /// Whether the patient is old enough for rules made for adults, with a caveat where the age is not known.
    /// # Errors
    /// Why the rule is not to be judged, in words.
    pub fn adult(&self) -> Result<&'static str, String> {
        let limit = self.policy.adult_from_years;
        match self.age_years() {
            Some(age) if age < limit => {
                Err(format!("the patient is {:.0} years old, the rule is for {limit} and above", age.floor()))
            }
            Some(_) => Ok(""),
            None => Ok("; the age is not known: not validated for children"),
        }
    }

    /// The age as stated, or from birth and recording, whatever is known of both: the least that it may be. The file's
    /// word comes first.
    fn age_years(&self) -> Option<f64> {
        let filing = self.filing;
        let subjects = [Some(&self.recording.subject), filing.map(|filing| &filing.subject)];
        let stated = subjects.into_iter().flatten().find_map(|subject| subject.age.as_ref().and_then(years));
        let birth = subjects.into_iter().flatten().find_map(|subject| subject.birth_date);
        let beside = filing.and_then(|filing| filing.acquisition.start.date);
        let recorded = self.recording.acquisition.start.date.or(beside);
        let days =
            |birth: PartialDate, date: PartialDate| i32::try_from(date.first_day() - birth.last_day()).ok();
        let computed = birth.zip(recorded).and_then(|(birth, date)| days(birth, date));
        stated.or(computed.map(|days| f64::from(days.max(0)) / 365.25))
    }

    /// Whether the electrodes were placed as usual, as far as is stated.
    /// # Errors
    /// Why the rule is not to be judged, in words.
    pub fn standard_placement(&self) -> Result<(), String> {
        let beside = self.filing.and_then(|filing| filing.acquisition.placement.as_ref());
        let Some(placement) = self.recording.acquisition.placement.as_ref().or(beside) else { return Ok(()) };
        let code = placement.codes.first();
        // A number that nobody explains is not taken for the standard placement.
        let words = [
            placement.text.as_deref(),
            code.and_then(|code| code.meaning.as_deref()),
            code.map(|code| code.value.as_str()),
        ];
        let Some(said) = words.into_iter().flatten().find(|words| !words.trim().is_empty()) else {
            return Ok(());
        };
        let lower = said.to_lowercase();
        let is_usual = lower.contains("standard") && !lower.contains("non");
        if is_usual { Ok(()) } else { Err(format!("the electrodes were placed otherwise (\"{said}\")")) }
    }

    /// `supplied beside the file by A. Nurse`.
    pub fn supplied_by(&self) -> String {
        let who = self.filing.map(|filing| filing.supplied_by.line()).unwrap_or_default();
        let who = if who.is_empty() { "a person not named" } else { &who };
        format!("supplied beside the file by {who}")
    }
}
