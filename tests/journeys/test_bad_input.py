"""Whatever is wrong with a plant's files: one clear message, exit code 3, nothing half-written."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import tifffile

from wideroll.cli import main

EXIT_INPUT, EXIT_HOLD = 3, 10
GOOD, FLAWED, SLOW = "W-2041", "W-2042", "W-2043"


@pytest.fixture
def plant(small_plant: Path, tmp_path: Path) -> Path:
    """A copy of the demo plant that a test may spoil; its scans are links, since they are large."""
    root = tmp_path / "plant"
    shutil.copytree(small_plant, root, copy_function=_copy_or_link)
    return root


def _copy_or_link(source: str, target: str) -> None:
    if source.endswith(".tif"):
        Path(target).hardlink_to(source)
    else:
        shutil.copy2(source, target)


def _replace(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def _missing_file(root: Path) -> None:
    (root / "rolls" / GOOD / "strips" / "readings.csv").unlink()


def _missing_segment(root: Path) -> None:
    (root / "rolls" / GOOD / "scan" / "segment-001.tif").unlink()


def _truncated_tiff(root: Path) -> None:
    path = root / "rolls" / GOOD / "scan" / "segment-001.tif"
    data = path.read_bytes()
    path.unlink()
    path.write_bytes(data[: len(data) // 2])


def _no_line_left(root: Path) -> None:
    path = root / "rolls" / GOOD / "scan" / "segment-001.tif"
    tags = _truncated_at(path)
    data = path.read_bytes()
    path.unlink()
    path.write_bytes(data[:tags])


def _truncated_at(path: Path) -> int:
    """Where the pixels begin."""
    with tifffile.TiffFile(path) as file:
        return int(file.pages.first.dataoffsets[0])


def _missing_step(root: Path) -> None:
    path = root / "rolls" / GOOD / "strips" / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    path.write_text("".join(line for line in lines if not line.startswith("S-1,7,")), encoding="utf-8")


def _text_in_density(root: Path) -> None:
    path = root / "rolls" / GOOD / "strips" / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    row = lines[5].split(",")
    lines[5] = ",".join([*row[:2], '"4,1x"', *row[3:]])
    path.write_text("".join(lines), encoding="utf-8")


def _no_diameter(root: Path) -> None:
    _replace(root / "plant.toml", 'diameter = "300 mm"', 'diameter = "0 mm"')


def _unknown_product(root: Path) -> None:
    _replace(root / "rolls" / GOOD / "roll.toml", "negative-100", "negative-400")


def _overlapping_batches(root: Path) -> None:
    path = root / "rolls" / SLOW / "roll.toml"
    text = path.read_text(encoding="utf-8").split('name = "E-520"\nalong_from = ')
    path.write_text(f'{text[0]}name = "E-520"\nalong_from = "1 m"\n{text[1].split(chr(10), 1)[1]}', encoding="utf-8")


def _fogging_scanner(root: Path) -> None:
    _replace(root / "plant.toml", "wavelength_nm = 850", "wavelength_nm = 635")


def _misspelt_field(root: Path) -> None:
    _replace(root / "plant.toml", "web_width", "web_with")


def _no_unit(root: Path) -> None:
    _replace(root / "plant.toml", '"9 3/8 in"', '"9 3/8"')


def _not_toml(root: Path) -> None:
    _replace(root / "plant.toml", "[[scanners]]", "[[scanners")


def _strip_off_list(root: Path) -> None:
    _replace(root / "rolls" / GOOD / "strips" / "strips.csv", "S-1,", "S-9,")


def _sheet_outside(root: Path) -> None:
    path = root / "rolls" / GOOD / "examination" / "sheets.csv"
    path.write_text("sheet,along_from,along_to,examiner\nA,900 m,901 m,examiner A\n", encoding="utf-8")


def _colour_raster(root: Path) -> None:
    path = root / "rolls" / GOOD / "scan" / "segment-001.tif"
    path.unlink()
    tifffile.imwrite(path, np.zeros((50, 60, 3), np.uint8), photometric="rgb")


def _other_rolls_segment(root: Path) -> None:
    path = root / "rolls" / GOOD / "scan" / "segment-001.tif"
    path.unlink()
    shutil.copy2(root / "rolls" / SLOW / "scan" / "segment-001.tif", path)


def _copied_segment(root: Path) -> None:
    folder = root / "rolls" / FLAWED / "scan"
    (folder / "segment-002.tif").unlink()
    shutil.copy2(folder / "segment-001.tif", folder / "segment-002.tif")


def _copied_strip(root: Path) -> None:
    path = root / "rolls" / GOOD / "strips" / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    own = [line for line in lines if not line.startswith("S-2,")]
    path.write_text("".join([*own, *(f"S-2{line[3:]}" for line in lines if line.startswith("S-1,"))]), encoding="utf-8")


def _strips_from_one_place(root: Path) -> None:
    path = root / "rolls" / GOOD / "strips" / "strips.csv"
    rows = [line.split(",", 3) for line in path.read_text(encoding="utf-8").splitlines()]
    place = next(row[3] for row in rows if row[0] == "S-1")
    moved = [[*row[:3], place] if row[0] == "S-2" else row for row in rows]
    path.write_text("\n".join(",".join(row) for row in moved) + "\n", encoding="utf-8")


def _no_sightings(root: Path) -> None:
    (root / "rolls" / GOOD / "examination" / "sightings.csv").unlink()


def _wrong_pitch_across(root: Path) -> None:
    _replace(root / "rolls" / GOOD / "scan" / "scan.toml", 'pitch_across = "0.5 mm"', 'pitch_across = "0.6 mm"')


def _wrong_pitch_along(root: Path) -> None:
    _replace(root / "rolls" / GOOD / "scan" / "scan.toml", 'pitch_along = "0.5 mm"', 'pitch_along = "0.6 mm"')


def _misspelt_kind(root: Path) -> None:
    _replace(root / "products" / "negative-100.toml", '"metal"', '"metall"')


def _width_in_metres(root: Path) -> None:
    _replace(root / "products" / "negative-100.toml", '"34.975 mm"', '"34.975 m"')


FAULTS = [
    (_other_rolls_segment, GOOD, ["segment-001.tif", "belongs to one roll", SLOW]),
    (_copied_segment, FLAWED, ["segment-002.tif", "own part of the web", "segment-001.tif is the same"]),
    (_copied_strip, GOOD, ["strips.csv, line", "readings of its own", "S-1"]),
    (_strips_from_one_place, GOOD, ["strips.csv, line", "one place"]),
    (_no_sightings, GOOD, ["sightings.csv", "header alone"]),
    (_wrong_pitch_across, GOOD, ["scan.toml, field pitch_across", "1380 mm", "1656"]),
    (_wrong_pitch_along, GOOD, ["scan.toml, field pitch_along", "7 m", "8.40 m"]),
    (_misspelt_kind, GOOD, ["negative-100.toml", "Metal, kinds", "metall"]),
    (_width_in_metres, GOOD, ["negative-100.toml, width 35 mm", "less than the web", "34975 mm"]),
    (_missing_file, GOOD, ["readings.csv", "must be there"]),
    (_missing_segment, GOOD, ["segment-001.tif", "must be there"]),
    (_no_line_left, GOOD, ["segment-001.tif", "must be whole", "no line can be read", "Copy the file again"]),
    (_missing_step, GOOD, ["readings.csv, strip S-1", "21 steps", "no step 7"]),
    (_text_in_density, GOOD, ["readings.csv, line 6, column red", "must be a number", "4,1x"]),
    (_no_diameter, GOOD, ["plant.toml", "R03 coating roll", "diameter", "greater than 0"]),
    (_unknown_product, GOOD, ["products", "must be one of: negative-100", "negative-400"]),
    (_overlapping_batches, SLOW, ["roll.toml", "batch E-520", "must not overlap", "1 m"]),
    (_fogging_scanner, GOOD, ["scan.toml", "sensitive to", "635 nm"]),
    (_misspelt_field, GOOD, ["plant.toml", "web_width"]),
    (_no_unit, GOOD, ["plant.toml", "rollers.7.diameter", "a number and a unit", "9 3/8"]),
    (_not_toml, GOOD, ["plant.toml", "must be TOML", "line"]),
    (_strip_off_list, GOOD, ["strips.csv, line", "has readings"]),
    (_sheet_outside, GOOD, ["sheets.csv, line 2", "inside the roll"]),
    (_colour_raster, GOOD, ["segment-001.tif", "grey, 8 or 16 bit"]),
]


@pytest.mark.parametrize(("spoil", "roll", "says"), FAULTS, ids=[fault[0].__name__[1:] for fault in FAULTS])
def test_a_fault_is_named_and_nothing_is_half_written(
    plant: Path,
    capsys: pytest.CaptureFixture[str],
    spoil: Callable[[Path], None],
    roll: str,
    says: list[str],
) -> None:
    """Each fault gives one message with where, rule, value and mend, exit code 3, and leaves the results alone."""
    spoil(plant)
    results = plant / "results" / roll
    before = _contents(results)
    assert main(["decide", str(plant), roll]) == EXIT_INPUT
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("Error:") == 1
    assert "Traceback" not in err
    for words in says:
        assert words in err
    assert _contents(results) == before


def test_a_truncated_segment_is_used_as_far_as_it_goes(plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Half a scan is no fault of the command's: it is used, the lost metres are not looked at, and hold the roll."""
    _truncated_tiff(plant)
    assert main(["decide", str(plant), GOOD, "--json"]) == EXIT_HOLD
    out, err = capsys.readouterr()
    assert "Error" not in err
    (told,) = [line for line in err.splitlines() if "segment-001.tif is cut off" in line]
    assert "lines are lost, from 3.5" in told
    assert told.endswith("to 7.000 m from the head")
    decision = json.loads(out)
    (lost,) = [part for part in decision["coverage"]["scan"]["unseen"] if part["why"] == "segment-001.tif is cut off"]
    assert (lost["extent"]["along_from_m"], lost["extent"]["along_to_m"]) == pytest.approx((3.5, 7.0), abs=0.01)
    assert decision["verdict"] == "hold"
    assert json.loads((plant / "results" / GOOD / "cut.json").read_bytes())["pieces"] == []


def _contents(folder: Path) -> dict[str, bytes]:
    """What people and machines read of the results; not the memory of hashes nor a scan that was made anew."""
    files = sorted(path for path in folder.glob("*.*") if path.suffix in {".json", ".csv", ".html"})
    files = [path for path in files if path.name != "inputs.json"]
    return {path.name: path.read_bytes() for path in files}


@pytest.mark.parametrize(
    ("command", "code"),
    [
        (["decide", "nowhere", GOOD], EXIT_INPUT),
        (["scan", "nowhere.tif", "--pitch-mm", "0.1"], EXIT_INPUT),
        (["strips", "nowhere.csv"], EXIT_INPUT),
        (["scan", "nowhere.tif"], 2),
        (["decide"], 2),
        (["no-such-command"], 2),
    ],
)
def test_a_wrong_call_is_told_from_a_wrong_file(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str], code: int
) -> None:
    """A file that isn't there ends with 3, a command used wrongly with 2, neither with a traceback."""
    monkeypatch.chdir(tmp_path)
    assert main(command) == code
    assert "Traceback" not in capsys.readouterr().err


def test_an_unknown_roll_is_answered_with_those_there_are(
    small_plant: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Asking for a roll that isn't there names those that are."""
    assert main(["decide", str(small_plant), "W-9999"]) == EXIT_INPUT
    assert "W-2041, W-2042, W-2043" in capsys.readouterr().err


def test_a_roll_name_cannot_leave_the_plant(small_plant: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A roll's name with a path in it is refused."""
    assert main(["decide", str(small_plant), "../../etc"]) == EXIT_INPUT
    assert "roll name" in capsys.readouterr().err


def test_a_demo_does_not_write_over_other_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder with somebody's files in it is left alone."""
    mine = tmp_path / "mine.txt"
    mine.write_text("keep", encoding="utf-8")
    assert main(["demo", str(tmp_path)]) == EXIT_INPUT
    assert "must be new or empty" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == [mine]
