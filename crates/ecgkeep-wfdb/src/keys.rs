//! The table of keys of our info strings: each fact of the model and the key that carries it, once for both
//! directions (schemas/wfdb-info-strings.md lists the same keys for people).

use ecgkeep_recording::{
    Acquisition, Code, Coded, Device, Exact, Extra, ExtraValue, Identifier, Lead, MarkKind, Measurement,
    MeasurementKind, Person, PersonName, Quantity, Scope, Statement, Subject,
};

use crate::as_text::Unit;
use crate::info::Side;

/// What the first of our lines says: the version of the convention.
pub(crate) const VERSION_KEY: &str = "ecg-info";
/// The version written and read.
pub(crate) const VERSION: &str = "1";
/// Date and time, as far as the record line cannot hold them.
pub(crate) const DATETIME: &str = "acq.datetime";
/// Offset from UTC where there is no time to go with it.
pub(crate) const UTC_OFFSET: &str = "acq.utc-offset-min";
/// Age in whole years, for other readers.
pub(crate) const PLAIN_AGE: &str = "age";
/// Sex as M, F or ?, for other readers.
pub(crate) const PLAIN_SEX: &str = "sex";
/// Age with its unit.
pub(crate) const AGE: &str = "patient.age";
/// Sex in words.
pub(crate) const SEX: &str = "patient.sex";

/// The patient, but for age and sex, which other people's lines may state too.
pub(crate) fn subject(side: &mut impl Side, subject: &mut Subject) {
    side.list("patient.id", &mut subject.identifiers, identifier);
    side.item("patient.name", &mut subject.name.text);
    name_parts(side, "patient", &mut subject.name);
    side.item("patient.birth-date", &mut subject.birth_date);
    quantity(side, "patient.height", ("cm", "cm"), &mut subject.height);
    quantity(side, "patient.weight", ("kg", "kg"), &mut subject.weight);
    side.some("patient.race", &mut subject.race, coded);
    quantity(side, "patient.systolic", ("mmhg", "mm[Hg]"), &mut subject.systolic);
    quantity(side, "patient.diastolic", ("mmhg", "mm[Hg]"), &mut subject.diastolic);
    side.list("patient.medication", &mut subject.medications, coded);
    side.list("patient.history", &mut subject.history, coded);
}

/// The making of the recording, but for its start, which the record line may state too.
pub(crate) fn acquisition(side: &mut impl Side, acquisition: &mut Acquisition) {
    side.list("acq.id", &mut acquisition.identifiers, identifier);
    side.list("acq.operator", &mut acquisition.operators, person);
    side.list("acq.referring", &mut acquisition.referring, person);
    side.list("acq.requesting", &mut acquisition.requesting, person);
    side.list("acq.confirming", &mut acquisition.confirming, person);
    side.item("acq.institution", &mut acquisition.institution);
    side.item("acq.department", &mut acquisition.department);
    side.item("acq.room", &mut acquisition.room);
    side.item("acq.analysing-institution", &mut acquisition.analysing_institution);
    side.item("acq.analysing-department", &mut acquisition.analysing_department);
    device(side, "device", &mut acquisition.recorder);
    device(side, "analyser", &mut acquisition.analyser);
    side.item("filter.highpass-hz", &mut acquisition.filters.high_pass_hz);
    side.item("filter.lowpass-hz", &mut acquisition.filters.low_pass_hz);
    side.items("filter.notch-hz", &mut acquisition.filters.notch_hz);
    side.items("filter.words", &mut acquisition.filters.described);
    side.item("acq.mains-hz", &mut acquisition.mains_hz);
    side.some("acq.placement", &mut acquisition.placement, coded);
    side.some("acq.urgency", &mut acquisition.urgency, coded);
    side.item("acq.order-id", &mut acquisition.order_number);
    side.item("acq.sequence-id", &mut acquisition.sequence_number);
    side.list("acq.reason", &mut acquisition.indications, coded);
    side.items("acq.remark", &mut acquisition.remarks);
}

fn identifier(side: &mut impl Side, key: &str, identifier: &mut Identifier) {
    side.always(key, &mut identifier.value);
    side.item(&format!("{key}.assigner"), &mut identifier.assigner);
    side.item(&format!("{key}.kind"), &mut identifier.kind);
}

fn person(side: &mut impl Side, key: &str, person: &mut Person) {
    side.item(key, &mut person.name.text);
    name_parts(side, key, &mut person.name);
    side.some(&format!("{key}.id"), &mut person.id, identifier);
}

fn name_parts(side: &mut impl Side, key: &str, name: &mut PersonName) {
    let parts = [
        ("family", &mut name.family),
        ("second-family", &mut name.second_family),
        ("given", &mut name.given),
        ("middle", &mut name.middle),
        ("prefix", &mut name.prefix),
        ("suffix", &mut name.suffix),
    ];
    for (part, value) in parts {
        side.item(&format!("{key}.{part}"), value);
    }
}

fn device(side: &mut impl Side, key: &str, device: &mut Device) {
    let parts = [
        ("manufacturer", &mut device.manufacturer),
        ("model", &mut device.model),
        ("serial", &mut device.serial),
        ("software", &mut device.software),
        ("id", &mut device.id),
    ];
    for (part, value) in parts {
        side.item(&format!("{key}.{part}"), value);
    }
}

fn coded(side: &mut impl Side, key: &str, coded: &mut Coded) {
    side.item(key, &mut coded.text);
    side.list(&format!("{key}.code"), &mut coded.codes, code);
}

/// A code, its system and its meaning.
pub(crate) fn code(side: &mut impl Side, key: &str, code: &mut Code) {
    side.always(key, &mut code.value);
    side.unless_empty(&format!("{key}.system"), &mut code.system);
    side.item(&format!("{key}.meaning"), &mut code.meaning);
}

/// A value in its usual unit under `key-unit`, in any other unit with it under `key`.
fn quantity(side: &mut impl Side, key: &str, usual: (&str, &str), slot: &mut Option<Quantity>) {
    let is_usual = slot.as_ref().is_some_and(|quantity| quantity.unit == usual.1);
    let mut plain = if is_usual { slot.take().map(|quantity| quantity.value) } else { None };
    side.item(&format!("{key}-{}", usual.0), &mut plain);
    side.item(key, slot);
    if slot.is_none() {
        *slot = plain.map(|value| Quantity { value, unit: usual.1.to_owned() });
    }
}

/// Global measurements in their usual units have a key of their own.
pub(crate) const MEASUREMENTS: &[(MeasurementKind, &str, &str)] = &[
    (MeasurementKind::HeartRate, "meas.hr-bpm", "/min"),
    (MeasurementKind::AtrialRate, "meas.atrial-rate-bpm", "/min"),
    (MeasurementKind::RrInterval, "meas.rr-ms", "ms"),
    (MeasurementKind::PpInterval, "meas.pp-ms", "ms"),
    (MeasurementKind::PDuration, "meas.p-ms", "ms"),
    (MeasurementKind::PrInterval, "meas.pr-ms", "ms"),
    (MeasurementKind::QrsDuration, "meas.qrs-ms", "ms"),
    (MeasurementKind::QtInterval, "meas.qt-ms", "ms"),
    (MeasurementKind::QtcInterval, "meas.qtc-ms", "ms"),
    (MeasurementKind::PAxis, "meas.p-axis-deg", "deg"),
    (MeasurementKind::QrsAxis, "meas.qrs-axis-deg", "deg"),
    (MeasurementKind::TAxis, "meas.t-axis-deg", "deg"),
];

/// Measurements that have a name but no key of their own.
pub(crate) const NAMED: &[MeasurementKind] = &[
    MeasurementKind::QDuration,
    MeasurementKind::RDuration,
    MeasurementKind::SDuration,
    MeasurementKind::PAmplitude,
    MeasurementKind::QAmplitude,
    MeasurementKind::RAmplitude,
    MeasurementKind::SAmplitude,
    MeasurementKind::TAmplitude,
    MeasurementKind::JAmplitude,
];

/// A measurement as its lines hold it.
#[derive(Default)]
struct Measured {
    value: Option<Quantity>,
    kind: Option<MeasurementKind>,
    lead: Option<Lead>,
    beat: Option<u32>,
    class: Option<u32>,
    formula: Option<String>,
}

/// The source's measurements: the first global one of a kind under its own key, the rest under `measure[n]`.
pub(crate) fn measurements(side: &mut impl Side, measurements: &mut Vec<Measurement>) {
    let mut rest: Vec<Measurement> = std::mem::take(measurements);
    for (kind, key, unit) in MEASUREMENTS {
        let is_global = |m: &Measurement| m.kind.name() == kind.name() && m.scope == Scope::Global;
        let first = rest.iter().position(is_global).filter(|at| rest[*at].unit == *unit);
        let said = first.map(|at| rest.remove(at));
        let (mut value, mut formula) = said.map_or((None, None), |m| (Some(m.value), m.formula));
        side.item(key, &mut value);
        if value.is_some() {
            side.item(&format!("{key}.formula"), &mut formula);
        }
        if let Some(value) = value {
            let unit = (*unit).to_owned();
            measurements.push(Measurement { kind: kind.clone(), value, unit, scope: Scope::Global, formula });
        }
    }
    let mut measured: Vec<Measured> = rest.into_iter().map(Measured::from).collect();
    side.list("measure", &mut measured, |side, key, measured| {
        side.item(key, &mut measured.value);
        side.item(&format!("{key}.kind"), &mut measured.kind);
        side.item(&format!("{key}.lead"), &mut measured.lead);
        side.item(&format!("{key}.beat"), &mut measured.beat);
        side.item(&format!("{key}.beat-class"), &mut measured.class);
        side.item(&format!("{key}.formula"), &mut measured.formula);
        if measured.value.is_none() || measured.kind.is_none() {
            side.incomplete(key);
        }
    });
    measurements.extend(measured.into_iter().filter_map(Measured::into_measurement));
}

impl From<Measurement> for Measured {
    fn from(measurement: Measurement) -> Measured {
        let Measurement { kind, value, unit, scope, formula } = measurement;
        let mut measured = Measured {
            value: Some(Quantity { value, unit }),
            kind: Some(kind),
            formula,
            ..Measured::default()
        };
        match scope {
            Scope::Lead(lead) => measured.lead = Some(lead),
            Scope::Beat(beat) => measured.beat = Some(beat),
            Scope::BeatClass(class) => measured.class = Some(class),
            _ => {}
        }
        measured
    }
}

impl Measured {
    /// `None` without a value and a kind: half a measurement is none.
    fn into_measurement(self) -> Option<Measurement> {
        let Quantity { value, unit } = self.value?;
        let scope = match (self.lead, self.beat, self.class) {
            (Some(lead), ..) => Scope::Lead(lead),
            (_, Some(beat), _) => Scope::Beat(beat),
            (.., Some(class)) => Scope::BeatClass(class),
            _ => Scope::Global,
        };
        Some(Measurement { kind: self.kind?, value, unit, scope, formula: self.formula })
    }
}

/// The source's statements.
pub(crate) fn statements(side: &mut impl Side, statements: &mut Vec<Statement>) {
    side.list("stmt", statements, |side, key, statement| {
        side.always(key, &mut statement.text);
        side.list(&format!("{key}.code"), &mut statement.codes, code);
        side.item(&format!("{key}.status"), &mut statement.status);
        side.some(&format!("{key}.author"), &mut statement.author, person);
        side.item(&format!("{key}.at"), &mut statement.at);
    });
}

/// An extra as its lines hold it.
#[derive(Default)]
struct Kept {
    format: String,
    address: String,
    text: Option<String>,
    hex: Option<String>,
}

/// Items of other formats, and those of this one that cannot stand as comment lines.
pub(crate) fn extras(side: &mut impl Side, extras: &mut Vec<Extra>) {
    let mut kept: Vec<Kept> = extras.drain(..).map(Kept::from).collect();
    side.list("extra", &mut kept, |side, key, kept| {
        side.item(key, &mut kept.text);
        side.item(&format!("{key}.hex"), &mut kept.hex);
        side.unless_empty(&format!("{key}.format"), &mut kept.format);
        side.unless_empty(&format!("{key}.address"), &mut kept.address);
    });
    extras.extend(kept.into_iter().map(Kept::into_extra));
}

impl From<Extra> for Kept {
    fn from(extra: Extra) -> Kept {
        let Extra { format, address, value } = extra;
        let (text, hex) = match value {
            ExtraValue::Text(text) => (Some(text), None),
            ExtraValue::Bytes(bytes) => (None, Some(bytes.iter().map(|b| format!("{b:02x}")).collect())),
        };
        Kept { format, address, text, hex }
    }
}

impl Kept {
    fn into_extra(self) -> Extra {
        let bytes = |hex: &str| -> Option<Vec<u8>> {
            let digits = hex.as_bytes().chunks(2).map(|two| std::str::from_utf8(two).ok());
            digits
                .map(|two| two.filter(|two| two.len() == 2).and_then(|two| u8::from_str_radix(two, 16).ok()))
                .collect()
        };
        let value = match (self.text, self.hex) {
            (None, Some(hex)) => match bytes(&hex) {
                Some(bytes) => ExtraValue::Bytes(bytes),
                None => ExtraValue::Text(hex),
            },
            (text, _) => ExtraValue::Text(text.unwrap_or_default()),
        };
        Extra { format: self.format, address: self.address, value }
    }
}

/// What the lines say of one signal beyond its signal line: `lead.3.lsb` is about the third.
#[derive(Debug, Default)]
pub(crate) struct LeadLines {
    /// The lead where the description does not name it.
    pub(crate) name: Option<Lead>,
    /// A lead that the table of leads does not hold, under a name that it would take for another.
    pub(crate) other_name: Option<String>,
    /// The source's own spelling; counts only beside a name.
    pub(crate) label: Option<String>,
    /// The unit where the signal line cannot spell it.
    pub(crate) unit: Option<Unit>,
    /// What one count stands for, exactly.
    pub(crate) lsb: Option<Quantity>,
    /// What count 0 stands for, exactly.
    pub(crate) offset: Option<Quantity>,
    /// Computed from other leads.
    pub(crate) derived: bool,
    /// Seconds by which the signal was shifted, now aligned.
    pub(crate) skew: Option<Exact>,
}

/// How all keys about a signal begin.
pub(crate) const LEAD: &str = "lead.";

/// The lines of the signal with this number, counted from 1.
pub(crate) fn lead(side: &mut impl Side, number: usize, lines: &mut LeadLines) {
    let key = |part: &str| format!("{LEAD}{number}.{part}");
    side.item(&key("name"), &mut lines.name);
    side.item(&key("other-name"), &mut lines.other_name);
    side.item(&key("label"), &mut lines.label);
    side.item(&key("unit"), &mut lines.unit);
    side.item(&key("lsb"), &mut lines.lsb);
    side.item(&key("offset"), &mut lines.offset);
    side.flag(&key("derived"), &mut lines.derived);
    side.item(&key("skew-s"), &mut lines.skew);
}

/// What the lines say of a waveform beyond its signals.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct WaveLines {
    /// First and last of its signals, counted from 1: `9-12`.
    pub(crate) leads: Option<String>,
    /// `rhythm`, `representative-beat 0` or `other NAME`.
    pub(crate) kind: Option<String>,
    /// Seconds from the recording's start.
    pub(crate) start: Option<Exact>,
    /// Samples per second, where the record line cannot say it exactly.
    pub(crate) rate: Option<Exact>,
    /// Samples in front of it that are only padding.
    pub(crate) before: Option<i64>,
    /// Its own samples; what is behind them is only padding.
    pub(crate) samples: Option<i64>,
}

/// The lines of all waveforms.
pub(crate) fn waves(side: &mut impl Side, waves: &mut Vec<WaveLines>) {
    side.list("wave", waves, |side, key, wave| {
        side.item(&format!("{key}.leads"), &mut wave.leads);
        side.item(&format!("{key}.kind"), &mut wave.kind);
        side.item(&format!("{key}.start-s"), &mut wave.start);
        side.item(&format!("{key}.rate-hz"), &mut wave.rate);
        side.item(&format!("{key}.before"), &mut wave.before);
        side.item(&format!("{key}.samples"), &mut wave.samples);
    });
}

/// A mark that its annotation cannot hold, spelled out in full but for its place where that is right.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct MarkLines {
    /// Its annotation: `marks 3 at 1234` is the third of the file `marks`, at tick 1234.
    pub(crate) of: String,
    /// Number of its waveform, counted from 1.
    pub(crate) wave: Option<u32>,
    /// Sample number.
    pub(crate) sample: Option<i64>,
    /// What is marked; a mark without a kind is not spelled out.
    pub(crate) kind: Option<MarkKind>,
    /// The lead, by name.
    pub(crate) lead: Option<Lead>,
    /// A lead of another name that reads like one of the table.
    pub(crate) other_lead: Option<String>,
    /// The source's short label.
    pub(crate) label: Option<String>,
    /// The text.
    pub(crate) text: Option<String>,
    /// The source's codes.
    pub(crate) codes: Vec<Code>,
}

/// Says that the files `marks` and `leadmarks` beside the record are ours.
pub(crate) fn own_annotations(side: &mut impl Side, own: &mut bool) {
    side.flag("annotation.own", own);
}

/// Marks spelled out.
pub(crate) fn marks(side: &mut impl Side, marks: &mut Vec<MarkLines>) {
    side.list("mark", marks, |side, key, mark| {
        side.item(key, &mut mark.kind);
        side.unless_empty(&format!("{key}.of"), &mut mark.of);
        side.item(&format!("{key}.wave"), &mut mark.wave);
        side.item(&format!("{key}.sample"), &mut mark.sample);
        side.item(&format!("{key}.lead"), &mut mark.lead);
        side.item(&format!("{key}.other-lead"), &mut mark.other_lead);
        side.item(&format!("{key}.label"), &mut mark.label);
        side.item(&format!("{key}.text"), &mut mark.text);
        side.list(&format!("{key}.code"), &mut mark.codes, code);
    });
}

/// Whether the table holds a key that begins so: then a line of it is never another's comment.
pub(crate) fn is_ours(key: &str) -> bool {
    const FAMILIES: &[&str] = &[
        VERSION_KEY,
        PLAIN_AGE,
        PLAIN_SEX,
        "patient",
        "acq",
        "device",
        "analyser",
        "filter",
        "meas",
        "measure",
        "stmt",
        "extra",
        "lead",
        "wave",
        "mark",
        "annotation",
    ];
    let family = key.split(['.', '[']).next().unwrap_or_default();
    FAMILIES.contains(&family)
}
