"""Checks JSON that the program printed, or that a bundle holds, with an independent JSON Schema validator.

    python tests/reference/shapes_check.py tests/cli/*.txt
    python tests/reference/shapes_check.py FOLDER/metadata/*.json FOLDER/metadata/*.jsonl

A transcript (.txt) is searched for lines of standard output that are objects; other files are read as one JSON
document or as one a line. Each names its shape in the member "schema"; the schemas lie in schemas/. Reference: PyPI
jsonschema (JSON Schema 2020-12) with its referencing library.
"""

import json
import pathlib
import sys

import jsonschema
from referencing import Registry, Resource

SCHEMAS = pathlib.Path(__file__).parents[2] / "schemas"

# What stands for what varies in a transcript, with a text of the same kind.
PLACEHOLDERS = {"<sha256>": "0" * 64, "<key>": "0" * 32, "<version>": "0.0.0", "<number>": "0", "<...>": "x"}


def documents(path):
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".txt":
        for line in text.splitlines():
            if line.startswith('out| {"schema":'):
                for placeholder, example in PLACEHOLDERS.items():
                    line = line.replace(placeholder, example)
                yield json.loads(line.removeprefix("out| "))
    elif path.suffix == ".jsonl":
        yield from map(json.loads, text.splitlines())
    else:
        yield json.loads(text)


def main(arguments):
    if not arguments:
        sys.exit(__doc__)
    schemas = {path.name: json.loads(path.read_text(encoding="utf-8")) for path in SCHEMAS.glob("*.schema.json")}
    for schema in schemas.values():
        jsonschema.Draft202012Validator.check_schema(schema)
    registry = Registry().with_resources((name, Resource.from_contents(schema)) for name, schema in schemas.items())
    wrong = checked = 0
    for path in map(pathlib.Path, arguments):
        for document in documents(path):
            shape = document.get("schema", "ecgkeep-filing/1")
            name = shape.removeprefix("ecgkeep-").split("/")[0] + ".schema.json"
            if name not in schemas:
                print(f"{path}: no schema for {shape}")
                wrong += 1
                continue
            validator = jsonschema.Draft202012Validator({"$ref": name}, registry=registry)
            for error in validator.iter_errors(document):
                print(f"{path}: {error.json_path}: {error.message[:300]}")
                wrong += 1
            checked += 1
    print(f"{checked} documents, {wrong} faults")
    sys.exit(1 if wrong or not checked else 0)


if __name__ == "__main__":
    main(sys.argv[1:])
