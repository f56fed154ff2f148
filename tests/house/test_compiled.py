"""Compiled code is never older than what it was compiled from."""

import os
import subprocess
import sys
import time
from pathlib import Path

from wideroll.compiled import compiled_folder

_CALLER = (
    "from numba import njit\nfrom pair.callee import one\n\n\n@njit(cache=True)\ndef twice():\n    return 2 * one()\n"
)
_CALLEE = "from numba import njit\n\n\n@njit(cache=True)\ndef one():\n    return {}\n"
_MAIN = (
    "from pathlib import Path\nfrom wideroll.compiled import keep_compiled_code\n"
    "keep_compiled_code(Path('pair'))\nfrom pair.caller import twice\nprint(twice())\n"
)


def _run(folder: Path) -> str:
    environment = {name: value for name, value in os.environ.items() if name != "NUMBA_CACHE_DIR"}
    # wideroll is imported first and would name its own folder; a name of the pair's takes its place
    main = "import os, wideroll\nos.environ.pop('NUMBA_CACHE_DIR', None)\n" + _MAIN
    return subprocess.run(
        [sys.executable, "-c", main], cwd=folder, env=environment, capture_output=True, text=True, check=True
    ).stdout.strip()


def test_a_change_in_a_callee_of_another_file_is_run(tmp_path):
    """A function compiled before, whose callee has changed since, gives the new value."""
    package = tmp_path / "pair"
    package.mkdir()
    (package / "__init__.py").touch()
    (package / "caller.py").write_text(_CALLER, encoding="utf-8")
    (package / "callee.py").write_text(_CALLEE.format(1), encoding="utf-8")
    assert _run(tmp_path) == "2"
    (package / "callee.py").write_text(_CALLEE.format(21), encoding="utf-8")
    assert _run(tmp_path) == "42"


_GENERAL = """
import os, sys, time
from pathlib import Path
while time.time() < float(sys.argv[1]):
    pass
import wideroll
from numba import float64, guvectorize
from wideroll.compiled import one_at_a_time

@one_at_a_time(guvectorize([(float64[:], float64[:])], "(n)->(n)", cache=True, nopython=True))
def twice(one, out):
    for at in range(one.size):
        out[at] = 2.0 * one[at]

import numpy
print(twice.ufunc(numpy.arange(3.0)).tolist())
"""


def test_processes_that_start_together_keep_code_that_fits(tmp_path):
    """However many compile a generalised function at once, they and whoever comes after can run it."""
    (tmp_path / "general.py").write_text(_GENERAL, encoding="utf-8")
    kept = tmp_path / "kept"
    kept.mkdir()
    words = [sys.executable, "general.py", str(time.time() + 2.0)]
    environment = {**os.environ, "NUMBA_CACHE_DIR": str(kept)}
    together = [
        subprocess.Popen(words, cwd=tmp_path, env=environment, stdout=subprocess.PIPE, text=True) for _ in range(3)
    ]
    said = [one.communicate()[0].strip() for one in together]
    after = subprocess.run(words, cwd=tmp_path, env=environment, stdout=subprocess.PIPE, text=True, check=False)
    said.append(after.stdout.strip())
    assert said == ["[0.0, 2.0, 4.0]"] * 4
    assert (kept / "lock").exists()


def test_only_what_is_compiled_names_the_folder(tmp_path):
    """Other files may change, and the compiled code stays."""
    (tmp_path / "compiled.py").write_text("from numba import njit\n", encoding="utf-8")
    (tmp_path / "plain.py").write_text("one = 1\n", encoding="utf-8")
    name = compiled_folder(tmp_path)
    (tmp_path / "plain.py").write_text("one = 2\n", encoding="utf-8")
    assert compiled_folder(tmp_path) == name
    (tmp_path / "compiled.py").write_text("from numba import njit, prange\n", encoding="utf-8")
    assert compiled_folder(tmp_path) != name
