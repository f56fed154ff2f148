import io
import struct
import threading
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from wideroll.errors import ArgumentError, InputError
from wideroll.readers import SegmentedRaster, open_raster, open_segments
from wideroll.scan import LinePlaces, LostLines

LINES, COLUMNS = 40, 61
PITCH_MM = (0.5, 0.2)
GREY = (np.add.outer(3 * np.arange(3 * LINES), np.arange(COLUMNS)) % 251).astype(np.uint8)
A, B, C = GREY[:LINES], GREY[LINES : 2 * LINES], GREY[2 * LINES :]


def _tiff(image: np.ndarray = A, **options: object) -> bytes:
    file = io.BytesIO()
    tifffile.imwrite(file, image, **({"photometric": "minisblack", "metadata": None} | options))
    return file.getvalue()


def _strip(data: bytes, number: int) -> tuple[int, int]:
    """Offset and bytes of a strip or tile."""
    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        return tiff.pages.first.dataoffsets[number], tiff.pages.first.databytecounts[number]


def _spoilt(data: bytes, number: int) -> bytes:
    """With the middle of a strip overwritten."""
    offset, count = _strip(data, number)
    middle = offset + count // 3
    return data[:middle] + b"\xff" * (count // 3) + data[middle + count // 3 :]


@pytest.fixture
def scan(tmp_path: Path):
    """Write files and open them as one raster, by default 0.5 mm a line, in the order they are given."""

    def scan(files: dict[str, bytes], **options: object) -> SegmentedRaster:
        for name, data in files.items():
            (tmp_path / name).write_bytes(data)
        return open_segments([tmp_path / name for name in files], **({"pitch_mm": PITCH_MM, "source": "s"} | options))

    return scan


def _in_place(raster: SegmentedRaster, *lines: int) -> tuple[np.ndarray, np.ndarray]:
    """The raster with zeros where lines are lost, and whether each line was read."""
    image = np.zeros((raster.lines, raster.columns), raster.dtype)
    read = np.zeros(raster.lines, bool)
    first, stop = lines or (0, raster.lines)
    at = first
    for block in raster.blocks(first, stop):
        if isinstance(block, LostLines):
            at += block.lines
        else:
            image[at : at + len(block)] = block
            read[at : at + len(block)] = True
            at += len(block)
    assert at == stop
    return image, read


def test_segments_follow_one_another_from_the_head(scan) -> None:
    """Several files of different layouts are one raster in the order they were named."""
    png = io.BytesIO()
    Image.fromarray(B).save(png, "PNG")
    raster = scan({"a.tif": _tiff(tile=(16, 32)), "b.png": png.getvalue(), "c.tif": _tiff(C, compression="lzw")})
    assert (raster.lines, raster.columns, raster.dtype, raster.channels) == (3 * LINES, COLUMNS, np.uint8, 1)
    assert (raster.pitch_mm, raster.source, raster.channel_names, raster.places) == (PITCH_MM, "s", (), None)
    assert raster.damage() == ()
    np.testing.assert_array_equal(np.concatenate(list(raster.blocks())), GREY)
    assert not [thread for thread in threading.enumerate() if thread.name == "read-ahead"]


@pytest.mark.parametrize(
    ("other", "says"),
    [(A.astype(np.uint16), "61 pixels, uint16"), (A[:, :60], "60 pixels, uint8")],
)
def test_a_segment_of_another_scan_is_refused(scan, refused, other: np.ndarray, says: str) -> None:
    """A segment of another width or depth is named, with what it has."""
    with refused("b.tif", rule="61 pixels wide and uint8 like a.tif", value=says):
        scan({"a.tif": _tiff(), "b.tif": _tiff(other)})


def test_a_gap_between_segments_was_not_looked_at(scan) -> None:
    """Where the second starts later than the first ends, and the first later than the head, lines are lost."""
    raster = scan({"a.tif": _tiff(A), "b.tif": _tiff(B)}, starts_m=[0.002, 0.030])
    assert raster.lines == 100
    image, read = _in_place(raster)
    np.testing.assert_array_equal(np.flatnonzero(~read), [0, 1, 2, 3, *range(44, 60)])
    np.testing.assert_array_equal(image[read], GREY[:80])
    gaps = [block for block in raster.blocks() if isinstance(block, LostLines)]
    assert gaps == [
        LostLines(lines=4, why="not scanned before a.tif"),
        LostLines(lines=16, why="not scanned between a.tif and b.tif"),
    ]
    assert raster.damage() == ()


@pytest.mark.parametrize("start_m", [0.01955, 0.0196, 0.0200, 0.0204])
def test_a_start_within_a_line_of_the_end_before_is_no_gap(scan, start_m: float) -> None:
    """A start is written to some digits: less than a line off, the segment follows."""
    raster = scan({"a.tif": _tiff(A), "b.tif": _tiff(B)}, starts_m=[None, start_m])
    np.testing.assert_array_equal(np.concatenate(list(raster.blocks())), GREY[:80])


@pytest.mark.parametrize(
    ("starts_m", "value"), [((0.02, 0.0), "0 m"), ((0.0, 0.019), "0.019 m"), ((None, 0.01), "0.01 m")]
)
def test_segments_swapped_or_overlapping_are_refused(scan, refused, starts_m: tuple[float, ...], value: str) -> None:
    """A segment that starts more than a line before the last one ends is named with both places."""
    with refused("scan.toml, field segments.2.from", rule="b.tif must not start before", value=value):
        scan({"a.tif": _tiff(A), "b.tif": _tiff(B)}, starts_m=starts_m, where="scan.toml")


def test_starts_are_placed_by_the_encoder_where_there_is_one(scan) -> None:
    """A web that ran half as fast has twice the lines in a metre, so the same start lies at another line."""
    slow = LinePlaces(lines=(0.0, 100.0), metres=(0.0, 0.025))
    raster = scan({"a.tif": _tiff(A), "b.tif": _tiff(B)}, starts_m=[0.0, 0.015], places=slow)
    assert (raster.starts, raster.lines, raster.places) == ((0, 60), 100, slow)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_range_of_lines_is_the_same_as_in_the_whole(scan, data: st.DataObject) -> None:
    """Read from anywhere to anywhere, over gaps, borders and damage: the same pixels and the same lines lost."""
    spoilt = _spoilt(_tiff(B, compression="zlib", rowsperstrip=7), 2)
    raster = scan({"a.tif": _tiff(A, rowsperstrip=9)[:-100], "b.tif": spoilt}, starts_m=[None, 0.0225])
    whole, read = _in_place(raster)
    first = data.draw(st.integers(0, raster.lines))
    stop = data.draw(st.integers(first, raster.lines))
    part, read_in_part = _in_place(raster, first, stop)
    np.testing.assert_array_equal(read_in_part[first:stop], read[first:stop])
    np.testing.assert_array_equal(part[first:stop], whole[first:stop])
    assert not np.delete(read_in_part, slice(first, stop)).any()


def test_lines_that_are_not_the_rasters_are_refused(scan) -> None:
    """Asking beyond the end is a mistake in the call, not an empty answer."""
    with pytest.raises(ArgumentError, match="within 0 to 40"):
        scan({"a.tif": _tiff()}).blocks(10, 41)


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(missing=st.integers(1, A.nbytes - COLUMNS), rows=st.sampled_from([1, 7, 40]))
def test_of_a_truncated_segment_every_whole_line_is_used(scan, missing: int, rows: int) -> None:
    """Wherever an uncompressed file breaks off, the lines before are right, the rest lost, and the header knows it."""
    data = _tiff(A, rowsperstrip=rows)
    raster = scan({"a.tif": data[:-missing], "b.tif": _tiff(B)})
    lost = -(-missing // COLUMNS)
    said = [(one.file, one.first, one.lines, one.why) for one in raster.damage()]
    assert said == [("a.tif", LINES - lost, lost, "a.tif is cut off")]
    image, read = _in_place(raster)
    np.testing.assert_array_equal(np.flatnonzero(~read), np.arange(LINES - lost, LINES))
    np.testing.assert_array_equal(image[read], GREY[:80][read])
    assert [(one.file, one.first, one.lines, one.why) for one in raster.damage()] == said


@pytest.mark.parametrize("compression", ["zlib", "lzw"])
@pytest.mark.parametrize(
    ("options", "number", "lost"),
    [({"rowsperstrip": 7}, 2, (14, 21)), ({"rowsperstrip": 7}, 5, (35, 40)), ({"tile": (16, 16)}, 6, (16, 32))],
)
def test_a_corrupt_strip_or_tile_loses_only_its_lines(
    scan, compression: str, options: dict[str, object], number: int, lost: tuple[int, int]
) -> None:
    """What can't be decoded is lost in its place; it is known only once it was read, and then said once."""
    data = _tiff(A, compression=compression, **options)
    raster = scan({"a.tif": _spoilt(data, number)})
    assert raster.damage() == ()
    for _ in range(2):
        image, read = _in_place(raster)
        np.testing.assert_array_equal(np.flatnonzero(~read), np.arange(*lost))
        np.testing.assert_array_equal(image[read], A[read])
        (damage,) = raster.damage()
        assert (damage.first, damage.lines) == (lost[0], lost[1] - lost[0])
        assert str(damage) == (
            f"a.tif is damaged: {damage.lines} lines are lost, "
            f"from {lost[0] * 0.0005:.3f} m to {lost[1] * 0.0005:.3f} m from the head"
        )


def test_a_strip_never_written_is_lost(scan) -> None:
    """A strip without bytes, as a scanner that lost power leaves it, isn't read as zeros."""
    for options in ({"compression": "zlib"}, {}):
        data = bytearray(_tiff(A, rowsperstrip=10, **options))
        with tifffile.TiffFile(io.BytesIO(bytes(data))) as tiff:
            tag = tiff.pages.first.tags["StripOffsets"]
        struct.pack_into("<I", data, tag.valueoffset + 4, 0)
        raster = scan({"a.tif": bytes(data)})
        assert [str(one) for one in raster.damage()] == [
            "a.tif was not written whole: 10 lines are lost, from 0.005 m to 0.010 m from the head"
        ]
        image, read = _in_place(raster)
        np.testing.assert_array_equal(np.flatnonzero(~read), np.arange(10, 20))
        np.testing.assert_array_equal(image[read], A[read])


def test_damage_is_placed_by_the_encoder(scan) -> None:
    """The metres lost are the web's, not lines times a steady pitch."""
    slow = LinePlaces(lines=(0.0, 20.0, 40.0), metres=(0.0, 0.01, 0.012))
    raster = scan({"a.tif": _tiff(A)[: -10 * COLUMNS]}, places=slow)
    (damage,) = raster.damage()
    assert (damage.along_from_m, damage.along_to_m) == pytest.approx((0.011, 0.012))


def test_a_lost_segment_does_not_take_the_others_with_it(scan) -> None:
    """A PNG that broke off, and a TIFF of which nothing but the header is there, are lost; the rest is used."""
    png = io.BytesIO()
    Image.fromarray(B).save(png, "PNG")
    data = _tiff(C)
    raster = scan({"a.tif": _tiff(A), "b.png": png.getvalue()[:-30], "c.tif": data[: _strip(data, 0)[0]]})
    image, read = _in_place(raster)
    np.testing.assert_array_equal(np.flatnonzero(read), np.arange(LINES))
    np.testing.assert_array_equal(image[read], A)
    assert [(one.first, one.lines, one.why) for one in raster.damage()] == [
        (40, 40, "b.png is damaged"),
        (80, 40, "c.tif is cut off"),
    ]


def test_a_scan_of_which_nothing_can_be_read_is_refused(scan, refused) -> None:
    """No line at all is not a scan: refused at once where the header tells, else once every line was tried."""
    data = _tiff(A)
    with refused("a.tif", rule="must be whole", value="no line can be read; a.tif is cut off: 40 lines are lost"):
        scan({"a.tif": data[: _strip(data, 0)[0]]})
    raster = scan({"a.tif": _spoilt(_tiff(A, compression="zlib", rowsperstrip=40), 0)})
    with refused("a.tif", rule="must be whole", value="a.tif is damaged: 40 lines are lost"):
        list(raster.blocks())


def test_a_truncated_copy_with_a_smaller_one_behind_it_is_used(scan) -> None:
    """A reduced copy of the image at the file's end may be cut away with the last lines."""
    file = io.BytesIO()
    with tifffile.TiffWriter(file) as writer:
        writer.write(A, photometric="minisblack", metadata=None, rowsperstrip=10)
        writer.write(A[::4, ::4], photometric="minisblack", metadata=None, subfiletype=1)
    offset, count = _strip(file.getvalue(), 0)
    raster = scan({"a.tif": file.getvalue()[: offset + 2 * count + 5]})
    assert [(one.first, one.lines) for one in raster.damage()] == [(20, 20)]
    np.testing.assert_array_equal(_in_place(raster)[0][:20], A[:20])


def test_a_file_gone_since_it_was_opened_is_an_input_error(scan, tmp_path: Path, well_said) -> None:
    """A segment that was taken away while the scan waited is named."""
    raster = scan({"a.tif": _tiff(A), "b.tif": _tiff(B)})
    (tmp_path / "b.tif").unlink()
    with pytest.raises(InputError) as caught:
        list(raster.blocks())
    well_said(caught.value, "b.tif")


TWO = np.dstack([A, A[::-1]])
SEVERAL = {
    "pixel by pixel": {"planarconfig": "contig"},
    "pixel by pixel, red, green and blue": {"photometric": "rgb"},
    "pixel by pixel, deflate": {"planarconfig": "contig", "compression": "zlib", "rowsperstrip": 7},
    "pixel by pixel, tiles": {"planarconfig": "contig", "tile": (16, 16)},
    "planes": {"planarconfig": "separate"},
    "planes in strips": {"planarconfig": "separate", "rowsperstrip": 7},
    "planes, big-endian": {"planarconfig": "separate", "rowsperstrip": 7, "byteorder": ">"},
    "planes, zstd": {"planarconfig": "separate", "rowsperstrip": 7, "compression": "zstd"},
    "planes, tiles": {"planarconfig": "separate", "tile": (16, 16), "compression": "lzw"},
}


@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
@pytest.mark.parametrize("kind", SEVERAL)
def test_channels_come_side_by_side(scan, kind: str, depth: type) -> None:
    """However a TIFF stores its channels, blocks are lines, pixels, channels, once scan.toml names them."""
    options = SEVERAL[kind]
    image = (np.dstack([A, B, C]) if "photometric" in options else TWO).astype(depth)
    written = np.moveaxis(image, 2, 0) if options.get("planarconfig") == "separate" else image
    names = ("infrared", "red", "far red")[: image.shape[2]]
    raster = scan({"a.tif": _tiff(written, **options)}, channels=names)
    assert (raster.channels, raster.channel_names) == (len(names), names)
    assert (raster.lines, raster.columns) == (LINES, COLUMNS)
    np.testing.assert_array_equal(np.concatenate(list(raster.blocks())), image)


def test_a_truncated_file_of_planes_keeps_the_lines_that_all_planes_have(scan) -> None:
    """A line is there when each of its channels is."""
    data = _tiff(np.moveaxis(TWO, 2, 0), planarconfig="separate", rowsperstrip=7)
    raster = scan({"a.tif": data[: -10 * COLUMNS - 1]}, channels=("infrared", "red"))
    assert [(one.first, one.lines) for one in raster.damage()] == [(29, 11)]
    block, lost = raster.blocks()
    np.testing.assert_array_equal(block, TWO[:29])
    assert lost == LostLines(lines=11, why="a.tif is cut off")


@pytest.mark.parametrize(
    ("image", "options", "names", "rule"),
    [
        (TWO, {"planarconfig": "contig"}, (), "grey, 8 or 16 bit"),
        (np.dstack([A, B, C]), {"photometric": "rgb"}, (), "grey, 8 or 16 bit"),
        (np.dstack([A, B, C]), {"photometric": "rgb"}, ("infrared", "red"), "the 2 channels that scan.toml names"),
        (A, {}, ("infrared", "red"), "the 2 channels that scan.toml names (infrared, red)"),
    ],
)
def test_channels_are_read_only_as_named(
    scan, refused, image: np.ndarray, options: dict[str, object], names: tuple[str, ...], rule: str
) -> None:
    """A colour picture by accident, and more or fewer channels than named, are refused."""
    with refused("a.tif", rule=rule):
        scan({"a.tif": _tiff(image, **options)}, channels=names)


def test_one_named_channel_is_grey(scan) -> None:
    """Naming the only channel changes nothing."""
    raster = scan({"a.tif": _tiff()}, channels=("infrared",))
    assert (raster.channels, raster.channel_names) == (1, ("infrared",))
    np.testing.assert_array_equal(np.concatenate(list(raster.blocks())), A)


def test_what_a_file_knows_of_itself_is_told_when_it_is_opened(tmp_path: Path) -> None:
    """One file's losses are told before any pixel is read, in its own lines."""
    path = tmp_path / "a.tif"
    path.write_bytes(_tiff(A)[: -3 * COLUMNS])
    (lost,) = open_raster(path).known_lost
    assert (lost.first, lost.lines, lost.why) == (37, 3, "is cut off")
