#!/usr/bin/env python3
"""An SCP-ECG encoder for tests, independent of the crate: it shares no code and no table with it.

It follows EN 1064:2005+A1:2007 as far as its layout is known from memory. Standard library only.

    python tests/reference/scp_encoder.py            writes fixtures/scp
    python tests/reference/scp_encoder.py --check    says whether fixtures/scp holds what it would write

Each case is one record and, beside it as JSON, what a reader must make of it: voltages in nanovolts, facts of the
model, notes (weight, part, a piece of the text), or the refusal. Patients, places and samples are invented.
"""

import json
import pathlib
import struct
import sys

ROOT = pathlib.Path(__file__).resolve().parents[2] / "fixtures" / "scp"


# ---------------------------------------------------------------- the frame of a record (5.2, 5.3)
def crc(data):
    """CRC-CCITT, polynomial 0x1021, start 0xFFFF, bit by bit. Published check value: 0x29B1."""
    value = 0xFFFF
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = ((value << 1) ^ 0x1021 if value & 0x8000 else value << 1) & 0xFFFF
    return value


assert crc(b"123456789") == 0x29B1


def section(number, body, version=20, text=b"\0" * 6, pad=True):
    if pad and len(body) % 2:
        body += b"\0"
    head = struct.pack("<HIBB", number, 16 + len(body), version, version) + text
    return struct.pack("<H", crc(head + body)) + head + body


def record(bodies, version=20, rows=None, order=None, pad=True, change_rows=None, between=None):
    """The record with these section bodies, by number, and the byte (from 0) at which each section begins.

    `order` is the order in the file, `change_rows` a function over the list of [number, length, index].
    `between` holds bytes that no row points to, by the number of the section before which they stand.
    """
    numbers = list(order or sorted(bodies))
    rows = list(range(12)) + [n for n in sorted(bodies) if n > 11] if rows is None else rows
    own = 16 + 10 * len(rows)
    starts, body, at = {}, b"", 6 + own
    for number in numbers:
        filler = (between or {}).get(number, b"")
        part = bodies[number]
        part = part if isinstance(part, Raw) else section(number, part, version, pad=pad)
        starts[number] = at + len(filler)
        body += filler + bytes(part)
        at += len(filler) + len(part)
    length = {n: int.from_bytes(body[starts[n] - 6 - own + 4:][:4], "little") for n in numbers}
    table = [[n, length.get(n, 0), starts[n] + 1 if n in starts else 0] for n in rows]
    table[rows.index(0)] = [0, own, 7]
    if change_rows:
        change_rows(table)
    pointers = b"".join(struct.pack("<HII", *row) for row in table)
    signature = b"SCPECG" if version >= 20 else b"\0" * 6
    rest = section(0, pointers, version, signature) + body
    return seal(struct.pack("<I", len(rest) + 6) + rest), starts


class Raw(bytes):
    """A whole section, header included."""


def seal(rest):
    return struct.pack("<H", crc(rest)) + rest


# ---------------------------------------------------------------- section 1 (5.4)
def tag(number, value):
    return struct.pack("<BH", number, len(value)) + value


def text(value, encoding="latin-1"):
    return value.encode(encoding) + b"\0"


def device(language=0, model=b"FW12", strings=("FW-0071", "2.4", "1.1", "Fenwright Instruments"), revision=b"",
           mains=1, encoding="latin-1"):
    value = struct.pack("<HHH", 0, 0, 2) + bytes([0, 255]) + model.ljust(6, b"\0")
    value += bytes([20, 0xD0, language, 0, mains]) + bytes(16)
    assert len(value) == 35
    value += bytes([len(revision) + 1]) + revision + b"\0"
    return value + b"".join(text(part, encoding) for part in strings)


def header(*extra, device_value=None, date=(2026, 3, 2), time=(9, 14, 5), id_=b"LM-204417\0", end=b"\xff\0\0"):
    fields = [tag(2, id_), tag(14, device() if device_value is None else device_value)]
    fields += [tag(25, struct.pack("<HBB", *date)), tag(26, bytes(time))]
    return b"".join(list(extra) + fields) + end


# ---------------------------------------------------------------- section 2 (5.5, annex C)
# code as sent, extra bits, value
DEFAULT = {0: "0", 1: "100", -1: "101", 2: "1100", -2: "1101", 3: "11100", -3: "11101", 4: "111100", -4: "111101",
           5: "1111100", -5: "1111101", 6: "11111100", -6: "11111101", 7: "111111100", -7: "111111101",
           8: "1111111100", -8: "1111111101"}


def bits_of(value, count):
    return format(value & ((1 << count) - 1), f"0{count}b")


def default_code(value):
    if value in DEFAULT:
        return DEFAULT[value]
    if -128 <= value <= 127:
        return "1111111110" + bits_of(value, 8)
    assert -32768 <= value <= 32767
    return "1111111111" + bits_of(value, 16)


def pack_bits(bits):
    bits += "0" * (-len(bits) % 8)
    return bytes(int(bits[i:i + 8], 2) for i in range(0, len(bits), 8))


def huffman(values):
    return pack_bits("".join(default_code(value) for value in values))


def code_row(code, extra, value, stay=True, reversed_=True):
    base = int(code[::-1], 2) if reversed_ else int(code, 2)
    return struct.pack("<BBBhI", len(code), len(code) + extra, 1 if stay else 0, value, base)


DEFAULT_SECTION = struct.pack("<H", 19999)


# ---------------------------------------------------------------- sections 3 to 6 (5.6 to 5.9)
def leads(rows, flags=None):
    """Rows of (lead number, first sample, last sample)."""
    if flags is None:
        same = len({row[1:] for row in rows}) == 1
        flags = (4 | len(rows) << 3) if same else 0
    return bytes([len(rows), flags]) + b"".join(struct.pack("<IIB", first, last, lead) for lead, first, last in rows)


def differences(order, samples):
    if order == 0:
        return list(samples)
    first = samples[:order]
    if order == 1:
        return first + [b - a for a, b in zip(samples, samples[1:])]
    return first + [c - 2 * b + a for a, b, c in zip(samples, samples[1:], samples[2:])]


def raw(values):
    return struct.pack(f"<{len(values)}h", *values)


def signals(coded, step=1000, interval=2000, order=0, bimodal=0, lengths=None):
    lengths = [len(data) for data in coded] if lengths is None else lengths
    head = struct.pack("<HHBB", step, interval, order, bimodal)
    return head + b"".join(struct.pack("<H", n) for n in lengths) + b"".join(coded)


def coded(samples, order=0, code=raw):
    return [code(differences(order, lead)) for lead in samples]


def beats(length_ms, fiducial, complexes, protected=None):
    """Complexes of (type, first, fiducial, last), protected areas of (first, last)."""
    body = struct.pack("<HHH", length_ms, fiducial, len(complexes))
    body += b"".join(struct.pack("<HIII", *row) for row in complexes)
    return body + b"".join(struct.pack("<II", *row) for row in protected or [])


# ---------------------------------------------------------------- what a reader must find
CASES = []


def case(kind, name, data, about, waveforms=None, notes=(), facts=None, error=None, starts=None):
    expected = {"about": about}
    if error:
        expected["error"] = error
    else:
        expected["waveforms"] = [] if waveforms is None else waveforms
        expected["notes"] = [list(note) for note in notes]
        expected["facts"] = facts or {}
    CASES.append((kind, name, bytes(data), expected))


def waveform(named, rate=500, start="0", kind="rhythm"):
    return {"kind": kind, "rate": str(rate), "start": str(start), "leads": [
        {"lead": name, "nanovolts": values[0] if isinstance(values, tuple) else values,
         "missing": values[1] if isinstance(values, tuple) else []} for name, values in named]}


def wave(length, scale=1, shift=0):
    """A small invented beat on a wandering base, whole numbers only."""
    shape = [0, 2, 5, 3, 0, -12, 84, 236, 122, -38, -8, 1, 2, 4, 6, 9, 11, 8, 5, 2]
    return [scale * (shape[(i + shift) % 20] + (i // 7) % 3) for i in range(length)]


LEAD = {"I": 1, "II": 2, "V1": 3, "V2": 4, "V3": 5, "III": 61, "aVF": 64}
THREE = {"I": wave(60), "II": wave(60, 2, 3), "V1": wave(60, -3, 7)}
NV = [(name, [1000 * v for v in values]) for name, values in THREE.items()]
PLAIN = waveform(NV)


def rows_of(named, first=1):
    return [(LEAD[name], first, first + len(values) - 1) for name, values in named.items()]


def plain(order=0, code=raw, **more):
    """The three leads, sections by number."""
    bodies = {1: header(), 3: leads(rows_of(THREE)), 6: signals(coded(THREE.values(), order, code), order=order)}
    if code is huffman:
        bodies[2] = DEFAULT_SECTION
    bodies.update(more.pop("bodies", {}))
    return bodies


def patched(data, at, new):
    """The same bytes with some replaced, checksums as they were."""
    return data[:at] + new + data[at + len(new):]


def resealed(data):
    return seal(data[2:])


def damage(part, piece):
    return ("damage", part, piece)


def departure(part, piece):
    return ("departure", part, piece)


def not_taken(part, piece):
    return ("not taken", part, piece)


# ---------------------------------------------------------------- features
def features():
    for order in range(3):
        for word, code in (("plain", raw), ("huffman", huffman)):
            data, _ = record(plain(order, code))
            case("good", f"{word}-order-{order}", data, f"{word} samples, difference encoding {order}", [PLAIN])
    data, _ = record(plain(1, huffman), version=13)
    case("good", "version-1-3", data, "version 1.3 has no text SCPECG", [PLAIN], facts={"/origin/version": "1.3"})
    bodies = plain(2, huffman)
    bodies[1] = header(tag(0, text("Østergård", "utf-8")))
    data, _ = record(bodies, version=30, rows=list(range(19)))
    case("good", "version-3-0", data, "version 3.0: 19 rows, texts in UTF-8 whatever the language code", [PLAIN],
         facts={"/origin/version": "3.0", "/subject/name/family": "Østergård"})
    data, _ = record(plain(2, huffman), order=[6, 3, 2, 1])
    case("good", "sections-in-another-order", data, "sections may stand in any order", [PLAIN])

    def swap(table):
        table[1], table[6] = table[6], table[1]
    data, _ = record(plain(), change_rows=swap)
    case("good", "rows-in-another-order", data, "rows of section 0 in another order are accepted", [PLAIN])
    data, _ = record(plain(bodies={8: Raw(section(8, b""))}))
    case("good", "section-of-header-only", data, "a section of 16 bytes is an absent one", [PLAIN])
    data, _ = record(plain(bodies={8: report([], status=1)[:-1] + b"\0"}))
    case("good", "no-statements", data, "a report without statements", [PLAIN])
    custom_tables()
    low_compression()
    high_compression()
    texts()
    measurements()
    sections_kept()


def custom_tables():
    # the two tables and the path of values and switches of a worked example made before the crate
    one = [code_row("0", 0, 0), code_row("100", 0, 1), code_row("101", 0, -1), code_row("1100", 0, 2),
           code_row("1101", 0, -2), code_row("1110", 0, 2, stay=False), code_row("1111", 16, 0)]
    two = [code_row("00", 6, 0), code_row("01", 10, 0), code_row("10", 0, 1, stay=False), code_row("11", 16, 0)]
    tables = struct.pack("<HH", 2, len(one)) + b"".join(one) + struct.pack("<H", len(two)) + b"".join(two)
    bits = "0" + "1110" + "00" + bits_of(1, 6) + "00" + bits_of(-2, 6) + "01" + bits_of(40, 10)
    bits += "01" + bits_of(-40, 10) + "01" + bits_of(300, 10) + "10" + "0" + "1110" + "00" + bits_of(0, 6)
    bits += "00" + bits_of(0, 6) + "11" + bits_of(-20000, 16)
    lead_1 = pack_bits(bits)
    assert lead_1.hex() == "7009f2143ec2964e0000ec7800"
    values = [0, 1, -2, 40, -40, 300, 0, 0, 0, -20000]
    lead_2 = pack_bits("100" * 10)  # table 1 is in force again
    named = [("I", [1000 * v for v in values]), ("II", [1000] * 10)]
    bodies = {1: header(), 2: tables, 3: leads([(1, 1, 10), (2, 1, 10)]), 6: signals([lead_1, lead_2])}
    data, _ = record(bodies)
    case("good", "two-tables", data, "own tables, with switches; each lead starts with the first", [waveform(named)])
    direct = struct.pack("<HH", 1, 4) + b"".join(
        code_row(c, 0, v, reversed_=False) for c, v in (("0", 0), ("10", 1), ("110", -1), ("111", 5)))
    path = {0: "0", 1: "10", -1: "110", 5: "111"}
    values = [0, 1, 5, 5, -1, 0, 1, 1]
    bodies = {1: header(), 2: direct, 3: leads([(1, 1, 8)]), 6: signals([pack_bits("".join(path[v] for v in values))])}
    data, _ = record(bodies)
    case("departs", "prefixes-first-bit-first", data, "base codes not reversed",
         [waveform([("I", [1000 * v for v in values])])], [departure("section 2", "first bit first")])
    long = struct.pack("<HH", 1, 2) + code_row("0", 0, 0) + code_row("1" * 20, 12, 100)
    bits = "0" + "1" * 20 + bits_of(-150, 12) + "0" + "1" * 20 + bits_of(2000, 12)
    bodies = {1: header(), 2: long, 3: leads([(1, 1, 4)]), 6: signals([pack_bits(bits)])}
    data, _ = record(bodies)
    case("good", "long-prefix-with-base", data, "a prefix of 20 bits; the base value is added to the bits behind it",
         [waveform([("I", [0, -50_000, 0, 2_100_000])])])
    bits = "1111111110" + bits_of(0, 8) + "1111111111" + bits_of(3, 16) + "1111111110" + bits_of(-1, 8)
    bodies = {1: header(), 2: DEFAULT_SECTION, 3: leads([(1, 1, 3)]), 6: signals([pack_bits(bits)])}
    data, _ = record(bodies)
    case("good", "small-values-through-escapes", data, "a reader accepts a small value sent the long way",
         [waveform([("I", [0, 3000, -1000])])])
    for name, tables, piece in (
            ("no-table", struct.pack("<H", 0), "number of Huffman tables is 0"),
            ("no-prefix-code", struct.pack("<HH", 1, 2) + code_row("1", 0, 0) + code_row("11", 0, 1), "prefixes"),
            ("prefix-of-33-bits", struct.pack("<HHBBBhI", 1, 1, 33, 33, 1, 0, 0), "1 to 32 bits"),
            ("rows-cut", struct.pack("<HH", 1, 90) + code_row("1", 0, 0), "needs 810 more bytes")):
        data, _ = record(plain(0, huffman, bodies={2: tables}))
        case("departs", f"huffman-{name}", data, "section 2 cannot be used: no waveform", [],
             [damage("section 2", piece)])
    half = struct.pack("<HH", 1, 2) + code_row("00", 0, 7) + code_row("01", 0, 9)
    bodies = {1: header(), 2: half, 3: leads([(1, 1, 4)]), 6: signals([pack_bits("00011100")])}
    data, _ = record(bodies)
    case("departs", "huffman-code-without-match", data, "bits that no code begins: earlier samples are kept",
         [waveform([("I", ([7000, 9000, 0, 0], [[2, 4]]))])], [damage("section 6", "lead I: no code of the table")])


def low_compression():
    groups = [({"I": wave(40), "II": wave(40, 2)}, 1), ({"V1": wave(30, -2), "V2": wave(30, 3)}, 41)]
    rows = [row for named, first in groups for row in rows_of(named, first)]
    every = [lead for named, _ in groups for lead in named.values()]
    bodies = {1: header(), 2: DEFAULT_SECTION, 3: leads(rows), 6: signals(coded(every, 2, huffman), 2500, 4000, 2)}
    data, _ = record(bodies)
    found = [waveform([(n, [2500 * v for v in s]) for n, s in named.items()], 250, start)
             for (named, _), start in zip(groups, ("0", "0.16"))]
    case("good", "leads-one-group-after-the-other", data, "leads keep their places on one time axis", found)
    bodies = {1: header(), 3: leads([(2, 501, 560)]), 6: signals(coded([THREE["II"]]), 4880)}
    data, _ = record(bodies)
    case("good", "late-start", data, "a first sample other than 1",
         [waveform([("II", [4880 * v for v in THREE["II"]])], start="1")])
    bodies = {1: header(), 3: leads([(1, 1, 20)]), 6: signals(coded([wave(20)]), 65535, 4167)}
    data, _ = record(bodies)
    case("good", "odd-interval", data, "1000000 / 4167 is no whole number of samples per second",
         [waveform([("I", [65535 * v for v in wave(20)])], "1000000/4167")])
    bodies = {1: header(), 3: leads([(1, 1, 20), (1, 1, 20)]), 6: signals(coded([wave(20), wave(20, 2)]))}
    data, _ = record(bodies)
    case("good", "lead-twice", data, "a lead that is there twice is kept twice",
         [waveform([("I", [1000 * v for v in wave(20)]), ("I", [2000 * v for v in wave(20)])])])
    names = [(24, "Frank I"), (45, "lead 45"), (72, "Nehb J"), (100, "CC2"), (200, "SCP-ECG lead 200")]
    bodies = {1: header(), 3: leads([(number, 1, 20) for number, _ in names]), 6: signals(coded([wave(20)] * 5))}
    data, _ = record(bodies)
    case("good", "lead-numbers", data, "numbers without a name, and those of the maker, are shown as numbers",
         [waveform([(name, [1000 * v for v in wave(20)]) for _, name in names])])


BEAT = [0, 3, 9, 20, 52, 118, 60, -44, -12, 4, 8, 12, 9, 5, 2, 1]  # 16 samples, the reference point is number 6


def residual(original, complexes, step, beat_step, fiducial=6, beat=None):
    """The original in nanovolts less the beat in every zone of type 0, as counts of `step`."""
    left = list(original)
    for kind, first, reference, last in complexes:
        for number in range(first, last + 1) if kind == 0 and first else ():
            index = number - reference + fiducial - 1
            if 0 <= index < len(beat or BEAT) and 1 <= number <= len(left):
                left[number - 1] -= (beat or BEAT)[index] * beat_step
    assert all(value % step == 0 for value in left)
    return [value // step for value in left]


def marks_of(complexes, first=1):
    return {f"/waveforms/0/marks/{i}": {
        "sample": reference - first, "kind": "beat",
        "codes": [{"system": "SCP-ECG beat type", "value": str(kind)}]}
        for i, (kind, _, reference, _) in enumerate(complexes)}


def subtracted(complexes, protected=None, code=huffman, step=500, beat_step=2500, flags=0x01 | 0x04 | 2 << 3,
               drop=(), beat_lead_2=None, beat_interval=2000, original=None):
    base = {"I": [5000 * v for v in wave(60)], "II": [10000 * v for v in wave(60, 1, 5)]} if original is None else original
    beat_2 = BEAT if beat_lead_2 is None else beat_lead_2
    rest = [residual(base["I"], complexes, step, beat_step if flags & 1 else 0),
            residual(base["II"], complexes, step, beat_step if flags & 1 else 0, beat=beat_2)]
    bodies = {1: header(), 3: leads(rows_of(base), flags), 4: beats(32, 6, complexes, protected),
              5: signals(coded([BEAT, beat_2], 1, code), beat_step, beat_interval, 1),
              6: signals(coded(rest, 2, code), step, 2000, 2)}
    if code is huffman:
        bodies[2] = DEFAULT_SECTION
    for number in drop:
        del bodies[number]
    beat = waveform([("I", [beat_step * v for v in BEAT]), ("II", [beat_step * v for v in beat_2])],
                    kind="representative_beat")
    return bodies, [waveform(list(base.items())), beat]


def high_compression():
    complexes = [(0, 3, 8, 18), (0, 23, 28, 38), (1, 0, 48, 0)]
    for word, code in (("huffman", huffman), ("plain", raw)):
        bodies, found = subtracted(complexes, code=code)
        data, _ = record(bodies)
        case("good", f"reference-beat-{word}", data, "the beat is added in nanovolts: the scales differ", found,
             facts=marks_of(complexes))
    filled = [(0, 3, 8, 18), (2, 40, 45, 55)]
    bodies, found = subtracted(filled)
    data, _ = record(bodies)
    case("good", "zone-of-another-type", data, "nothing is added to a beat of type other than 0", found)
    wide = [(0, 1, 8, 30), (0, 44, 58, 99)]
    bodies, found = subtracted(wide)
    data, _ = record(bodies)
    case("good", "zones-wider-than-beat-and-record", data, "only what the beat and the record have is added", found)
    overlapping = [(0, 3, 8, 18), (0, 12, 20, 28)]
    bodies, found = subtracted(overlapping)
    data, _ = record(bodies)
    case("good", "zones-overlapping", data, "where zones overlap the beat is added twice", found)
    bodies, found = subtracted(complexes, flags=0x04 | 2 << 3)
    data, _ = record(bodies)
    case("good", "reference-beat-for-information", data, "section 5 without the flag: nothing is added", found)
    for number in (4, 5):
        bodies, found = subtracted(complexes, drop=[number], code=raw)
        data, _ = record(bodies)
        case("departs", f"residual-without-section-{number}", data,
             "a residual without its reference beat is never shown as an ECG", found[1:] if number == 4 else [],
             [damage("section 6", f"section {number} is not there")])
    bodies, found = subtracted(complexes, drop=[4], flags=0x04 | 2 << 3)
    data, _ = record(bodies)
    case("departs", "reference-beat-of-unknown-length", data, "a coded beat whose length section 4 would give",
         found[:1], [not_taken("section 5", "its length would stand in section 4")])
    bodies, found = subtracted(complexes, beat_interval=4000)
    bodies[4] = beats(64, 6, complexes)
    data, _ = record(bodies)
    beat = dict(found[1], rate="250")
    case("departs", "reference-beat-of-another-rate", data, "a beat of another rate cannot be added", [beat],
         [damage("section 6", "another sampling interval")])
    bodies, found = subtracted(complexes)
    bodies[4] = bodies[4][:6 + 14 + 7]
    data, _ = record(bodies)
    case("departs", "complexes-cut", data, "fewer complexes than counted: the residual cannot be restored", found[1:],
         [damage("section 4", "3 QRS complexes are counted, 1 are there"), damage("section 6", "incomplete")])
    bodies, found = subtracted(complexes)
    bodies[4] = bodies[4][:2] + b"\0\0" + bodies[4][4:]
    data, _ = record(bodies)
    case("departs", "reference-beat-nowhere", data, "without the fiducial the beat cannot be placed", found[1:],
         [damage("section 6", "does not say where the reference beat lies")])
    bodies, found = subtracted(complexes)
    data, starts = record(bodies)
    at = starts[3] + 17
    case("departs", "subtraction-flag-lost", resealed(patched(data, at, bytes([data[at] & 0xFE]))),
         "one altered bit of section 3 must not make a residual an ECG", found[1:],
         [damage("section 3", "the section's checksum"), damage("section 6", "whether a reference beat was subtracted")])
    bimodal()


def bimodal():
    """Outside the protected areas the samples are flat over each stretch, so that every rule of expansion agrees."""
    complexes = [(0, 9, 14, 24), (0, 37, 42, 52)]
    protected = [(9, 24), (37, 52)]
    flat = []
    for number in range(1, 61):
        inside = any(first <= number <= last for first, last in protected)
        flat.append(5000 * (wave(60)[number - 1] if inside else 4))
    base = {"I": flat, "II": [2 * v for v in flat]}
    inside = lambda number: any(first <= number <= last for first, last in protected)

    def decimated(samples):
        kept, number = [], 1
        while number <= 60:
            kept.append(samples[number - 1])
            number += 1 if inside(number) else 4
        return kept

    def parts(interval, areas, code=huffman, with_beat=True):
        bodies, found = subtracted(complexes, areas, code, original=base)
        rest = [decimated(residual(base[name], complexes, 500, 2500)) for name in base]
        bodies[6] = signals(coded(rest, 1, code), 500, interval, 1, 1)
        return bodies, found

    rule = not_taken("section 6", "those stretches are not exact")
    bodies, found = parts(8000, protected)
    data, _ = record(bodies)
    case("good", "bimodal-flat", data, "decimated outside the protected areas, section 6 gives the longer interval",
         found, [rule])
    bodies, found = parts(8000, protected, raw)
    data, _ = record(bodies)
    case("good", "bimodal-flat-plain", data, "the same without Huffman codes", found, [rule])
    bodies, found = parts(2000, protected)
    data, _ = record(bodies)
    case("departs", "bimodal-flat-full-interval", data, "section 6 gives the full rate: factor 4 is supposed", found,
         [departure("section 6", "4 samples per stored value are supposed"), rule])
    bodies, found = parts(8000, [protected[1], protected[0]])
    data, _ = record(bodies)
    case("departs", "bimodal-areas-not-in-order", data, "protected areas not in order", found,
         [departure("section 6", "not in order"), rule])
    bodies, found = parts(8000, protected)
    bodies[4] = beats(32, 6, complexes, [protected[0], (0, 0)])
    data, _ = record(bodies)
    gone = waveform([(name, ([0] * 60, [[0, 60]])) for name in base])
    case("departs", "bimodal-area-lost", data, "more values are stored than the areas leave room for", [gone, found[1]],
         [rule] + [damage("section 6", f"lead {name}: it holds more samples") for name in base])
    # nothing protected: the whole lead is decimated
    bodies, found = subtracted([], None, huffman, original={"I": [20000] * 60, "II": [-35000] * 60})
    bodies[6] = signals(coded([[40] * 15, [-70] * 15], 1, huffman), 500, 8000, 1, 1)
    data, _ = record(bodies)
    case("departs", "bimodal-without-areas", data, "the whole lead is decimated", found,
         [departure("section 6", "without protected areas"), rule])
    bodies, found = parts(8000, protected, raw)
    for number in (4, 5):
        del bodies[number]
    bodies[3] = leads(rows_of(base), 0x04 | 2 << 3)
    data, _ = record(bodies)
    case("departs", "bimodal-without-section-5", data, "the interval cannot be told", [],
         [damage("section 6", "the sampling interval cannot be told")])


# ---------------------------------------------------------------- texts and header
def texts():
    full = [tag(0, text("Nilsen")), tag(1, text("Maren")), tag(3, text("Quintanel")), tag(4, struct.pack("<HB", 54, 1)),
            tag(5, struct.pack("<HBB", 1971, 6, 19)), tag(6, struct.pack("<HB", 168, 1)),
            tag(7, struct.pack("<HB", 63, 1)), tag(8, b"\x02"), tag(9, b"\x03"), tag(10, b"\0\x01\x02" + text("digitoxin")),
            tag(10, b"\0\0\0" + text("Cordalin 5 mg")), tag(11, struct.pack("<H", 124)), tag(12, struct.pack("<H", 78)),
            tag(13, text("before surgery")), tag(13, text("palpitations")),
            tag(15, device(model=b"READR", strings=("FW-R-4", "5.0", "", "Fenwright Instruments"), revision=b"7.1")),
            tag(16, text("Larkmoor Day Clinic")), tag(17, text("Fenmarch Reading Centre")), tag(18, text("Cardiography")),
            tag(19, text("Over-reading")), tag(20, text("Dr. H. Vennel")), tag(21, text("Dr. P. Ashgrove")),
            tag(22, text("R. Quill")), tag(23, text("Room 3")), tag(24, b"\x04"), tag(27, struct.pack("<H", 5)),
            tag(28, struct.pack("<H", 150)), tag(29, b"\x2a"), tag(30, text("lay still")), tag(30, text("second attempt")),
            tag(31, text("17")), tag(32, b"\0\x19"), tag(32, b"\0\x2a\x50"), tag(33, b"\x02\0"),
            tag(34, struct.pack("<hH", -210, 7) + text("Larkmoor time")), tag(35, text("appendectomy 1988")),
            tag(61, b"\x01\x02\x03"), tag(204, text("of the maker"))]
    data, _ = record(plain(bodies={1: header(*full)}))
    code = lambda system, value: {"system": system, "value": value}
    case("good", "every-tag", data, "every tag of section 1", [PLAIN], facts={
        "/subject/identifiers": [{"value": "LM-204417"}],
        "/subject/name": {"family": "Nilsen", "second_family": "Quintanel", "given": "Maren"},
        "/subject/age": {"value": "54", "unit": "a"}, "/subject/birth_date": "1971-06-19",
        "/subject/height": {"value": "168", "unit": "cm"}, "/subject/weight": {"value": "63", "unit": "kg"},
        "/subject/sex": "female", "/subject/race": {"codes": [code("SCP-ECG race", "3")]},
        "/subject/medications": [{"text": "digitoxin", "codes": [code("SCP-ECG drug", "0/1/2")]},
                                 {"text": "Cordalin 5 mg"}],
        "/subject/systolic": {"value": "124", "unit": "mm[Hg]"}, "/subject/diastolic": {"value": "78", "unit": "mm[Hg]"},
        "/acquisition/indications": [{"text": "before surgery"}, {"text": "palpitations"}],
        "/acquisition/recorder": {"manufacturer": "Fenwright Instruments", "model": "FW12", "serial": "FW-0071",
                                  "software": "2.4", "id": "2"},
        "/acquisition/analyser": {"manufacturer": "Fenwright Instruments", "model": "READR", "serial": "FW-R-4",
                                  "software": "7.1", "id": "2"},
        "/acquisition/mains_hz": "50", "/acquisition/institution": "Larkmoor Day Clinic",
        "/acquisition/analysing_institution": "Fenmarch Reading Centre", "/acquisition/department": "Cardiography",
        "/acquisition/analysing_department": "Over-reading", "/acquisition/referring/0/name/text": "Dr. H. Vennel",
        "/acquisition/confirming/0/name/text": "Dr. P. Ashgrove", "/acquisition/operators/0/name/text": "R. Quill",
        "/acquisition/room": "Room 3", "/acquisition/urgency": {"codes": [code("SCP-ECG stat code", "4")]},
        "/acquisition/start": "2026-03-02T09:14:05-03:30", "/acquisition/filters/high_pass_hz": "0.05",
        "/acquisition/filters/low_pass_hz": "150", "/acquisition/filters/notch_hz": ["50"],
        "/acquisition/filters/described": ["baseline filter"], "/acquisition/remarks": ["lay still", "second attempt"],
        "/acquisition/sequence_number": "17", "/subject/history": [
            {"codes": [code("SCP-ECG medical history", "0/25")]}, {"codes": [code("SCP-ECG medical history", "0/42")]},
            {"codes": [code("SCP-ECG medical history", "0/80")]}, {"text": "appendectomy 1988"}],
        "/acquisition/placement/codes/0/value": "2",
        "/extras": [
            {"format": "scp", "address": "section 1 tag 15 mains code", "value": {"text": "1"}},
            {"format": "scp", "address": "section 1 tag 15 device system software", "value": {"text": "5.0"}},
            {"format": "scp", "address": "section 1 tag 29 reserved bits", "value": {"text": "32"}},
            {"format": "scp", "address": "section 1 tag 34 index", "value": {"text": "7"}},
            {"format": "scp", "address": "section 1 tag 34 text", "value": {"text": "Larkmoor time"}},
            {"format": "scp", "address": "section 1 tag 61", "value": {"bytes": [1, 2, 3]}},
            {"format": "scp", "address": "section 1 tag 204", "value": {"bytes": list(text("of the maker"))}},
            {"format": "scp", "address": "section 1 tag 14 device SCP software", "value": {"text": "1.1"}}]})
    for name, language, encoding, family in (
            ("latin-1", 0x01, "latin-1", "Østergård"), ("latin-2", 0x03, "iso8859-2", "Wałęsik"),
            ("utf-8", 0x07, "utf-8", "Østergård Ελ"), ("cyrillic", 0x13, "iso8859-5", "Иванченко"),
            ("greek", 0x23, "iso8859-7", "Αννα"), ("latin-9", 0x3B, "iso8859-15", "Œuvrard")):
        fields = [tag(0, text(family, encoding))]  # before tag 14, which says how to read it
        data, _ = record(plain(bodies={1: header(*fields, device_value=device(language))}))
        case("good", f"texts-{name}", data, f"language code {language:#04x}", [PLAIN],
             facts={"/subject/name/family": family})
    for name, raw_text, family in (("utf-8", "Østergård".encode(), "Østergård"),
                                   ("latin-1", "Østergård".encode("latin-1"), "Østergård")):
        data, _ = record(plain(bodies={1: header(tag(0, raw_text + b"\0"))}))
        case("departs", f"ascii-said-{name}-found", data, "ASCII is said, other bytes are there", [PLAIN],
             [departure("section 1", "not in the stated set")], {"/subject/name/family": family})
    header_case("text-without-zero", tag(0, b"Nilsen"), [departure("section 1", "does not end with a zero")],
                {"/subject/name/family": "Nilsen"})
    header_case("text-with-bytes-behind", tag(0, b"Nilsen\0xyz"), [departure("section 1", "3 bytes after")],
                {"/subject/name/family": "Nilsen"})
    header_case("text-padded", tag(0, b"Nilsen   \r\n\0"), [], {"/subject/name/family": "Nilsen"}, kind="good")
    header_case("tag-twice", tag(0, text("Nilsen")) + tag(0, text("Nielsen")), [departure("section 1", "second time")],
                {"/subject/name/family": "Nilsen", "/extras/0/address": "section 1 tag 0"})
    header_case("age-of-two-bytes", tag(4, b"\x36\0"), [departure("section 1", "tag 4 is kept as bytes")],
                {"/extras/0": {"format": "scp", "address": "section 1 tag 4", "value": {"bytes": [0x36, 0]}}})
    header_case("birth-year-of-two-digits", tag(5, struct.pack("<HBB", 71, 6, 19)),
                [departure("section 1", "71-6-19 is no date")], {"/extras/0/address": "section 1 tag 5"})
    header_case("birth-month-13", tag(5, struct.pack("<HBB", 1971, 13, 19)),
                [departure("section 1", "1971-13-19 is no date")], {"/extras/0/address": "section 1 tag 5"})
    header_case("birth-date-zero", tag(5, bytes(4)), [], {}, kind="good")
    header_case("age-against-birth-date", tag(4, struct.pack("<HB", 30, 1)) + tag(5, struct.pack("<HBB", 1971, 6, 19)), [],
                {"/subject/age/value": "30", "/subject/birth_date": "1971-06-19"}, kind="good")
    header_case("tag-running-out", b"", [damage("section 1", "tag 40 is cut")], {}, end=tag(40, b"1234")[:-2])
    header_case("end-tag-missing", b"", [departure("section 1", "closing tag 255 is missing")], {}, end=b"")
    header_case("end-tag-with-length", b"", [departure("section 1", "closing tag 255 has length 2")], {},
                end=b"\xff\x02\0\0\0")
    header_case("device-of-20-bytes", b"", [departure("section 1", "20 bytes, the standard has 41")],
                {"/acquisition/recorder/model": "FW12", "/acquisition/mains_hz": "50"}, device_value=device()[:20])
    header_case("date-and-time-zero", b"", [], {}, kind="good", date=(0, 0, 0), time=(0, 0, 0))
    header_case("hour-24", b"", [departure("section 1", "24:0:0 is no time of day")],
                {"/acquisition/start": "2026-03-02"}, time=(24, 0, 0))
    bodies = plain(bodies={1: tag(2, text("LM-204417")) + b"\xff\0\0"})
    data, _ = record(bodies)
    case("departs", "required-tags-missing", data, "tags 14, 25 and 26 are required", [PLAIN],
         [departure("section 1", "required tags are missing: 14, 25, 26")])
    bodies = plain()
    del bodies[1]
    data, _ = record(bodies)
    case("departs", "no-section-1", data, "the patient is not known", [PLAIN], [damage(None, "section 1 is not there")])


def header_case(name, fields, notes, facts, kind="departs", **more):
    data, _ = record(plain(bodies={1: header(fields, **more)}))
    case(kind, name, data, name.replace("-", " "), [PLAIN], notes, facts)


# ---------------------------------------------------------------- sections 7 to 11 (5.10 to 5.14)
def report(lines, status=1, date=(2026, 3, 2), time=(15, 40, 0), count=None):
    body = bytes([status]) + struct.pack("<HBB", *date) + bytes(time) + bytes([len(lines) if count is None else count])
    for number, line in enumerate(lines, 1):
        body += struct.pack("<BH", number, len(line)) + line
    return body


def statement(text_, status, codes=None):
    found = {"text": text_, "status": status, "at": "2026-03-02T15:40:00"}
    if codes:
        found["codes"] = [{"system": system, "value": value} for system, value in codes]
    return found


def measurement(kind, value, unit, scope="global", formula=None):
    found = {"kind": kind, "value": str(value), "unit": unit, "scope": scope}
    if formula:
        found["formula"] = formula
    return found


def block_facts(scope, times, axes):
    names = ["P onset", "P offset", "QRS onset", "QRS offset", "T offset"]
    found = [measurement({"other": name}, value, "ms", scope) for name, value in zip(names, times) if value is not None]
    ends = [("p_duration", 0, 1), ("pr_interval", 0, 2), ("qrs_duration", 2, 3), ("qt_interval", 2, 4)]
    found += [measurement(kind, times[b] - times[a], "ms", scope) for kind, a, b in ends
              if times[a] is not None and times[b] is not None]
    return found + [measurement(kind, value, "deg", scope) for kind, value in zip(("p_axis", "qrs_axis", "t_axis"), axes)
                    if value is not None]


def block(times, axes):
    return struct.pack("<5H3h", *(29999 if t is None else t for t in times), *(999 if a is None else a for a in axes))


def measurements():
    times, axes = [40, 140, 200, 292, 590], [55, -30, 48]
    section_7 = bytes([1, 2]) + struct.pack("<HH", 820, 29999) + block(times, axes)
    section_7 += struct.pack("<HhHh", 50, 1200, 101, -800)
    section_7 += struct.pack("<BBHH", 2, 1, 1, 500) + struct.pack("<BBHH", 0, 0, 0, 0)
    section_7 += struct.pack("<H", 2) + b"\0\1" + struct.pack("<HHHB", 73, 29999, 431, 1)
    section_7 += struct.pack("<H", 8) + b"\x00\x05\x01\x28\0\x1e\0\xff"
    data, _ = record(plain(bodies={7: section_7}))
    spike = lambda pairs: [{"system": f"SCP-ECG spike {name}", "value": str(value)} for name, value in pairs]
    case("good", "global-measurements", data, "section 7 in full", [PLAIN], facts={
        "/measurements": [measurement("rr_interval", 820, "ms")] + block_facts("global", times, axes) + [
            measurement("heart_rate", 73, "/min"), measurement("qtc_interval", 431, "ms", formula="Bazett")],
        "/waveforms/0/marks": [
            {"sample": 25, "kind": "pacing_pulse",
             "codes": spike([("amplitude, uV", 1200), ("type", 2), ("source", 1), ("QRS number", 1), ("width, us", 500)])},
            {"sample": 51, "kind": "pacing_pulse", "codes": spike([("time, ms", 101), ("amplitude, uV", -800)])}],
        "/extras": [{"format": "scp", "address": "section 1 tag 14 device SCP software", "value": {"text": "1.1"}},
                    {"format": "scp", "address": "section 7 QRS types", "value": {"bytes": [0, 1]}},
                    {"format": "scp", "address": "section 7 tag 0", "value": {"bytes": [1, 0x28, 0, 0x1E, 0]}}]})
    two = [([None, None, 200, 292, 590], [None, -30, 48]), ([30, 120, 190, 300, 600], [10, 20, 30])]
    section_7 = bytes([2, 0]) + struct.pack("<HH", 0, 0) + b"".join(block(*own) for own in two)
    data, _ = record(plain(bodies={7: section_7}))
    case("good", "blocks-of-classes", data, "a record of version 1 stops after the blocks", [PLAIN], facts={
        "/measurements": block_facts({"beat_class": 0}, *two[0]) + block_facts({"beat_class": 1}, *two[1])})
    data, _ = record(plain(bodies={4: beats(0, 0, [(0, 0, 8, 0), (1, 0, 28, 0)]), 7: section_7}))
    case("good", "blocks-of-beats", data, "as many blocks as QRS complexes", [PLAIN], facts={
        "/measurements": block_facts({"beat": 0}, *two[0]) + block_facts({"beat": 1}, *two[1])})
    data, _ = record(plain(bodies={7: bytes([9, 0]) + section_7[2:]}))
    case("departs", "blocks-counted-too-many", data, "the blocks that fit are kept", [PLAIN],
         [departure("section 7", "9 blocks and 0 spikes are counted, 2 and 0 are there")], {
        "/measurements": block_facts({"beat_class": 0}, *two[0]) + block_facts({"beat_class": 1}, *two[1])})
    lines = [text("Sinus rhythm"), text("Left axis deviation\r\nsee earlier recording")]
    for status, word in ((0, "unconfirmed"), (1, "confirmed"), (2, "over_read")):
        data, _ = record(plain(bodies={8: report(lines, status)}))
        case("good", f"statements-{word.replace('_', '-')}", data, "section 8", [PLAIN], facts={
            "/statements": [statement("Sinus rhythm", word),
                            statement("Left axis deviation\r\nsee earlier recording", word)]})
    data, _ = record(plain(bodies={8: report(lines, 1, count=5)}))
    case("departs", "statements-counted-too-many", data, "the statements that fit are kept", [PLAIN],
         [departure("section 8", "2 statements are read")], {"/statements/1/status": "confirmed"})
    data, _ = record(plain(bodies={8: report(lines, 7)}))
    case("departs", "statements-of-unknown-state", data, "a confirmed byte that means nothing", [PLAIN],
         [departure("section 8", "7 says neither")], {"/statements/0": {"text": "Sinus rhythm", "at": "2026-03-02T15:40:00"}})
    data, _ = record(plain(bodies={8: report(lines, 1, date=(2026, 2, 30))}))
    case("departs", "report-of-no-date", data, "the 30th of February", [PLAIN],
         [departure("section 8", "none of the calendar")], {"/statements/0": {"text": "Sinus rhythm", "status": "confirmed"}})
    coded_lines = [b"\x01" + text("SR"), b"\x01" + text("LAFB") + text("1AVB"), b"\x02" + text("compare"), b"\x03" + text("1 AND 2")]
    data, _ = record(plain(bodies={8: report(lines[:1], 0), 11: report(coded_lines, 2)}))
    found = [statement("Sinus rhythm", "unconfirmed"), statement("SR", "over_read", [("SCP-ECG", "SR")]),
             statement("LAFB 1AVB", "over_read", [("SCP-ECG", "LAFB"), ("SCP-ECG", "1AVB")]),
             statement("compare", "over_read", [("SCP-ECG statement type", "2")]),
             statement("1 AND 2", "over_read", [("SCP-ECG statement type", "3")])]
    case("good", "statement-codes", data, "section 11 with its own state", [PLAIN], facts={"/statements": found})
    short = report([b"\x01" + text("NORM")], 1)
    short = short.replace(struct.pack("<H", 6), struct.pack("<H", 5))
    data, _ = record(plain(bodies={11: short}))
    case("departs", "length-without-type-byte", data, "lengths one short", [PLAIN],
         [departure("section 11", "does not count its type byte")],
         {"/statements": [statement("NORM", "confirmed", [("SCP-ECG", "NORM")])]})
    values = [110, 29999, 92, 19999, 29998] + [29999] * 5 + [1250, -310]
    section_10 = struct.pack("<HH", 2, 515) + struct.pack("<HH", 2, 24) + struct.pack("<12h", *values)
    section_10 += struct.pack("<HH", 3, 4) + struct.pack("<2h", 100, 158)
    data, _ = record(plain(bodies={10: section_10}))
    per_lead = [measurement("p_duration", 110, "ms", {"lead": "II"}), measurement("qrs_duration", 92, "ms", {"lead": "II"}),
                measurement("r_amplitude", 1250, "uV", {"lead": "II"}), measurement("s_amplitude", -310, "uV", {"lead": "II"}),
                measurement("p_duration", 100, "ms", {"lead": "V1"}), measurement("pr_interval", 158, "ms", {"lead": "V1"})]
    case("good", "measurements-of-leads", data, "section 10", [PLAIN], facts={
        "/measurements": per_lead,
        "/extras/1": {"format": "scp", "address": "section 10 manufacturer number", "value": {"text": "515"}},
        "/extras/2": {"format": "scp", "address": "section 10 lead 2 without value", "value": {"text": "4=19999 5=29998"}}})
    data, _ = record(plain(bodies={10: struct.pack("<H", 7) + section_10[2:]}))
    case("departs", "leads-counted-too-many", data, "the leads that fit are kept", [PLAIN],
         [departure("section 10", "read as far as it goes")], {"/measurements": per_lead})


def sections_kept():
    kept = {9: b"free text of the maker", 12: b"\x01\x02", 18: b"\x09" * 4, 130: bytes(range(20))}
    data, _ = record(plain(bodies=kept))
    case("good", "opaque-sections", data, "sections 9, 12 to 18 and those of the maker are kept as bytes", [PLAIN],
         [not_taken(f"section {n}", f"{len(body)} bytes are kept") for n, body in kept.items()],
         {f"/extras/{i}": {"format": "scp", "address": f"section {n}", "value": {"bytes": list(body)}}
          for i, (n, body) in enumerate(kept.items(), 1)})


# ---------------------------------------------------------------- damage and departures of the frame
def frames():
    data, starts = record(plain(2, huffman))
    case("departs", "record-checksum-wrong", patched(data, 0, b"\x12\x34"), "read on and say so", [PLAIN],
         [damage(None, "the record's checksum is 0x3412")])
    case("departs", "record-checksum-zero", patched(data, 0, b"\0\0"), "read on and say so", [PLAIN],
         [damage(None, "the record's checksum is 0x0000")])
    for number in (0, 1, 3, 6):
        at = starts[number] if number else 6
        case("departs", f"section-{number}-checksum-wrong", resealed(patched(data, at, b"\xAA\x55")), "read and say so",
             [PLAIN], [damage(f"section {number}", "the section's checksum is 0x55aa")])
    unverified = resealed(patched(data, starts[6], b"\0\0"))
    case("departs", "section-6-checksum-zero", unverified, "the waveform is unverified", [PLAIN],
         [damage("section 6", "the waveform is unverified")])
    data, starts = record(plain())
    cut_at = starts[6] + 16 + 6 + 6 + 120 + 50
    named = [NV[0], (NV[1][0], (NV[1][1][:25] + [0] * 35, [[25, 60]])), (NV[2][0], ([0] * 60, [[0, 60]]))]
    case("departs", "cut-in-a-lead", data[:cut_at], "whole leads are kept, the cut and the missing one are marked",
         [waveform(named)], [damage(None, "the record is cut"), damage("section 6", "the section is cut"),
                             damage("section 6", "lead II: the data ends"), damage("section 6", "lead V1: the data ends")])
    case("departs", "cut-before-the-samples", data[:starts[6] + 10], "a record without its rhythm", [],
         [damage(None, "the record is cut"), damage("section 6", "no header of it"),
          damage(None, "section 6 is not there")])
    case("departs", "bytes-behind", data + b"appended", "ignored, the number is noted", [PLAIN],
         [departure(None, "8 bytes follow the record")])
    rows(starts)
    samples()


def changed_row(number, change):
    def apply(table):
        row = next(row for row in table if row[0] == number)
        change(row)
    return apply


def rows(starts):
    def longer(row):
        row[1] += 10
    statements = plain(bodies={8: report([text("Sinus rhythm")])})
    data, _ = record(statements, change_rows=changed_row(8, longer))
    case("departs", "row-longer-than-section", data, "the smaller length is taken", [PLAIN],
         [departure("section 8", "the smaller is taken")], {"/statements/0/text": "Sinus rhythm"})
    for name, step in (("row-counted-from-zero", -1), ("row-counted-from-section-0", -6)):
        def shift(table):
            for row in table[1:]:
                row[2] += step if row[2] else 0
        data, _ = record(plain(), change_rows=shift)
        case("departs", name, data, "the header is found all the same", [PLAIN],
             [departure(f"section {n}", "section 0 points to byte") for n in (1, 3, 6)])
    data, _ = record(plain(), rows=[0, 1, 2, 3, 4, 5, 6])
    case("departs", "seven-rows", data, "fewer rows than the standard has", [PLAIN], [departure("section 0", "7 rows")])

    def away(row):
        row[2] = 99999
    data, _ = record(statements, change_rows=changed_row(8, away))
    case("departs", "row-outside-the-file", data, "the section is not read", [PLAIN],
         [damage("section 8", "there is no header of it at byte 99999")])
    def nowhere(row):
        row[1:] = [0, 0]
    data, _ = record(plain(2, huffman), change_rows=changed_row(2, away))
    case("departs", "tables-not-found", data, "codes without their tables are no samples", [],
         [damage("section 2", "there is no header of it"), damage("section 6", "section 2, which says how it is coded")])
    data, _ = record(plain(2, huffman), change_rows=changed_row(2, nowhere))
    gone = waveform([(name, ([0] * 60, [[0, 60]])) for name in THREE])
    case("departs", "tables-not-pointed-to", data, "codes without their tables are no samples", [gone],
         [damage("section 6", f"lead {name}: its bytes do not fit") for name in THREE])
    inner = section(8, report([text("not to be read")]))
    data, at = record(plain(bodies={9: b"0123456789" + inner}))

    def inside(table):
        table[8] = [8, len(inner), at[9] + 16 + 10 + 1]
    data, _ = record(plain(bodies={9: b"0123456789" + inner}), change_rows=inside)
    case("departs", "section-within-another", data, "of two overlapping sections the later is not read", [PLAIN],
         [damage("section 8", "overlaps"), not_taken("section 9", "are kept")])
    data, _ = record(statements, pad=False, order=[8, 1, 3, 6])
    assert len(section(8, statements[8], pad=False)) % 2
    case("good", "odd-section", data, "a section of odd length is accepted", [PLAIN],
         facts={"/statements/0/text": "Sinus rhythm"})
    data, _ = record(plain())
    no_text = patched(data, 16, bytes(6))
    own = no_text[8:6 + 136]
    case("departs", "version-2-without-text", resealed(patched(no_text, 6, struct.pack("<H", crc(own)))),
         "version 2 has the text SCPECG", [PLAIN], [departure("section 0", "SCPECG is missing")])


def samples():
    bodies = plain()
    bodies[6] = signals(coded(THREE.values()), step=0)
    data, _ = record(bodies)
    unscaled = waveform([(name, [1_000_000_000 * v for v in values]) for name, values in THREE.items()])
    case("departs", "scale-zero", data, "an unknown scale is never supposed", [unscaled],
         [departure("section 6", "the scale is not known")], {"/waveforms/0/signals/0/unit": "uncalibrated"})
    bodies[6] = signals(coded(THREE.values()), interval=0)
    data, _ = record(bodies)
    case("departs", "interval-zero", data, "no waveform without a time axis", [], [damage("section 6", "interval is 0")])
    bodies[6] = signals(coded(THREE.values()), order=3)
    data, _ = record(bodies)
    case("departs", "encoding-3", data, "an encoding that does not exist", [], [damage("section 6", "encoding 3")])
    bodies[6] = signals(coded(THREE.values()), lengths=[60, 60, 60])
    data, _ = record(bodies)
    case("departs", "lengths-count-samples", data, "plain lengths in samples", [PLAIN],
         [departure("section 6", "count samples")])
    bodies = plain(1, huffman)
    three = coded(THREE.values(), 1, huffman)
    bodies[6] = signals([three[0] + b"\x55\x55", three[1], three[2]], order=1)
    data, _ = record(bodies)
    case("good", "data-longer-than-samples", data, "decoding stops at the count", [PLAIN])
    kept = 0
    while len(pack_bits("".join(map(default_code, differences(1, THREE["II"])[:kept])))) * 8 < 8 * 20:
        kept += 1
    exact = "".join(map(default_code, differences(1, THREE["II"])))[:160]
    kept = max(n for n in range(61) if len("".join(map(default_code, differences(1, THREE["II"])[:n]))) <= 160)
    bodies[6] = signals([three[0], pack_bits(exact), three[2]], order=1)
    data, _ = record(bodies)
    named = [NV[0], (NV[1][0], (NV[1][1][:kept] + [0] * (60 - kept), [[kept, 60]])), NV[2]]
    case("departs", "data-shorter-than-samples", data, "the missing tail is marked", [waveform(named)],
         [damage("section 6", f"the last {60 - kept} samples are missing")])
    no_rhythm = {1: header(), 8: report([text("Sinus rhythm")])}
    data, _ = record(no_rhythm)
    case("departs", "report-only", data, "neither section 3 nor 6", [], [departure(None, "a report without waveforms")],
         {"/statements/0/text": "Sinus rhythm"})
    for name, body, piece in (("no-lead", b"\0\x04", "names no lead"),
                              ("first-after-last", leads([(1, 9, 8)]), "covers samples 9 to 8"),
                              ("first-zero", leads([(1, 0, 8)]), "covers samples 0 to 8"),
                              ("leads-cut", leads(rows_of(THREE))[:20], "needs")):
        data, _ = record(plain(bodies={3: body}))
        case("departs", name, data, "section 3 describes no waveform", [], [damage("section 3", piece)])
    data, _ = record(plain(bodies={3: leads([(1, 1, 400_000_000), (2, 1, 60), (3, 1, 60)], 0)}))
    case("departs", "more-samples-than-bits", data, "a count that no file of this size can hold", [],
         [damage("section 6", "more samples than the file has bits")],)
    bodies = plain()
    del bodies[3]
    data, _ = record(bodies)
    case("departs", "no-section-3", data, "samples without leads", [], [damage(None, "section 3 is not there")])
    data, _ = record(plain(bodies={3: leads([(1, 1, 60), (2, 1, 60), (3, 2, 61)], 0x1C)}))
    late = [waveform(NV[:2]), waveform(NV[2:], start="0.002")]
    case("departs", "said-to-be-simultaneous", data, "the ranges of the leads say otherwise", late,
         [departure("section 3", "the ranges are taken")])


def refusals():
    data, _ = record(plain())
    for name, bad, error in (
            ("empty", b"", {"kind": "Truncated", "piece": "needs 2 more bytes, 0 left"}),
            ("five-bytes", data[:5], {"kind": "Truncated", "piece": "needs 4 more bytes"}),
            ("cut-in-the-first-header", data[:20], {"kind": "Truncated", "piece": "needs 6 more bytes"}),
            ("first-section-is-not-0", patched(data, 8, b"\x05\0"), {"kind": "Malformed", "piece": "first section is 5"}),
            ("pointer-section-of-8-bytes", patched(data, 10, b"\x08\0\0\0"), {"kind": "Malformed", "piece": "pointer section is 8"}),
            ("a-text-file", b"00001 12 500 5000\nno record of this format at all\n", {"kind": "Malformed", "piece": "first section"})):
        case("bad", name, bad, name.replace("-", " "), error=error)


def in_lines(expected):
    """JSON with one member, and one lead, a line."""
    members = [f"{json.dumps(key)}: {json.dumps(value, ensure_ascii=False)}" for key, value in expected.items()]
    return ("{\n " + ",\n ".join(members) + "\n}\n").replace(' {"lead"', '\n  {"lead"')


def main():
    features()
    frames()
    refusals()
    assert len({name for _, name, _, _ in CASES}) == len(CASES), "two cases of one name"
    files = {}
    for kind, name, data, expected in CASES:
        files[f"{kind}/{name}.scp"] = data
        files[f"{kind}/{name}.json"] = in_lines(expected).encode()
    if sys.argv[1:] == ["--check"]:
        own = {path.relative_to(ROOT).as_posix() for path in ROOT.glob("*/*") if path.suffix in (".scp", ".json")}
        wrong = sorted(own.symmetric_difference(files))
        wrong += [name for name, data in files.items() if name in own and (ROOT / name).read_bytes() != data]
        print(f"{len(CASES)} records" + (f", not as written: {', '.join(wrong)}" if wrong else ", all as written"))
        return 1 if wrong else 0
    for name, data in files.items():
        (ROOT / name).parent.mkdir(parents=True, exist_ok=True)
        (ROOT / name).write_bytes(data)
    print(f"{len(CASES)} records written to {ROOT.relative_to(ROOT.parents[1])}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
