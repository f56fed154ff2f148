"""All finished rolls of a plant in one table, and the wide rolls they were slit from."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from wideroll.errors import InputError
from wideroll.workflow.model import Batch

__all__ = ["FinishedIndex", "WideRoll"]

_SUGGESTED = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class WideRoll:
    """A wide roll with a cut list that stands.

    ``key`` names all that its rows were made from: while it is the same, they are too.
    """

    name: str
    product: str
    status: str
    """Of the cut list."""
    length_m: float
    """Of what was slit."""
    key: str
    coated: str = ""
    batches: tuple[Batch, ...] = ()
    windings: dict[str, int] = field(default_factory=dict)
    """How often film of each width is wound over, by the width's name."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FinishedIndex:
    """The finished rolls of a plant: ``rows`` of ``FINISHED_SCHEMA``, and their wide rolls by name.

    Example:
        >>> from wideroll.workflow.finished_rolls import FINISHED_SCHEMA
        >>> FinishedIndex(rows=FINISHED_SCHEMA.to_frame(), rolls={}).count
        0
    """

    rows: pl.DataFrame
    rolls: Mapping[str, WideRoll]

    @property
    def count(self) -> int:
        """How many finished rolls there are."""
        return self.rows["finished"].n_unique()

    def find(self, number: str) -> pl.DataFrame:
        """The rows of one finished roll, by its number, or by what follows the slash where one roll alone has that.

        Raises:
            InputError: when there is none, or several.
        """
        found = self.rows.filter(pl.col("finished") == number)
        if not found.height and "/" not in number:
            found = self.rows.filter(pl.col("finished").str.ends_with(f"/{number}"))
        names = found["finished"].unique(maintain_order=True).to_list()
        if len(names) == 1:
            return found
        raise InputError(
            where="finished roll",
            rule="must be the number of one finished roll, as on its label"
            if not names
            else "several have this number",
            value=number,
            mend=self._mend(number, names),
        )

    def _mend(self, number: str, names: list[str]) -> str:
        if not self.rows.height:
            return "No roll of the plant has been decided and cut: `wideroll decide` makes a cut list."
        near = names or self._near(number)
        if not near:
            return f"Its wide roll must be one of: {', '.join(sorted(self.rolls)[:_SUGGESTED])} …"
        return f"Perhaps one of: {', '.join(near[:_SUGGESTED])}."

    def _near(self, number: str) -> list[str]:
        """Of the same wide roll, those that begin alike; else those of other rolls with the same end."""
        roll, _, end = number.rpartition("/")
        mine = self.rows.filter(pl.col("roll") == roll)["finished"].unique(maintain_order=True).to_list()
        if mine:
            return sorted(mine, key=lambda name: (-_alike(name, number), name))
        ends = pl.col("finished").str.ends_with(f"/{end}")
        return list(self.rows.filter(ends)["finished"].unique(maintain_order=True).head(_SUGGESTED))


def _alike(one: str, other: str) -> int:
    """How many characters two texts share at their start and end."""
    start = next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    back = zip(reversed(one), reversed(other), strict=False)
    return start + next((n for n, (a, b) in enumerate(back) if a != b), 0)
