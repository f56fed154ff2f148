"""What a clone holds, and what it doesn't."""

import re
import subprocess
from pathlib import Path

import pytest

_ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("name", ["LICENSE", "README.md", "CHANGELOG.md", "CONTRIBUTING.md", "ARCHITECTURE.md"])
def test_the_papers_are_there(name):
    """A reader finds licence, readme, changes, how to contribute and how it is built, none of them empty."""
    assert len((_ROOT / name).read_text().split()) > 20


def _files():
    """Every file that a clone would have or that is about to be added."""
    run = subprocess.run(
        ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"],
        cwd=_ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return [path for name in run.stdout.split("\0") if name and (path := _ROOT / name).is_file()]


def test_versions_are_locked_without_an_address():
    """A lock file names the exact version of every dependency and no place to get it from."""
    locks = [
        path for path in _files() if re.search(r"(constraints|requirements|lock)[^/]*\.(txt|toml|lock)$", str(path))
    ]
    assert locks
    for lock in locks:
        assert "://" not in lock.read_text()


def test_no_file_names_a_package_registry():
    """What is installed comes from wherever the machine is set up to get it."""
    registry = re.compile(
        r"pypi\.(org|python)|pythonhosted|registry\.(npmjs|yarnpkg)|(extra-)?index-url|conda\.anaconda", re.IGNORECASE
    )
    guilty = [
        str(path.relative_to(_ROOT))
        for path in _files()
        if path.suffix not in {".png", ".tif", ".ico", ".woff2"} and path.name != "test_repository.py"
        if registry.search(path.read_text(encoding="utf-8", errors="replace"))
    ]
    assert guilty == []
