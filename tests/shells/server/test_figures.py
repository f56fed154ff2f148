"""Figures in the dark theme: colours that still mean the same, and a file that stays as it is."""

import re

import colour
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wideroll.report import theme
from wideroll.server.figures import at_night, with_night
from wideroll.server.viewer.pictures import draw_scale

_PAPER, _NIGHT = "#ffffff", "#14171a"
_SEEN = 3.0
_COLOURS = st.integers(0, 0xFFFFFF).map(lambda number: f"#{number:06x}")


def _rgb(text):
    return np.array([int(text[place : place + 2], 16) / 255 for place in (1, 3, 5)])


def _light(text):
    return float(colour.sRGB_to_XYZ(_rgb(text))[1])


def _contrast(one, other):
    dark, light = sorted((_light(one), _light(other)))
    return (light + 0.05) / (dark + 0.05)


def _oklch(text):
    light, a, b = colour.XYZ_to_Oklab(colour.sRGB_to_XYZ(_rgb(text)))
    return light, float(np.hypot(a, b)), float(np.arctan2(b, a))


@given(shown=_COLOURS)
def test_what_is_seen_by_day_is_seen_at_night(shown):
    """A colour with three to one on white has that on dark paper, too, and keeps its hue."""
    night = at_night(shown)
    if _contrast(shown, _PAPER) >= _SEEN + 0.5:
        assert _contrast(night, _NIGHT) >= _SEEN
    (_, chroma, hue), (_, there, now) = _oklch(shown), _oklch(night)
    if chroma > 0.05 and there > 0.05:
        assert abs(np.angle(np.exp(1j * (now - hue)))) < 0.15


@pytest.mark.parametrize("name", ["INK", "MUTED", "AIM", "STREAK", "SERIES"])
def test_the_inks_of_figures_stand_out_at_night(name):
    """Each is seen on dark paper."""
    assert _contrast(at_night(getattr(theme, name)), _NIGHT) >= _SEEN


def test_verdicts_have_the_colours_of_the_pages(desk_css):
    """Verdicts, paper and ink in a figure are those of the dark page around it."""
    day, night = desk_css
    for style in theme.VERDICTS.values():
        assert (style.colour, at_night(style.colour)) == (day[f"--{style.css}"], night[f"--{style.css}"])
        tint = f"--{style.css}-tint"
        assert (style.tint, at_night(style.tint)) == (day[tint], night[tint])
    assert (at_night(day["--ink"]), at_night(day["--paper"])) == (night["--ink"], night["--paper"])
    assert at_night(day["--wish"]) == night["--wish"]


def test_night_is_added_and_nothing_taken():
    """The colours stand in a style of the dark theme; without it the text is the very one that was kept."""
    svg = '<svg viewBox="0 0 1 1"><path style="fill: #ffffff; stroke: #1d2126"/><image href="data:,#ffffff"/></svg>'
    made = with_night(svg).decode()
    style = re.search("<style>.*</style>", made)[0]
    assert made.replace(style, "") == svg
    assert style.startswith("<style>@media (prefers-color-scheme: dark)")
    assert '[style*="fill: #ffffff"], [fill="#ffffff"] { fill: #14171a !important }' in style
    assert '[stroke="#1d2126"] { stroke: #d9dde2 !important }' in style
    assert with_night("<svg></svg>") == b"<svg></svg>"


def test_greys_of_film_stay_at_night():
    """The scale of greys names its greys so that no theme changes them; its paper and its words change."""
    scale = draw_scale()
    style = re.search("<style>.*</style>", with_night(scale).decode())[0]
    assert set(re.findall(r"#[0-9a-f]{6}", style)) == {"#ffffff", "#14171a", "#1d2126", "#d9dde2"}
    assert 'fill="rgb(255,255,255)"' in scale


@pytest.fixture
def desk_css():
    """The colours of pages by name, by day and at night."""
    from wideroll.server.static_files import STATIC  # noqa: PLC0415

    text = (STATIC / "desk.css").read_text()
    day, night = text.split("@media screen and (prefers-color-scheme: dark)", 2)[:2]
    return tuple(dict(re.findall(r"(--[a-z-]+): (#[0-9a-f]{6})", one)) for one in (day, night))
