"""The examination in a terminal: photographs, grades, and what was taken back."""

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from wideroll.synthetic import DYE_MATRIX, draw_photograph

GRADES = """
[grades]
scale = ["1", "2", "3"]
magnification = 3.0
samples = [
  { grade = "1", shape = "streak", density = 0.010, width = "1 mm" },
  { grade = "1", shape = "streak", density = 0.015, width = "1 mm" },
  { grade = "2", shape = "streak", density = 0.030, width = "1 mm" },
  { grade = "2", shape = "streak", density = 0.040, width = "1 mm" },
  { grade = "3", shape = "streak", density = 0.080, width = "1 mm" },
  { grade = "3", shape = "streak", density = 0.110, width = "1 mm" },
]
"""
SIGHTINGS = """\
sheet,kind,along,across,size,red,green,blue,grade,photograph,photograph_scale,takes_back,note
A,spot,10 cm,1 in,0.4 mm,,,,,,,,
A,streak,12 cm,1 in,0.5 mm,darker,same,same,1,p.png,0.05 mm,,
,,,,,,,,,,,1,dust on the loupe
"""


@pytest.fixture
def examined(plant: Path) -> Path:
    """The plant with a scale of grades, a photographed streak, and a line that was taken back."""
    product = plant / "products" / "sheet-100.toml"
    product.write_text(product.read_text() + GRADES)
    density = tuple((np.array(DYE_MATRIX)[:, 1] * 0.3).tolist())
    made = draw_photograph(density=density, across_pixels=20.0, seed=1, streak=True)
    folder = plant / "rolls" / "T-1" / "examination"
    Image.fromarray(made.photograph.pixels).save(folder / "p.png")
    (folder / "sightings.csv").write_text(SIGHTINGS)
    return plant


def test_what_contradicts_what_is_shown(examined: Path, run) -> None:
    """The photograph's densities against the filters, and the grade against what one would see, are both said."""
    code, out, err = run("examine", examined, "T-1")
    text = " ".join((out + err).split())
    assert code == 0
    assert "1 sightings, lines taken back: 1" in text
    assert "⚠ graded 1" in text
    assert "⚠ the same" in text
    assert "dust on the loupe" not in text


def test_history_shows_what_was_taken_back(examined: Path, run) -> None:
    """The line that no longer holds is shown with the one that took it back, and why."""
    _, out, _ = run("examine", examined, "T-1", "--history")
    assert "Lines taken back" in out
    assert "dust on the" in out


def test_json_has_all_of_it(examined: Path, run) -> None:
    """Layer, photograph, grade and history are in the document."""
    _, out, _ = run("examine", examined, "T-1", "--json")
    document = json.loads(out)
    (seen,) = document["sightings"]
    assert seen["photograph"]["width_mm"] == pytest.approx(1.0, abs=0.05)
    assert seen["layer"]["conflict"] > 20.0
    assert seen["grade"]["warning"].startswith("graded 1")
    assert [one["by"]["note"] for one in document["taken_back"]] == ["dust on the loupe"]


def test_a_refused_photograph_is_no_evidence_but_no_error(examined: Path, run) -> None:
    """A photograph that tells nothing is said, and everything else goes on."""
    flat = np.random.default_rng(1).normal(150.0, 2.0, (80, 100, 3)).astype(np.uint8)
    Image.fromarray(flat).save(examined / "rolls" / "T-1" / "examination" / "p.png")
    code, out, _ = run("examine", examined, "T-1", "--json")
    (seen,) = json.loads(out)["sightings"]
    assert code == 0
    assert seen["photograph"]["refused"] == "nothing stands out from its surround"
    assert seen["layer"]["amounts"] == []


def test_a_scale_without_samples_of_a_grade_names_the_product(examined: Path, run) -> None:
    """A fault in the scale is the product file's, with the mend."""
    product = examined / "products" / "sheet-100.toml"
    product.write_text(product.read_text().replace('scale = ["1", "2", "3"]', 'scale = ["1", "2", "3", "4"]'))
    code, _, err = run("examine", examined, "T-1")
    assert code == 3
    assert "sheet-100.toml" in err
    assert "of each grade on the scale one or more" in " ".join(err.split())
