"""``desk.toml``: how people come in. A file of its own, as a change of plant.toml would make decisions stale."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from ipaddress import ip_address
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

from wideroll.errors import InputError
from wideroll.people.model import ROLES
from wideroll.people.passwords import Cost
from wideroll.people.sessions import Lengths

__all__ = ["DESK_FILE", "DeskFile", "Provider", "read_desk_file"]

DESK_FILE: Final = "desk.toml"
_REFERENCE: Final = "docs/reference/desk.md lists the fields and what they hold."
_LOOPBACK_NAMES: Final = ("127.0.0.1", "localhost")
_FIELDS: Final = {
    *("listen", "hosts", "certificate", "key", "behind_https"),
    *("form_kb", "upload_mb", "zone", "sessions", "password", "oidc"),
}
_KB: Final = 1024
_HOUR_S: Final = 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class Provider:
    """Who else proves people, by OpenID Connect: its address, what we are to it, and what its claims mean here.

    Args:
        issuer: address of the provider, as its tokens name it.
        client_id: what the desk is called there.
        secret_file: holds the desk's secret there on its first line; relative to the plant.
        label: what the button says.
        scopes: asked for besides ``openid``.
        name_claim: what becomes the name here.
        shown_claim: what stands in the record.
        roles_claim: a text or a list of texts.
        roles: which value of that claim gives which role here.
    """

    issuer: str
    client_id: str
    secret_file: str
    label: str = "the plant's accounts"
    scopes: tuple[str, ...] = ("profile",)
    name_claim: str = "preferred_username"
    shown_claim: str = "name"
    roles_claim: str = "roles"
    roles: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class DeskFile:
    """What desk.toml says; without one all is as here.

    Args:
        listen: address that the desk listens at.
        hosts: names that browsers may ask for it by, besides those of this machine.
        certificate: with ``key`` the desk speaks https itself; PEM, relative to the plant.
        key: of the certificate.
        behind_https: a program before the desk speaks https for it.
        lengths: of sessions.
        cost: of a password.
        form_bytes: at most in a form.
        upload_bytes: at most in a form with files.
        provider: of names, or none.
        zone: in which pages show moments, by its name in the IANA data.
    """

    listen: str = "127.0.0.1"
    hosts: tuple[str, ...] = ()
    certificate: str = ""
    key: str = ""
    behind_https: bool = False
    lengths: Lengths = field(default_factory=Lengths)
    cost: Cost = field(default_factory=Cost)
    form_bytes: int = 1024 * _KB
    upload_bytes: int = 64 * _KB * _KB
    provider: Provider | None = None
    zone: str = "UTC"

    @property
    def https(self) -> bool:
        """Whether browsers reach the desk by https."""
        return self.behind_https or bool(self.certificate)

    @property
    def loopback(self) -> bool:
        """Whether only this machine can reach it."""
        return self.listen == "localhost" or ip_address(self.listen).is_loopback


def read_desk_file(root: Path) -> DeskFile:
    """What the plant's desk.toml says; the defaults where there is none.

    Raises:
        InputError: naming the field, the rule, the value and the mend.
    """
    path = root / DESK_FILE
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        return DeskFile()
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(
            where=str(path), rule="the file must be TOML", value=str(error), mend="Mend the line it names."
        ) from error
    try:
        return _desk_file(data)
    except InputError as error:
        raise error.at(str(path)) from error


def _desk_file(data: Mapping[str, Any]) -> DeskFile:
    _only(data, _FIELDS)
    sessions, password = _table(data, "sessions"), _table(data, "password")
    _only(sessions, {"idle_hours", "longest_hours"}, "sessions")
    _only(password, {"rounds", "memory_mib", "threads"}, "password")
    idle, whole = _number(sessions, "idle_hours", 8, 0.1, 168), _number(sessions, "longest_hours", 24, 0.1, 720)
    made = DeskFile(
        listen=_text(data, "listen", "127.0.0.1", _is_address),
        hosts=_texts(data, "hosts", ()),
        certificate=_text(data, "certificate", ""),
        key=_text(data, "key", ""),
        behind_https=_truth(data, "behind_https"),
        lengths=Lengths(idle_s=int(min(idle, whole) * _HOUR_S), whole_s=int(whole * _HOUR_S)),
        cost=Cost(
            rounds=int(_number(password, "rounds", 3, 1, 20)),
            memory_kib=int(_number(password, "memory_mib", 64, 8, 2048) * _KB),
            threads=int(_number(password, "threads", 4, 1, 16)),
        ),
        form_bytes=int(_number(data, "form_kb", 1024, 64, 65536) * _KB),
        upload_bytes=int(_number(data, "upload_mb", 64, 1, 4096) * _KB * _KB),
        provider=_provider(_table(data, "oidc")) if "oidc" in data else None,
        zone=_text(data, "zone", "UTC", _is_zone),
    )
    if bool(made.certificate) != bool(made.key):
        raise _refuse("certificate", "a certificate and its key go together", None, "Give both, or neither.")
    return made


def _provider(data: Mapping[str, Any]) -> Provider:
    _only(
        data,
        {"issuer", "client_id", "secret_file", "label", "scopes", "name_claim", "shown_claim", "roles_claim", "roles"},
        "oidc",
    )
    roles = _table(data, "roles")
    for value, role in roles.items():
        if role not in ROLES:
            raise _refuse(f"oidc.roles.{value}", f"must be one of: {', '.join(ROLES)}", role, "Take a role from these.")
    if not roles:
        raise _refuse(
            "oidc.roles", "must say which value gives which role", None, 'Write it as "release" = "engineer".'
        )
    plain = Provider(issuer="", client_id="", secret_file="")
    return Provider(
        issuer=_text(data, "issuer", None, _is_issuer),
        client_id=_text(data, "client_id", None),
        secret_file=_text(data, "secret_file", None),
        label=_text(data, "label", plain.label),
        scopes=_texts(data, "scopes", plain.scopes),
        name_claim=_text(data, "name_claim", plain.name_claim),
        shown_claim=_text(data, "shown_claim", plain.shown_claim),
        roles_claim=_text(data, "roles_claim", plain.roles_claim),
        roles=dict(roles),
    )


def _is_address(text: str) -> str:
    """Why it can't be listened at, or nothing."""
    try:
        if text != "localhost":
            ip_address(text)
    except ValueError:
        return "must be an address of this machine, such as 127.0.0.1 or 0.0.0.0"
    return ""


def _is_zone(text: str) -> str:
    """Why it isn't a zone that is known here, or nothing."""
    from zoneinfo import ZoneInfo  # noqa: PLC0415  (most plants' files name none)

    try:
        ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        return "must be the name of a time zone that this machine knows, such as Europe/Vienna"
    return ""


def _is_issuer(text: str) -> str:
    """Why it can't be the address of a provider, or nothing; plain http is for this machine alone."""
    try:
        parts = urlsplit(text)
        host = parts.hostname or ""
    except ValueError:
        return "must be an https address"
    good = parts.scheme == "https" or (parts.scheme == "http" and host in _LOOPBACK_NAMES)
    return "" if good and host and not parts.query and not parts.fragment else "must be an https address"


def _only(data: Mapping[str, Any], known: set[str], within: str = "") -> None:
    for name in data:
        if name not in known:
            where = f"{within}.{name}" if within else name
            raise _refuse(where, "there is no such field", None, f"Remove it or correct its spelling; {_REFERENCE}")


def _table(data: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    value = data.get(name, {})
    if not isinstance(value, dict):
        raise _refuse(name, "must be a table", value, _REFERENCE)
    return value


def _text(data: Mapping[str, Any], name: str, usual: str | None, wrong: Callable[[str], str] | None = None) -> str:
    value = data.get(name, usual)
    if value is None:
        raise _refuse(name, "the field must be there", None, f"Add it; {_REFERENCE}")
    if not isinstance(value, str) or (not value and usual is None):
        raise _refuse(name, "must be text in quotes", value, _REFERENCE)
    why = wrong(value) if wrong else ""
    if why:
        raise _refuse(name, why, value, _REFERENCE)
    return value


def _texts(data: Mapping[str, Any], name: str, usual: tuple[str, ...]) -> tuple[str, ...]:
    value = data.get(name, list(usual))
    if not isinstance(value, list) or any(not isinstance(one, str) or not one for one in value):
        raise _refuse(name, "must be a list of texts", value, _REFERENCE)
    return tuple(value)


def _truth(data: Mapping[str, Any], name: str) -> bool:
    value = data.get(name, False)
    if not isinstance(value, bool):
        raise _refuse(name, "must be true or false", value, _REFERENCE)
    return value


def _number(data: Mapping[str, Any], name: str, usual: float, least: float, most: float) -> float:
    value = data.get(name, usual)
    if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
        raise _refuse(name, f"must be a number from {least:g} to {most:g}", value, _REFERENCE)
    return float(value)


def _refuse(where: str, rule: str, value: object, mend: str) -> InputError:
    return InputError(where=where, rule=rule, value=value, mend=mend[:1].upper() + mend[1:])
