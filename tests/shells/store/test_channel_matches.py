"""What several channels show is kept with the scan."""

from pathlib import Path

import numpy as np
import pytest

from wideroll.scan import ScanResult, ScanSettings, find_marks, match_channels
from wideroll.store import ResultsFolder


def _scan(source: str, *lines: int) -> ScanResult:
    web = np.random.Generator(np.random.PCG64(lines[0])).normal(150.0, 2.0, (400, 200))
    for line in lines:
        web[line : line + 4, 80:84] = 60.0
    return find_marks(np.rint(web).astype(np.uint8), (0.3, 0.3), ScanSettings(source=source))


@pytest.fixture
def both() -> ScanResult:
    """A scan of two channels with one mark in common."""
    return match_channels([("infrared", _scan("line-1", 100)), ("red", _scan("line-1 red", 100, 300))])


def test_matches_come_back_as_they_were(tmp_path: Path, both: ScanResult) -> None:
    """Channels and the table of matches are the same after keeping."""
    results = ResultsFolder(tmp_path)
    results.save_scan(both, "a")
    kept = results.load_scan("a")
    assert kept is not None
    assert kept.channels == both.channels
    assert kept.channel_matches is not None
    assert both.channel_matches is not None
    assert kept.channel_matches.equals(both.channel_matches)
    assert kept.channel_matches.height == 1


def test_a_scan_of_one_channel_leaves_no_old_matches(tmp_path: Path, both: ScanResult) -> None:
    """Matches of an earlier scan are taken away; matches that were changed make the scan stale."""
    results = ResultsFolder(tmp_path)
    results.save_scan(both, "a")
    path = tmp_path / "channel-matches.parquet"
    path.write_bytes(path.read_bytes()[:-1])
    assert results.load_scan("a") is None
    results.save_scan(_scan("line-1", 100), "b")
    kept = results.load_scan("b")
    assert not path.exists()
    assert kept is not None
    assert (kept.channels, kept.channel_matches) == ((), None)
