"""What stands between the network and the desk: who is known, how often somebody tried, and the log of refusals."""

import sqlite3
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from ipaddress import IPv6Address, ip_address, ip_network
from pathlib import Path
from threading import Lock
from typing import Any, Final

from starlette.requests import HTTPConnection

from wideroll.errors import InputError
from wideroll.people import (
    Attempts,
    DeskDatabase,
    DeskFile,
    Hand,
    Kind,
    Logged,
    Patience,
    desk_database,
    people_there,
    write_log,
)
from wideroll.server.desk import desk_of

__all__ = ["Entrance", "address_of", "entrance_of"]

_NAME_PATIENCE: Final = Patience(free=5)
_ADDRESS_PATIENCE: Final = Patience(free=20)
_REFUSALS_A_MINUTE: Final = 300
_MINUTE_S: Final = 60


@dataclass(slots=True, kw_only=True)
class Entrance:
    """The entrance of one desk.

    Args:
        root: the plant's folder.
        rules: what desk.toml says.
        clock: seconds since 1970 (UTC).
        names: tries by name.
        addresses: tries by address.
        parts: what the ways to come in keep between requests.
    """

    root: Path
    rules: DeskFile
    clock: Callable[[], float] = time.time
    names: Attempts = field(default_factory=lambda: Attempts(_NAME_PATIENCE))
    addresses: Attempts = field(default_factory=lambda: Attempts(_ADDRESS_PATIENCE))
    parts: dict[str, Any] = field(default_factory=dict)
    _database: DeskDatabase | None = None
    _people: bool = False
    _minute: tuple[int, int] = (0, 0)
    _lock: Lock = field(default_factory=Lock)

    @property
    def now_s(self) -> int:
        """Now."""
        return int(self.clock())

    def database(self, *, make: bool = False) -> DeskDatabase | None:
        """The file of people, opened once; None while there is none."""
        if self._database is None:
            with self._lock:
                if self._database is None:
                    self._database = desk_database(self.root, make=make)
        return self._database

    def made_database(self) -> DeskDatabase:
        """The file of people, made where there is none."""
        database = self.database(make=True)
        assert database is not None  # noqa: S101  (it was just made)
        return database

    @property
    def closed(self) -> bool:
        """Whether everybody must say who they are: there are people or a provider of names, or it is on a network."""
        if not self._people:
            database = self.database()
            self._people = database is not None and people_there(database)
        return self._people or self.rules.provider is not None or not self.rules.loopback

    def hand(self, who: str, request: HTTPConnection) -> Hand:
        """Who makes a change, from where, now."""
        return Hand(who=who, address=address_of(request), now_s=self.now_s)

    def log(self, kind: Kind, request: HTTPConnection, *, who: str, what: str, about: str = "") -> None:
        """Add a line to the log; where that isn't possible it goes to standard error, and the desk goes on."""
        if kind == "refused" and not self._may_log():
            return
        line = Logged(kind=kind, who=who, what=what, about=about, address=address_of(request))
        try:
            write_log(self.made_database(), line, now_s=self.now_s)
        except (InputError, sqlite3.Error) as error:
            sys.stderr.write(f"The desk can't write its log ({error!r}): {line!r}\n")

    def _may_log(self) -> bool:
        """Whether there is room in this minute; at the last one the log says that more came."""
        minute = self.now_s // _MINUTE_S
        with self._lock:
            count = self._minute[1] + 1 if self._minute[0] == minute else 1
            self._minute = (minute, count)
        if count == _REFUSALS_A_MINUTE:
            what = "more than that in this minute, not written one by one"
            line = Logged(kind="refused", who="", what=what, about="", address="")
            write_log(self.made_database(), line, now_s=self.now_s)
        return count < _REFUSALS_A_MINUTE


def entrance_of(request: HTTPConnection) -> Entrance:
    """The entrance of the desk that a request came to."""
    desk = desk_of(request)
    entrance: Entrance | None = desk.parts.get("entrance")
    if entrance is None:
        settings = desk.settings
        entrance = desk.parts.setdefault("entrance", Entrance(root=settings.root, rules=settings.rules))
    return entrance


def address_of(request: HTTPConnection) -> str:
    """Where a request came from; of an IPv6 address the network, as one machine has very many."""
    host = request.client.host if request.client else ""
    try:
        address = ip_address(host)
    except ValueError:
        return host
    return str(ip_network((address, 64), strict=False)) if isinstance(address, IPv6Address) else str(address)
