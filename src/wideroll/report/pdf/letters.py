"""Which letters the sheets' fonts have: text in others is shown as such instead of failing the sheet."""

from functools import cache
from pathlib import Path
from typing import Final

import matplotlib as mpl
from matplotlib.ft2font import FT2Font

__all__ = ["FONTS", "UNKNOWN", "shown", "with_breaks"]

FONTS: Final = Path(mpl.get_data_path()) / "fonts" / "ttf"
"""Fonts that are installed with the drawing library: the same on every machine, whatever else it has."""
UNKNOWN: Final = "�"
_FACES: Final = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
_LONGEST: Final = 24
_EVERY: Final = 12
_MAY_BREAK: Final = "\u200b"
_SPACES: Final = frozenset("\n\u00a0\u2007\u2008\u2009\u202f\u200b")


def shown(text: str) -> str:
    r"""The text with every letter that no font here has, and every control character, replaced by �.

    Example:
        >>> shown("Größe 35 mm ● 卷 \x07")
        'Größe 35 mm ● � �'
    """
    if text.isascii() and text.isprintable():
        return text
    have = _letters()
    return "".join(one if one in _SPACES or (one.isprintable() and ord(one) in have) else UNKNOWN for one in text)


def with_breaks(text: str) -> str:
    """The text with places to break in words that are longer than a column is wide.

    Example:
        >>> with_breaks("A" * 30).count("A"), len(with_breaks("A" * 30)), with_breaks("a word")
        (30, 32, 'a word')
    """
    words = text.split(" ")
    return " ".join(word if len(word) <= _LONGEST else _broken(word) for word in words)


def _broken(word: str) -> str:
    return _MAY_BREAK.join(word[start : start + _EVERY] for start in range(0, len(word), _EVERY))


@cache
def _letters() -> frozenset[int]:
    """Those that both weights of the font of last choice have."""
    faces = [frozenset(FT2Font(str(FONTS / name)).get_charmap()) for name in _FACES]
    return frozenset.intersection(*faces)
