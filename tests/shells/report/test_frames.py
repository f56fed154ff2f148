"""Where a picture's scales lie, for what is laid over it."""

import re

import numpy as np
import pytest

from wideroll.report.curves import curves_frame, draw_curves
from wideroll.report.cut_head import CutHead, CutStatus
from wideroll.report.cut_picture import cut_frame, draw_cut
from wideroll.roll import Extent
from wideroll.sensitometry import Record, Strip, StripKind, measure_strip
from wideroll.slitting import Avoid, ByMetre, KnifeAt, SlitWidth, plan_cut


@pytest.fixture
def plan():
    """A cut with a knife wished for, so that a line is drawn at a known place across."""
    web = Extent(along_from_m=0.0, along_to_m=100.0, across_from_mm=0.0, across_to_mm=122.0)
    streak = Extent(along_from_m=60.0, along_to_m=100.0, across_from_mm=50.0, across_to_mm=52.0)
    width = SlitWidth(name="35 mm", width_mm=34.975, tolerance_mm=0.025, finish=ByMetre(value_per_m=1.0))
    return plan_cut(
        web, avoid=[Avoid(extent=streak, reason="streak")], widths=[width], wishes=[KnifeAt(across_mm=43.0)]
    )


def test_the_frame_is_where_the_picture_has_the_web(plan):
    """The line of a knife that the picture draws lies where the frame says, to half a pixel."""
    head = CutHead(roll="T-1", status=CutStatus.RELEASED)
    svg, frame = draw_cut(plan, head), cut_frame(plan, head)
    wide, tall = (float(one) for one in re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg).groups())
    x_from, x_to = frame.left * wide, (frame.left + frame.width) * wide
    y = tall * (frame.top + frame.height * (1.0 - (43.0 - frame.y_from) / (frame.y_to - frame.y_from)))
    lines = [[float(n) for n in found] for found in re.findall(r'd="M ([\d.]+) ([\d.]+) *L ([\d.]+) ([\d.]+)', svg)]
    assert any(line == pytest.approx([x_from, y, x_to, y], abs=0.5) for line in lines)


@pytest.mark.parametrize("wide", [False, True])
def test_the_frame_is_where_the_picture_has_the_curves(wide):
    """A reading that the picture marks lies where the frame says, to half a pixel, and both scales are equal."""
    log_h = np.round(np.arange(-3.0, 0.01, 0.15), 3)
    density = 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (log_h + 1.2)))
    strip = Strip(name="S-1", kind=StripKind.CHECK, run="P1", log_h=log_h, density={Record.VISUAL: density})
    result = measure_strip(strip, None)
    svg, frame = draw_curves(result, None, wide=wide), curves_frame(result, None, wide=wide)
    width, height = (float(one) for one in re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', svg).groups())
    per_x = frame.width * width / (frame.x_to - frame.x_from)
    per_y = frame.height * height / (frame.y_to - frame.y_from)
    assert per_x == pytest.approx(per_y, rel=1e-4)
    at = (
        frame.left * width + per_x * (log_h[10] - frame.x_from),
        frame.top * height + per_y * (frame.y_to - density[10]),
    )
    marks = [(float(x), float(y)) for x, y in re.findall(r'<use [^>]*x="([\d.]+)" y="([\d.]+)"', svg)]
    assert any(mark == pytest.approx(at, abs=0.5) for mark in marks)
