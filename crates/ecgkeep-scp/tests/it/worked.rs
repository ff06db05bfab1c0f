//! A whole record, byte by byte. Its frame, tables, leads and samples are those of a worked example that was computed
//! by hand and by an independent encoder before this crate existed (not published).

use ecgkeep_format::{Format, Options};
use ecgkeep_recording::{Exact, Lead, Rate, Recording, Signal, Step, Waveform};
use ecgkeep_scp::SCP;

use crate::read;

/// Section 0 of the worked record: twelve rows of number, length and index.
const SECTION_0: &[u8] = &[
    0xfe, 0xa7, 0, 0, 0x88, 0, 0, 0, 0x14, 0x14, b'S', b'C', b'P', b'E', b'C', b'G', // header
    0, 0, 0x88, 0, 0, 0, 7, 0, 0, 0, // section 0: 136 bytes at 7
    1, 0, 0x76, 0, 0, 0, 0x8f, 0, 0, 0, // section 1: 118 bytes at 143
    2, 0, 0x12, 0, 0, 0, 0x05, 1, 0, 0, // section 2: 18 bytes at 261
    3, 0, 0x24, 0, 0, 0, 0x17, 1, 0, 0, // section 3: 36 bytes at 279
    4, 0, 0, 0, 0, 0, 0, 0, 0, 0, 5, 0, 0, 0, 0, 0, 0, 0, 0, 0, // 4, 5: absent
    6, 0, 0x28, 0, 0, 0, 0x3b, 1, 0, 0, // section 6: 40 bytes at 315
    7, 0, 0, 0, 0, 0, 0, 0, 0, 0, 8, 0, 0, 0, 0, 0, 0, 0, 0, 0, // 7, 8: absent
    9, 0, 0, 0, 0, 0, 0, 0, 0, 0, 10, 0, 0, 0, 0, 0, 0, 0, 0, 0, // 9, 10: absent
    11, 0, 0, 0, 0, 0, 0, 0, 0, 0, // 11: absent
];

const SECTION_2: &[u8] = &[0xa3, 0x56, 2, 0, 0x12, 0, 0, 0, 0x14, 0x14, 0, 0, 0, 0, 0, 0, 0x1f, 0x4e];

const SECTION_3: &[u8] = &[
    0x3c, 0x98, 3, 0, 0x24, 0, 0, 0, 0x14, 0x14, 0, 0, 0, 0, 0, 0, // header
    2, 0x14, // two leads, both simultaneous
    1, 0, 0, 0, 6, 0, 0, 0, 1, // lead I, samples 1 to 6
    1, 0, 0, 0, 6, 0, 0, 0, 2, // lead II
];

const SECTION_6: &[u8] = &[
    0x51, 0xea, 6, 0, 0x28, 0, 0, 0, 0x14, 0x14, 0, 0, 0, 0, 0, 0, // header
    0xe8, 3, 0xd0, 7, 2, 0, // 1000 nV, 2000 us, second differences, not bimodal
    5, 0, 8, 0, // bytes of each lead
    0xe7, 0x93, 0xb3, 0xfe, 0xe7, // lead I
    0x27, 0xfe, 0x01, 0x8d, 0xff, 0xff, 0x9c, 0x00, // lead II
    0,    // pad
];

/// Section 1 without its checksum. The worked example gives its tags and lengths, not the device identification
/// of 76 bytes: here that of the invented Fenwright Instruments.
fn section_1() -> Vec<u8> {
    let mut section = vec![1, 0, 0x76, 0, 0, 0, 0x14, 0x14, 0, 0, 0, 0, 0, 0];
    section.extend(b"\x02\x03\0P1\0");
    section.extend([14, 76, 0]);
    let mut device = vec![0, 0, 0, 0, 0, 0, 0, 255];
    device.extend(b"FW12\0\0");
    device.extend([20, 0xD0, 0, 0, 0]);
    device.resize(35, 0);
    device.extend(b"\x01\0FW-00718-12\x002.4\0\0Fenwright Instruments\0");
    assert_eq!(device.len(), 76);
    section.extend(device);
    section.extend(b"\x19\x04\0\xe8\x07\x0b\x05\x1a\x03\0\x0d\x18\x23\xff\0\0\0"); // the last zero is the pad byte
    section
}

/// CRC-CCITT bit by bit: polynomial 0x1021, start 0xFFFF; the CRC catalogue gives 0x29B1 for "123456789".
fn crc(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        let shift = |crc: u16, _| if crc & 0x8000 != 0 { (crc << 1) ^ 0x1021 } else { crc << 1 };
        (0..8).fold(crc ^ (u16::from(*byte) << 8), shift)
    })
}

fn sealed(rest: &[u8]) -> Vec<u8> {
    [&crc(rest).to_le_bytes(), rest].concat()
}

fn record() -> Vec<u8> {
    let size = [0x62, 1, 0, 0];
    sealed(&[&size, SECTION_0, &sealed(&section_1()), SECTION_2, SECTION_3, SECTION_6].concat())
}

#[test]
fn the_worked_record_is_read() {
    assert_eq!(crc(b"123456789"), 0x29B1);
    let bytes = record();
    assert_eq!(bytes.len(), 354);
    let read = read(&bytes).expect("the record is whole");
    assert!(read.notes.is_empty(), "{:?}", read.notes);
    let recording = &read.recordings[0];
    assert_eq!(recording.subject.identifiers[0].value, "P1");
    assert_eq!(recording.acquisition.start.to_string(), "2024-11-05T13:24:35");
    assert_eq!(recording.acquisition.recorder.serial.as_deref(), Some("FW-00718-12"));
    let waveform = &recording.waveforms[0];
    assert_eq!(waveform.rate().per_second(), Exact::whole(500));
    for (lead, samples) in [(Lead::I, [3, 4, 6, 5, 5, -20]), (Lead::II, [0, 0, 1, 200, 199, 198])] {
        let signal = waveform.lead(&lead).expect("both leads are there");
        assert_eq!((signal.step.nanovolts(), signal.samples.as_slice()), (Exact::whole(1000), &samples[..]));
    }
}

/// The writer takes the differences that make the record the smallest, here first ones; its frame, tables and leads
/// are those of the worked record. (That it writes the samples of section 6 with second differences byte for byte
/// is a unit test of the crate.)
#[test]
fn the_frame_of_the_worked_record_is_written() {
    let recording = read(&record()).expect("read above").recordings.remove(0);
    let options = Options::default().with("compression", "huffman");
    let files = SCP.encode(&[recording], "r", &options).expect("the record can be written");
    let bytes = &files[0].bytes;
    let end_of_section_1 = 6 + 136 + 118;
    assert_eq!(bytes[8..6 + 16], SECTION_0[2..16]);
    assert_eq!(bytes[end_of_section_1..][..SECTION_2.len()], *SECTION_2);
    assert_eq!(bytes[end_of_section_1 + SECTION_2.len()..][..SECTION_3.len()], *SECTION_3);
    assert_eq!(bytes[6 + 136 + 16..end_of_section_1], section_1()[14..]);
    assert_eq!(bytes[..2], crc(&bytes[2..]).to_le_bytes());
    assert_eq!(bytes.len() % 2, 0);
}

#[test]
fn raw_and_huffman_are_chosen_by_size_or_by_wish() {
    let samples = vec![5; 40];
    let signal = Signal::new(Lead::II, Step::new(Exact::whole(5000)).expect("not zero"), samples);
    let rate = Rate::new(Exact::whole(500)).expect("not zero");
    let waveform = Waveform::new(rate, vec![signal]).expect("one signal");
    let recording = Recording { waveforms: vec![waveform], ..Recording::default() };
    let has_table = |value: &str| {
        let options = Options::default().with("compression", value);
        let files = SCP.encode(std::slice::from_ref(&recording), "r", &options).expect("can be written");
        // row 2 of section 0: the length of the Huffman section
        files[0].bytes[6 + 16 + 20 + 2] != 0
    };
    assert_eq!(["auto", "huffman", "raw"].map(has_table), [true, true, false]);
}
