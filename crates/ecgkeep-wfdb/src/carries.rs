//! How a WFDB record carries each field of the model.

use ecgkeep_format::Carries;
use ecgkeep_recording::Field;

use crate::constants::RECORD_LINE;

/// Exhaustive: a new field does not compile until it is answered for here.
pub(crate) fn carries(field: Field) -> Carries {
    match field {
        Field::SubjectIdentifier
        | Field::SubjectName
        | Field::BirthDate
        | Field::Sex
        | Field::Age
        | Field::Height
        | Field::Weight
        | Field::Race
        | Field::BloodPressure
        | Field::Medication
        | Field::History
        | Field::RecordingIdentifier
        | Field::StartDate
        | Field::StartTime
        | Field::StartFraction
        | Field::StartOffset
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
        | Field::HighPass
        | Field::LowPass
        | Field::Notch
        | Field::FilterWords
        | Field::Mains
        | Field::Placement
        | Field::Urgency
        | Field::OrderNumber
        | Field::SequenceNumber
        | Field::Indication
        | Field::Remark
        | Field::Voltage
        | Field::Missing
        | Field::Measurement
        | Field::MeasurementFormula
        | Field::Statement
        | Field::StatementStatus
        | Field::StatementAuthor
        | Field::StatementTime
        | Field::Extra => Carries::Exact,
        Field::Waveform
        | Field::WaveformStart
        | Field::Rate
        | Field::Length
        | Field::Lead
        | Field::LeadOrder
        | Field::Label
        | Field::SignalUnit
        | Field::Derived
        | Field::Skew
        | Field::Mark => Carries::Limited {
            why: "one record holds the rhythm, not a representative beat or a waveform on another grid beside it",
            clause: RECORD_LINE,
        },
    }
}
