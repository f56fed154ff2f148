"""One roll in shares on processes of this machine."""

import os
import signal
import time
from dataclasses import dataclass, field
from pathlib import Path

import dask
import numpy as np
import pytest
import tifffile
from distributed import LocalCluster

from wideroll.errors import ArgumentError, InputError
from wideroll.farm import scan_in_shares
from wideroll.farm import shares as shares_module
from wideroll.readers import open_segments
from wideroll.scan import LostLines, MarkFinder, ScanSettings

PITCH = (0.4, 0.25)
USE = ScanSettings(block_m=0.0256, overview_cell_mm=3.2, streak_least_m=0.15, edge_bead_mm=1.0, chips_per_kind=3)
LINES, COLUMNS = 2400, 160


@dataclass(frozen=True, slots=True, kw_only=True)
class OneFile:
    """A file without faults."""

    lines: int
    known_lost: tuple[()] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class KillingRaster:
    """A raster in a file that notes who reads what, and kills whoever reads beyond a line, at most so many times."""

    path: Path
    notes: Path
    beyond: int
    times: int
    pitch_mm: tuple[float, float] = PITCH
    source: str = "s"
    lines: int = LINES
    columns: int = COLUMNS
    channels: int = 1
    channel_names: tuple[str, ...] = ()
    places: None = None
    dtype: np.dtype = field(default=np.dtype(np.uint8))
    starts: tuple[int, ...] = (0,)

    @property
    def files(self):
        """The one."""
        return (OneFile(lines=self.lines),)

    def blocks(self, first=0, stop=None):
        """Rows 50 at a time."""
        (self.notes / f"{first}-{time.monotonic_ns()}").touch()
        image = np.load(self.path, mmap_mode="r")
        for line in range(first, stop or self.lines, 50):
            if first < self.beyond <= line and len(list(self.notes.glob("killed-*"))) < self.times:
                (self.notes / f"killed-{os.getpid()}").touch()
                time.sleep(0.5)  # what it did before is fetched
                os.kill(os.getpid(), signal.SIGKILL)
            yield np.array(image[line : min(line + 50, stop or self.lines)])


class Told:
    """Keeps what progress was told."""

    def __init__(self):
        self.started, self.done, self.finished = [], 0, 0

    def start(self, what, total, unit):
        """Work begins."""
        self.started.append((what, total, unit))

    def advance(self, amount):
        """So much more is done."""
        self.done += amount

    def finish(self):
        """Work ended."""
        self.finished += 1


def make_image():
    """A web with both edges in the field, dirt, a long scratch and a faint streak."""
    rng = np.random.Generator(np.random.PCG64(7))
    image = 150.0 + 2.5 * rng.standard_normal((LINES, COLUMNS))
    for _ in range(150):
        i, j, h, w = rng.integers((0, 20, 2, 2), (LINES, COLUMNS - 30, 9, 9))
        image[i : i + h, j : j + w] *= 1.0 + rng.uniform(-0.5, 0.5)
    for k in range(500, 1500):
        image[k, 40 + k // 30 : 43 + k // 30] *= 0.55
    image[300:2100, 120] *= 0.985
    image[:, :14] = image[:, -14:] = 250.0
    return np.clip(np.rint(image), 0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def image():
    """The raster all tests scan."""
    return make_image()


@pytest.fixture(autouse=True)
def _short_shares(monkeypatch):
    # Shares of about six blocks on so small a raster.
    monkeypatch.setattr(shares_module, "_LEAST_BLOCKS", 3)
    monkeypatch.setattr(shares_module, "_MOST_BLOCKS", 6)


@pytest.fixture
def killing(tmp_path, image):
    """Make a raster that kills its readers."""
    (tmp_path / "notes").mkdir()
    np.save(tmp_path / "web.npy", image)

    def killing(beyond, times):
        return KillingRaster(path=tmp_path / "web.npy", notes=tmp_path / "notes", beyond=beyond, times=times)

    return killing


def plain(value):
    """All of a result as text and bytes."""
    if isinstance(value, np.ndarray):
        return value.dtype.str, value.shape, value.tobytes()
    if hasattr(value, "write_json"):
        return value.schema, [[repr(v) for v in row] for row in value.rows()]
    if hasattr(value, "__dataclass_fields__"):
        return {name: plain(getattr(value, name)) for name in value.__dataclass_fields__}
    return [plain(v) for v in value] if isinstance(value, tuple) else repr(value)


def in_one_go(raster, use=USE, channel=None):
    """The result of one finder."""
    finder = MarkFinder(raster.columns, raster.pitch_mm, raster.dtype, use, raster.places)
    for piece in raster.blocks():
        if isinstance(piece, LostLines):
            finder.lose(piece)
        else:
            finder.feed(piece if channel is None else piece[..., channel])
    return finder.finish()


def test_a_killed_worker_costs_its_share_alone(killing):
    """A worker killed in the middle of a share changes nothing in the result, and only that share is done again."""
    raster, told = killing(beyond=1400, times=1), Told()
    found = scan_in_shares(raster, settings=USE, workers=2, progress=told)
    reads = [int(path.name.split("-")[0]) for path in raster.notes.iterdir() if not path.name.startswith("killed")]
    killed = [path for path in raster.notes.iterdir() if path.name.startswith("killed")]
    assert len(killed) == 1
    assert os.getpid() != int(killed[0].name.split("-")[1])
    plan = shares_module.plan_shares(LINES, shares_module.make_frame(COLUMNS, PITCH, np.uint8, USE), 8)
    (twice,) = (share for share in plan if share.reads_from < 1400 <= share.stop - 50)
    # Shares that the scratch runs into are screened once more from their own first line, here.
    of_workers = [first for first in reads if first in {share.reads_from for share in plan}]
    assert len(plan) >= 6
    assert sorted(of_workers) == sorted([*(share.reads_from for share in plan), twice.reads_from])
    assert (told.started, told.done, told.finished) == ([(f"scan in {len(plan)} shares", LINES, "lines")], LINES, 1)
    (raster.notes / "killed-more").touch()
    assert plain(found) == plain(in_one_go(raster))
    assert found.marks.height > 100
    assert found.streaks
    assert found.chips


def test_a_share_that_kills_every_worker_ends_the_scan(killing):
    """Where one worker after the other dies of a share, one error says so."""
    with (
        dask.config.set({"distributed.scheduler.allowed-failures": 1}),
        pytest.raises(InputError, match=r"workers: one must live until its share of the scan is done"),
    ):
        scan_in_shares(killing(beyond=1400, times=9), settings=USE, workers=1)


def test_a_scheduler_started_by_hand_gives_the_same_and_stays(tmp_path, image):
    """Files with a gap between them and a cut-off end are scanned by a named scheduler's workers as in one go."""
    tifffile.imwrite(tmp_path / "a.tif", image[:1000], photometric="minisblack", metadata=None)
    tifffile.imwrite(tmp_path / "b.tif", image[1000:], photometric="minisblack", metadata=None)
    with (tmp_path / "b.tif").open("r+b") as file:
        file.truncate(8 + 900 * COLUMNS)
    raster = open_segments([tmp_path / "a.tif", tmp_path / "b.tif"], pitch_mm=PITCH, source="s", starts_m=[None, 0.5])
    rows = []
    local = {"n_workers": 1, "threads_per_worker": 2, "processes": True, "dashboard_address": "127.0.0.1:0"}
    with LocalCluster(**local) as cluster:
        use = {"settings": USE, "scheduler": cluster.scheduler_address}
        found = scan_in_shares(raster, **use, seen=rows.append)
        assert plain(found) == plain(in_one_go(raster))
        assert sum(len(part.mean) for part in rows) == len(found.overview.mean)
        (tmp_path / "a.tif").unlink()
        with pytest.raises(InputError, match=r"worker on .*: must find the raster's files at the same path.*a\.tif"):
            scan_in_shares(raster, **use)


def test_a_spoilt_strip_has_the_rest_scanned_in_one_process(tmp_path, image):
    """Lines that turn out to be lost when they are read give the same result, and the progress says what is done."""
    both = np.stack([image, 255 - image], axis=2)
    path = tmp_path / "a.tif"
    tifffile.imwrite(
        path, both, photometric="minisblack", metadata=None, planarconfig="contig", compression="zlib", rowsperstrip=40
    )
    with tifffile.TiffFile(path) as tiff:
        offset, count = tiff.pages.first.dataoffsets[40], tiff.pages.first.databytecounts[40]
    with path.open("r+b") as file:
        file.seek(offset + count // 3)
        file.write(b"\xff" * (count // 3))
    raster = open_segments([path], pitch_mm=PITCH, source="s", channels=["red", "infrared"])
    told = Told()
    found = scan_in_shares(raster, settings=USE, channel=1, progress=told)
    assert [what for what, _, _ in told.started][1:] == ["lost lines turned up: scan the rest in one process"]
    assert [lost.first for lost in raster.damage()] == [1600]
    assert plain(found) == plain(in_one_go(raster, channel=1))


def test_a_scheduler_without_workers_is_refused(killing, monkeypatch):
    """A scheduler that has no worker to give gives one clear error."""
    monkeypatch.setattr("wideroll.farm.cluster._PATIENCE_S", 1)
    with (
        LocalCluster(n_workers=0, processes=False, dashboard_address="127.0.0.1:0") as cluster,
        pytest.raises(InputError, match=r"scheduler: must have a worker within 1 s"),
    ):
        scan_in_shares(killing(beyond=1, times=0), scheduler=cluster.scheduler_address)


def test_no_workers_are_refused(killing):
    """Work needs at least one worker."""
    with pytest.raises(ArgumentError, match="workers"):
        scan_in_shares(killing(beyond=1, times=0), workers=0)
