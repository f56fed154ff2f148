"""Fetch the vendored parts of the desk and of its tests anew, or check those that lie there.

python tools/vendor.py            pack each part with npm, unpack what is needed of it, and write each vendor.toml
python tools/vendor.py --check    1 when a file isn't the one that vendor.toml names, or anything else lies beside it

For developers: nothing of this runs when the desk is installed, started or tested. To take a newer version, change it
in ``SHELVES``, run this, and look through the difference before it is kept.
"""

import argparse
import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

ROOT = Path(__file__).resolve().parents[1]
LIST = "vendor.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A package as npm names it, and the files that are taken from it, licence first."""

    name: str
    package: str
    version: str
    licence: str
    files: tuple[str, ...]

    @property
    def folder(self) -> str:
        """Where it lies below the folder of vendored parts."""
        return f"{self.name}-{self.version}"


OF_THE_DESK = (
    Part(
        name="htmx",
        package="htmx.org",
        version="2.0.11",
        licence="0BSD",
        files=("LICENSE", "dist/htmx.min.js"),
    ),
    Part(
        name="openseadragon",
        package="openseadragon",
        version="6.1.1",
        licence="BSD-3-Clause",
        files=("LICENSE.txt", "build/openseadragon/openseadragon.min.js"),
    ),
    Part(
        name="uplot",
        package="uplot",
        version="1.6.32",
        licence="MIT",
        files=("LICENSE", "dist/uPlot.iife.min.js", "dist/uPlot.min.css"),
    ),
)
OF_ITS_TESTS = (
    Part(
        name="axe-core",
        package="axe-core",
        version="4.14.1",
        licence="MPL-2.0",
        files=("LICENSE", "LICENSE-3RD-PARTY.txt", "axe.min.js"),
    ),
)
SHELVES = {
    ROOT / "src" / "wideroll" / "server" / "static" / "vendor": OF_THE_DESK,
    ROOT / "tests" / "journeys" / "desk" / "vendor": OF_ITS_TESTS,
}
"""Parts by the folder that they lie in. Nothing of the tests goes into the package."""


def main() -> int:
    """Fetch or check."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true", help="only compare with vendor.toml")
    if not parser.parse_args().check:
        for shelf, parts in SHELVES.items():
            fetch(shelf, parts)
    faults = [fault for shelf in SHELVES for fault in check(shelf)]
    print("\n".join(faults) or f"{sum(map(len, SHELVES.values()))} parts are as {LIST} says")
    return 1 if faults else 0


def fetch(shelf: Path, parts: tuple[Part, ...]) -> None:
    """Put each part in its folder, unmodified, and list them; what lay there before goes."""
    shutil.rmtree(shelf, ignore_errors=True)
    for part in parts:
        folder = shelf / part.folder
        folder.mkdir(parents=True)
        for name, data in packed(part).items():
            (folder / name).write_bytes(data)
    (shelf / LIST).write_text(listed(shelf, parts), encoding="utf-8")


def packed(part: Part) -> dict[str, bytes]:
    """The files of a part out of its package, by their last name."""
    npm = shutil.which("npm") or "npm"
    with tempfile.TemporaryDirectory() as folder:
        command = [npm, "pack", "--silent", f"{part.package}@{part.version}"]
        done = subprocess.run(command, cwd=folder, check=True, capture_output=True, text=True)  # noqa: S603
        with tarfile.open(Path(folder, done.stdout.split()[-1])) as archive:
            return {PurePosixPath(name).name: member(archive, f"package/{name}") for name in part.files}


def member(archive: tarfile.TarFile, name: str) -> bytes:
    """One file's bytes."""
    file = archive.extractfile(name)
    if file is None:
        raise FileNotFoundError(name)
    return file.read()


def listed(shelf: Path, parts: tuple[Part, ...]) -> str:
    """The text of vendor.toml: what lies there, under which licence, and the hash of each file."""
    lines = [
        "# Written by tools/vendor.py. Parts of others, unmodified; each folder holds the licence of what lies in it."
    ]
    for part in parts:
        lines += ["", "[[parts]]", f'name = "{part.name}"', f'version = "{part.version}"']
        lines += [f'licence = "{part.licence}"', f'folder = "{part.folder}"', "", "[parts.sha256]"]
        lines += [f'"{path.name}" = "{sha256(path)}"' for path in sorted((shelf / part.folder).iterdir())]
    return "\n".join(lines) + "\n"


def check(shelf: Path) -> list[str]:
    """What differs from the list of a folder."""
    parts = tomllib.loads((shelf / LIST).read_text(encoding="utf-8"))["parts"]
    named = {f"{part['folder']}/{name}": value for part in parts for name, value in part["sha256"].items()}
    there = {path.relative_to(shelf).as_posix(): sha256(path) for path in shelf.rglob("*") if path.is_file()}
    there.pop(LIST)
    return [
        f"{name}: {'not listed' if name not in named else 'missing' if name not in there else 'another file'}"
        for name in sorted(named.keys() | there.keys())
        if named.get(name) != there.get(name)
    ]


def sha256(path: Path) -> str:
    """Hash of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


if __name__ == "__main__":
    sys.exit(main())
