//! The tests of the tests: formats with a fault built in, each of which the shared functions must find.

use ecgkeep::FORMATS;
use ecgkeep_demo::{every_field, small};
use ecgkeep_format::{About, Carries, Error, File, Format, Limits, Match, Options, Read, Source, write};
use ecgkeep_recording::{
    Device, Exact, Field, Lead, PersonName, Rate, Recording, Sex, Signal, SignalUnit, Span, TimeOfDay,
    Waveform, WaveformKind,
};
use ecgkeep_tests::contract::{
    Trial, claims_without_a_loss, recognition_faults, trial, trials_twice, unproved_cells,
};
use ecgkeep_tests::corpus::{Named, all};
use ecgkeep_tests::damage::{cut_faults, mutation_faults};
use ecgkeep_tests::files::{good_fixtures, writing};

/// A real format with one thing changed.
struct Mutant<'a> {
    real: &'a dyn Format,
    fault: Fault,
}

#[derive(Clone, Copy)]
enum Fault {
    /// The encoder changes the recording before it writes it.
    Encodes(fn(&mut Recording)),
    /// A field is called something else than it is.
    Calls(Field, Carries),
    /// Every file is taken for its own.
    Greedy,
    /// No file is taken for its own.
    Blind,
    /// What cannot be read is given as a recording of which nothing is known.
    Swallows,
    /// What cannot be read is a panic.
    Panics,
    /// What cannot be read is an error that does not say where.
    Placeless,
}

impl Format for Mutant<'_> {
    fn about(&self) -> &'static About {
        self.real.about()
    }

    fn probe(&self, name: &str, head: &[u8]) -> Match {
        match self.fault {
            Fault::Greedy => Match::Certain,
            Fault::Blind => Match::No,
            _ => self.real.probe(name, head),
        }
    }

    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read, Error> {
        let read = self.real.read(source, limits);
        match (self.fault, read) {
            (Fault::Swallows, Err(_)) => {
                Ok(Read { recordings: vec![Recording::default()], notes: Vec::new() })
            }
            (Fault::Panics, Err(error)) => panic!("{error}"),
            (Fault::Placeless, Err(error)) => Err(Error::new(error.kind(), "cannot be read")),
            (_, read) => read,
        }
    }

    fn encode(&self, recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>, Error> {
        let mut recordings = recordings.to_vec();
        if let Fault::Encodes(change) = self.fault {
            recordings.iter_mut().for_each(change);
        }
        self.real.encode(&recordings, stem, options)
    }

    fn carries(&self, field: Field) -> Carries {
        match self.fault {
            Fault::Calls(called, carries) if called == field => carries,
            _ => self.real.carries(field),
        }
    }
}

/// A way of losing or making up something.
type Change = fn(&mut Recording);

/// Ways of losing or making up something, with the field that shows it.
const CHANGES: &[(Field, Change)] = &[
    (Field::SubjectIdentifier, |recording| {
        recording.subject.identifiers.pop();
    }),
    (Field::SubjectName, |recording| recording.subject.name.family = None),
    (Field::BirthDate, |recording| recording.subject.birth_date = None),
    (Field::Sex, |recording| recording.subject.sex = None),
    (Field::Sex, |recording| recording.subject.sex = Some(Sex::Unknown)),
    (Field::StartDate, |recording| recording.acquisition.start.date = None),
    (Field::StartOffset, |recording| recording.acquisition.start.offset_minutes = Some(0)),
    (Field::Operator, |recording| recording.acquisition.operators.clear()),
    (Field::Institution, |recording| recording.acquisition.institution = Some("Larkmoor".to_owned())),
    (Field::Remark, |recording| recording.acquisition.remarks.reverse()),
    (Field::Waveform, |recording| {
        recording.waveforms.pop();
    }),
    (Field::Mark, |recording| recording.waveforms[0].marks[0].sample += 1),
    (Field::Measurement, |recording| recording.measurements[0].unit = "Hz".to_owned()),
    (Field::MeasurementFormula, |recording| recording.measurements[4].formula = None),
    (Field::Statement, |recording| recording.statements[0].text.push('.')),
    (Field::StatementAuthor, |recording| recording.statements[0].author = None),
    (Field::Extra, |recording| recording.extras.clear()),
];

#[test]
fn a_field_dropped_or_changed_by_an_encoder_is_found() {
    let recording = every_field();
    let mut tried = 0;
    for real in writing() {
        for (field, change) in CHANGES.iter().filter(|(field, _)| real.carries(*field) == Carries::Exact) {
            let mutant = Mutant { real, fault: Fault::Encodes(*change) };
            let found = trial(&mutant, &recording, &Options::default());
            assert!(!found.faults.is_empty() || found.refused.is_some(), "{}, {field}", real.about().id);
            tried += usize::from(!found.faults.is_empty());
        }
    }
    assert!(tried >= CHANGES.len(), "only {tried} mutants were tried");
}

/// Makes a recording that says nothing, or something else, of one field: what an encoder that forgets it would write.
/// Exhaustive: a new field does not compile until an encoder can forget it.
fn forget(recording: &mut Recording, field: Field) {
    let (subject, acquisition) = (&mut recording.subject, &mut recording.acquisition);
    match field {
        Field::SubjectIdentifier => subject.identifiers.clear(),
        Field::SubjectName => subject.name = PersonName::default(),
        Field::BirthDate => subject.birth_date = None,
        Field::Sex => subject.sex = None,
        Field::Age => subject.age = None,
        Field::Height => subject.height = None,
        Field::Weight => subject.weight = None,
        Field::Race => subject.race = None,
        Field::BloodPressure => (subject.systolic, subject.diastolic) = (None, None),
        Field::Medication => subject.medications.clear(),
        Field::History => subject.history.clear(),
        Field::RecordingIdentifier => acquisition.identifiers.clear(),
        Field::StartDate => acquisition.start.date = None,
        Field::StartTime => acquisition.start.time = None,
        Field::StartFraction => {
            let whole =
                |time: TimeOfDay| TimeOfDay::new(time.hour(), time.minute(), time.second(), None).ok();
            acquisition.start.time = acquisition.start.time.and_then(whole);
        }
        Field::StartOffset => acquisition.start.offset_minutes = None,
        Field::Operator => acquisition.operators.clear(),
        Field::Referring => acquisition.referring.clear(),
        Field::Requesting => acquisition.requesting.clear(),
        Field::Confirming => acquisition.confirming.clear(),
        Field::Institution => acquisition.institution = None,
        Field::Department => acquisition.department = None,
        Field::Room => acquisition.room = None,
        Field::AnalysingInstitution => acquisition.analysing_institution = None,
        Field::AnalysingDepartment => acquisition.analysing_department = None,
        Field::Recorder => acquisition.recorder = Device::default(),
        Field::Analyser => acquisition.analyser = Device::default(),
        Field::HighPass => acquisition.filters.high_pass_hz = None,
        Field::LowPass => acquisition.filters.low_pass_hz = None,
        Field::Notch => acquisition.filters.notch_hz.clear(),
        Field::FilterWords => acquisition.filters.described.clear(),
        Field::Mains => acquisition.mains_hz = None,
        Field::Placement => acquisition.placement = None,
        Field::Urgency => acquisition.urgency = None,
        Field::OrderNumber => acquisition.order_number = None,
        Field::SequenceNumber => acquisition.sequence_number = None,
        Field::Indication => acquisition.indications.clear(),
        Field::Remark => acquisition.remarks.clear(),
        // the first one is forgotten, too, so that a format that holds one has nothing of it
        Field::Waveform => recording.waveforms.iter_mut().for_each(|waveform| {
            waveform.kind = WaveformKind::Other(format!("not {}", waveform.kind));
        }),
        Field::WaveformStart => recording.waveforms.iter_mut().for_each(|waveform| {
            waveform.start = waveform.start.plus(Exact::whole(1)).expect("a small number");
        }),
        Field::Rate => remake(recording, |rate, _| {
            *rate =
                Rate::new(rate.per_second().plus(Exact::ONE).expect("a small number")).expect("above zero");
        }),
        Field::Length => each_signal(recording, |signal| {
            signal.samples.push(0);
        }),
        Field::Lead => {
            each_signal(recording, |signal| signal.lead = Lead::Other(format!("not {}", signal.lead)))
        }
        Field::LeadOrder => remake(recording, |_, signals| signals.reverse()),
        Field::Label => each_signal(recording, |signal| signal.label = None),
        Field::SignalUnit => {
            each_signal(recording, |signal| signal.unit = SignalUnit::Other("lost".to_owned()))
        }
        Field::Voltage => each_signal(recording, |signal| {
            signal.offset = signal.offset.plus(signal.step.nanovolts()).expect("a small number");
        }),
        Field::Missing => each_signal(recording, |signal| {
            let whole = Span { start: 0, end: signal.samples.len() };
            *signal = signal.clone().with_missing(vec![whole]);
        }),
        Field::Derived => each_signal(recording, |signal| signal.derived = !signal.derived),
        Field::Skew => each_signal(recording, |signal| signal.skew = None),
        Field::Mark => recording.waveforms.iter_mut().for_each(|waveform| waveform.marks.clear()),
        Field::Measurement => recording.measurements.clear(),
        Field::MeasurementFormula => recording.measurements.iter_mut().for_each(|one| one.formula = None),
        Field::Statement => recording.statements.iter_mut().for_each(|one| {
            (one.text, one.codes) = ("lost".to_owned(), Vec::new());
        }),
        Field::StatementStatus => recording.statements.iter_mut().for_each(|one| one.status = None),
        Field::StatementAuthor => recording.statements.iter_mut().for_each(|one| one.author = None),
        Field::StatementTime => recording.statements.iter_mut().for_each(|one| one.at = None),
        Field::Extra => recording.extras.clear(),
    }
}

/// Makes every waveform anew of a changed rate or changed signals.
fn remake(recording: &mut Recording, change: impl Fn(&mut Rate, &mut Vec<Signal>)) {
    for waveform in &mut recording.waveforms {
        let (mut rate, mut signals) = (waveform.rate(), waveform.signals().to_vec());
        change(&mut rate, &mut signals);
        let mut made = Waveform::new(rate, signals).expect("all signals were changed alike");
        (made.kind, made.start) = (waveform.kind.clone(), waveform.start);
        made.marks = std::mem::take(&mut waveform.marks);
        *waveform = made;
    }
}

fn each_signal(recording: &mut Recording, change: impl Fn(&mut Signal)) {
    remake(recording, |_, signals| signals.iter_mut().for_each(&change));
}

/// An encoder that forgets a field is one of these; functions have no state, so each field needs its own.
struct Forgets<'a> {
    real: &'a dyn Format,
    field: Field,
}

impl Format for Forgets<'_> {
    fn about(&self) -> &'static About {
        self.real.about()
    }

    fn probe(&self, name: &str, head: &[u8]) -> Match {
        self.real.probe(name, head)
    }

    fn read(&self, source: &dyn Source, limits: &Limits) -> Result<Read, Error> {
        self.real.read(source, limits)
    }

    fn encode(&self, recordings: &[Recording], stem: &str, options: &Options) -> Result<Vec<File>, Error> {
        let mut recordings = recordings.to_vec();
        recordings.iter_mut().for_each(|recording| forget(recording, self.field));
        self.real.encode(&recordings, stem, options)
    }

    fn carries(&self, field: Field) -> Carries {
        self.real.carries(field)
    }
}

#[test]
fn every_field_that_an_encoder_forgets_is_missed() {
    let names = ["small", "twelve leads", "every field", "every field, one waveform", "lead system"];
    let mut mutants = 0;
    for real in writing() {
        let mut tried: Vec<Named> =
            all().into_iter().filter(|named| names.contains(&named.name.as_str())).collect();
        assert_eq!(tried.len(), names.len());
        tried.extend(good_fixtures(real));
        let judged = |format: &dyn Format, field: Field| {
            let trials = trials_twice(format, tried.iter().map(|named| &named.recording));
            let cells = unproved_cells(format, &trials);
            let cell = format!("{field}: called limited, never comes back");
            let losses = trials.iter().filter(|trial| trial.lost.contains(&field)).count();
            (trials.iter().any(|trial| !trial.faults.is_empty()), cells.contains(&cell), losses)
        };
        for field in Field::ALL.iter().filter(|field| !matches!(real.carries(**field), Carries::No { .. })) {
            let (has_faults, is_unproved, losses) = judged(&Forgets { real, field: *field }, *field);
            // A limited field that is forgotten is a stated loss: its cell is unproved, or more recordings lose it.
            let is_found = match real.carries(*field) {
                Carries::Exact => has_faults,
                _ => {
                    let (_, was_unproved, stated) = judged(real, *field);
                    (is_unproved && !was_unproved) || losses > stated
                }
            };
            assert!(is_found, "{}, {field}", real.about().id);
            mutants += 1;
        }
    }
    println!("{mutants} encoders that forget a field, all found");
}

#[test]
fn a_sample_changed_by_an_encoder_is_found_or_stated() {
    let change = |recording: &mut Recording| {
        let waveform = recording.waveforms.remove(0);
        let (rate, mut signals) = (waveform.rate(), waveform.into_signals());
        signals[1].samples[7] ^= 1;
        recording
            .waveforms
            .push(ecgkeep_recording::Waveform::new(rate, signals).expect("one sample changed"));
    };
    for real in writing() {
        let found = trial(&Mutant { real, fault: Fault::Encodes(change) }, &small(), &Options::default());
        assert!(found.lost.contains(&Field::Voltage) || !found.faults.is_empty(), "{}", real.about().id);
    }
}

#[test]
fn a_default_that_an_encoder_fills_in_is_found() {
    for real in writing() {
        let fills = |recording: &mut Recording| recording.subject.sex = Some(Sex::Unknown);
        let found = trial(&Mutant { real, fault: Fault::Encodes(fills) }, &small(), &Options::default());
        let comes_back = real.carries(Field::Sex) == Carries::Exact;
        assert!(!comes_back || !found.faults.is_empty(), "{}", real.about().id);
    }
}

#[test]
fn a_lossy_field_called_exact_is_found() {
    for real in writing() {
        let trials: Vec<Trial> =
            all().iter().map(|named| trial(real, &named.recording, &Options::default())).collect();
        for field in Field::ALL.iter().filter(|field| trials.iter().any(|trial| trial.lost.contains(field))) {
            let mutant = Mutant { real, fault: Fault::Calls(*field, Carries::Exact) };
            let found = all()
                .iter()
                .any(|named| !trial(&mutant, &named.recording, &Options::default()).faults.is_empty());
            assert!(found, "{}, {field}", real.about().id);
        }
    }
}

#[test]
fn a_carried_field_called_limited_or_not_carried_is_found() {
    let recording = every_field();
    for real in writing() {
        for field in Field::ALL.iter().filter(|field| real.carries(**field) == Carries::Exact) {
            let limited = Carries::Limited { why: "invented", clause: "invented" };
            let mutant = Mutant { real, fault: Fault::Calls(*field, limited) };
            let trials = [trial(&mutant, &recording, &Options::default())];
            let claims = claims_without_a_loss(&mutant, &trials);
            assert!(
                claims.iter().any(|claim| claim.starts_with(field.name())),
                "{}, {field}",
                real.about().id
            );

            let no = Carries::No { why: "invented", clause: "invented" };
            let mutant = Mutant { real, fault: Fault::Calls(*field, no) };
            let found = all().iter().any(|Named { recording, .. }| {
                let trial = trial(&mutant, recording, &Options::default());
                !trial.faults.is_empty() || trial.refused.is_some()
            });
            assert!(found, "{}, {field}", real.about().id);
        }
    }
}

#[test]
fn a_greedy_or_blind_format_is_found() {
    for real in writing() {
        let files = write(real, &[small()], "r", &Options::default()).expect("the small recording").files;
        let blind = Mutant { real, fault: Fault::Blind };
        assert!(!recognition_faults(FORMATS, &blind, &files).is_empty());
        for other in writing().filter(|other| other.about().id != real.about().id) {
            let greedy = Mutant { real: other, fault: Fault::Greedy };
            assert!(!recognition_faults(&[real, &greedy], real, &files).is_empty());
        }
    }
}

#[test]
fn a_reader_that_swallows_panics_or_does_not_say_where_is_found() {
    for real in writing() {
        let files = write(real, &[small()], "r", &Options::default()).expect("the small recording").files;
        let cut_finds = |fault| !cut_faults(&Mutant { real, fault }, &files).is_empty();
        assert!(cut_finds(Fault::Swallows) && cut_finds(Fault::Placeless), "{}", real.about().id);
        quietly(|| assert!(cut_finds(Fault::Panics), "{}", real.about().id));
        // one byte of one file is enough to see that changes are tried
        let one = [File { name: files[0].name.clone(), bytes: files[0].bytes[..1].to_vec() }];
        let found = mutation_faults(&Mutant { real, fault: Fault::Placeless }, &one);
        assert!(!found.is_empty(), "{}", real.about().id);
    }
}

/// Runs `work` without the messages of the panics that it catches.
fn quietly(work: impl FnOnce()) {
    let hook = std::panic::take_hook();
    std::panic::set_hook(Box::new(|_| {}));
    work();
    std::panic::set_hook(hook);
}
