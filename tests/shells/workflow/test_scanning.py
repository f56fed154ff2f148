"""A raster to a scan of its roll: what is lost, where lines lie, several channels, and other rolls' scans."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from wideroll.errors import InputError
from wideroll.roll import Extent, Polarity
from wideroll.scan import LinePlaces, ScanSettings, Streak, StreakOrigin
from wideroll.workflow import OtherScan, fit_to_roll, scan_web, scanned_m, search_repeats, tell_origins
from wideroll.workflow.scanning import check_length

SLOWED = LinePlaces(lines=(0.0, 250.0, 500.0), metres=(0.0, 1.0, 1.5))


def _web(dark: int, *, other: int | None = None) -> np.ndarray:
    """A spot on even noise, and one elsewhere."""
    web = np.random.Generator(np.random.PCG64(5)).normal(150.0, 2.0, (500, 400))
    web[dark : dark + 3, 150:154] = 60.0
    if other is not None:
        web[other : other + 3, 250:254] = 60.0
    return np.rint(web).astype(np.uint8)


def test_lost_lines_end_no_scan(raster, progress) -> None:
    """What can be read is scanned; lost lines are not looked at, count as work done, and are told in one line."""
    result = scan_web(raster(lost=(300, 400)), progress=progress)
    assert result.lines == 500
    assert sum(progress.told[1:-1]) == 500
    assert progress.notes == ["segment-2.tif is cut off: lines 300 to 400"]
    (lost,) = [part for part in result.coverage.unseen if part.why == "segment-2.tif is cut off"]
    assert (lost.extent.along_from_m, lost.extent.along_to_m) == pytest.approx((1.2, 1.6))


def test_lines_that_nobody_saw_hide_no_turns(raster) -> None:
    """A search for series knows that nothing could be seen there."""
    found = search_repeats(scan_web(raster(lost=(300, 400))), (), 2.0)
    assert np.array(found.observed) == pytest.approx(np.array([[0.0, 1.2], [1.6, 2.0]]))


@pytest.mark.parametrize("breaks_at", [None, 300])
def test_the_raster_is_closed_however_the_scan_ends(raster, breaks_at) -> None:
    """The files behind a raster are let go at the end, and when one breaks."""
    web = raster(breaks_at=breaks_at)
    try:
        scan_web(web)
    except InputError:
        assert breaks_at is not None
    assert web.closed == ["closed"]


def test_the_overview_is_handed_on_as_it_comes(raster, results) -> None:
    """Its rows come during the scan, its size last; put together they are the result's own overview."""
    overview = results.overview("x")
    found = scan_web(raster(), overview=overview)
    assert len(overview.rows) > 1
    assert np.concatenate(overview.rows)[:, : found.overview.mean.shape[1]] == pytest.approx(
        found.overview.mean, nan_ok=True
    )
    assert overview.told == [(found.overview.cell_m, found.overview.cell_mm, found.overview.extent)]


def test_a_broken_scan_leaves_no_overview(raster, results) -> None:
    """An overview of a scan that didn't end is given up."""
    overview = results.overview("x")
    with pytest.raises(InputError):
        scan_web(raster(breaks_at=300), overview=overview)
    assert overview.told == ["abandon"]


def test_a_desk_keeps_the_overview_with_the_scan(desk, files, results) -> None:
    """The overview of a roll's scan goes where its results go."""
    desk(files).scan()
    assert len(results.overviews["scan-1"].told) == 1


def test_places_are_the_encoders(raster, whole) -> None:
    """Where an encoder counted, marks, the end of the scan and what it left unseen lie where it says."""
    found = scan_web(raster(rows=_web(375), places=SLOWED))
    assert found.marks["along_m"].to_list() == pytest.approx([1.253], abs=0.002)
    assert scanned_m(found) == pytest.approx(1.5)
    rest = fit_to_roll(found, whole).coverage.unseen[-1]
    assert (rest.why, rest.extent.along_from_m) == ("the scan ends before the roll does", pytest.approx(1.5))
    assert search_repeats(found, (), 2.0).observed == ((0.0, pytest.approx(1.5)),)


def test_a_scan_longer_than_its_roll_by_its_encoder_is_refused(raster, whole) -> None:
    """The encoder's length counts, not lines × pitch."""
    check_length(raster(lines=1000, places=SLOWED), replace(whole, along_to_m=2.5), roll="T-1")
    with pytest.raises(InputError, match="field encoder"):
        check_length(raster(lines=1000, places=SLOWED), whole, roll="T-1")


def test_channels_are_scanned_in_one_pass(raster, progress) -> None:
    """Each channel is scanned by itself while the raster is read once; the marks of both are in the result."""
    rows = np.stack([_web(100), _web(100, other=300)], axis=2)
    web = raster(rows=rows, channel_names=("infrared", "red"))
    found = scan_web(web, progress=progress)
    assert web.closed == ["closed"]
    assert sum(progress.told[1:-1]) == 500
    assert found.marks["source"].to_list() == ["line-1", "line-1 red"]
    assert [(one.name, one.marks, one.alone) for one in found.channels] == [("infrared", 1, 0), ("red", 2, 1)]


def test_channels_lose_the_same_lines(raster) -> None:
    """Lost lines are lost to all channels, and listed once."""
    rows = np.stack([_web(100), _web(100)], axis=2)
    found = scan_web(raster(rows=rows, channel_names=("infrared", "red"), lost=(300, 400)))
    assert [part.why for part in found.coverage.unseen].count("segment-2.tif is cut off") == 1


def test_crops_that_are_asked_for_are_made(raster) -> None:
    """A mark that isn't among the most severe is cropped when it is named."""
    settings = ScanSettings(source="line-1", chips_per_kind=1)
    web = raster(rows=_web(100, other=300))
    (kept,) = (chip.mark for chip in scan_web(web, settings=settings).chips)
    (other,) = set(scan_web(web, settings=settings).marks["id"]) - {kept}
    asked = scan_web(web, settings=settings, chips_of=[other])
    assert {chip.mark for chip in asked.chips} == {kept, other}


@dataclass
class FakeOthers:
    """Other rolls' scans; who was asked for is kept."""

    scans: tuple[OtherScan, ...]
    asked: list[str]

    def by(self, scanner: str) -> tuple[OtherScan, ...]:
        """All of them."""
        self.asked.append(scanner)
        return self.scans


@pytest.fixture
def streak(whole: Extent) -> Streak:
    """A line that may be the scanner's."""
    return Streak(
        extent=replace(whole, across_from_mm=50.0, across_to_mm=51.0),
        across_mm=50.5,
        width_mm=1.0,
        contrast=-0.02,
        contrast_low=-0.025,
        contrast_high=-0.015,
        snr=90.0,
        polarity=Polarity.DARK,
        whole_length=True,
        column=168.0,
        origin=StreakOrigin.UNDECIDED,
    )


def _other(*streaks: Streak, columns: int = 400) -> OtherScan:
    return OtherScan(
        roll="T-2",
        fingerprint="scan-of-T-2",
        streaks=streaks,
        length_m=2.0,
        columns=columns,
        pitch_mm=(4.0, 0.3),
        streak_snr=7.0,
    )


def test_other_rolls_tell_whose_a_streak_is(raster, streak) -> None:
    """A line that another roll's scan shows too is the scanner's; one that it doesn't show is the web's."""
    found = replace(scan_web(raster()), streaks=(streak,))
    for other, origin in ((_other(streak), StreakOrigin.SCANNER), (_other(), StreakOrigin.WEB)):
        others = FakeOthers((other,), [])
        (told,) = tell_origins(found, others).streaks
        assert (told.origin, others.asked) == (origin, ["line-1"])


def test_without_comparable_rolls_a_streak_stays_undecided(raster, streak) -> None:
    """No other rolls, none by this scanner, or one of another width tell nothing; a decided streak asks nobody."""
    found = replace(scan_web(raster()), streaks=(streak,))
    for others in (None, FakeOthers((), []), FakeOthers((_other(streak, columns=300),), [])):
        assert tell_origins(found, others) is found
    decided = replace(found, streaks=(replace(streak, origin=StreakOrigin.WEB),))
    others = FakeOthers((_other(streak),), [])
    assert tell_origins(decided, others) is decided
    assert others.asked == []
