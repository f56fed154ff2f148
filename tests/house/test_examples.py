"""Every example in the documentation runs, in docstrings and in pages."""

import doctest
import importlib
import inspect
import re
from pathlib import Path

import pytest

_ROOT = Path(__file__).parents[2]
_SOURCE = _ROOT / "src"
_MODULES = sorted(
    ".".join(path.relative_to(_SOURCE).with_suffix("").parts).removesuffix(".__init__")
    for path in (_SOURCE / "wideroll").rglob("*.py")
    if path.stem != "__main__"  # is a program, not to be imported
)
_ROOMS = (
    *("roll", "scan", "sensitometry", "examination", "repeats"),
    *("sampling", "release", "slitting", "control", "record"),
)
_PAGES = sorted({_ROOT / "README.md", *_ROOT.glob("*.md"), *(_ROOT / "docs").rglob("*.md")})
_BLOCK = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MPLBACKEND", "Agg")


@pytest.mark.parametrize("name", _MODULES)
def test_examples_of_a_module_run(name):
    """Every example in a module's docstrings gives what it says."""
    failed, _ = doctest.testmod(importlib.import_module(name), report=True)
    assert failed == 0


def test_pages_are_found():
    """There are pages to check, the README among them."""
    assert _ROOT / "README.md" in _PAGES


@pytest.mark.parametrize("path", _PAGES, ids=lambda path: str(path.relative_to(_ROOT)))
def test_examples_of_a_page_run(path):
    """Every Python block of a page runs as it stands, in the order of the page, from an empty folder."""
    names = {"__name__": "__example__"}
    text = path.read_text()
    for match in _BLOCK.finditer(text):
        line = text.count("\n", 0, match.start(1))
        if ">>>" in match[1]:
            example = doctest.DocTestParser().get_doctest(match[1], names, str(path), str(path), line)
            assert doctest.DocTestRunner().run(example, clear_globs=False).failed == 0
            names = example.globs
        else:
            exec(compile("\n" * line + match[1], str(path), "exec"), names)  # noqa: S102  -- our own pages


def test_the_rooms_doors_have_examples():
    """Each function that a room offers shows how it is called."""
    rooms = [importlib.import_module(f"wideroll.{room}") for room in _ROOMS]
    doors = {f"{room.__name__}.{name}": getattr(room, name) for room in rooms for name in room.__all__}
    assert (
        sorted(n for n, door in doors.items() if inspect.isfunction(door) and ">>>" not in (door.__doc__ or "")) == []
    )
