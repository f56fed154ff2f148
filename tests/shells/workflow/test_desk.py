from dataclasses import replace

import pytest

from wideroll.errors import InputError
from wideroll.release import Verdict
from wideroll.workflow import Batch, assess_roll


def test_a_scan_is_computed_once_and_kept(desk, files, results, progress) -> None:
    """The first time the web is scanned and the result kept; the next time it comes from there, untouched."""
    first = desk(files, progress=progress).scan()
    assert list(results.scans) == ["scan-1"]
    watched = len(progress.told)
    assert watched > 0
    again = desk(files, progress=progress).scan()
    assert again is results.scans["scan-1"]
    assert again is first
    assert len(progress.told) == watched


def test_a_stale_scan_is_computed_anew(desk, files, results) -> None:
    """A result of other inputs isn't taken, and isn't lost."""
    old = desk(files).scan()
    new = desk(files, scan="scan-2").scan()
    assert new is not old
    assert set(results.scans) == {"scan-1", "scan-2"}


def test_a_kept_scan_is_fitted_to_the_roll_of_today(desk, files, results) -> None:
    """Results keep what the scanner saw; what a longer roll leaves unseen is added when they are used."""
    desk(files).scan()
    files.the_card = replace(files.the_card, length_m=3.0)
    unseen = desk(files).scan().coverage.unseen
    assert unseen[-1].why == "the scan ends before the roll does"
    assert unseen[-1] not in results.scans["scan-1"].coverage.unseen


def test_a_scan_that_breaks_is_not_kept(desk, files, results, raster) -> None:
    """A segment that can't be read leaves no result behind."""
    files.the_raster = raster(breaks_at=300)
    with pytest.raises(InputError):
        desk(files).scan()
    assert results.scans == {}


def test_series_are_searched_once_and_kept(desk, files, results) -> None:
    """The search is kept under its own fingerprint; without a scan it is empty and not kept."""
    hand = desk(files)
    found = hand.repeats(hand.scan())
    assert results.searches == {"repeats-scan-1": found}
    assert desk(files).repeats(hand.scan()) is found
    other = desk(files, scan="scan-2")
    assert len(other.repeats(None)) == 0
    assert set(results.searches) == {"repeats-scan-1"}


def test_a_good_roll_is_released_and_cut(desk, files) -> None:
    """With every piece of evidence good, the roll is released and all of it between the trims is cut."""
    assessed = assess_roll(desk(files))
    assert assessed.decision.verdict is Verdict.RELEASE
    assert sum(piece.extent.length_m for piece in assessed.plan.pieces) == pytest.approx(6.0)


def test_a_roll_nobody_measured_is_held(desk, bare_files) -> None:
    """No scan, no strips, no sheets: the roll is on hold as a whole, nothing fails, and nothing is cut."""
    assessed = assess_roll(desk(bare_files))
    assert (assessed.scan, assessed.strip_room.results, assessed.examination.sheets) == (None, (), ())
    assert assessed.decision.verdict is Verdict.HOLD
    assert assessed.decision.released_share == 0.0
    assert assessed.plan.pieces == ()


@pytest.mark.parametrize("fault", ["strips", "sheets", "sightings"])
def test_quick_evidence_is_read_before_the_long_scan(desk, files, results, fault: str) -> None:
    """A fault in strips or sheets shows before a pixel is read."""
    files.fault = fault
    with pytest.raises(InputError, match=fault):
        assess_roll(desk(files))
    assert "raster" not in files.asked
    assert results.scans == {}


@pytest.mark.parametrize("all_criteria", [True, False])
def test_a_stretch_of_no_batch_is_never_released(desk, files, product, all_criteria: bool) -> None:  # noqa: FBT001
    """A gap between batches is held and in no piece, whatever the product's criteria ask."""
    gap = (0.8, 1.1)
    files.the_card = replace(
        files.the_card,
        batches=(
            Batch(name="E-1", along_from_m=0.0, along_to_m=gap[0]),
            Batch(name="E-2", along_from_m=gap[1], along_to_m=2.0),
        ),
    )
    if not all_criteria:
        files.the_product = replace(product, criteria=product.criteria[:1])
    assessed = assess_roll(desk(files))
    assert assessed.decision.verdict is Verdict.HOLD
    held = [r.extent for r in assessed.decision.regions if r.verdict is Verdict.HOLD]
    assert {(extent.along_from_m, extent.along_to_m) for extent in held} == {gap}
    assert "no batch claims this stretch" in {item.why for item in assessed.decision.missing}
    assert assessed.plan.pieces
    for piece in assessed.plan.pieces:
        assert piece.extent.meet(held[0]) is None


def test_a_void_run_holds_its_batch_alone(desk, files, strip) -> None:
    """A void process run holds the batch whose only strip ran in it; the other batch may be cut."""
    files.the_strips = (
        *(strip("S-1", "P1", 0.5), strip("ref-1", "P1")),
        *(strip("S-2", "P2", 1.5), strip("ref-2", "P2", fog=0.3)),
    )
    assessed = assess_roll(desk(files))
    assert assessed.decision.verdict is Verdict.HOLD
    assert {r.extent.along_from_m for r in assessed.decision.regions} == {1.0}
    assert any("1.50 m" in item.mend for item in assessed.decision.missing)
    assert {piece.extent.along_to_m for piece in assessed.plan.pieces} == {1.0}


def test_a_slow_batch_is_held(desk, files, strip) -> None:
    """A batch 0.5 log H slower than its aim is beyond the limit of 0.3, and only that batch."""
    files.the_strips = (strip("S-1", along_m=0.5), strip("S-2", along_m=1.5, slower=0.5), strip("ref-1"))
    assessed = assess_roll(desk(files))
    assert {r.extent.along_from_m for r in assessed.decision.regions} == {1.0}
    found = {f.extent.along_from_m: f.found for f in assessed.decision.findings if f.criterion == "Speed"}
    assert found[1.0] == pytest.approx(0.5, abs=0.02)


def test_a_part_beside_the_scanner_is_not_cut(desk, files, raster, product) -> None:
    """A scan 117 mm wide of a 120 mm web may cover enough for its criterion, yet no piece leaves its field."""
    files.the_raster = raster(columns=390)
    files.the_product = replace(
        product,
        widths=(replace(product.widths[0], width_mm=40.0),),
        cut_rules=replace(product.cut_rules, edge_trim_mm=0.0),
    )
    assessed = assess_roll(desk(files))
    assert assessed.decision.verdict is Verdict.RELEASE
    assert len(assessed.plan.pieces) == 2
    assert max(piece.extent.across_to_mm for piece in assessed.plan.pieces) <= 117.0


@pytest.mark.parametrize(
    ("shape", "field", "value"),
    [
        ({"columns": 300}, "pitch_across", "90.0 mm"),
        ({"columns": 440}, "pitch_across", "132.0 mm"),
        ({"lines": 550}, "", "2.2"),
    ],
    ids=["too narrow", "too wide", "too long"],
)
def test_a_scan_of_another_size_than_its_roll_is_refused(
    desk, files, raster, shape: dict[str, int], field: str, value: str
) -> None:
    """A scan that is wider, narrower or longer than the roll is of another roll or has another pitch: places lie."""
    files.the_raster = raster(**shape)
    with pytest.raises(InputError) as caught:
        assess_roll(desk(files))
    assert "rolls/T-1/scan/scan.toml" in caught.value.where
    assert field in caught.value.where
    assert value in str(caught.value.value)


def test_the_same_evidence_gives_the_same_decision(desk, files) -> None:
    """Assessing twice, from the raster and from kept results, finds the same."""
    first, second = assess_roll(desk(files)), assess_roll(desk(files))
    assert first.decision.findings == second.decision.findings
    assert first.plan == second.plan
