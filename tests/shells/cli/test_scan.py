"""The scan command: every kind of raster, crops, damage, probability of detection, and what a decision makes of it."""

import json
import os
import shutil
from pathlib import Path

import numpy as np
import pytest
import tifffile
import zarr

from wideroll.acts.other_rolls import OtherRolls
from wideroll.acts.rolls import take_in_hand
from wideroll.readers import PlantFolder
from wideroll.scan.detection import DetectionTrial
from wideroll.store import RecordStore, open_pyramid, read_chips
from wideroll.workflow import measure_detection

ROLL, TWIN = "T-1", "T-2"


def _scan_folder(plant: Path, roll: str = ROLL) -> Path:
    return plant / "rolls" / roll / "scan"


def _pixels(plant: Path) -> np.ndarray:
    return np.concatenate([tifffile.imread(_scan_folder(plant) / f"segment-{n}.tif") for n in (1, 2)])


def _write_zarr(path: Path, pixels: np.ndarray) -> Path:
    array = zarr.create_array(store=path, shape=pixels.shape, chunks=(100, *pixels.shape[1:]), dtype=pixels.dtype)
    array[:] = pixels
    return path


def test_bare_scan_of_zarr_and_raw(web_tiff: Path, tmp_path: Path, run) -> None:
    """A Zarr folder and bare pixels with their table beside them give the marks of the same picture as TIFF."""
    pixels = tifffile.imread(web_tiff)
    raw = tmp_path / "web.raw"
    raw.write_bytes(pixels.tobytes())
    (tmp_path / "web.toml").write_text('columns = 400\ndtype = "uint8"\n')
    found = []
    for path in (web_tiff, _write_zarr(tmp_path / "web.zarr", pixels), raw):
        code, out, _ = run("scan", path, "--pitch-mm", "0.3", "--json")
        assert code == 0
        found.append([(mark["along_m"], mark["contrast"]) for mark in json.loads(out)["marks"]])
    assert len(found[0]) == 1
    assert found[1] == found[2] == found[0]


def test_the_terminal_shows_all_that_was_found(plant: Path, run) -> None:
    """Marks, streaks, bands, mottle, splices, coverage with its why, and how many crops there are."""
    code, out, _ = run("scan", plant, ROLL)
    assert code == 0
    places = [
        out.index(words)
        for words in ("Marks found", "Streaks", "Bands", "Mottle", "Splices", "not looked at", "1 crop ")
    ]
    assert places == sorted(places)


def test_the_overview_is_kept_with_the_scan(decided_plant: Path) -> None:
    """The whole overview lies among the results, made from the inputs that the scan was made from."""
    hand = take_in_hand(decided_plant, ROLL)
    assert open_pyramid(hand.results.path / "overview.zarr").fingerprint == hand.desk.fingerprints["scan"]


@pytest.mark.parametrize("of_a_roll", [False, True])
def test_crops_go_where_they_are_wanted(web_tiff: Path, plant: Path, tmp_path: Path, run, of_a_roll: bool) -> None:  # noqa: FBT001
    """--chips writes crops and their list; a folder that holds other things is left alone."""
    folder = tmp_path / "crops"
    target = (plant, ROLL) if of_a_roll else (web_tiff, "--pitch-mm", "0.3")
    code, _, err = run("scan", *target, "--chips", folder)
    assert code == 0
    assert f"chips: {folder}\n" in err
    (chip,) = read_chips(folder)
    assert run("scan", *target, "--chips", folder, "--chip", chip.mark)[0] == 0
    (folder / "chips.json").rename(folder / "mine.json")
    code, _, err = run("scan", *target, "--chips", folder)
    assert (code, "new, empty or hold chips" in err) == (3, True)


def test_a_crop_that_is_asked_for_is_made_and_not_kept(decided_plant: Path, tmp_path: Path, run) -> None:
    """A mark of which no crop is kept is cropped from the raster; the roll's own results stay as they are."""
    card = decided_plant / "results" / ROLL
    (mark,) = (chip.mark for chip in read_chips(card / "chips"))
    path = _scan_folder(decided_plant) / "segment-1.tif"
    web = tifffile.imread(path)
    for number in range(20):
        web[40 + 4 * number : 42 + 4 * number, 30 + 17 * number : 32 + 17 * number] = 100
    tifffile.imwrite(path, web, photometric="minisblack")
    code, out, _ = run("scan", decided_plant, ROLL, "--json")
    kept = {chip["mark"] for chip in json.loads(out)["chips"]}
    assert run("scan", decided_plant, ROLL, "--out", tmp_path / "marks.csv")[0] == 0
    listed = {line.split(",")[0] for line in (tmp_path / "marks.csv").read_text().splitlines()[1:]}
    (asked, *_) = sorted(listed - kept)
    code, _, err = run("scan", decided_plant, ROLL, "--chips", tmp_path / "crops", "--chip", asked)
    assert (code, "scan 500 lines: done" in err) == (0, True)
    assert {chip.mark for chip in read_chips(tmp_path / "crops")} == kept | {asked}
    assert {chip.mark for chip in read_chips(card / "chips")} == kept
    assert mark in listed


@pytest.mark.parametrize(
    ("options", "code", "says"),
    [
        (["--chip", "abc"], 2, "say where the crops go"),
        (["--chips", "CROPS", "--chip", "abc"], 3, "must be the id of a mark"),
    ],
)
def test_a_wrong_wish_for_crops_is_answered(plant: Path, tmp_path: Path, run, options, code: int, says: str) -> None:
    """A crop without a folder, or of a mark that isn't there, is refused."""
    words = [tmp_path / "crops" if word == "CROPS" else word for word in options]
    answer, out, err = run("scan", plant, ROLL, *words)
    assert (answer, out) == (code, "")
    assert says in " ".join(err.replace("│", " ").split())
    assert not (tmp_path / "crops").exists()


def test_a_cut_off_segment_is_used_as_far_as_it_goes(plant: Path, run) -> None:
    """What can be read is scanned, the message says what is lost, and the roll is held for what nobody saw."""
    path = _scan_folder(plant) / "segment-2.tif"
    path.write_bytes(path.read_bytes()[:-60_000])
    code, out, err = run("decide", plant, ROLL)
    assert code == 10
    assert "segment-2.tif is cut off: " in err
    assert err.count("lines are lost") == 1
    assert "segment-2.tif is cut off" in out
    code, out, err = run("scan", plant, ROLL)
    assert (code, err) == (0, "")
    assert "segment-2.tif is cut off" in " ".join(out.split())


def test_two_channels_of_a_roll(plant: Path, run) -> None:
    """A roll scanned in two lights shows the marks of both; a part is looked at where both looked."""
    folder = _scan_folder(plant)
    infrared = _pixels(plant)
    red = np.roll(infrared[::-1], 7, axis=1)
    for path in folder.glob("*.tif"):
        path.unlink()
    _write_zarr(folder / "both.zarr", np.stack([infrared, red], axis=2))
    text = (folder / "scan.toml").read_text().split("segments")[0]
    (folder / "scan.toml").write_text(f'{text}segments = ["both.zarr"]\nchannels = ["infrared", "red"]\n')
    code, out, _ = run("scan", plant, ROLL, "--json")
    document = json.loads(out)
    assert code == 0
    assert [(one["name"], one["alone"]) for one in document["channels"]] == [("infrared", 1), ("red", 1)]
    assert sum(document["marks_by_kind"].values()) == 2
    again = json.loads(run("scan", plant, ROLL, "--json")[1])
    assert again == document
    assert "channel red: 1 mark, 1 of them in no other channel" in run("scan", plant, ROLL)[1]
    assert run("decide", plant, ROLL)[0] == 0
    assert (plant / "results" / ROLL / "channel-matches.parquet").is_file()


def test_copies_are_known_whatever_their_kind(plant: Path, run) -> None:
    """A Zarr folder copied under another name is a copy; tables beside rasters that happen to be the same are none."""
    folder = _scan_folder(plant)
    pixels = _pixels(plant)
    for path in folder.glob("*.tif"):
        path.unlink()
    text = (folder / "scan.toml").read_text().split("segments")[0]
    for number, part in enumerate((pixels[:300], pixels[300:]), 1):
        (folder / f"part-{number}.raw").write_bytes(part.tobytes())
        (folder / f"part-{number}.toml").write_text('columns = 400\ndtype = "uint8"\n')
    (folder / "scan.toml").write_text(f'{text}segments = ["part-1.raw", "part-2.raw"]\n')
    assert run("scan", plant, ROLL)[0] == 0
    first = _write_zarr(folder / "part-1.zarr", pixels[:250])
    shutil.copytree(first, folder / "part-2.zarr")
    (folder / "scan.toml").write_text(f'{text}segments = ["part-1.zarr", "part-2.zarr"]\n')
    code, out, err = run("scan", plant, ROLL)
    assert (code, out) == (3, "")
    assert "part-2.zarr: each segment holds its own part of the web; part-1.zarr is the same" in err


def test_a_zarr_segment_belongs_to_one_roll(plant: Path, run) -> None:
    """Another roll's Zarr folder is known again."""
    folder = _scan_folder(plant)
    _write_zarr(folder / "web.zarr", _pixels(plant))
    text = (folder / "scan.toml").read_text().split("segments")[0]
    for path in folder.glob("*.tif"):
        path.unlink()
    (folder / "scan.toml").write_text(f'{text}segments = ["web.zarr"]\n')
    _settle(folder)
    assert run("scan", plant, ROLL)[0] == 0
    shutil.copytree(plant / "rolls" / ROLL, plant / "rolls" / TWIN)
    code, _, err = run("scan", plant, TWIN)
    assert (code, "a segment belongs to one roll" in err) == (3, True)


def _settle(folder: Path) -> None:
    """As if written a while ago, so that hashes are remembered."""
    for path in folder.rglob("*"):
        os.utime(path, (1_700_000_000, 1_700_000_000))


def _streaked(plant: Path, roll: str, *, seed: int, column: int | None) -> None:
    """Give a roll a raster of its own, perhaps with a faint dark line from end to end."""
    web = np.random.Generator(np.random.PCG64(seed)).normal(150.0, 2.0, (500, 400))
    if column is not None:
        web[:, column : column + 3] -= 3.0
    for path in _scan_folder(plant, roll).glob("*.tif"):
        path.unlink()
    tifffile.imwrite(_scan_folder(plant, roll) / "web.tif", np.rint(web).astype(np.uint8), photometric="minisblack")
    toml = _scan_folder(plant, roll) / "scan.toml"
    toml.write_text(toml.read_text().split("segments")[0] + 'segments = ["web.tif"]\n')


@pytest.fixture
def two_rolls(plant: Path) -> Path:
    """A plant with two rolls whose scans show a line in the same column from end to end."""
    product = plant / "products" / "sheet-100.toml"
    streaks = '[[criteria]]\nname = "Streaks"\nmeasurand = "flaw"\nsubject = "scan"\nkinds = ["streak"]\nlimit = 0.5\n'
    product.write_text(
        product.read_text().replace("[[widths]]", f'{streaks}unit = "%"\nconsequence = "hold"\n\n[[widths]]')
    )
    shutil.copytree(plant / "rolls" / ROLL, plant / "rolls" / TWIN)
    for roll, seed in ((ROLL, 1), (TWIN, 2)):
        _streaked(plant, roll, seed=seed, column=200)
    return plant


def _origins(plant: Path, run) -> list[str]:
    return [streak["origin"] for streak in json.loads(run("scan", plant, ROLL, "--json")[1])["streaks"]]


def test_another_rolls_scan_tells_whose_a_streak_is(two_rolls: Path, run) -> None:
    """Alone, a line from end to end is undecided and holds the roll; one that another roll shows is the scanner's."""
    assert _origins(two_rolls, run) == ["undecided between web and scanner"]
    assert run("decide", two_rolls, ROLL)[0] == 10
    assert run("scan", two_rolls, TWIN)[0] == 0
    assert _origins(two_rolls, run) == ["scanner"]
    code, out, err = run("decide", two_rolls, ROLL, "--json")
    document = json.loads(out)
    assert (code, list(document["compared_with"])) == (0, [TWIN])
    assert "scan 500" not in err
    assert "this is the decision on record" in run("decide", two_rolls, ROLL)[2]
    with RecordStore(f"sqlite:///{two_rolls / 'wideroll.db'}") as store:
        decisions = [event for event in store.events() if event.act == "decision"]
    assert [event.body["verdict"] for event in decisions] == ["hold", "release"]
    assert decisions[1].body["because"] == [f"the scan of {TWIN} that it is compared with came"]


def test_a_decision_forgets_a_scan_that_is_stale(two_rolls: Path, run) -> None:
    """When the other roll's raster changes, its old scan tells nothing any more."""
    assert run("scan", two_rolls, TWIN)[0] == 0
    assert run("decide", two_rolls, ROLL)[0] == 0
    _streaked(two_rolls, TWIN, seed=3, column=None)
    assert run("decide", two_rolls, ROLL)[0] == 10
    assert run("scan", two_rolls, TWIN)[0] == 0
    assert _origins(two_rolls, run) == ["web"]


def test_a_roll_without_doubtful_streaks_is_compared_with_none(decided_plant: Path, run) -> None:
    """Other rolls' scans make no decision stale that doesn't rest on them."""
    shutil.copytree(decided_plant / "rolls" / ROLL, decided_plant / "rolls" / TWIN)
    _streaked(decided_plant, TWIN, seed=2, column=None)
    assert run("scan", decided_plant, TWIN)[0] == 0
    assert take_in_hand(decided_plant, ROLL).compared_with == {}
    others = OtherRolls(files=PlantFolder(decided_plant), roll=ROLL)
    assert [other.roll for other in others.by("line-end scanner")] == [TWIN]
    assert others.by("another scanner") == ()


@pytest.fixture
def quick_trial(monkeypatch: pytest.MonkeyPatch) -> None:
    """A trial of a few classes on the tiny roll, whose lines lie far apart."""
    trial = DetectionTrial(
        sizes_px=(0.6, 1.0, 2.0, 3.0),
        contrasts_noise=(3.0, 6.0, 12.0, 24.0),
        marks_per_class=3,
        stretches=1,
        guard_px=4,
    )
    monkeypatch.setattr(measure_detection, "__kwdefaults__", {"trial": trial, "progress": None})


@pytest.mark.usefixtures("quick_trial")
def test_probability_of_detection_is_measured_kept_and_shown(decided_plant: Path, run) -> None:
    """--pod lays marks on the roll's own raster, shows the curve, and keeps it: the next time nothing is scanned."""
    code, out, err = run("scan", decided_plant, ROLL, "--pod")
    assert code == 0
    assert "probability of detection" in err
    assert "Probability of detection in %" in out
    assert "a90/95" in out
    code, out, err = run("scan", decided_plant, ROLL, "--pod", "--json")
    document = json.loads(out)["detection"]
    assert (code, err) == (0, "")
    assert document["schema"] == "wideroll/detection/1"
    assert document["curves"][0]["table"]["sizes"]
    assert json.loads(run("scan", decided_plant, ROLL, "--json")[1])["detection"] is None


@pytest.mark.usefixtures("quick_trial")
def test_a_decision_shows_how_likely_its_classes_are_found(decided_plant: Path, run) -> None:
    """With a trial kept, the decision is made anew and says for each size class how likely its smallest are found."""
    product = decided_plant / "products" / "sheet-100.toml"
    product.write_text(product.read_text().replace('unit = "per m²"\n', 'unit = "per m²"\nleast_size = "1.5 mm"\n'))
    assert json.loads(run("decide", decided_plant, ROLL, "--json")[1])["detected"] == []
    assert run("scan", decided_plant, ROLL, "--pod")[0] == 0
    code, out, _ = run("decide", decided_plant, ROLL)
    assert code == 0
    assert "Marks: a mark of 1.5 mm at contrast 0.1 is found with probability " in out
    sheet = (decided_plant / "results" / ROLL / "sheet.html").read_text()
    assert "How likely the scan finds the smallest marks that count" in sheet
    assert "marks laid on 1 stretches" in sheet
    assert "this is the decision on record" in run("decide", decided_plant, ROLL)[2]
    kept = decided_plant / "results" / ROLL / "state" / "detection.json"
    kept.write_text(kept.read_text().replace('"injected": 3', '"injected": 4'))
    assert "detection.json" in run("decide", decided_plant, ROLL)[2]


@pytest.mark.usefixtures("quick_trial")
def test_probability_of_detection_of_a_bare_raster(web_tiff: Path, run) -> None:
    """A raster of one's own is tried as well."""
    code, out, _ = run("scan", web_tiff, "--pitch-mm", "4", "--pod", "--json")
    assert code == 0
    assert json.loads(out)["detection"]["injected"] > 0
