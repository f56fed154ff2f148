"""The overview pyramid: every level is the one before at half the size, and nothing that stands out is lost."""

import json
import warnings
from itertools import pairwise

import numpy as np
import pytest
import zarr
from hypothesis import given, settings
from hypothesis import strategies as st

from wideroll.errors import ArgumentError, InputError
from wideroll.roll import Extent
from wideroll.store import PyramidWriter, open_pyramid
from wideroll.store.pyramid import STEP

_WEB = Extent(along_from_m=0.0, along_to_m=1.0, across_from_mm=0.0, across_to_mm=100.0)


def _cells(rows, cells, *, seed=1, unseen=0.1):
    random = np.random.Generator(np.random.PCG64(seed))
    mean = (1.0 + 0.01 * random.standard_normal((rows, cells))).astype(np.float32)
    worst = (mean + 0.2 * random.standard_normal((rows, cells))).astype(np.float32)
    blind = random.random((rows, cells)) < unseen
    mean[blind] = worst[blind] = np.nan
    return mean, worst


def _write(path, mean, worst, cuts=(), **given):
    writer = PyramidWriter(path, **given)
    for part_mean, part_worst in zip(np.split(mean, cuts), np.split(worst, cuts), strict=True):
        writer.put(part_mean, part_worst)
    writer.finish(0.01, 10.0, _WEB)
    return open_pyramid(path)


def _levels(pyramid):
    return [pyramid.stretch(0.0, 1e9, level=n).overview for n in range(len(pyramid.shapes))]


def _bytes(path):
    return {str(file.relative_to(path)): file.read_bytes() for file in path.rglob("*") if file.is_file()}


def _halves(cells, choose):
    """The slow way: each 2 × 2 cells, looked at one by one."""
    out = np.full((-(-len(cells) // 2), -(-cells.shape[1] // 2)), np.nan)
    for i, j in np.ndindex(out.shape):
        four = cells[2 * i : 2 * i + 2, 2 * j : 2 * j + 2]
        if np.isfinite(four).any():
            out[i, j] = choose(four[np.isfinite(four)])
    return out


def _furthest(values):
    away = np.abs(values - 1.0)
    return values[away == away.max()].min()


@settings(max_examples=12, deadline=None)
@given(
    rows=st.integers(1, 700), cells=st.integers(1, 9), seed=st.integers(0, 99), unseen=st.sampled_from([0.0, 0.3, 1])
)
def test_each_level_is_the_one_before_at_half_the_size(tmp_path_factory, rows, cells, seed, unseen):
    """A cell holds the mean of the seen cells below it and the one furthest from 1; unseen if all of them are."""
    mean, worst = _cells(rows, cells, seed=seed, unseen=unseen)
    levels = _levels(_write(tmp_path_factory.mktemp("p") / "overview.zarr", mean, worst))
    assert levels[0].mean == pytest.approx(mean, abs=STEP["mean"] / 2 + 1e-6, nan_ok=True)
    assert levels[0].worst == pytest.approx(worst, abs=STEP["worst"] / 2 + 1e-6, nan_ok=True)
    for fine, coarse in pairwise(levels):
        assert coarse.mean == pytest.approx(_halves(fine.mean, np.mean), abs=1.01 * STEP["mean"], nan_ok=True)
        assert coarse.worst - 1 == pytest.approx(_halves(fine.worst, _furthest) - 1, abs=1e-7, nan_ok=True)
        assert coarse.cell_m == 2.0 * fine.cell_m
        assert coarse.cell_mm == 2.0 * fine.cell_mm
    assert max(levels[-1].mean.shape) <= 256
    assert all(max(level.mean.shape) > 256 for level in levels[:-1])


@pytest.mark.parametrize("place", [(0, 0), (1023, 5), (1024, 299), (2499, 300)])
@pytest.mark.parametrize("value", [0.7, 1.3])
def test_a_mark_of_one_pixel_is_on_every_level(tmp_path, place, value):
    """One cell that stands out shows to its full depth however coarse the level, where it should, and nowhere else."""
    mean = np.ones((2500, 301), np.float32)
    worst = mean.copy()
    worst[place] = value
    levels = _levels(_write(tmp_path / "overview.zarr", mean, worst, cuts=[700]))
    assert len(levels) == 5
    for number, level in enumerate(levels):
        assert np.argwhere(level.worst != 1.0).tolist() == [[place[0] >> number, place[1] >> number]]
        assert level.worst[place[0] >> number, place[1] >> number] == pytest.approx(value, abs=STEP["worst"])
        assert (level.mean == 1.0).all()


def test_a_dark_and_a_bright_mark_as_strong_show_the_dark_one(tmp_path):
    """Where two depart equally the choice doesn't depend on which came first."""
    worst = np.ones((300, 2), np.float32)
    worst[0], worst[2] = (0.75, 1.25), (1.25, 0.75)
    levels = _levels(_write(tmp_path / "overview.zarr", np.ones_like(worst), worst))
    assert levels[1].worst[:2, 0].tolist() == [0.75, 0.75]


@settings(max_examples=8, deadline=None)
@given(st.lists(st.integers(0, 2600), max_size=12).map(sorted))
def test_it_doesnt_matter_how_the_rows_were_cut(tmp_path_factory, cuts):
    """The same rows leave the same bytes, in blocks of any height."""
    folder = tmp_path_factory.mktemp("p")
    mean, worst = _cells(2600, 3)
    _write(folder / "one.zarr", mean, worst)
    _write(folder / "other.zarr", mean, worst, cuts=cuts)
    assert _bytes(folder / "one.zarr") == _bytes(folder / "other.zarr")


def test_rows_of_several_widths_are_as_if_the_rest_was_unseen(tmp_path):
    """A web that shows fewer cells in some blocks leaves the others of its row unseen."""
    mean, worst = _cells(1500, 5, unseen=0.0)
    mean[:400, 3:] = worst[:400, 3:] = np.nan
    mean[1200:, 4:] = worst[1200:, 4:] = np.nan
    whole = _write(tmp_path / "whole.zarr", mean, worst)
    writer = PyramidWriter(tmp_path / "parts.zarr")
    for rows, width in ((slice(0, 400), 3), (slice(400, 1200), 5), (slice(1200, 1500), 4)):
        writer.put(mean[rows, :width], worst[rows, :width])
    writer.finish(0.01, 10.0, _WEB)
    parts = open_pyramid(tmp_path / "parts.zarr")
    assert parts.shapes == whole.shapes
    for one, other in zip(_levels(parts), _levels(whole), strict=True):
        np.testing.assert_array_equal(one.mean, other.mean)
        np.testing.assert_array_equal(one.worst, other.worst)


def test_what_is_kept_in_memory_does_not_grow_with_the_roll(tmp_path):
    """However many rows came, no level holds more than a chunk of them."""
    writer = PyramidWriter(tmp_path / "overview.zarr")
    rows = np.ones((500, 4), np.float32)
    for _ in range(40):
        writer.put(rows, rows)
        assert max(level.waiting for level in writer._levels) < 1024 + 500  # noqa: SLF001
        assert max(sum(part.shape[1] for part in level.rows) for level in writer._levels) < 1024  # noqa: SLF001
    writer.abandon()


def test_nothing_shows_before_all_is_there(tmp_path):
    """Until it is finished the old overview stands; broken off, nothing of the new one is left."""
    path = tmp_path / "results" / "overview.zarr"
    _write(path, *_cells(30, 3))
    before = _bytes(path)
    writer = PyramidWriter(path)
    writer.put(*_cells(3000, 3, seed=2))
    assert _bytes(path) == before
    writer.abandon()
    assert _bytes(path) == before
    assert list(path.parent.iterdir()) == [path]
    _write(path, *_cells(2000, 3, seed=2))
    assert open_pyramid(path).shapes[0] == (2000, 3)
    assert list(path.parent.iterdir()) == [path]


def test_nothing_scanned_is_an_overview_of_nothing(tmp_path):
    """A scan without a row leaves one empty level."""
    writer = PyramidWriter(tmp_path / "overview.zarr")
    writer.finish(0.01, 10.0, _WEB)
    assert open_pyramid(tmp_path / "overview.zarr").shapes == ((0, 0),)


def test_any_reader_of_zarr_3_understands_it(tmp_path):
    """Plain arrays of departures with named axes, and attributes that say what a cell is; no warning, no date."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        _write(tmp_path / "overview.zarr", *_cells(300, 3, unseen=0.0), fingerprint="ab12")
    group = zarr.open_group(tmp_path / "overview.zarr", mode="r")
    assert sorted(group) == ["0", "1"]
    assert group["0/mean"].metadata.dimension_names == ("along", "across")
    assert group["1/worst"].dtype == np.float16
    assert abs(float(np.mean(group["0/mean"][:]))) < 0.01
    assert dict(group["1"].attrs) == {"cell_m": 0.02, "cell_mm": 20.0}
    said = json.loads((tmp_path / "overview.zarr" / "zarr.json").read_text())
    assert said["zarr_format"] == 3
    assert said["attributes"] == {
        "version": 1,
        "holds": "departure of the signal from the level of its surroundings, as a fraction of it",
        "levels": 2,
        "cell_m": 0.01,
        "cell_mm": 10.0,
        "extent": {"along_from_m": 0.0, "along_to_m": 1.0, "across_from_mm": 0.0, "across_to_mm": 100.0},
        "fingerprint": "ab12",
    }


@pytest.mark.parametrize(
    ("from_m", "to_m", "wanted"),
    [(0.0, 2.0, (0, 0.0, 200)), (1.0, 1.105, (0, 1.0, 11)), (0.0, 3.0, (0, 0.0, 300)), (0.0, 20.0, (2, 0.0, 500))],
)
def test_a_stretch_comes_as_fine_as_was_asked(tmp_path, from_m, to_m, wanted):
    """The finest level that needs no more rows than wanted, from the start of the first of them."""
    pyramid = _write(tmp_path / "overview.zarr", *_cells(2000, 3))
    found = pyramid.stretch(from_m, to_m, most_rows=500)
    assert (found.level, found.first_m, len(found.overview.mean)) == wanted
    first = round(found.first_m / found.overview.cell_m)
    whole = pyramid.stretch(0.0, 20.0, level=found.level).overview
    np.testing.assert_array_equal(found.overview.worst, whole.worst[first : first + len(found.overview.worst)])


def test_a_stretch_outside_is_empty(tmp_path):
    """Beyond the end there are no rows."""
    pyramid = _write(tmp_path / "overview.zarr", *_cells(200, 3))
    assert pyramid.stretch(5.0, 6.0).overview.mean.shape == (0, 3)


def test_rows_must_belong_together(tmp_path):
    """Layers of different size are refused."""
    writer = PyramidWriter(tmp_path / "overview.zarr")
    with pytest.raises(ArgumentError, match="rows of the overview"):
        writer.put(np.ones((3, 4), np.float32), np.ones((4, 3), np.float32))
    writer.abandon()


@pytest.mark.parametrize("fault", ["absent", "version", "no level"])
def test_what_isnt_an_overview_is_an_input_error(tmp_path, fault):
    """A folder that is missing, of another version or damaged names itself."""
    path = tmp_path / "overview.zarr"
    if fault != "absent":
        _write(path, *_cells(20, 3))
        text = (path / "zarr.json").read_text()
        change = ('"version": 1', '"version": 9') if fault == "version" else ('"levels": 1', '"levels": 2')
        assert change[0] in text
        (path / "zarr.json").write_text(text.replace(*change))
    with pytest.raises(InputError, match=r"overview\.zarr.*must be a whole overview"):
        open_pyramid(path)


def test_a_chunk_that_cant_be_read_is_an_input_error(tmp_path):
    """Damage inside a level shows when the stretch is read."""
    path = tmp_path / "overview.zarr"
    pyramid = _write(path, *_cells(20, 3))
    (path / "0" / "mean" / "c" / "0" / "0").write_bytes(b"nothing")
    with pytest.raises(InputError, match="must be a whole overview"):
        pyramid.stretch(0.0, 1.0)
