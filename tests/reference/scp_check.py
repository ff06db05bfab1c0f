#!/usr/bin/env python3
"""Holds SCP-ECG files against the strict reading of EN 1064:2005+A1:2007, and their samples against a WFDB record.

It shares no code with the crate or with scp_encoder.py. Standard library only; with a .hea file also PyPI wfdb.

    python tests/reference/scp_check.py FILE.scp...
    python tests/reference/scp_check.py RECORD.hea FILE.scp      the same voltages, within the rounding of the step
"""

import math
import pathlib
import struct
import sys

NAMES = {1: "I", 2: "II", 3: "V1", 4: "V2", 5: "V3", 6: "V4", 7: "V5", 8: "V6", 61: "III", 62: "AVR", 63: "AVL", 64: "AVF"}
REQUIRED_TAGS = {2, 14, 25, 26}


class Fault(Exception):
    """Something that a strict reader refuses."""


def want(holds, text):
    if not holds:
        raise Fault(text)


def checksum(data):
    """CRC-CCITT by table; the published check value of "123456789" is 0x29B1."""
    crc = 0xFFFF
    for byte in data:
        crc = (crc << 8 & 0xFFFF) ^ TABLE[(crc >> 8) ^ byte]
    return crc


def table_entry(byte):
    value = byte << 8
    for _ in range(8):
        value = (value << 1) ^ (0x1021 if value & 0x8000 else 0)
    return value & 0xFFFF


TABLE = [table_entry(byte) for byte in range(256)]
assert checksum(b"123456789") == 0x29B1


def sections(data):
    """Section bodies by number, after every rule of the frame was held against the record."""
    stated, size = struct.unpack_from("<HI", data)
    want(size == len(data), f"the record states {size} bytes and has {len(data)}")
    want(stated == checksum(data[2:]), "the record's checksum does not match")
    want(data[16:22] == b"SCPECG", "no SCPECG in the first section header")
    _, number, length = struct.unpack_from("<HHI", data, 6)
    want(number == 0 and (length - 16) % 10 == 0, "the first section is no pointer section")
    rows = [struct.unpack_from("<HII", data, 22 + 10 * row) for row in range((length - 16) // 10)]
    want([row[0] for row in rows[:12]] == list(range(12)), "the first twelve rows are not 0 to 11")
    want(rows[0] == (0, length, 7), "section 0 does not point to itself")
    found, covered = {}, [(6, 6 + length)]
    for number, length, index in rows[1:]:
        if length == 0:
            want(index == 0, f"section {number} is absent and has an index")
            continue
        start = index - 1
        part = data[start:start + length]
        want(len(part) == length and length % 2 == 0 and length >= 16, f"section {number}: length {length}")
        crc, own, own_length, version, protocol = struct.unpack_from("<HHIBB", part)
        want((own, own_length) == (number, length), f"section {number}: its header says {own}, {own_length}")
        want(crc == checksum(part[2:]), f"section {number}: checksum")
        want(number > 11 or (version, protocol) == (20, 20), f"section {number}: version {version}, {protocol}")
        want(part[10:16] == bytes(6), f"section {number}: reserved bytes")
        found[number] = part[16:]
        covered.append((start, start + length))
    covered.sort()
    want(all(a[1] == b[0] for a, b in zip(covered, covered[1:])), "sections overlap or leave gaps")
    want(covered[-1][1] == len(data), "bytes behind the last section")
    want({1, 3, 6} <= set(found), "section 1, 3 or 6 is missing")
    crc, number, length, version, protocol = struct.unpack_from("<HHIBB", data, 6)
    want(crc == checksum(data[8:6 + length]) and (version, protocol) == (20, 20), "section 0: checksum or version")
    return found


def tags(body):
    at, found = 0, []
    while True:
        want(at + 3 <= len(body), "section 1 does not end with tag 255")
        tag, length = struct.unpack_from("<BH", body, at)
        if tag == 255:
            want(length == 0 and body[at + 3:] in (b"", b"\0"), "tag 255 is not the end")
            break
        want(at + 3 + length <= len(body), f"tag {tag} runs out of the section")
        found.append((tag, body[at + 3:at + 3 + length]))
        at += 3 + length
    numbers = [tag for tag, _ in found]
    want(REQUIRED_TAGS <= set(numbers), "a required tag is missing")
    want(all(numbers.count(tag) == 1 for tag in numbers if tag not in (10, 13, 30, 32, 35)), "a tag twice")
    for tag, value in found:
        if tag in (0, 1, 2, 3, 13, *range(16, 24), 30, 31, 35):
            want(value.endswith(b"\0") and value.count(b"\0") == 1, f"tag {tag}: its text does not end with its zero")
        for tag_of, length in ((4, 3), (5, 4), (6, 3), (7, 3), (8, 1), (9, 1), (11, 2), (12, 2), (24, 1), (25, 4), (27, 2),
                               (28, 2), (29, 1), (33, 2)):
            want(tag != tag_of or len(value) == length, f"tag {tag}: {len(value)} bytes")
        want(tag not in (14, 15) or len(value) >= 41, f"tag {tag}: {len(value)} bytes")


def default_values(data, count):
    """The default Huffman table walked bit by bit: so many ones and a zero, then a sign or a number; ten ones, a number."""
    bits = "".join(f"{byte:08b}" for byte in data)
    at, values = 0, []

    def number(length):
        raw = bits[at:at + length]
        want(len(raw) == length, "the codes end early")
        return int(raw, 2) - (1 << length if raw[0] == "1" else 0)

    for _ in range(count):
        ones = 0
        while ones < 10 and bits[at + ones:at + ones + 1] == "1":
            ones += 1
        want(at + ones < len(bits), "the codes end early")
        at += ones + (1 if ones < 10 else 0)
        if ones == 0:
            values.append(0)
        elif ones < 9:
            values.append(-ones if bits[at] == "1" else ones)
            at += 1
        else:
            length = 8 if ones == 9 else 16
            values.append(number(length))
            at += length
    want("1" not in bits[at:] and len(bits) - at < 8, "bits behind the last sample")
    return values


def samples(order, values):
    found = values[:order]
    for value in values[order:]:
        found.append(value + (found[-1] if order == 1 else 2 * found[-1] - found[-2] if order == 2 else 0))
    return found


def signals(body, counts, has_table):
    step, interval, order, bimodal = struct.unpack_from("<HHBB", body)
    want(step > 0 and interval > 0 and order <= 2 and bimodal == 0, "section 5 or 6: its head")
    lengths = struct.unpack_from(f"<{len(counts)}H", body, 6)
    at, leads = 6 + 2 * len(counts), []
    want(len(body) - at - sum(lengths) in (0, 1), "section 5 or 6: the lengths of the leads do not fit it")
    for count, length in zip(counts, lengths):
        data = body[at:at + length]
        at += length
        if length == 0:
            leads.append(None)
            continue
        values = default_values(data, count) if has_table else list(struct.unpack(f"<{count}h", data))
        leads.append(samples(order, values))
        want(all(-32768 <= value <= 32767 for value in leads[-1]), "a sample exceeds 16 bits")
    return step, interval, leads


def check(data):
    """The step in nanovolts, the interval in microseconds, and each lead by number with its first sample."""
    found = sections(data)
    tags(found[1])
    count, flags = found[3][:2]
    want(flags & 3 == 0, "section 3: a beat was subtracted, or a reserved bit is set")
    rows = [struct.unpack_from("<IIB", found[3], 2 + 9 * row) for row in range(count)]
    want(all(0 < first <= last for first, last, _ in rows), "section 3: sample ranges")
    want((len({row[:2] for row in rows}) == 1) == bool(flags & 4), "section 3: simultaneous or not")
    want(2 not in found or found[2] == struct.pack("<H", 19999), "section 2 is not the default table")
    step, interval, leads = signals(found[6], [last - first + 1 for first, last, _ in rows], 2 in found)
    if 5 in found:
        want(4 in found, "section 5 without section 4, which gives its length")
        beat_interval = struct.unpack_from("<HH", found[5])[1]
        beat_count = struct.unpack_from("<H", found[4])[0] * 1000 // beat_interval
        signals(found[5], [beat_count] * count, 2 in found)
    for number in (8, 11):
        if number in found:
            report(number, found[number])
    return step, interval, [(lead, first, values) for (first, _, lead), values in zip(rows, leads)]


def report(number, body):
    want(body[0] <= 2, f"section {number}: confirmed byte {body[0]}")
    at = 9
    for sequence in range(1, body[8] + 1):
        own, length = struct.unpack_from("<BH", body, at)
        want(own == sequence, f"section {number}: statement {own} in place {sequence}")
        want(body[at + 3:at + 3 + length].endswith(b"\0"), f"section {number}: statement {own} does not end with its zero")
        at += 3 + length
    want(len(body) - at in (0, 1), f"section {number}: bytes behind the statements")


def compare(header, step, interval, leads):
    import wfdb  # only here: the other checks need the standard library alone

    record = wfdb.rdrecord(str(pathlib.Path(header).with_suffix("")))
    want(abs(record.fs - 1e6 / interval) < 0.05, f"{record.fs} samples per second, {interval} us")
    names = [name.upper() for name in record.sig_name]
    largest = 0.0
    for lead, _, values in leads:
        want(NAMES.get(lead) in names, f"lead {lead} is not in {header}")
        column = record.p_signal[:, names.index(NAMES[lead])]
        want(len(column) == len(values), f"lead {lead}: {len(values)} samples, {len(column)} in {header}")
        apart = [abs(v * step / 1e6 - mv) for v, mv in zip(values, column) if not math.isnan(mv)]
        largest = max([largest, *apart])
    want(largest <= step / 2e6 + 1e-9, f"voltages up to {largest} mV apart, half a unit is {step / 2e6} mV")
    return largest


def main(names):
    header = names.pop(0) if names and names[0].endswith(".hea") else None
    if not names:
        sys.exit(__doc__)
    faults = 0
    for name in names:
        try:
            step, interval, leads = check(pathlib.Path(name).read_bytes())
            apart = f", at most {compare(header, step, interval, leads):.6f} mV from {header}" if header else ""
            print(f"{name}: {len(leads)} leads, {step} nV, {interval} us{apart}")
        except (Fault, struct.error, IndexError) as fault:
            faults += 1
            print(f"{name}: {fault}")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
