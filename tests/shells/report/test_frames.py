"""Where a picture's scales lie, for what is laid over it."""

import re

import pytest

from wideroll.report.cut_head import CutHead, CutStatus
from wideroll.report.cut_picture import cut_frame, draw_cut
from wideroll.roll import Extent
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
