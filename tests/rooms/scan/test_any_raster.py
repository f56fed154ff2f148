"""Whatever the pixels are, there is a result that holds together."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.roll import check_marks
from wideroll.scan import ScanSettings, find_marks


def strange(kind, lines, columns, seed, dtype):
    """Rasters that no web gives."""
    rng = np.random.Generator(np.random.PCG64(seed))
    top = int(np.iinfo(dtype).max)
    i, j = np.indices((lines, columns))
    made = {
        "noise": lambda: rng.integers(0, top + 1, (lines, columns)),
        "board": lambda: (i + j) % 2 * top,
        "slope": lambda: i * top // max(lines - 1, 1),
        "stripes": lambda: (j // 3 % 2) * (top // 2) + top // 4,
        "bars": lambda: (i // 5 % 2) * (top // 2) + top // 4,
        "half": lambda: np.where(i < lines // 2, 0, top),
        "sparse": lambda: np.where(rng.random((lines, columns)) < 0.01, top, top // 2),
        "levels": lambda: np.full((lines, columns), rng.integers(0, top + 1)) + rng.integers(0, 2, (lines, columns)),
        "block": lambda: np.where((i // 40 % 2 == 0) & (j > columns // 3), top // 2, 3),
    }
    return np.clip(made[kind](), 0, top).astype(dtype)


@settings(max_examples=120, deadline=None)
@given(
    kind=st.sampled_from(
        ["noise", "board", "slope", "stripes", "bars", "half", "sparse", "levels", "block"],
    ),
    lines=st.integers(1, 150),
    columns=st.integers(1, 150),
    seed=st.integers(0, 100),
    dtype=st.sampled_from([np.uint8, np.uint16]),
    find_edges=st.booleans(),
)
def test_any_raster_gives_a_result_that_holds_together(kind, lines, columns, seed, dtype, find_edges):
    """Marks lie on the web with sizes above 0, the coverage is a share, and nothing fails."""
    use = ScanSettings(find_edges=find_edges, block_m=0.02, overview_cell_mm=2.0, streak_least_m=0.04)
    found = find_marks(strange(kind, lines, columns, seed, dtype), (0.4, 0.4), use)
    web = found.coverage.seen[0]
    marks = check_marks(found.marks)
    assert marks["along_m"].is_between(0.0, web.along_to_m).all()
    for name in ("length_mm", "width_mm", "area_mm2", "contrast", "snr"):
        assert (marks[name] > 0.0).all()
    assert 0.0 <= found.coverage.share(web) <= 1.0
    assert (found.lines, found.columns) == (lines, columns)
    assert all(streak.extent.area_m2 > 0.0 for streak in found.streaks)
