"""One place for colours, line styles, hatches and signs.

Every meaning has a word, a shape or line style, and only then a colour. The colours keep their order of lightness in
grey and can be told apart with any of the usual kinds of colour blindness; those used for words have a contrast of at
least 4.5 to 1 on white.
"""

import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from threading import RLock
from types import MappingProxyType
from typing import Any, Final, TypeAlias

import matplotlib as mpl

from wideroll.release.model import Verdict
from wideroll.roll import MarkKind
from wideroll.sensitometry.model import Record

__all__ = [
    "AIM",
    "CUT_LINE",
    "FIGURE_WIDTH_IN",
    "INK",
    "MARKERS",
    "MUTED",
    "PAPER",
    "RECORDS",
    "SERIES",
    "SMALL_PT",
    "STREAK",
    "TEXT_PT",
    "TINTS",
    "UNSEEN_HATCH",
    "VERDICTS",
    "LineStyle",
    "RecordStyle",
    "VerdictStyle",
    "drawing",
    "verdict_sign",
]

LineStyle: TypeAlias = str | tuple[float, tuple[float, ...]]

INK: Final = "#1d2126"
MUTED: Final = "#565d66"
PAPER: Final = "#ffffff"
AIM: Final = "#6b7280"
STREAK: Final = "#7a1f5c"
SERIES: Final = "#8f1d2c"
CUT_LINE: Final = "#1d2126"
UNSEEN_HATCH: Final = "\\\\\\\\"
TINTS: Final = ("#d9e6ef", "#e9e2cf", "#d7e8dc", "#eadbe2", "#e3e3ea")
"""Fills of the slit widths, in the order of the plan's widths; the name stands on the piece."""

FIGURE_WIDTH_IN: Final = 7.2
"""The printable width of A4 within the sheet's margins."""
TEXT_PT: Final = 8.0
SMALL_PT: Final = 7.0


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictStyle:
    """Sign, colour and hatch of a verdict; ``css`` is its class in the sheet."""

    sign: str
    colour: str
    tint: str
    hatch: str
    css: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordStyle:
    """Line, marker and name of a record's curve."""

    colour: str
    line: LineStyle
    marker: str
    label: str


VERDICTS: Final[Mapping[Verdict, VerdictStyle]] = MappingProxyType(
    {
        Verdict.RELEASE: VerdictStyle(sign="●", colour="#17624a", tint="#e3f1ea", hatch="", css="release"),
        Verdict.HOLD: VerdictStyle(sign="▲", colour="#7a5200", tint="#fbf0d5", hatch="||", css="hold"),
        Verdict.CUT_OUT: VerdictStyle(sign="◧", colour="#93390b", tint="#fae5da", hatch="////", css="cut-out"),
        Verdict.REJECT: VerdictStyle(sign="✖", colour="#8f1d2c", tint="#f8e0e3", hatch="xxxx", css="reject"),
    }
)

RECORDS: Final[Mapping[Record, RecordStyle]] = MappingProxyType(
    {
        Record.RED: RecordStyle(colour="#b04a00", line="-", marker="o", label="red (cyan dye)"),
        Record.GREEN: RecordStyle(
            colour="#00725a", line=(0.0, (7.0, 1.2, 1.2, 1.2)), marker="s", label="green (magenta dye)"
        ),
        Record.BLUE: RecordStyle(colour="#0a5a9c", line=(0.0, (1.4, 0.9)), marker="^", label="blue (yellow dye)"),
        Record.VISUAL: RecordStyle(colour="#1d2126", line="-", marker="D", label="visual"),
    }
)

MARKERS: Final[Mapping[str, str]] = MappingProxyType(
    {
        MarkKind.SPOT: "o",
        MarkKind.COMET: ">",
        MarkKind.BUBBLE: "h",
        MarkKind.HOLE: "X",
        MarkKind.PINHOLE: "x",
        MarkKind.SCRATCH: "|",
        MarkKind.STREAK: "_",
        MarkKind.BAND: "|",
        MarkKind.STATIC_MARK: "*",
        MarkKind.PRESSURE_MARK: "v",
        MarkKind.FOG: "p",
        MarkKind.COATING_VOID: "P",
        MarkKind.EDGE_FAULT: "<",
        MarkKind.OTHER: "+",
    }
)

_RC: Final[Mapping[Any, Any]] = MappingProxyType(
    {
        "svg.fonttype": "none",  # words stay words: sharp on paper, searchable, no font to embed
        "svg.hashsalt": "wideroll",
        "text.parse_math": False,  # a dollar sign in somebody's note isn't a formula
        "font.family": ["DejaVu Sans"],
        "font.size": TEXT_PT,
        "axes.titlesize": TEXT_PT,
        "axes.labelsize": TEXT_PT,
        "xtick.labelsize": SMALL_PT,
        "ytick.labelsize": SMALL_PT,
        "legend.fontsize": SMALL_PT,
        "legend.frameon": False,
        "text.color": INK,
        "axes.labelcolor": INK,
        "axes.edgecolor": INK,
        "xtick.color": INK,
        "ytick.color": INK,
        "axes.linewidth": 0.7,
        "xtick.major.width": 0.7,
        "ytick.major.width": 0.7,
        "grid.color": "#dfe3e8",
        "grid.linewidth": 0.5,
        "hatch.linewidth": 0.6,
        "lines.linewidth": 1.4,
        "axes.axisbelow": True,
        "figure.facecolor": PAPER,
        "savefig.facecolor": PAPER,
        "axes.unicode_minus": True,
    }
)


_ONE_AT_A_TIME: Final = RLock()


@contextmanager
def drawing() -> Iterator[None]:
    """The settings every figure is drawn and saved under, whatever the caller's own are.

    They are one for the whole process, so that threads draw one after the other.
    """
    with _ONE_AT_A_TIME, warnings.catch_warnings(), mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(dict(_RC))
        # the reader's own font draws the words; one that lacks a letter here is no fault
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def verdict_sign(verdict: Verdict) -> str:
    """The verdict as sign and word.

    Example:
        >>> verdict_sign(Verdict.CUT_OUT)
        '◧ cut out'
    """
    return f"{VERDICTS[verdict].sign} {verdict.value}"
