"""Fixtures that journeys share."""

import fcntl
import os
import shutil
from pathlib import Path

import pytest
from hypothesis import settings

from wideroll.cli import main

# How long an example takes is the machine's matter: on a busy one a right test would fail.
# The same examples come each time, so that what was green stays green; WIDEROLL_HUNT=1 looks for new ones.
settings.register_profile("untimed", deadline=None, derandomize="WIDEROLL_HUNT" not in os.environ)
settings.load_profile("untimed")


@pytest.fixture(scope="session")
def small_plant(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo plant with short rolls, every roll decided. Tests that change it copy it first.

    Of several processes that run the tests together, the first that wants it makes it, and each has a copy of its own.
    """
    root = tmp_path_factory.mktemp("plant") / "demo"
    if "PYTEST_XDIST_WORKER" not in os.environ:
        assert main(["demo", str(root), "--small"]) == 0
        return root
    first = tmp_path_factory.getbasetemp().parent / "plant-of-all"
    with first.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not first.exists():
            assert main(["demo", str(root), "--small"]) == 0
            root.rename(first)
    return Path(shutil.copytree(first, root))
