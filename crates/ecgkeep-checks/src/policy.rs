//! The thresholds, all in one place: each with its unit and source, its shipped value and what it may be.

use ecgkeep_recording::Lead;
use serde::{Deserialize, Serialize};

pub(crate) mod faults;
mod placeholders;

use faults::Value;
use placeholders::placeholders;

/// One entry of a policy file.
#[derive(Clone, Copy)]
#[non_exhaustive]
pub struct Term {
    /// Its name in the file.
    pub name: &'static str,
    /// What it means, with its unit and source.
    pub about: &'static str,
    /// The least and the greatest number that a rule can be judged by; none for what is no number.
    bounds: &'static [(f64, f64)],
    number: fn(&Policy) -> Option<f64>,
    /// What it is instead of the second policy's; `None` where both are the same.
    change: fn(&Policy, &Policy) -> Option<String>,
}

/// From one table the struct, its shipped values and [`Policy::TERMS`], so that no threshold can be forgotten in one
/// of them.
macro_rules! policy {
    ($($(#[doc = $doc:literal])+ $name:ident: $kind:ty = $shipped:expr $(, from $low:literal to $high:literal)?;)+) => {
        /// Thresholds and switches of the rules. The default is the shipped `resting-adult`; a policy file (TOML)
        /// states only what differs from it, and a name and version of its own.
        ///
        /// "project choice" marks a number for which no published limit was found: someone at the place of use must
        /// own it.
        #[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
        #[serde(default, deny_unknown_fields)]
        pub struct Policy {
            $($(#[doc = $doc])+ pub $name: $kind,)+
        }

        impl Default for Policy {
            fn default() -> Policy {
                Policy { $($name: $shipped,)+ }
            }
        }

        impl Policy {
            /// Every entry, in the order of the file.
            pub const TERMS: &[Term] = &[$(Term {
                name: stringify!($name),
                about: concat!($($doc),+),
                bounds: &[$(($low, $high))?],
                number: |policy| policy.$name.number(),
                change: |policy, shipped| policy.$name.change(&shipped.$name),
            },)+];
        }
    };
}

policy! {
    /// The policy's name, printed with every answer.
    name: String = "resting-adult".to_owned();
    /// The policy's version, printed with every answer.
    version: String = "1".to_owned();
    /// Codes of rules that are not judged, such as `identity-operator`.
    off: Vec<String> = Vec::new();
    /// How many of identifier, name and birth date must be stated. Two: the two-identifier rule (Joint Commission
    /// NPSG.01.01.01; WHO Patient Identification 2007; from memory).
    identifiers_at_least: usize = 2, from 0.0 to 3.0;
    /// Whether a patient without these identifiers may be recorded (emergency): then a WARN, marked UNIDENTIFIED.
    unidentified_allowed: bool = false;
    /// Words that stand for no name, identifier or operator, compared without regard to case (common practice, no
    /// source).
    placeholders: Vec<String> = placeholders();
    /// Hours by which the acquisition may lie after now (clocks and time zones differ); project choice.
    future_hours_at_most: f64 = 24.0, from 0.0 to 87_600.0;
    /// Years that a patient may be old at the recording before birth date or time are doubted; project choice.
    age_years_at_most: f64 = 120.0, from 1.0 to 200.0;
    /// The leads that a recording must have; the limb leads may follow from two others.
    leads: Vec<Lead> = Lead::TWELVE.to_vec();
    /// Seconds from which a lead without variation is a WARN; project choice.
    flat_seconds_at_most: f64 = 1.0, from 0.05 to 3600.0;
    /// Percent of the strip from which a lead without variation is a FAIL; project choice.
    flat_percent_at_most: f64 = 80.0, from 1.0 to 100.0;
    /// Microvolts from lowest to highest within which a lead does not vary, where this is more than one count to
    /// either side; project choice.
    flat_range_uv: f64 = 5.0, from 0.0 to 10_000.0;
    /// Percent of a lead's samples above which missing ones are a FAIL; project choice.
    missing_percent_at_most: f64 = 5.0, from 0.0 to 100.0;
    /// Seconds of a resting strip, at least; ten seconds are common practice, the window a project choice.
    strip_seconds_at_least: f64 = 9.5, from 0.1 to 3600.0;
    /// Seconds of a resting strip, at most; see `strip_seconds_at_least`.
    strip_seconds_at_most: f64 = 10.5, from 0.1 to 3600.0;
    /// Samples per second below which a WARN is given; 4 ms found adequate for 100 Hz by Berson 1977 (abstract).
    rate_hz_at_least: f64 = 250.0, from 0.0 to 1_000_000.0;
    /// Samples per second below which a NOTE is given; AHA/ACC/HRS 2007, part I (from a summary).
    rate_hz_recommended: f64 = 500.0, from 0.0 to 1_000_000.0;
    /// Samples per second above which the rate is implausible; project choice.
    rate_hz_at_most: f64 = 100_000.0, from 1.0 to 1_000_000.0;
    /// Microvolts per count above which a WARN is given; AHA/ACC/HRS 2007, part I (from memory).
    step_uv_at_most: f64 = 10.0, from 0.0 to 1000.0;
    /// Microvolts per count above which a NOTE is given; IEC 60601-2-25:2011 (from memory).
    step_uv_recommended: f64 = 5.0, from 0.0 to 1000.0;
    /// Declared high-pass corner in hertz above which a NOTE is given; AHA/ACC/HRS 2007, part I (from a summary).
    high_pass_hz_at_most: f64 = 0.05, from 0.0 to 1000.0;
    /// Declared high-pass corner in hertz above which a WARN is given; the same, for zero-phase filters.
    high_pass_hz_warn: f64 = 0.67, from 0.0 to 1000.0;
    /// Declared low-pass corner in hertz below which a NOTE is given; AHA/ACC/HRS 2007, part I (from a summary).
    low_pass_hz_at_least: f64 = 150.0, from 0.0 to 100_000.0;
    /// Declared low-pass corner in hertz below which a WARN is given; project choice.
    low_pass_hz_warn: f64 = 100.0, from 0.0 to 100_000.0;
    /// Steps (the largest of the leads concerned) by which a lead may differ from the sum of others: rounding of
    /// four leads gives up to 1.5, PTB Diagnostic ECG record s0010_re up to 2.
    relation_steps_at_most: f64 = 2.0, from 0.0 to 1000.0;
    /// Percent of a lead's root mean square above which such a difference is a FAIL; project choice.
    relation_percent_at_most: f64 = 5.0, from 0.0 to 1000.0;
    /// Seconds at the end of the range from which a lead is clipped in one place; project choice.
    clipped_seconds_at_most: f64 = 0.05, from 0.001 to 3600.0;
    /// Microvolts from the median of a lead, from which a WARN is given; input range of EC11 and IEC 60601-2-25 (from
    /// memory).
    farthest_uv_at_most: f64 = 5000.0, from 100.0 to 1_000_000.0;
    /// Microvolts of QRS below which all limb leads together are a NOTE; classical limit (from memory).
    limb_uv_at_least: f64 = 500.0, from 0.0 to 100_000.0;
    /// Microvolts of QRS below which all chest leads together are a NOTE; classical limit (from memory).
    chest_uv_at_least: f64 = 1000.0, from 0.0 to 100_000.0;
    /// Microvolts of a step of the baseline from which a WARN is given; project choice.
    step_change_uv_at_most: f64 = 1000.0, from 10.0 to 1_000_000.0;
    /// Microvolts by which one or two samples must stand out to be a spike; project choice: 2 mm on paper.
    spike_uv_at_least: f64 = 200.0, from 20.0 to 100_000.0;
    /// Spikes in a strip, those that recur with the beats apart, from which a WARN is given; project choice.
    spikes_warn: usize = 3, from 1.0 to 10_000.0;
    /// Microvolts of baseline wander from which a NOTE is given; project choice.
    wander_uv_note: f64 = 500.0, from 1.0 to 1_000_000.0;
    /// Microvolts of baseline wander from which a WARN is given; project choice.
    wander_uv_warn: f64 = 1000.0, from 1.0 to 1_000_000.0;
    /// Microvolts (peak) of mains hum from which a NOTE is given; project choice.
    hum_uv_note: f64 = 25.0, from 1.0 to 100_000.0;
    /// Microvolts (peak) of mains hum from which a WARN is given; project choice.
    hum_uv_warn: f64 = 50.0, from 1.0 to 100_000.0;
    /// Microvolts (standard deviation) of muscle noise from which a NOTE is given; project choice: about 1 mm from peak
    /// to peak on paper (five standard deviations).
    muscle_uv_note: f64 = 20.0, from 1.0 to 100_000.0;
    /// Microvolts (standard deviation) of muscle noise from which a WARN is given; project choice: about 3 mm.
    muscle_uv_warn: f64 = 60.0, from 1.0 to 100_000.0;
    /// Microvolts (standard deviation) of muscle noise in a single second from which a NOTE is given; project
    /// choice: about 2 mm.
    muscle_uv_burst: f64 = 40.0, from 1.0 to 100_000.0;
    /// Beats per minute below which a NOTE is given; Orphanidou 2015 (as coded elsewhere).
    heart_rate_per_min_at_least: f64 = 40.0, from 0.0 to 1000.0;
    /// Beats per minute above which a NOTE is given; Orphanidou 2015 (as coded elsewhere).
    heart_rate_per_min_at_most: f64 = 180.0, from 0.0 to 1000.0;
    /// Years from which the rules on axes and cables are judged; common practice, no source.
    adult_from_years: f64 = 16.0, from 0.0 to 150.0;
    /// Degrees by which the directions of the P wave and of V6 must both come nearer to the usual ones for exchanged
    /// limb cables to be suspected; tuned as told in the README.
    cable_turn_deg_at_least: f64 = 10.0, from 0.0 to 180.0;
    /// Microvolts of I, II or III below which a limb lead is flat for the right leg rule; project choice.
    cable_flat_uv_at_most: f64 = 100.0, from 0.0 to 100_000.0;
    /// Share of the largest limb lead below which it must also lie; project choice.
    cable_flat_share_at_most: f64 = 0.2, from 0.0 to 1.0;
    /// Microvolts that the largest limb lead must then have; project choice.
    cable_large_uv_at_least: f64 = 250.0, from 0.0 to 100_000.0;
    /// Share to which an exchange must shorten the path through the chest leads; tuned as told in the README.
    chest_path_share_at_most: f64 = 0.9, from 0.0 to 1.0;
    /// How many times deeper than high a QRS complex must be to be called inverted (higher than deep: upright);
    /// project choice.
    inverted_factor: f64 = 1.5, from 1.0 to 1000.0;
}

impl Policy {
    /// Whether the rule of this code is not to be judged.
    #[must_use]
    pub fn is_off(&self, code: &str) -> bool {
        self.off.iter().any(|off| off == code)
    }

    /// Whether a text states something: not empty, not only punctuation or zeros, not one of the placeholders.
    #[must_use]
    pub fn is_stated(&self, text: &str) -> bool {
        let text = text.trim();
        let is_filler = text.chars().all(|c| c == '0' || !c.is_alphanumeric());
        !is_filler && !self.placeholders.iter().any(|word| word.to_lowercase() == text.to_lowercase())
    }
}
