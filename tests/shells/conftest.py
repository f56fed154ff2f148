"""A plant small enough to be scanned in a moment, written by hand."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import tifffile

from wideroll.cli import main

LINES, COLUMNS = 500, 400
PLANT = """\
name = "Little Mere, line 1"
web_width = "120 mm"
datum_edge = "drive side"

[[scanners]]
name = "line-end scanner"
wavelength_nm = 850

[[rollers]]
name = "R1 coating roll"
diameter = "40 mm"
"""
PRODUCT = """\
film_type = "black-and-white"
sensitisation_nm = [[380, 690]]

[aims]
tolerance_density = 0.1
log_h = [{log_h}]
visual = [{density}]

[reference]
limit_density = 0.05

[reference.aims]
tolerance_density = 0.05
log_h = [{log_h}]
visual = [{density}]

[[criteria]]
name = "Scan coverage"
measurand = "coverage"
subject = "scan"
limit = 0.9
unit = "share"
consequence = "hold"

[[criteria]]
name = "Marks"
measurand = "rate of marks"
limit = 200
unit = "per m²"
consequence = "reject"

[[criteria]]
name = "Usable strips per batch"
measurand = "evidence count"
subject = "strips"
limit = 1
unit = "strips"
consequence = "hold"

[[criteria]]
name = "Speed"
measurand = "reading"
subject = "speed deviation"
limit = 0.3
unit = "log H"
consequence = "hold"

[[criteria]]
name = "Metal"
measurand = "forbidden"
kinds = ["metal"]
limit = 0
unit = "found"
consequence = "hold"

[[widths]]
name = "35 mm"
width = "34.975 mm"
tolerance = "0.025 mm"
value_per_m = 2

[cutting]
edge_trim = "5 mm"
least_piece = "20 cm"
setup = "0 m"
"""
ROLL = """\
product = "sheet-100"
length = "2 m"

[[batches]]
name = "E-1"
along_from = "0 m"
along_to = "2 m"
"""
SCAN = """\
scanner = "line-end scanner"
pitch_along = "4 mm"
pitch_across = "0.3 mm"
segments = ["segment-1.tif", "segment-2.tif"]
"""


def _curve(log_h: np.ndarray) -> np.ndarray:
    return 0.2 + 2.0 / (1.0 + np.exp(-3.0 * (log_h + 1.2)))


def _web() -> np.ndarray:
    """Noise about a level, and one dark spot."""
    web = np.random.Generator(np.random.PCG64(5)).normal(150.0, 2.0, (LINES, COLUMNS))
    web[200:203, 150:154] = 60.0
    return np.clip(np.rint(web), 0, 255).astype(np.uint8)


def _write_strips(folder: Path) -> None:
    steps = np.arange(1, 22)
    log_h = -0.15 * (steps - 1)
    rows = [
        f"{name};{step};{d:.3f}\n".replace(".", ",")
        for name, wobble in (("S-1", 40.0), ("ref-1", 41.0))
        for step, d in zip(steps, _curve(log_h) + 0.004 * np.cos(wobble * log_h), strict=True)
    ]
    folder.mkdir(parents=True)
    (folder / "exposure.toml").write_text("illuminance_lx = 100\ntime_s = 0.01\nsteps = 21\nincrement_density = 0.15\n")
    (folder / "strips.csv").write_text(
        "strip,kind,run,along,across\nS-1,check,P1,1 m,2 3/8 in\nref-1,reference,P1,-,-\n"
    )
    (folder / "readings.csv").write_text("strip;step;visual\n" + "".join(rows))


def _write_plant(root: Path) -> None:
    log_h = np.round(np.arange(-3.0, 0.01, 0.15), 3)
    values = {"log_h": ", ".join(f"{x:.3f}" for x in log_h), "density": ", ".join(f"{d:.3f}" for d in _curve(log_h))}
    roll = root / "rolls" / "T-1"
    for folder in (root / "products", roll / "scan", roll / "examination"):
        folder.mkdir(parents=True)
    (root / "plant.toml").write_text(PLANT)
    (root / "products" / "sheet-100.toml").write_text(PRODUCT.format(**values))
    (roll / "roll.toml").write_text(ROLL)
    (roll / "scan" / "scan.toml").write_text(SCAN)
    web = _web()
    for number, part in enumerate((web[:300], web[300:]), 1):
        tifffile.imwrite(roll / "scan" / f"segment-{number}.tif", part, photometric="minisblack")
    (roll / "examination" / "sheets.csv").write_text("sheet,along_from,along_to,examiner\nA,0.5 m,0.7 m,examiner A\n")
    (roll / "examination" / "sightings.csv").write_text(
        "sheet,kind,along,across,size,wipes_off\nA,spot,10 cm,1 in,0.4 mm,yes\n"
    )
    _write_strips(roll / "strips")


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The tiny plant as people and machines left it; not to be changed."""
    root = tmp_path_factory.mktemp("made") / "plant"
    _write_plant(root)
    there = set(root.rglob("*"))
    yield root
    assert set(root.rglob("*")) == there, "a test wrote into the plant that all share"


@pytest.fixture(scope="session")
def decided(made: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The tiny plant with its roll decided; not to be changed."""
    root = tmp_path_factory.mktemp("decided") / "plant"
    shutil.copytree(made, root)
    assert main(["decide", str(root), "T-1"]) == 0
    return root


@pytest.fixture
def plant(made: Path, tmp_path: Path) -> Path:
    """A tiny plant of the test's own, with no results yet."""
    return Path(shutil.copytree(made, tmp_path / "plant"))


@pytest.fixture
def decided_plant(decided: Path, tmp_path: Path) -> Path:
    """A decided tiny plant of the test's own."""
    return Path(shutil.copytree(decided, tmp_path / "plant"))


@pytest.fixture
def web_tiff(made: Path) -> Path:
    """A raster of nobody's roll."""
    return made / "rolls" / "T-1" / "scan" / "segment-1.tif"


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Run a command; its exit code, standard output and standard error."""

    def run(*words: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main([str(word) for word in words])
        return code, *capsys.readouterr()

    return run
