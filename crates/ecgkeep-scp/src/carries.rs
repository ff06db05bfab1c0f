//! How SCP-ECG carries each field of the model.

use ecgkeep_format::Carries;
use ecgkeep_recording::Field;

use crate::constants::clause;

/// For every field, without a catch-all: a new field does not compile until it is answered here.
pub(crate) fn carries(field: Field) -> Carries {
    let limited = |why, clause| Carries::Limited { why, clause };
    let no = |why, clause| Carries::No { why, clause };
    match field {
        Field::SubjectIdentifier => limited(
            "one identifier, without assigner or kind, as a text of at most 65534 bytes without blanks at its end",
            clause::HEADER,
        ),
        Field::SubjectName => limited(
            "family, given and second family name only, as texts without blanks at their end",
            clause::HEADER,
        ),
        Field::BirthDate => limited("years of four digits", clause::HEADER),
        Field::Sex => limited("unknown, male, female, unspecified, or a number", clause::HEADER),
        Field::Age => {
            limited("a whole number to 65535 of years, months, weeks, days or hours", clause::HEADER)
        }
        Field::Height => {
            limited("a whole number to 65535 of centimetres, inches or millimetres", clause::HEADER)
        }
        Field::Weight => {
            limited("a whole number to 65535 of kilograms, grams, pounds or ounces", clause::HEADER)
        }
        Field::Race => limited("one number of its own list", clause::HEADER),
        Field::BloodPressure => limited("a whole number from 1 to 65535 of mmHg", clause::HEADER),
        Field::Medication => limited("a text and a code of its own list", clause::HEADER),
        Field::History => limited("a text or a code of its own list", clause::HEADER),
        Field::RecordingIdentifier => no("no identifier of the recording, trial or site", clause::HEADER),
        Field::StartDate => limited("years of four digits", clause::HEADER),
        Field::StartTime => {
            limited("always hour, minute and second; midnight without a date means unknown", clause::HEADER)
        }
        Field::StartFraction => no("whole seconds only", clause::HEADER),
        Field::StartOffset => Carries::Exact,
        Field::Operator => limited("one person, as one text", clause::HEADER),
        Field::Referring => limited("one person, as one text", clause::HEADER),
        Field::Requesting => no("no requesting person", clause::HEADER),
        Field::Confirming => limited("one person, as one text", clause::HEADER),
        Field::Institution => {
            limited("a text of at most 65534 bytes without blanks at its end", clause::HEADER)
        }
        Field::Department => {
            limited("a text of at most 65534 bytes without blanks at its end", clause::HEADER)
        }
        Field::Room => limited("a text of at most 65534 bytes without blanks at its end", clause::HEADER),
        Field::AnalysingInstitution => {
            limited("a text of at most 65534 bytes without blanks at its end", clause::HEADER)
        }
        Field::AnalysingDepartment => {
            limited("a text of at most 65534 bytes without blanks at its end", clause::HEADER)
        }
        Field::Recorder => limited(
            "a model of at most 5 bytes, a number from 1 to 65535 as identifier, texts without blanks at their end",
            clause::HEADER,
        ),
        Field::Analyser => limited(
            "a model of at most 5 bytes, a number from 1 to 65535 as identifier, software of at most 254 bytes",
            clause::HEADER,
        ),
        Field::HighPass => {
            limited("a whole number to 65535 of hundredths of a hertz, not zero", clause::HEADER)
        }
        Field::LowPass => limited("a whole number to 65535 of hertz, not zero", clause::HEADER),
        Field::Notch => limited("50 and 60 Hz, in this order", clause::HEADER),
        Field::FilterWords => limited("artifact filter and baseline filter, in this order", clause::HEADER),
        Field::Mains => limited("50 or 60 Hz", clause::HEADER),
        Field::Placement => limited("a number of its own two lists", clause::HEADER),
        Field::Urgency => limited("a number of its own list", clause::HEADER),
        Field::OrderNumber => no("no order number", clause::HEADER),
        Field::SequenceNumber => {
            limited("a text of at most 65534 bytes without blanks at its end", clause::HEADER)
        }
        Field::Indication => limited("texts without codes", clause::HEADER),
        Field::Remark => limited("texts of at most 65534 bytes without blanks at their end", clause::HEADER),
        Field::Waveform => limited(
            "rhythm in volts and one representative beat, of class 0, with leads that the rhythm has",
            clause::LEADS,
        ),
        Field::WaveformStart => {
            limited("a whole number of sampling intervals from the start of the recording", clause::LEADS)
        }
        Field::Rate => limited("an interval that is a whole number of microseconds", clause::RHYTHM),
        Field::Length => limited("leads of at most 65535 coded bytes", clause::RHYTHM),
        Field::Lead => limited("leads in volts that its list numbers", clause::LEADS),
        Field::LeadOrder => limited(
            "leads in volts that its list numbers; those of a beat in the order of the rhythm",
            clause::LEADS,
        ),
        Field::Label => no("a number names the lead, no text", clause::LEADS),
        Field::SignalUnit => no("volts only", clause::RHYTHM),
        Field::Voltage => limited(
            "16 bits at one whole number of nanovolts for all leads; other voltages are rounded once, to nearest",
            clause::RHYTHM,
        ),
        Field::Missing => no("every sample has a value; missing ones are written as 0 V", clause::RHYTHM),
        Field::Derived => no("a derived lead is known by its own number only", clause::LEADS),
        Field::Skew => no("no shift between leads", clause::LEADS),
        Field::Mark => limited(
            "beats with a type of its own numbering and pacing spikes, on all leads of the first waveform, without texts",
            clause::BEATS,
        ),
        Field::Measurement => limited(
            "whole numbers of its own lists; global PR, QRS and QT only by the onsets and offsets they are made of",
            clause::GLOBAL,
        ),
        Field::MeasurementFormula => limited("QTc by Bazett or Hodges", clause::GLOBAL),
        Field::Statement => limited(
            "at most 255 texts, then at most 255 statements in codes of its own list",
            clause::STATEMENTS,
        ),
        Field::StatementStatus => limited(
            "one status for all texts and one for all codes: the least confirmed, and never none",
            clause::STATEMENTS,
        ),
        Field::StatementAuthor => no("no author", clause::STATEMENTS),
        Field::StatementTime => {
            limited("one date and time to the second for all texts and one for all codes", clause::STATEMENTS)
        }
        Field::Extra => limited("items that came from SCP-ECG", clause::RECORD),
    }
}
