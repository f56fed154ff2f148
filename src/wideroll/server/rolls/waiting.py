"""The rolls of a plant as they wait for somebody: how each stands, what is missing, how old it is, who has it."""

import json
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from hashlib import blake2b
from pathlib import Path
from typing import Any, Final

from wideroll.server.rolls.data import ROLL_NAME, RollResult, list_rolls, look_at_roll
from wideroll.server.rolls.holders import holder_of

__all__ = ["STATES", "RollStanding", "rolls_of", "standing_of"]

STATES: Final = ("waiting", "changed", "hold", "reject", "cut out", "release", "unknown")
"""How a roll stands, those first that wait for somebody."""
_EVIDENCE: Final = (
    ("scan/scan.toml", "scan", "control room"),
    ("strips/readings.csv", "readings of strips", "technician"),
    ("examination/sheets.csv", "examined sheets", "examiner"),
)
_SEES_TO: Final = {"strips": "technician", "sheets": "examiner", "sightings": "examiner", "scan": "control room"}
_READ_AGAIN_BYTES: Final = 1 << 24
"""A larger file isn't read for a list."""
_SAME, _TOUCHED, _OTHER = "same", "touched", "other"
_DAY_S: Final = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RollStanding:
    """A roll in the list. ``missing`` names what isn't there yet, ``waits_for`` the roles that can see to it."""

    roll: str
    product: str
    coated: str
    age_days: float | None
    state: str
    verdict: str
    why: str
    missing: tuple[str, ...]
    waits_for: tuple[str, ...]
    holder: str
    has_sheet: bool
    touched: int = 0
    """Large files that are as long as they were, but were written since: what is in them is looked at when the roll's
    page is asked for."""
    trouble: str = ""


def rolls_of(root: Path, results: Path, now: datetime) -> tuple[RollStanding, ...]:
    """All rolls, those that wait for somebody first and of these the oldest.

    Args:
        root: the plant's folder.
        results: the folder with one folder a roll.
        now: to tell the ages.
    """
    decided = {one.roll: one for one in list_rolls(results)}
    names = {path.name for path in _folders(root / "rolls")} | set(decided)
    found = [_standing(root, results, name, decided.get(name), now) for name in names]
    return tuple(sorted(found, key=lambda one: (STATES.index(one.state), -(one.age_days or 0.0), one.roll)))


def standing_of(root: Path, results: Path, roll: str, now: datetime) -> RollStanding:
    """How one roll stands.

    Raises:
        FileNotFoundError: when there is no such roll.
    """
    if ROLL_NAME.fullmatch(roll) is None or not ((root / "rolls" / roll).is_dir() or (results / roll).is_dir()):
        raise FileNotFoundError(roll)
    return _standing(root, results, roll, look_at_roll(results, roll), now)


def _folders(parent: Path) -> Iterator[Path]:
    if parent.is_dir():
        yield from (path for path in parent.iterdir() if path.is_dir() and ROLL_NAME.fullmatch(path.name))


def _standing(root: Path, results: Path, roll: str, decided: RollResult | None, now: datetime) -> RollStanding:
    card, trouble = _card(root / "rolls" / roll / "roll.toml")
    coated = str(card.get("coated", ""))
    missing, waits_for = _missing(root / "rolls" / roll, decided)
    state, touched = "waiting", 0
    if decided is not None:
        state = decided.verdict if decided.verdict in STATES else "unknown"
        changed, touched = _changed(root, results / roll, roll, decided.decision)
        if changed and not decided.trouble:
            state, missing, waits_for = "changed", (*(f"changed: {one}" for one in changed), *missing), ("engineer",)
    return RollStanding(
        roll=roll,
        product=str(card.get("product", "")),
        coated=coated.replace("T", " "),
        age_days=_age_days(coated, now),
        state=state,
        verdict="" if decided is None else decided.verdict,
        why="" if decided is None else decided.why,
        missing=missing,
        waits_for=waits_for,
        holder=holder_of(root, roll),
        has_sheet=decided is not None and decided.has_sheet,
        touched=touched,
        trouble="; ".join(filter(None, (trouble, "" if decided is None else decided.trouble))),
    )


def _card(path: Path) -> tuple[Mapping[str, Any], str]:
    """What roll.toml says, as far as it can be read, and why it can't."""
    try:
        return tomllib.loads(path.read_text(encoding="utf-8")), ""
    except (OSError, ValueError) as error:
        return {}, f"{path.name} can't be read: {error}"


def _age_days(coated: str, now: datetime) -> float | None:
    try:
        when = datetime.fromisoformat(coated)
    except ValueError:
        return None
    local = when if when.tzinfo is not None else when.replace(tzinfo=UTC)
    return (now - local).total_seconds() / _DAY_S


def _missing(folder: Path, decided: RollResult | None) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What isn't there, and who can see to it: of a decision what it lacked, else the evidence that hasn't come."""
    if decided is None:
        absent = [(words, role) for name, words, role in _EVIDENCE if not (folder / name).is_file()]
        roles = dict.fromkeys(role for _, role in absent)
        return tuple(f"no {words}" for words, _ in absent), tuple(roles) or ("engineer",)
    lacks = decided.decision.get("missing", ())
    causes = dict.fromkeys(f"{one.get('subject', '')}: {one.get('cause', '')}" for one in lacks)
    roles = dict.fromkeys(_SEES_TO.get(str(one.get("subject", "")), "technician") for one in lacks)
    return tuple(causes), tuple(roles)


def _changed(root: Path, results: Path, roll: str, decision: Mapping[str, Any]) -> tuple[tuple[str, ...], int]:
    """The files of the decision's evidence that aren't what they were or came since; how many are only touched."""
    inputs = decision.get("inputs", {})
    try:
        memory = json.loads((results / "inputs.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        memory = {}
    looks = {name: _look(root / name, str(kept), memory.get(name, {})) for name, kept in inputs.items()}
    there = (path for path in (root / "rolls" / roll).rglob("*.csv") if path.is_file())
    new = [name for path in there if (name := path.relative_to(root).as_posix()) not in inputs]
    changed = [name for name, look in looks.items() if look == _OTHER]
    return tuple(sorted({*changed, *new})), sum(look == _TOUCHED for look in looks.values())


def _look(path: Path, kept: str, seen: Mapping[str, Any]) -> str:
    try:
        stat = path.stat()
        if (stat.st_size, stat.st_mtime_ns) == (seen.get("size"), seen.get("mtime_ns")):
            return _SAME
        if stat.st_size != seen.get("size", stat.st_size):
            return _OTHER
        if stat.st_size > _READ_AGAIN_BYTES:
            return _TOUCHED
        return _SAME if _digest(path, (stat.st_ino, stat.st_mtime_ns, stat.st_size)) == kept else _OTHER
    except OSError:
        return _OTHER


@lru_cache(maxsize=4096)
def _digest(path: Path, stamp: tuple[int, int, int]) -> str:
    """Of a file that was only written anew; worked out once for each state of it."""
    del stamp
    return blake2b(path.read_bytes(), digest_size=32).hexdigest()
