"""Lines that nobody can read are not looked at, and everything around them is."""

import numpy as np
import pytest

from wideroll.scan import LostLines, MarkFinder, ScanResult

PITCH = (0.3, 0.3)


def _web(lines: int) -> np.ndarray:
    web = np.random.Generator(np.random.PCG64(2)).normal(150.0, 2.0, (lines, 300))
    web[200:204, 150:154] = web[2600:2604, 150:154] = 60.0
    return np.rint(web).astype(np.uint8)


def _scan(*parts: np.ndarray | LostLines) -> ScanResult:
    finder = MarkFinder(300, PITCH, np.uint8)
    for part in parts:
        if isinstance(part, LostLines):
            finder.lose(part)
        else:
            finder.feed(part)
    return finder.finish()


def test_lost_lines_are_not_looked_at() -> None:
    """Just the lost lines are unseen over the whole width, with why; marks before and after keep their places."""
    web = _web(3000)
    found = _scan(web[:1000], LostLines(lines=500, why="segment-2.tif is cut off"), web[1500:])
    (lost,) = [part for part in found.coverage.unseen if part.why == "segment-2.tif is cut off"]
    assert (lost.extent.along_from_m, lost.extent.along_to_m) == pytest.approx((0.3, 0.45))
    assert (lost.extent.across_from_mm, lost.extent.across_to_mm) == (0.0, found.web_width_mm)
    assert found.lines == 3000
    assert found.marks["along_m"].to_list() == pytest.approx([202 * 0.0003, 2602 * 0.0003], abs=0.0003)


def test_losses_for_one_reason_are_one_part() -> None:
    """Losses that follow one another for one reason are one part, those for another reason another."""
    web = _web(2000)
    losses = [LostLines(lines=n, why=why) for n, why in ((300, "a is cut off"), (200, "a is cut off"), (100, "gap"))]
    found = _scan(web[:1000], *losses, web[1600:])
    lost = [part for part in found.coverage.unseen if part.why in {"a is cut off", "gap"}]
    assert [(part.why, round(part.extent.length_m, 6)) for part in lost] == [("a is cut off", 0.15), ("gap", 0.03)]


def test_a_raster_lost_at_its_end_reaches_its_end() -> None:
    """Lines lost at the tail count to the scan's length, so that they are missed."""
    found = _scan(_web(3000)[:1000], LostLines(lines=2000, why="cut off"))
    (web,) = found.coverage.seen
    assert (found.lines, web.along_to_m) == (3000, pytest.approx(0.9))
    assert found.coverage.share(web) == pytest.approx(1 / 3, abs=0.05)
