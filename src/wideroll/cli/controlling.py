"""The command that charts what was measured across rolls."""

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Final, Literal

import polars as pl
import typer

from wideroll.acts.controlling import chart_rolls, freeze_rolls, overview_rolls
from wideroll.acts.rolls_history import HistoryAtHand, open_history
from wideroll.acts.whoever import who_acts
from wideroll.cli.app import app
from wideroll.cli.console import print_json, print_table, say, tell
from wideroll.cli.history_options import FirstDay, LastDay, Line, ProductName
from wideroll.cli.options import Json, PlantArg, Who, misused
from wideroll.report import rich_table
from wideroll.report.control_grids import (
    breaks_grid,
    capability_grid,
    changes_grid,
    changes_words,
    control_words,
    overview_grid,
    overview_words,
)
from wideroll.report.control_json import chart_json, overview_json
from wideroll.report.control_picture import draw_control
from wideroll.store import write_whole
from wideroll.store.base_periods import check_base_name
from wideroll.workflow.base_period import BasePeriodSaid
from wideroll.workflow.charting import ChartTerms
from wideroll.workflow.control_model import ChartKind, ControlView
from wideroll.workflow.control_overview import LATELY

__all__ = ["control"]

_NEEDS_WHAT: Final = "needs what is charted before it, such as speed"
_NEEDS_FREEZE: Final = "goes with --freeze"
_NEEDED: Final = "is needed with --freeze"
_FREEZES_ALL: Final = "freezes the limits of all that was measured; leave WHAT, --chart, --base and --figure out"

_What = Annotated[str | None, typer.Argument(metavar="WHAT", help="What to chart; without it all, in a line each.")]
_Chart = Annotated[ChartKind | None, typer.Option("--chart", help="How; by default what suits it.")]
_Base = Annotated[
    str | None, typer.Option(metavar="NAME", help="Base period that sets the limits; else the newest frozen one.")
]
_Rules = Annotated[Literal["western-electric", "nelson"], typer.Option(help="Run rules that are asked.")]
_Figure = Annotated[Path | None, typer.Option(metavar="FILE.svg", help="Also draw the charts here.")]
_Freeze = Annotated[
    str | None, typer.Option(metavar="NAME", help="Freeze the limits of the rolls --from … --to … by this name.")
]
_Because = Annotated[str | None, typer.Option(metavar="TEXT", help="Why these rolls, for the record.")]


@app.command()
def control(  # noqa: PLR0913  (each option is an argument)
    plant: PlantArg,
    what: _What = None,
    *,
    product: ProductName = None,
    line: Line = None,
    first_day: FirstDay = None,
    last_day: LastDay = None,
    chart: _Chart = None,
    base: _Base = None,
    rules: _Rules = "western-electric",
    figure: _Figure = None,
    freeze: _Freeze = None,
    because: _Because = None,
    who: Who = None,
    as_json: Json = False,
) -> None:
    """Chart what was measured across rolls: what broke a rule lately, and where a level changed.

    \b
    Examples:
      wideroll control demo                                all that is charted, the worst of the last rolls first
      wideroll control demo speed --figure speed.svg       one quantity: rules broken, lasting changes, what was noted
      wideroll control demo --freeze autumn --from 2026-08-03 --to 2026-09-10 --because "steady since the overhaul"
    """
    alone = {"--chart": chart, "--base": base, "--figure": figure}
    _check_options(what, alone, freeze, because, (first_day, last_day))
    hand = open_history(plant)
    rolls = hand.rolls(product, line, first_day, last_day)
    if freeze is not None:
        said = BasePeriodSaid(
            name=freeze,
            first_day=first_day or "",
            last_day=last_day or "",
            who=who_acts(who),
            when_utc=datetime.now(UTC).isoformat(timespec="seconds"),
            because=because or "",
        )
        _freeze(hand, rolls, said, as_json=as_json)
    elif what is None:
        _overview(hand, rolls, as_json=as_json)
    else:
        terms = ChartTerms(kind=chart, rules="nelson" if rules == "nelson" else "western electric")
        view = chart_rolls(hand, rolls, what, terms=terms, base=base)
        if figure is not None:
            write_whole(figure, draw_control(view).encode())
            tell(f"charts: {figure}")
        _show(view, as_json=as_json)


def _check_options(
    what: str | None,
    alone: Mapping[str, object],
    freeze: str | None,
    because: str | None,
    days: tuple[str | None, str | None],
) -> None:
    """Refuse options that don't go together."""
    if freeze is None:
        if because is not None:
            raise misused(_NEEDS_FREEZE, "--because")
        unfit = [name for name, value in alone.items() if value is not None and what is None]
        if unfit:
            raise misused(_NEEDS_WHAT, unfit[0])
        return
    check_base_name(freeze)
    for name, value in (("--from", days[0]), ("--to", days[1]), ("--because", (because or "").strip())):
        if not value:
            raise misused(_NEEDED, name)
    if what is not None or any(value is not None for value in alone.values()):
        raise misused(_FREEZES_ALL, "--freeze")


def _show(view: ControlView, *, as_json: bool) -> None:
    if as_json:
        print_json(chart_json(view))
        return
    say(control_words(view))
    print_table(rich_table(breaks_grid(view)))
    print_table(rich_table(changes_grid(view)))
    for sentence in changes_words(view):
        say(sentence)
    if view.capable:
        print_table(rich_table(capability_grid(view)))


def _overview(hand: HistoryAtHand, rolls: pl.LazyFrame, *, as_json: bool) -> None:
    lines, count = overview_rolls(hand, rolls)
    if as_json:
        print_json(overview_json(lines, rolls=count, left_out=hand.kept.left_out))
        return
    print_table(rich_table(overview_grid(lines, LATELY)))
    for sentence in overview_words(lines, count):
        say(sentence)


def _freeze(hand: HistoryAtHand, rolls: pl.LazyFrame, said: BasePeriodSaid, *, as_json: bool) -> None:
    done = freeze_rolls(hand, rolls, said)
    base = done.base
    if as_json:
        print_json(
            {
                "schema": "wideroll/base-period-frozen/1",
                "name": base.name,
                "product": done.product,
                "line": done.line,
                "rolls": list(base.rolls),
                "frozen": done.frozen,
                "event": done.event.number,
            }
        )
        return
    say(
        f"Base period {base.name}: the limits of {len(base.rolls)} rolls, {base.rolls[0]} to {base.rolls[-1]}, are "
        f"frozen (event {done.event.number} of the record). It holds {', '.join(done.frozen)}."
    )
