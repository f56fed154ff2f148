"""``[[properties]]`` of a product file: what its rolls are measured for besides what the strips say."""

import math
from typing import Annotated, Final

from pydantic import Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, Name, Positive
from wideroll.readers.gauge_tables import MOST_NUMBER
from wideroll.workflow import BATCHES, READING_UNITS, SCAN, SHEETS, STRIPS
from wideroll.workflow.property_model import Judged, PropertySpec

__all__ = ["PropertyTable"]

_TAKEN: Final = frozenset({*READING_UNITS, SCAN, SHEETS, STRIPS, BATCHES})


class PropertyTable(FileModel):
    """``[[properties]]`` in a product file."""

    name: Name
    unit: Name
    judged: Judged = Judged.EACH_PLACE
    scatter: Annotated[Positive, Field(le=MOST_NUMBER)] | None = None

    @model_validator(mode="after")
    def _name_is_free(self) -> "PropertyTable":
        """A criterion's subject must mean one thing."""
        if self.name.strip() != self.name or self.name.casefold() in _TAKEN:
            raise ArgumentError(
                where="name",
                rule="must be none of wideroll's own words, and have no space around it",
                value=self.name,
                mend=f"Call it otherwise; {', '.join(sorted(_TAKEN))} mean something else.",
            )
        return self

    def build(self) -> PropertySpec:
        """The property."""
        scatter = math.nan if self.scatter is None else self.scatter
        return PropertySpec(name=self.name, unit=self.unit, judged=self.judged, scatter=scatter)
