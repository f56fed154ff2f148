"""The strip room from a terminal: readings of one's own in each form, and what doesn't go together."""

import io
import json
import sys
from pathlib import Path

import numpy as np
import pytest

ROLL = "T-1"
STEPS = 21
LOG_H = -0.15 * np.arange(STEPS)


def _density(shift: float = 0.0, *, sign: int = 1, seed: int = 1) -> np.ndarray:
    """In the order of the tablet's steps, with a densitometer's noise."""
    noise = np.random.Generator(np.random.PCG64(seed)).normal(0.0, 0.003, STEPS)
    return np.round(0.2 + 2.0 / (1.0 + np.exp(-3.0 * sign * (LOG_H + shift + 1.2))) + noise, 4)


def _long(strips: dict[str, tuple[str, str, np.ndarray]]) -> str:
    rows = [
        f"{name},{kind},{run},{step},{d}"
        for name, (kind, run, density) in strips.items()
        for step, d in enumerate(density, 1)
    ]
    return "\n".join(["strip,kind,run,step,visual", *rows]) + "\n"


PAIR = {"C-1": ("check", "7", _density(-0.1)), "ref": ("reference", "7", _density(seed=2))}


@pytest.fixture
def readings(tmp_path: Path) -> Path:
    """A check strip and a reference strip that ran beside it."""
    path = tmp_path / "readings.csv"
    path.write_text(_long(PAIR))
    return path


def _product(plant: Path) -> Path:
    return plant / "products" / "sheet-100.toml"


def test_reference_strips_are_told_apart(readings: Path, run) -> None:
    """The table names source, form, status and kind of strip; JSON has them as fields."""
    code, out, err = run(
        "strips", readings, "--exposure-lxs", "1", "--status", "visual", "--film-type", "black-and-white"
    )
    assert (code, err) == (0, "")
    assert f"{readings}: table with a line for each step of each strip; status visual\n" in out
    assert "strip C-1 (run 7)\n" in out
    assert "strip ref (reference, run 7)\n" in out
    code, out, _ = run("strips", readings, "--json")
    document = json.loads(out)
    assert code == 0
    assert document["source"] == str(readings)
    assert (document["status"], document["product"]) == (None, None)
    assert [(strip["strip"], strip["kind"]) for strip in document["strips"]] == [
        ("C-1", "check"),
        ("ref", "reference"),
    ]


def test_each_form_gives_the_same_measures(tmp_path: Path, run) -> None:
    """Long, wide, as records and as exchange text: the same strip has the same numbers."""
    density = _density()
    cells = [str(d) for d in density]
    forms = [
        "step;visual\n" + "\n".join(f"{n};{c}".replace(".", ",") for n, c in enumerate(cells, 1)),
        "step\tA visual\n" + "\n".join(f"{n}\t{c}" for n, c in enumerate(cells, 1)),
        ",".join(f"visual_{n}" for n in range(1, STEPS + 1)) + "\n" + ",".join(cells),
        "record," + ",".join(str(n) for n in range(1, STEPS + 1)) + "\nvisual," + ",".join(cells),
        "ISO28178\nBEGIN_DATA_FORMAT\nSAMPLE_ID D_VIS\nEND_DATA_FORMAT\nBEGIN_DATA\n"
        + "\n".join(f"{n} {c}" for n, c in enumerate(cells, 1))
        + "\nEND_DATA\n",
    ]
    path = tmp_path / "readings.txt"
    found = []
    for text in forms:
        path.write_text(text)
        code, out, _ = run("strips", path, "--exposure-lxs", "1", "--json")
        assert code == 0
        (strip,) = json.loads(out)["strips"]
        found.append(strip["measures"])
    assert found[0]
    assert all(measures == found[0] for measures in found)


def test_a_pasted_table_is_read_from_standard_input(monkeypatch: pytest.MonkeyPatch, run) -> None:
    """Cells copied from a spreadsheet go in through -, their columns named by an option."""
    text = "".join(f"{n}\t{d}\n".replace(".", ",") for n, d in enumerate(_density(), 1))

    def paste() -> None:
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode())))

    paste()
    code, out, _ = run("strips", "-", "--columns", "step, visual", "--json")
    assert code == 0
    assert json.loads(out)["source"] == "standard input"
    paste()
    code, out, err = run("strips", "-")
    assert (code, out) == (3, "")
    assert "standard input, line 1: the first line must name the columns" in err
    assert "--columns" in err


def test_log_h_in_a_file_is_absolute(tmp_path: Path, run) -> None:
    """Exposures in lx·s give an ISO speed without an option, the same as the option gives steps."""
    by_step, by_log_h = tmp_path / "step.csv", tmp_path / "log_h.csv"
    by_step.write_text("step,visual\n" + "".join(f"{n},{d}\n" for n, d in enumerate(_density(), 1)))
    by_log_h.write_text(
        "log_h,visual\n" + "".join(f"{x!r},{d}\n" for x, d in zip(LOG_H.tolist(), _density(), strict=True))
    )
    speeds = []
    for path, options in ((by_step, ["--exposure-lxs", "1,0"]), (by_log_h, [])):
        code, out, err = run("strips", path, "--json", *options)
        assert code == 0
        assert "relative" not in err
        (strip,) = json.loads(out)["strips"]
        speeds += [measure["value"] for measure in strip["measures"] if measure["unit"] == "ISO"]
    assert len(speeds) == 2
    assert speeds[0] == pytest.approx(speeds[1], rel=1e-6)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (
            ["--status", "A", "--film-type", "colour negative"],
            "Status A given, but colour negative film is read in status M",
        ),
        (
            ["--status", "M", "--film-type", "colour reversal"],
            "Status M given, but colour reversal film is read in status A",
        ),
        (["--status", "visual", "--film-type", "motion-picture negative"], "is read in status M (ISO 5-3)"),
        (["--status", "M", "--film-type", "colour negative"], ""),
        (["--status", "A", "--film-type", "colour reversal"], ""),
    ],
)
def test_a_status_that_the_film_is_not_read_in_is_told(tmp_path: Path, run, options: list[str], says: str) -> None:
    """A status is kept in the output; one that isn't the film's is told on standard error and in JSON."""
    path = tmp_path / "readings.csv"
    sign = -1 if "colour reversal" in options else 1
    path.write_text("step,red\n" + "".join(f"{n},{d}\n" for n, d in enumerate(_density(sign=sign), 1)))
    code, out, err = run("strips", path, "--exposure-lxs", "1", "--json", *options)
    assert code == 0
    document = json.loads(out)
    assert document["status"] == options[1]
    assert says in err
    assert [text for text in document["assumed"] if "Status" in text] == ([err.strip()] if says else [])


def test_a_lone_visual_record_is_read_in_status_visual(tmp_path: Path, run) -> None:
    """Reversal film read visually is no film read in a wrong status; red light through status visual is."""
    path = tmp_path / "readings.csv"
    path.write_text("step,visual\n" + "".join(f"{n},{d}\n" for n, d in enumerate(_density(sign=-1), 1)))
    options = ["--film-type", "colour reversal", "--exposure-lxs", "1"]
    assert run("strips", path, "--status", "visual", *options)[2] == ""
    assert "with a visual record only is read in status visual" in run("strips", path, "--status", "A", *options)[2]


def test_aims_judge_and_correct_a_bare_file(plant: Path, readings: Path, tmp_path: Path, run) -> None:
    """With a product's aims and a reference strip, the run is judged and the check strip's slowness is found."""
    figure = tmp_path / "curves.svg"
    options = ["--aims", _product(plant), "--exposure-lxs", "1"]
    code, out, err = run("strips", readings, *options, "--figure", figure, "--json")
    assert code == 0
    assert err == f"figure: {figure}\n"
    document = json.loads(out)
    assert document["product"] == "sheet-100"
    assert [(one["run"], one["usable"], one["reference_strips"]) for one in document["runs"]] == [("7", True, ["ref"])]
    (strip,) = document["strips"]
    (deviation,) = strip["deviations"]
    slow = deviation["measures"][0]
    assert slow["low"] < 0.1 < slow["high"]
    assert slow["low"] > 0.0
    assert figure.read_text().startswith("<svg")
    code, out, _ = run("strips", readings, *options)
    assert code == 0
    assert "● usable" in out
    assert "check minus aim" in out


def test_aims_without_reference_strips_are_compared_uncorrected(plant: Path, tmp_path: Path, run) -> None:
    """Check strips alone are compared with the aims, and it is told that the process isn't taken off."""
    path, figure = tmp_path / "readings.csv", tmp_path / "curves.svg"
    path.write_text(_long({"C 1": ("check", "", _density(-0.1)), "C-1": ("check", "", _density(seed=2))}))
    code, out, err = run("strips", path, "--aims", _product(plant), "--exposure-lxs", "1", "--figure", figure, "--json")
    assert code == 0
    assert "aren't corrected for the process" in err
    assert [strip["usable"] for strip in json.loads(out)["strips"]] == [True, True]
    assert sorted(p.name for p in tmp_path.glob("*.svg")) == ["curves-1-c-1.svg", "curves-2-c-1.svg"]


def test_densities_are_read_off_where_asked(tmp_path: Path, run) -> None:
    """--density-at gives the curve's density there, with its interval; outside the readings it is extrapolated."""
    path = tmp_path / "one.csv"
    path.write_text("log_h,visual\n" + "".join(f"{-3 + 0.15 * n:.2f},{0.2 + 0.09 * n:.2f}\n" for n in range(21)))
    code, out, _ = run("strips", path, "--density-at", "-1,5", "--density-at", "2", "--json")
    found = {m["name"]: m for m in json.loads(out)["strips"][0]["measures"]}
    assert code == 0
    assert found["density at log H −1.50"]["low"] < 1.1 < found["density at log H −1.50"]["high"]
    assert not found["density at log H −1.50"]["extrapolated"]
    assert found["density at log H 2.00"]["extrapolated"]


@pytest.mark.parametrize(
    "option",
    [
        ["--exposure-lxs", "0"],
        ["--steps", "21"],
        ["--increment", "0.15"],
        ["--film-type", "colour negative"],
        ["--status", "M"],
        ["--columns", "step,red"],
        ["--aims", "product.toml"],
        ["--figure", "curves.svg"],
        ["--density-at", "-1.0"],
    ],
    ids=lambda option: option[0],
)
def test_what_a_roll_says_itself_is_no_option(plant: Path, run, option: list[str]) -> None:
    """An option about a bare file isn't silently left out on a roll of a plant: it is wrong usage, and named."""
    code, out, err = run("strips", plant, ROLL, *option)
    assert (code, out) == (2, "")
    assert option[0] in err
    assert "about a file of readings" in " ".join(err.replace("│", " ").split())


@pytest.mark.parametrize(
    ("text", "options", "named", "says"),
    [
        ("log_h,visual\n-1,0.3\n", ["--steps", "21"], "--steps", "gives log_h of each reading"),
        ("step_density,visual\n0,0.3\n", ["--increment", "0.1"], "--increment", "gives step_density of each reading"),
        ("log_h,visual\n-1,0.3\n", ["--exposure-lxs", "1"], "--exposure-lxs", "which is in lx·s"),
        (_long(PAIR), ["--aims", "PRODUCT"], "--aims", "give --exposure-lxs too"),
        (
            _long(PAIR),
            ["--aims", "PRODUCT", "--exposure-lxs", "1", "--film-type", "colour negative"],
            "--film-type",
            "black-and-white",
        ),
        (_long(PAIR), ["--status", "B"], "--status", "B"),
        (_long(PAIR), ["--steps", "4"], "--steps", "equal to 5"),
    ],
)
def test_options_that_do_not_go_with_the_file_are_refused(
    plant: Path, tmp_path: Path, run, text: str, options: list[str], named: str, says: str
) -> None:
    """An option that the file contradicts, or that lacks another, is wrong usage and not left out."""
    path = tmp_path / "readings.csv"
    path.write_text(text)
    code, out, err = run("strips", path, *(_product(plant) if word == "PRODUCT" else word for word in options))
    assert (code, out) == (2, "")
    assert named in err
    assert says in " ".join(err.replace("│", " ").split())


def test_a_faulty_product_is_named(readings: Path, tmp_path: Path, run) -> None:
    """A fault in the file of --aims is an input error that names it."""
    path = tmp_path / "product.toml"
    path.write_text("film_type = 'sepia'\n")
    code, out, err = run("strips", readings, "--aims", path, "--exposure-lxs", "1")
    assert (code, out) == (3, "")
    assert err.startswith(f"Error: {path}, field film_type")


@pytest.mark.parametrize(
    ("cells", "why"),
    [
        (["-"] * 17 + ["0.5", "0.4", "0.3", "0.2"], "needs"),
        ([str(d) for d in _density()[::-1]], "exposure"),
    ],
    ids=["four steps", "a tablet the wrong way round"],
)
def test_a_strip_that_is_no_evidence_says_why(plant: Path, tmp_path: Path, run, cells: list[str], why: str) -> None:
    """Fewer than five usable steps, or steps counted from the wrong end: unusable with its reason, yet drawn."""
    path, figure = tmp_path / "readings.csv", tmp_path / "curves.svg"
    path.write_text("step,visual\n" + "".join(f"{n},{c}\n" for n, c in enumerate(cells, 1)))
    options = ["--aims", _product(plant), "--exposure-lxs", "1", "--figure", figure]
    code, out, _ = run("strips", path, "--json", *options)
    assert code == 0
    (strip,) = json.loads(out)["strips"]
    assert not strip["usable"]
    assert why in strip["why"]
    assert figure.exists()
