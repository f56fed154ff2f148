"""Pictures that are sent: taken as they are, or refused before anything is unpacked."""

import asyncio
import io
import struct
import zlib

import pytest
from PIL import Image
from starlette.datastructures import UploadFile

from wideroll.errors import InputError
from wideroll.server.uploads import read_upload


def _read(data, name="spot.png", **most):
    upload = UploadFile(io.BytesIO(data), filename=name)
    return asyncio.run(read_upload(upload, where="photograph", **most))


def _picture(kind, size=(30, 20), **rest):
    out = io.BytesIO()
    Image.new("RGB", size).save(out, kind, **rest)
    return out.getvalue()


def _png_that_says(columns, rows):
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", columns, rows, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(99))) + chunk(b"IEND", b"")


@pytest.mark.parametrize(("kind", "ending"), [("PNG", ".png"), ("JPEG", ".jpg"), ("TIFF", ".tif")])
def test_a_picture_is_taken_as_it_came(kind, ending):
    """Its bytes are those that were sent; its ending is that of what it is, whatever it was called."""
    data = _picture(kind)
    upload = _read(data, name="spot.exe")
    assert (upload.data, upload.ending, upload.columns, upload.rows) == (data, ending, 30, 20)


@pytest.mark.parametrize(
    ("name", "kept"),
    [("../../etc/passwd", "passwd"), ("C:\\x\\spot 1.png", "spot_1.png"), (".htaccess", "htaccess"), ("", "picture")],
)
def test_a_name_never_leads_anywhere(name, kept):
    """Of the name it came with only a harmless last part is kept."""
    assert _read(_picture("PNG"), name=name).name == kept


@pytest.mark.parametrize("columns", [9000, 65_000])
def test_a_bomb_is_refused_by_its_head(columns):
    """A small file that would unpack to very many pixels is refused by what its head says."""
    with pytest.raises(InputError, match="must have at most 80 million pixels"):
        _read(_png_that_says(columns, columns))


def test_a_file_of_very_many_pages_is_refused():
    """A TIFF with more pages than a camera makes is refused without counting them all."""
    pages = [Image.new("L", (4, 4)) for _ in range(9)]
    with pytest.raises(InputError, match="and more pages"):
        _read(_picture("TIFF", save_all=True, append_images=pages))


@pytest.mark.parametrize("data", [b"", b"<svg onload='alert(1)'/>", b"GIF89a" + bytes(99), _picture("PNG")[:20]])
def test_what_is_no_picture_is_refused(data):
    """Nothing but PNG, JPEG and TIFF is taken."""
    with pytest.raises(InputError, match="photograph: must be a"):
        _read(data)


def test_reading_stops_where_there_is_too_much():
    """A file longer than allowed is refused before all of it is read."""
    file = UploadFile(io.BytesIO(bytes(5_000_000)), filename="x.png")
    with pytest.raises(InputError, match="at most 1 MB"):
        asyncio.run(read_upload(file, where="photograph", most_bytes=1_000_000))
    assert file.file.tell() < 2_000_000
