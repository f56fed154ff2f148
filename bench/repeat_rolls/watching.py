"""How many prints a roller leaves before its card is raised, and how often dirt raises one, for bench/repeats.py."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from repeat_rolls import DIRT_PER_M, ROLLERS, WANDERS, prints
from wideroll.repeats import Roller
from wideroll.workflow.action_card import ActionCard
from wideroll.workflow.watch import RollWatch, Sight
from wideroll.workflow.watch_plan import WatchPlan, plan_watch

__all__ = ["alert", "false_cards"]

Floats = NDArray[np.float64]

WHOLE_LANES = 460
"""Of a web of 1.38 m: the simulation draws fewer and makes the watch pay for all."""
SET_OUT_M = 70.0
CHANCE = 0.6


def alert(number: int, *, lanes: int = 6) -> dict[str, float]:
    """One roll of dirt in which a roller begins to mark: prints until the card, whether it names the roller."""
    rng = np.random.default_rng((91, number))
    roller = ROLLERS[(5 * number) % len(ROLLERS)]
    start = SET_OUT_M + rng.uniform(0.0, 10.0)
    length = start + 45.0 * roller.pitch_m
    marks = start + prints(rng, roller.pitch_m, CHANCE, WANDERS[number % 3], length - start)
    along, across = _dirt(rng, lanes, length)
    along = np.concatenate((along, marks))
    across = np.concatenate((across, 106.0 + 0.3 * rng.standard_normal(marks.size)))
    # two lanes of marks for each 6 mm, so that a share of the allowance pays for all lanes there are
    plan = replace(
        plan_watch(2000.0, ROLLERS), false_alarm=plan_watch(2000.0, ROLLERS).false_alarm * 2 * lanes / WHOLE_LANES
    )
    card = first_card(along, across, length, plan, from_m=SET_OUT_M - 5.0)
    if card is None:
        return {"prints": np.inf, "within 12": 0.0, "right": 0.0}
    used = int((marks <= card.at_m).sum())
    return {"prints": float(used), "within 12": float(used <= 12), "right": float(card.roller == roller.name)}


def false_cards(number: int, *, length_m: float, lanes: int = 20) -> dict[str, float]:
    """A whole roll of dirt with the watch's full allowance: whether it gets a card."""
    rng = np.random.default_rng((92, number))
    along, across = _dirt(rng, lanes, length_m)
    card = first_card(along, across, length_m, plan_watch(length_m, ROLLERS))
    return {"series": float(card is not None)}


def first_card(
    along: Floats, across: Floats, length_m: float, plan: WatchPlan, from_m: float = 0.0
) -> ActionCard | None:
    """The first card that a watch raises whose web comes half a metre at a time."""
    order = np.argsort(along)
    along, across = along[order], across[order]
    rollers: tuple[Roller, ...] = ROLLERS
    watch = RollWatch(plan, plant="p", roll="r", datum_edge="drive side", rollers=rollers)
    for seen_m in np.arange(from_m + plan.every_m, length_m + plan.every_m, plan.every_m):
        end = min(float(seen_m), length_m)

        def see(first: float, end: float = end) -> Sight:
            rows = slice(*np.searchsorted(along, [first, end]))
            return Sight(along_m=along[rows], across_mm=across[rows], observed=((first, end),), to_m=end)

        cards = watch.look(end, see, end=end == length_m)
        if cards:
            return cards[0]
    return None


def _dirt(rng: np.random.Generator, lanes: int, length_m: float) -> tuple[Floats, Floats]:
    count = rng.poisson(DIRT_PER_M * lanes * length_m)
    return rng.uniform(0.0, length_m, count), rng.uniform(90.0, 90.0 + 6.0 * lanes, count)
