from dataclasses import replace

import numpy as np
import pytest

from wideroll.errors import InputError
from wideroll.examination import FilterColour, Origin, Reliability, Seen, SheetLook
from wideroll.roll import Unseen
from wideroll.workflow import (
    examine_sheets,
    fit_to_roll,
    judge_strips,
    scan_web,
    search_repeats,
    whole_web,
)


@pytest.fixture(scope="module")
def scan(raster):
    """The scan of the whole roll."""
    return scan_web(raster())


def test_the_roll_as_a_rectangle(whole) -> None:
    """A roll reaches from its head to its length, and from edge to edge."""
    assert whole_web(2.0, 120.0) == whole


def test_progress_is_told_in_lines(raster, progress) -> None:
    """Whoever watches a scan is told its lines, each block, and the end; the scanner's name goes with the marks."""
    result = scan_web(raster(), progress=progress)
    assert progress.told[0] == ("scan", 500, "lines")
    assert sum(progress.told[1:-1]) == 500
    assert progress.told[-1] == "finish"
    assert result.settings.source == "line-1"


def test_progress_ends_when_a_segment_breaks(raster, progress) -> None:
    """A raster that can't be read to its end gives its error, and the bar is taken away."""
    with pytest.raises(InputError, match=r"segment-2\.tif"):
        scan_web(raster(breaks_at=300), progress=progress)
    assert sum(progress.told[1:-1]) == 320
    assert progress.told[-1] == "finish"


def test_a_scan_of_the_whole_roll_stays_as_it_is(scan, whole) -> None:
    """A scan as long and wide as the roll, or longer, or short by less than a line, has nothing to add."""
    for length_m in (whole.along_to_m, whole.along_to_m - 0.5, whole.along_to_m + 0.003):
        assert fit_to_roll(scan, replace(whole, along_to_m=length_m)) is scan


def test_a_scan_that_ends_early_leaves_the_rest_unseen(scan, whole) -> None:
    """What lies after the scan's last line is listed as unseen over the full width."""
    longer = replace(whole, along_to_m=2.5)
    unseen = fit_to_roll(scan, longer).coverage.unseen
    rest = Unseen(extent=replace(longer, along_from_m=2.0), why="the scan ends before the roll does")
    assert unseen == (*scan.coverage.unseen, rest)
    assert fit_to_roll(scan, longer).coverage.share(longer) == pytest.approx(0.8, abs=0.001)


def test_a_scan_narrower_than_the_web_leaves_the_rest_unseen(scan, whole) -> None:
    """A lane beside the scanner's field is listed as unseen over the full length."""
    wider = replace(whole, across_to_mm=160.0)
    (rest,) = fit_to_roll(scan, wider).coverage.unseen[len(scan.coverage.unseen) :]
    assert rest.extent == replace(wider, across_from_mm=120.0)
    assert rest.why == "outside the scanner's field"


def test_a_void_run_spoils_its_strips_alone(strip, product) -> None:
    """Check strips of a run whose reference is off are measured but unusable; those of another run stand."""
    strips = (
        *(strip("S-1", "P1", 0.5), strip("ref-1", "P1", fog=0.2)),
        *(strip("S-2", "P2", 1.5), strip("ref-2", "P2", fog=0.02)),
    )
    room = judge_strips(strips, product)
    assert [(run.run, run.usable) for run in room.runs] == [("P1", False), ("P2", True)]
    first, second = room.results
    assert (first.strip.name, first.usable) == ("S-1", False)
    assert "process run P1 is void" in first.why
    assert first.measures
    assert (second.strip.name, second.usable, second.why) == ("S-2", True, "")


def test_a_run_without_a_reference_is_void(strip, product) -> None:
    """Nobody can believe a run that no reference strip went through."""
    room = judge_strips((strip("S-1", "P1", 0.5),), product)
    assert not room.results[0].usable
    assert "no reference strip" in room.results[0].why


def test_the_process_is_taken_off(strip, product) -> None:
    """Fog that check and reference share is the process's: the corrected strip is on its aim."""
    room = judge_strips((strip("S-1", "P1", 0.5, fog=0.03), strip("ref-1", "P1", fog=0.03)), product)
    (deviation,) = room.results[0].deviations
    assert deviation.dmin_density.value == pytest.approx(0.0, abs=0.01)


def test_no_strips_is_an_empty_room(product) -> None:
    """A roll without strips has an empty strip room."""
    room = judge_strips((), product)
    assert (room.strips, room.runs, room.results) == ((), (), ())


def test_sheets_without_a_scan_are_not_matched(sheet, sighting) -> None:
    """Without a scan, nothing is matched and nobody says that the scanner saw nothing."""
    found = examine_sheets((sheet,), (sighting(wipes_off=True),), None)
    assert found.matching is None
    assert found.examined[0].origin.why == "it wipes off"


def test_a_blind_scanner_says_nothing(sheet, sighting, scan) -> None:
    """Where the scanner did not look, its silence isn't held to mean that nothing was there."""
    hole = Unseen(extent=sheet.extent, why="frozen")
    blind = replace(scan, coverage=replace(scan.coverage, unseen=(hole,)))
    told = [examine_sheets((sheet,), (sighting(wipes_off=True),), s).examined[0].origin.why for s in (scan, blind)]
    assert ["the scanner saw nothing there" in why for why in told] == [True, False]


def test_sheets_with_a_scan_are_matched(sheet, sighting, scan) -> None:
    """With a scan that shows nothing there, what wipes off came later, and the matching is kept."""
    found = examine_sheets((sheet,), (sighting(wipes_off=True),), scan)
    assert found.matching is not None
    assert found.examined[0].origin.origin is Origin.HANDLING


def test_what_two_looks_saw_counts_once(sheet, sighting, scan) -> None:
    """A thing seen twice is one, with both statements kept; matching and origin go by things."""
    looks = (SheetLook(name="R1", sheet="A", examiner="examiner B", blind=True),)
    both = (sighting(embedded=True), sighting(embedded=True, grade="2", look="R1"))
    found = examine_sheets((sheet,), both, scan, looks=looks)
    (one,) = found.examined
    assert one.seen == both
    assert one.sighting.grade == ""
    assert found.matching.only_examiner == (0,)
    assert found.looks == looks


def test_looks_that_differ_about_handling_count(sheet, sighting) -> None:
    """What one look wiped off and another found embedded is undecided, so that it counts against the film."""
    (one,) = examine_sheets((sheet,), (sighting(wipes_off=True), sighting(embedded=True, look="R1")), None).examined
    assert one.origin.origin is Origin.UNDECIDED
    assert one.origin.why == "the looks differ: handling (it wipes off); web (it is embedded)"


def test_each_examiner_s_own_reliability_counts(sheet, sighting) -> None:
    """The layer is located with the reliability of whoever looked, and with the usual one of others."""
    through = {FilterColour.RED: Seen.DARKER, FilterColour.GREEN: Seen.SAME, FilterColour.BLUE: Seen.SAME}
    seen = (sighting(through=through), sighting(through=through, look="R1", size_mm=0.5))
    looks = (SheetLook(name="R1", sheet="A", examiner="examiner B", blind=True),)
    sure = {"examiner B": Reliability(filters=0.01)}
    usual, own = (examine_sheets((sheet,), (one,), None, looks=looks, reliability=sure).examined[0] for one in seen)
    assert max(own.layer.probability.values()) > max(usual.layer.probability.values())


def test_no_sheets_is_an_empty_examination() -> None:
    """A roll without sheets has an empty examination."""
    found = examine_sheets((), (), None)
    assert (found.sheets, found.examined, found.matching) == ((), (), None)


def test_repeats_need_a_scan(scan) -> None:
    """Without a scan there are no series, and it is said that nothing was observed."""
    none = search_repeats(None, (), 2.0)
    assert (len(none), none.marks, none.observed) == (0, 0, ())
    found = search_repeats(scan, (), 2.0)
    assert found.observed == ((0.0, pytest.approx(2.0)),)


def test_a_scan_longer_than_its_roll_is_searched_to_its_end(scan) -> None:
    """A scanner that ran on past the roll's length is no error; a shorter one is searched as far as it went."""
    for length_m in (1.0, 3.0):
        found = search_repeats(scan, (), length_m)
        assert np.isclose(found.observed[0][1], 2.0)
