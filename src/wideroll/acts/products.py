"""Changing a product's file: what a change does, and writing it together with the record's word that it was."""

import json
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import Any, Final

from wideroll import __version__
from wideroll.acts.sealing import now_utc, record_held
from wideroll.errors import InputError
from wideroll.readers.product_text import TextFault, product_faults
from wideroll.record import Event, Json, digest
from wideroll.store import TAKE_IN, one_product_at_a_time, write_whole

__all__ = [
    "MOST_BYTES",
    "Change",
    "ProductChange",
    "RollBy",
    "changes_between",
    "check_product_name",
    "plan_change",
    "product_digest",
    "product_names",
    "product_text",
    "rolls_by_product",
    "save_product",
]

MOST_BYTES: Final = 400_000
"""No product's file is as long: more is a slip."""
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What changes at a place of the file; an empty text where there was or will be nothing."""

    where: str
    before: str
    after: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RollBy:
    """A decided roll, and whether its decision was made by the product as it is."""

    roll: str
    verdict: str
    current: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductChange:
    """What saving a text would do; with faults it can't be saved.

    Args:
        product: its name.
        text: as it would be saved.
        faults: of the text.
        changes: of values, in the order of the new text.
        lost: names of criteria that would be gone.
        stale: rolls whose decisions would no longer rest on the product as it is.
        again: rolls whose decisions would rest on it again.
    """

    product: str
    text: str
    faults: tuple[TextFault, ...] = ()
    changes: tuple[Change, ...] = ()
    lost: tuple[str, ...] = ()
    stale: tuple[RollBy, ...] = ()
    again: tuple[RollBy, ...] = ()


def check_product_name(name: str) -> str:
    """The name of a product, which is that of its file.

    Raises:
        InputError: when it can't be one.
    """
    if _NAME.fullmatch(name) is None or name.endswith("."):
        raise InputError(
            where="name",
            rule="must be at most 80 letters, digits, dots, dashes and underscores, and start with a letter or digit",
            value=name,
            mend="Write it like negative-100.",
        )
    return name


def product_names(root: Path) -> tuple[str, ...]:
    """Names of the plant's products, sorted."""
    return tuple(sorted(path.stem for path in (root / "products").glob("*.toml") if _NAME.fullmatch(path.stem)))


def product_text(root: Path, name: str) -> str:
    """The text of a product's file, its lines ended by newlines alone; empty where there is none.

    Raises:
        InputError: when its name can't be one, or its file can't be read.
    """
    data = _bytes(root, name)
    try:
        return (data or b"").decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        raise InputError(
            where=f"products/{name}.toml, byte {error.start}", rule="the text must be UTF-8", mend="Save it again so."
        ) from error


def product_digest(root: Path, name: str) -> str:
    """SHA-256 of a product's file, by which whoever saves shows what they saw; empty where there is none."""
    data = _bytes(root, name)
    return "" if data is None else digest(data)


def plan_change(root: Path, name: str, text: str) -> ProductChange:
    """What saving a text as a product's file would do.

    Args:
        root: the plant's folder.
        name: of the product, which may be new.
        text: of its file.

    Raises:
        InputError: when the name can't be one, or the file that is there can't be read.
    """
    before, text = product_text(root, name), _tidy(text)
    faults = _faults(root, name, text)
    if faults:
        return ProductChange(product=name, text=text, faults=faults)
    old, new = _loaded(before), _loaded(text)
    rolls, will_be = rolls_by_product(root, name), _look_of(_to_write(root, name, text))
    hashes = {one.roll: _decided_by(root, one.roll, name) for one in rolls}
    return ProductChange(
        product=name,
        text=text,
        changes=tuple(_changes(old, new)),
        lost=tuple(one for one in _criteria(old) if one not in _criteria(new)),
        stale=tuple(one for one in rolls if one.current and hashes[one.roll] != will_be),
        again=tuple(one for one in rolls if not one.current and hashes[one.roll] == will_be),
    )


def changes_between(before: str, after: str) -> tuple[Change, ...]:
    """What changes of values from one text of a product's file to another."""
    return tuple(_changes(_loaded(before), _loaded(after)))


def rolls_by_product(root: Path, name: str) -> tuple[RollBy, ...]:
    """The decided rolls whose decisions rest on a product's file, by name."""
    data = _bytes(root, name)
    now = None if data is None else _look_of(data)
    found: list[RollBy] = []
    for path in sorted((root / "results").glob("*/decision.json")):
        kept, verdict = _decision(path, name)
        if kept:
            found.append(RollBy(roll=path.parent.name, verdict=verdict, current=kept == now))
    return tuple(found)


def save_product(root: Path, name: str, text: str, *, seen: str, who: str, taken_out: Sequence[str] = ()) -> Event:
    """Write a product's file whole, and add to the record that it was taken in.

    Args:
        root: the plant's folder.
        name: of the product.
        text: of its file.
        seen: the digest of the file that the change was made from (``product_digest``); empty for a new one.
        who: changes it.
        taken_out: criteria that it is meant to lose.

    Returns:
        The event that names the file as it is now.

    Raises:
        InputError: when the file was changed meanwhile, the text has a fault, it loses other criteria, or the disk
            refuses; then the file is as it was.
        RecordError: when the record doesn't hold.
    """
    check_product_name(name)
    with one_product_at_a_time(root / "results"), record_held(root, []) as store:
        if product_digest(root, name) != seen:
            raise _changed_meanwhile(name, new=not seen)
        change = plan_change(root, name, text)
        _check_change(change, taken_out)
        path, before, data = _path(root, name), _bytes(root, name), _to_write(root, name, text)
        write_whole(path, data)
        try:
            return store.append(TAKE_IN, who, now_utc(), __version__, _body(change, data, new=before is None))
        except BaseException:
            if before is None:
                path.unlink(missing_ok=True)
            else:
                write_whole(path, before)
            raise


def _check_change(change: ProductChange, taken_out: Sequence[str]) -> None:
    if change.faults:
        raise change.faults[0].error
    lost = [one for one in change.lost if one not in taken_out]
    if lost:
        raise InputError(
            where="taken-out",
            rule="a criterion isn't lost by accident: each that is taken out is ticked",
            value=", ".join(lost),
            mend="Tick it, or put it back.",
        )


def _body(change: ProductChange, data: bytes, *, new: bool) -> dict[str, Json]:
    words: list[Json] = [
        f"{one.where}: {one.before or 'not given'} → {one.after or 'not given'}" for one in change.changes
    ]
    return {
        "product": change.product,
        "files": {f"products/{change.product}.toml": digest(data)},
        "changes": ["a new product"] if new else words,
    }


def _changed_meanwhile(name: str, *, new: bool) -> InputError:
    rule = "there is such a product already" if new else "the file was changed meanwhile, by somebody else or elsewhere"
    mend = "Give another name." if new else "Look at the file as it is now, then go on."
    return InputError(
        where="name" if new else f"products/{name}.toml", rule=rule, value=name if new else None, mend=mend
    )


def _faults(root: Path, name: str, text: str) -> tuple[TextFault, ...]:
    if len(text.encode()) > MOST_BYTES:
        told = InputError(where="text", rule=f"must be at most {MOST_BYTES // 1000} kB", mend="Take something out.")
        return (TextFault(place=(), line=0, error=told),)
    return product_faults(name, text, root / "products")


def _path(root: Path, name: str) -> Path:
    return root / "products" / f"{check_product_name(name)}.toml"


def _bytes(root: Path, name: str) -> bytes | None:
    try:
        return _path(root, name).read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise InputError(
            where=f"products/{name}.toml",
            rule="the file must be readable",
            value=error.strerror,
            mend="Check its rights.",
        ) from error


def _tidy(text: str) -> str:
    """As forms send it, with the ends of lines that files have."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    return plain if plain.endswith("\n") else f"{plain}\n"


def _to_write(root: Path, name: str, text: str) -> bytes:
    """The text with the ends of lines of the file that is there."""
    plain, before = _tidy(text), _bytes(root, name) or b""
    return (plain.replace("\n", "\r\n") if b"\r\n" in before else plain).encode()


def _look_of(data: bytes) -> str:
    """What a decision knows a file by."""
    return blake2b(data, digest_size=32).hexdigest()


def _decision(path: Path, name: str) -> tuple[str, str]:
    """What a decision knew the product's file by, and its verdict; empty where it doesn't rest on it."""
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
        return str(document["inputs"].get(f"products/{name}.toml", "")), str(document["verdict"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return "", ""


def _decided_by(root: Path, roll: str, name: str) -> str:
    return _decision(root / "results" / roll / "decision.json", name)[0]


def _loaded(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except ValueError:
        return {}


def _criteria(data: Mapping[str, Any]) -> list[str]:
    held = data.get("criteria")
    return [str(one.get("name")) for one in held if isinstance(one, dict)] if isinstance(held, list) else []


def _changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterator[Change]:
    before, after = dict(_leaves(old)), dict(_leaves(new))
    for where in dict.fromkeys([*after, *before]):
        if before.get(where) != after.get(where):
            yield Change(where=where, before=before.get(where, ""), after=after.get(where, ""))


def _leaves(held: Any, where: str = "") -> Iterator[tuple[str, str]]:
    """Each value with its place in words: tables by their names, where they have any."""
    if isinstance(held, dict):
        for key, inner in held.items():
            yield from _leaves(inner, f"{where}, {key}" if where else key)
    elif isinstance(held, list) and held and all(isinstance(one, dict) for one in held):
        names = [str(one.get("name", number)) for number, one in enumerate(held, 1)]
        if len(held) > 1 and all("name" in one for one in held):
            yield f"{where}, order", ", ".join(names)
        for name, one in zip(names, held, strict=True):
            yield from _leaves({key: inner for key, inner in one.items() if key != "name"}, f"{where}, {name}")
    else:
        yield where, _words(held)


def _words(held: object) -> str:
    return json.dumps(held, ensure_ascii=False, default=str) if isinstance(held, str | bool | list) else str(held)
