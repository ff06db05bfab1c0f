"""Checks what ecgkeep writes as aECG with lxml and numpy only, and reads back what the independent writer wrote.

    python tests/reference/aecg_check.py PROGRAM [RECORDS...]

PROGRAM is the built `ecgkeep`. Every good document of fixtures/aecg is converted to aECG again, and every WFDB record
below RECORDS (folders; headers of format 16 are read here, with numpy) is converted to aECG. Of each document written here:

  * origin + scale x digits, computed as exact fractions, equals the source's values;
  * the time sequence gives the source's rate;
  * xmllint accepts it against schemas/aecg-written.rng, unless it holds extras of an earlier document.

Then compare must list exactly what convert said is lost.
"""

import json
import shutil
import subprocess
import sys
import tempfile
from fractions import Fraction
from pathlib import Path

import numpy
from lxml import etree

ROOT = Path(__file__).resolve().parents[2]
SCHEMA = ROOT / "schemas" / "aecg-written.rng"
NANOVOLTS = {"nV": 1, "uV": 1000, "mV": 10**6, "V": 10**9}
H = "{urn:hl7-org:v3}"
XSI_TYPE = "{http://www.w3.org/2001/XMLSchema-instance}type"


def run(program, *arguments, allowed=(0,)):
    result = subprocess.run([program, *map(str, arguments)], capture_output=True, text=True)
    if result.returncode not in allowed:
        sys.exit(f"ecgkeep {' '.join(map(str, arguments))}: exit {result.returncode}\n{result.stderr}")
    return result


def leads_of(document):
    """Of each sequence set: its rate, and (code, numerators over one denominator) of each lead."""
    for sequence_set in etree.parse(str(document)).iter(f"{H}sequenceSet"):
        rate, leads = None, []
        for sequence in sequence_set.iter(f"{H}sequence"):
            code, value = sequence.find(f"{H}code"), sequence.find(f"{H}value")
            increment = value.find(f"{H}increment")
            if increment is not None:
                rate = 1 / Fraction(increment.get("value"))
                continue
            parts = {}
            for name in ("origin", "scale"):
                part = value.find(f"{H}{name}")
                unit = NANOVOLTS[part.get("unit")] if value.get(XSI_TYPE) == "SLIST_PQ" else 10**9
                parts[name] = Fraction(part.get("value")) * unit
            digits = numpy.array(value.find(f"{H}digits").text.split(), dtype=numpy.int64)
            leads.append((code.get("code") or code.get("displayName"), parts["origin"], parts["scale"], digits))
        yield rate, leads


def exact_values(origin, scale, digits):
    return [origin + scale * int(digit) for digit in digits]


def validates(document, failures):
    result = subprocess.run(["xmllint", "--noout", "--relaxng", str(SCHEMA), str(document)], capture_output=True, text=True)
    if result.returncode != 0:
        failures.append(f"{document.name}: does not validate: {result.stderr.strip().splitlines()[:2]}")


def check_losses(program, source, document, failures):
    """compare lists exactly what convert said is lost: as many items, each the beginning of what convert said."""
    with tempfile.TemporaryDirectory() as folder:
        said = json.loads(run(program, "convert", "--json", source, Path(folder) / "r.xml").stdout.splitlines()[0])
    seen = json.loads(run(program, "compare", "--json", source, document, allowed=(0, 1)).stdout.splitlines()[0])
    losses, differences = said["losses"], seen["differences"]
    kinds = [next(iter(item["change"])) for item in differences]
    found = [(f", {item['at']}: " if item["at"] else ": ") for item in differences]
    agree = len(losses) == len(differences) and all(
        at in loss and (kind != "lost" or ": lost: " in loss) for at, kind, loss in zip(found, kinds, losses)
    )
    if not agree:
        failures.append(f"{document.name}: convert says {losses[:3]}, compare {differences[:3]}")


def check_fixtures(program, folder, failures):
    count = 0
    for source in sorted((ROOT / "fixtures" / "aecg" / "good").glob("*.xml")):
        document = folder / source.name
        run(program, "convert", source, document)
        expected = [line for line in source.with_suffix(".expected").read_text().splitlines() if line.startswith("lead ")]
        found = []
        for _, leads in leads_of(document):
            for _, origin, scale, digits in leads:
                found.append(exact_values(origin, scale, digits))
        wanted = [[Fraction(number) for number in line.split(": ", 1)[1].split()] for line in expected]
        if found != wanted:
            failures.append(f"{source.name}: values differ from the writer's")
        if "extra " not in source.with_suffix(".expected").read_text():
            validates(document, failures)
        check_losses(program, source, document, failures)
        count += 1
    return count


def read_header(path):
    """Leads of a one-file record in format 16: name, nanovolts a count, baseline (header(5) of WFDB)."""
    lines = [line for line in path.read_text().splitlines() if line and not line.startswith("#")]
    count, rate = int(lines[0].split()[1]), Fraction(lines[0].split()[2].split("/")[0])
    leads = []
    for line in lines[1 : 1 + count]:
        fields = line.split()
        if fields[1] != "16":
            return None
        gain, unit = (fields[2].split("/") + ["mV"])[:2]
        baseline = int(fields[4])
        if "(" in gain:
            gain, inner = gain.rstrip(")").split("(")
            baseline = int(inner)
        leads.append((fields[-1], Fraction(NANOVOLTS[unit]) / Fraction(gain), baseline))
    samples = numpy.fromfile(path.with_name(lines[1].split()[0]), dtype="<i2").reshape(-1, count)
    return rate, leads, samples


def check_records(program, records, folder, failures):
    count = 0
    for header in sorted(records.rglob("*.hea")):
        record = read_header(header)
        if record is None:
            continue
        rate, leads, samples = record
        document = folder / f"{header.stem}.xml"
        run(program, "convert", header, document)
        (found_rate, found), *more = list(leads_of(document))
        if more or found_rate != rate or len(found) != len(leads):
            failures.append(f"{header.name}: {found_rate} Hz, {len(found)} leads")
            continue
        for column, ((_, step, baseline), (code, origin, scale, digits)) in enumerate(zip(leads, found)):
            # the same fraction on both sides: origin + scale x digit and step x (sample - baseline)
            common = (origin.denominator * scale.denominator * step.denominator)
            left = int(origin * common) + int(scale * common) * digits.astype(object)
            right = int(step * common) * (samples[:, column].astype(object) - baseline)
            if not (left == right).all():
                failures.append(f"{header.name}, {code}: samples differ")
        validates(document, failures)
        check_losses(program, header, document, failures)
        count += 1
    return count


def main():
    if len(sys.argv) < 2:
        sys.exit(__doc__)
    program = shutil.which(sys.argv[1]) or sys.argv[1]
    failures = []
    with tempfile.TemporaryDirectory() as folder:
        count = check_fixtures(program, Path(folder), failures)
    print(f"{count} documents of the independent writer written again")
    for records in map(Path, sys.argv[2:] or [ROOT / "examples" / "larkmoor"]):
        if not records.is_dir():
            print(f"skipped: WFDB records to aECG: {records.name} is not here")
            continue
        with tempfile.TemporaryDirectory() as folder:
            count = check_records(program, records, Path(folder), failures)
        print(f"{count} WFDB records of {records.name} written as aECG")
    for failure in failures:
        print(f"FAIL {failure}")
    print(f"{len(failures)} failures")
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()
