"""Charts across rolls in tables and sentences: what broke which rule, what changed where, and how limits were set."""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.control.change_model import Coincidence
from wideroll.control.model import CapabilityIndex, CusumChart, RuleBreak
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.quantities import ABSENT, decimals_for, show_count, show_interval, show_number
from wideroll.workflow.control_model import (
    Capable,
    ControlPanel,
    ControlView,
    OverviewLine,
    RecordChanges,
    Steadiness,
)
from wideroll.workflow.control_overview import expected_by_chance

__all__ = [
    "Spell",
    "breaks_grid",
    "capability_grid",
    "changes_grid",
    "changes_words",
    "control_words",
    "is_limit",
    "overview_grid",
    "overview_words",
    "panel_decimals",
    "rolls_words",
    "spells_of",
]

_SIGNS: Final = {
    Steadiness.BEYOND: ("✖", "reject"),
    Steadiness.RULE: ("▲", "hold"),
    Steadiness.STEADY: ("●", "release"),
    Steadiness.NO_CHART: ("○", ""),
}
_MOST_ROWS: Final = 20
_APART: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Spell:
    """Points of a panel, next to one another or with one between, that broke rules; counted from 0 within the panel."""

    panel: ControlPanel
    rules: tuple[tuple[str, int], ...]
    """Each rule with the number of points that broke it, that of the limits first and then the most frequent."""
    places: tuple[int, ...]

    @property
    def words(self) -> str:
        """The rules in a row."""
        many = len(self.places) > 1
        return "; ".join(f"{rule} ({count})" if many else rule for rule, count in self.rules)

    @property
    def beyond(self) -> bool:
        """Whether a point lies beyond a limit."""
        return any(is_limit(rule) for rule, _ in self.rules)


def is_limit(rule: str) -> bool:
    """Whether a rule is the one about the limits, not a run rule.

    Example:
        >>> is_limit("one point above the upper limit"), is_limit("eight points in a row above the centre")
        (True, False)
    """
    return rule.startswith(("one point", "the sum"))


def spells_of(panel: ControlPanel) -> tuple[Spell, ...]:
    """The spells of a panel in order; of a point beyond a limit only that is told."""
    beyond = {found.index for found in panel.chart.breaks if is_limit(found.rule)}
    told = [found for found in panel.chart.breaks if found.index not in beyond or is_limit(found.rule)]
    spells: list[list[RuleBreak]] = []
    for found in told:
        if spells and found.index - spells[-1][-1].index <= _APART:
            spells[-1].append(found)
        else:
            spells.append([found])
    return tuple(_spell(panel, spell) for spell in spells)


def _spell(panel: ControlPanel, found: Sequence[RuleBreak]) -> Spell:
    counts = Counter(one.rule for one in found)
    order = sorted(counts, key=lambda rule: (not is_limit(rule), -counts[rule], rule))
    return Spell(
        panel=panel,
        rules=tuple((rule, counts[rule]) for rule in order),
        places=tuple(dict.fromkeys(one.index for one in found)),
    )


def overview_grid(lines: Sequence[OverviewLine], lately: int) -> Grid:
    """The charts that broke a rule lately, the worst first."""
    several = len({(one.product, one.line) for one in lines}) > 1
    broken = [one for one in lines if one.state in {Steadiness.BEYOND, Steadiness.RULE}]
    return Grid(
        caption=f"Rules broken by the last {lately} rolls, the worst first",
        columns=(
            *((Column(head="product", keep=True), Column(head="line")) if several else ()),
            Column(head="measured"),
            Column(head="state", keep=True),
            Column(head="rule broken"),
            Column(head="roll", keep=True),
            Column(head="value", number=True),
            Column(head="limits"),
        ),
        rows=tuple(
            (
                *((Cell(text=one.product), Cell(text=one.line)) if several else ()),
                Cell(text=_measured(one)),
                Cell(text=f"{_SIGNS[one.state][0]} {one.state.value}", tone=_SIGNS[one.state][1]),
                Cell(text=f"{one.why}{f' ({one.broken} of {one.judged} rolls)' if one.broken > 1 else ''}"),
                Cell(text=one.roll),
                Cell(text=_number(one.value, _decimals(one))),
                Cell(text=f"{_limits(one)} {one.unit}".strip()),
            )
            for one in broken
        ),
        empty="None.",
    )


def overview_words(lines: Sequence[OverviewLine], rolls: int) -> tuple[str, ...]:
    """What is steady, how the limits were set, what chance alone would break, and what has no chart and why."""
    charted = [one for one in lines if one.state is not Steadiness.NO_CHART]
    if not rolls:
        return ("No decided roll is in the history yet.",)
    said: list[str] = []
    if charted:
        steady = [_measured(one) for one in charted if one.state is Steadiness.STEADY]
        said.append(f"Steady: {'; '.join(steady) or 'nothing'}.")
        sets = "; ".join(dict.fromkeys(one.limits_set_by for one in charted))
        said.append(f"{show_count(rolls, 'roll')} in the history. Limits are set by {sets}.")
        chance = show_number(expected_by_chance(charted), 1)
        broken, judged = sum(one.broken for one in charted), sum(one.judged for one in charted)
        said.append(
            f"{show_count(broken, 'point')} of {judged} broke a rule; steady processes with limits well known would "
            f"break about {chance}. A broken rule is a reason to look, not yet a cause."
        )
    reasons: dict[str, list[str]] = {}
    for one in lines:
        if one.state is Steadiness.NO_CHART:
            reasons.setdefault(one.why, []).append(one.quantity)
    return (*said, *(f"No chart of {', '.join(names)}: {why}." for why, names in reasons.items()))


def breaks_grid(view: ControlView) -> Grid:
    """Which rolls broke which rules, the newest first."""
    spells = sorted(
        (spell for panel in view.panels for spell in spells_of(panel)),
        key=lambda spell: spell.panel.start + spell.places[-1],
        reverse=True,
    )
    return Grid(
        caption=f"Rules broken by {view.what}, the newest first",
        columns=(
            Column(head="rolls", keep=True),
            Column(head="last one coated", keep=True),
            Column(head="chart"),
            Column(head="rule broken (by so many)"),
            Column(head="its value", number=True),
            Column(head="limits"),
        ),
        rows=tuple(_break_row(view, spell) for spell in spells[:_MOST_ROWS]),
        empty="No rule is broken.",
        left_out=max(0, len(spells) - _MOST_ROWS),
    )


def changes_grid(view: ControlView) -> Grid:
    """Where the level changed for good, and what was noted there."""
    return Grid(
        caption="Lasting changes of the level",
        columns=(
            Column(head="chart", keep=True),
            Column(head="from roll", keep=True),
            Column(head="or any from"),
            Column(head="before", number=True),
            Column(head="after", number=True),
            Column(head="step"),
            Column(head="noted there"),
        ),
        rows=tuple(_change_row(view, of, one) for of in view.changes for one in of.match.changes),
        empty="One level explains the series; no lasting change is shown.",
    )


def capability_grid(view: ControlView) -> Grid:
    """How the records fit between the product's limits; only worth reading where the charts are steady."""
    return Grid(
        caption="Capability: does what the process does fit between the product's limits?",
        columns=(
            Column(head="chart", keep=True),
            Column(head="criterion"),
            Column(head="limits"),
            Column(head="could (Cpk)"),
            Column(head="did (Ppk)"),
            Column(head="outside"),
            Column(head="doubtful because"),
        ),
        rows=tuple(_capable_row(view, one) for one in view.capable),
        empty="The product has no limit on it.",
    )


def control_words(view: ControlView) -> str:
    """The finding in words, and how the limits were set: the figure's caption."""
    newest = [spells[-1] for panel in view.panels if (spells := spells_of(panel))]
    broken = [f"{spell.panel.name}: {spell.rules[0][0]} at {_rolls(view, spell)}" for spell in newest]
    said = f"Last broken: {'; '.join(broken)}." if broken else "No rule is broken."
    missing = f" {show_count(view.missing, 'roll')} had no value." if view.missing else ""
    return " ".join(
        [
            f"{view.what} of {view.product} on {view.line}, {rolls_words(view)}, chart {view.kind.value}.",
            said,
            f"Limits: {view.limits_set_by}.{missing}",
        ]
    )


def changes_words(view: ControlView) -> tuple[str, ...]:
    """Each lasting change in a sentence, and how likely the meetings with what was noted are by chance."""
    return tuple(sentence for of in view.changes for sentence in _change_sentences(view, of))


def rolls_words(view: ControlView) -> str:
    """How many rolls, and which.

    The count stands first.
    """
    return f"{show_count(len(view.rolls), 'roll')}, {view.rolls[0]} to {view.rolls[-1]}"


def panel_decimals(panel: ControlPanel) -> int:
    """Decimals that show the panel's limits and values."""
    chart = panel.chart
    if isinstance(chart, CusumChart):
        return decimals_for((chart.decision,))
    reach = chart.limits.high - chart.limits.low
    return decimals_for((reach,)) if reach > 0.0 else decimals_for(chart.points)


def _rolls(view: ControlView, spell: Spell) -> str:
    first, last = (view.rolls[spell.panel.start + spell.places[end]] for end in (0, -1))
    return last if first == last else f"{first} to {last}"


def _break_row(view: ControlView, spell: Spell) -> tuple[Cell, ...]:
    panel, last, decimals = spell.panel, spell.places[-1], panel_decimals(spell.panel)
    chart = panel.chart
    if isinstance(chart, CusumChart):
        value, low, high = max(chart.above[last], chart.below[last]), 0.0, chart.decision
    else:
        limits = chart.each[last] if chart.each else chart.limits
        value, low, high = chart.points[last], limits.low, limits.high
    return (
        Cell(text=_rolls(view, spell), note=show_count(len(spell.places), "roll") if len(spell.places) > 1 else ""),
        Cell(text=view.coated[panel.start + last].removesuffix("T00:00").replace("T", " ")),
        Cell(text=panel.name, note=panel.unit),
        Cell(text=spell.words),
        Cell(text=show_number(value, decimals)),
        Cell(text=show_interval(low, high, decimals)),
    )


def _change_row(view: ControlView, of: RecordChanges, one: Coincidence) -> tuple[Cell, ...]:
    change = one.change
    panel = next((panel for panel in view.panels if panel.record == of.record), view.panels[0])
    decimals = max(panel_decimals(panel), decimals_for((change.step,), significant=2))
    return (
        Cell(text=of.record or view.what, note=panel.unit),
        Cell(text=view.rolls[change.at], note=view.coated[change.at].removesuffix("T00:00")),
        Cell(text=f"{view.rolls[change.first]} to {view.rolls[change.last]}"),
        Cell(text=show_number(change.before, decimals)),
        Cell(text=show_number(change.after, decimals)),
        Cell(
            text=show_number(change.step, decimals, signed=True),
            note=show_interval(change.step_low, change.step_high, decimals),
        ),
        Cell(text="; ".join(f"{event.kind} {event.name}" for event in one.events) or "nothing"),
    )


def _change_sentences(view: ControlView, of: RecordChanges) -> Iterator[str]:
    name = of.record or view.what
    panel = next((panel for panel in view.panels if panel.record == of.record), view.panels[0])
    for one in of.match.changes:
        change = one.change
        decimals = max(panel_decimals(panel), decimals_for((change.step,), significant=2))
        step = f"{show_number(change.step, decimals, signed=True)} {panel.unit}".strip()
        noted = ", ".join(f"{event.kind} {event.name}" for event in one.events)
        told = f"noted there: {noted}" if noted else "nothing was noted there"
        yield f"{name} changed by {step} at {view.rolls[change.at]}; {told}."
    if of.lone:
        whose = "its" if len(of.lone) == 1 else "their"
        yield f"{name}: {', '.join(of.lone)} far off {whose} neighbours, no change of level."
    if of.match.changes:
        met = [kind for kind in of.match.kinds if kind.met]
        yield from (f"{name}: {kind.words}." for kind in met)
        if of.found.caution:
            yield f"{name}: {of.found.caution}."


def _capable_row(view: ControlView, one: Capable) -> tuple[Cell, ...]:
    found = one.capability
    decimals = decimals_for([end for end in (found.low, found.high) if end is not None])
    low, high = (-math.inf if found.low is None else found.low), (math.inf if found.high is None else found.high)
    share = show_interval(100.0 * found.outside_low, 100.0 * found.outside_high, 1)
    return (
        Cell(text=one.record or view.what),
        Cell(text=one.criterion),
        Cell(text=show_interval(low, high, decimals)),
        Cell(text=_index(found.cpk)),
        Cell(text=_index(found.ppk)),
        Cell(text=f"{found.outside} of {found.count}", note=f"{share} %"),
        Cell(text="; ".join(found.cautions) or "nothing"),
    )


def _index(index: CapabilityIndex) -> str:
    return f"{show_number(index.value, 2)} ({show_interval(index.low, index.high, 2)})"


def _measured(one: OverviewLine) -> str:
    return one.quantity if one.panel == one.quantity else f"{one.quantity}, {one.panel}"


def _decimals(one: OverviewLine) -> int:
    if one.low is None or one.high is None:
        return 0
    return decimals_for((one.high - one.low,)) if one.high > one.low else decimals_for((one.value or 0.0,))


def _number(value: float | None, decimals: int) -> str:
    return ABSENT if value is None else show_number(value, decimals)


def _limits(one: OverviewLine) -> str:
    if one.low is None or one.high is None:
        return ABSENT
    return show_interval(one.low, one.high, _decimals(one), counted=True)
