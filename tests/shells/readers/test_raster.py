import io
import struct
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from wideroll.errors import InputError
from wideroll.readers import RasterFile, open_raster, open_segments
from wideroll.readers import raster_bands as bands_module
from wideroll.readers import raster_file as raster_module
from wideroll.scan import LostLines

LINES, COLUMNS = 45, 61
GREY8 = (np.add.outer(3 * np.arange(LINES), np.arange(COLUMNS)) % 251).astype(np.uint8)
GREY16 = GREY8.astype(np.uint16) * 257 + 3


def _tiff(image: np.ndarray = GREY8, **options: object) -> bytes:
    file = io.BytesIO()
    tifffile.imwrite(file, image, **({"photometric": "minisblack", "metadata": None} | options))
    return file.getvalue()


def _pillow(image: np.ndarray, kind: str, **options: object) -> bytes:
    file = io.BytesIO()
    Image.fromarray(image).save(file, kind, **options)
    return file.getvalue()


FILES = {
    "plain.tif": (_tiff(), GREY8),
    "plain-16.TIFF": (_tiff(GREY16), GREY16),
    "strips.tif": (_tiff(rowsperstrip=7), GREY8),
    "deflate.tif": (_tiff(compression="zlib", rowsperstrip=7), GREY8),
    "deflate-predicted.tif": (_tiff(GREY16, compression="zlib", predictor=True), GREY16),
    "lzw.tif": (_tiff(compression="lzw"), GREY8),
    "lzw-of-another-writer.tif": (_pillow(GREY8, "TIFF", compression="tiff_lzw"), GREY8),
    "packbits.tif": (_tiff(compression="packbits", rowsperstrip=7), GREY8),
    "zstd.tif": (_tiff(GREY16, compression="zstd", rowsperstrip=1), GREY16),
    "lines.tif": (_tiff(GREY16, rowsperstrip=1), GREY16),
    "tiled.tif": (_tiff(tile=(16, 32)), GREY8),
    "tiled-one-across.tif": (_tiff(tile=(16, 64)), GREY8),
    "tiled-deflate.tif": (_tiff(GREY16, tile=(16, 32), compression="zlib"), GREY16),
    "big-endian.tif": (_tiff(GREY16, byteorder=">"), GREY16),
    "big-endian-deflate.tif": (_tiff(GREY16, byteorder=">", compression="zlib"), GREY16),
    "bigtiff.btf": (_tiff(bigtiff=True), GREY8),
    "bigtiff-deflate.tif": (_tiff(GREY16, bigtiff=True, compression="zlib", rowsperstrip=7), GREY16),
    "grey-8.png": (_pillow(GREY8, "PNG"), GREY8),
    "grey-16.png": (_pillow(GREY16, "PNG"), GREY16),
}


def _read(file: RasterFile) -> np.ndarray:
    return np.concatenate(list(file.blocks()))


def _with_tag(data: bytes, tag: str, value: int) -> bytes:
    """A TIFF whose header says something else."""
    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        found = tiff.pages.first.tags[tag]
        offset, kind = found.valueoffset, {1: "B", 3: "H", 4: "I"}[found.dtype]
    changed = bytearray(data)
    struct.pack_into(f"<{kind}", changed, offset, value)
    return bytes(changed)


@pytest.mark.parametrize("name", FILES)
def test_the_pixels_come_as_they_were_written(tmp_path: Path, name: str) -> None:
    """Every layout of grey TIFF and PNG gives its size, its depth and exactly its pixels."""
    data, image = FILES[name]
    (tmp_path / name).write_bytes(data)
    file = open_raster(tmp_path / name)
    assert (file.lines, file.columns, file.dtype) == (*image.shape, image.dtype)
    pixels = _read(file)
    assert pixels.dtype.isnative
    np.testing.assert_array_equal(pixels, image)


@pytest.mark.parametrize("name", ["plain-16.TIFF", "deflate.tif", "grey-16.png"])
def test_blocks_are_whole_lines_and_together_the_image(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """However small a block must be, each has all columns and at least one line, and their heights add up."""
    data, image = FILES[name]
    (tmp_path / name).write_bytes(data)
    for least in (1, 1000):
        monkeypatch.setattr(raster_module, "_BLOCK_BYTES", least)
        blocks = list(open_raster(tmp_path / name).blocks())
        assert len(blocks) > 1
        assert {block.shape[1] for block in blocks} == {COLUMNS}
        np.testing.assert_array_equal(np.concatenate(blocks), image)


@pytest.mark.parametrize("name", FILES)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(share=st.floats(0, 1, exclude_max=True), tail=st.booleans())
def test_of_a_file_cut_anywhere_what_is_there_is_right(
    tmp_path: Path,
    well_said,
    name: str,
    share: float,
    tail: bool,  # noqa: FBT001
) -> None:
    """Wherever a copy broke off: an input error, or as many lines as promised, each either right or lost."""
    data, image = FILES[name]
    cut = len(data) - 1 - int(share * min(len(data), 40)) if tail else int(share * len(data))
    path = tmp_path / name
    path.write_bytes(data[:cut])
    try:
        file = open_raster(path)
    except InputError as error:
        well_said(error, str(path))
        return
    line = 0
    for block in file.blocks():
        if isinstance(block, LostLines):
            assert block.why in {f"{name} is cut off", f"{name} is damaged"}
            line += block.lines
        else:
            np.testing.assert_array_equal(block, image[line : line + len(block)])
            line += len(block)
    assert line == file.lines == LINES


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_damaged_header_never_crashes(tmp_path: Path, well_said, data: st.DataObject) -> None:
    """Bytes changed in a file's header give an input error or, read or lost, the lines the header says."""
    name = data.draw(st.sampled_from(sorted(FILES)))
    damaged = bytearray(FILES[name][0])
    places = st.integers(0, min(300, len(damaged)) - 1)
    for place, byte in data.draw(st.lists(st.tuples(places, st.integers(0, 255)), min_size=1, max_size=4)):
        damaged[place] = byte
    path = tmp_path / name
    path.write_bytes(damaged)
    try:
        file = open_raster(path)
        blocks = list(file.blocks())
    except InputError as error:
        well_said(error, str(path))
        return
    assert sum(block.lines if isinstance(block, LostLines) else len(block) for block in blocks) == file.lines
    for block in blocks:
        assert isinstance(block, LostLines) or (block.shape[1:], block.dtype) == ((file.columns,), file.dtype)


@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize(
    ("tag", "value"),
    [
        *(("ImageLength", value) for value in (0, LINES + 1, 60_000, 65_535)),
        *(("ImageWidth", value) for value in (0, COLUMNS + 1, 65_535)),
    ],
)
def test_a_header_that_claims_another_size_is_refused(
    tmp_path: Path, refused, compression: str | None, tag: str, value: int
) -> None:
    """A size that the file's strips don't hold is an error, not lines of zeros, nor memory for what isn't there."""
    path = tmp_path / "claims.tif"
    path.write_bytes(_with_tag(_tiff(compression=compression), tag, value))
    with refused("claims.tif", rule="must be whole"):
        list(open_segments([path], pitch_mm=(1, 1), source="").blocks())


def test_what_must_be_decoded_at_once_is_limited(tmp_path: Path, refused, monkeypatch: pytest.MonkeyPatch) -> None:
    """An image in one compressed strip, or a PNG, has a limit; the mend is to save it otherwise, not to copy it."""
    monkeypatch.setattr(bands_module, "MOST_BYTES_AT_ONCE", LINES * COLUMNS - 1)
    for name, data in {
        "one-strip.tif": _tiff(compression="zlib", rowsperstrip=LINES),
        "grey-8.png": FILES["grey-8.png"][0],
    }.items():
        (tmp_path / name).write_bytes(data)
        with refused(name, rule="has to fit in memory", value="45 lines of 61 bytes"):
            open_raster(tmp_path / name)
    for name in ("plain.tif", "deflate.tif"):
        (tmp_path / name).write_bytes(FILES[name][0])
        assert open_raster(tmp_path / name).lines == LINES


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"rowsperstrip": 16, "compression": "zlib"},
        {"rowsperstrip": 4, "compression": "zstd"},
        {"tile": (64, 256), "compression": "lzw"},
    ],
    ids=["plain", "strips", "narrow strips", "tiles"],
)
def test_a_large_raster_is_never_in_memory_as_a_whole(tmp_path: Path, options: dict[str, object]) -> None:
    """However it is stored, reading 64 MB takes less than half of that, the blocks ready ahead included."""
    image = np.tile(GREY8[:1], (32_000, 33))[:, :2000]
    path = tmp_path / "large.tif"
    path.write_bytes(_tiff(image, **options))
    raster = open_segments([path], pitch_mm=(1, 1), source="")
    tracemalloc.start()
    try:
        lines = sum(len(block) for block in raster.blocks())
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert lines == len(image)
    assert peak < image.nbytes / 2


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_part_of_any_layout_is_read_as_written(tmp_path: Path, data: st.DataObject) -> None:
    """Any shape, depth, compression, strips or tiles, byte order and range of lines gives what was written."""
    lines, columns = data.draw(st.integers(1, 70)), data.draw(st.integers(1, 70))
    depth = data.draw(st.sampled_from([np.uint8, np.uint16]))
    image = np.random.Generator(np.random.PCG64(lines * 71 + columns)).integers(0, 255, (lines, columns)).astype(depth)
    options: dict[str, object] = {
        "compression": data.draw(st.sampled_from([None, "zlib", "lzw", "zstd", "packbits"])),
        "byteorder": data.draw(st.sampled_from("<>")),
        "bigtiff": data.draw(st.booleans()),
    }
    if options["compression"] in {"zlib", "lzw", "zstd"}:
        options["predictor"] = data.draw(st.booleans())
    if data.draw(st.booleans()):
        options["tile"] = data.draw(st.sampled_from([(16, 16), (32, 16), (16, 80)]))
    else:
        options["rowsperstrip"] = data.draw(st.integers(1, 80))
    path = tmp_path / "any.tif"
    path.write_bytes(_tiff(image, **options))
    first = data.draw(st.integers(0, lines - 1))
    stop = data.draw(st.integers(first + 1, lines))
    np.testing.assert_array_equal(np.concatenate(list(open_raster(path).blocks(first, stop))), image[first:stop])


@pytest.mark.parametrize("name", ["a.tif", "a.png"])
def test_an_empty_file_a_folder_and_nothing_at_all_are_refused(tmp_path: Path, refused, name: str) -> None:
    """An empty file isn't whole; a folder in a file's place, or nothing, isn't there."""
    path = tmp_path / name
    with refused(name, rule="must be there"):
        open_raster(path)
    path.write_bytes(b"")
    with refused(name, rule="must be whole"):
        open_raster(path)
    path.unlink()
    path.mkdir()
    with refused(name, rule="must be there"):
        open_raster(path)


def test_a_file_of_another_kind_is_refused(tmp_path: Path, refused) -> None:
    """Neither another ending nor another content under a known ending is taken for a raster."""
    (tmp_path / "web.jpg").write_bytes(b"x")
    with refused("web.jpg", rule=".tif, .tiff, .btf, .raw or .png file, or a .zarr folder", value=".jpg"):
        open_raster(tmp_path / "web.jpg")
    (tmp_path / "web.png").write_bytes(_pillow(GREY8, "BMP"))
    with refused("web.png", rule="must be whole"):
        open_raster(tmp_path / "web.png")


COLOURED = {
    "rgb.tif": _tiff(np.dstack([GREY8] * 3), photometric="rgb"),
    "float.tif": _tiff(GREY8.astype(np.float32)),
    "signed.tif": _tiff(GREY8.astype(np.int16)),
    "bilevel.tif": _tiff(GREY8 > 100),
    "two-channels.tif": _tiff(np.dstack([GREY8] * 2), planarconfig="contig"),
    "12-bit.tif": _tiff(GREY8.astype(np.uint16), bitspersample=12),
    "palette.tif": _tiff(photometric="palette", colormap=np.zeros((3, 256), np.uint16)),
    "white-is-0.tif": _tiff(photometric="miniswhite"),
    "rgb.png": _pillow(np.dstack([GREY8] * 3), "PNG"),
    "alpha.png": _pillow(np.dstack([GREY8] * 2), "PNG"),
    "bilevel.png": _pillow(GREY8 > 100, "PNG"),
}


@pytest.mark.parametrize("name", COLOURED)
def test_what_is_not_plain_grey_is_refused(tmp_path: Path, refused, name: str) -> None:
    """Colour, palettes, other depths, and grey that runs the other way, are refused rather than misread."""
    (tmp_path / name).write_bytes(COLOURED[name])
    with refused(name, rule="grey, 8 or 16 bit"):
        open_raster(tmp_path / name)


def test_a_lossy_raster_is_refused(tmp_path: Path, refused) -> None:
    """What a lossy compression did to a mark nobody knows."""
    (tmp_path / "lossy.tif").write_bytes(_tiff(compression="jpeg", tile=(16, 16)))
    with refused("lossy.tif", rule="uncompressed or compressed by deflate, LZW, PackBits or zstd", value="JPEG"):
        open_raster(tmp_path / "lossy.tif")


def test_a_palette_png_is_refused(tmp_path: Path, refused) -> None:
    """A PNG with a palette holds numbers of colours, not grey."""
    Image.fromarray(GREY8).convert("P").save(tmp_path / "palette.png")
    with refused("palette.png", rule="grey, 8 or 16 bit", value="mode P"):
        open_raster(tmp_path / "palette.png")


def test_one_image_a_file(tmp_path: Path, refused) -> None:
    """Further pages would be left out unseen, so they are refused; a reduced copy of the image is no further page."""
    path = tmp_path / "pages.tif"
    path.write_bytes(_tiff(np.stack([GREY8, GREY8])))
    with refused("pages.tif", rule="holds one image", value="2 pages"):
        open_raster(path)
    with tifffile.TiffWriter(path) as writer:
        writer.write(GREY8, photometric="minisblack", metadata=None)
        writer.write(GREY8[::4, ::4], photometric="minisblack", metadata=None, subfiletype=1)
    np.testing.assert_array_equal(_read(open_raster(path)), GREY8)


def test_a_turned_image_is_refused(tmp_path: Path, refused) -> None:
    """A TIFF that asks to be shown turned or mirrored would put every mark in another place."""
    path = tmp_path / "turned.tif"
    path.write_bytes(_tiff(extratags=[(274, 3, 1, 3, True)]))
    with refused("turned.tif", rule="orientation 1", value=3):
        open_raster(path)
    path.write_bytes(_tiff(extratags=[(274, 3, 1, 1, True)]))
    assert open_raster(path).lines == LINES


def test_damage_is_said_once(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """The libraries underneath don't add lines of their own to what is said about a damaged file."""
    path = tmp_path / "cut.tif"
    path.write_bytes(_tiff(rowsperstrip=7)[:150])
    with pytest.raises(InputError):
        open_raster(path)
    assert capfd.readouterr() == ("", "")
