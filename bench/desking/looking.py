"""How long a tile, the marks in view and a segment's page take, once they were asked for before."""

import asyncio
import time
from collections.abc import Sequence
from pathlib import Path

import httpx
import numpy as np
import polars as pl
import tifffile
from fastapi import FastAPI

from wideroll.readers.raster_segments import open_segments
from wideroll.roll import MARKS_SCHEMA
from wideroll.store import ResultsFolder
from wideroll.workflow import scan_web

__all__ = ["ROLL", "TileTimes", "look_at_marks", "look_at_tiles", "make_roll", "p95"]

ROLL = "B-1"
PITCH_MM = 0.3
LINES, COLUMNS = 12_000, 4_600
TileTimes = tuple[list[float], list[float]]


def make_roll(root: Path, *, marks: int = 50_000) -> None:
    """The results and the raster of a roll of 3.6 m and 1.38 m, with so many invented marks on it.

    Args:
        root: of a plant whose files name its product, ``rolls/B-1`` among them but for the scan's segments.
        marks: how many.
    """
    random = np.random.Generator(np.random.PCG64(9))
    path = root / "rolls" / ROLL / "scan" / "a.tif"
    path.parent.mkdir(parents=True, exist_ok=True)
    web = np.rint(random.normal(150.0, 3.0, (LINES, COLUMNS))).astype(np.uint8)
    tifffile.imwrite(path, web, photometric="minisblack")
    raster = open_segments([path], pitch_mm=(PITCH_MM, PITCH_MM), source="line-end scanner")
    results = ResultsFolder(root / "results" / ROLL)
    results.save_scan(scan_web(raster, overview=results.overview("bench")), "bench")
    invented(random, marks).write_parquet(results.path / "marks.parquet")


def invented(random: np.random.Generator, count: int) -> pl.DataFrame:
    """So many marks anywhere on it."""
    sizes = ("length_mm", "width_mm", "area_mm2", "snr", "peak", "contrast")
    return pl.DataFrame(
        {
            **{name: random.uniform(0.1, 2.0, count) for name in sizes},
            "id": [f"m{n:011d}" for n in range(count)],
            "along_m": random.uniform(0.0, LINES * PITCH_MM / 1000.0, count),
            "across_mm": random.uniform(0.0, COLUMNS * PITCH_MM, count),
            "elongation": np.ones(count),
            "angle_deg": np.zeros(count),
            "ring": np.zeros(count),
            "polarity": ["dark"] * count,
            "kind": ["spot"] * count,
            "rule": ["invented"] * count,
            "source": ["line-end scanner"] * count,
        },
        schema_overrides=dict(MARKS_SCHEMA),
    ).select(list(MARKS_SCHEMA))


def look_at_tiles(app: FastAPI, roll: str = ROLL, *, most: int = 400) -> TileTimes:
    """Milliseconds of each of some tiles of all levels, asked for the first time and again."""
    addresses = asyncio.run(_addresses(app, roll, most))
    return asyncio.run(_timed(app, addresses)), asyncio.run(_timed(app, addresses))


def look_at_marks(app: FastAPI, roll: str = ROLL, *, times: int = 40) -> TileTimes:
    """Milliseconds of the marks of as many views, each asked for the first time and again, the table read before."""
    views = [
        f"/api/rolls/{roll}/marks?from_m={n * 0.01:g}&to_m={3.0 + n * 0.01:g}&size_from_mm={0.1 + n * 0.001:g}"
        for n in range(times)
    ]
    asyncio.run(_timed(app, [f"/api/rolls/{roll}/segments"]))
    return asyncio.run(_timed(app, views)), asyncio.run(_timed(app, views))


def p95(times: Sequence[float]) -> float:
    """The time that 95 of 100 stay below."""
    return float(np.percentile(times, 95.0))


def _client(app: FastAPI) -> httpx.AsyncClient:
    return httpx.AsyncClient(transport=httpx.ASGITransport(app=app), base_url="http://127.0.0.1")


async def _addresses(app: FastAPI, roll: str, most: int) -> list[str]:
    async with _client(app) as client:
        told = (await client.get(f"/api/rolls/{roll}/segments/1")).raise_for_status().json()
    size = told["tile_px"]
    every = [
        told["tiles"].format(layer=layer, level=level["level"], x=x, y=y)
        for level in told["levels"]
        for x in range(-(-level["columns"] // size))
        for y in range(-(-level["rows"] // size))
        for layer in told["layers"]
    ]
    return every[:: max(1, len(every) // most)]


async def _timed(app: FastAPI, addresses: Sequence[str]) -> list[float]:
    times = []
    async with _client(app) as client:
        for address in addresses:
            start = time.perf_counter()
            (await client.get(address)).raise_for_status()
            times.append((time.perf_counter() - start) * 1000.0)
    return times
