"""Writes the WFDB records of fixtures/wfdb/{good,departs,bad}, one rule each, from the format descriptions.

Headers are written as text and samples with struct; no WFDB writer takes part. What ecgkeep says of each record
stands in `expected.txt` beside it and is reviewed by hand: this script leaves those files alone.

    python tests/reference/wfdb_fixtures.py fixtures/wfdb
"""

import struct
import sys
from pathlib import Path

DAT = struct.pack("<4h", 1, 2, 3, 4)
LINE = "h.dat 16 200(0)/mV 16 0 1 10 0 II\n"


def one(header, dat=DAT, **more):
    """A record `h`: its header, its signal file, and files beside it."""
    files = {"h.hea": header.encode("latin-1") if isinstance(header, str) else header}
    if dat is not None:
        files["h.dat"] = dat
    files.update({name.replace("__", "."): content for name, content in more.items()})
    return files


def signal(line, dat=DAT, **more):
    return one("h 1 500 4\n" + line + "\n", dat, **more)


def record(line, dat=DAT):
    return one(line + "\n" + LINE, dat)


def comments(text):
    return one("h 1 500 4\n" + LINE + text)


def annotated(words, header="h 1 500 4\n" + LINE, name="h__atr"):
    return one(header, DAT, **{name: bytes.fromhex(words)})


def segment(name, code, samples, lines):
    """A segment `name` whose signal lines end as given."""
    text = f"{name} {len(lines)} 100 {len(samples) // len(lines)}\n"
    text += "".join(f"{name}.dat {code} {line}\n" for line in lines)
    return {f"{name}.hea": text.encode(), f"{name}.dat": struct.pack(f"<{len(samples)}h", *samples)}


TWO = ["200(0)/mV 0 0 1 3 0 I", "200(0)/mV 0 0 10 30 0 II"]
A = segment("a", 16, [1, 10, 2, 20], TWO)
B = segment("b", 16, [3, 30, 4, 40], ["200(0)/mV 0 0 3 7 0 I", "200(0)/mV 0 0 30 70 0 II"])


def several(top, *segments):
    files = {"h.hea": top.encode()}
    for one_of in segments:
        files.update(one_of)
    return files


def flac(bits=16, channels=1, total=16, rate=96000, block=16, value=7, md5=bytes(16)):
    """A FLAC stream of one frame of constant subframes (RFC 9639)."""
    info = (rate << 44) | ((channels - 1) << 41) | ((bits - 1) << 36) | total
    head = b"fLaC" + bytes([0x80, 0, 0, 34]) + struct.pack(">HH", block, block) + bytes(6)
    head += info.to_bytes(8, "big") + md5
    size = {8: 1, 16: 4, 24: 6}[bits]
    frame = bytes([0xFF, 0xF8, 0x60, (channels - 1) << 4 | size << 1, 0, block - 1])
    frame += bytes([crc8(frame)])
    for _ in range(channels):
        frame += b"\x00" + (value & (1 << bits) - 1).to_bytes(bits // 8, "big")
    frame += crc16(frame).to_bytes(2, "big")
    return head + frame


def crc8(data):
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x07) & 0xFF if crc & 0x80 else crc << 1
    return crc


def crc16(data):
    crc = 0
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ 0x8005) & 0xFFFF if crc & 0x8000 else crc << 1
    return crc


def flac_lines(fmt, count=1, more=""):
    lines = "".join(f"h.dat {fmt}{more} 200(0)/mV 0 0 7 {7 * 16} 0 s{k}\n" for k in range(count))
    return f"h {count} 500 16\n" + lines


def mat4(rows, columns, samples):
    head = struct.pack("<5i", 30, rows, columns, 0, 4) + b"val\0"
    return head + struct.pack(f"<{len(samples)}h", *samples)


GOOD = {
    "plain": signal(LINE.strip()),
    "crlf": one(("h 1 500 4\n" + LINE).replace("\n", "\r\n")),
    "carriage-returns-only": one(("h 1 500 4\n" + LINE).replace("\n", "\r")),
    "byte-order-mark": one(b"\xef\xbb\xbfh 1 500 4\n" + LINE.encode()),
    "blank-lines-and-comments": one("# above\n\n  # indented\nh 1 500 4\n#between\n" + LINE + "#below\n\n## last #\n"),
    "tabs": one(("h 1 500 4\n" + LINE).replace(" ", "\t")),
    "checksum-unsigned": signal("h.dat 16 200(0)/mV 16 0 1 65546 0 II"),
    "checksum-negative": signal("h.dat 16 200(0)/mV 0 0 -1 65526 0 II", struct.pack("<4h", -1, -2, -3, -4)),
    "adc-resolution-0": signal("h.dat 16 200(0)/mV 0 0 1 10 0 II"),
    "baseline-is-adc-zero-by-default": signal("h.dat 16 200 11 1024 1 10 0 II"),
    "only-file-format-and-gain": signal("h.dat 16 200"),
    "hyphen-in-the-name": {
        "h-1.hea": b"h-1 1 500 4\nh-1.dat 16 200(0)/mV 16 0 1 10 0 II\n",
        "h-1.dat": DAT,
    },
    "a-few-bytes-too-many": signal(LINE.strip(), DAT + b"\x09"),
    "length-not-stated": one("h 1 500\n" + LINE),
    "length-0-is-not-stated": one("h 1 500 0\n" + LINE),
    "rate-not-stated": one("h 1\n" + LINE),
    "rate-with-an-exponent": record("h 1 5e2 4"),
    "counter": record("h 1 250/24000(-1.5) 4"),
    "time-with-a-fraction": record("h 1 500 4 13:05:00.123 02/03/2026"),
    "date-shifted-far": record("h 1 500 4 12:00:00 26/10/2896"),
    "gain-with-an-exponent": signal("h.dat 16 1.052E+04/mV 16 0 1 10 0 V"),
    "gain-negative": signal("h.dat 16 -19.34(64)/degC 11 0 1 10 0 T"),
    "gain-of-17-digits": signal("h.dat 16 204.91803278688525(0)/mV 16 0 1 10 0 II"),
    "units-percent": signal("h.dat 16 10/% 16 0 1 10 0 SpO2"),
    "units-with-a-slash": signal("h.dat 16 1(0)/l/min 16 0 1 10 0 flow"),
    "description-with-blanks": signal("h.dat 16 200 12 0 1 10 0  ECG  lead II  "),
    "hash-in-a-description": signal("h.dat 16 200 12 0 1 10 0 II # no comment"),
    "two-samples-a-frame": one(
        "h 2 500 2\nh.dat 16x2 200(0)/mV 0 0 1 10 0 I\nh.dat 16 200(0)/mV 0 0 10 30 0 II\n",
        struct.pack("<6h", 1, 2, 10, 3, 4, 20),
    ),
    "byte-offset": signal("h.dat 16+8 200(0)/mV 16 0 1 10 0 II", b"PREAMBLE" + DAT),
    "mat4": {
        "h.hea": b"h 2 500 3\nh.mat 16+24 200(0)/mV 0 0 1 6 0 I\nh.mat 16+24 200(0)/mV 0 0 -1 -6 0 II\n",
        "h.mat": mat4(2, 3, [1, -1, 2, -2, 3, -3]),
    },
    "two-files": one(
        "h 2 500 2\nh.dat 16 200(0)/mV 0 0 1 3 0 I\nh2.dat 80 200(0)/mV 0 0 5 11 0 II\n",
        struct.pack("<2h", 1, 2),
        h2__dat=bytes([133, 134]),
    ),
    "invalid-codes": signal("h.dat 16 200(0)/mV 0 0 1 -32763 0 II", struct.pack("<4h", 1, -32768, 0, 4)),
    "skew": one(
        "h 2 500 3\nh.dat 16:1 200(0)/mV 0 0 1 6 0 I\nh.dat 16 200(0)/mV 0 0 10 60 0 II\n",
        struct.pack("<6h", 1, 10, 2, 20, 3, 30),
    ),
    "no-signals": one("h 0 500\n# nothing was recorded\n", None),
    "null-signal": one("h 2 500 4\n" + LINE + "~ 0 200(0)/mV 0 0 0 0 0 V1\n"),
    "flac": one(flac_lines(516), flac()),
    "flac-of-8-bits-in-516": one(flac_lines(516), flac(bits=8)),
    "age-and-sex-of-others": comments("# <age>: 28  <sex>: M  <Height>: 170\n# 69 M 1085 1629 x1\n"),
    "age-and-sex-in-words": comments("#Age: 56\n#Sex: Female\n#Dx: 426783006\n#Rx: Unknown\n"),
    "age-not-known": comments("#Age: NaN\n#Sex: ??\n"),
    "info-strings": comments(
        "#<ecg-info>: 1\n#<age>: 67\n#<sex>: F\n#<patient.id>: LK-20417\n#<patient.family>: Aldous\n"
        "#<patient.birth-date>: 1958-04-19\n#<acq.datetime>: 2026-03-02T09:14:05+01:00\n"
        "#<acq.operator>: R. Quill\n#<acq.remark>: caf%C3%A9, 50% \n#<meas.hr-bpm>: 72\n#<acq.room>:\n"
    ),
    "annotations": annotated("12 04 3b 14 00 70 03 fc 28 41 46 00 00 ec 00 00 00 04 00 04 00 00"),
    "wave-borders": annotated("64 9c 14 60 14 a0 1e 9c 0f 04 0f a0 3c 9c 28 6c 28 a0 00 00", name="h__ii"),
    "annotation-resolution": annotated(
        "00 58 18 fc" + "## time resolution: 1000".encode().hex() + "64 04 65 04 00 00"
    ),
    "an-unsound-file-of-another-kind": annotated("de ad be ef", name="h__abc"),
    "segments": several("h/3 2 100 7\na 2\n~ 3\nb 2\n", A, B),
    "segments-of-variable-layout": several(
        "h/3 2 100 4\nl 0\na 2\nc 2\n",
        {"l.hea": b"l 2 100 0\n~ 0 200(0)/mV 0 0 0 0 0 II\n~ 0 200(0)/mV 0 0 0 0 0 I\n"},
        A,
        segment("c", 16, [5, 6], ["200(0)/mV 0 0 5 11 0 I"]),
    ),
}

DEPARTS = {
    "no-final-line-feed": one(("h 1 500 4\n" + LINE).rstrip("\n")),
    "another-name-in-the-record-line": record("other 1 500 4"),
    "a-file-type-in-the-name": record("h.mat 1 500 4"),
    "date-before-time": record("h 1 500 4 15-May-2020 15:35:30"),
    "date-iso": record("h 1 500 4 12:00:00 1989-04-25"),
    "date-month-first": record("h 1 500 4 12:00:00 04/25/1989"),
    "date-of-two-digits": record("h 1 500 4 12:00:00 25/04/89"),
    "date-all-zero": record("h 1 500 4 0:0:0 0/0/0"),
    "date-without-time": record("h 1 500 4 25/04/1989"),
    "time-24": record("h 1 500 4 24:00:00"),
    "time-of-two-parts": record("h 1 500 4 31:25.894"),
    "text-after-the-date": record("h 1 500 4 12:00:00 25/04/1989 more"),
    "modifiers-in-another-order": signal("h.dat 16+0x1 200(0)/mV 16 0 1 10 0 II"),
    "initial-value-wrong": signal("h.dat 16 200(0)/mV 16 0 77 10 0 II"),
    "checksum-wrong": signal("h.dat 16 200(0)/mV 16 0 1 11 0 II"),
    "more-frames-than-stated": one("h 1 500 2\nh.dat 16 200(0)/mV 16 0 1 3 0 II\n"),
    "not-ascii": signal("h.dat 16 1(0)/\xb5V 16 0 1 10 0 II"),
    "block-size": signal("h.dat 16 200(0)/mV 16 0 1 10 -512 II"),
    "implausible-gain": signal("h.dat 16 2000000(0)/mV 16 0 1 10 0 II"),
    "a-line-too-many": signal(LINE + "h.dat 16 200(0)/mV 16 0 1 10 0 III"),
    "a-line-too-long": signal("h.dat 16 200(0)/mV 16 0 1 10 0 " + "x" * 300),
    "description-before-its-place": signal("h.dat 16 200 ECG lead II"),
    "no-gain": signal("h.dat 16"),
    "gain-0": signal("h.dat 16 0 12 0 1 10 0 II"),
    "unit-without-a-gain": signal("h.dat 16 /mV 11 0 1 10 0 II"),
    "mat4-of-another-size": {
        "h.hea": b"h 2 500 3\nh.mat 16+24 200(0)/mV 0 0 1 6 0 I\nh.mat 16+24 200(0)/mV 0 0 -1 -6 0 II\n",
        "h.mat": mat4(3, 2, [1, -1, 2, -2, 3, -3]),
    },
    "info-string-unknown": comments("#<ecg-info>: 2\n#<patient.shoe-size>: 41\n"),
    "info-string-twice": comments("#<patient.id>: LK-1\n#<patient.id>: LK-2\n"),
    "info-string-no-date": comments("#<patient.birth-date>: 19.4.1958\n"),
    "info-string-half-a-measurement": comments("#<measure>: 12 uV\n"),
    "ages-that-disagree": comments("#Age: 56\n#<age>: 57\n"),
    "start-stated-twice": one("h 1 500 4 09:14:05 02/03/2026\n" + LINE + "#<acq.datetime>: 2026-03-02T10:14:05Z\n"),
    "exact-step-of-another-gain": comments("#<lead.1.lsb>: 4 uV\n"),
    "flac-with-a-wrong-md5": one(flac_lines(516), flac(md5=bytes(range(16)))),
    "annotations-without-an-end": annotated("12 04 3b 14"),
    "annotations-behind-the-end": annotated("12 04 00 00 3b 14 00 00"),
    "annotations-of-odd-length": annotated("12 04 3b 14 00 00 00"),
    "annotation-code-above-49": annotated("0a c8 00 00"),
    "annotation-text-cut": annotated("0a 70 09 fc 28 4e"),
    "annotations-in-aha-format": annotated("00 4e" + "01" * 14),
    "annotations-without-signals": annotated("12 04 00 00", "h 0 500\n"),
    "segments-change-their-scale": several(
        "h/2 2 100 4\na 2\nb 2\n",
        A,
        segment("b", 16, [3, 30, 4, 40], ["100(5)/mV 0 0 3 7 0 I", "100(5)/mV 0 0 30 70 0 II"]),
    ),
    "segments-without-a-common-scale": several(
        "h/2 2 100 4\na 2\nb 2\n",
        A,
        segment("b", 16, [3, 30, 4, 32000], ["200.0000001(0)/mV 0 0 3 7 0 I", "200(0)/bpm 0 0 30 32030 0 II"]),
    ),
    "a-signal-that-the-layout-lacks": several(
        "h/3 1 100 4\nl 0\na 2\nc 2\n",
        {"l.hea": b"l 1 100 0\n~ 0 200(0)/mV 0 0 0 0 0 I\n"},
        A,
        segment("c", 16, [5, 6], ["200(0)/mV 0 0 5 11 0 I"]),
    ),
}

BAD = {
    "empty": one("", None),
    "only-a-comment": one("# nothing\n", None),
    "no-number-of-signals": one("h\n", None),
    "signals-negative": one("h -1 500 4\n", None),
    "signals-too-many": one("h 1000000000 500 4\n", None),
    "fewer-signal-lines-than-stated": one("h 2 500 2\n" + LINE),
    "rate-0": record("h 1 0 4"),
    "rate-negative": record("h 1 -500 4"),
    "rate-not-a-number": record("h 1 nan 4"),
    "rate-of-19-digits": record("h 1 500.0000000000000001 4"),
    "length-negative": record("h 1 500 -4"),
    "length-with-a-point": record("h 1 500 4.0"),
    "length-beyond-any-limit": record("h 1 500 999999999999999999"),
    "length-longer-than-the-file": record("h 1 500 400"),
    "format-missing": signal("h.dat"),
    "format-unknown": signal("h.dat 99 200(0)/mV 16 0 1 10 0 II"),
    "format-with-a-leading-zero": signal("h.dat 016 200(0)/mV 16 0 1 10 0 II"),
    "format-with-something-else": signal("h.dat 16y2 200(0)/mV 16 0 1 10 0 II"),
    "samples-per-frame-0": signal("h.dat 16x0 200(0)/mV 16 0 1 10 0 II"),
    "samples-per-frame-too-many": signal("h.dat 16x99999999 200(0)/mV 16 0 1 10 0 II"),
    "skew-negative": signal("h.dat 16:-1 200(0)/mV 16 0 1 10 0 II"),
    "skew-twice": signal("h.dat 16:1:1 200(0)/mV 16 0 1 10 0 II"),
    "gain-with-a-comma": signal("h.dat 16 204,8(0)/mV 16 0 1 10 0 II"),
    "gain-infinite": signal("h.dat 16 inf/mV 12 0 1 10 0 II"),
    "gain-not-a-number": signal("h.dat 16 NaN(0)/mV 12 0 1 10 0 II"),
    "baseline-with-a-point": signal("h.dat 16 200(-55.5)/mV 12 0 1 10 0 II"),
    "baseline-behind-a-blank": signal("h.dat 16 200 (-55)/mV 12 0 1 10 0 II"),
    "baseline-behind-the-unit": signal("h.dat 16 200/mV(5) 11 1024 1 10 0 II"),
    "baseline-too-large": signal("h.dat 16 200(9999999999)/mV 12 0 1 10 0 II"),
    "adc-resolution-with-a-point": signal("h.dat 16 200(0)/mV 12.0 0 1 10 0 II"),
    "file-in-a-folder": signal("sub/h.dat 16 200(0)/mV 16 0 1 10 0 II"),
    "file-absolute": signal("/h.dat 16 200(0)/mV 16 0 1 10 0 II"),
    "file-in-the-folder-above": signal("../h.dat 16 200(0)/mV 16 0 1 10 0 II"),
    "file-behind-a-backslash": signal("sub\\h.dat 16 200(0)/mV 16 0 1 10 0 II"),
    "file-standard-input": signal("- 16 200(0)/mV 16 0 1 10 0 II"),
    "file-a-device": signal("nul.dat 16 200(0)/mV 16 0 1 10 0 II"),
    "file-missing": signal(LINE.strip(), None),
    "file-cut": signal(LINE.strip(), DAT[:7]),
    "files-not-consecutive": one(
        "h 3 500 1\nh.dat 16 200\nh2.dat 16 200\nh.dat 16 200\n", DAT, h2__dat=DAT
    ),
    "two-formats-in-a-file": one("h 2 500 1\nh.dat 16 200\nh.dat 212 200\n"),
    "two-offsets-in-a-file": one("h 2 500 1\nh.dat 16+2 200\nh.dat 16 200\n"),
    "differences-too-large": one("h 1 500 3\nh.dat 8 200(0)/mV 0 0 2147483600 0 0 II\n", bytes([0, 100, 100])),
    "flac-with-a-byte-offset": one(flac_lines(516, more="+4"), flac()),
    "flac-of-other-channels": one(flac_lines(516), flac(channels=2)),
    "flac-of-16-bits-in-508": one(flac_lines(508), flac()),
    "flac-of-mixed-frames": one(
        "h 2 500 8\nh.dat 516x2 200(0)/mV 0 0 7 0 0 a\nh.dat 516 200(0)/mV 0 0 7 0 0 b\n", flac(channels=2)
    ),
    "flac-that-is-none": one(flac_lines(516), b"RIFF" + flac()[4:]),
    "flac-cut": one(flac_lines(516), flac()[:-3]),
    "flac-with-a-damaged-frame": one(flac_lines(516), flac()[:-1] + b"\x00"),
    "flac-shorter-than-stated": one(flac_lines(516), flac(total=99)),
    "flac-that-cannot-be-so-long": one(flac_lines(516).replace(" 16\n", " 400000000\n", 1), flac(total=400000000)),
    "segments-0": one("h/0 1 500 4\n", None),
    "segments-too-many": one("h/1000000 1 500 4\n", None),
    "segment-line-without-a-length": several("h/1 2 100 2\na\n", A),
    "segment-names-the-record": one("h/1 1 500 4\nh 4\n", None),
    "segment-in-a-folder": several("h/1 2 100 2\n../a 2\n", A),
    "segment-missing": several("h/2 2 100 4\na 2\nnope 2\n", A),
    "segment-of-segments": several("h/2 2 100 4\nn 2\nb 2\n", A, B, {"n.hea": b"n/1 2 100 2\na 2\n"}),
    "segment-of-another-length": several("h/2 2 100 3\na 1\nb 2\n", A, B),
    "segment-of-another-rate": several(
        "h/2 2 100 4\na 2\nb 2\n", A, {**B, "b.hea": B["b.hea"].replace(b"100", b"250", 1)}
    ),
    "segment-of-other-signals": several("h/2 2 100 4\na 2\nb 2\n", A, {**B, "b.hea": B["b.hea"].replace(b" II", b" V1")}),
    "segments-that-sum-to-something-else": several("h/2 2 100 9\na 2\nb 2\n", A, B),
    "segments-fewer-than-stated": several("h/3 2 100 4\na 2\nb 2\n", A, B),
    "segment-of-length-0-behind-others": several("h/2 2 100 2\na 2\nb 0\n", A, B),
    "null-signals-beyond-their-bytes": one("h 2 500 200000000\n~ 0 200 0 0 0 0 0 I\n~ 0 200 0 0 0 0 0 II\n", None),
    "null-segment-beyond-its-bytes": several("h/2 2 100 200000002\na 2\n~ 200000000\n", A),
    "segment-repeated-beyond-its-bytes": several(
        "h/4000 1 100 20000000\n" + "r 5000\n" * 4000,
        {"r.hea": b"r 1 100 5000\nr.dat 80 200 8\n", "r.dat": bytes([128]) * 5000},
    ),
    "segments-beyond-any-limit": several("h/2 2 100 900000000002\na 2\n~ 900000000000\n", A),
}


def main(root):
    for folder, cases in {"good": GOOD, "departs": DEPARTS, "bad": BAD}.items():
        for case, files in cases.items():
            where = root / folder / case
            where.mkdir(parents=True, exist_ok=True)
            for name, content in files.items():
                (where / name).write_bytes(content)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
