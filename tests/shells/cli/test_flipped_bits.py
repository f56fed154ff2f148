"""One bit flipped in any file that a standing decision made or rests on is found, and the file is named."""

import json
import random
import shutil

import imagecodecs
import numpy as np
import pytest

from wideroll.cli import main
from wideroll.store import RecordStore, check_files

ROLL = "T-1"


@pytest.fixture(scope="module")
def sealed(made, tmp_path_factory):
    """A plant with a photograph, decided, and each file its decision made or rests on."""
    root = tmp_path_factory.mktemp("flipped") / "plant"
    shutil.copytree(made, root)
    photograph = root / "rolls" / ROLL / "examination" / "photograph-1.png"
    photograph.write_bytes(imagecodecs.png_encode(np.full((40, 40, 3), 120, np.uint8)))
    assert main(["decide", str(root), ROLL]) == 0
    with RecordStore(f"sqlite:///{root / 'wideroll.db'}") as record:
        rows = list(record.rows())
        decision = record.last("decision", ROLL)
    results = root / "results" / ROLL
    outputs = [results / name for name in decision.body["outputs"]]
    files = [one for path in outputs for one in ([path] if path.is_file() else path.rglob("*")) if one.is_file()]
    inputs = [root / name for name in json.loads((results / "decision.json").read_text())["inputs"]]
    return root, rows, decision.number, sorted({*files, *inputs})


def test_a_flipped_bit_in_any_file_is_named_with_its_event(sealed):
    """In marks, chips, overview, rasters, photographs, readings and all others: the file and the event are named."""
    root, rows, number, files = sealed
    rng = random.Random(8)  # noqa: S311  -- places, no secrets
    names = [path.relative_to(root).as_posix() for path in files]
    for part in ("marks.parquet", "/chips/", "/overview.zarr/", "scan/segment-1.tif", "photograph-1.png", "readings"):
        assert any(part in name for name in names), part
    for path, name in zip(files, names, strict=True):
        good = path.read_bytes()
        if not good:
            continue
        bad = bytearray(good)
        bad[rng.randrange(len(bad))] ^= 1 << rng.randrange(8)
        path.write_bytes(bad)
        found = check_files(root, rows)
        path.write_bytes(good)
        assert (found.first_bad, found.why.startswith(f"file: {name} isn't what")) == (number, True), found.why
    assert check_files(root, rows).first_bad is None


def test_the_command_names_the_chip(sealed, capsys):
    """`record verify` ends with exit code 4 and names the chip, also one that was added or taken away."""
    root, _, number, files = sealed
    chip = next(path for path in files if path.parent.name == "chips" and path.suffix == ".png")
    other, good = chip.with_name("other.png"), chip.read_bytes()
    for change in (lambda: chip.write_bytes(good[:-1]), chip.unlink, lambda: other.write_bytes(good)):
        change()
        assert main(["record", "verify", str(root)]) == 4
        err = " ".join(capsys.readouterr().err.split())
        assert f"event {number}" in err
        assert f"results/{ROLL}/chips/{(other if other.exists() else chip).name} isn't" in err
        chip.write_bytes(good)
        other.unlink(missing_ok=True)


def test_without_its_list_the_folder_is_named(sealed):
    """Where the list of the folders' files is damaged too, the folder is named at least."""
    root, rows, number, files = sealed
    chip = next(path for path in files if path.parent.name == "chips" and path.suffix == ".png")
    listed, good, whole = root / "results" / ROLL / "state" / "folders.json", chip.read_bytes(), b""
    whole = listed.read_bytes()
    chip.write_bytes(good + b"x")
    listed.write_bytes(whole + b" ")
    found = check_files(root, rows)
    chip.write_bytes(good)
    listed.write_bytes(whole)
    assert (found.first_bad, found.why) == (number, f"file: results/{ROLL}/chips isn't what was sealed")
