"""What a roller leaves on the web by where it touches, and what examiners' words say of it.

The table is judgement without a published source, kept in one place so that it can be argued about. It holds what is
common practice: a roller that touches only the base can't leave a deposit on the emulsion, but can dent it through the
support; what is embedded in the emulsion came before drying ended; what lies on top came after, or is handling dirt; a
dent in dry emulsion changes all its records, and may come from either side. Nothing in it is 0 or 1: a zone or a side
may stand wrong in plant.toml, and dirt is carried over.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import exp, fsum, log
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.repeats.model import Roller, Stage
from wideroll.roll import Side

__all__ = ["LEAVES", "STRAY", "Sign", "Trace", "left_by", "left_by_any", "log_likelihood", "seen_words"]


class Trace(StrEnum):
    """What a print is."""

    EMBEDDED = "in or under the emulsion"
    ALL_RECORDS = "a change of all records"
    SOME_RECORDS = "a change of one or two records"
    ON_EMULSION = "on top of the emulsion"
    ON_BASE = "on the base side"


LEAVES: Final[Mapping[tuple[Stage, Side], Mapping[Trace, float]]] = {
    place: dict(zip(Trace, shares, strict=True))
    for place, shares in {
        (Stage.BEFORE, Side.EMULSION): (0.45, 0.15, 0.25, 0.10, 0.05),
        (Stage.BEFORE, Side.BASE): (0.04, 0.08, 0.15, 0.05, 0.68),
        (Stage.WET, Side.EMULSION): (0.40, 0.15, 0.30, 0.10, 0.05),
        (Stage.WET, Side.BASE): (0.04, 0.12, 0.28, 0.06, 0.50),
        (Stage.DRY, Side.EMULSION): (0.06, 0.24, 0.15, 0.50, 0.05),
        (Stage.DRY, Side.BASE): (0.04, 0.20, 0.12, 0.06, 0.58),
    }.items()
}
"""Probability of each trace of a roller, by where it stands and the side it touches. Judgement, without a source."""

STRAY: Final = 0.1
"""Share of sightings that are of something else at the place of a print, or misjudged altogether. Judgement."""

_CLEAR: Final = 0.6  # probability from which on a trace is spoken of
_CLEAR_TOGETHER: Final = 0.8  # and several that can't be told apart
_WORDS: Final = (
    *(((trace,), trace.value) for trace in Trace),
    ((Trace.EMBEDDED, Trace.ALL_RECORDS), "in the emulsion, in all records"),
    ((Trace.EMBEDDED, Trace.ALL_RECORDS, Trace.SOME_RECORDS), "in the emulsion"),
    ((Trace.ON_EMULSION, Trace.ON_BASE), "on the surface"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sign:
    """What was said of one print that was also seen on a sheet.

    The five are likelihoods of all that was said, were the print such a trace; only their ratios count.

    Raises:
        ArgumentError: when one isn't a number of 0 or more, or all are 0.
    """

    embedded: float = 1.0
    all_records: float = 1.0
    some_records: float = 1.0
    on_emulsion: float = 1.0
    on_base: float = 1.0

    def __post_init__(self) -> None:
        """Refuse what can't be a likelihood."""
        values = tuple(self.by_trace.values())
        if not all(0.0 <= value < float("inf") for value in values) or not sum(values) > 0.0:
            raise ArgumentError(
                where="sign",
                rule="likelihoods are numbers of 0 or more, not all 0",
                value=values,
                mend="Give the likelihood of what was said under each trace.",
            )

    @property
    def by_trace(self) -> Mapping[Trace, float]:
        """The same by trace."""
        said = (self.embedded, self.all_records, self.some_records, self.on_emulsion, self.on_base)
        return dict(zip(Trace, said, strict=True))


def left_by(roller: Roller) -> Mapping[Trace, float]:
    """Probability of each trace; averaged over the stages and sides that plant.toml leaves open."""
    stages = tuple(Stage) if roller.stage is None else (roller.stage,)
    sides = tuple(Side) if roller.side is None else (roller.side,)
    return _mean(LEAVES[stage, side] for stage in stages for side in sides)


def left_by_any() -> Mapping[Trace, float]:
    """Of something that isn't in the table: it may stand anywhere and touch either side."""
    return _mean(LEAVES.values())


def log_likelihood(leaves: Mapping[Trace, float], signs: Sequence[Sign]) -> float:
    """Log likelihood of what was said of all prints, but for a summand that is the same for every roller.

    A roller leaves one kind of trace, whichever that is, and all its prints are of that kind; each sighting is of
    something else with probability ``STRAY``. So more sightings make the kind of trace surer, but never tell more
    of the roller than the table does: the ratio of two rollers stays within that of their entries, at most 14.
    """
    return _log_sum([log(share) + _all_said(trace, signs) for trace, share in leaves.items()])


def seen_words(signs: Sequence[Sign]) -> str:
    """What the prints are, as finely as was said of them; empty where nothing is clear."""
    if not signs:
        return ""
    said = {trace: _all_said(trace, signs) for trace in Trace}
    total = _log_sum(list(said.values()))
    probability = {trace: exp(weight - total) for trace, weight in said.items()}
    for traces, words in _WORDS:
        if fsum(probability[trace] for trace in traces) >= (_CLEAR if len(traces) == 1 else _CLEAR_TOGETHER):
            return words
    return ""


def _all_said(trace: Trace, signs: Sequence[Sign]) -> float:
    return fsum(log(_said(sign)[trace]) for sign in signs)


def _said(sign: Sign) -> Mapping[Trace, float]:
    values = sign.by_trace
    mean = fsum(values.values()) / len(values)
    return {trace: (1.0 - STRAY) * value / mean + STRAY for trace, value in values.items()}


def _log_sum(logs: Sequence[float]) -> float:
    top = max(logs)
    return top + log(fsum(exp(one - top) for one in logs))


def _mean(rows: Iterable[Mapping[Trace, float]]) -> Mapping[Trace, float]:
    listed = list(rows)
    return {trace: fsum(row[trace] for row in listed) / len(listed) for trace in Trace}
