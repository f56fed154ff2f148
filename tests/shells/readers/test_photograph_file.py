"""Photographs from PNG and JPEG."""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms, PngImagePlugin

from wideroll.examination import measure_photograph
from wideroll.readers.photograph_file import read_photograph
from wideroll.synthetic import draw_photograph

MADE = draw_photograph(density=(0.3, 0.05, 0.0), across_pixels=30.0, seed=1)
PIXELS = MADE.photograph.pixels


def _save(path: Path, pixels=PIXELS, **how) -> Path:
    Image.fromarray(pixels).save(path, **how)
    return path


def test_a_png_is_read_as_it_is(tmp_path: Path) -> None:
    """Code values are kept, and the photograph says that sRGB was taken for granted."""
    found = read_photograph(_save(tmp_path / "a.png"))
    assert (found.pixels == PIXELS).all()
    assert found.gamma is None
    assert found.taken_for == "sRGB; the file doesn't say"


def test_a_jpeg_tells_nearly_the_same_as_the_scene(tmp_path: Path) -> None:
    """Compression at good quality leaves the density within its uncertainty."""
    found = measure_photograph(read_photograph(_save(tmp_path / "a.jpg", quality=95, subsampling=0)), mm_per_pixel=0.01)
    assert np.abs(found.change.density - MADE.density) == pytest.approx(0.0, abs=0.03)


def test_a_profile_of_srgb_changes_nothing_and_is_named(tmp_path: Path) -> None:
    """The usual profile is recognised."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    found = read_photograph(_save(tmp_path / "a.png", icc_profile=profile))
    assert (found.pixels == PIXELS).all()
    assert "as its profile says" in found.taken_for


def test_the_gamma_of_a_png_is_used(tmp_path: Path) -> None:
    """A PNG that says it is linear is taken as linear."""
    info = PngImagePlugin.PngInfo()
    info.add(b"gAMA", (100_000).to_bytes(4, "big"))
    found = read_photograph(_save(tmp_path / "a.png", pnginfo=info))
    assert found.gamma == pytest.approx(1.0)
    assert "gamma 1" in found.taken_for


def test_an_opaque_alpha_channel_is_dropped(tmp_path: Path) -> None:
    """Transparency that isn't there does no harm; real transparency is refused below."""
    alpha = np.dstack([PIXELS, np.full(PIXELS.shape[:2], 255, dtype=np.uint8)])
    assert (read_photograph(_save(tmp_path / "a.png", alpha)).pixels == PIXELS).all()


@pytest.mark.parametrize(
    ("pixels", "rule"),
    [
        (PIXELS[:, :, 0], "in colour"),
        (np.dstack([PIXELS, PIXELS[:, :, 0]]), "transparent"),
    ],
)
def test_photographs_without_colour_are_refused(tmp_path: Path, refused, pixels, rule) -> None:
    """Grey and transparent pictures are named with what to do."""
    with refused("a.png", rule=rule):
        read_photograph(_save(tmp_path / "a.png", np.ascontiguousarray(pixels)))


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\x89PNG\r\n\x1a\n\x00\x00"])
def test_damage_is_one_error(tmp_path: Path, refused, content) -> None:
    """A file that is no picture, or cut off, is refused by name."""
    path = tmp_path / "a.png"
    path.write_bytes(content)
    with refused("a.png", rule="whole PNG or JPEG"):
        read_photograph(path)
    whole = _save(tmp_path / "b.png").read_bytes()
    (tmp_path / "b.png").write_bytes(whole[: len(whole) // 2])
    with refused("b.png", rule="whole PNG or JPEG"):
        read_photograph(tmp_path / "b.png")


def test_a_photograph_that_isnt_there_is_refused(tmp_path: Path, refused) -> None:
    """The missing file is named."""
    with refused("gone.png", rule="must be there"):
        read_photograph(tmp_path / "gone.png")
