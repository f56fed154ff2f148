"""Parts of others that the desk carries, and how much script a page loads."""

import gzip
import hashlib
import re
import subprocess
import tomllib
from functools import cache
from pathlib import Path

import pytest

_SERVER = Path(__file__).parents[3] / "src" / "wideroll" / "server"
_STATIC = _SERVER / "static"
_VENDOR = _STATIC / "vendor"
_OF_TESTS = Path(__file__).parents[2] / "journeys" / "desk" / "vendor"
_SHELVES = {"desk": _VENDOR, "tests": _OF_TESTS}
_PARTS = [
    pytest.param(shelf, part, id=part["name"])
    for shelf in _SHELVES.values()
    for part in tomllib.loads((shelf / "vendor.toml").read_text())["parts"]
]
_TEMPLATES = sorted((_SERVER / "templates").rglob("*.j2"))
_MOST_BYTES = 150_000


def _id(path):
    return path.relative_to(_SERVER / "templates").as_posix()


@pytest.mark.parametrize("shelf", _SHELVES.values(), ids=list(_SHELVES))
def test_every_vendored_file_is_the_one_that_was_taken(shelf):
    """Each file has the hash that vendor.toml names, and nothing else lies there."""
    parts = tomllib.loads((shelf / "vendor.toml").read_text())["parts"]
    named = {f"{part['folder']}/{name}": value for part in parts for name, value in part["sha256"].items()}
    there = {
        path.relative_to(shelf).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in shelf.rglob("*")
        if path.is_file() and path != shelf / "vendor.toml"
    }
    assert there == named


@pytest.mark.parametrize(("shelf", "part"), _PARTS)
def test_a_vendored_part_is_named_with_its_licence(shelf, part):
    """Its folder is name and version, its licence's text lies beside it, and its address isn't told."""
    assert part["folder"] == f"{part['name']}-{part['version']}"
    assert part["licence"] in {"0BSD", "BSD-3-Clause", "MIT"} | ({"MPL-2.0"} if shelf == _OF_TESTS else set())
    licence = next(name for name in part["sha256"] if name.startswith("LICENSE"))
    assert "copyright" in (shelf / part["folder"] / licence).read_text().lower() or part["licence"] == "0BSD"
    assert "://" not in (shelf / "vendor.toml").read_text()


def test_vendored_files_go_into_the_package():
    """No rule that keeps files out of a clone, and so out of the package, holds for them."""
    files = [str(path) for path in _STATIC.rglob("*") if path.is_file()]
    ignored = subprocess.run(["git", "check-ignore", *files], cwd=_SERVER, capture_output=True, text=True, check=False)
    assert ignored.stdout == ""


@cache
def _packed(name):
    """Bytes of a script and of those it imports, compressed."""
    path = _STATIC / name
    own = {name: len(gzip.compress(path.read_bytes(), 6))}
    if not name.startswith("vendor/"):
        for other in re.findall(r'from\s+"\./([^"]+)"', path.read_text()):
            own |= _packed(other)
    return own


def _scripts(template):
    """Scripts that a page of this template loads, with those of the templates it extends."""
    text = template.read_text()
    found = {name: size for one in re.findall(r"static\('([^']+\.js)'\)", text) for name, size in _packed(one).items()}
    for base in re.findall(r'{%-?\s*(?:extends|include)\s+"([^"]+)"', text):
        found |= _scripts(_SERVER / "templates" / base)
    return found


@pytest.mark.parametrize("template", _TEMPLATES, ids=_id)
def test_no_page_loads_much_script(template):
    """All scripts of a page together are below 150 kB compressed."""
    assert sum(_scripts(template).values()) < _MOST_BYTES


def test_the_scripts_of_a_page_are_counted():
    """The count sees the vendored viewer and the modules that the page's own script imports."""
    names = set(_scripts(_SERVER / "templates" / "viewer" / "segment.html.j2"))
    assert {"viewer.js", "viewer-picture.js", "viewer-marks.js"} < names
    assert any(name.startswith("vendor/openseadragon-") for name in names)


@pytest.mark.parametrize("template", _TEMPLATES, ids=_id)
def test_no_template_needs_what_the_policy_refuses(template):
    """No script or style stands in a page itself, and no attribute holds either; data for a script isn't run."""
    text = template.read_text()
    runs = r'<script(?![^>]*\ssrc=)(?! type="application/json")[^>]*>'
    assert re.findall(rf"{runs}|<style|\sstyle=|\son[a-z]+=|hx-on|js:", text) == []
