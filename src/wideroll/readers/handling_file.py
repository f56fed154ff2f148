"""rolls/<roll>/handling.toml: what was done to a wide roll between coating and slitting."""

from fractions import Fraction
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from wideroll.errors import ArgumentError, InputError
from wideroll.readers.fields import FileModel, Name
from wideroll.readers.toml_files import placed, read_toml
from wideroll.roll import parse_length
from wideroll.workflow.handled import CutOut, HandlingStep, Joined, WoundOver

__all__ = ["HANDLING", "read_handling"]

HANDLING = "handling.toml"
_GOES_WITH = {
    "wound over": ({"turned", "swapped"}, set[str]()),
    "cut out": ({"from", "to"}, {"from", "to"}),
    "joined": ({"roll", "at", "reversed"}, {"roll"}),
}


def _exact_m(value: object) -> Fraction:
    if not isinstance(value, str):
        raise ArgumentError(
            where="length", rule="must be text with a unit", value=value, mend='Write it in quotes, like "300 m".'
        )
    try:
        return parse_length(value).m
    except InputError as error:
        raise ArgumentError(where=error.where, rule=error.rule, value=error.value, mend=error.mend) from error


_ExactMetres = Annotated[Fraction, BeforeValidator(_exact_m)]


class StepTable(FileModel):
    """One of ``[[steps]]``."""

    did: Literal["wound over", "cut out", "joined"]
    turned: bool = False
    swapped: bool = False
    start: Annotated[_ExactMetres | None, Field(alias="from")] = None
    to: _ExactMetres | None = None
    roll: Name | None = None
    at: Literal["tail", "head"] = "tail"
    reversed: bool = False

    @model_validator(mode="after")
    def _fields_go_with_what_was_done(self) -> "StepTable":
        given = {"from" if name == "start" else name for name in self.model_fields_set} - {"did"}
        may, must = _GOES_WITH[self.did]
        if given - may:
            raise ArgumentError(
                where=min(given - may),
                rule=f'doesn\'t go with did = "{self.did}"',
                mend=f"With it may stand: {', '.join(sorted(may))}.",
            )
        if must - given:
            raise ArgumentError(
                where=min(must - given), rule=f'must stand with did = "{self.did}"', mend="Add the field."
            )
        return self

    def build(self) -> HandlingStep:
        """The step."""
        if self.did == "cut out" and self.start is not None and self.to is not None:
            return CutOut(from_m=self.start, to_m=self.to)
        if self.did == "joined" and self.roll is not None:
            return Joined(roll=self.roll, at_tail=self.at == "tail", reversed=self.reversed)
        return WoundOver(turned=self.turned, swapped=self.swapped)


class HandlingFile(FileModel):
    """handling.toml."""

    steps: Annotated[tuple[StepTable, ...], Field(min_length=1)]


def read_handling(folder: Path) -> tuple[HandlingStep, ...]:
    """What was done to a wide roll, in order; nothing without the file.

    Args:
        folder: of the roll.

    Raises:
        InputError: naming the field, when the file has a fault.
    """
    path = folder / HANDLING
    if not path.is_file():
        return ()
    with placed(path):
        return tuple(step.build() for step in read_toml(path, HandlingFile).steps)
