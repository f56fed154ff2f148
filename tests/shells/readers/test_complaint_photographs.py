"""Photographs of complaints: what is taken, what is refused, and the small copy for a page."""

import io

import numpy as np
import pytest
from PIL import Image

from wideroll.errors import InputError
from wideroll.readers import complaint_photographs
from wideroll.readers.complaint_photographs import read_complaint_photograph, small_jpeg

RAMP = np.linspace(0, 255, 60 * 40).reshape(40, 60).astype(np.uint8)


def _saved(path, image, **options):
    image.save(path, **options)
    return path


@pytest.mark.parametrize(
    ("name", "ending", "mode"),
    [
        *(("a.png", ".png", mode) for mode in ("RGB", "L", "RGBA", "P", "1")),
        *(("a.jpeg", ".jpg", mode) for mode in ("RGB", "L", "CMYK")),
        *(("a.TIFF", ".tif", mode) for mode in ("RGB", "L", "CMYK")),
    ],
)
def test_a_photograph_is_taken_as_it_came(tmp_path, name, ending, mode):
    """PNG, JPEG and TIFF of any colour are taken byte by byte, and made small in colour."""
    path = _saved(tmp_path / name, Image.fromarray(RAMP).convert("RGB").convert(mode))
    read = read_complaint_photograph(path)
    assert (read.name, read.ending, read.data) == (name, ending, path.read_bytes())
    with Image.open(io.BytesIO(small_jpeg(read.data))) as small:
        assert (small.format, small.mode, small.size) == ("JPEG", "RGB", (60, 40))


def test_the_kind_is_by_the_content(tmp_path):
    """A JPEG that is called .png is kept as what it is."""
    path = _saved(tmp_path / "a.png", Image.fromarray(RAMP), format="JPEG")
    assert read_complaint_photograph(path).ending == ".jpg"


def test_a_deep_grey_is_shown_from_dark_to_light(tmp_path):
    """A grey of 16 bit that fills a part of its range is seen on the page."""
    path = _saved(tmp_path / "a.tif", Image.fromarray(RAMP.astype(np.uint16) + 3000))
    with Image.open(io.BytesIO(small_jpeg(read_complaint_photograph(path).data))) as small:
        seen = np.asarray(small.convert("L"))
    assert seen.min() < 10
    assert seen.max() > 245


def test_a_small_copy_is_upright_and_says_nothing_else(tmp_path):
    """What the camera wrote of its position turns the copy and then is left away, and a large one is made small."""
    exif = Image.Exif()
    exif[0x0112] = 6
    exif[0x010F] = "A Camera"
    path = _saved(tmp_path / "a.jpg", Image.new("RGB", (3000, 1000)), exif=exif)
    data = small_jpeg(read_complaint_photograph(path).data)
    with Image.open(io.BytesIO(data)) as small:
        assert small.size == (400, 1200)
        assert not small.getexif()
    assert data == small_jpeg(path.read_bytes())


@pytest.mark.parametrize("content", [b"", b"no picture", b"GIF89a\x01\x00\x01\x00\x00\x00\x00;"])
def test_what_is_no_photograph_is_refused(tmp_path, content):
    """An empty file, a text and a picture of another kind are refused by name."""
    path = tmp_path / "a.jpg"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"a\.jpg.*whole PNG, JPEG or TIFF"):
        read_complaint_photograph(path)


@pytest.mark.parametrize("name", ["a.png", "a.jpg", "a.tif"])
def test_a_photograph_that_was_cut_off_is_refused(tmp_path, name):
    """A file that ends too early is refused, as nobody could look at it later."""
    whole = _saved(tmp_path / name, Image.fromarray(np.tile(RAMP, (20, 20)))).read_bytes()
    (tmp_path / name).write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match="whole"):
        read_complaint_photograph(tmp_path / name)


def test_what_is_too_large_is_refused(tmp_path, monkeypatch):
    """Too many bytes, and too many pixels, are refused before they are read or decoded."""
    path = _saved(tmp_path / "a.png", Image.fromarray(RAMP))
    monkeypatch.setattr(complaint_photographs, "_MOST_PIXELS", 2399)
    with pytest.raises(InputError, match="60 by 40"):
        read_complaint_photograph(path)
    monkeypatch.setattr(complaint_photographs, "_MOST_BYTES", 50)
    with pytest.raises(InputError, match="40 MB"):
        read_complaint_photograph(path)


def test_what_is_no_file_is_refused(tmp_path):
    """A folder, and a path where nothing is, are refused."""
    for path in (tmp_path, tmp_path / "nothing.jpg"):
        with pytest.raises(InputError, match="a file that is there"):
            read_complaint_photograph(path)
