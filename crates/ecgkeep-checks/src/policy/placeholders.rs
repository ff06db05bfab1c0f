//! Words found where a name was asked for.

/// The shipped placeholders (common practice, no source).
pub(super) fn placeholders() -> Vec<String> {
    PLACEHOLDERS.iter().map(|word| (*word).to_owned()).collect()
}

const PLACEHOLDERS: &[&str] = &[
    "unknown",
    "unk",
    "unnamed",
    "anonymous",
    "anonymized",
    "anonymised",
    "none",
    "n/a",
    "na",
    "nil",
    "null",
    "test",
    "test patient",
    "patient",
    "demo",
    "default",
    "operator",
    "user",
    "admin",
    "tbd",
    "x",
    "xx",
    "xxx",
    "xxxx",
    "xxxxx",
    "no name",
    "not known",
    "not stated",
    "unspecified",
    "undefined",
];
