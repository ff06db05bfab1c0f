//! How each field is carried: exactly, but for a stack, which is made for computing and not for keeping.

use ecgkeep_format::{Carries, Options};
use ecgkeep_recording::Field;

use crate::constants::{STACK, WITH_IDENTITY, WITHOUT_IDENTITY};

const CLAUSE: &str = "schemas/hdf5-layout.md, stack";

/// How a field is carried with these options.
pub(crate) fn carries(field: Field, options: &Options) -> Carries {
    match options.get(&STACK) {
        WITHOUT_IDENTITY => stacked(field, false),
        WITH_IDENTITY => stacked(field, true),
        _ => Carries::Exact,
    }
}

fn stacked(field: Field, with_identity: bool) -> Carries {
    let limited = |why| Carries::Limited { why, clause: CLAUSE };
    let no = |why| Carries::No { why, clause: CLAUSE };
    let identity =
        |carries| if with_identity { carries } else { no("a stack without identity leaves it out") };
    let first = limited("a stack holds the first waveform of each recording");
    let number = limited("a stack holds it as a 64-bit floating-point number");
    let not_in_a_stack = no("a stack holds samples and what is counted, nothing else");
    match field {
        Field::SubjectIdentifier => identity(limited("a stack holds the first identifier")),
        Field::SubjectName
        | Field::BirthDate
        | Field::StartDate
        | Field::StartTime
        | Field::StartFraction
        | Field::StartOffset => identity(Carries::Exact),
        Field::Sex => limited("a stack holds one of four words"),
        Field::Age
        | Field::Height
        | Field::Weight
        | Field::BloodPressure
        | Field::HighPass
        | Field::LowPass
        | Field::Mains => number,
        Field::Waveform
        | Field::WaveformStart
        | Field::Rate
        | Field::Length
        | Field::Lead
        | Field::LeadOrder
        | Field::SignalUnit
        | Field::Derived => first,
        Field::Voltage
        | Field::Missing
        | Field::Measurement
        | Field::MeasurementFormula
        | Field::StatementStatus => Carries::Exact,
        Field::Mark => limited(
            "a stack holds marks of the first waveform, labels of up to three signs, no texts and codes",
        ),
        Field::Statement => limited("a stack holds the codes of statements, without their texts"),
        Field::Race
        | Field::Medication
        | Field::History
        | Field::RecordingIdentifier
        | Field::Operator
        | Field::Referring
        | Field::Requesting
        | Field::Confirming
        | Field::Institution
        | Field::Department
        | Field::Room
        | Field::AnalysingInstitution
        | Field::AnalysingDepartment
        | Field::Recorder
        | Field::Analyser
        | Field::Notch
        | Field::FilterWords
        | Field::Placement
        | Field::Urgency
        | Field::OrderNumber
        | Field::SequenceNumber
        | Field::Indication
        | Field::Remark
        | Field::Label
        | Field::Skew
        | Field::StatementAuthor
        | Field::StatementTime
        | Field::Extra => not_in_a_stack,
    }
}
