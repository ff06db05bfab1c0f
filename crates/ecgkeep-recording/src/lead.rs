//! The leads: one numbering and one table of every spelling.
//!
//! The numbers are those of ISO/IEEE 11073-10101 and -10102 (partition 2), which SCP-ECG section 3 and DICOM
//! context group 3001 share. Sources: DICOM CID 3001 as carried by pydicom 3.0.2; 39-60 and 79-85 ("calculated"
//! twins) have no settled name and stay [`Lead::Numbered`]. Names 123 and 124 from memory.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

macro_rules! leads {
    ($($(#[doc = $doc:literal])+ $variant:ident = $number:literal, $name:literal, $reference:literal $(, $spelling:literal)*;)+) => {
        /// Which lead a signal is.
        #[derive(Clone, Debug, PartialEq, Eq, Hash)]
        #[non_exhaustive]
        pub enum Lead {
            $($(#[doc = $doc])+ $variant,)+
            /// A number of the standard that has no name here.
            Numbered(u16),
            /// A lead that the standard does not number, under the name the source gives it.
            Other(String),
        }

        /// Lead, number, name, 11073 reference id without its prefix, further spellings.
        const TABLE: &[(Lead, u16, &str, &str, &[&str])] =
            &[$((Lead::$variant, $number, $name, $reference, &[$($spelling),*]),)+];
    };
}

leads! {
    #[doc = "A lead that the source does not name."]
    Unspecified = 0, "unspecified", "CONFIG";
    #[doc = "Limb lead I."]
    I = 1, "I", "I";
    #[doc = "Limb lead II."]
    II = 2, "II", "II";
    #[doc = "Chest lead V1."]
    V1 = 3, "V1", "V1", "C1";
    #[doc = "Chest lead V2."]
    V2 = 4, "V2", "V2", "C2";
    #[doc = "Chest lead V3."]
    V3 = 5, "V3", "V3", "C3";
    #[doc = "Chest lead V4."]
    V4 = 6, "V4", "V4", "C4";
    #[doc = "Chest lead V5."]
    V5 = 7, "V5", "V5", "C5";
    #[doc = "Chest lead V6."]
    V6 = 8, "V6", "V6", "C6";
    #[doc = "Posterior chest lead V7."]
    V7 = 9, "V7", "V7";
    #[doc = "Right chest lead V2R."]
    V2R = 10, "V2R", "V2R";
    #[doc = "Right chest lead V3R."]
    V3R = 11, "V3R", "V3R";
    #[doc = "Right chest lead V4R."]
    V4R = 12, "V4R", "V4R";
    #[doc = "Right chest lead V5R."]
    V5R = 13, "V5R", "V5R";
    #[doc = "Right chest lead V6R."]
    V6R = 14, "V6R", "V6R";
    #[doc = "Right chest lead V7R."]
    V7R = 15, "V7R", "V7R";
    #[doc = "Orthogonal lead X."]
    X = 16, "X", "X", "VX";
    #[doc = "Orthogonal lead Y."]
    Y = 17, "Y", "Y", "VY";
    #[doc = "Orthogonal lead Z."]
    Z = 18, "Z", "Z", "VZ";
    #[doc = "V5 against V5R."]
    Cc5 = 19, "CC5", "CC5";
    #[doc = "V5 against the manubrium."]
    Cm5 = 20, "CM5", "CM5";
    #[doc = "The left arm electrode."]
    La = 21, "LA", "LA";
    #[doc = "The right arm electrode."]
    Ra = 22, "RA", "RA";
    #[doc = "The left leg electrode."]
    Ll = 23, "LL", "LL";
    #[doc = "Frank electrode I."]
    FrankI = 24, "Frank I", "fI";
    #[doc = "Frank electrode E."]
    FrankE = 25, "Frank E", "fE";
    #[doc = "Frank electrode C."]
    FrankC = 26, "Frank C", "fC";
    #[doc = "Frank electrode A."]
    FrankA = 27, "Frank A", "fA";
    #[doc = "Frank electrode M."]
    FrankM = 28, "Frank M", "fM";
    #[doc = "Frank electrode F."]
    FrankF = 29, "Frank F", "fF";
    #[doc = "Frank electrode H."]
    FrankH = 30, "Frank H", "fH";
    #[doc = "Lead I, derived."]
    DerivedI = 31, "dI", "dI";
    #[doc = "Lead II, derived."]
    DerivedII = 32, "dII", "dII";
    #[doc = "Lead V1, derived."]
    DerivedV1 = 33, "dV1", "dV1";
    #[doc = "Lead V2, derived."]
    DerivedV2 = 34, "dV2", "dV2";
    #[doc = "Lead V3, derived."]
    DerivedV3 = 35, "dV3", "dV3";
    #[doc = "Lead V4, derived."]
    DerivedV4 = 36, "dV4", "dV4";
    #[doc = "Lead V5, derived."]
    DerivedV5 = 37, "dV5", "dV5";
    #[doc = "Lead V6, derived."]
    DerivedV6 = 38, "dV6", "dV6";
    #[doc = "Limb lead III."]
    III = 61, "III", "III";
    #[doc = "Augmented limb lead aVR."]
    AVR = 62, "aVR", "AVR";
    #[doc = "Augmented limb lead aVL."]
    AVL = 63, "aVL", "AVL";
    #[doc = "Augmented limb lead aVF."]
    AVF = 64, "aVF", "AVF";
    #[doc = "aVR with its sign changed."]
    NegativeAVR = 65, "-aVR", "AVRneg", "−aVR";
    #[doc = "Posterior chest lead V8."]
    V8 = 66, "V8", "V8";
    #[doc = "Posterior chest lead V9."]
    V9 = 67, "V9", "V9";
    #[doc = "Right chest lead V8R."]
    V8R = 68, "V8R", "V8R";
    #[doc = "Right chest lead V9R."]
    V9R = 69, "V9R", "V9R";
    #[doc = "Nehb dorsal lead."]
    NehbD = 70, "Nehb D", "D";
    #[doc = "Nehb anterior lead."]
    NehbA = 71, "Nehb A", "A";
    #[doc = "Nehb inferior lead."]
    NehbJ = 72, "Nehb J", "J";
    #[doc = "Defibrillator lead, anterior-lateral."]
    DefibrillatorAnteriorLateral = 73, "defibrillator", "DEFIB";
    #[doc = "External pacing lead, anterior-posterior."]
    ExternalPacing = 74, "external pacing", "EXTERN";
    #[doc = "Auxiliary unipolar lead 1."]
    AuxiliaryUnipolar1 = 75, "A1", "A1";
    #[doc = "Auxiliary unipolar lead 2."]
    AuxiliaryUnipolar2 = 76, "A2", "A2";
    #[doc = "Auxiliary unipolar lead 3."]
    AuxiliaryUnipolar3 = 77, "A3", "A3";
    #[doc = "Auxiliary unipolar lead 4."]
    AuxiliaryUnipolar4 = 78, "A4", "A4";
    #[doc = "Chest lead."]
    Chest = 86, "C", "C";
    #[doc = "Precordial lead."]
    Precordial = 87, "V", "V";
    #[doc = "Unaugmented limb lead VR."]
    NonR = 88, "VR", "VR";
    #[doc = "Unaugmented limb lead VL."]
    NonL = 89, "VL", "VL";
    #[doc = "Unaugmented limb lead VF."]
    NonF = 90, "VF", "VF";
    #[doc = "Modified chest lead."]
    Mcl = 91, "MCL", "MCL";
    #[doc = "Modified chest lead, V1 position."]
    Mcl1 = 92, "MCL1", "MCL1";
    #[doc = "Modified chest lead, V2 position."]
    Mcl2 = 93, "MCL2", "MCL2";
    #[doc = "Modified chest lead, V3 position."]
    Mcl3 = 94, "MCL3", "MCL3";
    #[doc = "Modified chest lead, V4 position."]
    Mcl4 = 95, "MCL4", "MCL4";
    #[doc = "Modified chest lead, V5 position."]
    Mcl5 = 96, "MCL5", "MCL5";
    #[doc = "Modified chest lead, V6 position."]
    Mcl6 = 97, "MCL6", "MCL6";
    #[doc = "Chest lead CC."]
    Cc = 98, "CC", "CC";
    #[doc = "Chest lead CC1."]
    Cc1 = 99, "CC1", "CC1";
    #[doc = "Chest lead CC2."]
    Cc2 = 100, "CC2", "CC2";
    #[doc = "Chest lead CC3."]
    Cc3 = 101, "CC3", "CC3";
    #[doc = "Chest lead CC4."]
    Cc4 = 102, "CC4", "CC4";
    #[doc = "Chest lead CC6."]
    Cc6 = 103, "CC6", "CC6";
    #[doc = "Chest lead CC7."]
    Cc7 = 104, "CC7", "CC7";
    #[doc = "Chest lead against the manubrium."]
    Cm = 105, "CM", "CM";
    #[doc = "V1 against the manubrium."]
    Cm1 = 106, "CM1", "CM1";
    #[doc = "V2 against the manubrium."]
    Cm2 = 107, "CM2", "CM2";
    #[doc = "V3 against the manubrium."]
    Cm3 = 108, "CM3", "CM3";
    #[doc = "V4 against the manubrium."]
    Cm4 = 109, "CM4", "CM4";
    #[doc = "V6 against the manubrium."]
    Cm6 = 110, "CM6", "CM6";
    #[doc = "Lead III, derived."]
    DerivedIII = 111, "dIII", "dIII";
    #[doc = "Lead aVR, derived."]
    DerivedAVR = 112, "daVR", "dAVR";
    #[doc = "Lead aVL, derived."]
    DerivedAVL = 113, "daVL", "dAVL";
    #[doc = "Lead aVF, derived."]
    DerivedAVF = 114, "daVF", "dAVF";
    #[doc = "Lead CM7."]
    Cm7 = 121, "CM7", "CM7";
    #[doc = "Lead CH5."]
    Ch5 = 122, "CH5", "CH5";
    #[doc = "Lead CS5."]
    Cs5 = 123, "CS5", "CS5";
    #[doc = "Lead CB5."]
    Cb5 = 124, "CB5", "CB5";
    #[doc = "Lead CR5."]
    Cr5 = 125, "CR5", "CR5";
    #[doc = "Lead ML."]
    Ml = 126, "ML", "ML";
    #[doc = "Auxiliary bipolar lead 1."]
    AuxiliaryBipolar1 = 127, "AB1", "AB1";
    #[doc = "Auxiliary bipolar lead 2."]
    AuxiliaryBipolar2 = 128, "AB2", "AB2";
    #[doc = "Auxiliary bipolar lead 3."]
    AuxiliaryBipolar3 = 129, "AB3", "AB3";
    #[doc = "Auxiliary bipolar lead 4."]
    AuxiliaryBipolar4 = 130, "AB4", "AB4";
    #[doc = "EASI lead ES."]
    EasiEs = 131, "EASI ES", "ES";
    #[doc = "EASI lead AS."]
    EasiAs = 132, "EASI AS", "AS";
    #[doc = "EASI lead AI."]
    EasiAi = 133, "EASI AI", "AI";
    #[doc = "EASI upper sternum electrode."]
    EasiS = 134, "EASI S", "S";
    #[doc = "The right leg electrode."]
    Rl = 147, "RL", "RL";
}

/// The prefix of a lead's reference identifier in ISO/IEEE 11073-10101.
const REFERENCE_PREFIX: &str = "MDC_ECG_LEAD_";

impl Lead {
    /// The twelve leads of a standard resting recording, in the usual order.
    pub const TWELVE: [Lead; 12] = [
        Lead::I,
        Lead::II,
        Lead::III,
        Lead::AVR,
        Lead::AVL,
        Lead::AVF,
        Lead::V1,
        Lead::V2,
        Lead::V3,
        Lead::V4,
        Lead::V5,
        Lead::V6,
    ];

    /// The eight leads from which the other four of [`Lead::TWELVE`] can be computed.
    pub const EIGHT: [Lead; 8] =
        [Lead::I, Lead::II, Lead::V1, Lead::V2, Lead::V3, Lead::V4, Lead::V5, Lead::V6];

    /// The lead's name as cardiology prints it: `aVR`, `V1`, `-aVR`.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Lead::Numbered(number) => TABLE
                .iter()
                .find(|row| row.1 == *number)
                .map_or_else(|| format!("lead {number}"), |row| row.2.to_owned()),
            Lead::Other(name) => name.clone(),
            named => named.row().map_or_else(String::new, |row| row.2.to_owned()),
        }
    }

    /// The lead's number in ISO/IEEE 11073 and SCP-ECG; `None` for [`Lead::Other`].
    #[must_use]
    pub fn number(&self) -> Option<u16> {
        match self {
            Lead::Numbered(number) => Some(*number),
            Lead::Other(_) => None,
            named => named.row().map(|row| row.1),
        }
    }

    /// The reference identifier of ISO/IEEE 11073, such as `MDC_ECG_LEAD_AVR`; `None` where there is none.
    #[must_use]
    pub fn reference_id(&self) -> Option<String> {
        self.row().map(|row| format!("{REFERENCE_PREFIX}{}", row.3))
    }

    /// The lead with this number; one without a name here becomes [`Lead::Numbered`].
    #[must_use]
    pub fn from_number(number: u16) -> Lead {
        TABLE.iter().find(|row| row.1 == number).map_or(Lead::Numbered(number), |row| row.0.clone())
    }

    /// The lead that a source spells so: upper or lower case, with or without blanks around it, as a name or
    /// as a reference identifier. What the table does not hold becomes [`Lead::Other`], blanks trimmed.
    #[must_use]
    pub fn from_name(name: &str) -> Lead {
        let name = name.trim();
        let is_prefixed = name
            .get(..REFERENCE_PREFIX.len())
            .is_some_and(|start| start.eq_ignore_ascii_case(REFERENCE_PREFIX));
        let found = if is_prefixed {
            TABLE.iter().find(|row| row.3.eq_ignore_ascii_case(&name[REFERENCE_PREFIX.len()..]))
        } else {
            let is = |spelling: &str| spelling.eq_ignore_ascii_case(name);
            TABLE.iter().find(|row| is(row.2) || row.4.iter().any(|spelling| is(spelling)))
        };
        match found {
            Some(row) => row.0.clone(),
            None => match name.strip_prefix("lead ").and_then(|number| number.parse().ok()) {
                Some(number) => Lead::from_number(number),
                None => Lead::Other(name.to_owned()),
            },
        }
    }

    fn row(&self) -> Option<&'static (Lead, u16, &'static str, &'static str, &'static [&'static str])> {
        TABLE.iter().find(|row| row.0 == *self)
    }
}

impl fmt::Display for Lead {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.name())
    }
}

impl Serialize for Lead {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Lead {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Lead, D::Error> {
        let name = String::deserialize(deserializer)?;
        Ok(match Lead::from_name(&name) {
            Lead::Other(_) => Lead::Other(name),
            known => known,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_sorted_and_no_spelling_names_two_leads() {
        assert!(TABLE.is_sorted_by(|a, b| a.1 < b.1));
        let mut spellings: Vec<String> =
            TABLE.iter().flat_map(|row| [&[row.2], row.4].concat()).map(str::to_uppercase).collect();
        let count = spellings.len();
        spellings.sort();
        spellings.dedup();
        assert_eq!(spellings.len(), count);
    }

    #[test]
    fn every_lead_comes_back_from_its_number_name_and_reference_id() {
        for row in TABLE {
            assert_eq!(Lead::from_number(row.1), row.0);
            assert_eq!(Lead::from_name(&row.0.name()), row.0);
            assert_eq!(Lead::from_name(&row.0.reference_id().unwrap().to_lowercase()), row.0);
        }
        assert_eq!(Lead::from_name(&Lead::from_number(45).name()), Lead::Numbered(45));
        // a number that has a name is that lead, however it was made
        assert_eq!(Lead::from_name(&Lead::Numbered(3).name()), Lead::V1);
    }

    #[test]
    fn numbers_are_those_of_dicom_context_group_3001() {
        // DICOM CID 3001: 2:1 lead I, 2:3 V1, 2:61 III, 2:62 aVR, 2:64 aVF, 2:131 ES.
        for (number, name) in [(1, "I"), (3, "V1"), (61, "III"), (62, "aVR"), (64, "aVF"), (131, "EASI ES")] {
            assert_eq!(Lead::from_number(number).name(), name);
        }
    }

    #[test]
    fn spellings_in_use_are_recognised() {
        for (spelling, lead) in [
            ("avr", Lead::AVR),
            ("AVL", Lead::AVL),
            (" v6 ", Lead::V6),
            ("vx", Lead::X),
            ("MDC_ECG_LEAD_aVF", Lead::AVF),
        ] {
            assert_eq!(Lead::from_name(spelling), lead);
        }
        assert_eq!(Lead::from_name("MLII"), Lead::Other("MLII".into()));
    }
}
