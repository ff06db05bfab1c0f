"""Times lxml and numpy reading an aECG document into arrays of microvolts, to set beside `cargo bench -p ecgkeep-aecg`.

    python tests/reference/aecg_speed.py [DOCUMENT]

Without a document it makes one of 12 leads of 5000 samples. Prints the least and the median of 50 runs, in this
process, on this machine: run both close together.
"""

import statistics
import sys
import time
from pathlib import Path

import numpy
from lxml import etree

H = "{urn:hl7-org:v3}"


def document():
    sys.path.insert(0, str(Path(__file__).resolve().parent))
    import aecg_write

    random = numpy.random.default_rng(7)
    names = ["I", "II", "III", "AVR", "AVL", "AVF", "V1", "V2", "V3", "V4", "V5", "V6"]
    leads = []
    for name in names:
        samples = numpy.cumsum(random.integers(-20, 21, 5000)).clip(-3000, 3000)
        leads.append(aecg_write.lead(name, " ".join(map(str, samples))))
    body = aecg_write.series(aecg_write.sequence_set(aecg_write.times(), *leads))
    return aecg_write.document(body).encode()


def read(data):
    leads = {}
    for sequence in etree.fromstring(data, etree.XMLParser(huge_tree=True)).iter(f"{H}sequence"):
        value = sequence.find(f"{H}value")
        digits = value.find(f"{H}digits")
        if digits is None:
            continue
        origin = float(value.find(f"{H}origin").get("value"))
        scale = float(value.find(f"{H}scale").get("value"))
        samples = numpy.array(digits.text.split(), dtype=numpy.int32)
        leads[sequence.find(f"{H}code").get("code")] = origin + scale * samples
    return leads


def main():
    data = Path(sys.argv[1]).read_bytes() if len(sys.argv) == 2 else document()
    times = []
    for _ in range(50):
        start = time.perf_counter()
        leads = read(data)
        times.append((time.perf_counter() - start) * 1000)
    count = sum(len(samples) for samples in leads.values())
    print(f"{len(data)} bytes, {len(leads)} leads, {count} samples")
    print(f"lxml + numpy: least {min(times):.2f} ms, median {statistics.median(times):.2f} ms")


if __name__ == "__main__":
    main()
