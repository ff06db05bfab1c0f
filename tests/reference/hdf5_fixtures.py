"""Writes fixtures/hdf5 with h5py alone, from schemas/hdf5-layout.md and not from our writer: good files with the model that
is expected of them, files that depart, and files that must be refused. The texts beside departing and bad files are ours.

    python tests/reference/hdf5_fixtures.py FOLDER          writes them
    python tests/reference/hdf5_fixtures.py --check FOLDER  compares what is there with what would be written
"""

import json
import os
import sys
import tempfile

import h5py
import numpy as np

SCHEMA = "ecgkeep-hdf5/1"
ESCAPE = "\u241b"


def text(value, length=None):
    """A text of a fixed length in UTF-8."""
    data = value.encode()
    return np.array(data, dtype=h5py.string_dtype("utf-8", length or max(1, len(data))))


def texts(values):
    length = max([1] + [len(value.encode()) for value in values])
    return np.array([value.encode() for value in values], dtype=h5py.string_dtype("utf-8", length))


def rows(group, name, numbers, columns, *values, dtype_of_text=None):
    """Rows: numbers first, then texts of one length."""
    cells = [cell.encode() for row in values for cell in row[len(numbers):]]
    kind = dtype_of_text or h5py.string_dtype("utf-8", max([1] + [len(cell) for cell in cells]))
    dtype = np.dtype(numbers + [(column, kind) for column in columns])
    made = [tuple(row[:len(numbers)]) + tuple(cell.encode() for cell in row[len(numbers):]) for row in values]
    group.create_dataset(name, data=np.array(made, dtype=dtype))


I8, F8 = "<i8", "<f8"
MARKS = ([("sample", I8)], ["lead", "kind", "name", "label", "text"])
CODES = ([("row", I8)], ["system", "value", "meaning"])
MISSING = ([("lead", I8), ("start", I8), ("end", I8)], [])
MEASUREMENTS = ([("value", F8)], ["kind", "name", "exact", "unit", "scope", "of", "formula"])
STATEMENTS = ([], ["text", "status", "at"])
AUTHORS = ([("row", I8)], ["name", "family", "second_family", "given", "middle", "prefix", "suffix", "id",
                           "id_assigner", "id_kind"])
EXTRAS = ([], ["format", "address", "kind", "value"])
SUBJECTS = ([(name, F8) for name in ("age", "height", "weight", "systolic", "diastolic", "high_pass_hz", "low_pass_hz",
                                     "mains_hz")],
            ["sex", "age_unit", "height_unit", "weight_unit", "systolic_unit", "diastolic_unit"])
IDENTITIES = ([], ["id", "id_assigner", "id_kind", "name", "family", "second_family", "given", "middle", "prefix", "suffix",
                   "birth_date", "start"])
STACKED_MEASUREMENTS = ([("recording", I8), ("value", F8)], MEASUREMENTS[1])
STACKED_STATEMENTS = ([("recording", I8)], ["status"])
STACKED_CODES = ([("recording", I8), ("row", I8)], ["system", "value"])
STACKED_MARKS = ([("recording", I8), ("sample", I8)], ["lead", "kind", "name", "label"])
STACKED_MISSING = ([("recording", I8)] + MISSING[0], [])

COUNTS = [[0, 3, -7, 120, 32767, -32768, 5, 1], [1, 1, 2, 3, 5, 8, 13, 21]]


def file(path, **options):
    made = h5py.File(path, "w", **options)
    made.attrs["schema"] = text(SCHEMA)
    return made


def waveform(parent, number="0", counts=COUNTS, dtype="<i2", leads=("II", "V5"), rate=500.0, steps=None, **options):
    group = parent.require_group("waveforms").create_group(number)
    samples = group.create_dataset("samples", data=np.array(counts, dtype=dtype), **options)
    samples.attrs["kind"] = text("rhythm")
    samples.attrs["rate_hz"] = rate
    samples.attrs["leads"] = texts(leads)
    samples.attrs["units"] = texts(["V"] * len(leads))
    samples.attrs["steps"] = np.array(steps or [5000.0] * len(leads))
    return group


def plain(path, **options):
    made = file(path)
    recording = made.create_group("recordings/0")
    waveform(recording, **options)
    return made, recording


def signal(lead, samples, step="5000", **more):
    return {"lead": lead, "unit": "volt", "step": step, "offset": "0", "derived": False, "samples": samples, **more}


def expected_waveform(signals, rate="500", kind="rhythm", start="0", **more):
    return {"kind": kind, "start": start, "rate": rate, "signals": signals, **more}


def expected_plain(**more):
    signals = [signal("II", COUNTS[0]), signal("V5", COUNTS[1])]
    return {"subject": {}, "acquisition": {}, "waveforms": [expected_waveform(signals)],
            "origin": {"format": "hdf5", "record": "0"}, **more}


# ---- good ----

def good_shortest(path):
    """As little as the layout allows."""
    plain(path)[0].close()
    return [expected_plain()]


def good_everything(path):
    """Every part of the layout."""
    made = file(path)
    recording = made.create_group("recordings/0")
    leaves = {
        "subject.identifiers.0.value": "LM-0042",
        "subject.identifiers.0.assigner": "Larkmoor day clinic",
        "subject.name.family": "Tarn",
        "subject.name.given": "Odile",
        "subject.name.text": "",
        "subject.birth_date": "1961-04",
        "subject.sex.other": "X-2",
        "subject.age.value": "1/3",
        "subject.age.unit": "a",
        "subject.medications.0.text": "Tab. \u00b5",
        "subject.medications.0.codes.0.system": "local",
        "subject.medications.0.codes.0.value": "17",
        "acquisition.start": "2026-03-02T09:14:05.25+01:00",
        "acquisition.operators.1.id.value": "4711",
        "acquisition.filters.low_pass_hz": "150",
        "acquisition.filters.notch_hz.0": "50",
        "acquisition.remarks.0": "with" + ESCAPE + "0a zero, " + ESCAPE + ESCAPE + " and a long one behind",
        "acquisition.remarks.1": ESCAPE + "@1",
        "origin.format": "scp",
        "origin.record": "r7",
    }
    for name, value in leaves.items():
        recording.attrs[name] = text(value)
    recording.attrs["acquisition.operators.0"] = h5py.Empty(h5py.string_dtype("utf-8", 1))
    long = "a remark that goes on and on; " * 200
    recording.create_group("values")["0"] = np.frombuffer(b"\0\x01\xfe\xff", dtype="u1")
    recording["values"].create_dataset("1", data=np.frombuffer(long.encode(), dtype="u1"), chunks=(1000,), compression=4,
                                       shuffle=True, fletcher32=True)
    first = waveform(recording, "0", [[0, 3, 0, 0, 40000, -32768], [1, 1, 2, 3, 0, 8], [9, 8, 7, 6, 5, 4]], "<i4",
                     ["aVR", "other:own", "resp"], 250.0, [204.91803278688525, -2441.40625, 0.3333333333333333],
                     chunks=(1, 6), compression=9, shuffle=True, fletcher32=True)
    samples = first["samples"]
    samples.attrs["start_s"] = 0.004
    samples.attrs["measures"] = texts(["volt", "volt", "other"])
    samples.attrs["units"] = texts(["V", "V", "mm[Hg]"])
    samples.attrs["steps_exact"] = texts(["", "", "1/3"])
    samples.attrs["zeros"] = np.array([0.0, 12.5, -3.0])
    samples.attrs["labels"] = texts(["AVR", "", ESCAPE])
    samples.attrs["derived"] = np.array([1, 0, 0], dtype="u1")
    samples.attrs["skews_s"] = texts(["", "1/250", ""])
    samples.attrs["value"] = text("zeros + steps * count, in 1e-9 of units (nV where units is V)")
    rows(first, "missing", *MISSING, (0, 2, 4), (1, 4, 5))
    rows(first, "marks", *MARKS, (-3, "", "beat", "", "N", ""), (2, "aVR", "onset", "p", "", ESCAPE),
         (5, "other:own", "peak", "other:delta", "", "text \u00b5"), (2 ** 40, "", "other", "gap", "", ""))
    rows(first, "mark_codes", *CODES, (1, "WFDB annotation", "atr 39", ""), (1, "", "x", "onset"))
    beat = waveform(recording, "1", [[-5, 5, 0]], "i1", ["II"], 500.0, [5000.0])
    beat["samples"].attrs["kind"] = text("representative_beat")
    beat["samples"].attrs["kind_name"] = text("class:2")
    rows(recording, "measurements", *MEASUREMENTS, (61.0, "heart_rate", "", "", "/min", "global", "", ""),
         (0.3333333333333333, "qtc_interval", "", "1/3", "s", "lead", "V2", "Bazett"),
         (-12.75, "other", "slope", "", "", "beat_class", "0", ""), (3.0, "p_axis", "", "", "deg", "beat", "7", ""))
    rows(recording, "statements", *STATEMENTS, ("Sinus rhythm", "over_read", "2026-03-02T09:20"), (ESCAPE, "", ""))
    rows(recording, "statement_codes", *CODES, (0, "local", "SR", ""))
    rows(recording, "statement_authors", *AUTHORS, (0, "", "Brook", "", "Ines", "", "Dr", "", "77", "Larkmoor", ""),
         (1, "", "", "", "", "", "", "", "", "", ""))
    rows(recording, "extras", *EXTRAS, ("scp", "section 0", "bytes", ESCAPE + "@0"), ("wfdb", "comment", "text", "a note"))
    made.close()
    signals = [
        signal("aVR", [0, 3, 0, 0, 40000, -32768], "204.91803278688525", label="AVR", derived=True,
               missing=[{"start": 2, "end": 4}]),
        signal("own", [1, 1, 2, 3, 0, 8], "-2441.40625", offset="12.5", missing=[{"start": 4, "end": 5}], skew="0.004"),
        signal("resp", [9, 8, 7, 6, 5, 4], "1/3", offset="-3", unit={"other": "mm[Hg]"}, label=""),
    ]
    marks = [
        {"sample": -3, "kind": "beat", "label": "N"},
        {"sample": 2, "lead": "aVR", "kind": {"onset": "p"}, "text": "",
         "codes": [{"system": "WFDB annotation", "value": "atr 39"}, {"system": "", "value": "x", "meaning": "onset"}]},
        {"sample": 5, "lead": "own", "kind": {"peak": {"other": "delta"}}, "text": "text \u00b5"},
        {"sample": 2 ** 40, "kind": {"other": "gap"}},
    ]
    return [{
        "subject": {
            "identifiers": [{"value": "LM-0042", "assigner": "Larkmoor day clinic"}],
            "name": {"text": "", "family": "Tarn", "given": "Odile"},
            "birth_date": "1961-04", "sex": {"other": "X-2"}, "age": {"value": "1/3", "unit": "a"},
            "medications": [{"text": "Tab. \u00b5", "codes": [{"system": "local", "value": "17"}]}],
        },
        "acquisition": {
            "start": "2026-03-02T09:14:05.25+01:00", "operators": [{}, {"id": {"value": "4711"}}],
            "filters": {"low_pass_hz": "150", "notch_hz": ["50"]},
            "remarks": ["with\0a zero, \u241b and a long one behind", long],
        },
        "waveforms": [
            expected_waveform(signals, "250", start="0.004", marks=marks),
            expected_waveform([signal("II", [-5, 5, 0])], kind={"representative_beat": {"class": 2}}),
        ],
        "measurements": [
            {"kind": "heart_rate", "value": "61", "unit": "/min", "scope": "global"},
            {"kind": "qtc_interval", "value": "1/3", "unit": "s", "scope": {"lead": "V2"}, "formula": "Bazett"},
            {"kind": {"other": "slope"}, "value": "-12.75", "unit": "", "scope": {"beat_class": 0}},
            {"kind": "p_axis", "value": "3", "unit": "deg", "scope": {"beat": 7}},
        ],
        "statements": [
            {"text": "Sinus rhythm", "codes": [{"system": "local", "value": "SR"}], "status": "over_read",
             "at": "2026-03-02T09:20",
             "author": {"name": {"family": "Brook", "given": "Ines", "prefix": "Dr"},
                        "id": {"value": "77", "assigner": "Larkmoor"}}},
            {"text": "", "author": {}},
        ],
        "extras": [{"format": "scp", "address": "section 0", "value": {"bytes": [0, 1, 254, 255]}},
                   {"format": "wfdb", "address": "comment", "value": {"text": "a note"}}],
        "origin": {"format": "scp", "record": "r7"},
    }]


def good_two_recordings(path):
    """Two recordings, of one byte a sample and of two without a sign; attributes in ASCII; the newest form of the file."""
    made = file(path, libver="latest")
    waveform(made.create_group("recordings/0"), counts=[[0, 255]], dtype="u1", leads=["I"])
    second = made.create_group("recordings/1")
    second.attrs["subject.name.text"] = np.bytes_("Odile Tarn")
    waveform(second, counts=[[0, 65535]], dtype="<u2", leads=["III"], rate=np.int64(360), chunks=True)
    made.close()
    one = expected_plain(waveforms=[expected_waveform([signal("I", [0, 255])])])
    two = expected_plain(subject={"name": {"text": "Odile Tarn"}}, origin={"format": "hdf5", "record": "1"},
                         waveforms=[expected_waveform([signal("III", [0, 65535])], "360")])
    return [one, two]


def good_as_python_writes_it(path):
    """What h5py makes of plain Python values: texts of variable length, whole numbers, columns in another order and of several
    lengths; and samples with the high byte first, in chunks that do not divide them."""
    made = h5py.File(path, "w")
    made.attrs["schema"] = SCHEMA
    recording = made.create_group("recordings/0")
    recording.attrs["subject.name.text"] = "Odile Tarn"
    recording.attrs["subject.sex"] = "female"
    recording.attrs["acquisition.institution"] = ""
    for number in range(12):
        recording.attrs[f"acquisition.remarks.{number}"] = f"remark {number}"
    group = recording.create_group("waveforms/0")
    samples = group.create_dataset("samples", data=np.array(COUNTS, ">i2"), chunks=(1, 5), compression=1, shuffle=True,
                                   fletcher32=True)
    samples.attrs["kind"] = "rhythm"
    samples.attrs["rate_hz"] = 500
    samples.attrs["leads"] = ["II", "V5"]
    samples.attrs["units"] = ["V", "V"]
    samples.attrs["steps"] = [5000, 5000]
    dtype = np.dtype([("kind", h5py.string_dtype()), ("sample", "<u2"), ("lead", h5py.string_dtype("ascii", 3))])
    group["marks"] = np.array([("beat", 3, b"V5"), ("rhythm", 7, b"")], dtype=dtype)
    dtype = np.dtype([("status", h5py.string_dtype("utf-8", 12)), ("text", h5py.string_dtype())])
    recording["statements"] = np.array([(b"confirmed", "Sinus rhythm"), (b"", "\u00b5")], dtype=dtype)
    made.close()
    model = expected_plain(subject={"name": {"text": "Odile Tarn"}, "sex": "female"},
                           acquisition={"institution": "", "remarks": [f"remark {number}" for number in range(12)]},
                           statements=[{"text": "Sinus rhythm", "status": "confirmed"}, {"text": "\u00b5"}])
    model["waveforms"][0]["marks"] = [{"sample": 3, "kind": "beat", "lead": "V5"}, {"sample": 7, "kind": "rhythm"}]
    return [model]


def good_twelve_recordings(path):
    """As many as do not fit one node of a table of names."""
    made = file(path)
    for number in range(12):
        waveform(made.create_group(f"recordings/{number}"), counts=[[number, -number]], leads=["I"])
    made.close()
    return [expected_plain(waveforms=[expected_waveform([signal("I", [number, -number])])],
                           origin={"format": "hdf5", "record": str(number)}) for number in range(12)]


def stack(path, recordings=3, leads=("I", "V2"), length=4, dtype="<i2"):
    made = file(path)
    group = made.create_group("stack")
    counts = np.arange(recordings * len(leads) * length, dtype=dtype).reshape(recordings, len(leads), length)
    samples = group.create_dataset("samples", data=counts, chunks=(1, len(leads), length), compression=6, shuffle=True)
    samples.attrs["kind"] = text("rhythm")
    samples.attrs["rate_hz"] = 500.0
    samples.attrs["leads"] = texts(leads)
    samples.attrs["units"] = texts(["V"] * len(leads))
    group["steps"] = np.full((recordings, len(leads)), 5000.0)
    return made, group, counts


def good_stack(path):
    """A stack with every table."""
    made, group, counts = stack(path)
    group["steps"][1, 1] = 1 / 3
    exact = np.full((3, 2), b"", dtype=h5py.string_dtype("utf-8", 3))
    exact[1, 1] = b"1/3"
    group["steps_exact"] = exact
    group["zeros"] = np.array([[0.0, 0.0], [0.0, -2.5], [7.0, 0.0]])
    group["derived"] = np.array([[0, 0], [1, 0], [0, 0]], dtype="u1")
    nan = float("nan")
    rows(group, "recordings", *SUBJECTS, (54.0, 172.5, nan, 120.0, 80.0, 0.05, 150.0, 50.0, "female", "a", "cm", "", "mm[Hg]",
                                          "mm[Hg]"),
         (nan,) * 8 + ("",) * 6, (nan,) * 8 + ("unknown",) + ("",) * 5)
    rows(group, "identities", *IDENTITIES, ("LM-1", "Larkmoor", "", "", "Tarn", "", "Odile", "", "", "", "1961", "2026-03-02"),
         ("",) * 12, ("", "", "", ESCAPE) + ("",) * 8)
    rows(group, "measurements", *STACKED_MEASUREMENTS, (2, 61.0, "heart_rate", "", "", "/min", "global", "", ""))
    rows(group, "statements", *STACKED_STATEMENTS, (0, "confirmed"), (2, ""), (2, "unconfirmed"))
    rows(group, "statement_codes", *STACKED_CODES, (0, 0, "local", "SR"), (2, 2, "local", "AF"))
    rows(group, "marks", *STACKED_MARKS, (1, 3, "V2", "peak", "qrs", "N"))
    rows(group, "missing", *STACKED_MISSING, (0, 0, 0, 1))
    made.close()
    steps = [["5000", "5000"], ["5000", "1/3"], ["5000", "5000"]]
    zeros = [["0", "0"], ["0", "-2.5"], ["7", "0"]]
    models = []
    for number in range(3):
        signals = [signal(lead, counts[number, at].tolist(), steps[number][at], offset=zeros[number][at])
                   for at, lead in enumerate(["I", "V2"])]
        models.append({"subject": {}, "acquisition": {}, "waveforms": [expected_waveform(signals)],
                       "origin": {"format": "hdf5", "record": str(number)}})
    models[0]["waveforms"][0]["signals"][0]["missing"] = [{"start": 0, "end": 1}]
    models[1]["waveforms"][0]["signals"][0]["derived"] = True
    models[1]["waveforms"][0]["marks"] = [{"sample": 3, "lead": "V2", "kind": {"peak": "qrs"}, "label": "N"}]
    pressure = {name: {"value": value, "unit": "mm[Hg]"} for name, value in [("systolic", "120"), ("diastolic", "80")]}
    models[0]["subject"] = {"identifiers": [{"value": "LM-1", "assigner": "Larkmoor"}],
                            "name": {"family": "Tarn", "given": "Odile"}, "birth_date": "1961", "sex": "female",
                            "age": {"value": "54", "unit": "a"}, "height": {"value": "172.5", "unit": "cm"}, **pressure}
    models[0]["acquisition"] = {"start": "2026-03-02", "filters": {"high_pass_hz": "0.05", "low_pass_hz": "150"},
                                "mains_hz": "50"}
    models[0]["statements"] = [{"text": "", "codes": [{"system": "local", "value": "SR"}], "status": "confirmed"}]
    models[2]["subject"] = {"name": {"text": ""}, "sex": "unknown"}
    models[2]["measurements"] = [{"kind": "heart_rate", "value": "61", "unit": "/min", "scope": "global"}]
    models[2]["statements"] = [{"text": ""},
                               {"text": "", "codes": [{"system": "local", "value": "AF"}], "status": "unconfirmed"}]
    return models


# ---- departing ----

def departs_text_beside_number(path):
    """The rate as a number and as a text differ."""
    made, recording = plain(path)
    recording["waveforms/0/samples"].attrs["rate_hz_exact"] = text("1501/3")
    made.close()


def departs_more_than_the_layout(path):
    """Items and attributes of somebody's own, everywhere."""
    made, recording = plain(path)
    made.attrs["study"] = "a study"
    made["notes"] = np.arange(3)
    recording.attrs["label"] = 1
    recording["embedding"] = np.zeros(4)
    recording["waveforms/0/filtered"] = np.zeros((2, 8))
    recording["waveforms/0/samples"].attrs["quality"] = 0.5
    made.close()


def departs_bytes_behind(path):
    """Bytes behind the end that the superblock states."""
    plain(path)[0].close()
    with open(path, "ab") as more:
        more.write(b"behind the end")


# ---- bad ----

def bad_no_schema(path):
    made, _ = plain(path)
    del made.attrs["schema"]
    made.close()


def bad_other_schema(path):
    made, _ = plain(path)
    made.attrs["schema"] = text("somebodys-layout/3")
    made.close()


def bad_newer_schema(path):
    made, _ = plain(path)
    made.attrs["schema"] = text("ecgkeep-hdf5/2")
    made.close()


def bad_nothing_in_it(path):
    file(path).close()


def bad_gap_in_numbers(path):
    made = file(path)
    waveform(made.create_group("recordings/0"))
    waveform(made.create_group("recordings/2"))
    made.close()


def bad_unknown_path(path):
    made, recording = plain(path)
    recording.attrs["subject.nickname"] = text("Odi")
    made.close()


def bad_list_with_a_gap(path):
    made, recording = plain(path)
    recording.attrs["acquisition.remarks.1"] = text("second")
    made.close()


def bad_date(path):
    made, recording = plain(path)
    recording.attrs["subject.birth_date"] = text("1961-02-30")
    made.close()


def bad_not_utf8(path):
    made, recording = plain(path)
    recording.attrs["subject.name.text"] = np.array(b"\xff\xfe", dtype=h5py.string_dtype("utf-8", 2))
    made.close()


def bad_attribute_of_two_dimensions(path):
    made, recording = plain(path)
    recording["waveforms/0/samples"].attrs["steps"] = np.ones((2, 2))
    made.close()


def bad_attribute_is_a_reference(path):
    made, recording = plain(path)
    recording["waveforms/0/samples"].attrs["rate_hz"] = recording.ref
    made.close()


def bad_attribute_is_an_enumeration(path):
    made, recording = plain(path)
    recording.attrs["subject.sex"] = np.array(1, dtype=h5py.enum_dtype({"female": 1}, basetype="u8"))
    made.close()


def bad_soft_link(path):
    made = file(path)
    waveform(made.create_group("elsewhere"))
    made.create_group("recordings")["0"] = h5py.SoftLink("/elsewhere")
    made.close()


def bad_external_link(path):
    made = file(path)
    made.create_group("recordings")["0"] = h5py.ExternalLink("shortest.h5", "/recordings/0")
    made.close()


def samples_attributes(samples, leads=2):
    samples.attrs["kind"] = text("rhythm")
    samples.attrs["rate_hz"] = 500.0
    samples.attrs["leads"] = texts(["II", "V5"][:leads])
    samples.attrs["units"] = texts(["V"] * leads)
    samples.attrs["steps"] = np.full(leads, 5000.0)


def with_samples(path, make):
    made = file(path)
    samples_attributes(make(made.create_group("recordings/0/waveforms/0")))
    made.close()


def bad_data_in_another_file(path):
    with_samples(path, lambda group: group.create_dataset("samples", (2, 8), "<i2", external=[("hostname", 0, 32)]))


def bad_virtual(path):
    layout = h5py.VirtualLayout((2, 8), "<i2")
    layout[:] = h5py.VirtualSource("shortest.h5", "recordings/0/waveforms/0/samples", (2, 8))
    with_samples(path, lambda group: group.create_virtual_dataset("samples", layout))


def bad_filter(path):
    with_samples(path, lambda group: group.create_dataset("samples", data=np.array(COUNTS, "<i2"), compression="lzf"))


def bad_chunk_of_gigabytes(path):
    with_samples(path, lambda group: group.create_dataset("samples", (2, 8), "<i2", chunks=(2 ** 15, 2 ** 15),
                                                          maxshape=(None, None)))


def bad_chunks_never_written(path):
    def make(group):
        samples = group.create_dataset("samples", (2, 2 ** 30), "<i2", chunks=(1, 1024), compression=6)
        samples[0, :8] = 1
        return samples
    with_samples(path, make)


def bad_never_written(path):
    with_samples(path, lambda group: group.create_dataset("samples", (2, 2 ** 20), "<i2"))


def bad_samples_of_floating_point(path):
    with_samples(path, lambda group: group.create_dataset("samples", data=np.array(COUNTS, "<f8")))


def bad_samples_of_one_dimension(path):
    with_samples(path, lambda group: group.create_dataset("samples", data=np.array(COUNTS[0], "<i2")))


def bad_samples_are_a_group(path):
    with_samples(path, lambda group: group.create_group("samples"))


def bad_too_few_leads(path):
    made, recording = plain(path)
    recording["waveforms/0/samples"].attrs["leads"] = texts(["II"])
    made.close()


def bad_no_rate(path):
    made, recording = plain(path)
    del recording["waveforms/0/samples"].attrs["rate_hz"]
    made.close()


def bad_rate_zero(path):
    plain(path, rate=0.0)[0].close()


def bad_rate_not_a_number(path):
    plain(path, rate=float("nan"))[0].close()


def bad_step_zero(path):
    plain(path, steps=[5000.0, 0.0])[0].close()


def bad_unknown_waveform(path):
    made, recording = plain(path)
    recording["waveforms/0/samples"].attrs["kind"] = text("melody")
    made.close()


def bad_missing_holds_a_sample(path):
    made, recording = plain(path)
    rows(recording["waveforms/0"], "missing", *MISSING, (0, 1, 3))
    made.close()


def bad_missing_outside(path):
    made, recording = plain(path)
    rows(recording["waveforms/0"], "missing", *MISSING, (0, 7, 9))
    made.close()


def bad_missing_of_no_lead(path):
    made, recording = plain(path)
    rows(recording["waveforms/0"], "missing", *MISSING, (2, 0, 1))
    made.close()


def bad_unknown_mark(path):
    made, recording = plain(path)
    rows(recording["waveforms/0"], "marks", *MARKS, (1, "", "hump", "", "", ""))
    made.close()


def bad_code_of_no_mark(path):
    made, recording = plain(path)
    rows(recording["waveforms/0"], "marks", *MARKS, (1, "", "beat", "", "", ""))
    rows(recording["waveforms/0"], "mark_codes", *CODES, (1, "local", "1", ""))
    made.close()


def bad_escape_alone(path):
    made, recording = plain(path)
    recording.attrs["subject.name.text"] = text("a" + ESCAPE + "b")
    made.close()


def bad_value_not_there(path):
    made, recording = plain(path)
    recording.attrs["subject.name.text"] = text(ESCAPE + "@0")
    made.close()


def bad_user_block(path):
    made = file(path, userblock_size=512)
    waveform(made.create_group("recordings/0"))
    made.close()


def bad_cut(path):
    plain(path)[0].close()
    os.truncate(path, os.path.getsize(path) - 100)


def bad_wrong_digest(path):
    plain(path)[0].close()
    with open(path, "ab") as more:
        more.write(b"\necgkeep-hdf5 sha256 " + b"0" * 64 + b"\n")


def bad_dense_attributes(path):
    made = file(path, libver="latest")
    recording = made.create_group("recordings/0")
    waveform(recording)
    for number in range(9):
        recording.attrs[f"acquisition.remarks.{number}"] = text("x")
    made.close()


def bad_dense_items(path):
    made = file(path, libver="latest")
    for number in range(9):
        waveform(made.create_group(f"recordings/{number}"))
    made.close()


def bad_another_index_of_chunks(path):
    made = file(path, libver="latest")
    waveform(made.create_group("recordings/0"), chunks=(1, 4))
    made.close()


def bad_committed_type(path):
    made, recording = plain(path)
    made["counts"] = np.dtype("<i2")
    group = recording["waveforms"].create_group("1")
    samples_attributes(group.create_dataset("samples", data=np.array(COUNTS, "<i2"), dtype=made["counts"]))
    made.close()


def damage(path, content):
    """Changes the first byte of this content."""
    with open(path, "r+b") as file_there:
        at = file_there.read().index(content)
        file_there.seek(at)
        file_there.write(bytes([content[0] ^ 1]))


def bad_damaged_chunk(path):
    plain(path, chunks=(2, 8), fletcher32=True)[0].close()
    damage(path, np.array(COUNTS[1], "<i2").tobytes())


def bad_damaged_header(path):
    made = file(path, libver="latest")
    waveform(made.create_group("recordings/0"))
    made.close()
    damage(path, b"rate_hz")


def bad_no_hdf5(path):
    with open(path, "wb") as made:
        made.write(b"no HDF5 at all\n")


def bad_stack_of_another_shape(path):
    made, group, _ = stack(path)
    del group["steps"]
    group["steps"] = np.full((2, 3), 5000.0)
    made.close()


def bad_stack_with_a_row_too_few(path):
    made, group, _ = stack(path)
    nan = float("nan")
    rows(group, "recordings", *SUBJECTS, (nan,) * 8 + ("",) * 6)
    made.close()


def bad_stack_row_of_no_recording(path):
    made, group, _ = stack(path)
    rows(group, "measurements", *STACKED_MEASUREMENTS, (3, 61.0, "heart_rate", "", "", "/min", "global", "", ""))
    made.close()


def write(folder):
    """Writes every fixture; the function's name says where and how it is called."""
    for function, make in sorted(globals().items()):
        kind, _, name = function.partition("_")
        if kind not in ("good", "departs", "bad"):
            continue
        os.makedirs(os.path.join(folder, kind), exist_ok=True)
        path = os.path.join(folder, kind, name.replace("_", "-") + ".h5")
        models = make(path)
        if kind == "good":
            with open(path[:-2] + "expected", "w", encoding="utf-8") as expected:
                json.dump({"schema": "ecgkeep-recording/1", "recordings": models}, expected, indent=1, ensure_ascii=False)
                expected.write("\n")


def content(path):
    """What a file holds, as far as it can be opened: bytes depend on the library's version."""
    found = {}

    def note(name, item):
        attributes = {key: repr(value) for key, value in item.attrs.items()} if item is not None else {}
        data = None
        if isinstance(item, h5py.Dataset) and item.size is not None and item.size < 10_000 and not item.external:
            try:
                data = repr(item[()].tolist())
            except OSError as error:
                data = type(error).__name__
        found[name] = (attributes, data, str(getattr(item, "dtype", "")), str(getattr(item, "shape", "")))

    try:
        with h5py.File(path, "r") as opened:
            note("/", opened)
            opened.visititems(note)
    except (OSError, RuntimeError, KeyError) as error:
        found["error"] = type(error).__name__
    return found


def check(folder):
    faults = []
    with tempfile.TemporaryDirectory() as fresh:
        write(fresh)
        for kind in ("good", "departs", "bad"):
            names = {name for place in (fresh, folder) for name in os.listdir(os.path.join(place, kind))
                     if name.endswith((".h5", ".expected"))}
            for name in sorted(names):
                paths = [os.path.join(place, kind, name) for place in (fresh, folder)]
                if not all(map(os.path.exists, paths)):
                    faults.append(f"{kind}/{name} is missing on one side")
                elif name.endswith(".expected"):
                    texts_of = [open(path, encoding="utf-8").read() for path in paths]
                    faults += [f"{kind}/{name} differs"] * (texts_of[0] != texts_of[1])
                elif content(paths[0]) != content(paths[1]):
                    faults.append(f"{kind}/{name} differs")
    print("\n".join(faults) or "hdf5 fixtures: as h5py writes them")
    sys.exit(bool(faults))


if __name__ == "__main__":
    if sys.argv[1] == "--check":
        check(sys.argv[2])
    write(sys.argv[1])
