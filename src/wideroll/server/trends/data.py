"""Charts, causes and base periods, found out once for each state of the plant."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from wideroll.errors import InputError
from wideroll.server.desk import Desk
from wideroll.server.soon import Answer, answers_of
from wideroll.server.trends.asked import KINDS, ChartAsked, RollsAsked

if TYPE_CHECKING:
    import polars as pl

    from wideroll.acts.rolls_history import HistoryAtHand
    from wideroll.control import ParetoLine
    from wideroll.workflow.control_model import ControlPanel, ControlView

__all__ = ["Causes", "Chart", "Choice", "Overview", "ask_causes", "ask_chart", "ask_overview", "bases_of", "choice_of"]

_FILES: Final = (
    "plant.toml",
    "earlier.csv",
    "logbook.csv",
    "instruments.toml",
    "processors.toml",
    "processors/*.csv",
    "products/*.toml",
    "base-periods/*.json",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """What there is to choose from."""

    products: tuple[str, ...]
    lines: tuple[str, ...]
    quantities: tuple[str, ...]
    bases: tuple[str, ...]
    rolls: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Overview:
    """All that is charted in a line each."""

    choice: Choice
    broken: dict[str, Any]
    measured: tuple[str, ...]
    """What each row of ``broken`` is about."""
    sentences: tuple[str, ...]
    document: dict[str, Any]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chart:
    """The chart of one quantity; ``tables`` by their keys, ``points`` its charts, by the keys of their points."""

    choice: Choice
    view: "ControlView"
    svg: str
    size: tuple[int, int]
    caption: str
    sentences: tuple[str, ...]
    tables: dict[str, dict[str, Any]]
    points: "dict[str, ControlPanel]"
    document: dict[str, Any]
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Causes:
    """Causes of one kind: the largest first."""

    key: str
    what: str
    unit: str
    caption: str
    table: dict[str, Any]
    svg: str
    size: tuple[int, int]
    lines: "tuple[ParetoLine, ...]"


def ask_overview(desk: Desk, asked: RollsAsked) -> Answer:
    """What is charted in a line each; when it is ready an ``Overview``.

    Raises:
        InputError: when product, line or days can't be used.
        RecordError: when the record can't be read.
    """
    rolls = asked.picked()
    return answers_of(desk).ask(("overview", _state(desk.root), *rolls), lambda: _listened(desk, rolls, _overview))


def ask_chart(desk: Desk, asked: ChartAsked) -> Answer:
    """The chart of a quantity; when it is ready a ``Chart``.

    Raises:
        InputError: when anything asked for can't be used.
        RecordError: when the record, or a base period's file, doesn't hold.
    """
    if asked.chart and asked.chart not in KINDS:
        raise InputError(
            where="chart", rule=f"must be one of: {', '.join(KINDS)}", value=asked.chart, mend="Choose one."
        )
    rolls = asked.picked()
    how = (asked.what.strip(), asked.chart, asked.base.strip(), asked.rules)
    key = ("chart", _state(desk.root), *rolls, *how)
    return answers_of(desk).ask(
        key, lambda: _listened(desk, rolls, lambda hand, mine, told: _chart(hand, mine, told, how))
    )


def ask_causes(desk: Desk, asked: RollsAsked) -> Answer:
    """What costs most; when it is ready the ``Choice`` there is, and both ``Causes``: cut-outs, and closed cards.

    Raises:
        InputError: when product, line or days can't be used.
        RecordError: when the record can't be read.
    """
    rolls = asked.picked()
    key = ("causes", _state(desk.root), *rolls)
    return answers_of(desk).ask(
        key, lambda: _listened(desk, rolls, lambda hand, mine, _: (choice_of(hand), _causes(desk.root, mine)))
    )


def bases_of(desk: Desk) -> tuple[Any, ...]:
    """The base periods on record, the newest first.

    Raises:
        RecordError: when the record can't be read.
    """
    from wideroll.acts.sealing import open_record  # noqa: PLC0415  (loads the store)
    from wideroll.store.base_periods import recorded_bases  # noqa: PLC0415

    store = open_record(desk.root)
    if store is None:
        return ()
    with store:
        return tuple(reversed(recorded_bases(store).values()))


def choice_of(hand: "HistoryAtHand") -> Choice:
    """What a history leaves to choose from."""
    import polars as pl  # noqa: PLC0415

    from wideroll.workflow.charting import history_quantities  # noqa: PLC0415

    whole = pl.scan_parquet(hand.kept.path)
    pairs = whole.select("product", "line").unique().sort("product", "line").collect()
    return Choice(
        products=tuple(pairs["product"].unique().sort()),
        lines=tuple(pairs["line"].unique().sort()),
        quantities=tuple(one.name for one in history_quantities(whole)),
        bases=tuple(hand.bases),
        rolls=hand.kept.rolls,
    )


def _listened(
    desk: Desk,
    rolls: tuple[str | None, str | None, str | None, str | None],
    find: "Callable[[HistoryAtHand, pl.LazyFrame, list[str]], Any]",
) -> Any:
    from wideroll.acts.rolls_history import open_history  # noqa: PLC0415
    from wideroll.acts.telling import Listener, listening  # noqa: PLC0415

    told: list[str] = []
    with listening(Listener(tell=told.append)):
        hand = open_history(desk.root)
        return find(hand, hand.rolls(*rolls), told)


def _overview(hand: "HistoryAtHand", mine: "pl.LazyFrame", told: list[str]) -> Overview:
    from wideroll.acts.controlling import overview_rolls  # noqa: PLC0415
    from wideroll.report.control_grids import overview_grid, overview_words  # noqa: PLC0415
    from wideroll.report.control_json import overview_json  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415
    from wideroll.workflow.control_model import Steadiness  # noqa: PLC0415
    from wideroll.workflow.control_overview import LATELY  # noqa: PLC0415

    lines, rolls = overview_rolls(hand, mine)
    return Overview(
        choice=choice_of(hand),
        broken=grid_json(overview_grid(lines, LATELY)),
        measured=tuple(one.quantity for one in lines if one.state in {Steadiness.BEYOND, Steadiness.RULE}),
        sentences=overview_words(lines, rolls),
        document=overview_json(lines, rolls=rolls, left_out=hand.kept.left_out),
        notes=tuple(told),
    )


def _chart(hand: "HistoryAtHand", mine: "pl.LazyFrame", told: list[str], how: tuple[str, str, str, str]) -> Chart:
    from wideroll.acts.controlling import chart_rolls  # noqa: PLC0415
    from wideroll.report.control_grids import changes_words, control_words  # noqa: PLC0415
    from wideroll.report.control_json import chart_json  # noqa: PLC0415
    from wideroll.report.control_picture import draw_control  # noqa: PLC0415
    from wideroll.report.grid_json import svg_size  # noqa: PLC0415
    from wideroll.workflow.charting import ChartTerms  # noqa: PLC0415
    from wideroll.workflow.control_model import ChartKind  # noqa: PLC0415

    what, kind, base, rules = how
    terms = ChartTerms(
        kind=ChartKind(kind) if kind else None, rules="nelson" if rules == "nelson" else "western electric"
    )
    view = chart_rolls(hand, mine, what, terms=terms, base=base or None)
    svg = draw_control(view)
    return Chart(
        choice=choice_of(hand),
        view=view,
        svg=svg,
        size=svg_size(svg),
        caption=control_words(view),
        sentences=changes_words(view),
        tables=_tables(view),
        points={f"points-{number}": panel for number, panel in enumerate(view.panels, start=1)},
        document=chart_json(view),
        notes=tuple(told),
    )


def _tables(view: "ControlView") -> dict[str, dict[str, Any]]:
    from wideroll.report.control_grids import breaks_grid, capability_grid, changes_grid  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415

    made = {"breaks": breaks_grid(view), "changes": changes_grid(view)}
    made |= {"capability": capability_grid(view)} if view.capable else {}
    return {key: grid_json(grid) for key, grid in made.items()}


def points_table(found: Chart, key: str, most: int | None = None) -> dict[str, Any]:
    """The points of one of the charts as a table, the newest first.

    Args:
        found: of ``ask_chart``.
        key: of its points.
        most: so many are shown; None for all.
    """
    from wideroll.report.control_points import points_grid  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json  # noqa: PLC0415

    return grid_json(points_grid(found.view, found.points[key], most=most))


def _causes(root: Path, mine: "pl.LazyFrame") -> tuple[Causes, ...]:
    from wideroll.acts.causes import closed_causes, cut_out_causes  # noqa: PLC0415

    rolls = set(mine.select("roll").unique().collect()["roll"])
    return (
        _causes_shown("cut", "cut out", "m²", "What was cut out, by criterion", cut_out_causes(mine)),
        _causes_shown(
            "closed",
            "put down on closed action cards",
            "cases",
            "What closed action cards were put down to",
            closed_causes(root, rolls),
        ),
    )


def _causes_shown(key: str, what: str, unit: str, head: str, lines: "tuple[ParetoLine, ...]") -> Causes:
    from wideroll.report.causes_picture import causes_caption, draw_causes  # noqa: PLC0415
    from wideroll.report.gauge_grids import causes_grid  # noqa: PLC0415
    from wideroll.report.grid_json import grid_json, svg_size  # noqa: PLC0415

    svg = draw_causes(lines, what, unit) if lines else ""
    return Causes(
        key=key,
        what=what,
        unit=unit,
        caption=causes_caption(lines, what, unit),
        table=grid_json(causes_grid(lines, head, unit)),
        svg=svg,
        size=svg_size(svg),
        lines=lines,
    )


def _state(root: Path) -> str:
    """Another text whenever the record, or a file that charts are made from, is another."""
    from wideroll.acts.record_pages import record_state  # noqa: PLC0415

    files = sorted(path for name in _FILES for path in root.glob(name))
    return " ".join([record_state(root), *(f"{path.name}.{path.stat().st_mtime_ns}" for path in files)])
