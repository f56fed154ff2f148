"""Figures by the light they are looked at in: in the dark theme their paper is dark and their ink is light.

What is kept isn't changed: the colours of the dark theme are added while a figure is sent. Each colour keeps its hue,
so it keeps its meaning; pictures in a figure, and colours written as ``rgb()``, are film and stay as they are.
"""

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import Final

from starlette.responses import Response

from wideroll.server.policies import PICTURE_POLICY

__all__ = ["at_night", "drawn", "with_night"]

_COLOUR: Final = re.compile(rb'\b(fill|stroke)(?:: |=")(#[0-9a-f]{6})\b')
_HEAD: Final = re.compile(rb"<svg\b[^>]*>")
_PAGES: Final = {
    "#ffffff": "#14171a",
    "#1d2126": "#d9dde2",
    "#17624a": "#7fd0ae",
    "#7a5200": "#e6bd5c",
    "#93390b": "#f0a27a",
    "#8f1d2c": "#f29aa4",
    "#e3f1ea": "#1b2723",
    "#fbf0d5": "#2b2412",
    "#fae5da": "#2d1f18",
    "#f8e0e3": "#2d1a1d",
}
"""Paper, ink and verdicts are those of the pages around a figure (``desk.css``)."""
_DARK, _RISE, _LIGHTEST = 0.2, 0.92, 0.95
"""Lightness in the dark theme: that of white, how much lighter black is, and the most there is."""
_FADE: Final = 0.95
"""A hue that a screen can't show so light or dark is shown paler."""
_NEAR: Final = 1e-3
_GAMMA, _FOOT = 2.4, 12.92
_TO_CONES: Final = (
    (0.4122214708, 0.5363325363, 0.0514459929),
    (0.2119034982, 0.6806995451, 0.1073969566),
    (0.0883024619, 0.2817188376, 0.6299787005),
)
_TO_OKLAB: Final = (
    (0.2104542553, 0.7936177850, -0.0040720468),
    (1.9779984951, -2.4285922050, 0.4505937099),
    (0.0259040371, 0.7827717662, -0.8086757660),
)
_FROM_OKLAB: Final = (
    (1.0, 0.3963377774, 0.2158037573),
    (1.0, -0.1055613458, -0.0638541728),
    (1.0, -0.0894841775, -1.2914855480),
)
_FROM_CONES: Final = (
    (4.0767416621, -3.3077115913, 0.2309699292),
    (-1.2684380046, 2.6097574011, -0.3413193965),
    (-0.0041960863, -0.7034186147, 1.7076147010),
)


def drawn(svg: str | bytes) -> Response:
    """A figure as the answer to a request; it can run nothing."""
    headers = {"Content-Security-Policy": PICTURE_POLICY, "Cache-Control": "no-cache"}
    return Response(with_night(svg), media_type="image/svg+xml", headers=headers)


def with_night(svg: str | bytes) -> bytes:
    """A figure with the colours of the dark theme beside its own.

    Args:
        svg: with colours as ``fill: #1d2126`` or ``fill="#1d2126"``, and the same of strokes.
    """
    text = svg.encode() if isinstance(svg, str) else svg
    found, head = sorted(set(_COLOUR.findall(text))), _HEAD.search(text)
    if head is None or not found:
        return text
    rules = "".join(_rule(part.decode(), colour.decode()) for part, colour in found)
    style = f"<style>@media (prefers-color-scheme: dark) {{ {rules}}}</style>".encode()
    return text[: head.end()] + style + text[head.end() :]


def _rule(part: str, colour: str) -> str:
    return f'[style*="{part}: {colour}"], [{part}="{colour}"] {{ {part}: {at_night(colour)} !important }} '


@lru_cache(maxsize=512)
def at_night(colour: str) -> str:
    """The colour that stands for another in the dark theme: as far from dark paper as that is from white.

    Turned round is the lightness of Oklab [@ottosson2020], in which equal steps look alike; hue and, where a screen has
    it, chroma stay.

    Args:
        colour: as ``#rrggbb``, sRGB.

    Example:
        >>> at_night("#ffffff"), at_night("#0a5a9c")
        ('#14171a', '#5ca2e9')
    """
    if colour in _PAGES:
        return _PAGES[colour]
    light, a, b = _to_oklab(colour)
    light = min(_DARK + _RISE * (1.0 - light), _LIGHTEST)
    linear = _to_linear(light, a, b)
    while not all(-_NEAR < one < 1.0 + _NEAR for one in linear):
        a, b = a * _FADE, b * _FADE
        linear = _to_linear(light, a, b)
    return "#" + "".join(f"{round(255.0 * _as_shown(one)):02x}" for one in linear)


def _to_oklab(colour: str) -> tuple[float, ...]:
    shown = (int(colour[place : place + 2], 16) / 255.0 for place in (1, 3, 5))
    linear = [one / _FOOT if one <= 0.04045 else ((one + 0.055) / 1.055) ** _GAMMA for one in shown]  # noqa: PLR2004
    return _times(_TO_OKLAB, [one ** (1.0 / 3.0) for one in _times(_TO_CONES, linear)])


def _to_linear(*oklab: float) -> tuple[float, ...]:
    return _times(_FROM_CONES, [one**3 for one in _times(_FROM_OKLAB, oklab)])


def _as_shown(linear: float) -> float:
    one = min(max(linear, 0.0), 1.0)
    return one * _FOOT if one <= 0.0031308 else 1.055 * one ** (1.0 / _GAMMA) - 0.055  # noqa: PLR2004


def _times(matrix: Sequence[Sequence[float]], values: Sequence[float]) -> tuple[float, ...]:
    return tuple(sum(share * value for share, value in zip(line, values, strict=True)) for line in matrix)
