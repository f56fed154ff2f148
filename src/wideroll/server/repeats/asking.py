"""What somebody asks who wants to know where to look next, from the fields of a form to metres."""

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Final
from urllib.parse import urlencode

from pydantic import BaseModel, Field

if TYPE_CHECKING:
    from wideroll.acts.next_sampling import AskedSamples

__all__ = ["Asked", "job_key"]

_MOST_SERIES: Final = 999
_LONGEST_M: Final = 100.0
_FURTHEST_M: Final = 100_000.0


class Asked(BaseModel):
    """As typed; all but the series may stay empty."""

    series: str = Field(default="1", max_length=20)
    start: str = Field(default="", max_length=40)
    end: str = Field(default="", max_length=40)
    length: str = Field(default="", max_length=40)

    @property
    def query(self) -> str:
        """As an address has it, without what is empty: the same question gives the same address."""
        said = {name: value.strip() for name, value in self.model_dump().items()}
        return urlencode({name: value for name, value in said.items() if value})

    def errors(self) -> list[dict[str, str]]:
        """What isn't as it should be, by field."""
        start, end, length = _metres(self.start), _metres(self.end), _metres(self.length)
        rules: Mapping[str, tuple[bool, str]] = {
            "series": (
                self.series.strip().isdecimal() and 1 <= int(self.series) <= _MOST_SERIES,
                "Series: give its number, as the table above has it.",
            ),
            "start": (_within(start, 0.0, _FURTHEST_M), "Start: give metres from the head, 0 or more."),
            "end": (_within(end, 0.0, _FURTHEST_M), "End: give metres from the head, 0 or more."),
            "length": (
                _within(length, 0.05, _LONGEST_M),
                f"Length: give metres, from 0.05 to {_LONGEST_M:g}.",
            ),
        }
        wrong = [{"field": name, "words": words} for name, (good, words) in rules.items() if not good]
        if not wrong and (start is None) != (end is None):
            lacks = "start" if start is None else "end"
            wrong.append({"field": lacks, "words": "A stretch has a start and an end: give both, or neither."})
        if not wrong and start is not None and end is not None and not start < end:
            wrong.append({"field": "end", "words": "End: must lie behind the start."})
        return wrong

    def samples(self, roll: str) -> "AskedSamples":
        """The question, once it has no errors.

        Args:
            roll: its name, which gives the seed.
        """
        from wideroll.acts.next_sampling import AskedSamples  # noqa: PLC0415  (loads all rooms)
        from wideroll.acts.sampling import seed_of  # noqa: PLC0415
        from wideroll.repeats import SampleSettings  # noqa: PLC0415

        start, end, length = _metres(self.start), _metres(self.end), _metres(self.length)
        return AskedSamples(
            series=int(self.series),
            stretches=() if start is None or end is None else ((start, end),),
            tried=SampleSettings(
                seed=seed_of(roll), lengths_m=SampleSettings().lengths_m if length is None else (length,)
            ),
        )


def _metres(text: str) -> float | None:
    """A number with a comma or a point; None where nothing is typed, not a number where it is none."""
    typed = text.strip().removesuffix("m").strip().replace(",", ".")
    if not typed:
        return None
    try:
        return float(typed)
    except ValueError:
        return math.nan


def _within(value: float | None, least: float, most: float) -> bool:
    return value is None or least <= value <= most


def job_key(roll: str, asked: Asked) -> str:
    """Of the work beside the pages that answers a question."""
    return f"next {roll} {asked.query}"
