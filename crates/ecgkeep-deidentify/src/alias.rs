//! What stands for a patient: a pseudonym and an offset in days, random or keyed.

use ecgkeep_recording::Subject;
use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;

/// The fewest bytes of a key: those of the digest (RFC 2104, section 3).
pub const KEY_BYTES: usize = 32;
/// Dates are shifted by 1 to this many days into the past: a date in the future would look like a wrong clock.
const MOST_DAYS: u64 = 730;

/// What stands for a patient.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alias {
    /// Takes the place of all identifiers: `p` and 16 digits and letters.
    pub pseudonym: String,
    /// Whole days by which every date of the patient is shifted, -730 to -1.
    pub days: i32,
}

/// Which recordings are of one patient: as far as identifiers, or name and birth date, say so.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PatientKey(Vec<String>);

impl PatientKey {
    /// The first identifier with its assigner; without one the name with the birth date; `None` where neither is
    /// stated, so that nothing says which recordings belong together.
    #[must_use]
    pub fn of(subject: &Subject) -> Option<PatientKey> {
        let first = subject.identifiers.iter().find(|identifier| !identifier.value.trim().is_empty());
        if let Some(identifier) = first {
            let assigner = identifier.assigner.as_deref().unwrap_or_default();
            return Some(PatientKey::parts(["identifier", assigner, &identifier.value]));
        }
        let (name, birth) = (subject.name.line(), subject.birth_date?.to_string());
        (!name.trim().is_empty()).then(|| PatientKey::parts(["name", &name, &birth]))
    }

    /// A recording that names no patient is its own: `source` is the digest of its files.
    #[must_use]
    pub fn of_source(source: &str) -> PatientKey {
        PatientKey::parts(["source", "", source])
    }

    fn parts(parts: [&str; 3]) -> PatientKey {
        PatientKey(parts.into_iter().map(|part| part.trim().to_owned()).collect())
    }

    /// Its parts; they identify the patient.
    #[must_use]
    pub fn as_parts(&self) -> &[String] {
        &self.0
    }

    /// From parts that were stored.
    #[must_use]
    pub fn from_parts(parts: Vec<String>) -> PatientKey {
        PatientKey(parts)
    }

    /// Each part with its length before it, so that no two keys give the same bytes.
    fn bytes(&self) -> Vec<u8> {
        let with_length = |part: &String| [&(part.len() as u64).to_be_bytes()[..], part.as_bytes()].concat();
        self.0.iter().flat_map(with_length).collect()
    }
}

/// A secret from which aliases are made, the same for the same patient in every batch: HMAC-SHA-256 (RFC 2104,
/// FIPS 198-1). Who holds the key can find the alias of a known patient; without it nobody can.
pub struct Key(Hmac<Sha256>);

impl Key {
    /// `None` for fewer than [`KEY_BYTES`].
    #[must_use]
    pub fn new(secret: &[u8]) -> Option<Key> {
        let mac = (secret.len() >= KEY_BYTES).then(|| Hmac::new_from_slice(secret));
        mac?.ok().map(Key)
    }

    /// The alias of a patient; pseudonym and offset come from different labels, so that neither tells the other.
    #[must_use]
    pub fn alias(&self, patient: &PatientKey) -> Alias {
        let pseudonym = self.code("ecgkeep pseudonym 1", &patient.bytes());
        let days = self.code("ecgkeep days 1", &patient.bytes());
        Alias { pseudonym: name('p', &pseudonym), days: days_from(&days) }
    }

    /// A name for a recording, from the digest of its source files.
    #[must_use]
    pub fn name(&self, source: &str) -> String {
        name_from(&self.code("ecgkeep recording 1", source.as_bytes()))
    }

    /// Tells keys apart without telling anything of them.
    #[must_use]
    pub fn id(&self) -> String {
        name('k', &self.code("ecgkeep key 1", b""))
    }

    fn code(&self, label: &str, message: &[u8]) -> [u8; 32] {
        let mut mac = self.0.clone();
        mac.update(label.as_bytes());
        mac.update(&[0]);
        mac.update(message);
        mac.finalize().into_bytes().into()
    }
}

/// The alias that 32 random bytes stand for.
#[must_use]
pub fn alias_from(random: &[u8; 32]) -> Alias {
    let (pseudonym, days) = random.split_at(16);
    let mut of_days = [0; 32];
    of_days[..16].copy_from_slice(days);
    let mut of_name = [0; 32];
    of_name[..16].copy_from_slice(pseudonym);
    Alias { pseudonym: name('p', &of_name), days: days_from(&of_days) }
}

/// The name of a recording that 32 random bytes stand for.
#[must_use]
pub fn name_from(random: &[u8; 32]) -> String {
    name('r', random)
}

/// Digits and letters that are not mistaken for each other: no i, l, o, u.
const DIGITS: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";

/// A letter and 80 bits in 16 digits.
fn name(kind: char, bytes: &[u8; 32]) -> String {
    let digits = bytes[..16].iter().map(|byte| char::from(DIGITS[usize::from(byte % 32)]));
    std::iter::once(kind).chain(digits).collect()
}

/// One of the 730 offsets, from 64 bits: the bias is below 2^-54.
fn days_from(bytes: &[u8; 32]) -> i32 {
    let mut first = [0; 8];
    first.copy_from_slice(&bytes[..8]);
    let days = u64::from_be_bytes(first) % MOST_DAYS + 1;
    -i32::try_from(days).expect("at most 730")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_code_is_that_of_the_standard() {
        // RFC 4231, test case 2 has a key of 4 bytes; test case 6 (131 bytes of 0xaa) is long enough to be taken here:
        // data "Test Using Larger Than Block-Size Key - Hash Key First".
        let key = Key::new(&[0xaa; 131]).unwrap();
        let mut mac = key.0.clone();
        mac.update(b"Test Using Larger Than Block-Size Key - Hash Key First");
        let code = mac.finalize().into_bytes();
        let text: String = code.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(text, "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54");
    }

    #[test]
    fn an_alias_is_the_same_for_the_same_patient_and_key_only() {
        let (one, other) = (Key::new(&[1; 32]).unwrap(), Key::new(&[2; 32]).unwrap());
        let patient = |value: &str| PatientKey::parts(["identifier", "Larkmoor", value]);
        assert_eq!(one.alias(&patient("LM-1")), one.alias(&patient(" LM-1 ")));
        assert_ne!(one.alias(&patient("LM-1")), one.alias(&patient("LM-2")));
        assert_ne!(one.alias(&patient("LM-1")), other.alias(&patient("LM-1")));
        assert_ne!(one.id(), other.id());
        assert!(Key::new(&[1; 31]).is_none());
    }

    #[test]
    fn offsets_are_whole_days_within_two_years_and_always_into_the_past() {
        let key = Key::new(&[7; 32]).unwrap();
        let days = |number: u32| key.alias(&PatientKey::of_source(&number.to_string())).days;
        let all: Vec<i32> = (0..10_000).map(days).collect();
        assert!(all.iter().all(|days| (-730..=-1).contains(days)));
        assert!(all.contains(&-730) && all.contains(&-1));
    }

    #[test]
    fn parts_do_not_run_together() {
        let bytes = |parts| PatientKey::parts(parts).bytes();
        assert_ne!(bytes(["identifier", "ab", "c"]), bytes(["identifier", "a", "bc"]));
    }
}
