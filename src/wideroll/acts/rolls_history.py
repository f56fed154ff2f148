"""The history of a plant's rolls at hand: brought up to date, picked by product, line and days."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import polars as pl

from wideroll.acts.plants import plant_files
from wideroll.acts.sealing import open_record
from wideroll.acts.telling import tell
from wideroll.control import select_rolls
from wideroll.errors import ArgumentError, InputError
from wideroll.readers import PlantFolder
from wideroll.readers.earlier_rolls import EARLIER, read_earlier
from wideroll.readers.logbook_file import LOGBOOK, read_logbook
from wideroll.record import Event
from wideroll.release.model import Criterion
from wideroll.store import hash_file
from wideroll.store.base_periods import load_base, newest_base, recorded_bases
from wideroll.store.roll_history import RollHistory, update_history
from wideroll.workflow.control_model import BaseLimits
from wideroll.workflow.line_events import LineEvent, plant_events

__all__ = ["HistoryAtHand", "one_process", "open_history"]


_SHOWN: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryAtHand:
    """The history of a plant, the base periods on record, and what else its files tell."""

    files: PlantFolder
    kept: RollHistory
    bases: Mapping[str, Event]

    def rolls(self, product: str | None, line: str | None, first_day: str | None, last_day: str | None) -> pl.LazyFrame:
        """Those asked for.

        Args:
            product: its name, or a part that only one has; None for all.
            line: the same of a coating line.
            first_day: only rolls coated then or later, like 2026-10-01.
            last_day: only rolls coated then or earlier.

        Raises:
            InputError: when the product or line isn't in the history, or no roll is left.
        """
        whole = pl.scan_parquet(self.kept.path)
        known = whole.select("product", "line").unique().sort("product", "line").collect()
        product = _one_of(product, known["product"].unique().sort().to_list(), "--product")
        line = _one_of(line, known["line"].unique().sort().to_list(), "--line")
        try:
            return select_rolls(whole, product=product, line=line, first_day=first_day, last_day=last_day)
        except ArgumentError as error:
            raise InputError(
                where="--from and --to", rule="the last day comes after the first", value=last_day, mend=error.mend
            ) from error

    def base(self, name: str | None, product: str, line: str) -> BaseLimits | None:
        """The base period named; else that frozen last for the product and line; else None.

        Raises:
            InputError: when there is none of that name, or it is of another product or line.
            RecordError: when its file isn't the one on record.
        """
        chosen = name or newest_base(self.bases, product, line)
        if not chosen:
            return None
        base = load_base(self.files.root, chosen, self.bases)
        if (base.product, base.line) != (product, line):
            raise InputError(
                where=f"base period {chosen}",
                rule=f"is of {base.product} on {base.line}",
                value=f"{product} on {line}",
                mend="Name another, or freeze one of these rolls.",
            )
        return base

    def events(self) -> tuple[LineEvent, ...]:
        """What the plant's files note of its line.

        Raises:
            InputError: when one of them has a fault.
        """
        instruments = self.files.instruments()
        return plant_events(
            self.files.plant(),
            self.files.processors(),
            _calibrations(instruments) if instruments else (),
            read_logbook(self.files.root / LOGBOOK),
        )

    def criteria(self, product: str) -> tuple[Criterion, ...]:
        """The product's, where the plant still has its file."""
        path = self.files.root / "products" / f"{product}.toml"
        return self.files.product(product).criteria if path.is_file() else ()


def open_history(plant: Path) -> HistoryAtHand:
    """Bring the history of a plant up to date, and say which decided rolls it lacks.

    Args:
        plant: its folder.

    Raises:
        InputError: when the folder isn't a plant, or a file has a fault.
        RecordError: when the record can't be read.
    """
    files = plant_files(plant)
    line, path = files.plant().name, plant / EARLIER
    store = open_record(plant)
    try:
        kept = update_history(
            plant / "results",
            store,
            lambda: read_earlier(path, line),
            mark=f"{hash_file(path)} {line}" if path.is_file() else "",
        )
        bases = recorded_bases(store)
    finally:
        if store is not None:
            store.close()
    for roll, why in list(kept.left_out.items())[:_SHOWN]:
        tell(f"Roll {roll} isn't in the history: {why}.")
    if len(kept.left_out) > _SHOWN:
        tell(f"… and {len(kept.left_out) - _SHOWN} more.")
    return HistoryAtHand(files=files, kept=kept, bases=bases)


def one_process(rolls: pl.LazyFrame, what: str) -> tuple[str, str]:
    """The one product and line of the rolls.

    Args:
        rolls: of the history.
        what: is wanted of them, for the message.

    Raises:
        InputError: when there are several, or no roll.
    """
    pairs = rolls.select("product", "line").unique().sort("product", "line").collect().rows()
    if not pairs:
        raise InputError(where=what, rule="no decided roll fits what was asked for", mend="Ask for other days.")
    for place, option in enumerate(("--product", "--line")):
        several = sorted({pair[place] for pair in pairs})
        if len(several) > 1:
            raise InputError(
                where=option,
                rule=f"a chart is of one {option.removeprefix('--')}, and there are: {', '.join(several)}",
                mend=f"Name one with {option}.",
            )
    return pairs[0]


def _one_of(wanted: str | None, known: list[str], option: str) -> str | None:
    """The one that was meant: all of its name, or a part that only one has."""
    if wanted is None or wanted in known:
        return wanted
    fit = [one for one in known if wanted.casefold() in one.casefold()]
    if len(fit) != 1:
        raise InputError(
            where=option,
            rule=f"must be one of: {', '.join(known) or 'none, as no roll is in the history'}",
            value=wanted,
            mend="Correct it; a part that only one of them has will do.",
        )
    return fit[0]


def _calibrations(instruments: object) -> Iterator[tuple[str, str]]:
    for kind in ("densitometers", "sensitometers", "gauges"):
        for name, one in getattr(instruments, kind).items():
            yield from ((name, made.on) for made in one.calibrations)
