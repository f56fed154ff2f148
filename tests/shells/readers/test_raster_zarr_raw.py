import json
from pathlib import Path

import numpy as np
import pytest
import zarr
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from zarr.codecs import BloscCodec, GzipCodec, ZstdCodec

from wideroll.readers import RasterFile, open_raster
from wideroll.scan import LostLines

LINES, COLUMNS = 45, 61
GREY8 = (1 + np.add.outer(3 * np.arange(LINES), np.arange(COLUMNS)) % 251).astype(np.uint8)
GREY16 = GREY8.astype(np.uint16) * 257 + 3
TWO = np.dstack([GREY16, GREY16[::-1]])


def _read(file: RasterFile) -> np.ndarray:
    return np.concatenate(list(file.blocks()))


def _zarr(path: Path, image: np.ndarray = GREY8, chunks: tuple[int, ...] = (10, 40), **options: object) -> Path:
    array = zarr.create_array(path, shape=image.shape, chunks=chunks, dtype=image.dtype, zarr_format=3, **options)
    array[:] = image
    return path


def _raw(path: Path, image: np.ndarray, sidecar: str = "", head: bytes = b"") -> Path:
    path.write_bytes(head + image.tobytes())
    kind = "uint8" if image.itemsize == 1 else "uint16"
    path.with_suffix(".toml").write_text(f'columns = {image.shape[1]}\ndtype = "{kind}"\n{sidecar}')
    return path


def _lost(file: RasterFile) -> list[tuple[int, int, str]]:
    return [(lost.first, lost.lines, lost.why) for lost in file.known_lost]


@pytest.mark.parametrize("compressor", [None, ZstdCodec(), GzipCodec(), BloscCodec()])
@pytest.mark.parametrize(
    ("image", "chunks"),
    [(GREY8, (10, 40)), (GREY8, (45, 61)), (GREY16, (1, 61)), (TWO, (7, 61, 2)), (TWO, (7, 30, 1))],
)
def test_a_zarr_array_comes_as_it_was_written(
    tmp_path: Path, image: np.ndarray, chunks: tuple[int, ...], compressor: object
) -> None:
    """Any chunks, any codec, 8 or 16 bit, one channel or several."""
    file = open_raster(_zarr(tmp_path / "a.zarr", image, chunks, compressors=compressor))
    channels = image.shape[2] if image.ndim == 3 else 1
    assert (file.lines, file.columns, file.channels, file.dtype) == (LINES, COLUMNS, channels, image.dtype)
    assert file.known_lost == ()
    np.testing.assert_array_equal(_read(file), image)


def test_a_zarr_array_in_shards_or_of_another_byte_order(tmp_path: Path) -> None:
    """Shards hold several rows of chunks; pixels come in this machine's byte order."""
    sharded = _zarr(tmp_path / "shards.zarr", GREY16, (5, 61), shards=(20, 61))
    np.testing.assert_array_equal(_read(open_raster(sharded)), GREY16)
    big = open_raster(_zarr(tmp_path / "big.zarr", GREY16.astype(">u2")))
    assert _read(big).dtype.isnative
    np.testing.assert_array_equal(_read(big), GREY16)


def test_one_channel_along_the_third_axis_is_grey(tmp_path: Path) -> None:
    """An array of one channel gives blocks of two axes like any grey raster."""
    file = open_raster(_zarr(tmp_path / "a.zarr", GREY8[:, :, None], (10, 61, 1)))
    assert file.channels == 1
    np.testing.assert_array_equal(_read(file), GREY8)


def test_a_chunk_that_is_not_there_loses_its_lines_and_no_others(tmp_path: Path) -> None:
    """Zarr would make them up; here they are lost, known before anything is read."""
    path = _zarr(tmp_path / "a.zarr")
    (path / "c" / "2" / "1").unlink()
    file = open_raster(path)
    assert _lost(file) == [(20, 10, "was not written whole")]
    head, lost, tail = file.blocks()
    np.testing.assert_array_equal(head, GREY8[:20])
    assert lost == LostLines(lines=10, why="a.zarr was not written whole")
    np.testing.assert_array_equal(tail, GREY8[30:])


@pytest.mark.parametrize("compressor", [None, ZstdCodec(), GzipCodec(), BloscCodec()])
def test_a_chunk_cut_short_loses_its_lines_and_no_others(tmp_path: Path, compressor: object) -> None:
    """Whatever the codec makes of half a chunk, its lines aren't made up."""
    path = _zarr(tmp_path / "a.zarr", compressors=compressor)
    chunk = path / "c" / "1" / "0"
    chunk.write_bytes(chunk.read_bytes()[: chunk.stat().st_size // 2])
    head, lost, tail = open_raster(path).blocks()
    np.testing.assert_array_equal(head, GREY8[:10])
    assert lost == LostLines(lines=10, why="a.zarr is damaged")
    np.testing.assert_array_equal(tail, GREY8[20:])


def test_what_is_no_zarr_raster_is_refused(tmp_path: Path, refused) -> None:
    """Neither an empty folder, older formats, groups, broken metadata nor other types and shapes are taken for one."""
    (tmp_path / "empty.zarr").mkdir()
    zarr.create_group(tmp_path / "group.zarr", zarr_format=3)
    zarr.create_array(tmp_path / "old.zarr", shape=(5, 5), dtype="u1", zarr_format=2)
    _zarr(tmp_path / "broken.zarr")
    (tmp_path / "broken.zarr" / "zarr.json").write_text("{")
    for name in ("empty", "group", "old", "broken"):
        with refused(f"{name}.zarr", rule="one array of Zarr format 3"):
            open_raster(tmp_path / f"{name}.zarr")
    for name, image in {"float": GREY8.astype("f4"), "signed": GREY8.astype("i2"), "line": GREY8[0]}.items():
        with refused(f"{name}.zarr", rule="8 or 16 bit"):
            open_raster(_zarr(tmp_path / f"{name}.zarr", image, (10,) * image.ndim))
    with refused("none.zarr", rule="must be there"):
        open_raster(tmp_path / "none.zarr")


def test_an_empty_zarr_array_is_refused(tmp_path: Path, refused) -> None:
    """A raster without lines can't be looked at."""
    path = _zarr(tmp_path / "a.zarr")
    said = json.loads((path / "zarr.json").read_text())
    said["shape"] = [0, 61]
    (path / "zarr.json").write_text(json.dumps(said))
    with refused("a.zarr", rule="must be whole", value="(0, 61)"):
        open_raster(path)


@pytest.mark.parametrize(
    ("image", "sidecar", "head"),
    [
        (GREY8, "", b""),
        (GREY8, "offset_bytes = 7", b"header."),
        (GREY16.astype("<u2"), "", b""),
        (GREY16.astype("<u2"), 'byte_order = "little"\nlines = 45', b""),
        (GREY16.astype(">u2"), 'byte_order = "big"\noffset_bytes = 1', b"!"),
        (TWO.astype("<u2"), "channels = 2", b""),
        (TWO.astype(">u2"), 'channels = 2\nbyte_order = "big"', b""),
    ],
)
def test_a_raw_file_comes_as_its_sidecar_says(tmp_path: Path, image: np.ndarray, sidecar: str, head: bytes) -> None:
    """Depth, byte order, header and channels are the sidecar's; the lines are as many as there are bytes for."""
    file = open_raster(_raw(tmp_path / "web.raw", image, sidecar, head))
    assert (file.lines, file.columns, file.channels) == (LINES, COLUMNS, 2 if image.ndim == 3 else 1)
    pixels = _read(file)
    assert pixels.dtype.isnative
    np.testing.assert_array_equal(pixels, image)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.integers(1, TWO.nbytes), counted=st.booleans())
def test_of_a_raw_file_cut_anywhere_all_whole_lines_are_used(tmp_path: Path, cut: int, counted: bool) -> None:  # noqa: FBT001
    """Every whole line before the end is right; a part of a line, and the lines that were promised, are lost."""
    path = _raw(tmp_path / "web.raw", TWO, "channels = 2\n" + f"lines = {LINES}" * counted)
    path.write_bytes(path.read_bytes()[:cut])
    line_bytes = TWO.nbytes // LINES
    whole, promised = cut // line_bytes, LINES if counted else -(-cut // line_bytes)
    file = open_raster(path)
    assert file.lines == promised
    assert _lost(file) == ([(whole, promised - whole, "is cut off")] if promised > whole else [])
    blocks = list(file.blocks())
    if promised > whole:
        assert blocks.pop() == LostLines(lines=promised - whole, why="web.raw is cut off")
    np.testing.assert_array_equal(np.concatenate([TWO[:0], *blocks]), TWO[:whole])


def test_a_raw_file_that_shrinks_after_it_was_opened_loses_lines(tmp_path: Path) -> None:
    """A file cut short meanwhile neither ends the program nor gives made-up lines."""
    path = _raw(tmp_path / "web.raw", GREY8)
    file = open_raster(path)
    path.write_bytes(path.read_bytes()[: 20 * COLUMNS + 5])
    head, lost = file.blocks()
    np.testing.assert_array_equal(head, GREY8[:20])
    assert lost == LostLines(lines=25, why="web.raw is cut off")


@pytest.mark.parametrize(
    ("sidecar", "where", "rule"),
    [
        ('dtype = "uint8"', "field columns", "must be there"),
        ('columns = 0\ndtype = "uint8"', "field columns", "greater than or equal to 1"),
        ('columns = 61\ndtype = "float32"', "field dtype", "'uint8' or 'uint16'"),
        ('columns = 61\ndtype = "uint8"\nbyte_order = "middle"', "field byte_order", "'little' or 'big'"),
        ('columns = 61\ndtype = "uint8"\noffset_bytes = -1', "field offset_bytes", "greater than or equal to 0"),
        ('columns = 61\ndtype = "uint8"\nchannels = 0', "field channels", "greater than or equal to 1"),
        ('columns = 61\ndtype = "uint8"\nheader = 3', "field header", "no such field"),
    ],
)
def test_a_fault_in_the_sidecar_is_named(tmp_path: Path, refused, sidecar: str, where: str, rule: str) -> None:
    """What the sidecar says is checked like any other file of a plant."""
    path = _raw(tmp_path / "web.raw", GREY8)
    path.with_suffix(".toml").write_text(sidecar)
    with refused("web.toml", where, rule=rule):
        open_raster(path)


def test_a_raw_file_without_sidecar_or_pixels_is_refused(tmp_path: Path, refused) -> None:
    """Bare bytes say nothing about themselves, and a header alone is no raster."""
    path = _raw(tmp_path / "web.raw", GREY8, f"offset_bytes = {GREY8.nbytes}")
    with refused("web.raw", rule="must be whole", value=f"{GREY8.nbytes} bytes"):
        open_raster(path)
    path.with_suffix(".toml").unlink()
    with refused("web.toml", rule="web.raw needs this file beside it"):
        open_raster(path)
