//! Words that may stay because anybody's recording may hold them.

/// Whether a word is in a list, letter for letter.
pub(crate) fn one_of(list: &[&str], word: &str) -> bool {
    list.contains(&word)
}

/// Units of measurements and signals: UCUM, case-sensitive, and the spellings of signal units in use in WFDB headers.
pub(crate) const UNITS: &[&str] = &[
    "1", "%", "ms", "s", "min", "h", "/min", "Hz", "deg", "rad", "V", "mV", "uV", "nV", "uV/ms", "mV/s",
    "uV.s", "mV.s", "uV.ms", "mm[Hg]", "mmHg", "kPa", "Cel", "degC", "Ohm", "kOhm", "mOhm", "pm", "bpm", "l",
    "l/min", "NU",
];

/// Signals that are recorded beside ECG leads, and lead names that the standard does not number. Spellings as in the
/// headers of open WFDB databases; common practice, no one source.
pub(crate) const SIGNALS: &[&str] = &[
    "MLI", "MLII", "MLIII", "mod.V1", "ECG", "ECG1", "ECG2", "ECG3", "RESP", "Resp", "resp", "ABP", "ART",
    "BP", "CVP", "PAP", "PLETH", "Pleth", "SpO2", "SPO2", "CO2", "EMG", "EEG", "EOG", "GSR", "HR", "TEMP",
];

/// Formulas for the rate correction of QT (AHA/ACCF/HRS 2009, J Am Coll Cardiol 53:982, table of formulas; names as
/// usual).
pub(crate) const FORMULAS: &[&str] = &["Bazett", "Fridericia", "Framingham", "Hodges"];

/// Labels of annotations: WFDB Applications Guide, annotation codes.
pub(crate) const BEATS: &[&str] = &[
    "N", "L", "R", "B", "A", "a", "J", "S", "V", "r", "F", "e", "j", "n", "E", "/", "f", "Q", "?", "[", "!",
    "]", "x", "(", ")", "p", "t", "u", "`", "'", "^", "|", "~", "+", "s", "T", "*", "D", "\"", "=", "@",
];

/// Texts of rhythm and quality annotations: the same guide, rhythm annotations and their `aux` strings.
pub(crate) const RHYTHMS: &[&str] = &[
    "(AB", "(AFIB", "(AFL", "(B", "(BII", "(IVR", "(N", "(NOD", "(P", "(PREX", "(SBR", "(SVTA", "(T", "(VFL",
    "(VT",
];
