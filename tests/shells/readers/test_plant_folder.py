from pathlib import Path

import numpy as np
import pytest
import tifffile

from wideroll.readers import PlantFolder
from wideroll.readers.plant_folder import PlantFolder as SameFolder
from wideroll.roll import Extent

AIMS = "tolerance_density = 0.1\nlog_h = [-3, -2, -1.5, -1, 0]\nvisual = [0.2, 0.3, 0.8, 1.4, 2.2]\n"
FILES = {
    "plant.toml": """\
name = "Little Mere, line 1"
web_width = "120 mm"
datum_edge = "drive side"
scanners = [{name = "infrared", wavelength_nm = 850}, {name = "red", wavelength_nm = 635}]
""",
    "products/sheet-100.toml": f"""\
film_type = "black-and-white"
sensitisation_nm = [[380, 690]]
[aims]
{AIMS}
[reference]
limit_density = 0.05
[reference.aims]
{AIMS}
[[criteria]]
name = "Coverage"
measurand = "coverage"
subject = "scan"
limit = 0.9
unit = "share"
consequence = "hold"
[[widths]]
name = "35"
width = "34.975 mm"
tolerance = "0.025 mm"
value_per_m = 2
""",
    "rolls/T-1/roll.toml": """\
product = "sheet-100"
length = "2 m"
batches = [{name = "E-1", along_from = "0 m", along_to = "2 m"}]
""",
    "rolls/T-1/scan/scan.toml": """\
scanner = "infrared"
pitch_along = "4 mm"
pitch_across = "0.3 mm"
segments = ["b.tif", "a.tif"]
""",
}
WHOLE = Extent(along_from_m=0.0, along_to_m=2.0, across_from_mm=0.0, across_to_mm=120.0)


@pytest.fixture
def plant(tmp_path: Path) -> PlantFolder:
    """A plant with one roll that was scanned in two segments."""
    root = tmp_path / "plant"
    for name, text in FILES.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text, encoding="utf-8")
    for number, name in enumerate(("a.tif", "b.tif")):
        pixels = np.full((10, 40), number, np.uint8)
        tifffile.imwrite(root / "rolls" / "T-1" / "scan" / name, pixels, photometric="minisblack")
    return PlantFolder(root)


def _replace(plant: PlantFolder, name: str, old: str, new: str) -> None:
    path = plant.root / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def _raster(plant: PlantFolder):
    return plant.raster("T-1", plant.plant(), plant.product("sheet-100"))


def test_a_plant_is_read_from_its_folder(plant: PlantFolder) -> None:
    """Line, product, roll and scan are found where DESIGN puts them; segments come in the order scan.toml names."""
    assert SameFolder is PlantFolder
    assert plant.plant().name == "Little Mere, line 1"
    assert plant.rolls() == ("T-1",)
    assert (plant.card("T-1").product, plant.card("T-1").length_m) == ("sheet-100", 2.0)
    raster = _raster(plant)
    assert (raster.pitch_mm, raster.source, raster.lines) == ((4.0, 0.3), "infrared", 20)
    assert [int(block[0, 0]) for block in raster.blocks()] == [1, 0]


def test_what_a_roll_does_not_have_is_empty(plant: PlantFolder) -> None:
    """A roll without scan, strips or examination has none, which is no error."""
    for path in (plant.root / "rolls" / "T-1" / "scan").iterdir():
        path.unlink()
    (plant.root / "rolls" / "T-1" / "scan").rmdir()
    assert _raster(plant) is None
    assert plant.strips("T-1") == ()
    assert plant.sheets("T-1", WHOLE) == ()
    assert plant.sightings("T-1", ()) == ()


def test_all_inputs_of_a_decision_are_named(plant: PlantFolder) -> None:
    """The files a decision hangs on are the line's, the product's and all of the roll's, in order, without others."""
    (plant.root / "rolls" / "T-2").mkdir()
    (plant.root / "rolls" / "T-2" / "roll.toml").write_text("", encoding="utf-8")
    names = [path.relative_to(plant.root).as_posix() for path in plant.inputs("T-1", "sheet-100")]
    assert names == sorted([*FILES, "rolls/T-1/scan/a.tif", "rolls/T-1/scan/b.tif"])
    assert [path.name for path in plant.scan_inputs("T-1")] == ["a.tif", "b.tif", "scan.toml"]


def test_an_unknown_roll_or_product_is_answered_with_those_there_are(plant: PlantFolder, refused) -> None:
    """Asking for a roll or product that isn't there names those that are."""
    with refused("rolls", rule="must be one of: T-1", value="T-9"):
        plant.card("T-9")
    with refused("products", rule="must be one of: sheet-100", value="sheet-400"):
        plant.product("sheet-400")


def test_an_unknown_scanner_is_answered_with_those_there_are(plant: PlantFolder, refused) -> None:
    """A scanner that isn't in plant.toml is named at scan.toml's field."""
    _replace(plant, "rolls/T-1/scan/scan.toml", "infrared", "blue")
    with refused("scan.toml, field scanner", rule="infrared, red", value="blue"):
        _raster(plant)


def test_a_scanner_that_fogs_the_film_is_refused(plant: PlantFolder, refused) -> None:
    """Light inside the film's sensitisation is refused before a pixel is looked at, borders included."""
    _replace(plant, "rolls/T-1/scan/scan.toml", "infrared", "red")
    with refused("scan.toml, field scanner", rule="sensitive to (380 to 690 nm)", value="635 nm"):
        _raster(plant)
    _replace(plant, "plant.toml", "635", "690")
    with refused("scan.toml, field scanner", rule="sensitive to", value="690 nm"):
        _raster(plant)
    _replace(plant, "plant.toml", "690", "690.5")
    assert _raster(plant) is not None


@pytest.mark.parametrize(
    "name",
    ["../T-1", "..", ".", "", "/etc", "T-1/../T-1", "T\\1", ".hidden", "T 1", "T\x001", "T\n1", "-x", "Ü", "T" * 300],
)
def test_a_name_can_not_leave_its_folder(plant: PlantFolder, refused, name: str) -> None:
    """Names of rolls, products and segments are plain names; nothing else ever becomes part of a path."""
    with refused("roll name", rule="letters, digits, dots"):
        plant.card(name)
    with refused("product name", rule="letters, digits, dots"):
        plant.product(name)
    for call in (plant.strips, plant.scan_inputs):
        with refused("roll name", rule="letters, digits, dots"):
            call(name)


def test_a_segment_can_not_leave_its_folder(plant: PlantFolder, refused) -> None:
    """A segment named by a path is refused at scan.toml, even if it leads to a raster."""
    _replace(plant, "rolls/T-1/scan/scan.toml", '"a.tif"', '"../scan/a.tif"')
    with refused("scan.toml", "segment", rule="letters, digits, dots", value="../scan/a.tif"):
        _raster(plant)


def test_a_fault_in_a_card_is_named_with_its_file(plant: PlantFolder, refused) -> None:
    """What a file's contents break is told with the file's path."""
    _replace(plant, "rolls/T-1/roll.toml", 'along_to = "2 m"', 'along_to = "3 m"')
    with refused("T-1/roll.toml", "batch E-1", rule="inside the roll"):
        plant.card("T-1")


def test_a_strip_off_the_roll_is_refused(plant: PlantFolder, refused) -> None:
    """A check strip must lie on its own roll and web, else it would belong to no batch and be left out unseen."""
    folder = plant.root / "rolls" / "T-1" / "strips"
    folder.mkdir()
    (folder / "exposure.toml").write_text("illuminance_lx = 1\ntime_s = 1\nsteps = 5\nincrement_density = 0.3\n")
    (folder / "readings.csv").write_text("strip,step,visual\n" + "".join(f"S,{n},0.{n}\n" for n in range(1, 6)))
    (folder / "strips.csv").write_text("strip,kind,run,along,across\nS,check,P1,2.5 m,10 mm\n")
    with refused("strips.csv, line 2, column along", rule="on the roll, 2 m long and 120 mm wide", value="2.5 m"):
        plant.strips("T-1")
