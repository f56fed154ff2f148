"""Results come back exactly as they were saved, and only while their inputs are the same."""

import math
from dataclasses import dataclass, replace

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
from wideroll.scan.model import Overview, ScanResult, ScanSettings, Streak
from wideroll.slitting.model import Avoid, CutPlan, CutRules, Loss, Piece, Run, SlitWidth
from wideroll.store import Damage, ResultsFolder

_WHOLE = Extent(along_from_m=0, along_to_m=42.5, across_from_mm=0.1, across_to_mm=1380.0)
_COVERAGE = Coverage(seen=(_WHOLE,), unseen=(Unseen(extent=_WHOLE, why="splice – “taped”"),))
_CRITERION = Criterion(
    name="spots",
    measurand=Measurand.MARKS_PER_M2,
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
    widths=(SlitWidth(name="35", width_mm=34.975, tolerance_mm=0.025, value_per_m=1.1),),
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
            "polarity": "dark",
            "kind": "spot",
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
    )


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
    """Marks with their types, streaks, coverage, both overview layers and settings are as they were saved."""
    scan = _scan(marks)
    results.save_scan(scan, "inputs")
    back = results.load_scan("inputs")
    assert back.marks.equals(scan.marks)
    assert back.marks.schema == MARKS_SCHEMA
    np.testing.assert_array_equal(back.overview.mean, scan.overview.mean)
    np.testing.assert_array_equal(back.overview.worst, scan.overview.worst)
    assert back.overview.mean.dtype == np.float32
    for name in ("streaks", "coverage", "settings", "pitch_mm", "lines", "columns", "web_width_mm", "noise"):
        assert getattr(back, name) == getattr(scan, name)
    assert (back.overview.cell_m, back.overview.cell_mm, back.overview.extent) == (0.01, 10.0, _WHOLE)


def test_the_same_scan_gives_the_same_bytes(results, tmp_path):
    """Every file of a scan has the same bytes in another folder, and after a round trip."""
    results.save_scan(_scan(), "inputs")
    other = ResultsFolder(tmp_path / "other")
    other.save_scan(results.load_scan("inputs"), "inputs")
    assert _files(other) == _files(results)
    assert sorted(_files(results)) == [
        *("marks.parquet", "state/overview-mean.npy", "state/overview-worst.npy", "state/scan.json")
    ]


@pytest.mark.parametrize("name", ["marks.parquet", "state/overview-mean.npy", "state/overview-worst.npy"])
def test_a_half_written_scan_is_never_taken_as_whole(results, name):
    """A file that is missing, truncated, or of another scan than scan.json names makes the whole scan stale."""
    results.save_scan(_scan(), "inputs")
    whole = (results.path / name).read_bytes()
    for data in (whole[:-1], whole + b"x", b""):
        (results.path / name).write_bytes(data)
        assert results.load_scan("inputs") is None
    (results.path / name).unlink()
    assert results.load_scan("inputs") is None
    assert [damage.file for damage in results.damage] == [name] * 4
    (results.path / name).write_bytes(whole)
    assert results.load_scan("inputs") is not None


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


def test_a_series_search_is_kept(results):
    """The series search has its own file, and is stale for other inputs."""
    results.save_series(_SEARCH, "inputs")
    assert results.load_series("inputs") == _SEARCH
    assert results.load_series("other") is None
