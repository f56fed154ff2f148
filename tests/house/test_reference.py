"""The reference is complete: what a user can meet has its entry."""

import importlib
import pkgutil
import re
from pathlib import Path

import pytest
import typer
from pydantic import BaseModel

from wideroll.cli.commands import COMMANDS
from wideroll.release import Reason
from wideroll.slitting import ShortReason

_REFERENCE = Path(__file__).parents[2] / "docs" / "reference"


def _headings(name):
    """The headings of a page, without the signs of code around them."""
    found = re.findall(r"^#+ (.+)$", (_REFERENCE / name).read_text(), re.MULTILINE)
    return {heading.strip("` ") for heading in found}


def _load_all(package):
    """Load every module of a package, for what is known once it is loaded."""
    path = importlib.import_module(package).__path__
    for module in pkgutil.walk_packages(path, f"{package}."):
        importlib.import_module(module.name)


def _commands(command, path=()):
    """Each command that does something, with the words that call it."""
    below = getattr(command, "commands", None)
    if not below:
        return {" ".join(path): command}
    return {words: one for name, inner in below.items() for words, one in _commands(inner, (*path, name)).items()}


def _models(model):
    yield model
    for below in model.__subclasses__():
        yield from _models(below)


def test_every_reason_has_its_entry():
    """A reason code shown beside a verdict can be looked up."""
    assert sorted(set(Reason) - _headings("reasons.md")) == []


def test_every_reason_of_a_short_order_is_told():
    """A reason that an order stays short for is named, as code, where the command is described."""
    text = (_REFERENCE / "commands.md").read_text()
    assert [reason.value for reason in ShortReason if f"`{reason.value}`" not in text] == []


def test_every_command_has_its_entry():
    """Each command of the terminal has its heading, and each of its options is named."""
    _load_all("wideroll.cli")
    group = typer.main.get_command(importlib.import_module("wideroll.cli").app)
    assert list(COMMANDS) == group.list_commands(None)
    commands = _commands(group)
    assert sorted(set(commands) - _headings("commands.md")) == []
    text = (_REFERENCE / "commands.md").read_text()
    options = {option for command in commands.values() for param in command.params for option in param.opts}
    assert sorted(option for option in options if option.startswith("--") and option not in text) == []


def test_every_field_of_a_file_has_its_entry():
    """Each field that a plant's file may hold is named, as code, in the reference of files."""
    _load_all("wideroll.readers")
    models = [m for m in _models(BaseModel) if m.__module__.startswith("wideroll.readers")]
    text = (_REFERENCE / "files.md").read_text()
    fields = {(m.__name__, field.alias or name) for m in models for name, field in m.model_fields.items()}
    assert fields
    silent = {(m, name) for m, name in fields if not any(f"`{sign}" in text for sign in (f"{name}`", f"[[{name}]]`"))}
    assert sorted(silent) == []


def test_every_route_has_its_entry():
    """Each address of the desk has a heading that names it."""
    pytest.importorskip("fastapi")
    routers = importlib.import_module("wideroll.server.app").routers()
    paths = {route.path for router in routers for route in router.routes}
    assert paths
    assert sorted(paths - _headings("routes.md")) == []
