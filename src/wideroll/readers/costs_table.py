"""``[costs]`` of a product file: what scrap, a further sample and a fault that escapes cost."""

import math
from collections.abc import Mapping, Sequence
from typing import Annotated

from pydantic import Field

from wideroll.readers.fields import FileModel, Name
from wideroll.release import Costs, Criterion, check_costs

__all__ = ["CostsTable"]

_Cost = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]


class CostsTable(FileModel):
    """``[costs]`` in a product file."""

    currency: Name
    scrap_per_m2: _Cost
    sheet: _Cost
    strip: _Cost | None = None
    escaped: Annotated[Mapping[Name, _Cost], Field(min_length=1)]

    def build(self, criteria: Sequence[Criterion]) -> Costs:
        """The costs.

        Raises:
            ArgumentError: when one is of a criterion that the product doesn't have or that asks for evidence.
        """
        costs = Costs(
            currency=self.currency,
            scrap_per_m2=self.scrap_per_m2,
            sheet=self.sheet,
            strip=math.nan if self.strip is None else self.strip,
            escaped=dict(self.escaped),
        )
        check_costs(costs, criteria)
        return costs
