//! Comparing two recordings, complete by construction: every struct is taken apart field by field, so a new
//! field does not compile until it is compared.

use std::collections::BTreeMap;
use std::fmt;

use serde::Serialize;

use crate::{
    Acquisition, CivilTime, Code, Coded, Device, Exact, Extra, ExtraValue, Filters, Identifier, Mark,
    MarkKind, Measurement, Person, PersonName, Quantity, Recording, Scope, Sex, Signal, SignalUnit, Span,
    Statement, StatementStatus, Subject, Wave, Waveform, WaveformKind,
};

macro_rules! fields {
    ($($(#[doc = $doc:literal])+ $variant:ident = $name:literal,)+) => {
        /// What of a recording two recordings can differ in, and what a format carries or not.
        ///
        /// Not `#[non_exhaustive]` on purpose: a format's `carries` must answer for every field.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Field {
            $($(#[doc = $doc])+ $variant,)+
        }

        impl Field {
            /// Every field.
            pub const ALL: &[Field] = &[$(Field::$variant),+];

            /// The field's name in words.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self {
                    $(Field::$variant => $name,)+
                }
            }
        }
    };
}

fields! {
    /// Patient identifiers with assigner and kind.
    SubjectIdentifier = "patient identifier",
    /// Patient name.
    SubjectName = "patient name",
    /// Birth date.
    BirthDate = "birth date",
    /// Sex.
    Sex = "sex",
    /// Age as stated.
    Age = "age",
    /// Height.
    Height = "height",
    /// Weight.
    Weight = "weight",
    /// Race.
    Race = "race",
    /// Systolic and diastolic pressure.
    BloodPressure = "blood pressure",
    /// Medications.
    Medication = "medication",
    /// Medical history.
    History = "medical history",
    /// Identifiers of the recording, trial or site.
    RecordingIdentifier = "recording identifier",
    /// Date of the first sample.
    StartDate = "acquisition date",
    /// Time of the first sample, to the second.
    StartTime = "acquisition time",
    /// Fraction of the second of the first sample.
    StartFraction = "fraction of the acquisition second",
    /// Offset from UTC of the first sample.
    StartOffset = "time zone offset",
    /// Operators.
    Operator = "operator",
    /// Referring physicians.
    Referring = "referring physician",
    /// Requesting persons.
    Requesting = "requesting person",
    /// Confirming physicians.
    Confirming = "confirming physician",
    /// Recording institution.
    Institution = "institution",
    /// Recording department.
    Department = "department",
    /// Room.
    Room = "room",
    /// Analysing institution.
    AnalysingInstitution = "analysing institution",
    /// Analysing department.
    AnalysingDepartment = "analysing department",
    /// Recording device.
    Recorder = "recording device",
    /// Analysing device.
    Analyser = "analysing device",
    /// Declared high-pass corner.
    HighPass = "high-pass filter",
    /// Declared low-pass corner.
    LowPass = "low-pass filter",
    /// Declared notch frequencies.
    Notch = "notch filter",
    /// Filters in words.
    FilterWords = "filter description",
    /// Mains frequency.
    Mains = "mains frequency",
    /// Electrode placement.
    Placement = "electrode placement",
    /// Urgency.
    Urgency = "urgency",
    /// Order number.
    OrderNumber = "order number",
    /// Sequence number.
    SequenceNumber = "sequence number",
    /// Indications.
    Indication = "indication",
    /// Remarks.
    Remark = "remark",
    /// A whole waveform, by kind.
    Waveform = "waveform",
    /// Start of a waveform relative to the recording.
    WaveformStart = "waveform start",
    /// Sampling rate.
    Rate = "sampling rate",
    /// Number of samples.
    Length = "number of samples",
    /// A whole signal, by lead.
    Lead = "lead",
    /// The order of the signals.
    LeadOrder = "order of the leads",
    /// The source's own spelling of a lead.
    Label = "lead label",
    /// What a signal measures.
    SignalUnit = "signal unit",
    /// The voltages of the samples.
    Voltage = "voltage",
    /// Where samples are missing.
    Missing = "missing samples",
    /// Whether a lead is computed from others.
    Derived = "derived lead",
    /// Shift that the source declared.
    Skew = "skew",
    /// Marks with lead, label, text and codes.
    Mark = "mark",
    /// Measurements.
    Measurement = "measurement",
    /// Formula of a measurement.
    MeasurementFormula = "measurement formula",
    /// Text and codes of statements.
    Statement = "statement",
    /// Status of statements.
    StatementStatus = "statement status",
    /// Author of statements.
    StatementAuthor = "statement author",
    /// Time of statements.
    StatementTime = "statement time",
    /// Items that the model does not name.
    Extra = "extra item",
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// One difference between two recordings.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Difference {
    /// What differs.
    pub field: Field,
    /// Where: a list position counted from 1, a part, a lead; empty where the field is single.
    pub at: String,
    /// How.
    pub change: Change,
}

/// How a field of the second recording differs from the first.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Change {
    /// The second is silent.
    Lost {
        /// What the first says.
        value: String,
    },
    /// The first is silent.
    Added {
        /// What the second says.
        value: String,
    },
    /// Both speak and differ.
    Changed {
        /// What the first says.
        from: String,
        /// What the second says.
        to: String,
    },
    /// Samples with another voltage.
    Samples {
        /// How many.
        count: usize,
        /// The first of them.
        first: usize,
        /// The largest difference; `None` where it is too long to state exactly.
        at_most: Option<Quantity>,
    },
}

impl fmt::Display for Difference {
    /// `patient name, family: lost: Nilsen`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.field)?;
        if !self.at.is_empty() {
            write!(f, ", {}", self.at)?;
        }
        write!(f, ": {}", self.change)
    }
}

impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Change::Lost { value } => write!(f, "lost: {value}"),
            Change::Added { value } => write!(f, "added: {value}"),
            Change::Changed { from, to } => write!(f, "changed from {from} to {to}"),
            Change::Samples { count, first, at_most } => {
                match count {
                    1 => write!(f, "1 sample differs, sample {first}, ")?,
                    _ => write!(f, "{count} samples differ, the first is sample {first}, ")?,
                }
                match at_most {
                    Some(most) => write!(f, "by at most {}", nearly(most)),
                    None => f.write_str("by an amount too long to state exactly"),
                }
            }
        }
    }
}

/// The quantity as a decimal, of three digits or so where it has no short one.
fn nearly(most: &Quantity) -> String {
    let Quantity { value, unit } = most;
    if value.to_short_decimal().is_some() {
        return most.to_string();
    }
    let places = (0..).zip(std::iter::successors(Some(value.to_f64().abs()), |value| Some(value * 10.0)));
    let first = places.take(30).find(|(_, value)| *value >= 1.0).map_or(0, |(place, _)| place);
    match value.to_decimal(first + 2) {
        Some((text, _)) => format!("about {text} {unit}"),
        None => most.to_string(),
    }
}

/// Every difference between two recordings, in the order of [`Field`]; `origin` is not compared.
///
/// Lists align by key (waveforms by kind, signals by lead, marks by sample, lead and kind, measurements by kind
/// and scope, extras by address), the rest by position. Steps, offsets and counts compare only as voltages.
#[must_use]
pub fn differences(a: &Recording, b: &Recording) -> Vec<Difference> {
    let (facts_a, facts_b) = (Facts::of(a), Facts::of(b));
    let mut found = Vec::new();
    for ((field, at), value) in &facts_a.0 {
        let change = match facts_b.0.get(&(*field, at.clone())) {
            None => Change::Lost { value: value.clone() },
            Some(other) if other != value => Change::Changed { from: value.clone(), to: other.clone() },
            Some(_) => continue,
        };
        found.push(Difference { field: *field, at: at.clone(), change });
    }
    for ((field, at), value) in &facts_b.0 {
        if !facts_a.0.contains_key(&(*field, at.clone())) {
            found.push(Difference {
                field: *field,
                at: at.clone(),
                change: Change::Added { value: value.clone() },
            });
        }
    }
    let waveforms_b: BTreeMap<String, &Waveform> = keyed(&b.waveforms, waveform_key).collect();
    for (key, waveform) in keyed(&a.waveforms, waveform_key) {
        let Some(other) = waveforms_b.get(&key) else { continue };
        let signals_b: BTreeMap<String, &Signal> = keyed(other.signals(), signal_key).collect();
        for (lead, signal) in keyed(waveform.signals(), signal_key) {
            if let Some(other) = signals_b.get(&lead) {
                compare_samples(&format!("{key}, {lead}"), signal, other, &mut found);
            }
        }
    }
    found.sort_by_key(|difference| difference.field);
    found
}

/// Each item with its key; the second and further items of one key get a number.
fn keyed<T>(items: &[T], key: impl Fn(&T) -> String) -> impl Iterator<Item = (String, &T)> {
    let mut seen: BTreeMap<String, usize> = BTreeMap::new();
    items.iter().map(move |item| {
        let key = key(item);
        let count = seen.entry(key.clone()).or_default();
        *count += 1;
        (if *count == 1 { key } else { format!("{key} #{count}") }, item)
    })
}

fn waveform_key(waveform: &Waveform) -> String {
    waveform.kind.to_string()
}

fn signal_key(signal: &Signal) -> String {
    signal.lead.name()
}

fn compare_samples(at: &str, a: &Signal, b: &Signal, found: &mut Vec<Difference>) {
    let mut push = |field, change| found.push(Difference { field, at: at.to_owned(), change });
    if a.missing != b.missing {
        push(
            Field::Missing,
            Change::Changed { from: describe_spans(&a.missing), to: describe_spans(&b.missing) },
        );
    }
    if a.unit == b.unit
        && let Some(change) = compare_voltages(a, b)
    {
        push(Field::Voltage, change);
    }
}

fn compare_voltages(a: &Signal, b: &Signal) -> Option<Change> {
    if a.step == b.step && a.offset == b.offset && a.samples == b.samples {
        return None;
    }
    let scale = CommonScale::of(a, b);
    let (mut count, mut first, mut at_most) = (0, 0, Some(Exact::ZERO));
    let plain = a.missing.is_empty() && b.missing.is_empty();
    for (index, (x, y)) in a.samples.iter().zip(&b.samples).enumerate() {
        if !plain && (a.is_missing(index) || b.is_missing(index)) {
            continue;
        }
        let apart = match &scale {
            Some(scale) => scale.apart(*x, *y),
            None => wide_apart(a, b, index),
        };
        if apart == Some(Exact::ZERO) {
            continue;
        }
        if count == 0 {
            first = index;
        }
        count += 1;
        at_most = at_most.zip(apart).map(|(most, apart)| most.max(apart));
    }
    // Microvolts, as everywhere else where a person reads a voltage.
    let (per_unit, unit) = match &a.unit {
        SignalUnit::Volt => (1000, "uV".to_owned()),
        SignalUnit::Other(name) => (1, format!("n{name}")),
        SignalUnit::Uncalibrated => (1, "10^-9 counts".to_owned()),
    };
    let at_most = at_most.and_then(|value| value.over(Exact::whole(per_unit)));
    (count > 0).then(|| Change::Samples {
        count,
        first,
        at_most: at_most.map(|value| Quantity { value, unit }),
    })
}

/// Both signals' voltages as whole numbers over one denominator.
struct CommonScale {
    denominator: i128,
    offset: i128,
    step_a: i128,
    step_b: i128,
}

impl CommonScale {
    /// `None` where the whole numbers could exceed 128 bits.
    fn of(a: &Signal, b: &Signal) -> Option<CommonScale> {
        let parts = [a.step.nanovolts(), b.step.nanovolts(), a.offset.minus(b.offset)?];
        let mut denominator: i128 = 1;
        for part in parts {
            let reduced = Exact::ratio(part.denominator(), denominator).ok()?;
            denominator = denominator.checked_mul(reduced.numerator())?;
        }
        let whole = |part: Exact| part.numerator().checked_mul(denominator / part.denominator());
        let scale = CommonScale {
            denominator,
            step_a: whole(parts[0])?,
            step_b: whole(parts[1])?,
            offset: whole(parts[2])?,
        };
        let widest = i128::from(i32::MIN);
        let most =
            scale.step_a.checked_abs()?.checked_add(scale.step_b.checked_abs()?)?.checked_mul(-widest)?;
        most.checked_add(scale.offset.checked_abs()?)?;
        Some(scale)
    }

    fn apart(&self, a: i32, b: i32) -> Option<Exact> {
        let apart = self.offset + i128::from(a) * self.step_a - i128::from(b) * self.step_b;
        if apart == 0 { Some(Exact::ZERO) } else { Exact::ratio(apart.abs(), self.denominator).ok() }
    }
}

/// The difference of one sample where no common scale fits; `None` where it is too long to state.
fn wide_apart(a: &Signal, b: &Signal, index: usize) -> Option<Exact> {
    Some(a.nanovolts(index)?.minus(b.nanovolts(index)?)?.magnitude())
}

fn describe_spans(spans: &[Span]) -> String {
    let samples: usize = spans.iter().map(|span| span.len()).sum();
    let shown: Vec<String> =
        spans.iter().take(8).map(|span| format!("{}-{}", span.start, span.end - 1)).collect();
    let more = if spans.len() > shown.len() { ", ..." } else { "" };
    if spans.is_empty() {
        "none".to_owned()
    } else {
        format!("{samples} samples ({}{more})", shown.join(", "))
    }
}

/// Everything of a recording but its samples, as (field, where) to text.
struct Facts(BTreeMap<(Field, String), String>);

impl Facts {
    fn of(recording: &Recording) -> Facts {
        let mut facts = Facts(BTreeMap::new());
        let Recording { subject, acquisition, waveforms, measurements, statements, extras, origin: _ } =
            recording;
        facts.subject(subject);
        facts.acquisition(acquisition);
        for (key, waveform) in keyed(waveforms, waveform_key) {
            facts.waveform(&key, waveform);
        }
        for (key, measurement) in keyed(measurements, |m| format!("{}{}", m.kind.name(), scope(&m.scope))) {
            let Measurement { kind: _, value, unit, scope: _, formula } = measurement;
            facts.put(Field::Measurement, &key, format!("{value} {unit}"));
            facts.text(Field::MeasurementFormula, &key, formula.as_deref());
        }
        for (index, statement) in statements.iter().enumerate() {
            facts.statement(&position(index), statement);
        }
        for (key, extra) in keyed(extras, |extra| format!("{} {}", extra.format, extra.address)) {
            let Extra { format: _, address: _, value } = extra;
            let value = match value {
                ExtraValue::Text(text) => text.clone(),
                ExtraValue::Bytes(bytes) => format!("{} bytes: {}", bytes.len(), hex(bytes)),
            };
            facts.put(Field::Extra, &key, value);
        }
        facts
    }

    fn put(&mut self, field: Field, at: &str, value: impl ToString) {
        self.0.insert((field, at.to_owned()), value.to_string());
    }

    fn text(&mut self, field: Field, at: &str, value: Option<&str>) {
        if let Some(value) = value {
            self.put(field, at, value);
        }
    }

    fn subject(&mut self, subject: &Subject) {
        let Subject {
            identifiers,
            name,
            birth_date,
            sex,
            age,
            height,
            weight,
            race,
            systolic,
            diastolic,
            medications,
            history,
        } = subject;
        self.identifiers(Field::SubjectIdentifier, identifiers);
        self.name(Field::SubjectName, "", name);
        if let Some(date) = birth_date {
            self.put(Field::BirthDate, "", date);
        }
        if let Some(sex) = sex {
            self.put(Field::Sex, "", sex);
        }
        let quantities = [
            (Field::Age, "", age),
            (Field::Height, "", height),
            (Field::Weight, "", weight),
            (Field::BloodPressure, "systolic", systolic),
            (Field::BloodPressure, "diastolic", diastolic),
        ];
        for (field, at, quantity) in quantities {
            if let Some(quantity) = quantity {
                self.put(field, at, quantity);
            }
        }
        self.coded(Field::Race, race.as_slice());
        self.coded(Field::Medication, medications);
        self.coded(Field::History, history);
    }

    fn acquisition(&mut self, acquisition: &Acquisition) {
        let Acquisition {
            identifiers,
            start,
            operators,
            referring,
            requesting,
            confirming,
            institution,
            department,
            room,
            analysing_institution,
            analysing_department,
            recorder,
            analyser,
            filters,
            mains_hz,
            placement,
            urgency,
            order_number,
            sequence_number,
            indications,
            remarks,
        } = acquisition;
        self.identifiers(Field::RecordingIdentifier, identifiers);
        self.start(start);
        self.persons(Field::Operator, operators);
        self.persons(Field::Referring, referring);
        self.persons(Field::Requesting, requesting);
        self.persons(Field::Confirming, confirming);
        let texts = [
            (Field::Institution, institution),
            (Field::Department, department),
            (Field::Room, room),
            (Field::AnalysingInstitution, analysing_institution),
            (Field::AnalysingDepartment, analysing_department),
            (Field::OrderNumber, order_number),
            (Field::SequenceNumber, sequence_number),
        ];
        for (field, text) in texts {
            self.text(field, "", text.as_deref());
        }
        self.device(Field::Recorder, recorder);
        self.device(Field::Analyser, analyser);
        let Filters { high_pass_hz, low_pass_hz, notch_hz, described } = filters;
        for (field, hertz) in
            [(Field::HighPass, high_pass_hz), (Field::LowPass, low_pass_hz), (Field::Mains, mains_hz)]
        {
            if let Some(hertz) = hertz {
                self.put(field, "", format!("{hertz} Hz"));
            }
        }
        for (index, hertz) in notch_hz.iter().enumerate() {
            self.put(Field::Notch, &position(index), format!("{hertz} Hz"));
        }
        self.lines(Field::FilterWords, described);
        self.coded(Field::Placement, placement.as_slice());
        self.coded(Field::Urgency, urgency.as_slice());
        self.coded(Field::Indication, indications);
        self.lines(Field::Remark, remarks);
    }

    fn start(&mut self, start: &CivilTime) {
        let CivilTime { date, time, offset_minutes } = start;
        if let Some(date) = date {
            self.put(Field::StartDate, "", date);
        }
        if let Some(time) = time {
            let text = time.to_string();
            self.put(Field::StartTime, "", text.split('.').next().unwrap_or_default());
            if let Some(fraction) = time.fraction() {
                self.put(Field::StartFraction, "", fraction);
            }
        }
        if let Some(offset) = offset_minutes {
            self.put(Field::StartOffset, "", format!("{offset} min"));
        }
    }

    fn waveform(&mut self, key: &str, waveform: &Waveform) {
        let (kind, rate, signals) = (&waveform.kind, waveform.rate(), waveform.signals());
        self.put(Field::Waveform, key, kind);
        self.put(Field::WaveformStart, key, format!("{} s", waveform.start));
        self.put(Field::Rate, key, format!("{rate} Hz"));
        self.put(Field::Length, key, waveform.length());
        let leads: Vec<String> = keyed(signals, signal_key).map(|(lead, _)| lead).collect();
        self.put(Field::LeadOrder, key, leads.join(", "));
        for (lead, signal) in keyed(signals, signal_key) {
            let at = format!("{key}, {lead}");
            // samples, step, offset and missing ranges are compared as voltages in `compare_samples`
            let Signal { lead: _, label, unit, step: _, offset: _, missing: _, derived, skew, samples: _ } =
                signal;
            self.put(Field::Lead, &at, &lead);
            self.text(Field::Label, &at, label.as_deref());
            self.put(Field::SignalUnit, &at, unit);
            if *derived {
                self.put(Field::Derived, &at, "derived");
            }
            if let Some(skew) = skew {
                self.put(Field::Skew, &at, format!("{skew} s"));
            }
        }
        let mark_key = |mark: &Mark| {
            let lead = mark.lead.as_ref().map_or_else(String::new, |lead| format!(" {lead}"));
            format!("{key}, sample {}{lead}, {}", mark.sample, mark.kind)
        };
        for (at, mark) in keyed(&waveform.marks, mark_key) {
            let Mark { sample: _, lead: _, kind, label, text, codes } = mark;
            self.put(Field::Mark, &at, kind);
            self.text(Field::Mark, &format!("{at}, label"), label.as_deref());
            self.text(Field::Mark, &format!("{at}, text"), text.as_deref());
            self.codes(Field::Mark, &at, codes);
        }
    }

    fn statement(&mut self, at: &str, statement: &Statement) {
        let Statement { text, codes, status, author, at: when } = statement;
        self.put(Field::Statement, at, text);
        self.codes(Field::Statement, at, codes);
        if let Some(status) = status {
            self.put(Field::StatementStatus, at, status);
        }
        if let Some(author) = author {
            self.person(Field::StatementAuthor, at, author);
        }
        if let Some(when) = when {
            self.put(Field::StatementTime, at, when);
        }
    }

    fn identifiers(&mut self, field: Field, identifiers: &[Identifier]) {
        for (index, identifier) in identifiers.iter().enumerate() {
            self.identifier(field, &position(index), identifier);
        }
    }

    fn identifier(&mut self, field: Field, at: &str, identifier: &Identifier) {
        let Identifier { value, assigner, kind } = identifier;
        self.put(field, at, value);
        self.text(field, &within(at, "assigner"), assigner.as_deref());
        self.text(field, &within(at, "kind"), kind.as_deref());
    }

    fn persons(&mut self, field: Field, persons: &[Person]) {
        for (index, person) in persons.iter().enumerate() {
            self.person(field, &position(index), person);
        }
    }

    fn person(&mut self, field: Field, at: &str, person: &Person) {
        let Person { name, id } = person;
        if *person == Person::default() {
            self.put(field, at, "stated without a name");
        }
        self.name(field, at, name);
        if let Some(id) = id {
            self.identifier(field, &within(at, "id"), id);
        }
    }

    fn name(&mut self, field: Field, at: &str, name: &PersonName) {
        let PersonName { text, family, second_family, given, middle, prefix, suffix } = name;
        let parts = [
            ("text", text),
            ("family", family),
            ("second family", second_family),
            ("given", given),
            ("middle", middle),
            ("prefix", prefix),
            ("suffix", suffix),
        ];
        for (part, value) in parts {
            self.text(field, &within(at, part), value.as_deref());
        }
    }

    fn device(&mut self, field: Field, device: &Device) {
        let Device { manufacturer, model, serial, software, id } = device;
        let parts = [
            ("manufacturer", manufacturer),
            ("model", model),
            ("serial", serial),
            ("software", software),
            ("id", id),
        ];
        for (part, value) in parts {
            self.text(field, part, value.as_deref());
        }
    }

    fn coded(&mut self, field: Field, items: &[Coded]) {
        for (index, item) in items.iter().enumerate() {
            let (at, Coded { text, codes }) = (position(index), item);
            if item.is_empty() {
                self.put(field, &at, "stated without text or code");
            }
            self.text(field, &within(&at, "text"), text.as_deref());
            self.codes(field, &at, codes);
        }
    }

    fn codes(&mut self, field: Field, at: &str, codes: &[Code]) {
        for (index, code) in codes.iter().enumerate() {
            let Code { system, value, meaning } = code;
            let at = within(at, &format!("code {}", index + 1));
            self.put(field, &at, format!("{system} {value}"));
            self.text(field, &within(&at, "meaning"), meaning.as_deref());
        }
    }

    fn lines(&mut self, field: Field, lines: &[String]) {
        for (index, line) in lines.iter().enumerate() {
            self.put(field, &position(index), line);
        }
    }
}

fn position(index: usize) -> String {
    (index + 1).to_string()
}

fn within(at: &str, part: &str) -> String {
    if at.is_empty() { part.to_owned() } else { format!("{at}, {part}") }
}

fn scope(scope: &Scope) -> String {
    match scope {
        Scope::Global => String::new(),
        Scope::Lead(lead) => format!(", lead {lead}"),
        Scope::Beat(beat) => format!(", beat {beat}"),
        Scope::BeatClass(class) => format!(", beat class {class}"),
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

impl fmt::Display for Sex {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Sex::Female => "female",
            Sex::Male => "male",
            Sex::Undifferentiated => "undifferentiated",
            Sex::Unknown => "not known",
            Sex::Other(word) => word,
        })
    }
}

impl fmt::Display for WaveformKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            WaveformKind::Rhythm => f.pad("rhythm"),
            WaveformKind::RepresentativeBeat { class } => f.pad(&format!("representative beat {class}")),
            WaveformKind::Other(name) => f.pad(name),
        }
    }
}

impl fmt::Display for SignalUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            SignalUnit::Volt => "V",
            SignalUnit::Other(name) => name,
            SignalUnit::Uncalibrated => "uncalibrated",
        })
    }
}

impl fmt::Display for Wave {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Wave::P => "P",
            Wave::Qrs => "QRS",
            Wave::T => "T",
            Wave::U => "U",
            Wave::Unstated => "wave",
            Wave::Other(name) => name,
        })
    }
}

impl fmt::Display for MarkKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            MarkKind::Beat => f.pad("beat"),
            MarkKind::Onset(wave) => f.pad(&format!("{wave} onset")),
            MarkKind::Peak(wave) => f.pad(&format!("{wave} peak")),
            MarkKind::Offset(wave) => f.pad(&format!("{wave} offset")),
            MarkKind::PacingPulse => f.pad("pacing pulse"),
            MarkKind::Rhythm => f.pad("rhythm change"),
            MarkKind::Quality => f.pad("signal quality change"),
            MarkKind::Note => f.pad("note"),
            MarkKind::Other(name) => f.pad(name),
        }
    }
}

impl fmt::Display for StatementStatus {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            StatementStatus::Unconfirmed => "unconfirmed",
            StatementStatus::OverRead => "over-read, not confirmed",
            StatementStatus::Confirmed => "confirmed",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Lead, Rate, Step};

    fn recording(step: &str, offset: &str, samples: &[i32]) -> Recording {
        let step = Step::new(step.parse().unwrap()).unwrap();
        let signal =
            Signal { offset: offset.parse().unwrap(), ..Signal::new(Lead::I, step, samples.to_vec()) };
        let waveform = Waveform::new(Rate::new(Exact::whole(500)).unwrap(), vec![signal]).unwrap();
        Recording { waveforms: vec![waveform], ..Recording::default() }
    }

    #[test]
    fn voltages_are_compared_not_counts() {
        let a = recording("5000", "0", &[-2, 0, 7]);
        let b = recording("2500", "1000000", &[-404, -400, -386]);
        assert_eq!(differences(&a, &b), []);
        assert_eq!(a.fingerprint(), b.fingerprint());
    }

    #[test]
    fn a_changed_sample_is_counted_located_and_measured() {
        let found = differences(&recording("5000", "0", &[1, 2, 3]), &recording("2500", "0", &[2, 5, 7]));
        // counts 2 and 3 of 5 uV against 5 and 7 of 2.5 uV: apart by 2.5 uV both
        let at_most = Exact::ratio(5, 2).map(|value| Quantity { value, unit: "uV".into() }).ok();
        let change = Change::Samples { count: 2, first: 1, at_most };
        assert_eq!(found, [Difference { field: Field::Voltage, at: "rhythm, I".into(), change }]);
        let one = differences(&recording("5000", "0", &[1, 2]), &recording("5000", "0", &[1, 3]));
        assert_eq!(one[0].to_string(), "voltage, rhythm, I: 1 sample differs, sample 1, by at most 5 uV");
        let at_most = |numerator, denominator| {
            nearly(&Quantity { value: Exact::ratio(numerator, denominator).unwrap(), unit: "uV".into() })
        };
        assert_eq!(at_most(1501, 107_250), "about 0.014 uV");
        assert_eq!(at_most(4000, 3), "about 1333.33 uV");
        assert_eq!(at_most(138_043, 214_500_000_000_000_000_000), "about 0.000000000000000644 uV");
    }

    #[test]
    fn what_is_measured_in_hertz_says_so() {
        let mut filtered = recording("5000", "0", &[1]);
        filtered.acquisition.filters.high_pass_hz = Exact::ratio(1, 20).ok();
        filtered.acquisition.filters.notch_hz = vec![Exact::whole(50)];
        filtered.acquisition.mains_hz = Some(Exact::whole(50));
        let found = differences(&recording("5000", "0", &[1]), &filtered);
        let lines: Vec<String> = found.iter().map(ToString::to_string).collect();
        assert_eq!(
            lines,
            [
                "high-pass filter: added: 0.05 Hz",
                "notch filter, 1: added: 50 Hz",
                "mains frequency: added: 50 Hz"
            ]
        );
    }

    #[test]
    fn a_lost_an_added_and_a_changed_field_are_told_apart() {
        let mut a = recording("1", "0", &[1]);
        let mut b = a.clone();
        a.subject.name.family = Some("Nilsen".into());
        b.acquisition.room = Some("4".into());
        a.subject.sex = Some(Sex::Female);
        b.subject.sex = Some(Sex::Unknown);
        let found: Vec<String> = differences(&a, &b).iter().map(ToString::to_string).collect();
        assert_eq!(
            found,
            ["patient name, family: lost: Nilsen", "sex: changed from female to not known", "room: added: 4"]
        );
    }

    #[test]
    fn a_missing_sample_is_not_a_sample_of_zero() {
        let a = recording("1", "0", &[0, 5]);
        let mut b = a.clone();
        let signal = b.waveforms[0].signals()[0].clone().with_missing(vec![Span { start: 0, end: 1 }]);
        b.waveforms[0] = Waveform::new(a.waveforms[0].rate(), vec![signal]).unwrap();
        let found = differences(&a, &b);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].field, Field::Missing);
        assert_ne!(a.fingerprint(), b.fingerprint());
    }
}
