"""Checks ecgkeep's HDF5 with h5py alone, by schemas/hdf5-layout.md: every file that ecgkeep writes is read here into the model
and compared with the JSON of the same recording; stacks are loaded as arrays; h5dump prints the headers; what h5py changes
is noticed or carries no digest any more.

    python tests/reference/hdf5_check.py PROGRAM FILE...
"""

import hashlib
import json
import os
import subprocess
import sys
import tempfile
from fractions import Fraction

import h5py
import numpy as np

PROGRAM = os.path.abspath(sys.argv[1])
ESCAPE = "\u241b"
faults = []


def run(*arguments, status=0):
    done = subprocess.run([PROGRAM, *arguments], capture_output=True, text=True)
    if done.returncode != status:
        faults.append(f"{' '.join(arguments)}: exit {done.returncode}: {done.stderr.strip()}")
    return done.stderr


def same(what, found, expected):
    if found != expected:
        faults.append(f"{what}: {found!r} where {expected!r} is expected"[:600])


# ---- the layout, as it is documented ----

class Recording:
    def __init__(self, group):
        self.group = group

    def bytes_of(self, number):
        return self.group["values"][number][()].tobytes()

    def cell(self, raw):
        """A cell of a row: None, or a text."""
        text = raw.decode()
        if text == "":
            return None
        if text == ESCAPE:
            return ""
        if text.startswith(ESCAPE + "@"):
            return self.bytes_of(text[2:]).decode()
        return self.unescaped(text)

    def attribute(self, raw):
        text = raw.decode()
        return self.bytes_of(text[2:]).decode() if text.startswith(ESCAPE + "@") else self.unescaped(text)

    @staticmethod
    def unescaped(text):
        parts = text.split(ESCAPE + ESCAPE)
        return ESCAPE.join(part.replace(ESCAPE + "0", "\0") for part in parts)

    def rows(self, name, group=None):
        group = self.group if group is None else group
        return group[name][()] if name in group else []

    def model(self):
        recording = {"subject": {}, "acquisition": {}, "origin": {}}
        for name, value in self.group.attrs.items():
            leaf = {} if isinstance(value, h5py.Empty) else self.attribute(value)
            put(recording, name.split("."), leaf)
        recording = lists(recording)
        put_if(recording, "waveforms", [self.waveform(self.group["waveforms"][str(at)])
                                        for at in range(len(self.group.get("waveforms", [])))])
        put_if(recording, "measurements", [self.measurement(row) for row in self.rows("measurements")])
        put_if(recording, "statements", self.statements())
        put_if(recording, "extras", [self.extra(row) for row in self.rows("extras")])
        return recording

    def waveform(self, group):
        samples = group["samples"]
        attrs = samples.attrs
        filtered = samples.compression == "gzip" and samples.shuffle and samples.fletcher32
        assert samples.chunks and (filtered or samples.size == 0), samples.name
        assert samples.dtype in (np.dtype("<i2"), np.dtype("<i4"))
        counts, signals = samples[()], []
        count = len(counts)
        labels, skews = (attrs.get(name, [b""] * count) for name in ("labels", "skews_s"))
        for at in range(count):
            lead = self.attribute(attrs["leads"][at])
            unit = attrs["measures"][at].decode()
            if unit == "other":
                unit = {"other": self.attribute(attrs["units"][at])}
            signal = {"lead": lead.removeprefix("other:"), "unit": unit, "step": exact(attrs, "steps", at),
                      "offset": exact(attrs, "zeros", at), "derived": bool(attrs.get("derived", [0] * count)[at]),
                      "samples": counts[at].tolist()}
            put_some(signal, "label", self.cell(labels[at]))
            put_some(signal, "skew", self.cell(skews[at]))
            put_if(signal, "missing", [{"start": int(row["start"]), "end": int(row["end"])}
                                       for row in self.rows("missing", group) if row["lead"] == at])
            signals.append(signal)
        made = {"kind": kind(attrs["kind"].decode(), self.attribute(attrs.get("kind_name", b""))),
                "start": exact(attrs, "start_s"), "rate": exact(attrs, "rate_hz"), "signals": signals}
        put_if(made, "marks", [self.mark(group, at, row) for at, row in enumerate(self.rows("marks", group))])
        return made

    def mark(self, group, at, row):
        made = {"sample": int(row["sample"]), "kind": kind(row["kind"].decode(), self.cell(row["name"]) or "")}
        lead = self.cell(row["lead"])
        put_some(made, "lead", lead and lead.removeprefix("other:"))
        put_some(made, "label", self.cell(row["label"]))
        put_some(made, "text", self.cell(row["text"]))
        put_if(made, "codes", self.codes(self.rows("mark_codes", group), at))
        return made

    def codes(self, rows, of):
        codes = []
        for row in rows:
            if row["row"] == of:
                code = {"system": self.cell(row["system"]) or "", "value": self.cell(row["value"]) or ""}
                put_some(code, "meaning", self.cell(row["meaning"]))
                codes.append(code)
        return codes

    def measurement(self, row):
        scope, of = row["scope"].decode(), self.cell(row["of"])
        made = {"kind": kind(row["kind"].decode(), self.cell(row["name"]) or ""),
                "value": row["exact"].decode() or shortest(row["value"]), "unit": self.cell(row["unit"]) or "",
                "scope": scope if of is None else {scope: of if scope == "lead" else int(of)}}
        put_some(made, "formula", self.cell(row["formula"]))
        return made

    def statements(self):
        statements = []
        for row in self.rows("statements"):
            made = {"text": self.cell(row["text"])}
            put_some(made, "status", self.cell(row["status"]))
            put_some(made, "at", self.cell(row["at"]))
            put_if(made, "codes", self.codes(self.rows("statement_codes"), len(statements)))
            statements.append(made)
        for row in self.rows("statement_authors"):
            parts = ("name", "family", "second_family", "given", "middle", "prefix", "suffix")
            name = {"text" if part == "name" else part: self.cell(row[part]) for part in parts}
            name = {part: value for part, value in name.items() if value is not None}
            author = {"name": name} if name else {}
            if self.cell(row["id"]) is not None:
                author["id"] = {"value": self.cell(row["id"])}
                put_some(author["id"], "assigner", self.cell(row["id_assigner"]))
                put_some(author["id"], "kind", self.cell(row["id_kind"]))
            statements[row["row"]]["author"] = author
        return statements

    def extra(self, row):
        if row["kind"] == b"bytes":
            value = {"bytes": list(self.bytes_of(row["value"].decode()[2:]))}
        else:
            value = {"text": self.cell(row["value"])}
        return {"format": self.cell(row["format"]) or "", "address": self.cell(row["address"]) or "", "value": value}


def put(tree, path, leaf):
    for step in path[:-1]:
        tree = tree.setdefault(step, {})
    tree[path[-1]] = leaf


def lists(tree):
    if not isinstance(tree, dict):
        return tree
    if tree and all(name.isdigit() for name in tree):
        return [lists(tree[str(at)]) for at in range(len(tree))]
    return {name: lists(value) for name, value in tree.items()}


def put_if(tree, name, items):
    if len(items):
        tree[name] = items


def put_some(tree, name, value):
    if value is not None:
        tree[name] = value


def shortest(number):
    """The shortest decimal that is read as this number: what Python prints."""
    return repr(float(number)).removesuffix(".0")


def exact(attrs, name, at=None):
    number, text = attrs[name], attrs.get(name + "_exact")
    if at is not None:
        number, text = number[at], None if text is None else text[at]
    return (text.decode() if text is not None else "") or shortest(number)


def kind(word, name):
    if not name:
        return {"other": ""} if word == "other" else word
    if word in ("onset", "peak", "offset") and name.startswith("other:"):
        return {word: {"other": name.removeprefix("other:")}}
    if word == "representative_beat":
        return {word: {"class": int(name.removeprefix("class:"))}}
    return {word: name}


def equal(what, found, expected):
    """Equal but for how an exact number is spelled."""
    if isinstance(expected, dict) and isinstance(found, dict):
        for name in expected.keys() | found.keys():
            if name not in found or name not in expected:
                faults.append(f"{what}: {name} is on one side only")
            else:
                equal(f"{what}.{name}", found[name], expected[name])
    elif isinstance(expected, list) and isinstance(found, list) and len(expected) == len(found):
        for at, (a, b) in enumerate(zip(found, expected)):
            equal(f"{what}.{at}", a, b)
    elif isinstance(expected, str) and isinstance(found, str) and expected != found:
        try:
            same(what, Fraction(found), Fraction(expected))
        except (ValueError, ZeroDivisionError):
            same(what, found, expected)
    else:
        same(what, found, expected)


# ---- the checks ----

def check_file(path, folder):
    """A recording as HDF5, read here, beside the same recording as JSON."""
    ours, model = os.path.join(folder, "r.h5"), os.path.join(folder, "r.json")
    run("convert", path, ours, "--overwrite")
    run("convert", path, model, "--overwrite")
    with open(model, encoding="utf-8") as document:
        expected = json.load(document)["recordings"]
    with h5py.File(ours) as file:
        same(path + ": schema", file.attrs["schema"], b"ecgkeep-hdf5/1")
        found = [Recording(file["recordings"][str(at)]).model() for at in range(len(file["recordings"]))]
    equal(path, found, expected)
    check_digest(ours)
    dump = subprocess.run(["h5dump", "-H", ours], capture_output=True, text=True)
    for name in ('ATTRIBUTE "schema"', 'GROUP "recordings"', 'DATASET "samples"', 'ATTRIBUTE "leads"', "H5T_STD_I16LE"):
        if name not in dump.stdout:
            faults.append(f"{path}: h5dump -H does not print {name}")
    return expected


def check_digest(path):
    with open(path, "rb") as file:
        content, line = (data := file.read())[:-86], data[-86:]
    same(path + ": digest", line, f"\necgkeep-hdf5 sha256 {hashlib.sha256(content).hexdigest()}\n".encode())


def check_changes(path):
    """What is changed through HDF5 is read, without a digest; what is changed beside it is noticed."""
    with h5py.File(path, "r+") as file:
        file["recordings/0"].attrs["subject.name.family"] = np.array(b"Moor", dtype=h5py.string_dtype("utf-8", 4))
    with open(path, "rb") as file:
        same("the digest after a change through h5py", b"ecgkeep-hdf5 sha256" in file.read(), False)
    run("show", path)
    again = path + ".again.h5"
    run("convert", path, again)
    with open(again, "r+b") as file:
        file.seek(1000)
        byte = file.read(1)
        file.seek(1000)
        file.write(bytes([byte[0] ^ 1]))
    run("show", again, status=6)


def check_stack(expected, folder, numpy_only):
    """Recordings of one size, stacked from one JSON file."""
    document, ours = os.path.join(folder, "all.json"), os.path.join(folder, "all.h5")
    with open(document, "w", encoding="utf-8") as file:
        json.dump({"schema": "ecgkeep-recording/1", "recordings": expected}, file)
    said = run("convert", document, ours, "--option", "stack=" + numpy_only, "--overwrite")
    if "not kept" not in said:
        faults.append("a stack leaves things out and does not say so")
    with h5py.File(ours) as file:
        stack = file["stack"]
        values = stack["samples"][:] * stack["steps"][:][:, :, None] + stack["zeros"][:][:, :, None]
        leads = [lead.decode() for lead in stack["samples"].attrs["leads"]]
        for number, recording in enumerate(expected):
            for lead, signal in enumerate(recording["waveforms"][0]["signals"]):
                same("lead", leads[lead], signal["lead"])
                step, zero = (float(Fraction(signal[name])) for name in ("step", "offset"))
                expected_values = np.array(signal["samples"]) * step + zero
                if not np.allclose(values[number, lead], expected_values, rtol=1e-12, atol=0):
                    faults.append(f"stack, recording {number}, lead {leads[lead]}: other values")
            subject = recording["subject"]
            same("sex", stack["recordings"]["sex"][number].decode(), subject.get("sex", ""))
            age = subject.get("age")
            if age and stack["recordings"]["age"][number] != float(Fraction(age["value"])):
                faults.append(f"stack, recording {number}: another age")
        same("identities", "identities" in stack, numpy_only == "with-identity")
        if numpy_only == "with-identity":
            names = [row.decode() for row in stack["identities"]["family"]]
            same("names", names, [one["subject"].get("name", {}).get("family", "") for one in expected])
    with open(ours, "rb") as file:
        content = file.read()
    for recording in expected:
        family = recording["subject"].get("name", {}).get("family", "").encode()
        if family and (family in content) != (numpy_only == "with-identity"):
            faults.append(f"stack {numpy_only}: the family name {family.decode()} is there or not as it should")
    check_digest(ours)


def check_together(files, folder):
    """Many files in one, in groups in their order; and stacked, the same as from one file that held them all."""
    names = [name for name, _ in files]
    ours, stacked = os.path.join(folder, "together.h5"), os.path.join(folder, "stacked.h5")
    run("convert", *names, "-o", ours)
    with h5py.File(ours) as file:
        same("recordings in one file", sorted(file["recordings"], key=int), [str(at) for at in range(len(files))])
        for at, (name, expected) in enumerate(files):
            equal(f"{name} in one file", Recording(file["recordings"][str(at)]).model(), expected)
    check_digest(ours)
    run("convert", *names, "-o", stacked, "--option", "stack=without-identity")
    run("convert", ours, os.path.join(folder, "once.h5"), "--option", "stack=without-identity")
    with open(stacked, "rb") as one, open(os.path.join(folder, "once.h5"), "rb") as other:
        same("a stack of many files", one.read() == other.read(), True)
    with h5py.File(stacked) as file:
        same("the shape of a stack", file["stack/samples"].shape[0], len(files))
        same("identities", "identities" in file["stack"], False)


with tempfile.TemporaryDirectory() as work:
    recordings, files = [], []
    for name in sys.argv[2:]:
        of_file = check_file(name, work)
        files += [(name, one) for one in of_file]
        recordings += of_file
    check_changes(os.path.join(work, "r.h5"))
    first = recordings[-1]["waveforms"][0]
    alike = [one for one in recordings if one.get("waveforms") and
             [s["lead"] for s in one["waveforms"][0]["signals"]] == [s["lead"] for s in first["signals"]] and
             one["waveforms"][0]["rate"] == first["rate"] and one["waveforms"][0]["start"] == first["start"] and
             len(one["waveforms"][0]["signals"][0]["samples"]) == len(first["signals"][0]["samples"])]
    if len(alike) < 3:
        faults.append(f"only {len(alike)} recordings can be stacked")
    for choice in ("without-identity", "with-identity"):
        check_stack(alike, work, choice)
    check_together([(name, one) for name, one in files if one in alike], work)

print("\n".join(faults) or f"HDF5: {len(recordings)} recordings read with h5py as the model says, {len(alike)} stacked")
sys.exit(bool(faults))
