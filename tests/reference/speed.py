"""Times independent peers beside our benchmarks and prints a table of ratios: `tests/reference/speed` runs both.

    python tests/reference/speed.py TARGET_FOLDER

Ours are the medians that `cargo bench` left in TARGET_FOLDER/criterion, or, where whole programs are compared, medians of
runs of TARGET_FOLDER/release/ecgkeep. Peers: PyPI wfdb, lxml + numpy, h5py, sha512sum, cp, rsvg-convert where it is installed.
"""

import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import h5py
import numpy as np
import wfdb
from lxml import etree

LEADS = "I II III aVR aVL aVF V1 V2 V3 V4 V5 V6".split()
DEMO = Path("examples/larkmoor")
# The level of deflate that ecgkeep writes with.
LEVEL = 6
H = "{urn:hl7-org:v3}"


def ours(target, name):
    """The median of a benchmark in milliseconds; the newest of that name."""
    found = list((target / "criterion").glob(f"{name}/new/estimates.json"))
    if not found:
        return None
    newest = max(found, key=lambda path: path.stat().st_mtime)
    return json.loads(newest.read_text())["median"]["point_estimate"] / 1e6


def median(work, count):
    taken = []
    for _ in range(count):
        start = time.perf_counter()
        work()
        taken.append(1000 * (time.perf_counter() - start))
    return statistics.median(taken)


def run(*words):
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def record(name, leads, rate, length, fmt):
    numbers = np.random.default_rng(7).integers(-2000, 2000, (length, len(leads)))
    made = wfdb.Record(
        record_name=name, n_sig=len(leads), fs=rate, sig_len=length, fmt=[fmt] * len(leads),
        file_name=[name + ".dat"] * len(leads), adc_gain=[204.91803278688525] * len(leads),
        baseline=[0] * len(leads), units=["mV"] * len(leads), adc_res=[16] * len(leads),
        adc_zero=[0] * len(leads), block_size=[0] * len(leads), sig_name=leads, d_signal=numbers,
    )
    made.set_d_features()
    made.wrsamp()
    return made


def aecg_to_arrays(data):
    leads = {}
    for sequence in etree.fromstring(data, etree.XMLParser(huge_tree=True)).iter(f"{H}sequence"):
        value = sequence.find(f"{H}value")
        digits = value.find(f"{H}digits")
        if digits is not None:
            origin, scale = (float(value.find(f"{H}{part}").get("value")) for part in ("origin", "scale"))
            samples = np.array(digits.text.split(), dtype=np.int32)
            leads[sequence.find(f"{H}code").get("code")] = origin + scale * samples
    return leads


def hdf5_to_arrays(path):
    with h5py.File(path) as file:
        recording = file["recordings/0"]
        samples = recording["waveforms/0/samples"]
        return samples[:], [dict(recording.attrs), dict(samples.attrs)]


def arrays_to_hdf5(path, samples):
    chunk = (1,) * (samples.ndim - 1) + samples.shape[-1:]
    with h5py.File(path, "w") as file:
        file.create_dataset("samples", data=samples, chunks=chunk, shuffle=True, compression=LEVEL, fletcher32=True)


def main(target):
    program = str((target / "release/ecgkeep").resolve())
    demo = DEMO.resolve()
    rows = []

    def row(job, own, peer, of_peer):
        rows.append((job, own, peer, of_peer))

    os.chdir(tempfile.mkdtemp())
    twelve = record("twelve", LEADS, 500, 5000, "16")
    record("long", ["II", "V5"], 360, 650000, "212")
    row("WFDB: read 12 x 5000", ours(target, "wfdb_ read 12 x 5000"), "PyPI wfdb rdrecord",
        median(lambda: wfdb.rdrecord("twelve", physical=False), 100))
    row("WFDB: read 2 x 650000", ours(target, "wfdb_ read 2 x 650000"), "PyPI wfdb rdrecord",
        median(lambda: wfdb.rdrecord("long", physical=False), 10))
    row("WFDB: write 12 x 5000 (ours in memory)", ours(target, "wfdb_ encode 12 x 5000"), "PyPI wfdb wrsamp",
        median(twelve.wrsamp, 50))

    run(program, "convert", str(demo / "lm01_faultless.hea"), "a.xml")
    document = Path("a.xml").read_bytes()
    row("aECG: read 12 x 5000", ours(target, "aecg 12 x 5000/read"), "lxml + numpy",
        median(lambda: aecg_to_arrays(document), 50))

    run(program, "convert", str(demo / "lm01_faultless.hea"), "a.h5")
    row("HDF5: read 12 x 5000 with all metadata", ours(target, "hdf5_ read 12 x 5000"), "h5py, samples and attributes",
        median(lambda: hdf5_to_arrays("a.h5"), 50))
    samples, _ = hdf5_to_arrays("a.h5")
    row("HDF5: encode 12 x 5000 with all metadata", ours(target, "hdf5_ encode 12 x 5000"), "h5py, samples alone",
        median(lambda: arrays_to_hdf5("b.h5", samples), 50))
    hundred = np.stack([samples] * 100)
    arrays_to_hdf5("c.h5", hundred)
    row("HDF5: read a stack of 100", ours(target, "hdf5_ read a stack of 100 x 12 x 5000"), "h5py, samples alone",
        median(lambda: h5py.File("c.h5")["samples"][:], 10))
    row("HDF5: encode a stack of 100", ours(target, "hdf5_ encode a stack of 100 x 12 x 5000"), "h5py, samples alone",
        median(lambda: arrays_to_hdf5("d.h5", hundred), 5))

    # 200 bundles, so that starting a program weighs little
    os.mkdir("many")
    run(program, "seal", str(demo / "lm01_faultless.hea"), "-o", "one.zip", "--at", "2026-03-02T18:00+01:00")
    for number in range(200):
        shutil.copy("one.zip", f"many/{number:03}.zip")
    bundles = sorted(str(path) for path in Path("many").iterdir())
    row("verify a bundle (200 in one run)", median(lambda: run(program, "verify", "many"), 5) / 200,
        "sha512sum", median(lambda: run("sha512sum", *bundles), 5) / 200)
    sources = [str(demo / f"lm01_faultless.{ending}") for ending in ("hea", "dat")]

    def seal():
        shutil.rmtree("sealed", ignore_errors=True)
        run(program, "seal", str(demo), "--filing", str(demo), "--into", "sealed")

    def copy():
        shutil.rmtree("copied", ignore_errors=True)
        os.mkdir("copied")
        run("cp", *[str(path) for path in demo.iterdir() if path.is_file()], "copied")
        run("sync", "copied")

    row("seal the 10 records of the clinic, page and PDF included", median(seal, 5), "cp and sync of the same files",
        median(copy, 5))
    row("seal: SHA-512 of one bundle's bytes alone", ours(target, "bundle/sha512 of the same bytes"),
        "sha512sum of the source", median(lambda: run("sha512sum", *sources), 20))

    run(program, "report", str(demo / "lm01_faultless.hea"), "-o", "page.svg", "--at", "2026-03-02T18:00+01:00")
    if shutil.which("rsvg-convert"):
        row("the page as SVG", ours(target, "svg of 12 x 5000"), "rsvg-convert draws it at 100 dpi",
            median(lambda: run("rsvg-convert", "--dpi-x=100", "--dpi-y=100", "page.svg", "-o", "page.png"), 5))
    else:
        print("skipped: drawing the page: rsvg-convert is not installed")

    print("| job | ecgkeep, ms | peer | peer, ms | peer / ecgkeep |\n|---|---|---|---|---|")
    for job, own, peer, of_peer in rows:
        own_text, ratio = ("not measured", "") if own is None else (f"{own:.3f}", f"{of_peer / own:.1f}")
        print(f"| {job} | {own_text} | {peer} | {of_peer:.3f} | {ratio} |")


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve())
