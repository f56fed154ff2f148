"""Two rolls to look at: a short one with its raster, and a longer one of which only an overview is left."""

import asyncio
import shutil

import httpx
import numpy as np
import polars as pl
import pytest
import tifffile

from wideroll.readers import PlantFolder
from wideroll.roll import MARKS_SCHEMA, Extent
from wideroll.server.app import create_app
from wideroll.server.desk import LOOPBACK, DeskSettings
from wideroll.store import PyramidWriter, ResultsFolder
from wideroll.workflow import scan_web

PLANT = """\
name = "Little Mere, line 1"
web_width = "150 mm"
datum_edge = "drive side"
[[scanners]]
name = "line-end scanner"
wavelength_nm = 850
"""
PRODUCT = """\
film_type = "black-and-white"
sensitisation_nm = [[380, 690]]
[aims]
tolerance_density = 0.1
log_h = [-2.0, -1.5, -1.0, -0.5, 0.0]
visual = [0.2, 0.5, 1.0, 1.5, 2.0]
[reference]
limit_density = 0.05
[reference.aims]
tolerance_density = 0.05
log_h = [-2.0, -1.5, -1.0, -0.5, 0.0]
visual = [0.2, 0.5, 1.0, 1.5, 2.0]
[[criteria]]
name = "Marks"
measurand = "rate of marks"
limit = 200
unit = "per m²"
consequence = "reject"
[[widths]]
name = "35 mm"
width = "34.975 mm"
tolerance = "0.025 mm"
value_per_m = 2
"""
BATCH = """\
[[batches]]
name = "E-1"
along_from = "0 m"
along_to = "0.495 m"
"""
SCAN = """\
scanner = "line-end scanner"
pitch_along = "0.3 mm"
pitch_across = "0.3 mm"
segments = ["a.tif", "b.tif"]
"""
LINES, COLUMNS, RIM = 1_650, 520, 10
SPOTS = ((400, 333), (1_299, 101))
"""Line and column of single pixels that are far darker than the rest."""
ROWS, CELLS = 6_000, 20
MARKED = ((37, 3), (4_863, 11), (4_864, 0), (5_999, 19))
"""Row and cell of cells of the long roll that are far darker than the rest."""


def web():
    """A web with rims beside it and spots of one pixel."""
    pixels = np.random.Generator(np.random.PCG64(3)).normal(150.0, 2.0, (LINES, COLUMNS))
    pixels[:, :RIM] = pixels[:, -RIM:] = 250.0
    for line, column in SPOTS:
        pixels[line, column] = 60.0
    pixels[800:804, 250:262] = 70.0
    return np.rint(pixels).astype(np.uint8)


def cells():
    """Mean and worst of the long roll's finest level, with a stretch that nobody looked at."""
    random = np.random.Generator(np.random.PCG64(4))
    mean = (1.0 + 0.002 * random.standard_normal((ROWS, CELLS))).astype(np.float32)
    worst = (mean + 0.05 * random.standard_normal((ROWS, CELLS))).astype(np.float32)
    for place in MARKED:
        worst[place] = 0.25
    mean[1_000:1_500] = worst[1_000:1_500] = np.nan
    return mean, worst


def marks(count, *, seed=5):
    """Invented marks over the long roll."""
    random = np.random.Generator(np.random.PCG64(seed))
    kinds = np.array(["spot", "comet", "scratch"])
    return pl.DataFrame(
        {
            **{name: random.uniform(0.1, 2.0, count) for name in ("length_mm", "width_mm", "area_mm2", "snr", "peak")},
            "id": [f"m{n:011d}" for n in range(count)],
            "along_m": random.uniform(0.0, 60.0, count),
            "across_mm": random.uniform(0.0, 200.0, count),
            "contrast": random.uniform(0.0, 0.6, count),
            "elongation": random.uniform(1.0, 4.0, count),
            "angle_deg": random.uniform(-89.0, 90.0, count),
            "ring": np.zeros(count),
            "polarity": np.where(random.random(count) < 0.7, "dark", "bright"),
            "kind": kinds[random.integers(0, 3, count)],
            "rule": ["as invented"] * count,
            "source": np.where(random.random(count) < 0.5, "line-end scanner", "<b>second</b>"),
        },
        schema_overrides=dict(MARKS_SCHEMA),
    ).select(list(MARKS_SCHEMA))


def _short_roll(root):
    roll = root / "rolls" / "V-1"
    (roll / "scan").mkdir(parents=True)
    (roll / "roll.toml").write_text('product = "sheet-100"\nlength = "0.495 m"\n' + BATCH)
    (roll / "scan" / "scan.toml").write_text(SCAN)
    pixels = web()
    for name, part in (("a", pixels[:700]), ("b", pixels[700:])):
        tifffile.imwrite(roll / "scan" / f"{name}.tif", part, photometric="minisblack")
    files = PlantFolder(root)
    results = ResultsFolder(root / "results" / "V-1")
    raster = files.raster("V-1", files.plant(), files.product("sheet-100"))
    results.save_scan(scan_web(raster, overview=results.overview("first")), "first")


def write_long_roll(root, table):
    """The long roll's overview and marks; no raster and nothing else of a scan."""
    folder = root / "results" / "L-1"
    writer = PyramidWriter(folder / "overview.zarr", fingerprint="long")
    writer.put(*cells())
    extent = Extent(along_from_m=0.0, along_to_m=60.0, across_from_mm=0.0, across_to_mm=200.0)
    writer.finish(0.01, 10.0, extent)
    table.write_parquet(folder / "marks.parquet")


@pytest.fixture(scope="session")
def viewed(tmp_path_factory):
    """The plant with both; not to be changed."""
    root = tmp_path_factory.mktemp("viewed")
    (root / "products").mkdir()
    (root / "plant.toml").write_text(PLANT)
    (root / "products" / "sheet-100.toml").write_text(PRODUCT)
    _short_roll(root)
    (root / "results" / "L-1").mkdir(parents=True)
    write_long_roll(root, marks(12_000))
    return root


class Browser:
    """Asks a desk without a network."""

    def __init__(self, root):
        self.app = create_app(DeskSettings(root=root, hosts=(*LOOPBACK, "testserver"), who="engineer A"))
        self._transport = httpx.ASGITransport(app=self.app)

    def get(self, path, **rest):
        """One answer."""

        async def ask():
            async with httpx.AsyncClient(transport=self._transport, base_url="http://testserver") as client:
                return await client.get(path, **rest)

        return asyncio.run(ask())


@pytest.fixture(scope="session")
def browser(viewed):
    """A browser at the desk of that plant."""
    return Browser(viewed)


@pytest.fixture
def own_plant(viewed, tmp_path):
    """The plant once more, for tests that change it."""
    return shutil.copytree(viewed, tmp_path / "plant")


@pytest.fixture
def at():
    """A browser at the desk of any plant."""
    return Browser


@pytest.fixture(scope="session")
def invented():
    """What the two rolls were made from."""
    return {"web": web, "cells": cells, "marks": marks, "write_long_roll": write_long_roll}
