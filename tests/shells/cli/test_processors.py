"""Processors from the command line, and a run that its processor's charts rule out."""

import json
from pathlib import Path

import numpy as np
import pytest

TANK = """\
[[processors]]
name = "tank-1"
process = "black-and-white"
speed_log_h = -1.2
contrast_log_h = [-1.6, -0.6]
"""


@pytest.fixture
def charted(plant: Path) -> Path:
    """The tiny plant with a steady processor, through which the roll's run went."""
    chance = np.random.Generator(np.random.PCG64(2))
    rows = [
        f"H{number},2025-03-{number + 1:02d},{','.join(f'{one:.3f}' for one in chance.normal(0.0, 0.003, 3))}\n"
        for number in range(25)
    ]
    (plant / "processors").mkdir()
    (plant / "processors.toml").write_text(TANK)
    header = "run,processed_on,visual_minimum,visual_speed,visual_contrast\n"
    (plant / "processors" / "tank-1.csv").write_text(header + "".join(rows))
    (plant / "rolls" / "T-1" / "strips" / "runs.csv").write_text("run,processor,processed_on\nP1,tank-1,2025-04-01\n")
    return plant


def fogged(plant: Path, density: float) -> None:
    """Lift every reading of every strip, as a process does."""
    path = plant / "rolls" / "T-1" / "strips" / "readings.csv"
    lines = path.read_text().replace(",", ".").splitlines()
    read = [line.split(";") for line in lines[1:]]
    path.write_text("\n".join([lines[0], *(f"{s};{n};{float(d) + density:.3f}" for s, n, d in read)]) + "\n")


def test_processors_are_shown(charted: Path, run, tmp_path: Path) -> None:
    """The overview, one processor with its runs, its picture, and the same as a document."""
    code, out, err = run("processors", charted)
    assert (code, err) == (0, "")
    assert "tank-1" in out
    assert "in control" in out
    figure = tmp_path / "tank.svg"
    code, out, err = run("processors", charted, "tank-1", "--figure", figure)
    assert code == 0
    assert "H24" in out
    assert str(figure) in err
    assert figure.read_text().startswith("<svg")
    code, out, _ = run("processors", charted, "--json")
    document = json.loads(out)
    assert document["schema"] == "wideroll/processors/1"
    (tank,) = document["processors"]
    assert len(tank["runs"]) == 25
    assert len(tank["runs"][0]["values"]) == len(tank["charts"]) == 3


def test_a_plant_without_processors_says_so(plant: Path, run) -> None:
    """No processors.toml is no fault: the table is empty and says why; runs say that no chart judged them."""
    code, out, _ = run("processors", plant)
    assert code == 0
    assert "no processors.toml" in out
    assert "no processor chart" in run("strips", plant, "T-1")[1]


def test_a_run_out_of_control_is_void_and_holds_the_roll(charted: Path, run) -> None:
    """A fog of 0.03 within the product's limit of 0.05 voids the run by its chart, names the strip, and holds."""
    assert json.loads(run("strips", charted, "T-1", "--json")[1])["runs"][0]["usable"] is True
    fogged(charted, 0.03)
    document = json.loads(run("strips", charted, "T-1", "--json")[1])
    (one,), (state,) = document["runs"], document["processors"]
    assert (one["usable"], one["void_strips"]) == (False, ["S-1"])
    assert state["state"] == "out of control"
    assert one["why"].startswith("processor tank-1 is out of control: visual ")
    out = run("strips", charted, "T-1")[1]
    assert "tank-1" in out
    assert run("decide", charted, "T-1")[0] == 10
    decision = json.loads((charted / "results" / "T-1" / "decision.json").read_text())
    assert decision["processors"][0]["processor"] == "tank-1"
    assert any(missing["void"] for missing in decision["missing"])


def test_a_decision_rests_on_the_history_too(charted: Path, run) -> None:
    """When the history of the processor changes, the decision is stale: it is among the inputs."""
    run("decide", charted, "T-1")
    decision = json.loads((charted / "results" / "T-1" / "decision.json").read_text())
    assert {"processors.toml", "processors/tank-1.csv", "rolls/T-1/strips/runs.csv"} <= set(decision["inputs"])


def test_a_reference_strip_from_another_run_vouches_for_nothing(plant: Path, run) -> None:
    """A reference that ran in another run leaves the check strips' run void, and names the strip to repeat."""
    path = plant / "rolls" / "T-1" / "strips" / "strips.csv"
    path.write_text(path.read_text().replace("ref-1,reference,P1", "ref-1,reference,P2"))
    runs = {one["run"]: one for one in json.loads(run("strips", plant, "T-1", "--json")[1])["runs"]}
    assert (runs["P1"]["usable"], runs["P1"]["void_strips"]) == (False, ["S-1"])
    assert "no reference strip ran in it" in runs["P1"]["why"]
    assert (runs["P2"]["usable"], runs["P2"]["void_strips"]) == (True, [])


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["processors", "PLANT", "tank-9"], 3, "must be one of: tank-1"),
        (["processors", "nowhere"], 3, "holds a plant.toml"),
        (["processors", "PLANT", "--figure", "x.svg"], 2, "needs the name of a processor"),
    ],
)
def test_what_can_not_be_shown_is_told(charted: Path, run, words: list[str], code: int, says: str) -> None:
    """An unknown processor, a folder that is no plant and a figure of nothing are refused."""
    got, out, err = run(*[charted if word == "PLANT" else word for word in words])
    assert (got, out) == (code, "")
    assert says in " ".join(err.split())


def test_a_run_that_no_strip_went_through_is_told(charted: Path, run) -> None:
    """A slip in runs.csv doesn't quietly take the chart away."""
    path = charted / "rolls" / "T-1" / "strips" / "runs.csv"
    path.write_text(path.read_text().replace("P1", "P7"))
    code, _, err = run("strips", charted, "T-1")
    assert code == 3
    assert "strips/runs.csv" in err
