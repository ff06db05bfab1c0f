//! The tests of the tests: formats with a fault built in, each of which the shared functions must find.

use ecgkeep::FORMATS;
use ecgkeep_demo::{every_field, small};
use ecgkeep_format::{About, Carries, Error, File, Format, Limits, Match, Options, Read, Source, write};
use ecgkeep_recording::{Field, Recording, Sex};
use ecgkeep_tests::contract::{Trial, claims_without_a_loss, recognition_faults, trial};
use ecgkeep_tests::corpus::{Named, all};
use ecgkeep_tests::damage::{cut_faults, mutation_faults};

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

fn writing() -> impl Iterator<Item = &'static dyn Format> {
    FORMATS.iter().copied().filter(|format| !format.about().writes.is_empty())
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
