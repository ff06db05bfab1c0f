//! JSON Schema of the values that stand as texts.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};

use crate::{CivilTime, Exact, Lead, PartialDate, Rate, Step, TimeOfDay};

macro_rules! texts {
    ($($kind:ident, $description:literal $(, $pattern:literal)?;)+) => {$(
        impl JsonSchema for $kind {
            fn schema_name() -> Cow<'static, str> {
                stringify!($kind).into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({ "type": "string", "description": $description $(, "pattern": $pattern)? })
            }
        }
    )+};
}

texts! {
    Exact, "An exact number: a decimal of at most 18 significant digits, or a ratio of two whole numbers.",
        r"^([+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?|[+-]?[0-9]+/[+-]?[0-9]+)$";
    Rate, "Samples per second, above zero: a decimal or a ratio of two whole numbers.",
        r"^(?=.*[1-9])(\+?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?|[+-]?[0-9]+/[+-]?[0-9]+)$";
    Step, "The value of one count, not zero: a decimal or a ratio of two whole numbers.",
        r"^(?=.*[1-9])([+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?|[+-]?[0-9]+/[+-]?[0-9]+)$";
    Lead, "The lead's name as cardiology prints it, such as aVR; of another lead the name that the source gives it.";
    PartialDate, "A date, ISO 8601, to the precision given: 1961, 1961-04 or 1961-04-30.",
        r"^[0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?$";
    TimeOfDay, "A time of day, ISO 8601, to the precision given.",
        r"^[0-9]{2}(:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?)?$";
    CivilTime, "A date and time, ISO 8601, each part only as far as the source gives it, such as 2026-03-02T09:14:05.25+01:00 or T09:14.",
        r"^([0-9]{4}(-[0-9]{2}(-[0-9]{2})?)?)?(T[0-9]{2}(:[0-9]{2}(:[0-9]{2}(\.[0-9]+)?)?)?)?(Z|[+-][0-9]{2}:[0-9]{2})?$";
}
