"""What other programs make of a bundle: unzip, Python's zipfile, sha512sum and the Python bagit library.

    python bundle_check.py BUNDLE...          checks each; exit 1 if one of them fails
    python bundle_check.py --time BUNDLE      times sha512sum over its files, beside the Rust benchmark

Needs bagit (PyPI) and the programs unzip and sha512sum. Asked too where they are, and named in the output then:
libarchive's bsdtar, 7z, and bagit-profile (PyPI). The profile is read from schemas/bagit-profile.json and checked by
its own words as BagIt Profiles 1.4.0 has them, so that bagit-profile is a second opinion.
"""

import argparse
import hashlib
import json
import re
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path

import bagit

try:
    import bagit_profile
except ModuleNotFoundError:
    bagit_profile = None

PROFILE = Path(__file__).resolve().parents[2] / "schemas" / "bagit-profile.json"


def digests_of_folder(folder):
    """The SHA-512 of every file in a folder, by its path."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): hashlib.sha512(path.read_bytes()).hexdigest() for path in files}


def by_zipfile(bundle):
    """What zipfile reads; it compares every CRC-32."""
    with zipfile.ZipFile(bundle) as archive:
        names = [entry.filename for entry in archive.infolist()]
        assert len(names) == len(set(names)), "zipfile sees a name twice"
        return {name: hashlib.sha512(archive.read(name)).hexdigest() for name in names}


def by_program(bundle, folder, *command):
    """What a program unpacks into an empty folder."""
    folder.mkdir()
    subprocess.run([*command], cwd=folder, check=True, stdout=subprocess.DEVNULL)
    return digests_of_folder(folder)


def check_profile(bag, profile):
    """The bag against the profile, item by item."""
    identifier = profile["BagIt-Profile-Info"]["BagIt-Profile-Identifier"]
    assert bag.info["BagIt-Profile-Identifier"] == identifier, "another profile"
    for label, rule in profile["Bag-Info"].items():
        values = bag.info.get(label, [])
        values = values if isinstance(values, list) else [values]
        assert values or not rule["required"], f"{label} is missing"
        assert len(values) <= 1 or rule["repeatable"], f"{label} is repeated"
        assert all(value in rule.get("values", [value]) for value in values), f"{label} has another value"
    base = Path(bag.path)
    for kind, prefix in [("Manifests", "manifest-"), ("Tag-Manifests", "tagmanifest-")]:
        found = {path.stem.removeprefix(prefix) for path in base.glob(f"{prefix}*.txt")}
        assert found >= set(profile[f"{kind}-Required"]), f"{kind}: {found}"
        assert found <= set(profile[f"{kind}-Allowed"]), f"{kind}: {found}"
    assert profile["Allow-Fetch.txt"] or not (base / "fetch.txt").exists(), "fetch.txt"
    assert profile["Data-Empty"] or any(path.is_file() for path in (base / "data").rglob("*")), "no payload"
    assert ".".join(map(str, bag.version_info)) in profile["Accept-BagIt-Version"], bag.version_info


def check(bundle):
    """One bundle in every program; the number of its files."""
    bundle = bundle.resolve()
    with tempfile.TemporaryDirectory() as scratch:
        scratch = Path(scratch)
        expected = by_program(bundle, scratch / "unzip", "unzip", "-q", str(bundle))
        others = {"zipfile": by_zipfile(bundle)}
        if shutil.which("bsdtar"):
            others["bsdtar"] = by_program(bundle, scratch / "bsdtar", "bsdtar", "-xf", str(bundle))
        if seven := shutil.which("7z") or shutil.which("7zz"):
            others["7z"] = by_program(bundle, scratch / "7z", seven, "x", "-bd", "-y", str(bundle))
        for program, found in others.items():
            assert found == expected, f"{program} and unzip differ: {set(found.items()) ^ set(expected.items())}"

        (base,) = (scratch / "unzip").iterdir()
        for manifest in ["manifest-sha512.txt", "tagmanifest-sha512.txt"]:
            command = ["sha512sum", "--check", "--strict", "--quiet", manifest]
            subprocess.run(command, cwd=base, check=True)
            listed = {line.split("  ", 1)[1] for line in (base / manifest).read_text().splitlines()}
            is_payload = manifest.startswith("manifest")
            here = {path.removeprefix(f"{base.name}/") for path in expected}
            here = {path for path in here if path.startswith("data/") == is_payload}
            assert listed == here - {"tagmanifest-sha512.txt"}, f"{manifest}: {listed ^ here}"

        bag = bagit.Bag(str(base))
        bag.validate()
        assert re.fullmatch(r"\d+\.\d+", bag.info["Payload-Oxum"])
        profile = json.loads(PROFILE.read_text())
        check_profile(bag, profile)
        programs = ["unzip", *others, "sha512sum", "bagit"]
        if bagit_profile:
            validator = bagit_profile.Profile(bag.info["BagIt-Profile-Identifier"], profile=profile)
            assert validator.validate_serialization(str(bundle)), "bagit-profile refuses the serialization"
            report = validator.validate(bag)
            assert report, f"bagit-profile: {report}"
            programs.append("bagit-profile")
        return len(expected), programs


def time_sha512sum(bundle):
    """Seconds that sha512sum takes over the bundle's files: the best of 20, its start included."""
    with tempfile.TemporaryDirectory() as scratch:
        files = by_program(bundle.resolve(), Path(scratch) / "unzip", "unzip", "-q", str(bundle.resolve()))
        best = float("inf")
        for _ in range(20):
            start = time.perf_counter()
            folder = Path(scratch) / "unzip"
            subprocess.run(["sha512sum", "--", *files], cwd=folder, check=True, stdout=subprocess.DEVNULL)
            best = min(best, time.perf_counter() - start)
        print(f"{bundle.name}: sha512sum of {len(files)} files takes {best * 1000:.2f} ms")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("bundles", nargs="+", type=Path, metavar="BUNDLE")
    parser.add_argument("--time", action="store_true", help="time sha512sum instead")
    arguments = parser.parse_args()
    failed = 0
    for bundle in arguments.bundles:
        if arguments.time:
            time_sha512sum(bundle)
            continue
        try:
            files, programs = check(bundle)
            print(f"{bundle.name}: {files} files, the same in {', '.join(programs)}")
        except (AssertionError, bagit.BagError, subprocess.CalledProcessError, zipfile.BadZipFile) as error:
            failed += 1
            print(f"{bundle.name}: {type(error).__name__}: {error}", file=sys.stderr)
    print(f"{len(arguments.bundles) - failed} of {len(arguments.bundles)} bundles hold everywhere", file=sys.stderr)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
