"""Times PyPI wfdb on the records of crates/ecgkeep-wfdb/benches: 12 x 5000 samples in storage format 16, 2 x 650,000
samples in storage format 212, and record 100 of the MIT-BIH Arrhythmia Database where ../shared/recordings holds it,
without and with its annotations. Prints the first, the least and the median of each, in milliseconds. What is read:
files from disk to integer samples (`physical=False`), checksums not checked, which PyPI wfdb never does.

    python tests/reference/wfdb_speed.py
"""

import os
import pathlib
import statistics
import tempfile
import time

import numpy as np
import wfdb

LEADS = "I II III aVR aVL aVF V1 V2 V3 V4 V5 V6".split()


def make(name, leads, rate, length, fmt):
    """A record of random-looking samples of up to 12 bits."""
    numbers = np.random.default_rng(7).integers(-2000, 2000, (length, len(leads)))
    record = wfdb.Record(
        record_name=name, n_sig=len(leads), fs=rate, sig_len=length, fmt=[fmt] * len(leads),
        file_name=[name + ".dat"] * len(leads), adc_gain=[204.91803278688525] * len(leads),
        baseline=[0] * len(leads), units=["mV"] * len(leads), adc_res=[16] * len(leads),
        adc_zero=[0] * len(leads), block_size=[0] * len(leads), sig_name=leads,
        d_signal=numbers,
    )
    record.set_d_features()
    record.wrsamp()
    return record


def times(label, work, count):
    taken = []
    for _ in range(count):
        start = time.perf_counter()
        work()
        taken.append(1000 * (time.perf_counter() - start))
    print(f"{label}: first {taken[0]:.3f} ms, least {min(taken):.3f} ms, median {statistics.median(taken):.3f} ms of {count}")


RECORD_100 = pathlib.Path(__file__).resolve().parents[3] / "shared/recordings/wfdb-vectors/100"
if RECORD_100.with_suffix(".dat").exists():
    path = str(RECORD_100)
    times("PyPI wfdb: record 100, signals from disk", lambda: wfdb.rdrecord(path, physical=False), 100)
    times("PyPI wfdb: record 100, signals and annotations from disk",
          lambda: (wfdb.rdrecord(path, physical=False), wfdb.rdann(path, "atr")), 100)
else:
    print("skipped: record 100: ../shared/recordings is not here")

with tempfile.TemporaryDirectory() as folder:
    os.chdir(folder)
    twelve = make("twelve", LEADS, 500, 5000, "16")
    make("long", ["II", "V5"], 360, 650000, "212")
    times("PyPI wfdb: read 12 x 5000", lambda: wfdb.rdrecord("twelve", physical=False), 200)
    times("PyPI wfdb: write 12 x 5000", lambda: twelve.wrsamp(), 100)
    times("PyPI wfdb: read 2 x 650000", lambda: wfdb.rdrecord("long", physical=False), 50)
    os.chdir("/")
