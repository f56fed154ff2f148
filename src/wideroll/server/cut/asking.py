"""Wishes as somebody typed them on the page: read, or refused at the field they stand in."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from wideroll.errors import WiderollError

if TYPE_CHECKING:
    from wideroll.acts.what_if import AskedWishes

__all__ = ["MOST_WISHES", "Wished", "fields_of", "read_wished", "wrong_of", "wrong_wish", "wrongs_of"]

MOST_WISHES: Final = 12
_LONGEST: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Wished:
    """What stands in the fields: places of knives and cross-cuts, and names of widths to do without."""

    knives: tuple[str, ...] = ()
    cross_cuts: tuple[str, ...] = ()
    without: tuple[str, ...] = ()

    @classmethod
    def of(cls, knives: Sequence[str], cross_cuts: Sequence[str], without: Sequence[str]) -> "Wished":
        """Without fields that were left empty."""
        return cls(
            knives=tuple(text.strip() for text in knives if text.strip()),
            cross_cuts=tuple(text.strip() for text in cross_cuts if text.strip()),
            without=tuple(dict.fromkeys(name for name in without if name.strip())),
        )

    def __bool__(self) -> bool:
        """Whether anything is wished."""
        return bool(self.knives or self.cross_cuts or self.without)

    @property
    def query(self) -> str:
        """The same as the end of an address."""
        return urlencode(
            [
                *(("knife", text) for text in self.knives),
                *(("cross", text) for text in self.cross_cuts),
                *(("without", name) for name in self.without),
            ]
        )


def fields_of(wished: Wished) -> dict[str, list[dict[str, str]]]:
    """The fields of the form, each kind with an empty one more; ``id`` is what an error leads to."""
    return {
        kind: [{"id": f"{kind}-{number}", "value": text} for number, text in enumerate((*texts, ""), start=1)]
        for kind, texts in (("knife", wished.knives), ("cross", wished.cross_cuts))
    }


def wrongs_of(wished: Wished, setting: dict[str, Any]) -> list[dict[str, str]]:
    """What is wrong with which field; empty where all can be read.

    Args:
        wished: as it was typed; a number without a unit is in the shop's.
        setting: of the roll's cut page: ``units`` and ``widths``.
    """
    units = setting["units"]
    wrong = [
        *_wrong_lengths("knife", wished.knives, units["across"]),
        *_wrong_lengths("cross", wished.cross_cuts, units["along"]),
        *_wrong_widths(wished.without, setting["widths"]),
    ]
    if len(wished.knives) + len(wished.cross_cuts) + len(wished.without) > MOST_WISHES:
        wrong.append({"field": "knife-1", "words": f"At most {MOST_WISHES} wishes can be asked for at once."})
    return wrong


def read_wished(wished: Wished, setting: dict[str, Any]) -> "AskedWishes":
    """The wishes that were typed.

    Args:
        wished: in which nothing is wrong.
        setting: of the roll's cut page.
    """
    from wideroll.acts.what_if import read_wishes  # noqa: PLC0415  (loads the rooms)

    units = setting["units"]
    return read_wishes(
        [_with_unit(text, units["across"]) for text in wished.knives],
        [_with_unit(text, units["along"]) for text in wished.cross_cuts],
        wished.without,
    )


def _wrong_lengths(kind: str, texts: Sequence[str], unit: str) -> Iterator[dict[str, str]]:
    from wideroll.roll import parse_length  # noqa: PLC0415

    what = "Knife" if kind == "knife" else "Cross-cut"
    for number, text in enumerate(texts, start=1):
        try:
            parse_length(_with_unit(text[: _LONGEST + 1], unit))
        except WiderollError:
            short = False
        else:
            short = len(text) <= _LONGEST
        if not short:
            words = f"{what} at “{text[:_LONGEST]}”: write a number ({unit}), or a length with its unit."
            yield {"field": f"{kind}-{number}", "words": words}


def _wrong_widths(names: Sequence[str], widths: Sequence[str]) -> Iterator[dict[str, str]]:
    for name in names:
        if name not in widths:
            words = f"“{name[:_LONGEST]}” is no width of the product: it has {', '.join(widths)}."
            yield {"field": "without-1", "words": words}


def _with_unit(text: str, unit: str) -> str:
    """A number alone is in the shop's unit.

    Example:
        >>> _with_unit("24 1/8", "in"), _with_unit("612,5 mm", "in")
        ('24 1/8 in', '612,5 mm')
    """
    last = text.rstrip()[-1:]
    return f"{text} {unit}" if last.isdigit() or last in {".", ","} else text


def wrong_wish(error: WiderollError, wished: Wished, setting: dict[str, Any]) -> dict[str, str]:
    """Why wishes can't be met, leading to the field of the one that is named.

    Args:
        error: as planning ended with.
        wished: as it was typed.
        setting: of the roll's cut page.
    """
    from wideroll.report.cut_head import CutUnits  # noqa: PLC0415
    from wideroll.report.cut_words import wish_words  # noqa: PLC0415

    units, asked = CutUnits(**setting["units"]), read_wished(wished, setting)
    written = asked.in_other_units(units)
    named = [wish for wish in asked.wishes if error.where == f"wish: {wish_words(wish, units, written)}"]
    return {"field": _field(named[0], wished, setting) if named else "", "words": wrong_of(error)}


def wrong_of(error: WiderollError) -> str:
    """An error as a sentence of the page."""
    where = error.where.removeprefix("wish: ")
    return f"{where[:1].upper()}{where[1:]}: {error.rule}. {error.mend}"


def _field(wish: object, wished: Wished, setting: dict[str, Any]) -> str:
    """Where a wish was typed."""
    for number, text in enumerate(wished.knives, start=1):
        if wish in read_wished(Wished(knives=(text,)), setting).wishes:
            return f"knife-{number}"
    for number, text in enumerate(wished.cross_cuts, start=1):
        if wish in read_wished(Wished(cross_cuts=(text,)), setting).wishes:
            return f"cross-{number}"
    return "without-1"
