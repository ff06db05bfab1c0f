"""Holds the filtered drawing to scipy: the rhythm strip of a page against scipy.signal.sosfiltfilt.

    python tests/reference/filter_check.py PROGRAM RECORD...

A RECORD is a WFDB header with lead II. It is drawn with a high-pass, a low-pass and a notch; its samples, as PyPI wfdb
reads them, are filtered by scipy with filters designed by scipy (butter, iirnotch), mirrored at the ends as the page
says. Every point of the strip must stand within 0.002 mm of that, its line must pass every sample within 0.01 mm, every
row must say how it is filtered, and the file must be as it was before.
"""

import hashlib
import pathlib
import subprocess
import sys
import tempfile

import numpy
import wfdb
from scipy import signal

from report_check import SVG, Failures, Page

HIGH_PASS, LOW_PASS, NOTCH, NOTCH_WIDTH = 0.5, 40.0, 50.0, 2.0
MIRRORED_SECONDS = 10
WITHIN_MM = 0.002
LINE_WITHIN_MM = 0.01


def one_pass(corner, rate, factor):
    """The corner of one of two equal second-order Butterworth passes, in the bilinear transform's own frequency."""
    return rate / numpy.pi * numpy.arctan(numpy.tan(numpy.pi * corner / rate) * factor)


def filtered(values, rate):
    factor = (2**0.5 - 1) ** 0.25
    high = signal.butter(2, one_pass(HIGH_PASS, rate, factor), "high", fs=rate, output="sos")
    low = signal.butter(2, one_pass(LOW_PASS, rate, 1 / factor), "low", fs=rate, output="sos")
    # iirnotch takes the width at 2^(-1/2); one pass has to be 2^(-1/4) high there.
    edge = 2**-0.25
    narrow = numpy.sqrt(1 - edge**2) / edge * numpy.tan(numpy.pi * NOTCH_WIDTH / rate)
    width = 2 * numpy.arctan(narrow) * rate / (2 * numpy.pi)
    notch = signal.tf2sos(*signal.iirnotch(NOTCH, NOTCH / width, fs=rate))
    pad = min(len(values) - 1, int(MIRRORED_SECONDS * rate))
    return signal.sosfiltfilt(numpy.vstack([high, low, notch]), values, padtype="even", padlen=pad)


def digests(header):
    files = sorted(header.parent.glob(header.stem + ".*"))
    return [hashlib.sha256(file.read_bytes()).hexdigest() for file in files]


def check(program, header, folder, failures):
    print(f"-- {header}")
    record = wfdb.rdrecord(str(header.with_suffix("")), physical=True)
    column = record.sig_name.index("II")
    scale = {"mV": 1.0, "uV": 0.001}[record.units[column]]
    millivolts = record.p_signal[:, column] * scale
    before = digests(header)
    page = folder / f"{header.stem}.svg"
    options = ["--high-pass", str(HIGH_PASS), "--low-pass", str(LOW_PASS), "--notch", str(NOTCH)]
    command = [program, "report", header, "-o", page, "--at", "2026-03-02T18:00+01:00", *options]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    failures.check(digests(header) == before, "the files are as they were")
    drawn = Page(page.read_bytes())
    speed, gain = drawn.scale()
    line = numpy.array([point for run in drawn.paths["strip-II"] for point in run])
    samples = numpy.rint((line[:, 0] - line[0, 0]) / speed * record.fs).astype(int)
    expected = -filtered(millivolts, record.fs)[: samples[-1] + 1] * gain
    apart = line[:, 1] - expected[samples]
    zero = numpy.median(apart)
    worst = float(numpy.abs(apart - zero).max())
    failures.check(worst <= WITHIN_MM, f"{len(line)} points of lead II against scipy, worst {worst:.4f} mm")
    # Points that the line passes anyway are left out: it is measured at every sample.
    moments = line[0, 0] + numpy.arange(len(expected)) / record.fs * speed
    passing = numpy.interp(moments, line[:, 0], line[:, 1]) - expected
    worst = float(numpy.abs(passing - zero).max())
    failures.check(worst < LINE_WITHIN_MM, f"the line at its {len(expected)} samples, worst {worst:.4f} mm")
    words = " ".join(e.text or "" for e in drawn.root.iter(SVG + "text"))
    rows = words.count("Filtered: high-pass 0.5 Hz,")
    failures.check(rows == 4, f"{rows} rows of 4 say how they are filtered")


def main():
    program, *records = sys.argv[1:]
    failures = Failures()
    with tempfile.TemporaryDirectory() as folder:
        for record in records:
            check(program, pathlib.Path(record), pathlib.Path(folder), failures)
    if failures:
        sys.exit(f"{len(failures)} of the measurements are wrong")
    print(f"{len(records)} filtered pages agree with scipy")


if __name__ == "__main__":
    main()
