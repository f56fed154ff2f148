"""Expected costs of each choice beside the verdict: they advise, the criteria rule."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from wideroll.errors import ArgumentError
from wideroll.release.costs_escapes import PER, Escapes, Film, escapes
from wideroll.release.costs_model import Choice, Costs, CostTable, Escaped, PartCosts
from wideroll.release.costs_sheets import MOST_SHEETS, best_sheets
from wideroll.release.costs_sums import quantiles
from wideroll.release.model import Criterion, Decision, Evidence, RegionVerdict, Verdict
from wideroll.roll import Extent

__all__ = ["check_costs", "expected_costs"]

_SHARES: Final = (0.05, 0.95)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Weighed:
    """What the choices for a film rest on."""

    decision: Decision
    evidence: Evidence
    costs: Costs
    sheet_m2: float

    def escapes(self, film: Film) -> Escapes:
        return escapes(self.decision, self.evidence, self.costs.escaped, film)

    def look(self, film: Film, out: Escapes, scrap: float) -> tuple[int, float]:
        if not any(rate.sheet_share * rate.cost > 0.0 for rate in out.rates):
            return 0, math.nan
        known = math.fsum(one.expected * one.cost for one in out.chances)
        most = min(MOST_SHEETS, int(film.area_m2 / self.sheet_m2))
        return best_sheets(known, out.rates, scrap, sheet=self.costs.sheet, sheet_m2=self.sheet_m2, most=most)

    def behind(self, regions: Sequence[RegionVerdict]) -> list[str]:
        """Criteria behind verdicts that have no cost."""
        names = [self.decision.findings[number].criterion for region in regions for number in region.findings]
        return [name for name in names if name not in self.costs.escaped]


def expected_costs(decision: Decision, evidence: Evidence, costs: Costs, *, sheet_m2: float) -> CostTable:
    """What each choice is expected to cost, for the roll and for each part that isn't released.

    Marks of a rate come to the customer at the rate that its counts speak for, gamma with the count and a half over the
    area looked at times the probability of detection (Jeffreys' prior), on the film released; inside parts that are cut
    out by the marks found there. A reading costs its area times the probability that it lies beyond its limit. A flaw
    found beyond its limit costs one; where nobody looked there are others at the rate (found + ½) over the area looked
    at. Further sheets are weighed by preposterior analysis (Raiffa and Schlaifer 1961, from memory).

    Args:
        decision: of the evidence; it isn't changed, and never depends on costs.
        evidence: that it was drawn from.
        costs: the product's.
        sheet_m2: area of a further sample sheet.

    Raises:
        ArgumentError: when a cost is below 0 or of a criterion that there isn't, or the sheet has no area.

    Example:
        >>> from wideroll.release.decision import decide
        >>> from wideroll.release.model import Consequence, Measurand
        >>> from wideroll.roll import Coverage, Extent, empty_marks
        >>> web = Extent(along_from_m=0, along_to_m=40, across_from_mm=0, across_to_mm=1000)
        >>> sheet = Extent(along_from_m=10, along_to_m=14, across_from_mm=0, across_to_mm=1000)
        >>> metal = Criterion(
        ...     name="metal",
        ...     measurand=Measurand.FORBIDDEN,
        ...     limit=0,
        ...     unit="found",
        ...     consequence=Consequence.HOLD,
        ...     subject="sheets",
        ...     kinds=("metal",),
        ... )
        >>> seen = {"scan": Coverage(seen=(web,)), "sheets": Coverage(seen=(sheet,))}
        >>> evidence = Evidence(whole=web, marks=empty_marks(), coverage=seen, counts={})
        >>> costs = Costs(currency="GBP", scrap_per_m2=1.0, sheet=0.5, escaped={"metal": 10.0})
        >>> roll = expected_costs(decide(evidence, [metal]), evidence, costs, sheet_m2=0.5).roll
        >>> roll.release, roll.scrap  # half a piece on 4 m² is 4.5 on the 36 m² that nobody looked at
        (45.0, 40.0)
        >>> str(roll.cheapest), roll.sheets, round(roll.look, 1)
        ('look further first', 9, 31.6)
    """
    check_costs(costs, decision.criteria)
    if not (math.isfinite(sheet_m2) and sheet_m2 > 0.0):
        raise ArgumentError(
            where="sheet_m2", rule="must be above 0", value=sheet_m2, mend="Give the area of a sample sheet in m²."
        )
    weighed = _Weighed(decision=decision, evidence=evidence, costs=costs, sheet_m2=sheet_m2)
    gone = tuple(region.extent for region in decision.regions if region.verdict is not Verdict.HOLD)
    return CostTable(
        currency=costs.currency,
        sheet=costs.sheet,
        sheet_m2=sheet_m2,
        strip=costs.strip,
        roll=_roll(weighed, gone),
        parts=tuple(part for region in decision.regions if (part := _part(weighed, region, gone)) is not None),
        not_costed=tuple(c.name for c in decision.criteria if c.measurand in PER and c.name not in costs.escaped),
    )


def check_costs(costs: Costs, criteria: Sequence[Criterion]) -> None:
    """Refuse costs that can't be reckoned with.

    Raises:
        ArgumentError: when a cost is below 0 or of a criterion that there isn't or that asks for evidence.

    Example:
        >>> check_costs(Costs(currency="GBP", scrap_per_m2=1.0, sheet=2.0, escaped={"spotz": 10.0}), [])
        Traceback (most recent call last):
        wideroll.errors.ArgumentError: costs, escaped: must name a criterion that can let something escape (there is \
none), got 'spotz'. Name it as it is spelt there.
    """
    numbers = {"scrap_per_m2": costs.scrap_per_m2, "sheet": costs.sheet}
    numbers |= {} if math.isnan(costs.strip) else {"strip": costs.strip}
    numbers |= {f"escaped, {name}": cost for name, cost in costs.escaped.items()}
    for field, value in numbers.items():
        if not (math.isfinite(value) and value >= 0.0):
            raise ArgumentError(
                where=f"costs, {field}", rule="must be 0 or more", value=value, mend="Give what one costs, or 0."
            )
    known = [c.name for c in criteria if c.measurand in PER]
    for name in costs.escaped:
        if name not in known:
            there = ", ".join(known) if known else "there is none"
            raise ArgumentError(
                where="costs, escaped",
                rule=f"must name a criterion that can let something escape ({there})",
                value=name,
                mend="Name it as it is spelt there.",
            )


def _part(weighed: _Weighed, region: RegionVerdict, gone: Sequence[Extent]) -> PartCosts | None:
    """A part on hold is what is left of it when others are cut out."""
    held = region.verdict is Verdict.HOLD
    film = Film(box=region.extent, holes=tuple(gone) if held else ())
    if not film.area_m2 > 0.0:
        return None
    out = weighed.escapes(film)
    unknown = _names([*out.unknown, *weighed.behind([region])])
    scrap = weighed.costs.scrap_per_m2 * film.area_m2
    look = weighed.look(film, out, scrap) if held else (0, math.nan)
    choices = {} if held else {Choice.CRITERIA: (scrap, True)}
    choices |= {Choice.RELEASE: (out.cost, not unknown), Choice.SCRAP: (scrap, True)}
    choices |= {Choice.LOOK: (look[1], not unknown)} if look[0] else {}
    part = _put(weighed, film, region.verdict, out, choices)
    criteria = 0.0 if held else scrap
    return replace(
        part, criteria=criteria, look=look[1], sheets=look[0], unknown=unknown, unknown_rest=unknown if held else ()
    )


def _roll(weighed: _Weighed, gone: tuple[Extent, ...]) -> PartCosts:
    decision, film = weighed.decision, Film(box=weighed.evidence.whole)
    rest = Film(box=film.box, holes=gone) if decision.verdict is not Verdict.REJECT else film
    held = [region for region in decision.regions if region.verdict is Verdict.HOLD]
    out, out_of_rest = weighed.escapes(film), weighed.escapes(rest)
    unknown = _names([*out.unknown, *weighed.behind(decision.regions)])
    unknown_rest = _names([*out_of_rest.unknown, *weighed.behind(held)])
    scrap = weighed.costs.scrap_per_m2 * film.area_m2
    scrap_rest = weighed.costs.scrap_per_m2 * rest.area_m2
    cut, after_cut = scrap - scrap_rest, scrap - scrap_rest + out_of_rest.cost
    criteria = {Verdict.HOLD: cut, Verdict.REJECT: scrap}.get(decision.verdict, after_cut)
    number, look = weighed.look(rest, out_of_rest, scrap_rest)
    on_hold = decision.verdict is Verdict.HOLD
    choices = {} if on_hold else {Choice.CRITERIA: (criteria, not unknown_rest or decision.verdict is Verdict.REJECT)}
    choices |= {Choice.REST: (after_cut, not unknown_rest)} if on_hold and gone else {}
    choices |= {Choice.RELEASE: (out.cost, not unknown), Choice.SCRAP: (scrap, True)}
    choices |= {Choice.LOOK: (cut + look, not unknown_rest)} if number else {}
    part = _put(weighed, film, decision.verdict, out, choices)
    after = after_cut if on_hold and gone else math.nan
    part = replace(part, unknown=unknown, unknown_rest=unknown_rest)
    return replace(part, criteria=criteria, rest=after, look=cut + look, sheets=number)


def _put(
    weighed: _Weighed, film: Film, verdict: Verdict, out: Escapes, choices: dict[Choice, tuple[float, bool]]
) -> PartCosts:
    """The choices held against one another; each is a cost, and whether it is known and not just a least."""
    low, high = quantiles(out.chances, out.rates, _SHARES)
    cheapest, saves = _cheapest(choices)
    return PartCosts(
        extent=film.box,
        verdict=verdict,
        area_m2=film.area_m2,
        release=out.cost,
        release_low=low,
        release_high=high,
        criteria=math.nan,
        rest=math.nan,
        scrap=choices[Choice.SCRAP][0],
        look=math.nan,
        sheets=0,
        escaped=_escaped(weighed, out),
        unknown=out.unknown,
        unknown_rest=(),
        cheapest=cheapest,
        saves=saves,
    )


def _names(names: Sequence[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(names))


def _escaped(weighed: _Weighed, out: Escapes) -> tuple[Escaped, ...]:
    costs = weighed.costs.escaped
    return tuple(
        Escaped(
            criterion=c.name,
            per=PER[c.measurand],
            number=math.nan if c.name in out.unknown else out.expected(c.name),
            cost=math.nan if c.name in out.unknown else out.expected(c.name) * costs[c.name],
        )
        for c in weighed.decision.criteria
        if c.name in costs
    )


def _cheapest(choices: dict[Choice, tuple[float, bool]]) -> tuple[Choice | None, float]:
    """The cheapest and what it saves; of equals the first, which is the criteria's. A cost not sure is a least one."""
    best = min(choices, key=lambda choice: choices[choice][0])
    cost, sure = choices[best]
    if not sure:
        return None, math.nan
    if Choice.CRITERIA in choices:
        return best, choices[Choice.CRITERIA][0] - cost
    return best, min(other for choice, (other, _) in choices.items() if choice is not best) - cost
