"""``[[widths]]`` of a product file: the widths that finishing can use, and how the film of each is sold."""

import itertools
from typing import Annotated, Final

from pydantic import Field, model_validator

from wideroll.errors import ArgumentError
from wideroll.readers.fields import FileModel, Name, Positive, PositiveMetres, PositiveMillimetres, SomeMillimetres
from wideroll.readers.micrometres import check_micrometres
from wideroll.slitting import ByLength, ByMetre, Finish, FinishedLength, SlitWidth, Spliced

__all__ = ["LengthTable", "SplicedTable", "WidthTable"]

_Value = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True)]
_WAYS: Final = ("value_per_m", "lengths", "spliced")
_SAME_M: Final = 1e-6


class LengthTable(FileModel):
    """One of ``lengths`` of ``[[widths]]``."""

    length: PositiveMetres
    value: Positive
    second_value: _Value = 0.0

    @model_validator(mode="after")
    def _second_is_worth_less(self) -> "LengthTable":
        _check_second("second_value", self.second_value, self.value)
        return self

    def build(self) -> FinishedLength:
        """The finished length."""
        return FinishedLength(length_m=self.length, value=self.value, second_value=self.second_value)


class SplicedTable(FileModel):
    """``[widths.spliced]``."""

    length: PositiveMetres
    value: Positive
    most_splices: Annotated[int, Field(ge=1, le=1000, strict=True)]
    least_between: PositiveMetres
    loss_per_splice: _Value = 0.0

    @model_validator(mode="after")
    def _can_be_spliced(self) -> "SplicedTable":
        if 2.0 * self.least_between > self.length + _SAME_M:
            raise ArgumentError(
                where="least_between",
                rule=f"must be at most half the length ({self.length:g} m), or no splice has a place in the roll",
                value=f"{self.least_between:g} m",
                mend='Correct it, or sell rolls of one piece by "lengths".',
            )
        if not self.loss_per_splice < self.value:
            raise ArgumentError(
                where="loss_per_splice",
                rule=f"must be less than the roll's value ({self.value:g})",
                value=self.loss_per_splice,
                mend='Correct it, or sell rolls of one piece by "lengths".',
            )
        return self

    def build(self) -> Spliced:
        """The finish."""
        return Spliced(
            length_m=self.length,
            value=self.value,
            most_splices=self.most_splices,
            least_between_m=self.least_between,
            loss_per_splice=self.loss_per_splice,
        )


class WidthTable(FileModel):
    """``[[widths]]`` in a product file."""

    name: Name
    width: PositiveMillimetres
    tolerance: SomeMillimetres
    windings: Annotated[int, Field(ge=0, le=20, strict=True)] = 1
    value_per_m: Positive | None = None
    second_per_m: _Value = 0.0
    lengths: Annotated[tuple[LengthTable, ...], Field(min_length=1)] | None = None
    spliced: SplicedTable | None = None

    @model_validator(mode="after")
    def _sold_in_one_way(self) -> "WidthTable":
        given = [name for name in _WAYS if getattr(self, name) is not None]
        if not given:
            raise ArgumentError(
                where=f"width {self.name}",
                rule="value_per_m, lengths or spliced must be there, to say how the film is sold",
                mend="Add one of them; docs/reference/files.md shows an example.",
            )
        if len(given) > 1:
            raise ArgumentError(
                where=f"width {self.name}",
                rule="film of one width is sold in one way: value_per_m, lengths or spliced",
                value=" and ".join(given),
                mend="Keep one of them; for two ways of selling give the width twice, by two names.",
            )
        if "second_per_m" in self.model_fields_set and self.value_per_m is None:
            raise ArgumentError(
                where=f"width {self.name}, second_per_m",
                rule="goes with value_per_m",
                value=self.second_per_m,
                mend='Give second_value with each of "lengths"; a spliced roll is never of second quality.',
            )
        return self

    @model_validator(mode="after")
    def _can_be_cut(self) -> "WidthTable":
        if not self.tolerance < self.width:
            raise ArgumentError(
                where=f"width {self.name}, tolerance",
                rule=f"must be less than the width ({self.width:g} mm)",
                value=f"{self.tolerance:g} mm",
                mend="Check its unit.",
            )
        check_micrometres(
            self.width,
            given=f"{self.width:.9g} mm",
            where=f"width {self.name}, width",
            tolerance_mm=self.tolerance,
        )
        return self

    @model_validator(mode="after")
    def _values_make_sense(self) -> "WidthTable":
        if self.value_per_m is not None:
            _check_second(f"width {self.name}, second_per_m", self.second_per_m, self.value_per_m)
        for one, other in itertools.combinations(self.lengths or (), 2):
            if abs(one.length - other.length) <= _SAME_M:
                raise ArgumentError(
                    where=f"width {self.name}, lengths",
                    rule="each length is given once",
                    value=f"{other.length:g} m",
                    mend="Take one of the two out.",
                )
        return self

    def build(self) -> SlitWidth:
        """The width."""
        return SlitWidth(
            name=self.name,
            width_mm=self.width,
            tolerance_mm=self.tolerance,
            finish=self._finish(),
            windings=self.windings,
        )

    def _finish(self) -> Finish:
        if self.spliced is not None:
            return self.spliced.build()
        if self.lengths is not None:
            return ByLength(lengths=tuple(one.build() for one in self.lengths))
        return ByMetre(value_per_m=self.value_per_m or 0.0, second_per_m=self.second_per_m)


def _check_second(where: str, second: float, first: float) -> None:
    if second > first:
        raise ArgumentError(
            where=where,
            rule=f"second quality must not be worth more than first ({first:g})",
            value=second,
            mend="Change the two values, or lower the second.",
        )
