//! Names and codes of the published element tree.
//!
//! `[read]` marks what stands in a public source (HL7 terminology pages, the published sample's fragments, the
//! code tables of ISO/IEEE 11073-10101/-10102 as DICOM PS3.16 prints them), `[memory]` what does not: it is
//! tolerated in reading, written for want of better, and never claimed as conformance.

use ecgkeep_recording::{Exact, MeasurementKind, Wave};

/// How the standard is cited.
pub(crate) const TREE: &str = "HL7 V3 aECG R1, element tree";
/// How the data types are cited.
pub(crate) const TYPES: &str = "HL7 V3 data types";
/// How XML itself is cited.
pub(crate) const XML: &str = "XML 1.0";

/// The root element [read].
pub(crate) const ROOT: &str = "AnnotatedECG";
/// The namespace of every element [read].
pub(crate) const NAMESPACE: &str = "urn:hl7-org:v3";
/// The namespace of `xsi:type` (XML Schema, part 1).
pub(crate) const XSI: &str = "http://www.w3.org/2001/XMLSchema-instance";

/// Attributes that the tree fixes for each element; they say nothing of a recording [memory].
pub(crate) const STRUCTURAL_ATTRIBUTES: &[&str] = &[
    "ITSVersion",
    "classCode",
    "contextConductionInd",
    "contextControlCode",
    "determinerCode",
    "inclusive",
    "moodCode",
    "schemaLocation",
    "type",
    "typeCode",
];

/// The order of children in the elements of the tree that may hold extras between ours [memory].
pub(crate) const ORDER: &[(&str, &[&str])] = &[
    (
        ROOT,
        &[
            "id",
            "code",
            "text",
            "effectiveTime",
            "confidentialityCode",
            "reasonCode",
            "componentOf",
            "definition",
            "location",
            "controlVariable",
            "component",
        ],
    ),
    ("timepointEvent", &["code", "effectiveTime", "reasonCode", "performer", "componentOf"]),
    ("subjectAssignment", &["subject", "definition", "componentOf"]),
    ("trialSubject", &["id", "code", "subjectDemographicPerson"]),
    (
        "clinicalTrial",
        &["id", "title", "activityTime", "author", "location", "responsibleParty", "definition"],
    ),
    ("trialSite", &["id", "location", "responsibleParty"]),
    ("relatedObservation", &["code", "text", "value", "author"]),
    ("series", SERIES_ORDER),
    ("derivedSeries", SERIES_ORDER),
    ("seriesAuthor", &["id", "manufacturedSeriesDevice", "manufacturerOrganization"]),
    ("manufacturedSeriesDevice", &["id", "code", "manufacturerModelName", "softwareName"]),
    ("manufacturerOrganization", &["id", "name"]),
    ("secondaryPerformer", &["functionCode", "time", "seriesPerformer"]),
    ("annotationSet", &["code", "activityTime", "methodCode", "author", "controlVariable", "component"]),
];

/// The order of children in a series [memory].
const SERIES_ORDER: &[&str] = &[
    "id",
    "code",
    "effectiveTime",
    "author",
    "secondaryPerformer",
    "support",
    "controlVariable",
    "component",
    "derivation",
    "subjectOf",
];

/// Deepest nesting that is read: the tree itself is 20 deep, annotations inside annotations add a few.
pub(crate) const MOST_DEPTH: usize = 128;
/// Elements that any document may hold, and half of the attributes.
pub(crate) const FEWEST_ELEMENTS: usize = 150_000;
/// A longer document may hold one more element for each of so many bytes: the tree's own elements, with their codes and
/// code systems, take more. So an element costs at most about twice what the document takes.
pub(crate) const BYTES_PER_ELEMENT: usize = 64;
/// Attributes of one element; the tree's own elements have at most eight.
pub(crate) const MOST_ATTRIBUTES: usize = 64;
/// Namespace prefixes that are bound at one place, and bytes of a namespace's name; documents bind three or four short ones.
/// Both are looked at for every element.
pub(crate) const MOST_BINDINGS: usize = 64;
/// See [`MOST_BINDINGS`].
pub(crate) const NAMESPACE_BYTES: usize = 1024;
/// Different notes of one reading.
pub(crate) const MOST_NOTES: usize = 1000;
/// Bytes of one number among the digits.
pub(crate) const LONGEST_NUMBER: usize = 64;

/// CPT-4, the code system of the document's code [read].
pub(crate) const CPT4: &str = "2.16.840.1.113883.6.12";
/// ISO/IEEE 11073-10101, the code system of leads, waves, measurements and filters [read].
pub(crate) const MDC: &str = "2.16.840.1.113883.6.24";
/// LOINC, the code system of facts about the subject [read].
pub(crate) const LOINC: &str = "2.16.840.1.113883.6.1";
/// HL7 ActCode, the code system of series, time sequences and regions [read].
pub(crate) const ACT_CODE: &str = "2.16.840.1.113883.5.4";
/// HL7 AdministrativeGender [memory].
pub(crate) const GENDER: &str = "2.16.840.1.113883.5.1";

/// Code systems whose name beside their identifier says nothing more.
pub(crate) const SYSTEM_NAMES: &[(&str, &str)] = &[
    (CPT4, "CPT-4"),
    (MDC, "MDC"),
    (LOINC, "LOINC"),
    (ACT_CODE, "ActCode"),
    (GENDER, "AdministrativeGender"),
];

/// The one kind of document: an electrocardiogram with at least 12 leads, in CPT-4 [read].
pub(crate) const ECG: &str = "93000";
/// A recording as it ran [read].
pub(crate) const RHYTHM: &str = "RHYTHM";
/// One beat that stands for a class of beats [read].
pub(crate) const REPRESENTATIVE_BEAT: &str = "REPRESENTATIVE_BEAT";
/// A time sequence, or a boundary, in calendar time [read].
pub(crate) const TIME_ABSOLUTE: &str = "TIME_ABSOLUTE";
/// A time sequence, or a boundary, counted from the series' start [read].
pub(crate) const TIME_RELATIVE: &str = "TIME_RELATIVE";
/// A region that is unbounded in the dimensions it does not name [memory].
pub(crate) const REGION: &str = "ROIPS";

/// 11073 codes of a lead by number: partition 2, so 131072 and the lead's number [read].
pub(crate) const PARTITION_2: u32 = 131_072;
/// The prefix of reference identifiers of 11073 [read].
pub(crate) const REFERENCE: &str = "MDC_";
/// The prefix of a lead's reference identifier [read].
pub(crate) const LEAD: &str = "MDC_ECG_LEAD_";
/// The prefix of a lead system's reference identifier, DICOM CID 3263 [read].
pub(crate) const LEAD_SYSTEM: &str = "MDC_ECG_LDSYS_";

/// Low-pass filter; its corner is nested in it. DICOM CID 3691, 10:11402 [read].
pub(crate) const LOW_PASS: &str = "MDC_ECG_CTL_VBL_ATTR_FILTER_LOW_PASS";
/// High-pass filter; its corner is nested in it. DICOM CID 3691, 10:11404 [read].
pub(crate) const HIGH_PASS: &str = "MDC_ECG_CTL_VBL_ATTR_FILTER_HIGH_PASS";
/// Notch filter; its frequency is nested in it. DICOM CID 3691, 10:11407 [read].
pub(crate) const NOTCH: &str = "MDC_ECG_CTL_VBL_ATTR_FILTER_NOTCH";
/// Corner frequency, DICOM CID 3690, 10:11403 [read].
pub(crate) const CUTOFF_FREQUENCY: &str = "MDC_ECG_CTL_VBL_ATTR_FILTER_CUTOFF_FREQ";
/// Notch frequency, DICOM CID 3690, 10:11408 [read].
pub(crate) const NOTCH_FREQUENCY: &str = "MDC_ECG_CTL_VBL_ATTR_FILTER_NOTCH_FREQ";
/// A filter in words, DICOM CID 3691, 10:11406 [read].
pub(crate) const FILTER_DESCRIPTION: &str = "MDC_ECG_CTL_VBL_ATTR_FILTER_DESCRIPTION";
/// Sampling rate, DICOM CID 3690, 10:11393 [read]: written where the increment is rounded and the rate is not.
pub(crate) const SAMPLE_RATE: &str = "MDC_ECG_CTL_VBL_SAMPLE_RATE";

/// A beat, DICOM CID 3335, 10:8192 [read].
pub(crate) const BEAT: &str = "MDC_ECG_BEAT";
/// A wave; its value says which [read].
pub(crate) const WAVE: &str = "MDC_ECG_WAVC";
/// A pacing pulse, DICOM CID 3335, 10:4096 [read].
pub(crate) const PACING_PULSE: &str = "MDC_ECG_WAVP_PACE";
/// A change of rhythm; its value says to which, DICOM CID 3415 [memory for the name without an ending].
pub(crate) const RHYTHM_CHANGE: &str = "MDC_ECG_RHY";
/// A change of signal quality, DICOM CID 3680 [memory for the name without an ending].
pub(crate) const QUALITY: &str = "MDC_ECG_NOISE";
/// What an author says of the recording [memory].
pub(crate) const INTERPRETATION: &str = "MDC_ECG_INTERPRETATION";
/// One statement of an interpretation [memory].
pub(crate) const STATEMENT: &str = "MDC_ECG_INTERPRETATION_STATEMENT";
/// The summary of an interpretation, read as a statement [memory].
pub(crate) const SUMMARY: &str = "MDC_ECG_INTERPRETATION_SUMMARY";
/// A comment: a statement in an interpretation, the text of a mark, or a remark at a time [memory].
pub(crate) const COMMENT: &str = "MDC_ECG_INTERPRETATION_COMMENT";

/// Waves and their codes, DICOM CID 3335 [read].
pub(crate) const WAVES: &[(Wave, &str)] = &[
    (Wave::P, "MDC_ECG_WAVC_PWAVE"),
    (Wave::Qrs, "MDC_ECG_WAVC_QRSWAVE"),
    (Wave::T, "MDC_ECG_WAVC_TWAVE"),
    (Wave::U, "MDC_ECG_WAVC_UWAVE"),
];

/// Measurements, the formula where the code names one, and the code; the first of a kind and formula is written.
/// DICOM CIDs 3227-3229 and 3687-3689 [read]; without the ending `_GL` as aECG files spell them [memory].
/// Case is ignored in reading.
pub(crate) const MEASUREMENTS: &[(MeasurementKind, Option<&str>, &str)] = &[
    // 2:16770 [memory]
    (MeasurementKind::HeartRate, None, "MDC_ECG_HEART_RATE"),
    // [memory]
    (MeasurementKind::AtrialRate, None, "MDC_ECG_ATRIAL_RATE"),
    (MeasurementKind::RrInterval, None, "MDC_ECG_TIME_PD_RR"),
    (MeasurementKind::PpInterval, None, "MDC_ECG_TIME_PD_PP"),
    (MeasurementKind::PDuration, None, "MDC_ECG_TIME_PD_P"),
    (MeasurementKind::PrInterval, None, "MDC_ECG_TIME_PD_PR"),
    (MeasurementKind::QrsDuration, None, "MDC_ECG_TIME_PD_QRS"),
    (MeasurementKind::QtInterval, None, "MDC_ECG_TIME_PD_QT"),
    (MeasurementKind::QtcInterval, None, "MDC_ECG_TIME_PD_QTC"),
    (MeasurementKind::QtcInterval, Some("Bazett"), "MDC_ECG_TIME_PD_QTCB"),
    (MeasurementKind::QtcInterval, Some("Bazett"), "MDC_ECG_TIME_PD_QTC_BAZETT"),
    (MeasurementKind::QtcInterval, Some("Fridericia"), "MDC_ECG_TIME_PD_QTCF"),
    // the published table's own spelling
    (MeasurementKind::QtcInterval, Some("Fridericia"), "MDC_ECG_TIME_PD_QTC_FREDERICA"),
    (MeasurementKind::QtcInterval, Some("Fridericia"), "MDC_ECG_TIME_PD_QTC_FRIDERICIA"),
    (MeasurementKind::QtcInterval, Some("Framingham"), "MDC_ECG_TIME_PD_QTC_FRAMINGHAM"),
    (MeasurementKind::QtcInterval, Some("Hodges"), "MDC_ECG_TIME_PD_QTC_HODGES"),
    (MeasurementKind::PAxis, None, "MDC_ECG_ANGLE_P_FRONT"),
    (MeasurementKind::QrsAxis, None, "MDC_ECG_ANGLE_QRS_FRONT"),
    (MeasurementKind::TAxis, None, "MDC_ECG_ANGLE_T_FRONT"),
    (MeasurementKind::QDuration, None, "MDC_ECG_TIME_PD_Q"),
    (MeasurementKind::RDuration, None, "MDC_ECG_TIME_PD_R_1"),
    (MeasurementKind::SDuration, None, "MDC_ECG_TIME_PD_S_1"),
    (MeasurementKind::PAmplitude, None, "MDC_ECG_AMPL_P_MAX"),
    (MeasurementKind::QAmplitude, None, "MDC_ECG_AMPL_Q"),
    (MeasurementKind::RAmplitude, None, "MDC_ECG_AMPL_R"),
    (MeasurementKind::SAmplitude, None, "MDC_ECG_AMPL_S"),
    (MeasurementKind::TAmplitude, None, "MDC_ECG_AMPL_T_MAX"),
    (MeasurementKind::JAmplitude, None, "MDC_ECG_AMPL_J"),
];

/// The ending by which DICOM's tables mark a measurement over all leads [read].
pub(crate) const GLOBAL_ENDING: &str = "_GL";

/// Age as reported, LOINC [memory].
pub(crate) const AGE: &str = "21612-7";
/// Body height, LOINC [memory].
pub(crate) const HEIGHT: &str = "8302-2";
/// Body weight, LOINC [memory].
pub(crate) const WEIGHT: &str = "29463-7";
/// Systolic blood pressure, LOINC [memory].
pub(crate) const SYSTOLIC: &str = "8480-6";
/// Diastolic blood pressure, LOINC [memory].
pub(crate) const DIASTOLIC: &str = "8462-4";
/// Medication use, LOINC [memory].
pub(crate) const MEDICATION: &str = "10160-0";
/// History of past illness, LOINC [memory].
pub(crate) const HISTORY: &str = "11348-0";

/// Voltage units of UCUM and their nanovolts; the first of a size is written.
pub(crate) const VOLTAGES: &[(&str, i64)] =
    &[("uV", 1_000), ("nV", 1), ("mV", 1_000_000), ("V", 1_000_000_000), ("µV", 1_000), ("μV", 1_000)];

/// Time units of UCUM and how many make a second.
pub(crate) const TIMES: &[(&str, i64)] = &[
    ("s", 1),
    ("ms", 1_000),
    ("us", 1_000_000),
    ("ns", 1_000_000_000),
    ("µs", 1_000_000),
    ("μs", 1_000_000),
];

/// 10^9: the model counts in 10^-9 of a unit that is no voltage.
pub(crate) const BILLION: Exact = Exact::whole(1_000_000_000);

/// Kinds of an [`Identifier`](ecgkeep_recording::Identifier) that have an element of their own.
pub(crate) const KIND_RECORDING: &str = "recording";
/// The trial: `clinicalTrial/id` [memory].
pub(crate) const KIND_TRIAL: &str = "trial";
/// The site: `trialSite/id` [memory].
pub(crate) const KIND_SITE: &str = "site";

#[cfg(test)]
mod tests {
    use std::collections::HashSet;

    use super::*;

    #[test]
    fn no_code_stands_for_two_measurements_and_every_kind_has_one() {
        let codes: HashSet<&str> = MEASUREMENTS.iter().map(|row| row.2).collect();
        assert_eq!(codes.len(), MEASUREMENTS.len());
        assert!(codes.iter().all(|code| code.starts_with(REFERENCE) && *code == code.to_uppercase()));
        let kinds: HashSet<&MeasurementKind> = MEASUREMENTS.iter().map(|row| &row.0).collect();
        assert_eq!(kinds.len(), 21, "a kind of the model has no code");
    }
}
