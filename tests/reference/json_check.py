"""Checks recording documents with an independent JSON parser and an independent JSON Schema validator.

    python tests/reference/json_check.py FILE.json ...
    python tests/reference/json_check.py --refused FILE.json ...

Prints one line per file; exit 1 where one does not fit schemas/recording.schema.json (with --refused: where one
does). References: the json module of Python (RFC 8259) and PyPI jsonschema (JSON Schema 2020-12).
"""

import json
import pathlib
import sys

import jsonschema

SCHEMA = pathlib.Path(__file__).parents[2] / "schemas" / "recording.schema.json"

# Values that a schema cannot tell from right ones; the reader refuses them.
BEYOND_A_SCHEMA = {"date-not-in-the-calendar.json", "digits-too-many.json", "lone-surrogate.json"}


def no_member_twice(pairs):
    names = [name for name, _ in pairs]
    if len(names) != len(set(names)):
        raise ValueError(f"a member stands twice among {names}")
    return dict(pairs)


def problems(validator, path):
    try:
        # utf-8 and not utf-8-sig: a byte order mark is a departure (RFC 8259, 8.1)
        document = json.loads(path.read_bytes().decode("utf-8"), object_pairs_hook=no_member_twice)
    except (ValueError, RecursionError) as error:
        return [str(error)]
    found = [f"{error.json_path}: {error.message[:200]}" for error in validator.iter_errors(document)]
    return found or list(counts(document))


def counts(document):
    """What the schema cannot say: one length per waveform, ranges inside it, holding 0."""
    for number, recording in enumerate(document["recordings"], 1):
        for waveform in recording.get("waveforms", []):
            lengths = {len(signal["samples"]) for signal in waveform["signals"]}
            if len(lengths) != 1:
                yield f"recording {number}: signals of {sorted(lengths)} samples in one waveform"
            for signal in waveform["signals"]:
                for span in signal.get("missing", []):
                    gap = signal["samples"][span["start"] : span["end"]]
                    if not gap or len(gap) != span["end"] - span["start"] or any(gap):
                        yield f"recording {number}, lead {signal['lead']}: range {span} does not fit"


def main(arguments):
    refused = arguments[:1] == ["--refused"]
    files = [pathlib.Path(name) for name in arguments[refused:]]
    if not files:
        sys.exit(__doc__)
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    wrong = 0
    for path in files:
        found = problems(validator, path)
        print(f"{path}: {'fits' if not found else found[0]}")
        wrong += bool(found) != refused and not (refused and path.name in BEYOND_A_SCHEMA)
    sys.exit(min(wrong, 1))


if __name__ == "__main__":
    main(sys.argv[1:])
