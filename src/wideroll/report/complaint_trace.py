"""The trace that is kept with a complaint, in words: by which decision the film was sold, and what lay there.

It is read from the record, years later perhaps and written by another version: what isn't understood is left out.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

from wideroll.record import Json
from wideroll.report.grid import Cell, Column, Grid
from wideroll.report.history_words import utc_day
from wideroll.report.quantities import show_number

__all__ = ["known_grid", "trace_facts_kept"]

_MOST_ROWS: Final = 12
_MM_PER_M: Final = 1000.0


def trace_facts_kept(
    document: Mapping[str, Json], *, day: Callable[[str], str] = utc_day
) -> tuple[tuple[str, str], ...]:
    """How far off the place may be, and the decision that the film was sold by; ``day`` makes a day of a moment."""
    half, decision = _number(document, "half_width_m"), _mapping(document, "decision")
    facts = [("interval", f"± {show_number(half, 2)} m")] if half else []
    if decision:
        when = day(_text(decision, "when_utc"))
        facts.append(
            (
                "decided",
                f"{_text(decision, 'verdict')}, by {_text(decision, 'who')} on {when} (event {decision.get('event')})",
            )
        )
    facts += [("caution", str(one)) for one in _listed(document, "cautions")]
    return tuple(facts)


def known_grid(document: Mapping[str, Json]) -> Grid:
    """What scan, examiners and lab knew of that film when it was traced: the clearest marks first."""
    rows = [row for one in _listed(document, "stretches") if isinstance(one, dict) for row in _rows(one)]
    return Grid(
        caption="Known of that film when it was traced",
        columns=(
            Column(head="what"),
            Column(head="coated at, m", number=True),
            Column(head="across, mm", number=True),
            Column(head="from outer end, m", number=True),
            Column(head="more"),
        ),
        rows=tuple(rows[:_MOST_ROWS]),
        left_out=max(0, len(rows) - _MOST_ROWS),
        empty="Nothing: no mark, streak, sighting or strip.",
    )


def _rows(stretch: Mapping[str, Any]) -> Iterator[tuple[Cell, ...]]:
    for mark in _mappings(stretch, "marks"):
        beside = "" if mark.get("inside") else "beside this lane"
        of = f"series {mark['series']}" if mark.get("series") else ""
        name = f"{_text(mark, 'polarity')} {_text(mark, 'kind')}"
        size = f"{show_number(_number(mark, 'length_mm'), 1)} × {show_number(_number(mark, 'width_mm'), 1)} mm"
        yield _row(name, mark, (_text(mark, "id"), size, of, beside))
    for streak in _mappings(stretch, "streaks"):
        yield _row("streak", streak, (f"{show_number(_number(streak, 'width_mm'), 1)} mm wide",))
    for near in _mappings(stretch, "series"):
        series = _mapping(near, "series")
        every = f"every {show_number(_MM_PER_M * _number(series, 'spacing_m'), 1)} mm"
        makers = [_text(one, "roller") for one in _mappings(series, "candidates")][:1]
        yield _row("repeating marks", series, (every, *makers))
    for seen in _mappings(stretch, "sightings"):
        lane = "" if seen.get("inside") else "not in this lane"
        yield _row(f"sighting: {_text(seen, 'kind')}", seen, (_text(seen, "sheet"), lane, _text(seen, "note")))
    for near in _mappings(stretch, "strips"):
        strip = _mapping(near, "strip")
        yield _row("check strip", strip, (_text(strip, "name"), f"{show_number(_number(near, 'away_m'), 1)} m away"))


def _row(what: str, one: Mapping[str, Any], more: tuple[str, ...]) -> tuple[Cell, ...]:
    on = _mapping(one, "on")
    outer = (_number(on, "from_m") + _number(on, "to_m")) / 2.0 if on else None
    return (
        Cell(text=what.strip()),
        Cell(text=show_number(_number(one, "along_m"), 2) if "along_m" in one else ""),
        Cell(text=show_number(_number(one, "across_mm"), 0) if "across_mm" in one else ""),
        Cell(text="" if outer is None else show_number(outer, 2)),
        Cell(text=", ".join(part for part in more if part)),
    )


def _mapping(one: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    value = one.get(name)
    return value if isinstance(value, dict) else {}


def _listed(one: Mapping[str, Any], name: str) -> list[Any]:
    value = one.get(name)
    return value if isinstance(value, list) else []


def _mappings(one: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    return [inner for inner in _listed(one, name) if isinstance(inner, dict)]


def _text(one: Mapping[str, Any], name: str) -> str:
    value = one.get(name)
    return "" if value is None else str(value)


def _number(one: Mapping[str, Any], name: str) -> float:
    value = one.get(name)
    return float(value) if isinstance(value, int | float) else 0.0
