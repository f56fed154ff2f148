"""Chips are pictures anybody can open, and come back to the pixel."""

import json
import math

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from PIL import Image

from wideroll.errors import ArgumentError, InputError
from wideroll.roll import MARKS_SCHEMA, empty_marks
from wideroll.scan import Chip
from wideroll.store import read_chips
from wideroll.store.chips import pack_chips
from wideroll.store.folders import write_folder

_grey = st.sampled_from([np.uint8, np.uint16]).flatmap(
    lambda dtype: hnp.arrays(dtype, hnp.array_shapes(min_dims=2, max_dims=2, max_side=20))
)


def _marks(name, **changes):
    row = {column: 1.0 for column, dtype in MARKS_SCHEMA.items() if dtype == pl.Float64}
    row |= {"id": name, "polarity": "dark", "kind": "comet", "rule": "invented", "source": "line-1"}
    return pl.DataFrame([row | changes], schema=MARKS_SCHEMA)


@settings(max_examples=40, deadline=None)
@given(st.lists(_grey, max_size=4))
def test_every_pixel_comes_back(tmp_path_factory, pictures):
    """Chips of either depth and any size are read as they were, in their order."""
    chips = [Chip(mark=f"m{n}", pixels=p, first_line=n * 7, first_column=n) for n, p in enumerate(pictures)]
    folder = tmp_path_factory.mktemp("c") / "chips"
    write_folder(folder, pack_chips(chips, empty_marks(), (0.1, 0.2)))
    back = read_chips(folder)
    assert [(c.mark, c.first_line, c.first_column) for c in back] == [
        (c.mark, c.first_line, c.first_column) for c in chips
    ]
    for one, other in zip(back, chips, strict=True):
        assert one.pixels.dtype == other.pixels.dtype
        np.testing.assert_array_equal(one.pixels, other.pixels)


def test_a_chip_is_a_grey_picture_named_by_its_mark(tmp_path):
    """Any viewer opens it, and the list beside it says what it shows; the same chips leave the same bytes."""
    pixels = np.arange(12, dtype=np.uint8).reshape(3, 4)
    files = pack_chips([Chip(mark="ab12", pixels=pixels, first_line=5, first_column=6)], _marks("ab12"), (0.1, 0.2))
    assert files == pack_chips(
        [Chip(mark="ab12", pixels=pixels.copy(), first_line=5, first_column=6)], _marks("ab12"), (0.1, 0.2)
    )
    write_folder(tmp_path / "chips", files)
    with Image.open(tmp_path / "chips" / "ab12.png") as picture:
        assert picture.mode == "L"
        np.testing.assert_array_equal(np.asarray(picture), pixels)
    entry = {"id": "ab12", "file": "ab12.png", "first_line": 5, "first_column": 6, "lines": 3, "columns": 4}
    assert json.loads(files["chips.json"]) == {
        "version": 1,
        "pitch_mm": [0.1, 0.2],
        "chips": [entry | {"kind": "comet", "snr": 1.0}],
    }


def test_what_isnt_known_is_null():
    """A mark that isn't in the table has no kind, and one without noise no number for how far it stands out."""
    chip = Chip(mark="ab12", pixels=np.zeros((2, 2), np.uint16), first_line=0, first_column=0)
    for marks, kind in ((empty_marks(), None), (_marks("ab12", snr=math.inf), "comet")):
        entry = json.loads(pack_chips([chip], marks, (0.1, 0.1))["chips.json"])["chips"][0]
        assert (entry["kind"], entry["snr"]) == (kind, None)


@pytest.mark.parametrize("names", [["a", "a"], ["../a"], [""], [".hidden"]])
def test_a_name_must_be_one_marks_own_and_stay_in_the_folder(names):
    """Two chips of one mark, or a name that leads elsewhere, are refused."""
    chips = [Chip(mark=name, pixels=np.zeros((2, 2), np.uint8), first_line=0, first_column=0) for name in names]
    with pytest.raises(ArgumentError, match="chip"):
        pack_chips(chips, empty_marks(), (0.1, 0.1))


@pytest.mark.parametrize("fault", ["gone", "not a picture", "another size", "version", "no list", "half a list"])
def test_damaged_chips_are_an_input_error(tmp_path, fault):
    """What isn't as the list says is never shown as a mark."""
    chip = Chip(mark="ab12", pixels=np.zeros((2, 3), np.uint8), first_line=0, first_column=0)
    folder = tmp_path / "chips"
    files = pack_chips([chip], empty_marks(), (0.1, 0.1))
    wide = pack_chips(
        [Chip(mark="ab12", pixels=np.zeros((3, 2), np.uint8), first_line=0, first_column=0)], empty_marks(), (0.1, 0.1)
    )
    text = files["chips.json"]
    files |= {
        "gone": {},
        "not a picture": {"ab12.png": b"nothing"},
        "another size": {"ab12.png": wide["ab12.png"]},
        "version": {"chips.json": text.replace(b'"version": 1', b'"version": 0')},
        "no list": {},
        "half a list": {"chips.json": text.replace(b'"file"', b'"fill"')},
    }[fault]
    write_folder(folder, files)
    if fault in {"gone", "no list"}:
        (folder / {"gone": "ab12.png", "no list": "chips.json"}[fault]).unlink()
    with pytest.raises(InputError):
        read_chips(folder)
