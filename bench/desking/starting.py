"""The desk as a process of its own: how long it takes to its first page, and many people at once."""

import asyncio
import os
import random
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import httpx

__all__ = ["Crowd", "Start", "at_once", "cold_start", "running_desk"]

_THINK_S = (0.5, 1.5)
_TIMEOUT_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """Seconds from the start of the process to the end of its first page: by the clock, and of processors."""

    wall_s: float
    processor_s: float


@dataclass(slots=True, kw_only=True)
class Crowd:
    """What many people got: milliseconds of each answer, and what went wrong."""

    times_ms: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)


@contextmanager
def running_desk(root: Path, source: Path, kept: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """A desk over a plant, and its address.

    Args:
        root: of the plant.
        source: where wideroll lies.
        kept: folder for its compiled bytecode, as an installation has it.
    """
    given = {"PYTHONPATH": str(source), "PYTHONPYCACHEPREFIX": str(kept), "PYTHONDONTWRITEBYTECODE": ""}
    command = [sys.executable, "-m", "wideroll", "desk", str(root), "--port", "0"]
    process = subprocess.Popen(command, env={**os.environ, **given}, stdout=subprocess.PIPE, text=True)  # noqa: S603
    try:
        assert process.stdout is not None
        yield process.stdout.readline().split(" at ")[1].split()[0], process
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(30)


def cold_start(root: Path, source: Path, kept: Path) -> Start:
    """Start the desk and ask for its first page."""
    began = time.perf_counter()
    with running_desk(root, source, kept) as (address, process):
        with urllib.request.urlopen(address) as answer:  # noqa: S310  -- our own
            assert b"<h1" in answer.read()
        wall_s = time.perf_counter() - began
        fields = Path(f"/proc/{process.pid}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()
    return Start(wall_s=wall_s, processor_s=(int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK"))


def at_once(address: str, sessions: Sequence[str], paths: Sequence[str], seconds: float) -> Crowd:
    """Let everybody open one page after the other for so long, each with a session of their own."""
    return asyncio.run(_at_once(address, sessions, paths, seconds))


async def _at_once(address: str, sessions: Sequence[str], paths: Sequence[str], seconds: float) -> Crowd:
    crowd, ends = Crowd(), time.monotonic() + seconds
    await asyncio.gather(*(_person(address, one, number, paths, crowd, ends) for number, one in enumerate(sessions)))
    return crowd


async def _person(  # noqa: PLR0917
    address: str, session: str, number: int, paths: Sequence[str], crowd: Crowd, ends: float
) -> None:
    chance = random.Random(number)  # noqa: S311  -- which page comes next
    cookie = {f"wideroll-{httpx.URL(address).port}-session": session}
    async with httpx.AsyncClient(base_url=address, cookies=cookie, timeout=_TIMEOUT_S) as client:
        while time.monotonic() < ends:
            await asyncio.sleep(chance.uniform(*_THINK_S))
            path, began = chance.choice(paths), time.perf_counter()
            try:
                answer = await client.get(path)
            except httpx.HTTPError as error:
                crowd.wrong.append(f"{path}: {error!r}")
                continue
            crowd.times_ms.append((time.perf_counter() - began) * 1000.0)
            if answer.status_code != 200:
                crowd.wrong.append(f"{path}: {answer.status_code}")
