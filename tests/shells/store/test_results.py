"""Results come back exactly as they were saved, and only while their inputs are the same."""

import math
from dataclasses import dataclass, fields, replace

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.examination.model import Layer, LayerPosterior, Match, Matching
from wideroll.release.model import (
    Consequence,
    Criterion,
    Decision,
    Finding,
    Measurand,
    Missing,
    Reason,
    RegionVerdict,
    Verdict,
)
from wideroll.repeats.model import Candidate, Series, SeriesSearch, SeriesSettings
from wideroll.roll import MARKS_SCHEMA, Coverage, Extent, Polarity, Unseen, empty_marks, mark_id
from wideroll.sampling.model import RateLimits
from wideroll.scan import (
    Band,
    Chip,
    LinePlaces,
    MottleScale,
    Overview,
    ScanResult,
    ScanSettings,
    Splice,
    Streak,
    StreakOrigin,
)
from wideroll.scan.detection import (
    ContrastUnit,
    DetectionClass,
    DetectionCurve,
    DetectionResult,
    DetectionTrial,
    FitMethod,
)
from wideroll.slitting.model import Avoid, ByMetre, CutPlan, CutRules, Loss, Piece, Run, SlitWidth
from wideroll.store import Damage, ResultsFolder, open_pyramid, scan_files

_WHOLE = Extent(along_from_m=0, along_to_m=42.5, across_from_mm=0.1, across_to_mm=1380.0)
_COVERAGE = Coverage(seen=(_WHOLE,), unseen=(Unseen(extent=_WHOLE, why="splice – “taped”"),))
_CRITERION = Criterion(
    name="spots",
    measurand=Measurand.MARK_RATE,
    limit=1.5,
    unit="per m²",
    consequence=Consequence.HOLD,
    kinds=("spot",),
)
_FINDING = Finding(
    criterion="spots",
    extent=_WHOLE,
    limit=1.5,
    found=0.1 + 0.2,
    low=0.0,
    high=math.inf,
    margin=-math.inf,
    unit="per m²",
    verdict=Verdict.HOLD,
    reason=Reason.NOT_PROVEN,
    why="too little was looked at",
    source="scan",
)
_DECISION = Decision(
    verdict=Verdict.HOLD,
    why="one criterion isn't proven",
    findings=(_FINDING,),
    regions=(RegionVerdict(extent=_WHOLE, verdict=Verdict.HOLD, findings=(0,), why="spots"),),
    missing=(Missing(subject="strips", extent=_WHOLE, void=True, why="void run", mend="Expose another."),),
    coverage={"sheets": _COVERAGE, "scan": _COVERAGE},
    released_share=0.0,
    criteria=(_CRITERION,),
)
_PLAN = CutPlan(
    whole=_WHOLE,
    runs=(Run(along_from_m=0.0, along_to_m=42.5, lanes=(("35", 8.0, 42.975),)),),
    pieces=(Piece(number="1", width="35", extent=_WHOLE, value=46.75),),
    value=46.75,
    bound=47.0,
    optimal=False,
    losses=(Loss(reason="edge trim", area_m2=0.68),),
    cross_cut_candidates=2,
    widths=(SlitWidth(name="35", width_mm=34.975, tolerance_mm=0.025, finish=ByMetre(value_per_m=1.1)),),
    avoid=(Avoid(extent=_WHOLE, reason="streak"),),
    rules=CutRules(),
)
_SEARCH = SeriesSearch(
    series=(
        Series(
            spacing_m=0.942,
            spacing_low_m=0.9,
            spacing_high_m=math.nextafter(1.0, 2.0),
            phase_m=0.25,
            across_mm=238.125,
            extent=_WHOLE,
            members=(0, 3, 7),
            turns=(0, 1, 2),
            print_probability=1.0,
            drift=-0.0,
            log_evidence=5e-324,
            false_alarm=1e-300,
            candidates=(Candidate(roller="lay-on", probability=1.0, slip=0.0),),
        ),
    ),
    marks=12,
    lanes=3,
    trials=1000,
    length_m=42.5,
    observed=((0.0, 42.5),),
    settings=SeriesSettings(),
)
_MATCHING = Matching(
    matches=(Match(sighting=0, mark_id="28282b663903", distance_mm=0.5),),
    only_examiner=(1,),
    only_scanner=(),
    total=3.0,
    total_low=2.0,
    total_high=math.inf,
    hidden=1.0,
)
_POSTERIOR = LayerPosterior(probability={Layer.OPAQUE: 0.5, Layer.CYAN: 0.5}, excess=None)


@pytest.fixture
def results(tmp_path):
    """An empty results folder."""
    return ResultsFolder(tmp_path / "results" / "4711")


def _scan(marks=3):
    rows = [
        {
            "id": mark_id(source="line-1", along_m=n / 3, across_mm=100.0, polarity="dark"),
            "along_m": n / 3,
            "across_mm": 100.0,
            "length_mm": 0.3,
            "width_mm": 0.3,
            "area_mm2": 0.09,
            "contrast": 0.2,
            "snr": 9.0,
            "peak": 0.3,
            "elongation": 1.0,
            "angle_deg": 0.0,
            "ring": 0.05,
            "polarity": "dark",
            "kind": "spot",
            "rule": "no rule for another kind holds",
            "source": "line-1",
        }
        for n in range(marks)
    ]
    streak = Streak(
        extent=_WHOLE,
        across_mm=700.0,
        width_mm=1.0,
        contrast=-0.01,
        contrast_low=-0.02,
        contrast_high=-0.005,
        snr=8.0,
        polarity=Polarity.DARK,
        whole_length=False,
        column=2333.5,
        origin=StreakOrigin.SCANNER,
        why="another roll's scan has it in the same column",
    )
    cells = np.linspace(0.9, 1.1, 12, dtype=np.float32).reshape(4, 3)
    cells[0, 0] = np.nan
    return ScanResult(
        marks=pl.DataFrame(rows, schema=MARKS_SCHEMA) if rows else empty_marks(),
        streaks=(streak,),
        coverage=_COVERAGE,
        overview=Overview(mean=cells, worst=cells[::-1], cell_m=0.01, cell_mm=10.0, extent=_WHOLE),
        settings=ScanSettings(source="line-1"),
        pitch_mm=(0.3, 0.3),
        lines=141_666,
        columns=4600,
        web_width_mm=1380.0,
        noise=0.004,
        bands=(
            Band(extent=_WHOLE, period_mm=12.5, amplitude=0.004, amplitude_low=0.003, amplitude_high=0.005, snr=9.5),
        ),
        mottle=(MottleScale(size_mm=8.0, amplitude=0.002, amplitude_low=0.001, amplitude_high=0.003),),
        splices=(Splice(extent=_WHOLE, contrast=-0.3, dropped=False),),
        chips=tuple(
            Chip(mark=row["id"], pixels=np.full((4, 5), 7 * n, np.uint16), first_line=n, first_column=2)
            for n, row in enumerate(rows)
        ),
        places=LinePlaces(lines=(0.0, 100.0, 141_666.0), metres=(0.0, 0.03, 42.5)),
    )


def _save(results, scan, fingerprint):
    """As a scan does: the overview while it runs, the rest at its end."""
    writer = results.overview(fingerprint)
    writer.put(scan.overview.mean, scan.overview.worst)
    writer.finish(0.01, 10.0, _WHOLE)
    results.save_scan(scan, fingerprint)


def _files(results):
    files = [path for path in results.path.rglob("*") if path.is_file()]
    return {str(path.relative_to(results.path)): path.read_bytes() for path in files}


@pytest.mark.parametrize("result", [_DECISION, _PLAN, _SEARCH, _MATCHING, _POSTERIOR], ids=lambda r: type(r).__name__)
def test_a_result_comes_back_as_it_was(results, result):
    """Numbers to the last digit, infinities, words, tuples and mappings in their order: all as it was saved."""
    results.save("one", result, "inputs")
    back = results.load("one", type(result), "inputs")
    assert type(back) is type(result)
    assert repr(back) == repr(result).replace("along_from_m=0,", "along_from_m=0.0,")
    assert results.damage == []


@settings(deadline=None, max_examples=50)
@given(st.floats(), st.floats(), st.integers(min_value=0))
def test_any_number_comes_back(tmp_path_factory, rate, high, count):
    """Every float there is, NaN and infinities too, and whole numbers of any size are read back as they were."""
    results = ResultsFolder(tmp_path_factory.mktemp("any"))
    limits = RateLimits(count=count, extent=1.0, confidence=0.95, rate=rate, low=0.0, high=high)
    results.save("limits", limits, "inputs")
    assert repr(results.load("limits", RateLimits, "inputs")) == repr(limits)


def test_the_same_result_gives_the_same_bytes(results):
    """Saving twice, and saving what was loaded, writes the same file; a whole number for a decimal is no difference."""
    results.save("state/decision", _DECISION, "inputs")
    first = _files(results)
    results.save("state/decision", results.load("state/decision", Decision, "inputs"), "inputs")
    assert _files(results) == first
    assert b'"along_from_m": 0.0' in first["state/decision.json"]


def test_a_result_of_other_inputs_is_stale(results):
    """Another fingerprint, another kind or another name gives nothing, and that is no damage."""
    results.save("decision", _DECISION, "inputs")
    assert results.load("decision", Decision, "other") is None
    assert results.load("decision", CutPlan, "inputs") is None
    assert results.load("plan", CutPlan, "inputs") is None
    assert results.damage == []


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_a_damaged_result_is_stale_and_noted(tmp_path_factory, data):
    """Truncated anywhere or with any one bit flipped, a file gives nothing or exactly what was saved, never a crash."""
    results = ResultsFolder(tmp_path_factory.mktemp("damaged"))
    results.save("matching", _MATCHING, "inputs")
    path = results.path / "matching.json"
    whole = path.read_bytes()
    if data.draw(st.booleans(), label="truncate"):
        path.write_bytes(whole[: data.draw(st.integers(0, len(whole) - 2))])
    else:
        at, bit = data.draw(st.integers(0, len(whole) - 1)), data.draw(st.integers(0, 7))
        path.write_bytes(whole[:at] + bytes([whole[at] ^ (1 << bit)]) + whole[at + 1 :])
    back = results.load("matching", Matching, "inputs")
    assert back is None or back == _MATCHING


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "whole JSON"),
        (b'{"result": "Matching"', "whole JSON"),
        (b"[]", "must be a result file"),
        (b'{"fingerprint": "inputs"}', "must be a result file"),
    ],
)
def test_the_damage_is_told(results, content, why):
    """What was wrong with a file taken as stale can be shown to the user."""
    results.path.mkdir(parents=True)
    (results.path / "matching.json").write_bytes(content)
    assert results.load("matching", Matching, "inputs") is None
    assert [(damage.file, why in damage.why) for damage in results.damage] == [("matching.json", True)]


def test_a_changed_number_is_damage(results):
    """A number edited in a result file is noticed."""
    results.save("matching", _MATCHING, "inputs")
    path = results.path / "matching.json"
    path.write_bytes(path.read_bytes().replace(b'"total": 3.0', b'"total": 4.0'))
    assert results.load("matching", Matching, "inputs") is None
    assert results.damage == [Damage(file="matching.json", why="its content must be what was written")]


def test_a_result_of_another_shape_is_damage(results):
    """A file whose fields don't fit the type is stale, with the type named."""

    @dataclass(frozen=True, slots=True, kw_only=True)
    class Other:
        total: str

    Other.__name__ = "Matching"
    results.save("matching", Other(total="three"), "inputs")
    assert results.load("matching", Matching, "inputs") is None
    assert "must have the fields of Matching" in results.damage[0].why


@pytest.mark.parametrize("rate", ["three", np.float32(0.1), None])
def test_what_does_not_fit_its_type_is_not_saved(results, rate):
    """A result that could not come back the same is an error where it is made, and no file is written."""
    limits = RateLimits(count=1, extent=1.0, confidence=0.95, rate=rate, low=0.0, high=1.0)
    with pytest.raises(ArgumentError, match="result RateLimits"):
        results.save("limits", limits, "inputs")
    assert not results.path.exists()


@pytest.mark.parametrize("name", ["", "../decision", "Decision", "a/b/c", "/a", "a/", ".hidden"])
def test_a_name_stays_in_the_folder(results, name):
    """No name reaches out of the results folder."""
    with pytest.raises(ArgumentError, match="name of a result"):
        results.load(name, Decision, "inputs")


@pytest.mark.parametrize("marks", [0, 3])
def test_a_scan_comes_back_as_it_was(results, marks):
    """Marks with their types, chips, both overview layers and all else that was found are as they were saved."""
    scan = _scan(marks)
    _save(results, scan, "inputs")
    back = results.load_scan("inputs")
    assert back.marks.equals(scan.marks)
    assert back.marks.schema == MARKS_SCHEMA
    np.testing.assert_array_equal(back.overview.mean, scan.overview.mean)
    np.testing.assert_array_equal(back.overview.worst, scan.overview.worst)
    assert back.overview.mean.dtype == np.float32
    apart = {"marks", "overview", "chips"}
    for name in (field.name for field in fields(scan) if field.name not in apart):
        assert getattr(back, name) == getattr(scan, name)
    assert (back.overview.cell_m, back.overview.cell_mm, back.overview.extent) == (0.01, 10.0, _WHOLE)
    assert [chip.mark for chip in back.chips] == [chip.mark for chip in scan.chips]
    for one, other in zip(back.chips, scan.chips, strict=True):
        np.testing.assert_array_equal(one.pixels, other.pixels)


def test_a_streak_without_a_column_comes_back_without_one(results):
    """What a scan doesn't know stays unknown."""
    scan = replace(_scan(), streaks=(replace(_scan().streaks[0], column=math.nan),), places=None, chips=())
    results.save_scan(scan, "inputs")
    back = results.load_scan("inputs")
    assert math.isnan(back.streaks[0].column)
    assert (back.places, back.chips) == (None, ())


def test_the_same_scan_gives_the_same_bytes(results, tmp_path):
    """Every file of a scan has the same bytes in another folder, and after a round trip."""
    _save(results, _scan(), "inputs")
    other = ResultsFolder(tmp_path / "other")
    _save(other, results.load_scan("inputs"), "inputs")
    assert _files(other) == _files(results)
    ids = [row[0] for row in _scan().marks.select("id").iter_rows()]
    layers = ("zarr.json", "mean/zarr.json", "mean/c/0/0", "worst/zarr.json", "worst/c/0/0")
    assert sorted(_files(results)) == sorted(
        [
            *("marks.parquet", "state/overview-mean.npy", "state/overview-worst.npy", "state/scan.json"),
            *("chips/chips.json", *(f"chips/{name}.png" for name in ids)),
            *("overview.zarr/zarr.json", *(f"overview.zarr/0/{name}" for name in layers)),
        ]
    )


_PARTS = (
    *("marks.parquet", "state/overview-mean.npy", "state/overview-worst.npy"),
    *("chips/chips.json", "overview.zarr/zarr.json", "overview.zarr/0/worst/c/0/0"),
)


@pytest.mark.parametrize("name", _PARTS)
def test_a_half_written_scan_is_never_taken_as_whole(results, name):
    """A file that is missing, truncated, or of another scan than scan.json names makes the whole scan stale."""
    _save(results, _scan(), "inputs")
    whole = (results.path / name).read_bytes()
    for data in (whole[:-1], whole + b"x", b""):
        (results.path / name).write_bytes(data)
        assert results.load_scan("inputs") is None
    (results.path / name).unlink()
    assert results.load_scan("inputs") is None
    top = name if name in _PARTS[:3] else name.partition("/")[0]
    assert [damage.file for damage in results.damage] == [top] * 4
    (results.path / name).write_bytes(whole)
    assert results.load_scan("inputs") is not None


@pytest.mark.parametrize("name", ["chips", "overview.zarr"])
def test_a_folder_that_is_gone_or_holds_more_is_stale(results, name):
    """A folder that scan.json names must be there, with its own files and no other."""
    _save(results, _scan(), "inputs")
    (results.path / name / "another").write_bytes(b"x")
    assert results.load_scan("inputs") is None
    (results.path / name / "another").unlink()
    assert results.load_scan("inputs") is not None
    (results.path / name).rename(results.path / "elsewhere")
    assert results.load_scan("inputs") is None


def test_an_overview_of_another_scan_is_taken_away(results):
    """Only the overview that was written for the same inputs goes with the scan."""
    _save(results, _scan(), "old")
    results.save_scan(_scan(), "new")
    assert not (results.path / "overview.zarr").exists()
    assert results.load_scan("new") is not None
    _save(results, _scan(), "newer")
    assert open_pyramid(results.path / "overview.zarr").fingerprint == "newer"
    assert results.load_scan("newer") is not None


def test_chips_of_an_earlier_scan_dont_linger(results):
    """A scan that found nothing leaves no chips of one that did."""
    _save(results, _scan(3), "old")
    _save(results, _scan(0), "new")
    assert not (results.path / "chips").exists()
    assert results.load_scan("new").chips == ()


@pytest.mark.parametrize("fault", ["an older layout", "older marks"])
def test_a_scan_kept_by_an_older_wideroll_is_made_anew(results, monkeypatch, fault):
    """What was kept in another shape, though of the same inputs, is stale and no error."""
    with monkeypatch.context() as patch:
        if fault == "an older layout":
            patch.setattr(scan_files, "SCAN_VERSION", 1)
        else:
            patch.setattr(scan_files, "check_marks", lambda marks: marks.drop("ring"))
        _save(results, _scan(), "inputs")
    assert results.load_scan("inputs") is None
    assert [damage.file for damage in results.damage] == (["state/scan.json"] if fault == "older marks" else [])


def test_a_crash_between_the_files_leaves_nothing_to_be_taken(results, monkeypatch):
    """Stopped before scan.json is written, a newer scan's marks don't pass as the older scan's."""
    results.save_scan(_scan(3), "old")
    with monkeypatch.context() as patch:
        patch.setattr(ResultsFolder, "save", _stop)
        with pytest.raises(KeyboardInterrupt):
            results.save_scan(_scan(2), "new")
    assert results.load_scan("new") is None
    assert results.load_scan("old") is None
    results.save_scan(_scan(2), "new")
    assert results.load_scan("new").marks.height == 2


def _stop(*_):
    raise KeyboardInterrupt


def test_marks_that_are_no_marks_table_are_not_saved(results):
    """A scan whose marks lack a column is refused before anything is written."""
    with pytest.raises(InputError, match="no snr"):
        results.save_scan(replace(_scan(), marks=_scan().marks.drop("snr")), "inputs")
    assert not results.path.exists()


def test_a_trial_of_detection_is_kept(results):
    """The curves, all that was tested and what could not be said come back, and are stale for other inputs."""
    tested = (DetectionClass(size_mm=0.3, contrast=0.02, polarity=Polarity.DARK, injected=8, hits=5),)
    curve = DetectionCurve(
        polarity=None,
        unit=ContrastUnit.SIGNAL,
        bends_mm=(),
        coefficients=(1.25, 2.5, 1 / 3),
        covariance=((1.0, 0.1, 0.0), (0.1, 1.0, 0.0), (0.0, 0.0, 1.0)),
        method=FitMethod.FIRTH,
        log_likelihood=-12.5,
        slopes_p=1e-9,
        deviance=3.5,
        fit_p=0.4,
        tested=tested,
    )
    found = DetectionResult(
        curves=(curve,),
        tested=tested,
        polarity_p=0.5,
        why="too few bright marks",
        stretches=((0, 4000),),
        strays=0,
        no_room=1,
        left_out=2,
        noise=0.02,
        pitch_mm=(0.1, 0.1),
        trial=DetectionTrial(),
        settings=ScanSettings(),
    )
    assert results.load_detection("inputs") is None
    results.save_detection(found, "inputs")
    assert results.load_detection("inputs") == found
    assert results.load_detection("other") is None
    results.save_detection(replace(found, polarity_p=math.nan), "inputs")
    assert math.isnan(results.load_detection("inputs").polarity_p)


def test_a_series_search_is_kept(results):
    """The series search has its own file, and is stale for other inputs."""
    results.save_series(_SEARCH, "inputs")
    assert results.load_series("inputs") == _SEARCH
    assert results.load_series("other") is None
