"""Which stretch to sample next, from a roll's series."""

from dataclasses import dataclass
from typing import Any, Final

from wideroll.acts.rolls import RollInHand
from wideroll.errors import InputError
from wideroll.repeats import NextSamples, SampleSettings, SeriesSearch, next_samples
from wideroll.report.machine import plain
from wideroll.report.next_samples_words import samples_words

__all__ = ["AskedSamples", "next_samples_document", "sample_next"]

_COMING_M: Final = 30.0
"""Web that is still to come, where the whole roll was looked at and no stretch is named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedSamples:
    """Which series is to be told apart, and where and how samples can be taken."""

    series: int = 1
    """Its number, as the search lists them."""
    stretches: tuple[tuple[float, float], ...] = ()
    """Start and end of each stretch that can still be sampled, in metres; where none, what nobody looked at."""
    tried: SampleSettings


def sample_next(hand: RollInHand, asked: AskedSamples) -> NextSamples:
    """Which stretch to sample next, so that the rollers that could have made a series are told apart.

    Args:
        hand: the roll.
        asked: of it.

    Raises:
        InputError: when the roll has no such series, or a file has a fault.
    """
    scan = hand.desk.scan()
    search = hand.desk.named_repeats(scan, hand.desk.examination(hand.desk.sheets(), scan))
    if scan is None or len(search) < asked.series:
        raise InputError(
            where="--series",
            rule=f"must be a series of the roll, of which there are {len(search)}",
            value=asked.series,
            mend="List them with `wideroll repeats PLANT ROLL`.",
        )
    return next_samples(
        scan.marks["along_m"].to_numpy(),
        scan.marks["across_mm"].to_numpy(),
        search[asked.series - 1],
        rollers=hand.desk.plant.rollers,
        observed=search.observed,
        can_sample=asked.stretches or _usual(search, hand.desk.card.length_m, min(asked.tried.lengths_m)),
        settings=search.settings,
        tried=asked.tried,
    )


def _usual(search: SeriesSearch, length_m: float, least_m: float) -> tuple[tuple[float, float], ...]:
    """Where nobody looked; where everything was looked at, the web that comes next."""
    ends = [0.0, *(place for pair in search.observed for place in pair), length_m]
    unseen = [(low, high) for low, high in zip(ends[::2], ends[1::2], strict=True) if high - low >= least_m]
    last = max((end for _, end in search.observed), default=length_m)
    return tuple(unseen) or ((last, last + _COMING_M),)


def next_samples_document(found: NextSamples, roll: str, series: int) -> dict[str, Any]:
    """What to sample next, for machines.

    Args:
        found: of ``sample_next``.
        roll: its name.
        series: its number.
    """
    candidates = [{"roller": name, "probability": probability} for name, probability in found.candidates]
    return {
        "schema": "wideroll/next-samples/1",
        "roll": roll,
        "series": series,
        **plain(found),
        "candidates": candidates,
        "words": samples_words(found),
    }
