//! Annotations and the model's marks: what an annotation means, and which annotation a mark becomes.

use ecgkeep_recording::{Code, Exact, Lead, Mark, MarkKind, Wave};

use crate::annotations::{Annotation, Annotations};
use crate::constants::{
    BEATS, CODES, MOST_AUX, NOTE, OWN, OWN_LEADS, P_PEAK, PACE, QUALITY, RHYTHM, SUB_NO_LABEL, SUB_QRS_PEAK,
    T_PEAK, U_PEAK, UNCLASSIFIED, WAVE_OFF, WAVE_ON,
};

/// The code system of a mark that came from an annotation file: `atr 28 sub=1 chan=2 num=-1`.
pub(crate) const SYSTEM: &str = "WFDB annotation";

/// What an annotation's numbers are counted in and refer to.
#[derive(Debug, Default)]
pub(crate) struct Setting {
    /// For each signal of the header, its waveform and its lead.
    pub(crate) signals: Vec<(usize, Lead)>,
    /// For each waveform, how it is sampled.
    pub(crate) waves: Vec<Timing>,
}

/// How a waveform is sampled.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Timing {
    /// Samples in a frame.
    pub(crate) per_frame: usize,
    /// Samples per second.
    pub(crate) rate: Exact,
    /// Samples from the start of the record to its first sample.
    pub(crate) before: i64,
}

/// One annotation file as marks.
pub(crate) struct Marked<'a> {
    /// The file's name without the record's.
    pub(crate) annotator: &'a str,
    /// Whether the file is one of ours.
    pub(crate) is_own: bool,
    /// Its annotations.
    pub(crate) annotations: &'a Annotations,
}

impl Marked<'_> {
    /// The marks with the waveforms they are on, one per annotation, in the same order.
    pub(crate) fn to_marks(&self, setting: &Setting) -> Vec<(usize, Mark)> {
        let resolution = self.annotations.resolution.as_deref().and_then(|ticks| ticks.trim().parse().ok());
        let waves = waves_of(&self.annotations.all);
        let names_lead = if self.is_own { None } else { lead_named(self.annotator, setting) };
        let uses_channels = match self.is_own {
            true => self.annotator == OWN_LEADS,
            false => self.annotations.all.iter().any(|annotation| annotation.chan > 0),
        };
        let each = |(annotation, wave): (&Annotation, Option<Wave>)| {
            let channel = setting.signals.get(usize::from(annotation.chan)).filter(|_| uses_channels);
            let (on, lead) = match names_lead.as_ref().or(channel) {
                Some((on, lead)) => (*on, Some(lead.clone())),
                None => (0, None),
            };
            let (sample, is_exact) = setting.sample(annotation.time, resolution, on);
            let mut mark = Mark::new(sample, MarkKind::Note);
            mark.lead = lead;
            if self.is_own {
                own_meaning(annotation, &mut mark);
            } else {
                self.meaning(annotation, wave, &mut mark);
                mark.codes = vec![self.code(annotation, &mark, is_exact)];
            }
            (on, mark)
        };
        self.annotations.all.iter().zip(waves).map(each).collect()
    }

    /// What an annotation of somebody's file says.
    fn meaning(&self, annotation: &Annotation, wave: Option<Wave>, mark: &mut Mark) {
        let row = CODES.iter().find(|row| row.0 == annotation.code);
        let own = self.definition(annotation.code);
        let wave = || wave.clone().or_else(|| wave_of_number(annotation.num)).unwrap_or(Wave::Unstated);
        mark.label = own.map(|(mnemonic, _)| mnemonic.to_owned()).or(row.map(|row| row.1.to_owned()));
        mark.text = text_of(&annotation.aux);
        mark.kind = match annotation.code {
            WAVE_ON => MarkKind::Onset(wave()),
            WAVE_OFF => MarkKind::Offset(wave()),
            code => match (kind_of_code(code), own, row) {
                (_, Some((mnemonic, meaning)), None) => {
                    MarkKind::Other(if meaning.is_empty() { mnemonic } else { meaning }.to_owned())
                }
                (Some(kind), ..) => kind,
                (None, _, Some(row)) => MarkKind::Other(row.2.to_owned()),
                (None, _, None) => MarkKind::Other(format!("annotation {code}")),
            },
        };
    }

    /// The file's own mnemonic and meaning of a code: `42 PON P onset`.
    fn definition(&self, code: u8) -> Option<(&str, &str)> {
        self.annotations.definitions.iter().find_map(|definition| {
            let (number, rest) = definition.split_once(' ')?;
            (number.parse() == Ok(code)).then(|| rest.split_once(' ').unwrap_or((rest, "")))
        })
    }

    /// The annotation word for word, so that it can be given back.
    fn code(&self, annotation: &Annotation, mark: &Mark, is_exact: bool) -> Code {
        let mut value = format!("{} {}", self.annotator, annotation.code);
        let mut put = |name: &str, number: i64| {
            if number != 0 {
                value.push_str(&format!(" {name}={number}"));
            }
        };
        put("sub", annotation.sub.into());
        put("chan", annotation.chan.into());
        put("num", annotation.num.into());
        if !is_exact {
            value.push_str(&format!(" tick={}", annotation.time));
        }
        if mark.text.as_deref().unwrap_or_default().as_bytes() != annotation.aux {
            value.push_str(" aux=");
            annotation.aux.iter().for_each(|byte| value.push_str(&format!("{byte:02x}")));
        }
        Code { system: SYSTEM.to_owned(), value, meaning: None }
    }
}

impl Setting {
    /// The sample at so many ticks, and whether it is exactly there.
    fn sample(&self, ticks: i64, resolution: Option<Exact>, wave: usize) -> (i64, bool) {
        let Some(Timing { per_frame, rate, before }) = self.waves.get(wave) else { return (ticks, true) };
        let ratio = match resolution {
            None if *per_frame == 1 => return (ticks.saturating_sub(*before), true),
            None => i64::try_from(*per_frame).ok().map(Exact::whole),
            Some(resolution) => rate.over(resolution),
        };
        let sample = ratio.and_then(|ratio| ratio.times(ticks.into()));
        let whole = sample.and_then(|s| i64::try_from(s.numerator().div_euclid(s.denominator())).ok());
        let whole = whole.and_then(|sample| sample.checked_sub(*before));
        (whole.unwrap_or(ticks), sample.is_some_and(|sample| sample.denominator() == 1) && whole.is_some())
    }

    /// The ticks at a sample, where it is exactly at one.
    pub(crate) fn ticks(&self, sample: i64, resolution: Option<Exact>, wave: usize) -> Option<i64> {
        let Timing { per_frame, rate, before } = self.waves.get(wave)?;
        let sample = sample.checked_add(*before)?;
        let ratio = match resolution {
            None if *per_frame == 1 => return Some(sample),
            None => Exact::ONE.over(i64::try_from(*per_frame).ok()?.into())?,
            Some(resolution) => resolution.over(*rate)?,
        };
        ratio.times(sample.into())?.to_whole()
    }
}

/// The lead after which a file is named, as `1.avr` is: the signal of that lead.
pub(crate) fn lead_named<'a>(annotator: &str, setting: &'a Setting) -> Option<(usize, Lead)> {
    let lead = Lead::from_name(annotator);
    setting
        .signals
        .iter()
        .find(|(_, own): &&'a (usize, Lead)| *own == lead && own.number().is_some())
        .cloned()
}

/// Text of an annotation: UTF-8, or else ISO 8859-1, zeros at the end left out.
fn text_of(aux: &[u8]) -> Option<String> {
    let end = aux.iter().rposition(|byte| *byte != 0).map_or(0, |at| at + 1);
    let text = match std::str::from_utf8(&aux[..end]) {
        Ok(text) => text.to_owned(),
        Err(_) => aux[..end].iter().map(|byte| char::from(*byte)).collect(),
    };
    (!text.is_empty()).then_some(text)
}

/// What a code marks, where it is not the border of a wave.
fn kind_of_code(code: u8) -> Option<MarkKind> {
    Some(match code {
        P_PEAK => MarkKind::Peak(Wave::P),
        T_PEAK => MarkKind::Peak(Wave::T),
        U_PEAK => MarkKind::Peak(Wave::U),
        PACE => MarkKind::PacingPulse,
        RHYTHM => MarkKind::Rhythm,
        QUALITY => MarkKind::Quality,
        NOTE => MarkKind::Note,
        code if BEATS.contains(&code) => MarkKind::Beat,
        _ => return None,
    })
}

/// The wave whose peak a code marks.
fn peak_of(code: u8) -> Option<Wave> {
    match kind_of_code(code)? {
        MarkKind::Peak(wave) => Some(wave),
        MarkKind::Beat => Some(Wave::Qrs),
        _ => None,
    }
}

/// NUM of a wave border (documentation of the QT Database): 0 P, 1 QRS, 2 T, 3 U. A 0 is also what a file has that
/// says nothing.
fn wave_of_number(number: i8) -> Option<Wave> {
    match number {
        1 => Some(Wave::Qrs),
        2 => Some(Wave::T),
        3 => Some(Wave::U),
        _ => None,
    }
}

/// For each border of a wave, the wave whose peak stands next to it on the same channel: behind an onset, before an
/// end. Borders are not always in pairs (measured over published records), so balance is never assumed.
fn waves_of(annotations: &[Annotation]) -> Vec<Option<Wave>> {
    let mut waves = vec![None; annotations.len()];
    let mut neighbour: [Option<Wave>; 256] = [const { None }; 256];
    for (annotation, wave) in annotations.iter().zip(&mut waves) {
        let beside = &mut neighbour[usize::from(annotation.chan)];
        if annotation.code == WAVE_OFF {
            wave.clone_from(beside);
        }
        *beside = peak_of(annotation.code);
    }
    neighbour.fill(None);
    for (annotation, wave) in annotations.iter().zip(&mut waves).rev() {
        let beside = &mut neighbour[usize::from(annotation.chan)];
        if annotation.code == WAVE_ON {
            wave.clone_from(beside);
        }
        *beside = peak_of(annotation.code);
    }
    waves
}

/// NUM of a wave border in our own files: those of the QT Database, and 4 for a wave that is not stated.
const OWN_NUMBERS: &[(i8, Wave)] =
    &[(0, Wave::P), (1, Wave::Qrs), (2, Wave::T), (3, Wave::U), (4, Wave::Unstated)];

/// What an annotation of our own files says.
fn own_meaning(annotation: &Annotation, mark: &mut Mark) {
    let wave =
        || OWN_NUMBERS.iter().find(|(number, _)| *number == annotation.num).map(|(_, wave)| wave.clone());
    mark.text = text_of(&annotation.aux);
    mark.kind = match (annotation.code, annotation.sub) {
        (WAVE_ON, _) => MarkKind::Onset(wave().unwrap_or(Wave::Unstated)),
        (WAVE_OFF, _) => MarkKind::Offset(wave().unwrap_or(Wave::Unstated)),
        (UNCLASSIFIED, SUB_QRS_PEAK) => MarkKind::Peak(Wave::Qrs),
        (code, sub) => {
            let row = CODES.iter().find(|row| row.0 == code);
            let kind = kind_of_code(code);
            if kind == Some(MarkKind::Beat) && sub != SUB_NO_LABEL {
                mark.label = row.map(|row| row.1.to_owned());
            }
            kind.unwrap_or_else(|| MarkKind::Other(row.map_or("annotation", |row| row.2).to_owned()))
        }
    };
}

/// The annotation that comes nearest to a mark in one of our own files, and the file: the mirror of
/// [`own_meaning`].
pub(crate) fn own_annotation(mark: &Mark, wave: usize, setting: &Setting) -> (&'static str, Annotation) {
    let mut annotation =
        Annotation { time: setting.ticks(mark.sample, None, wave).unwrap_or(0), ..Annotation::default() };
    if let Some(text) = mark.text.as_ref().filter(|text| text.len() <= MOST_AUX) {
        annotation.aux = text.as_bytes().to_vec();
    }
    let number =
        |wave: &Wave| OWN_NUMBERS.iter().find(|(_, known)| known == wave).map_or(4, |(number, _)| *number);
    match &mark.kind {
        MarkKind::Onset(wave) => (annotation.code, annotation.num) = (WAVE_ON, number(wave)),
        MarkKind::Offset(wave) => (annotation.code, annotation.num) = (WAVE_OFF, number(wave)),
        MarkKind::Peak(Wave::P) => annotation.code = P_PEAK,
        MarkKind::Peak(Wave::T) => annotation.code = T_PEAK,
        MarkKind::Peak(Wave::U) => annotation.code = U_PEAK,
        MarkKind::Peak(Wave::Qrs) => (annotation.code, annotation.sub) = (UNCLASSIFIED, SUB_QRS_PEAK),
        MarkKind::PacingPulse => annotation.code = PACE,
        MarkKind::Rhythm => annotation.code = RHYTHM,
        MarkKind::Quality => annotation.code = QUALITY,
        MarkKind::Beat => {
            let is_label =
                |row: &&(u8, &str, &str)| mark.label.as_deref() == Some(row.1) && BEATS.contains(&row.0);
            match CODES.iter().find(is_label) {
                Some(row) => annotation.code = row.0,
                None => (annotation.code, annotation.sub) = (UNCLASSIFIED, SUB_NO_LABEL),
            }
        }
        MarkKind::Other(name) => {
            let is_meant = |row: &&(u8, &str, &str)| row.2 == name && kind_of_code(row.0).is_none();
            annotation.code = CODES.iter().find(is_meant).map_or(NOTE, |row| row.0);
        }
        _ => annotation.code = NOTE,
    }
    // PyPI wfdb 4.3.1 drops a note at time 0, or never ends
    if annotation.code == NOTE && annotation.time == 0 {
        annotation.time = 1;
    }
    let position = mark
        .lead
        .as_ref()
        .map(|lead| setting.signals.iter().position(|(on, own)| *on == wave && own.name() == lead.name()));
    match position.flatten().and_then(|position| u8::try_from(position).ok()) {
        Some(chan) => (OWN_LEADS, Annotation { chan, ..annotation }),
        None => (OWN, annotation),
    }
}

/// The annotation that a mark of an annotation file was, and the file: the inverse of [`Marked::code`].
pub(crate) fn former_annotation(mark: &Mark) -> Option<(&str, Annotation, bool)> {
    let [code] = mark.codes.as_slice() else { return None };
    let mut words = code.value.split(' ');
    let annotator = words.next().filter(|_| code.system == SYSTEM)?;
    let aux = mark.text.as_deref().unwrap_or_default().as_bytes().to_vec();
    let mut annotation = Annotation { code: words.next()?.parse().ok()?, aux, ..Annotation::default() };
    let mut has_ticks = false;
    for word in words {
        let (name, value) = word.split_once('=')?;
        match name {
            "sub" => annotation.sub = value.parse().ok()?,
            "chan" => annotation.chan = value.parse().ok()?,
            "num" => annotation.num = value.parse().ok()?,
            "tick" => (annotation.time, has_ticks) = (value.parse().ok()?, true),
            "aux" => annotation.aux = bytes_of_hex(value)?,
            _ => return None,
        }
    }
    ((1..=crate::constants::LAST_CODE).contains(&annotation.code))
        .then_some((annotator, annotation, has_ticks))
}

fn bytes_of_hex(hex: &str) -> Option<Vec<u8>> {
    let digits =
        hex.as_bytes().chunks(2).map(|two| std::str::from_utf8(two).ok().filter(|two| two.len() == 2));
    digits.map(|two| u8::from_str_radix(two?, 16).ok()).collect()
}
