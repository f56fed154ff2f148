"""The questions that are asked at the light box, in their order, and what may be answered."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from wideroll.errors import InputError

__all__ = ["SETTING_WORDS", "Choice", "Question", "Sheeted", "read_length", "setting_questions", "sighting_questions"]

_COLOURS: Final = ("red", "green", "blue")
_GREYS: Final = ("high_density", "mid_density", "unexposed")
_SEPARATIONS: Final = ("cyan_separation", "magenta_separation", "yellow_separation")
_SECTIONS: Final[Mapping[str, tuple[str, ...]]] = {
    "all": (*_GREYS, *_SEPARATIONS),
    "densities": _GREYS,
    "separations": _SEPARATIONS,
    "none": (),
}
_NUMBER: Final = re.compile(r"[+\-−]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")
_BARE: Final = re.compile(r"[-−]?[0-9][0-9 /.,+-]*|[.,][0-9]+")
_MOST_DENSITY: Final = 6.0
_MOST_MAGNIFICATION: Final = 1000.0
_LONGEST_NOTE: Final = 500
_TEN: Final = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """An answer to choose, with the keys of the number pad that choose it."""

    value: str
    words: str
    keys: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question; ``read`` turns what was typed into the cell, ``usual`` is what Enter alone answers.

    Without a usual answer there must be one.
    """

    name: str
    words: str
    hint: str = ""
    choices: tuple[Choice, ...] = ()
    unit: str = ""
    usual: str | None = None
    read: Callable[[str], str]
    """Raises InputError where the answer can't be taken."""
    photograph: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheeted:
    """What the questions need to know of the sheet, its plant and product."""

    along_unit: str
    across_unit: str
    datum_edge: str
    check_along: Callable[[str], None]
    """Refuses a place that isn't on the sheet."""
    check_across: Callable[[str], None]
    check_size: Callable[[str], None]
    """Refuses a size that has no room on the sheet."""
    grades: tuple[str, ...]
    loupe: str
    """Magnification that the product's samples are graded under; empty where none is said."""


SETTING_WORDS: Final[Mapping[str, str]] = {
    "blind": "blind",
    "loupe": "loupe",
    "filters": "colour filters",
    "sections": "sections",
    "densitometer": "densitometer",
}


def setting_questions(sheet: Sheeted, *, listed: bool, shown: bool, before: Mapping[str, str]) -> tuple[Question, ...]:
    """What is asked once for a sheet.

    Args:
        sheet: that is looked at.
        listed: whether somebody looked at it before.
        shown: whether the examiner was shown at this desk what others noted.
        before: how the sheet before was looked at.
    """
    blind = _choice(
        "blind",
        "Do you know what others noted on this sheet?",
        (("yes", "No, I look at it blind"), ("no", "Yes, I know it")),
        hint="A look that isn't blind counts for finding things, not for how alike examiners see.",
    )
    loupe = Question(
        name="loupe",
        words="Which loupe do you use?",
        hint="Its magnification: 7 for a 7 times loupe. 0 without one.",
        unit="×",
        usual=before.get("loupe", sheet.loupe) or "0",
        read=_loupe,
    )
    filters = _choice(
        "filters",
        "Do you look through colour filters?",
        (("yes", "Yes: red, green and blue"), ("no", "No")),
        usual=before.get("filters", "yes"),
    )
    sections = _choice(
        "sections",
        "Which sections does the sheet have?",
        (
            ("all", "Densities and separations"),
            ("densities", "High density, mid density, unexposed"),
            ("separations", "Separations: cyan, magenta, yellow"),
            ("none", "None, or I don't look at them"),
        ),
        usual=before.get("sections", "none"),
    )
    densitometer = _choice(
        "densitometer",
        "Do you measure marks with a densitometer?",
        (("yes", "Yes"), ("no", "No")),
        usual=before.get("densitometer", "no"),
    )
    asked = (blind,) if listed and not shown else ()
    return (*asked, loupe, filters, sections, densitometer)


def sighting_questions(
    sheet: Sheeted, setting: Mapping[str, str], answers: Mapping[str, str], kinds: Sequence[str]
) -> tuple[Question, ...]:
    """What is asked of a sighting, as the sheet is looked at.

    Args:
        sheet: that it lies on.
        setting: answers of ``setting_questions``.
        answers: of the questions before.
        kinds: the words for what a mark looks like.
    """
    return (
        *_what_and_where(sheet, kinds),
        *_through(setting),
        *_sections(setting),
        *_touch(),
        *_graded(sheet),
        *_densities(setting, answers),
        *_remarks(),
    )


def _what_and_where(sheet: Sheeted, kinds: Sequence[str]) -> Iterator[Question]:
    yield _choice("kind", "What is it?", tuple((kind, kind) for kind in kinds))
    typed = "Fractions as 5-7/8; another unit may be typed, as 66 cm."
    if sheet.along_unit != "in":
        typed = "Another unit may be typed, as 66 cm or 5-7/8 in."
    yield Question(
        name="along",
        words="How far along the sheet?",
        hint=f"From the edge nearest the roll's head. {typed}",
        unit=sheet.along_unit,
        read=_length(sheet.along_unit, sheet.check_along),
    )
    yield Question(
        name="across",
        words="How far across?",
        hint=f"From the datum edge of the web ({sheet.datum_edge}).",
        unit=sheet.across_unit,
        read=_length(sheet.across_unit, sheet.check_across),
    )
    yield Question(
        name="size",
        words="How large is it?",
        hint="Where it is longest; of a streak its width.",
        unit="mm",
        read=_length("mm", sheet.check_size),
    )


def _through(setting: Mapping[str, str]) -> Iterator[Question]:
    ways = (("darker", "Darker than around it"), ("lighter", "Lighter"), ("same", "The same"), ("", "Not looked"))
    if setting.get("filters") == "yes":
        for colour in _COLOURS:
            yield _choice(colour, f"Through the {colour} filter it is …", ways, usual="")


def _sections(setting: Mapping[str, str]) -> Iterator[Question]:
    ways = (("yes", "It shows"), ("no", "It doesn't show"), ("", "Not looked"))
    for section in _SECTIONS[setting.get("sections", "none")]:
        yield _choice(section, f"In the section {section.replace('_', ' ')} …", ways, usual="")


def _touch() -> Iterator[Question]:
    yield _choice(
        "embedded",
        "Where in the film does it lie?",
        (("yes", "In or under the emulsion"), ("no", "On top"), ("", "Can't be said")),
        usual="",
    )
    yield _choice("wipes_off", "Does it wipe off?", (("yes", "Yes"), ("no", "No"), ("", "Not tried")), usual="")
    yield _choice("metallic", "Is it metal?", (("", "No"), ("yes", "Yes, it shines like metal")), usual="")
    yield _choice(
        "side",
        "On which side of the web?",
        (("emulsion", "Emulsion side"), ("base", "Base side"), ("", "Can't be said")),
        usual="",
    )


def _graded(sheet: Sheeted) -> Iterator[Question]:
    if sheet.grades:
        grades = tuple((grade, grade) for grade in sheet.grades)
        yield _choice("grade", "Which grade?", (*grades, ("", "Not graded")), usual="")
    else:
        yield Question(
            name="grade",
            words="Which grade?",
            hint="The product has no reference samples: in your words, or nothing.",
            usual="",
            read=_text,
        )


def _densities(setting: Mapping[str, str], answers: Mapping[str, str]) -> Iterator[Question]:
    """All three and their uncertainty, or none."""
    if setting.get("densitometer") != "yes":
        return
    red, *others = _COLOURS
    yield Question(
        name=f"density_{red}",
        words="Red density of the mark less its surround's?",
        hint="Negative where it is lighter. Enter alone, where it wasn't measured.",
        unit="density",
        usual="",
        read=_density,
    )
    if not answers.get(f"density_{red}"):
        return
    for colour in others:
        yield Question(
            name=f"density_{colour}",
            words=f"{colour.capitalize()} density of the mark less its surround's?",
            unit="density",
            read=_density,
        )
    yield Question(
        name="density_uncertainty",
        words="How well do these densities repeat?",
        hint="The standard uncertainty of each.",
        unit="density",
        read=_uncertainty,
    )


def _remarks() -> Iterator[Question]:
    yield Question(name="note", words="Anything else?", hint="A note in your words, or nothing.", usual="", read=_text)
    yield Question(name="photograph", words="A photograph of it?", usual="", read=_text, photograph=True)


def _choice(
    name: str, words: str, ways: Sequence[tuple[str, str]], *, usual: str | None = None, hint: str = ""
) -> Question:
    """Keys 1 to 9 for the first nine and 01, 02 … for the others; 0 for a last one that says nothing."""
    choices = []
    for number, (value, said) in enumerate(ways, 1):
        keys = "0" if value == "" and number == len(ways) else str(number) if number < _TEN else f"0{number - 9}"
        choices.append(Choice(value=value, words=said, keys=keys))
    values = [choice.value for choice in choices]

    def read(text: str) -> str:
        if text not in values:
            raise InputError(where=name, rule="must be one of the answers shown", value=text, mend="Choose one.")
        return text

    return Question(name=name, words=words, hint=hint, choices=tuple(choices), usual=usual, read=read)


def read_length(text: str, unit: str, *, where: str = "length") -> str:
    """A length as a table's cell has it; a bare number is in ``unit``, and 5-7/8 is five and seven eighths.

    Args:
        text: as it was typed.
        unit: where none was typed.
        where: name of the field, for the error.

    Raises:
        InputError: when it is none.

    Example:
        >>> read_length("16-1/4", "in"), read_length("66,5 cm", "in"), read_length(".6", "mm")
        ('16 1/4 in', '66.5 cm', '0.6 mm')
    """
    from wideroll.roll.lengths import format_length, parse_length  # noqa: PLC0415  (the room loads tables)

    plain = text.strip()
    if _BARE.fullmatch(plain):
        plain = f"{' '.join(plain.replace('+', ' ').split())} {unit}"
    length = parse_length(plain, where=where)
    written = format_length(length)
    return written if parse_length(written).mm == length.mm else plain


def _length(unit: str, check: Callable[[str], None]) -> Callable[[str], str]:
    def read(text: str) -> str:
        cell = read_length(text, unit)
        check(cell)
        return cell

    return read


def _text(text: str) -> str:
    r"""One line without what can't be printed.

    Example:
        >>> _text(" a\nb\x00 ")
        'a b'
    """
    plain = "".join(letter if letter.isprintable() else " " for letter in text)
    return " ".join(plain.split())[:_LONGEST_NOTE]


def _number(text: str, rule: str) -> float:
    plain = text.strip()
    if _NUMBER.fullmatch(plain) is None:
        raise InputError(where="number", rule=rule, value=text, mend="Type digits with a point or a comma.")
    return float(plain.replace("−", "-").replace(",", "."))


def _loupe(text: str) -> str:
    value = _number(text, "must be a magnification such as 7, or 0 without a loupe")
    if not 0.0 <= value <= _MOST_MAGNIFICATION:
        raise InputError(where="loupe", rule="from 0 to 1000", value=text, mend="Type 7 for a 7 times loupe.")
    return f"{value:g}" if value else ""


def _density(text: str) -> str:
    if not text.strip():
        return ""
    value = _number(text, "must be a density such as 0.12")
    if abs(value) > _MOST_DENSITY:
        raise InputError(where="density", rule="between −6 and 6", value=text, mend="Measure it again.")
    return repr(value)


def _uncertainty(text: str) -> str:
    cell = _density(text)
    if cell and not float(cell) > 0.0:
        raise InputError(where="density", rule="must be greater than 0", value=text, mend="Say how well they repeat.")
    return cell
