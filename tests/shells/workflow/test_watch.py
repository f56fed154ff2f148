"""Cards of a roll that is still being made."""

from dataclasses import replace
from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.errors import ArgumentError
from wideroll.repeats import ANOTHER, Roller
from wideroll.scan import MarkFinder, ScanSettings
from wideroll.workflow.watch import RollWatch, Sight, sight_of
from wideroll.workflow.watch_plan import WatchPlan, plan_watch
from wideroll.workflow.watch_web import WatchedWeb

ROLLERS = (
    Roller(name="R1 guide", diameter_mm=160.0, tolerance_mm=0.2, zone="unwind"),
    Roller(name="R2 lay-on", diameter_mm=240.0, tolerance_mm=0.2, zone="dryer"),
)
SPACING = 0.24 * pi
PLAN = WatchPlan(length_m=400.0, every_m=5.0)


def made(known=(), plan=PLAN, rollers=ROLLERS):
    """A watch of the roll."""
    return RollWatch(plan, plant="p", roll="W-1", datum_edge="drive side", rollers=rollers, known=known)


def dirt(seed, length_m, lanes=6):
    """Scattered marks, 0.2 a metre in each lane."""
    rng = np.random.default_rng(seed)
    count = rng.poisson(0.2 * lanes * length_m)
    return rng.uniform(0.0, length_m, count), rng.uniform(200.0, 200.0 + 6.0 * lanes, count)


def printed(seed, spacing_m, stretches, across=213.0, chance=0.7):
    """Prints of a roller in some stretches."""
    rng = np.random.default_rng(seed)
    along = np.arange(0.31, max(end for _, end in stretches), spacing_m)
    along = along[rng.random(along.size) < chance]
    along = along[np.any([(along >= low) & (along < high) for low, high in stretches], axis=0)]
    return along + 0.003 * rng.standard_normal(along.size), np.full(along.size, across)


def together(*parts):
    """Marks of several origins."""
    return np.concatenate([part[0] for part in parts]), np.concatenate([part[1] for part in parts])


def watch_through(watch, marks, to_m, *, end=False, step=5.0):
    """Cards of looks at every few metres."""
    along, across = marks
    cards = []
    for seen_m in np.arange(step, to_m + 0.1, step):

        def see(from_m, seen_m=seen_m):
            inside = (along >= from_m) & (along <= seen_m)
            return Sight(
                along_m=along[inside], across_mm=across[inside], observed=((from_m, seen_m),), to_m=float(seen_m)
            )

        if watch.due(seen_m):
            cards += watch.look(float(seen_m), see, end=end and seen_m + step > to_m)
    return cards


@pytest.fixture(scope="module")
def marked():
    """80 m of web that the second roller marks from 20 m on, among dirt."""
    return together(printed(2, SPACING, [(20.0, 80.0)]), dirt(1, 80.0))


def test_a_nick_with_a_tail_is_one_card():
    """Prints of one roller 20 mm apart get one card, not one each."""
    along, across = printed(3, SPACING, [(20.0, 60.0)])
    marks = together((along, across), (along, across + 20.0), dirt(1, 60.0))
    assert len(watch_through(made(), marks, 60.0)) == 1


def test_one_series_is_one_card_soon_after_it_begins(marked):
    """The card comes within 25 turns, names roller and place, and no later look raises the series again."""
    (card,) = watch_through(made(), marked, 80.0)
    assert (card.roller, card.zone, card.number) == ("R2 lay-on", "dryer", 1)
    assert card.at_m < 20.0 + 25.0 * SPACING
    assert card.first_m == pytest.approx(20.0, abs=2.5)
    assert card.across_mm == pytest.approx(213.0, abs=0.5)
    assert card.spacing_low_m < SPACING < card.spacing_high_m
    assert card.false_alarm == 0.01
    assert card.action.startswith("Look at R2 lay-on (dryer), 213 mm from the drive side: a mark every 75")


def test_cards_from_before_are_not_raised_again(marked):
    """A watch begun anew over the same web is silent about what it told already, and counts on from there."""
    cards = watch_through(made(), marked, 80.0)
    assert watch_through(made(cards), marked, 80.0) == []
    second = together(marked, printed(3, 0.16 * pi, [(30.0, 80.0)], across=225.0))
    (late,) = watch_through(made(cards), second, 80.0)
    assert (late.number, late.roller) == (2, "R1 guide")


def test_the_same_web_gives_the_same_cards(marked):
    """Nothing depends on when or how quickly segments came."""
    assert watch_through(made(), marked, 80.0) == watch_through(made(), marked, 80.0)


def test_a_roller_that_is_not_in_the_table_is_described():
    """For another the card says what diameter to look for and what is nearest."""
    marks = together(printed(4, 0.19 * pi, [(5.0, 60.0)]), dirt(5, 60.0))
    (card,) = watch_through(made(), marks, 60.0)
    assert card.roller == ANOTHER
    assert card.action.startswith("Look for what turns with a diameter of 190.")
    nearest = "nearest are R1 guide (160.0 mm) and R2 lay-on (240.0 mm)."
    assert card.action.endswith(f"It isn't in the table of rollers; {nearest}")


def test_a_series_that_comes_back_is_told_again():
    """Silent for a hundred metres after it printed nearly every turn, it was mended and marks again."""
    marks = together(printed(6, SPACING, [(5.0, 40.0), (160.0, 200.0)], chance=0.9), dirt(7, 200.0, lanes=3))
    first, again = watch_through(made(), marks, 200.0)
    assert first.number == 1
    assert again.number == 2
    assert again.action.startswith("It marks again, silent since 39.")


def test_dirt_raises_no_card():
    """Scattered marks over 150 m, with looks all along and at the end, name nobody."""
    assert watch_through(made(plan=replace(PLAN, length_m=150.0)), dirt(9, 150.0), 150.0, end=True) == []


def test_a_weak_series_is_found_by_a_look_at_everything():
    """What prints too rarely for the window is told once the web is long enough."""
    marks = together(printed(8, SPACING, [(0.0, 300.0)], chance=0.12), dirt(10, 300.0, lanes=2))
    cards = watch_through(made(plan=replace(PLAN, length_m=300.0)), marks, 300.0, end=True)
    assert [card.roller for card in cards] == ["R2 lay-on"]
    assert cards[0].at_m > 100.0


@given(
    steps=st.lists(st.floats(0.5, 300.0), min_size=1, max_size=60),
    length_m=st.floats(5.0, 3000.0),
    false_alarm=st.floats(1e-6, 0.5),
)
def test_all_looks_together_spend_no_more_than_the_allowance(steps, length_m, false_alarm):
    """However the web comes and however far it goes beyond its planned length, shares sum to at most the allowance."""
    plan = WatchPlan(length_m=length_m, false_alarm=false_alarm)
    spent, seen, looks = 0.0, 0.0, 0
    for step in steps:
        share = plan.window_share(seen, seen + step)
        assert share > 0.0
        due = max(plan.whole_looks_due(seen + step), looks)
        spent += share + plan.whole_share(looks, due)
        seen, looks = seen + step, due
    planned = len(plan.whole_looks_m())
    spent += plan.whole_share(looks, max(looks, planned))
    assert spent <= false_alarm * (1.0 + 1e-9)


def test_nearly_all_of_the_allowance_is_for_the_planned_length():
    """A roll of its planned length spends nine tenths of it."""
    plan = plan_watch(2000.0, ROLLERS, 0.01)
    assert plan.window_m == 60.0
    assert plan.whole_looks_m() == (120.0, 240.0, 480.0, 960.0, 1920.0, 2000.0)
    whole = plan.whole_share(0, plan.whole_looks_due(2000.0))
    assert plan.window_share(0.0, 2000.0) + whole == pytest.approx(0.009)


@pytest.mark.parametrize(
    ("change", "where"),
    [({"false_alarm": 0.0}, "false_alarm"), ({"false_alarm": 1.0}, "false_alarm"), ({"length_m": 0.0}, "length_m")],
)
def test_a_plan_that_can_not_be_kept_is_refused(change, where):
    """An allowance is a probability, and a roll has a length."""
    with pytest.raises(ArgumentError) as caught:
        WatchPlan(**{"length_m": 10.0, **change})
    assert caught.value.where == where


def web_of_prints():
    """6 m of web with a dark spot each 0.3 m, in 0.5 mm pixels."""
    image = np.random.default_rng(1).normal(150.0, 2.0, (12_000, 240))
    for top in range(300, 11_990, 600):
        image[top : top + 4, 100:104] -= 60.0
    return np.clip(np.rint(image), 0, 255).astype(np.uint8)


def cards_of(image, height, *, channels=False):
    """What a web raises, its lines in blocks of a height."""
    rollers = (Roller(name="R9", diameter_mm=300.0 / pi),)
    plan = WatchPlan(length_m=6.0, every_m=1.0)
    finder = MarkFinder(image.shape[1], (0.5, 0.5), image.dtype, ScanSettings())
    watch = made(plan=plan, rollers=rollers)
    web = WatchedWeb(finder, watch, pitch_mm=0.5, places=lambda: None)
    cards = []
    for start in range(0, len(image), height):
        block = image[start : start + height]
        cards += web.take(np.stack([block, block * 0 + 150], axis=2) if channels else block)
    cards += web.look(end=True)
    assert web.fed_m == pytest.approx(6.0)
    assert web.marks >= 15
    return cards


def test_lines_become_cards():
    """From pixels to the card of the roller, while lines still come; of two channels the first is watched."""
    image = web_of_prints()
    (card,) = cards_of(image, 500)
    assert card.roller == "R9"
    assert card.at_m < 5.9
    assert cards_of(image, 500, channels=True) == [card]


def test_what_nobody_saw_is_not_silent():
    """Stretches that the finder didn't look at are left out of what the search takes for seen."""
    finder = MarkFinder(240, (0.5, 0.5), np.uint8)
    image = web_of_prints()
    finder.feed(image[:4000])
    finder.feed(np.zeros((2000, 240), np.uint8))
    finder.feed(image[6000:9000])
    sight = sight_of(finder.look())
    assert len(sight.observed) == 2
    assert sight.observed[0][1] == pytest.approx(2.0, abs=0.3)
    assert sight.observed[1][0] == pytest.approx(3.0, abs=0.3)
