//! The thresholds, all in one place.

use ecgkeep_recording::Lead;
use serde::{Deserialize, Serialize};

/// Thresholds and switches of the rules. The default is `resting-adult`; a policy file (TOML) states only what
/// differs from it.
///
/// "project choice" marks a number for which no published limit was found: someone at the place of use must own
/// it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Policy {
    /// The policy's name, printed with every answer.
    pub name: String,
    /// The policy's version, printed with every answer.
    pub version: String,
    /// Codes of rules that are not judged, such as `identity-operator`.
    pub off: Vec<String>,
    /// How many of identifier, name and birth date must be stated. Two: the two-identifier rule (Joint Commission
    /// NPSG.01.01.01; WHO Patient Identification 2007; from memory).
    pub identifiers_at_least: usize,
    /// Whether a patient without these identifiers may be recorded (emergency): then a WARN, marked UNIDENTIFIED.
    pub unidentified_allowed: bool,
    /// Words that stand for no name, identifier or operator, compared without regard to case (common practice, no
    /// source).
    pub placeholders: Vec<String>,
    /// Hours by which the acquisition may lie after now (clocks and time zones differ); project choice.
    pub future_hours_at_most: f64,
    /// Years that a patient may be old at the recording before birth date or time are doubted; project choice.
    pub age_years_at_most: f64,
    /// The leads that a recording must have; the limb leads may follow from two others.
    pub leads: Vec<Lead>,
    /// Seconds from which a lead without variation is a WARN; project choice.
    pub flat_seconds_at_most: f64,
    /// Percent of the strip from which a lead without variation is a FAIL; project choice.
    pub flat_percent_at_most: f64,
    /// Microvolts from lowest to highest within which a lead does not vary, where this is more than one count to
    /// either side; project choice.
    pub flat_range_uv: f64,
    /// Percent of a lead's samples above which missing ones are a FAIL; project choice.
    pub missing_percent_at_most: f64,
    /// Seconds of a resting strip, at least; ten seconds are common practice, the window a project choice.
    pub strip_seconds_at_least: f64,
    /// Seconds of a resting strip, at most; see `strip_seconds_at_least`.
    pub strip_seconds_at_most: f64,
    /// Samples per second below which a WARN is given; 4 ms found adequate for 100 Hz by Berson 1977 (abstract).
    pub rate_hz_at_least: f64,
    /// Samples per second below which a NOTE is given; AHA/ACC/HRS 2007, part I (from a summary).
    pub rate_hz_recommended: f64,
    /// Samples per second above which the rate is implausible; project choice.
    pub rate_hz_at_most: f64,
    /// Microvolts per count above which a WARN is given; AHA/ACC/HRS 2007, part I (from memory).
    pub step_uv_at_most: f64,
    /// Microvolts per count above which a NOTE is given; IEC 60601-2-25:2011 (from memory).
    pub step_uv_recommended: f64,
    /// Declared high-pass corner in hertz above which a NOTE is given; AHA/ACC/HRS 2007, part I (from a summary).
    pub high_pass_hz_at_most: f64,
    /// Declared high-pass corner in hertz above which a WARN is given; the same, for zero-phase filters.
    pub high_pass_hz_warn: f64,
    /// Declared low-pass corner in hertz below which a NOTE is given; AHA/ACC/HRS 2007, part I (from a summary).
    pub low_pass_hz_at_least: f64,
    /// Declared low-pass corner in hertz below which a WARN is given; project choice.
    pub low_pass_hz_warn: f64,
    /// Steps (the largest of the leads concerned) by which a lead may differ from the sum of others: rounding of
    /// four leads gives up to 1.5, PTB Diagnostic ECG record s0010_re up to 2.
    pub relation_steps_at_most: f64,
    /// Percent of a lead's root mean square above which such a difference is a FAIL; project choice.
    pub relation_percent_at_most: f64,
    /// Seconds at the end of the range from which a lead is clipped in one place; project choice.
    pub clipped_seconds_at_most: f64,
    /// Microvolts from the median of a lead, from which a WARN is given; input range of EC11 and IEC 60601-2-25 (from
    /// memory).
    pub farthest_uv_at_most: f64,
    /// Microvolts of QRS below which all limb leads together are a NOTE; classical limit (from memory).
    pub limb_uv_at_least: f64,
    /// Microvolts of QRS below which all chest leads together are a NOTE; classical limit (from memory).
    pub chest_uv_at_least: f64,
    /// Microvolts of a step of the baseline from which a WARN is given; project choice.
    pub step_change_uv_at_most: f64,
    /// Microvolts of baseline wander from which a NOTE is given; project choice.
    pub wander_uv_note: f64,
    /// Microvolts of baseline wander from which a WARN is given; project choice.
    pub wander_uv_warn: f64,
    /// Microvolts (peak) of mains hum from which a NOTE is given; project choice.
    pub hum_uv_note: f64,
    /// Microvolts (peak) of mains hum from which a WARN is given; project choice.
    pub hum_uv_warn: f64,
    /// Microvolts (standard deviation) of muscle noise from which a NOTE is given; project choice: about 1 mm from peak
    /// to peak on paper (five standard deviations).
    pub muscle_uv_note: f64,
    /// Microvolts (standard deviation) of muscle noise from which a WARN is given; project choice: about 3 mm.
    pub muscle_uv_warn: f64,
    /// Microvolts (standard deviation) of muscle noise in a single second from which a NOTE is given; project
    /// choice: about 2 mm.
    pub muscle_uv_burst: f64,
    /// Beats per minute below which a NOTE is given; Orphanidou 2015 (as coded elsewhere).
    pub heart_rate_per_min_at_least: f64,
    /// Beats per minute above which a NOTE is given; Orphanidou 2015 (as coded elsewhere).
    pub heart_rate_per_min_at_most: f64,
    /// Years from which the rules on axes and cables are judged; common practice, no source.
    pub adult_from_years: f64,
    /// Degrees by which the directions of the P wave and of V6 must both come nearer to the usual ones for exchanged
    /// limb cables to be suspected; tuned as told in the README.
    pub cable_turn_deg_at_least: f64,
    /// Microvolts of I, II or III below which a limb lead is flat for the right leg rule; project choice.
    pub cable_flat_uv_at_most: f64,
    /// Share of the largest limb lead below which it must also lie; project choice.
    pub cable_flat_share_at_most: f64,
    /// Microvolts that the largest limb lead must then have; project choice.
    pub cable_large_uv_at_least: f64,
    /// Share to which an exchange must shorten the path through the chest leads; tuned as told in the README.
    pub chest_path_share_at_most: f64,
    /// How many times deeper than high a QRS complex must be to be called inverted (higher than deep: upright);
    /// project choice.
    pub inverted_factor: f64,
}

impl Default for Policy {
    fn default() -> Policy {
        Policy {
            name: "resting-adult".to_owned(),
            version: "1".to_owned(),
            off: Vec::new(),
            identifiers_at_least: 2,
            unidentified_allowed: false,
            placeholders: PLACEHOLDERS.iter().map(|word| (*word).to_owned()).collect(),
            future_hours_at_most: 24.0,
            age_years_at_most: 120.0,
            leads: Lead::TWELVE.to_vec(),
            flat_seconds_at_most: 1.0,
            flat_percent_at_most: 80.0,
            flat_range_uv: 5.0,
            missing_percent_at_most: 5.0,
            strip_seconds_at_least: 9.5,
            strip_seconds_at_most: 10.5,
            rate_hz_at_least: 250.0,
            rate_hz_recommended: 500.0,
            rate_hz_at_most: 100_000.0,
            step_uv_at_most: 10.0,
            step_uv_recommended: 5.0,
            high_pass_hz_at_most: 0.05,
            high_pass_hz_warn: 0.67,
            low_pass_hz_at_least: 150.0,
            low_pass_hz_warn: 100.0,
            relation_steps_at_most: 2.0,
            relation_percent_at_most: 5.0,
            clipped_seconds_at_most: 0.05,
            farthest_uv_at_most: 5000.0,
            limb_uv_at_least: 500.0,
            chest_uv_at_least: 1000.0,
            step_change_uv_at_most: 1000.0,
            wander_uv_note: 500.0,
            wander_uv_warn: 1000.0,
            hum_uv_note: 25.0,
            hum_uv_warn: 50.0,
            muscle_uv_note: 20.0,
            muscle_uv_warn: 60.0,
            muscle_uv_burst: 40.0,
            heart_rate_per_min_at_least: 40.0,
            heart_rate_per_min_at_most: 180.0,
            adult_from_years: 16.0,
            cable_turn_deg_at_least: 10.0,
            cable_flat_uv_at_most: 100.0,
            cable_flat_share_at_most: 0.2,
            cable_large_uv_at_least: 250.0,
            chest_path_share_at_most: 0.9,
            inverted_factor: 1.5,
        }
    }
}

impl Policy {
    /// Whether the rule of this code is not to be judged.
    #[must_use]
    pub fn is_off(&self, code: &str) -> bool {
        self.off.iter().any(|off| off == code)
    }

    /// Codes in `off` that no rule has: a misspelling that would leave a rule on unnoticed.
    #[must_use]
    pub fn unknown_codes(&self) -> Vec<&str> {
        self.off.iter().map(String::as_str).filter(|code| crate::rule(code).is_none()).collect()
    }

    /// Whether a text states something: not empty, not only punctuation or zeros, not one of the placeholders.
    #[must_use]
    pub fn is_stated(&self, text: &str) -> bool {
        let text = text.trim();
        let is_filler = text.chars().all(|c| c == '0' || !c.is_alphanumeric());
        !is_filler && !self.placeholders.iter().any(|word| word.to_lowercase() == text.to_lowercase())
    }
}

/// Words found where a name was asked for (common practice, no source).
const PLACEHOLDERS: &[&str] = &[
    "unknown",
    "unk",
    "unnamed",
    "anonymous",
    "anonymized",
    "anonymised",
    "none",
    "n/a",
    "na",
    "nil",
    "null",
    "test",
    "test patient",
    "patient",
    "demo",
    "default",
    "operator",
    "user",
    "admin",
    "tbd",
    "x",
    "xx",
    "xxx",
    "xxxx",
    "xxxxx",
    "no name",
    "not known",
    "not stated",
    "unspecified",
    "undefined",
];
