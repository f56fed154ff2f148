"""Fixtures that journeys share."""

from pathlib import Path

import pytest

from wideroll.cli import main


@pytest.fixture(scope="session")
def small_plant(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo plant with short rolls, every roll decided. Tests that change it copy it first."""
    root = tmp_path_factory.mktemp("plant") / "demo"
    assert main(["demo", str(root), "--small"]) == 0
    return root
