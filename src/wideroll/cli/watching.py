"""The command that watches a roll while the machine runs and raises action cards."""

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Annotated, Final

import typer

from wideroll.acts.card_acts import raise_cards
from wideroll.acts.card_evidence import keep_evidence
from wideroll.acts.card_outlet import CardOutlet
from wideroll.acts.whoever import who_acts
from wideroll.cli.app import EXIT_HOLD, app
from wideroll.cli.console import decimal, say, tell
from wideroll.cli.options import PlantArg, RollArg, misused
from wideroll.errors import ArgumentError, WiderollError
from wideroll.notices import open_sinks
from wideroll.readers import PlantFolder
from wideroll.readers.segment_watch import Arrival, SegmentWatch
from wideroll.readers.wakes import wakes
from wideroll.report.card_text import card_text
from wideroll.report.quantities import show_count
from wideroll.scan import LostLines, MarkFinder, ScanSettings
from wideroll.store import load_cards, one_watch
from wideroll.workflow import ActionCard, Examination, Plant, RollCard
from wideroll.workflow.card_json import card_bytes
from wideroll.workflow.naming import name_series
from wideroll.workflow.watch import RollWatch
from wideroll.workflow.watch_plan import FALSE_CARDS, WatchPlan, plan_watch
from wideroll.workflow.watch_web import WatchedWeb

__all__ = ["watch"]

_SLACK_M: Final = 0.05
_STILL: Final = "End when no segment has come for so long; without it, at the planned length."
_WHO: Final = "Who watches, for the record; by default the name you log in with."
_FALSE_ALARM: Final = "Greatest probability that the roll gets any card by chance alone."


@app.command()
def watch(
    plant: PlantArg,
    roll: RollArg,
    *,
    until_still: Annotated[float | None, typer.Option(parser=decimal, metavar="SECONDS", help=_STILL)] = None,
    false_alarm: Annotated[float, typer.Option(parser=decimal, metavar="P", help=_FALSE_ALARM)] = FALSE_CARDS,
    who: Annotated[str | None, typer.Option(help=_WHO)] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Each card as one line of JSON.")] = False,
) -> None:
    """Watch a roll while it is made, and raise an action card as soon as something that turns marks it.

    \b
    Examples:
      wideroll watch demo W-2042                       until the planned length is reached
      wideroll watch demo W-2042 --until-still 600     or until no segment has come for ten minutes

    Exit codes: 0 no card, 10 the roll has cards.
    """
    if until_still is not None and not until_still > 0.0:
        message = "must be greater than 0"
        raise misused(message, "--until-still")
    files = PlantFolder(plant)
    line, card = files.plant(), files.card(roll)
    try:
        plan = plan_watch(card.length_m, line.rollers, false_alarm)
    except ArgumentError as error:
        raise misused(error.rule, "--false-alarm") from error
    segments = files.segment_watch(roll, line, files.product(card.product))
    waking = wakes(segments.folder)
    results = plant / "results" / roll
    with one_watch(results):
        known = load_cards(results)
        sinks = open_sinks(line.notices, plant, roll)
        record = partial(raise_cards, plant, roll, who=who_acts(who))
        _take_up(known, partial(record, now=False))
        show = partial(_show, as_json=as_json)
        out = CardOutlet(results=results, sinks=sinks, show=show, cards=list(known), record=partial(record, now=True))
        out.send()
        follower = _Follower(segments, _roll_watch(plan, line, card, known), card.length_m, out)
        try:
            follower.follow(waking(), until_still)
        except KeyboardInterrupt:
            tell(f"stopped at {follower.at}; it begins again with the first segment, and raises no card twice")
            raise
        finally:
            if out.undelivered():
                tell(f"not delivered, and tried again by the next watch: {out.undelivered()}")
    if out.cards:
        raise typer.Exit(EXIT_HOLD)


def _show(card: ActionCard, *, as_json: bool) -> None:
    if as_json:
        sys.stdout.write(card_bytes(card).decode() + "\n")
    else:
        say(card_text(card))
    sys.stdout.flush()


def _take_up(known: Sequence[ActionCard], record: Callable[[Sequence[ActionCard]], object]) -> None:
    """Tell of cards from before, and record those that an earlier watch kept but could not record.

    A record that fails stops no watch.
    """
    for one in known:
        tell(f"known: card {one.number}, {one.roller} at {one.across_mm:.0f} mm; `wideroll card` shows it")
    try:
        record(known)
    except (WiderollError, OSError) as error:
        tell(f"cards from before are not in the record: {error}")


def _roll_watch(plan: WatchPlan, line: Plant, card: RollCard, known: Sequence[ActionCard]) -> RollWatch:
    of_100 = 100.0 * plan.false_alarm
    tell(
        f"watch {card.name}, {card.length_m:g} m: a look every {plan.every_m:g} m of web, at the last "
        f"{plan.window_m:.0f} m; chance raises a card on at most {of_100:g} roll{'' if of_100 == 1.0 else 's'} in 100"
        + (f"; {len(known)} known from before" if known else "")
    )
    return RollWatch(
        plan,
        plant=line.name,
        roll=card.name,
        datum_edge=line.datum_edge,
        rollers=line.rollers,
        known=known,
        name=partial(name_series, scan=None, examination=Examination(), plant=line, card=card),
    )


class _Follower:
    """Segments to the web, and its cards to where they go."""

    def __init__(self, segments: SegmentWatch, roll: RollWatch, length_m: float, out: CardOutlet) -> None:
        self._segments, self._roll, self._length_m, self._out = segments, roll, length_m, out
        self._web: WatchedWeb | None = None
        out.draw = partial(keep_evidence, out.results, roll.behind)

    @property
    def at(self) -> str:
        """How far it is."""
        fed_m, marks = (self._web.fed_m, self._web.marks) if self._web else (0.0, 0)
        found = f"{show_count(marks, 'mark')}, {show_count(len(self._out.cards), 'card')}"
        return f"{fed_m:.1f} m of {self._length_m:.1f} m: {found}"

    def follow(
        self, waking: Iterator[None], until_still: float | None, clock: Callable[[], float] = time.monotonic
    ) -> None:
        """Take segments until the planned length is reached or nothing comes any more."""
        last = clock()
        for _ in waking:
            for arrival in self._segments.look():
                self._take(arrival)
                last = clock()
                if self._web and self._web.fed_m >= self._length_m - _SLACK_M:
                    return self._end("the planned length is reached")
            waits = self._segments.waiting()
            if waits:
                tell(waits)
            if until_still is not None and clock() - last >= until_still:
                return self._end(f"no segment has come for {until_still:g} s")
        return None

    def _take(self, arrival: Arrival) -> None:
        if arrival.note:
            tell(arrival.note)
        if self._web is None:
            self._web = self._begin(arrival)
        for block in arrival.blocks():
            if isinstance(block, LostLines):
                tell(f"{block.why}: {block.lines} lines are lost from {self._web.fed_m:.3f} m on")
            self._give(self._web.take(block))
        tell(f"{arrival.file.path.name}: {self.at}")

    def _begin(self, arrival: Arrival) -> WatchedWeb:
        file, segments = arrival.file, self._segments
        finder = MarkFinder(file.columns, segments.pitch_mm, file.dtype, ScanSettings(source=segments.said.scanner))
        return WatchedWeb(finder, self._roll, pitch_mm=segments.pitch_mm[0], places=segments.places)

    def _end(self, why: str) -> None:
        if self._web is not None:
            self._give(self._web.look(end=True))
        self._out.send()
        tell(f"{why}: {self.at}")

    def _give(self, cards: Sequence[ActionCard]) -> None:
        for card in cards:
            self._out.give(card)
