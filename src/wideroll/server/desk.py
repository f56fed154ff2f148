"""What the desk is told when it starts, and what every page of it needs."""

import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from starlette.requests import HTTPConnection

from wideroll.people import DeskFile

__all__ = ["LOOPBACK", "Desk", "DeskSettings", "desk_of"]

LOOPBACK: Final = ("127.0.0.1", "localhost")


@dataclass(frozen=True, slots=True, kw_only=True)
class DeskSettings:
    """Of one desk.

    Args:
        root: the plant's folder.
        sheets: the folder with one folder a roll; ``results`` in the plant's folder unless given.
        hosts: names that the desk answers to.
        who: who acts where nobody needs to say so: one person at the machine itself.
        rules: what desk.toml says of coming in.
    """

    root: Path
    sheets: Path | None = None
    hosts: tuple[str, ...] = LOOPBACK
    who: str = ""
    rules: DeskFile = field(default_factory=DeskFile)


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """One desk at work: ``parts`` holds what its parts keep between requests, each under its own name."""

    settings: DeskSettings
    parts: dict[str, Any] = field(default_factory=dict)

    @property
    def root(self) -> Path:
        """The plant's folder."""
        return self.settings.root

    @property
    def plant_name(self) -> str:
        """The plant's name as plant.toml has it; that of the folder where it can't be read."""
        return _plant_name(self.root)

    @property
    def hosts(self) -> frozenset[str]:
        """Names that it answers to, in small letters."""
        return frozenset(host.lower() for host in (*self.settings.hosts, *self.settings.rules.hosts))

    @property
    def results(self) -> Path:
        """The folder with one folder a roll."""
        return self.root / "results" if self.settings.sheets is None else self.settings.sheets


def _plant_name(root: Path) -> str:
    try:
        name = tomllib.loads((root / "plant.toml").read_text(encoding="utf-8"))["name"]
    except (OSError, ValueError, KeyError):
        return root.resolve().name
    return str(name)


def desk_of(request: HTTPConnection) -> Desk:
    """The desk that a request came to."""
    desk: Desk = request.scope["app"].state.desk
    return desk
