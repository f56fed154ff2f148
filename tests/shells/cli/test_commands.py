import csv
import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

ROLL = "T-1"
COMMANDS = ("scan", "strips", "examine", "repeats", "decide", "cut")


def _document(out: str) -> dict[str, object]:
    document = json.loads(out, parse_constant=pytest.fail)
    assert isinstance(document, dict)
    return document


@pytest.mark.parametrize("command", COMMANDS)
def test_json_is_one_documented_document(decided_plant: Path, run, command: str) -> None:
    """Each command's --json is one object with its schema's name and number, without NaN, and nothing else."""
    code, out, _ = run(command, decided_plant, ROLL, "--json")
    assert code == 0
    schema = {"examine": "examination", "decide": "decision"}.get(command, command)
    assert _document(out)["schema"] == f"wideroll/{schema}/{2 if command == 'cut' else 1}"


def test_json_of_a_roll_without_evidence_is_json_too(plant: Path, run) -> None:
    """Where nothing was measured the document says null, never NaN; the roll is on hold."""
    for folder in ("scan", "strips", "examination"):
        for path in (plant / "rolls" / ROLL / folder).iterdir():
            path.unlink()
        (plant / "rolls" / ROLL / folder).rmdir()
    code, out, _ = run("decide", plant, ROLL, "--json")
    assert code == 10
    assert _document(out)["verdict"] == "hold"
    assert None in [finding["found"] for finding in _document(out)["findings"]]
    for command in COMMANDS[1:]:
        code, out, _ = run(command, plant, ROLL, "--json")
        assert code in {0, 10}
        _document(out)
    code, out, err = run("scan", plant, ROLL)
    assert (code, out) == (3, "")
    assert "the roll has no scan" in err


@pytest.mark.parametrize("command", COMMANDS)
def test_data_goes_to_standard_output_and_messages_elsewhere(plant: Path, run, command: str) -> None:
    """Tables go to standard output, what was taken in and scanned to standard error; neither holds an escape code."""
    code, out, err = run(command, plant, ROLL)
    assert code == 0
    assert out.strip()
    assert "done" not in out
    assert "\x1b" not in out + err
    taken_in = "taken in as events 1 to 3 of the record\n" if command in {"decide", "cut"} else ""
    scanned = "scan 500 lines: done\n" if command != "strips" else ""
    assert err == taken_in + scanned


def test_no_colour_on_a_terminal_either(plant: Path, run, monkeypatch: pytest.MonkeyPatch) -> None:
    """With NO_COLOR set, even output that is forced to be a terminal's sets no colour."""
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setenv("FORCE_COLOR", "1")
    _, out, err = run("decide", plant, ROLL)
    codes = {code for part in (out + err).split("\x1b[")[1:] for code in part.split("m")[0].split(";")}
    assert not codes & {str(number) for base in (30, 40, 90, 100) for number in range(base, base + 10)}


@pytest.mark.parametrize(
    ("spots", "code", "word"), [(0, 0, "RELEASE"), (60, 11, "REJECT"), (4, 10, "HOLD")], ids=["good", "dirty", "unsure"]
)
def test_the_exit_code_is_the_verdict(plant: Path, run, spots: int, code: int, word: str) -> None:
    """0 for a roll that is released, 10 for one on hold, 11 for one that is rejected."""
    path = plant / "rolls" / ROLL / "scan" / "segment-1.tif"
    web = tifffile.imread(path)
    web[200:203, 150:154] = 150
    for number in range(spots):
        line, column = 20 + 31 * (number // 8), 40 + 40 * (number % 8)
        web[line, column : column + 2] = 60
    tifffile.imwrite(path, web, photometric="minisblack")
    product = plant / "products" / "sheet-100.toml"
    product.write_text(product.read_text().replace("limit = 200", "limit = 20"))
    assert run("decide", plant, ROLL)[:1] == (code,)
    _, out, _ = run("decide", plant, ROLL)
    assert out.startswith(f"T-1: {word}\n")
    cut_code, out, _ = run("cut", plant, ROLL)
    assert cut_code == code
    says = {"RELEASE": "value", "HOLD": "Provisional", "REJECT": "nothing to cut"}[word]
    assert says in out


def test_a_second_decision_is_the_first(decided_plant: Path, run) -> None:
    """Nothing stale: the same document from disk, no scan, no new event; and it says so."""
    results = decided_plant / "results" / ROLL
    before = {path: path.read_bytes() for path in results.rglob("*") if path.is_file() and path.name != "inputs.json"}
    code, out, err = run("decide", decided_plant, ROLL)
    assert code == 0
    assert out.startswith("T-1: RELEASE\n")
    assert "this is the decision on record" in err
    assert "scan" not in err
    for path, data in before.items():
        assert path.read_bytes() == data


def test_bare_scan_of_tiff_and_png(web_tiff: Path, tmp_path: Path, run) -> None:
    """A file of one's own, as TIFF or 16 bit PNG, is scanned without a plant; the marks come in the document."""
    png = tmp_path / "mine.png"
    Image.fromarray(tifffile.imread(web_tiff).astype(np.uint16) * 257).save(png)
    found = []
    for path, pitch in ((web_tiff, "0.3"), (png, "0,3")):
        code, out, err = run("scan", path, "--pitch-mm", pitch, "--json")
        assert code == 0
        assert "300 lines: done" in err
        document = _document(out)
        assert (document["lines"], document["columns"], document["looked_at_share"]) == (300, 400, None)
        found.append([(mark["along_m"], mark["across_mm"]) for mark in document["marks"]])
    assert len(found[0]) == 1
    assert np.allclose(found[0], found[1], atol=1e-3)
    assert np.allclose(found[0], [(201.5 * 0.0003, 152 * 0.3)], atol=0.05)


@pytest.mark.parametrize("of_a_roll", [False, True])
def test_marks_as_csv(web_tiff: Path, plant: Path, tmp_path: Path, run, of_a_roll: bool) -> None:  # noqa: FBT001
    """--out writes the marks as CSV whether they are a roll's or a bare file's, and says where on standard error."""
    out = tmp_path / "a folder [new]" / "marks.csv"
    target = (plant, ROLL) if of_a_roll else (web_tiff, "--pitch-mm", "0.3")
    code, data, err = run("scan", *target, "--out", out)
    assert code == 0
    assert f"marks: {out}\n" in err
    assert str(out) not in data
    with out.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 1
    assert float(rows[0]["across_mm"]) == pytest.approx(45.6, abs=0.5)


@pytest.mark.parametrize(
    ("records", "sign", "options", "standard"),
    [
        (["visual"], 1, ["--film-type", "black-and-white"], "ISO 6"),
        (["red", "green", "blue"], 1, ["--film-type", "colour negative"], "ISO 5800"),
        (["visual"], -1, ["--film-type", "colour reversal"], "ISO 2240"),
    ],
    ids=["black-and-white", "colour negative", "colour reversal"],
)
def test_bare_strips_of_each_kind_of_film(
    tmp_path: Path, run, records: list[str], sign: int, options: list[str], standard: str
) -> None:
    """Readings of one's own are measured as the film they are; only with their exposure is there an ISO speed."""
    log_h = -0.15 * np.arange(21)
    density = 0.2 + 2.6 / (1.0 + np.exp(-3.0 * sign * (log_h + 1.2))) + 0.004 * np.cos(40.0 * log_h)
    rows = [[str(step), *[f"{d:.3f}".replace(".", ",")] * len(records)] for step, d in enumerate(density, 1)]
    path = tmp_path / "readings.csv"
    path.write_text("\n".join(";".join(row) for row in [["step", *records], *rows]))
    code, out, err = run("strips", path, "--exposure-lxs", "1.0", *options)
    assert (code, err) == (0, "")
    assert "strip readings" in out
    assert f"{standard} speed" in out
    code, out, err = run("strips", path, "--json", *options)
    assert code == 0
    assert "log H is relative" in err
    (strip,) = _document(out)["strips"]
    assert strip["usable"], strip["why"]
    assert "ISO" not in {measure["unit"] for measure in strip["measures"]}


@pytest.mark.parametrize("sign", [1, -1])
def test_the_film_is_told_from_the_way_its_density_goes(tmp_path: Path, run, sign: int) -> None:
    """Three records that fall with exposure are reversal film, with steps not read at either end too."""
    log_h = -0.15 * np.arange(21)
    density = 0.2 + 2.6 / (1.0 + np.exp(-3.0 * sign * (log_h + 1.2))) + 0.004 * np.cos(40.0 * log_h)
    cells = ["-", *[f"{d:.3f}" for d in density[1:-1]], "-"]
    path = tmp_path / "readings.csv"
    path.write_text("step,red,green,blue\n" + "".join(f"{n},{c},{c},{c}\n" for n, c in enumerate(cells, 1)))
    code, out, err = run("strips", path, "--json")
    assert code == 0
    (strip,) = _document(out)["strips"]
    assert strip["usable"], strip["why"]
    assert f"taken as {'colour negative' if sign > 0 else 'colour reversal'}" in err


def test_a_bare_strip_that_says_nothing_is_told_as_such(tmp_path: Path, run) -> None:
    """A strip without readings, or with one, is unusable with its reason; that is no failure and no warning."""
    path = tmp_path / "readings.csv"
    for text in ("log_h,red\n-1,0.3\n", "log_h,red\n-1,-\n0,-\n"):
        path.write_text(text)
        code, out, _ = run("strips", path, "--json")
        assert code == 0
        (strip,) = _document(out)["strips"]
        assert not strip["usable"]
        assert strip["why"]
        code, out, _ = run("strips", path)
        assert code == 0
        assert "strip readings: red: needs" in out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["scan", "PLANT"], "name of a roll"),
        (["strips", "PLANT"], "name of a roll"),
        (["scan", "WEB"], "size of its pixels"),
        *((["scan", "WEB", "--pitch-mm", value], "size of its pixels") for value in ("0", "-1", "nan", "inf")),
        (["scan", "WEB", "--pitch-mm", "wide"], "'wide'"),
        (["strips", "WEB", "--exposure-lxs", "0"], "greater than 0"),
        (["scan", "PLANT", "T-1", "--pitch-mm", "1"], "scan.toml"),
        (["decide", "PLANT"], "ROLL"),
        (["decide"], "PLANT"),
        (["strips", "WEB", "--film-type", "sepia"], "sepia"),
        (["scan", "WEB", "--wide"], "--wide"),
        (["no-such-act"], "no-such-act"),
    ],
)
def test_wrong_usage_is_told_with_the_argument(plant: Path, web_tiff: Path, run, words: list[str], says: str) -> None:
    """A command used wrongly ends with 2 and says which argument; nothing goes to standard output."""
    code, out, err = run(*({"PLANT": plant, "WEB": web_tiff}.get(word, word) for word in words))
    assert (code, out) == (2, "")
    assert says in err
    assert err.startswith("Usage: wideroll")
    assert "Traceback" not in err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["decide", "nowhere", "T-1"], "nowhere: a plant's folder holds a plant.toml"),
        (["decide", "WEB", "T-1"], "a plant's folder holds a plant.toml"),
        (["decide", "PLANT", "T-2"], "the roll must be one of: T-1, got 'T-2'"),
        (["decide", "PLANT", "../T-1"], "roll name"),
        (["scan", "nowhere.tif", "--pitch-mm", "1"], "nowhere.tif: the raster file must be there"),
        (["scan", "x" * 300 + ".tif", "--pitch-mm", "1"], "Error: "),
        (["strips", "nowhere.csv"], "nowhere.csv: the file must be there"),
        (["strips", "WEB"], "must be UTF-8"),
    ],
)
def test_input_that_can_not_be_used_is_one_message(
    plant: Path, web_tiff: Path, tmp_path: Path, run, monkeypatch: pytest.MonkeyPatch, words: list[str], says: str
) -> None:
    """What can't be read ends with 3 and one line on standard error, however long; nothing on standard output."""
    monkeypatch.chdir(tmp_path)
    code, out, err = run(*({"PLANT": plant, "WEB": web_tiff}.get(word, word) for word in words))
    assert (code, out) == (3, "")
    assert says in err
    assert len(err.splitlines()) == 1
    assert err.startswith("Error: ")


def test_a_fault_in_a_long_path_stays_on_one_line(plant: Path, tmp_path: Path, run) -> None:
    """A message is never broken in the middle of a path, nor are brackets in it taken for markup."""
    deep = tmp_path / ("[red]" + "a" * 120)
    plant.rename(deep)
    (deep / "plant.toml").write_text("name = 'x'\n")
    code, _, err = run("decide", deep, ROLL)
    assert code == 3
    assert f"Error: {deep / 'plant.toml'}, field web_width: the field must be there" in err
    assert err.count("\n") == 1


def test_help_leads_with_examples(run) -> None:
    """Help of every command shows how it is called."""
    for command in (*COMMANDS, "demo"):
        code, out, _ = run(command, "--help")
        assert code == 0
        assert f"wideroll {command} " in out
    code, out, _ = run("--version")
    assert (code, out.split()[0]) == (0, "wideroll")
