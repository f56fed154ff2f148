"""Pictures that are sent: taken as they are, or refused before anything is unpacked."""

import asyncio
import io
import struct
import zlib

import pytest
from PIL import Image
from starlette.datastructures import UploadFile
from starlette.requests import Request

from wideroll.errors import InputError
from wideroll.server.uploads import read_upload


@pytest.fixture
def read(people):
    """What is read of a file that somebody sends."""
    headers = [(b"host", b"127.0.0.1:8642")]
    request = Request({"type": "http", "app": people.app, "path": "/x", "headers": headers, "server": ("127.0.0.1", 1)})

    def of(data, name="spot.png", **most):
        upload = UploadFile(data if hasattr(data, "read") else io.BytesIO(data), filename=name)
        return asyncio.run(read_upload(request, upload, where="photograph", **most))

    return of


@pytest.fixture
def refused(people, read):
    """That a file is refused in some words, and that it stands in the log."""

    def of(words, data, **rest):
        with pytest.raises(InputError, match=words) as caught:
            read(data, **rest)
        assert people.log()[0].what.startswith(f"upload: {caught.value.rule}")

    return of


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
def test_a_picture_is_taken_as_it_came(read, kind, ending):
    """Its bytes are those that were sent; its ending is that of what it is, whatever it was called."""
    data = _picture(kind)
    upload = read(data, name="spot.exe")
    assert (upload.data, upload.ending, upload.columns, upload.rows) == (data, ending, 30, 20)


@pytest.mark.parametrize(
    ("name", "kept"),
    [("../../etc/passwd", "passwd"), ("C:\\x\\spot 1.png", "spot_1.png"), (".htaccess", "htaccess"), ("", "picture")],
)
def test_a_name_never_leads_anywhere(read, name, kept):
    """Of the name it came with only a harmless last part is kept."""
    assert read(_picture("PNG"), name=name).name == kept


@pytest.mark.parametrize("columns", [9000, 65_000])
def test_a_bomb_is_refused_by_its_head(refused, columns):
    """A small file that would unpack to very many pixels is refused by what its head says."""
    refused("must have at most 80 million pixels", _png_that_says(columns, columns))


def test_a_file_of_very_many_pages_is_refused(refused):
    """A TIFF with more pages than a camera makes is refused without counting them all."""
    pages = [Image.new("L", (4, 4)) for _ in range(9)]
    refused("and more pages", _picture("TIFF", save_all=True, append_images=pages))


@pytest.mark.parametrize("data", [b"", b"<svg onload='alert(1)'/>", b"GIF89a" + bytes(99), _picture("PNG")[:20]])
def test_what_is_no_picture_is_refused(refused, data):
    """Nothing but PNG, JPEG and TIFF is taken."""
    refused("photograph: must be a", data)


def test_reading_stops_where_there_is_too_much(refused):
    """A file longer than allowed is refused before all of it is read."""
    file = io.BytesIO(bytes(5_000_000))
    refused("at most 1 MB", file, most_bytes=1_000_000)
    assert file.tell() < 2_000_000
