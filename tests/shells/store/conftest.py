"""The two databases a record may lie in."""

import importlib.util
import sys
from pathlib import Path

import pytest

_PATH = Path(__file__).parents[2] / "private_postgresql.py"


def _private_postgresql():
    if "private_postgresql" not in sys.modules:
        spec = importlib.util.spec_from_file_location("private_postgresql", _PATH)
        sys.modules["private_postgresql"] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules["private_postgresql"])
    return sys.modules["private_postgresql"]


@pytest.fixture(scope="session")
def postgresql():
    """A private PostgreSQL cluster, started once for all tests of a process."""
    with _private_postgresql().cluster() as running:
        yield running


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request, tmp_path):
    """The address of a database that isn't there yet, or is empty: each test runs on both."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'wideroll.db'}"
    return request.getfixturevalue("postgresql").new_database()
