"""Fixtures that journeys share."""

import os
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
    """The demo plant with short rolls, every roll decided. Tests that change it copy it first."""
    root = tmp_path_factory.mktemp("plant") / "demo"
    assert main(["demo", str(root), "--small"]) == 0
    return root
