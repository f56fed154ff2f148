"""How long pages, tiles and the marks in view take, once they were asked for before."""

import asyncio
from collections.abc import Callable, Sequence

import httpx
import numpy as np
from fastapi import FastAPI

__all__ = ["Clock", "TileTimes", "look_at_marks", "look_at_page", "look_at_tiles", "p95"]

Clock = Callable[[], float]
TileTimes = tuple[list[float], list[float]]


def look_at_tiles(app: FastAPI, roll: str, clock: Clock, *, most: int = 400) -> TileTimes:
    """Milliseconds of each of some tiles of all levels, asked for the first time and again."""
    addresses = asyncio.run(_addresses(app, roll, most))
    return asyncio.run(_timed(app, addresses, clock)), asyncio.run(_timed(app, addresses, clock))


def look_at_page(app: FastAPI, path: str, clock: Clock, *, times: int) -> list[float]:
    """Milliseconds of a page, once it was asked for before."""
    asyncio.run(_timed(app, [path] * 2, clock))
    return asyncio.run(_timed(app, [path] * times, clock))


def look_at_marks(app: FastAPI, roll: str, clock: Clock, *, times: int = 40) -> TileTimes:
    """Milliseconds of the marks of as many views, each asked for the first time and again, the table read before."""
    views = [
        f"/api/rolls/{roll}/marks?from_m={n * 0.01:g}&to_m={3.0 + n * 0.01:g}&size_from_mm={0.1 + n * 0.001:g}"
        for n in range(times)
    ]
    asyncio.run(_timed(app, [f"/api/rolls/{roll}/segments"], clock))
    return asyncio.run(_timed(app, views, clock)), asyncio.run(_timed(app, views, clock))


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


async def _timed(app: FastAPI, addresses: Sequence[str], clock: Clock) -> list[float]:
    times = []
    async with _client(app) as client:
        for address in addresses:
            start = clock()
            (await client.get(address)).raise_for_status()
            times.append((clock() - start) * 1000.0)
    return times
