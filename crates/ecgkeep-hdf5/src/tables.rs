//! The rows of the layout, `schemas/hdf5-layout.md`. Where no number is, the cell is a text as [`crate::cell`] says.

use crate::rows::table;

table! {
    /// A mark, in `waveforms/N/marks`.
    MarkRow, StoredMark {
        /// Sample number, counted from 0 at the waveform's first sample.
        sample: i64,;
        /// The lead, empty for all leads.
        lead,
        /// What is marked.
        kind,
        /// Which wave, or the name of another kind.
        name,
        /// The source's short label.
        label,
        /// Text that goes with it.
        text,
    }
}

table! {
    /// A code of a row of another dataset: `mark_codes`, `statement_codes`.
    CodeRow, StoredCode {
        /// The number of that row, counted from 0.
        row: i64,;
        /// The code system.
        system,
        /// The code.
        value,
        /// What the source says it means.
        meaning,
    }
}

table! {
    /// A stretch without samples, in `waveforms/N/missing`.
    MissingRow, StoredMissing {
        /// The number of the lead, counted from 0.
        lead: i64,
        /// The first sample without a value.
        start: i64,
        /// The first sample after it that has one again.
        end: i64,;
    }
}

table! {
    /// A measurement, in `measurements`.
    MeasurementRow, StoredMeasurement {
        /// The value.
        value: f64,;
        /// What was measured.
        kind,
        /// The name of another kind.
        name,
        /// The value as a text where the number alone does not say it.
        exact,
        /// The unit.
        unit,
        /// Over what it was measured.
        scope,
        /// Which lead, beat or class.
        of,
        /// The formula.
        formula,
    }
}

table! {
    /// A statement, in `statements`.
    StatementRow, StoredStatement {;
        /// The text.
        text,
        /// How far it has been confirmed.
        status,
        /// When it was made or confirmed.
        at,
    }
}

table! {
    /// Who made a statement, in `statement_authors`.
    AuthorRow, StoredAuthor {
        /// The number of the statement, counted from 0.
        row: i64,;
        /// The whole name where its parts are not separated.
        name,
        /// Family name.
        family,
        /// Second family name.
        second_family,
        /// Given name.
        given,
        /// Middle name.
        middle,
        /// Title before the name.
        prefix,
        /// Part after the name.
        suffix,
        /// A staff number.
        id,
        /// Who assigned it.
        id_assigner,
        /// What it is for.
        id_kind,
    }
}

table! {
    /// An item that the model does not name, in `extras`.
    ExtraRow, StoredExtra {;
        /// The id of the format it came from.
        format,
        /// Where it stood.
        address,
        /// `text` or `bytes`.
        kind,
        /// What stood there.
        value,
    }
}

table! {
    /// What is known of a recording and counted, in `stack/recordings`; NaN where the source is silent.
    SubjectRow, StoredSubject {
        /// Age.
        age: f64,
        /// Height.
        height: f64,
        /// Weight.
        weight: f64,
        /// Systolic blood pressure.
        systolic: f64,
        /// Diastolic blood pressure.
        diastolic: f64,
        /// Declared high-pass corner in hertz.
        high_pass_hz: f64,
        /// Declared low-pass corner in hertz.
        low_pass_hz: f64,
        /// Mains frequency in hertz.
        mains_hz: f64,;
        /// Sex.
        sex,
        /// Unit of the age.
        age_unit,
        /// Unit of the height.
        height_unit,
        /// Unit of the weight.
        weight_unit,
        /// Unit of the systolic pressure.
        systolic_unit,
        /// Unit of the diastolic pressure.
        diastolic_unit,
    }
}

table! {
    /// Who and when, in `stack/identities`, only where they were asked for.
    IdentityRow, StoredIdentity {;
        /// The first patient identifier.
        id,
        /// Who assigned it.
        id_assigner,
        /// What it is for.
        id_kind,
        /// The whole name where its parts are not separated.
        name,
        /// Family name.
        family,
        /// Second family name.
        second_family,
        /// Given name.
        given,
        /// Middle name.
        middle,
        /// Title before the name.
        prefix,
        /// Part after the name.
        suffix,
        /// Date of birth.
        birth_date,
        /// When the first sample was taken.
        start,
    }
}

table! {
    /// A measurement, in `stack/measurements`.
    StackedMeasurementRow, StoredStackedMeasurement {
        /// The number of the recording, counted from 0.
        recording: i64,
        /// The value.
        value: f64,;
        /// What was measured.
        kind,
        /// The name of another kind.
        name,
        /// The value as a text where the number alone does not say it.
        exact,
        /// The unit.
        unit,
        /// Over what it was measured.
        scope,
        /// Which lead, beat or class.
        of,
        /// The formula.
        formula,
    }
}

table! {
    /// A statement, in `stack/statements`.
    StackedStatementRow, StoredStackedStatement {
        /// The number of the recording, counted from 0.
        recording: i64,;
        /// How far it has been confirmed.
        status,
    }
}

table! {
    /// A code of a statement, in `stack/statement_codes`.
    StackedCodeRow, StoredStackedCode {
        /// The number of the recording, counted from 0.
        recording: i64,
        /// The row of the statement in `stack/statements`.
        row: i64,;
        /// The code system.
        system,
        /// The code.
        value,
    }
}

table! {
    /// A mark, in `stack/marks`.
    StackedMarkRow, StoredStackedMark {
        /// The number of the recording, counted from 0.
        recording: i64,
        /// Sample number, counted from 0.
        sample: i64,;
        /// The lead, empty for all leads.
        lead,
        /// What is marked.
        kind,
        /// Which wave, or the name of another kind.
        name,
        /// The source's label where it has at most three signs.
        label,
    }
}

table! {
    /// A stretch without samples, in `stack/missing`.
    StackedMissingRow, StoredStackedMissing {
        /// The number of the recording, counted from 0.
        recording: i64,
        /// The number of the lead, counted from 0.
        lead: i64,
        /// The first sample without a value.
        start: i64,
        /// The first sample after it that has one again.
        end: i64,;
    }
}
