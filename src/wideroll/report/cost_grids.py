"""Expected costs beside the verdict: the choices for the roll and its parts, and what they rest on in words."""

import math
from collections.abc import Sequence
from typing import Final

from wideroll.release.costs_model import Choice, CostTable, Escaped, PartCosts
from wideroll.release.model import Verdict
from wideroll.report.decision_grids import place_text
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import (
    ABSENT,
    decimals_for,
    show_count,
    show_interval,
    show_number,
    show_quantity,
)
from wideroll.report.theme import verdict_sign

__all__ = ["cost_words", "costs_grid"]

_MOST_ROWS: Final = 8
_MOST_DECIMALS: Final = 2
_LITTLE: Final = 0.01
"""What is less than this share of the cost isn't spoken of."""
_MANY: Final = {"mark": "marks", "flaw": "flaws", "m²": "m²"}


def costs_grid(table: CostTable, *, most: int = _MOST_ROWS) -> Grid:
    """One row for the roll and one for each part that isn't released, those on hold first, then by size."""
    parts = sorted(
        (part for part in table.parts if part.extent != table.roll.extent),
        key=lambda part: (part.verdict is not Verdict.HOLD, -part.area_m2, part.extent),
    )
    rows = [table.roll, *parts]
    shown = rows[:most]
    heads = [Choice.CRITERIA, Choice.REST, Choice.RELEASE, Choice.SCRAP, Choice.LOOK]
    heads = [head for head in heads if head is not Choice.REST or not math.isnan(table.roll.rest)]
    return Grid(
        caption=f"Expected costs in {table.currency}, with 90 % intervals: they advise, the criteria rule",
        columns=(Column(head="part"), *(Column(head=head.value) for head in heads), Column(head="cheapest")),
        rows=tuple(_row(part, table, heads) for part in shown),
        left_out=len(rows) - len(shown),
        foot=cost_words(table),
    )


def cost_words(table: CostTable) -> tuple[str, ...]:
    """What is cheapest and by how much, what a release would let through, and what isn't in the costs."""
    roll = table.roll
    said = [_cheapest_words(roll, table)]
    others = [part for part in table.parts if part.verdict is not Verdict.HOLD]
    other = sum(part.cheapest not in {None, Choice.CRITERIA} for part in others)
    if other:
        parts = show_count(other, "part that is cut out", "parts that are cut out")
        said.append(f"By cost alone, to release {parts} would be cheaper; the criteria rule.")
    through = [_through(one, table) for one in roll.escaped if one.cost > _LITTLE * roll.release]
    if through:
        said.append(f"Released as it is, the roll is expected to let through {', '.join(through)}.")
    if table.not_costed:
        said.append(f"No cost is given for {', '.join(table.not_costed)}: not in these sums, which isn't to say 0.")
    if math.isfinite(table.strip):
        said.append(f"A further strip costs {_money(table.strip, table)}; what it would tell isn't weighed.")
    return tuple(said)


def _cheapest_words(roll: PartCosts, table: CostTable) -> str:
    if roll.cheapest is None:
        unknown = ", ".join(roll.unknown)
        return f"Which choice costs least for the roll can't be said: what a release costs isn't known for {unknown}."
    looked = f"look at {show_count(roll.sheets, 'more sheet')} first"
    choice = looked if roll.cheapest is Choice.LOOK else roll.cheapest.value
    if roll.verdict is Verdict.HOLD:
        than = f", {_money(roll.saves, table)} less than the next" if roll.saves > 0.0 else ""
        return f"On hold nothing is sold. Of what may end it, to {choice} costs least{than}; the criteria rule."
    if roll.cheapest is Choice.CRITERIA:
        return "By cost, too, no other choice for the roll is cheaper than to follow the criteria."
    return (
        f"By cost alone, to {choice} would be cheaper for the roll by {_money(roll.saves, table)}; the criteria rule."
    )


def _row(part: PartCosts, table: CostTable, heads: Sequence[Choice]) -> tuple[Cell, ...]:
    decimals = _decimals(table)
    cells = {
        Choice.CRITERIA: _criteria(part, decimals),
        Choice.REST: Cell(text=_rest(part, part.rest, decimals)),
        Choice.RELEASE: _release(part, decimals),
        Choice.SCRAP: Cell(text=show_number(part.scrap, decimals)),
        Choice.LOOK: _look(part, decimals),
    }
    place = Cell(text=place_text(part.extent, table.roll.extent), note=verdict_sign(part.verdict), tone="strong")
    return (place, *(cells[head] for head in heads), _cheapest(part, decimals))


def _criteria(part: PartCosts, decimals: int) -> Cell:
    cost = show_number(part.criteria, decimals)
    if part.verdict is Verdict.HOLD:
        note = "the rest waits, nothing is sold" if part.criteria else "waits, nothing is sold"
        return Cell(text=cost, note=note)
    released = part.verdict is Verdict.RELEASE or part.criteria != part.scrap
    return Cell(text=_rest(part, part.criteria, decimals) if released else cost)


def _rest(part: PartCosts, amount: float, decimals: int) -> str:
    """An amount that holds what escapes with the rest, which may not be known in full."""
    least = "at least " if part.unknown_rest and not math.isnan(amount) else ""
    return f"{least}{show_number(amount, decimals)}"


def _release(part: PartCosts, decimals: int) -> Cell:
    interval = show_interval(part.release_low, part.release_high, decimals)
    notes = [] if interval == ABSENT else [interval]
    notes += [f"without {', '.join(part.unknown)}"] if part.unknown else []
    least = "at least " if part.unknown else ""
    return Cell(text=f"{least}{show_number(part.release, decimals)}", note="; ".join(notes))


def _look(part: PartCosts, decimals: int) -> Cell:
    if math.isnan(part.look):
        return Cell(text=ABSENT)
    if not part.sheets:
        return Cell(text="no sheet pays")
    return Cell(text=_rest(part, part.look, decimals), note=f"at {show_count(part.sheets, 'sheet')}")


def _cheapest(part: PartCosts, decimals: int) -> Cell:
    if part.cheapest is None:
        return Cell(text="can't be said")
    return Cell(text=part.cheapest.value, note=f"by {show_number(part.saves, decimals)}" if part.saves > 0.0 else "")


def _through(one: Escaped, table: CostTable) -> str:
    number = show_quantity(one.number, _MANY[one.per])
    return f"{number} ({one.criterion}, {_money(one.cost, table)})"


def _money(amount: float, table: CostTable) -> str:
    return f"{show_number(amount, _decimals(table))} {table.currency}"


def _decimals(table: CostTable) -> int:
    """The same for all amounts of a table."""
    parts = (table.roll, *table.parts)
    amounts = [amount for part in parts for amount in (part.release, part.scrap, part.criteria)]
    return min(decimals_for(amounts, significant=4), _MOST_DECIMALS)
