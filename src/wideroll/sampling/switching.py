"""Lots in the order they came, each judged by the plan of its turn, and how strictly the next is inspected."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.sampling.acceptance import AcceptancePlan, Severity, acceptance_plan

__all__ = ["Inspection", "Lot", "LotResult", "judge_lots", "switch"]

_WINDOW: Final = 5
_MOST_REFUSED: Final = 2
_STOP_AT: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """A lot of finished rolls and what its sample held.

    ``resubmitted`` lots were offered before: they don't count for switching. ``resumed`` notes that, before this lot,
    the cause of discontinued inspection was mended.
    """

    name: str
    size: int
    aql: float
    found: int
    level: str = "II"
    resubmitted: bool = False
    resumed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LotResult:
    """The plan that a lot fell under, whether it is accepted, and what changed after it (empty: nothing)."""

    lot: Lot
    plan: AcceptancePlan
    accepted: bool
    change: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """How strictly a product's next lot is inspected.

    ``recent`` are the last lots of the present severity, True where accepted; ``refused`` counts those not accepted on
    tightened inspection.
    """

    severity: Severity = Severity.NORMAL
    recent: tuple[bool, ...] = ()
    refused: int = 0
    why: str = "inspection starts normal"


def switch(state: Inspection, *, accepted: bool) -> Inspection:
    """The state after a lot of original inspection (not one resubmitted).

    Normal to tightened: two of five or fewer consecutive lots not accepted (ISO 2859-1, 9.3.1). Tightened to normal:
    five consecutive lots accepted (9.3.2, from memory). Discontinued: five lots not accepted while tightened (9.4).

    Raises:
        ArgumentError: when inspection is discontinued.

    Example:
        >>> state = switch(switch(Inspection(), accepted=False), accepted=False)
        >>> state.severity.value, state.why
        ('tightened', '2 of 2 consecutive lots not accepted')
    """
    if state.severity is Severity.DISCONTINUED:
        raise ArgumentError(
            where="lot",
            rule="no lot is inspected by sampling while inspection is discontinued",
            mend="Note on the lot that inspection is resumed, once the cause is mended.",
        )
    recent = (*state.recent, accepted)[-_WINDOW:]
    if state.severity is Severity.NORMAL:
        if recent.count(False) >= _MOST_REFUSED:
            why = f"{recent.count(False)} of {len(recent)} consecutive lots not accepted"
            return Inspection(severity=Severity.TIGHTENED, why=why)
        return replace(state, recent=recent)
    refused = state.refused + (not accepted)
    if refused >= _STOP_AT:
        return Inspection(severity=Severity.DISCONTINUED, why=f"{refused} lots not accepted on tightened inspection")
    if recent == (True,) * _WINDOW:
        return Inspection(why=f"{_WINDOW} consecutive lots accepted on tightened inspection")
    return replace(state, recent=recent, refused=refused)


def judge_lots(lots: Sequence[Lot]) -> tuple[tuple[LotResult, ...], Inspection]:
    """Judge a product's lots in order; the history is the state, so nothing else need be kept.

    Args:
        lots: of one product, in the order of inspection.

    Returns:
        Each lot's result, and how strictly the next one is inspected.

    Raises:
        ArgumentError: naming the lot whose plan isn't known, whose count can't be, or that came while inspection was
            discontinued.

    Example:
        >>> lots = [Lot(name=str(n), size=800, aql=2.5, found=found) for n, found in enumerate((0, 6, 1, 7))]
        >>> results, state = judge_lots(lots)
        >>> [result.accepted for result in results], state.severity.value
        ([True, False, True, False], 'tightened')
    """
    state = Inspection()
    results: list[LotResult] = []
    for lot in lots:
        try:
            result, state = _judge(lot, state)
        except ArgumentError as error:
            where = f"lot {lot.name}"
            raise error.at(where) from error
        results.append(result)
    return tuple(results), state


def _judge(lot: Lot, state: Inspection) -> tuple[LotResult, Inspection]:
    if lot.resumed:
        if state.severity is not Severity.DISCONTINUED:
            raise ArgumentError(
                where="resumed",
                rule="only discontinued inspection can be resumed",
                value=state.severity.value,
                mend="Leave it out.",
            )
        state = Inspection(severity=Severity.TIGHTENED, why="resumed after its cause was mended")
    plan = acceptance_plan(lot.size, lot.aql, level=lot.level, severity=state.severity)
    if not 0 <= lot.found <= plan.sample_size:
        raise ArgumentError(
            where="found",
            rule=f"must be 0 to the {plan.sample_size} inspected",
            value=lot.found,
            mend="Count the nonconforming rolls of the sample.",
        )
    accepted = lot.found <= plan.accept
    after = state if lot.resubmitted else switch(state, accepted=accepted)
    change = f"{after.severity.value} from the next lot on: {after.why}" if after.severity is not state.severity else ""
    return LotResult(lot=lot, plan=plan, accepted=accepted, change=change), after
