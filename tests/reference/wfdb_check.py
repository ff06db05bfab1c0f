"""Checks ecgkeep's WFDB against PyPI wfdb, both ways: what PyPI wfdb writes is read to the same integers, and what
ecgkeep writes in every storage format is read by PyPI wfdb to the same integers, scales, names and annotations.

    python tests/reference/wfdb_check.py PROGRAM
"""

import csv
import io
import os
import subprocess
import sys
import tempfile

import numpy as np
import wfdb

PROGRAM = os.path.abspath(sys.argv[1])
LEADS = "I II III aVR aVL aVF V1 V2 V3 V4 V5 V6".split()
# storage format: bits, and the sample that stands for a missing one (signal(5))
FORMATS = {"80": 8, "212": 12, "16": 16, "24": 24, "32": 32, "508": 8, "516": 16, "524": 24}
WRITTEN = ["80", "212", "16", "24", "32"]
faults = []


def invalid(fmt):
    return -(2 ** (FORMATS[fmt] - 1))


def run(*arguments):
    done = subprocess.run([PROGRAM, *arguments], capture_output=True, text=True)
    if done.returncode != 0:
        faults.append(f"{' '.join(arguments)}: exit {done.returncode}: {done.stderr.strip()}")
    return done.stdout


def counts(path):
    """Leads and samples as ecgkeep shows them; a missing sample is None."""
    rows = list(csv.reader(io.StringIO(run("show", "--counts", path))))
    if not rows:
        return [], []
    samples = [[int(cell) if cell else None for cell in row[1:]] for row in rows[1:]]
    return rows[0][1:], samples


def same(what, found, expected):
    if found != expected:
        faults.append(f"{what}: {found!r} where {expected!r} is expected"[:400])


def samples_of(fmt, length, leads, numbers):
    most = 2 ** (FORMATS[fmt] - 1) - 1
    signal = numbers.integers(-most, most + 1, (length, leads), dtype=np.int64)
    signal[0] = most
    signal[-1] = -most
    if length > 20:
        signal[7:11, 0] = invalid(fmt)
    return signal


def write_reference(name, fmt, length, leads, numbers):
    """A record as PyPI wfdb writes it; FLAC holds eight signals a file."""
    signal = samples_of(fmt, length, leads, numbers)
    files = [f"{name}_{k // 8}.dat" for k in range(leads)]
    record = wfdb.Record(
        record_name=name, n_sig=leads, fs=500, sig_len=length, fmt=[fmt] * leads, file_name=files,
        adc_gain=[204.8 + k for k in range(leads)], baseline=[k - 3 for k in range(leads)],
        units=["mV"] * leads, adc_res=[FORMATS[fmt]] * leads, adc_zero=[0] * leads,
        block_size=[0] * leads, sig_name=LEADS[:leads], d_signal=signal,
        comments=["age: 81", "sex: female"],
    )
    record.set_d_features()
    record.wrsamp()
    expected = [[None if v == invalid(fmt) else int(v) for v in row] for row in signal]
    return record, expected


def read_what_it_writes(numbers):
    for fmt in FORMATS:
        for length, leads in [(1000, 12), (999, 3), (1, 1), (2, 1), (501, 1)]:
            name = f"ref_{fmt}_{length}_{leads}"
            _, expected = write_reference(name, fmt, length, leads, numbers)
            found_leads, found = counts(name + ".hea")
            same(f"{name}, leads", found_leads, LEADS[:leads])
            same(f"{name}, samples", found, expected)


def it_reads_what_we_write(numbers):
    for fmt in WRITTEN:
        record, expected = write_reference(f"src_{fmt}", fmt, 999, 12, numbers)
        for storage in [s for s in WRITTEN if FORMATS[s] >= FORMATS[fmt]]:
            out = f"out_{fmt}_{storage}"
            run("convert", f"src_{fmt}.hea", f"{out}.hea", "--option", f"storage={storage}")
            raw = open(f"{out}.hea", "rb").read()
            same(f"{out}, ASCII", raw.isascii(), True)
            same(f"{out}, long lines", [line for line in raw.split(b"\n") if len(line) > 254], [])
            read = wfdb.rdrecord(out, physical=False)
            same(f"{out}, format", read.fmt, [storage] * 12)
            found = [[None if v == invalid(storage) else int(v) for v in row] for row in read.d_signal]
            same(f"{out}, samples", found, expected)
            same(f"{out}, names", read.sig_name, LEADS)
            same(f"{out}, gain", read.adc_gain, record.adc_gain)
            same(f"{out}, baseline", read.baseline, record.baseline)
            sums = [int(np.sum(read.d_signal[:, k]) % 65536) for k in range(12)]
            same(f"{out}, checksum", [s % 65536 for s in read.checksum], sums)
            same(f"{out}, checksum is signed", [s for s in read.checksum if s > 32767], [])
            same(f"{out}, initial value", list(read.init_value), [int(v) for v in read.d_signal[0]])
            same(f"{out}, comments", [c for c in read.comments if c in record.comments], record.comments)


def annotations_both_ways(numbers):
    write_reference("ann", "16", 1000, 12, numbers)
    sample = np.array([3, 3, 10, 400, 401, 2500, 90000, 5000000])
    symbol = ["N", "+", "(", "V", ")", "~", "t", "N"]
    subtype, chan, num = [0, 0, 0, 1, 0, -3, 0, 0], [0, 0, 0, 1, 1, 2, 2, 0], [0, 0, 0, 1, 1, 0, 2, 0]
    aux = ["", "(AFIB", "", "", "", "", "", "odd"]
    wfdb.wrann("ann", "atr", sample, symbol, np.array(subtype), np.array(chan), np.array(num), aux)
    wfdb.wrann("ann", "ii", sample[:4], ["(", "N", ")", "t"])
    run("convert", "ann.hea", "copy.hea")
    for annotator in ["atr", "ii"]:
        first, second = wfdb.rdann("ann", annotator), wfdb.rdann("copy", annotator)
        for field in ["sample", "symbol", "subtype", "chan", "num", "aux_note"]:
            same(f"annotations {annotator}, {field}", list(getattr(second, field)), list(getattr(first, field)))


def our_own_lines_are_comments():
    with open("own.hea", "w") as file:
        file.write("own 1 500 4 09:14:05 02/03/2026\nown.dat 16 200(0)/mV 16 0 1 10 0 II\n")
        file.write("#<ecg-info>: 1\n#<patient.id>: LK-20417\n#<acq.remark>: caf%C3%A9 %23\n")
    np.array([1, 2, 3, 4], dtype="<i2").tofile("own.dat")
    run("convert", "own.hea", "again.hea")
    read = wfdb.rdheader("again")
    same("our lines", read.comments, ["<ecg-info>: 1", "<patient.id>: LK-20417", "<acq.remark>: caf%C3%A9 %23"])
    same("base time", str(read.base_datetime), "2026-03-02 09:14:05")


def main():
    numbers = np.random.default_rng(20260302)
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        read_what_it_writes(numbers)
        it_reads_what_we_write(numbers)
        annotations_both_ways(numbers)
        our_own_lines_are_comments()
        os.chdir("/")
    for fault in faults:
        print(fault, file=sys.stderr)
    print("WFDB against PyPI wfdb " + wfdb.__version__ + (": agrees" if not faults else f": {len(faults)} faults"))
    sys.exit(1 if faults else 0)


main()
