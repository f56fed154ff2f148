"""What mistakes and further looks cost, and what each choice is then expected to cost."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from wideroll.release.model import Verdict
from wideroll.roll import Extent

__all__ = ["Choice", "CostTable", "Costs", "Escaped", "PartCosts"]


class Choice(StrEnum):
    """What may be done with a part of the roll, whatever its verdict."""

    CRITERIA = "follow the criteria"
    REST = "cut out, release the rest"
    """What the criteria cut out of a roll on hold; what they hold is released."""
    RELEASE = "release it as it is"
    SCRAP = "scrap it"
    LOOK = "look further first"
    """At more sample sheets, and then release or scrap, whichever is cheaper by then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """A product's costs, all in ``currency``, which is only shown.

    ``escaped`` maps a criterion to the cost of one thing that reaches a customer: of a mark where the criterion is a
    rate; of a flaw where it is a flaw, a grade or something forbidden; of a square metre beyond the limit where it is a
    reading.
    """

    currency: str
    scrap_per_m2: float
    sheet: float
    """Of one more sample sheet, film and work."""
    strip: float = math.nan
    """Of one more strip; NaN where the product doesn't say."""
    escaped: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Escaped:
    """What of one criterion is expected to reach a customer with a part that is released as it is."""

    criterion: str
    per: str
    """``mark``, ``flaw`` or ``m²``."""
    number: float
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PartCosts:
    """The choices for one part of the roll, or for all of it, with their expected costs.

    ``release`` lies between ``release_low`` and ``release_high`` with 90 % probability; it is the least it can be where
    ``unknown`` names criteria. ``criteria`` of a part on hold is what it costs to wait: nothing, and nothing is sold.
    ``rest`` is NaN but for a roll on hold of which parts are cut out. ``look`` is NaN where no count rests on what
    sheets show; ``sheets`` is then 0, as it is where no sheet pays. Of a roll, what is cut out is scrapped with it.
    """

    extent: Extent
    verdict: Verdict
    area_m2: float
    release: float
    release_low: float
    release_high: float
    criteria: float
    rest: float
    scrap: float
    look: float
    sheets: int
    escaped: tuple[Escaped, ...]
    unknown: tuple[str, ...]
    """Criteria whose share in the cost of a release isn't known, or isn't given though they are behind the verdict."""
    unknown_rest: tuple[str, ...]
    """The same once what the criteria cut out of a roll is cut out, as it is in ``criteria``, ``rest`` and ``look``."""
    cheapest: Choice | None
    """None where what isn't known could change it."""
    saves: float
    """What the cheapest saves against the criteria's choice, or on hold, which is no choice, against the next."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CostTable:
    """Expected costs beside a decision: they advise, the criteria rule."""

    currency: str
    sheet: float
    sheet_m2: float
    strip: float
    roll: PartCosts
    parts: tuple[PartCosts, ...]
    """Each that isn't released, as in ``Decision.regions``."""
    not_costed: tuple[str, ...]
    """Criteria that could have a cost and have none."""
