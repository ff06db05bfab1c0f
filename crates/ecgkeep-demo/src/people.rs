//! Invented people and places.

use ecgkeep_recording::{
    Acquisition, CivilTime, Coded, Device, Exact, Filters, Identifier, PartialDate, Person, PersonName,
    Quantity, Sex, Subject,
};

pub(crate) fn subject() -> Subject {
    Subject {
        identifiers: vec![Identifier {
            value: "LM-204417".to_owned(),
            assigner: Some("Larkmoor Day Clinic".to_owned()),
            kind: Some("medical record number".to_owned()),
        }],
        name: PersonName {
            family: Some("Tallowfield".to_owned()),
            given: Some("Maren".to_owned()),
            ..PersonName::default()
        },
        birth_date: PartialDate::new(1971, Some(6), Some(19)).ok(),
        sex: Some(Sex::Female),
        age: Some(Quantity::new(54, "a")),
        ..Subject::default()
    }
}

pub(crate) fn acquisition() -> Acquisition {
    Acquisition {
        start: "2026-03-02T09:14:05+01:00".parse::<CivilTime>().unwrap_or_default(),
        operators: vec![Person {
            name: PersonName::from_text("R. Quill"),
            id: Some(Identifier { value: "LM-N-031".to_owned(), ..Identifier::default() }),
        }],
        institution: Some("Larkmoor Day Clinic".to_owned()),
        department: Some("Cardiography".to_owned()),
        recorder: Device {
            manufacturer: Some("Fenwright Instruments".to_owned()),
            model: Some("FW 12R".to_owned()),
            serial: Some("FW-00718".to_owned()),
            software: Some("2.4.1".to_owned()),
            id: None,
        },
        filters: Filters {
            high_pass_hz: "0.05".parse::<Exact>().ok(),
            low_pass_hz: Some(Exact::whole(150)),
            ..Filters::default()
        },
        mains_hz: Some(Exact::whole(50)),
        placement: Some(Coded::from_text("standard 12-lead")),
        ..Acquisition::default()
    }
}
