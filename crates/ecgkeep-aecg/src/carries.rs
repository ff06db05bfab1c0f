//! Which fields of the model a document carries, and which not: the published element tree decides.

use ecgkeep_format::Carries;
use ecgkeep_recording::Field;

use crate::constants::{TREE, TYPES};

const fn no(why: &'static str) -> Carries {
    Carries::No { why, clause: TREE }
}

const fn limited(why: &'static str, clause: &'static str) -> Carries {
    Carries::Limited { why, clause }
}

/// Every text: what XML cannot hold, and what it cannot tell from nothing.
const TEXT: Carries =
    limited("an empty text reads as none, and characters that XML forbids become U+FFFD", "XML 1.0, 2.2");

/// Every number with a unit.
const NUMBER: Carries =
    limited("a number that is no decimal of at most 18 digits is rounded to one", "HL7 V3 data types, PQ");

/// What a TS has no form for.
const TIME: Carries = limited("a time of day needs a full date before it", "HL7 V3 data types, TS");

/// How a field is carried.
pub(crate) fn carries(field: Field) -> Carries {
    match field {
        Field::SubjectIdentifier => limited(
            "an identifier has an assigner and no kind; texts as XML can hold them",
            "HL7 V3 data types, II",
        ),
        Field::SubjectName => TEXT,
        Field::BirthDate => Carries::Exact,
        Field::Sex => Carries::Exact,
        Field::Age | Field::Height | Field::Weight | Field::BloodPressure => NUMBER,
        Field::Race | Field::Medication | Field::History | Field::Indication => TEXT,
        Field::RecordingIdentifier => limited(
            "one identifier each of the kinds recording, trial and site has a place, in this order",
            TREE,
        ),
        Field::StartDate => Carries::Exact,
        Field::StartTime | Field::StartFraction => TIME,
        Field::StartOffset => limited("an offset needs a date and a time before it", "HL7 V3 data types, TS"),
        Field::Operator => limited("an identifier has no kind; texts as XML can hold them", TREE),
        Field::Referring => no("a document for trials names no referring physician"),
        Field::Requesting => no("a document for trials names no requesting person"),
        Field::Confirming => limited(
            "a person is known as the author of an annotation set; an identifier has no kind; nobody without \
             name and identifier",
            TREE,
        ),
        Field::Institution | Field::AnalysingInstitution => TEXT,
        Field::Department | Field::AnalysingDepartment => no("a site has a name and no departments"),
        Field::Room => no("a site has a name and no rooms"),
        Field::Recorder | Field::Analyser => TEXT,
        Field::HighPass | Field::LowPass | Field::Notch => NUMBER,
        Field::FilterWords => TEXT,
        Field::Mains => no("no control variable states the mains frequency"),
        Field::Placement => limited(
            "only a lead system of ISO/IEEE 11073 (MDC_ECG_LDSYS_) has a place",
            "DICOM PS3.16, CID 3263",
        ),
        Field::Urgency => no("a document for trials has no urgency"),
        Field::OrderNumber => no("a document for trials has no order number"),
        Field::SequenceNumber => no("a document has one identifier and no sequence number"),
        Field::Remark => limited("the remarks are the lines of one text", TREE),
        Field::Waveform => Carries::Exact,
        Field::WaveformStart => limited(
            "seconds that are no decimal of at most 18 digits are rounded to one",
            "HL7 V3 data types, PQ and TS",
        ),
        Field::Rate | Field::Length | Field::Lead | Field::LeadOrder | Field::SignalUnit => Carries::Exact,
        Field::Label => TEXT,
        Field::Voltage => limited(
            "origin and scale are decimals: counts are divided by a whole number where that makes the scale one, else \
             the scale is rounded to 18 digits",
            "HL7 V3 data types, SLIST_PQ",
        ),
        Field::Missing => {
            no("a list of digits has no token for a missing sample: the count nearest to zero stands there")
        }
        Field::Derived => no("only the code of a derived lead says that it is one"),
        Field::Skew => no("the sequences of a set are simultaneous"),
        Field::Mark => limited(
            "a time is a decimal in the years 1 to 9999 and belongs to the nearest sample; texts as XML can hold them",
            TREE,
        ),
        Field::Measurement => limited(
            "a value is a decimal of at most 18 digits, of all leads or of one: beats and beat classes have no number",
            TREE,
        ),
        Field::MeasurementFormula => limited(
            "only the codes of a QTc name one of Bazett, Fridericia, Framingham, Hodges",
            "DICOM PS3.16, CID 3227",
        ),
        Field::Statement => TEXT,
        Field::StatementStatus => no("whether a statement is confirmed has no place; its author has"),
        Field::StatementAuthor => limited("an identifier has no kind; texts as XML can hold them", TREE),
        Field::StatementTime => limited("a time of day needs a full date before it", TYPES),
        Field::Extra => limited("only an extra that came from this format has a path to go back to", TREE),
    }
}
