"""An archive verified by another program in another language, written from schemas/archive.md alone.

    python archive_check.py ARCHIVE [--against NOTE] [--receipts FOLDER]     exit 1 and a line for each thing wrong

Receipts are files INDEX.proof. Needs cryptography (PyPI) for the signatures; everything else is the standard library.
"""

import argparse
import base64
import hashlib
import io
import json
import re
import sys
import zipfile
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

MEMBERS = {
    "made": "z n by", "filed": "k r z n by", "corrected": "k r z n by for why of", "quarantined": "k z n by why",
    "read": "k by of", "viewed": "k r by why", "exported": "k r z n by to", "deidentified": "k r by why to",
    "acknowledged": "k r z n by of?",
    "retracted": "k r by to of", "held": "k by for", "released": "k by for of", "key": "z n by", "schedule": "z n by for",
    "destroying": "k z n by rule", "destroyed": "k z n by rule of", "repaired": "k r? z n by of",
}  # fmt: skip
wrong = []


def say(what):
    wrong.append(what)


def leaf(line):
    return hashlib.sha256(b"\0" + line).digest()


def node(left, right):
    return hashlib.sha256(b"\1" + left + right).digest()


def root(leaves):
    """RFC 6962, 2.1."""
    if len(leaves) < 2:
        return leaves[0] if leaves else hashlib.sha256().digest()
    middle = 1 << (len(leaves) - 1).bit_length() - 1
    return node(root(leaves[:middle]), root(leaves[middle:]))


def root_of(hash_, index, size, path):
    """RFC 9162, 2.1.3.2."""
    last = size - 1
    for beside in path:
        if index & 1 or index == last:
            hash_ = node(beside, hash_)
            while not index & 1 and index:
                index, last = index >> 1, last >> 1
        else:
            hash_ = node(hash_, beside)
        index, last = index >> 1, last >> 1
    return hash_ if last == 0 else None


def note(text, keys, where):
    """The text of a signed note and who signed it; a wrong signature is told."""
    body, _, signatures = text.rpartition("\n\n")
    body += "\n"
    signers = set()
    for line in signatures.splitlines():
        dash, name, encoded = line.split(" ")
        raw = base64.b64decode(encoded)
        key = keys.get((name, raw[:4]))
        try:
            key.verify(raw[4:], body.encode())
            signers.add(key.public_bytes_raw())
        except (AttributeError, InvalidSignature):
            say(f"{where}: the signature of {name} is not that of an admitted key")
    return body, signers


def checkpoint(text, keys, where):
    origin, size, encoded = note(text, keys, where)[0].splitlines()[:3]
    return origin, int(size), base64.b64decode(encoded)


def receipt(text, line, keys, where):
    """Whether a receipt leads from a line to the root of its checkpoint."""
    head, _, rest = text.partition("\n\n")
    first, index, *path = [part for part in head.splitlines() if not part.startswith("extra ")]
    _, size, expected = checkpoint(rest, keys, where)
    found = root_of(leaf(line), int(index.removeprefix("index ")), size, [base64.b64decode(part) for part in path])
    if first != "c2sp.org/tlog-proof@v1" or found != expected:
        say(f"{where}: the receipt does not prove its line")


def admitted(archive, lines):
    keys = {}
    digests = {line["z"] for line in lines if line["e"] == "key"}
    for path in sorted((archive / "keys").iterdir()):
        text = path.read_text().strip()
        name, identifier, encoded = text.split("+", 2)
        raw = base64.b64decode(encoded)
        if hashlib.sha256(path.read_bytes()).hexdigest() not in digests:
            say(f"{path.name}: no line admits this key")
        if raw[0] != 1 or hashlib.sha256(name.encode() + b"\n" + raw).hexdigest()[:8] != identifier:
            say(f"{path.name}: not the identifier of this key")
        keys[name, bytes.fromhex(identifier)] = Ed25519PublicKey.from_public_bytes(raw[1:])
    return keys


def same(path, line):
    if not path.is_file():
        return say(f"{path.name}: is not there (line {line['i']})")
    data = path.read_bytes()
    if len(data) != line["n"] or hashlib.sha256(data).hexdigest() != line["z"]:
        say(f"{path.name}: is not what line {line['i']} says")
    return data


def bag(data, stem):
    """RFC 8493: every payload file in the manifest, every digest right."""
    with zipfile.ZipFile(io.BytesIO(data)) as read:
        files = {name.removeprefix(stem + "/"): read.read(name) for name in read.namelist()}
    for manifest in ("manifest-sha512.txt", "tagmanifest-sha512.txt"):
        listed = dict(reversed(row.split(None, 1)) for row in files[manifest].decode().splitlines())
        for name, digest in listed.items():
            if hashlib.sha512(files.get(name, b"")).hexdigest() != digest:
                say(f"{stem}: {name} is not what {manifest} says")
        if manifest == "manifest-sha512.txt" and set(listed) != {name for name in files if name.startswith("data/")}:
            say(f"{stem}: the manifest does not list the payload")


def journal(archive):
    """The raw lines and what they say; each checked by itself and against the one before."""
    raw = b"".join(path.read_bytes() for path in sorted((archive / "journal").glob("*.jsonl"))).split(b"\n")[:-1]
    lines = [json.loads(line) for line in raw]
    for index, (text, line) in enumerate(zip(raw, lines)):
        names = [name for name in MEMBERS[line["e"]].split() if not name.endswith("?") or name[:-1] in line]
        if list(line) != ["i", "t", "e"] + [name.rstrip("?") for name in names] or line["i"] != index:
            say(f"line {index}: not the index or the members of its event")
        if json.dumps(line, separators=(",", ":")).encode() != text or len(text) > 1024:
            say(f"line {index}: not written in the one way there is")
        if (line["e"] == "made") != (index == 0) or index and line["t"] < lines[index - 1]["t"]:
            say(f"line {index}: out of order")
    return raw, lines


def files(archive, raw, lines, keys):
    """Every file of a line, and every file without one."""
    shelf = lambda above, key, name: archive / above / key[:2] / key[2:4] / name  # noqa: E731
    destroyed = {line["k"]: line for line in lines if line["e"] == "destroyed"}
    expected = {}
    for line in lines:
        key = line.get("k")
        if line["e"] in ("filed", "corrected") and key not in destroyed:
            expected[shelf("bundles", key, f"{key}.r{line['r']}.zip")] = line
        elif line["e"] == "quarantined" and key not in destroyed:
            expected[shelf("quarantine", key, f"{key}.q1.zip")] = line
        elif line["e"] == "destroyed":
            expected[shelf("bundles", key, f"{key}.destroyed.json")] = line
        elif line["e"] == "destroying":
            same(archive / "requests" / f"{line['z']}.note", line)
        elif line["e"] == "acknowledged":
            same(archive / "answers" / f"{key}.r{line['r']}.{line['z']}", line)
        elif line["e"] == "schedule":
            same(archive / "schedule" / f"{line['z']}.toml", line)
        elif line["e"] == "made":
            same(archive / "archive.json", line)
    for path, line in expected.items():
        data = same(path, line)
        if data and path.suffix == ".zip":
            bag(data, path.stem)
    found = {path for above in ("bundles", "quarantine") for path in (archive / above).rglob("*") if path.is_file()}
    for path in sorted(found - set(expected)):
        say(f"{path.name}: no line speaks of it")
    for key, line in destroyed.items():
        data = (archive / "certificates" / f"{key}.destroyed.json").read_bytes()
        tombstone = json.loads(shelf("bundles", key, f"{key}.destroyed.json").read_bytes())
        certificate = json.loads(data)
        if hashlib.sha256(data).hexdigest() != tombstone["certificate"]:
            say(f"{key}: the certificate is not the one of the tombstone")
        if certificate["line"].encode() != raw[line["of"]]:
            say(f"{key}: the certificate is about another line")
        receipt(certificate["receipt"], certificate["line"].encode(), keys, f"certificate {key}")
        body, signers = note(certificate["request"], keys, f"request for {key}")
        if len(signers) < 2 or key not in body.splitlines()[4:]:
            say(f"{key}: its destruction was not asked for by two")


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("archive", type=Path)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--receipts", type=Path)
    given = parser.parse_args()
    origin = json.loads((given.archive / "archive.json").read_text())["origin"]
    raw, lines = journal(given.archive)
    keys = admitted(given.archive, lines)
    leaves = [leaf(line) for line in raw]
    notes = sorted((given.archive / "checkpoints").glob("*.note")) + [given.against][: given.against is not None]
    for path in notes:
        whose, size, expected = checkpoint(path.read_text(), keys, path.name)
        if whose != origin or size > len(raw) or root(leaves[:size]) != expected:
            say(f"{path.name}: the journal does not lead to its root")
        if path.name == "latest.note" and size != len(raw) or re.fullmatch(r"\d+", path.stem) and size != int(path.stem):
            say(f"{path.name}: is over another number of lines")
    files(given.archive, raw, lines, keys)
    proofs = sorted(given.receipts.glob("*.proof")) if given.receipts else []
    for path in proofs:
        receipt(path.read_text(), raw[int(path.stem)], keys, path.name)
    for what in wrong:
        print(what)
    print(f"{len(raw)} lines, {len(notes)} checkpoints, {len(proofs)} receipts, {len(wrong)} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
