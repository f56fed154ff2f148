"""The demo's measured properties, lots and product are what their descriptions say."""

import csv

import pytest

from wideroll.readers.instrument_files import read_instruments
from wideroll.readers.lot_files import read_lots
from wideroll.readers.models import ProductFile
from wideroll.readers.property_files import read_properties
from wideroll.readers.toml_files import read_toml
from wideroll.roll import Extent
from wideroll.sampling import judge_lots
from wideroll.sensitometry import FilmType
from wideroll.store.demo_instruments import instruments_toml
from wideroll.store.demo_lots import LOTS_CSV
from wideroll.store.demo_plant import _aims_lines
from wideroll.store.demo_product import product_toml
from wideroll.store.demo_properties import GAUGES_TOML, properties_rows, properties_truth
from wideroll.store.demo_scene import ROLLS
from wideroll.synthetic import aim_curves
from wideroll.workflow import PropertySpec


@pytest.mark.parametrize("small", [False, True])
def test_the_product_is_read_with_its_grades_properties_and_costs(tmp_path, small):
    """The product's file holds, and each criterion on marks says what is good."""
    path = tmp_path / "negative-100.toml"
    path.write_text(product_toml(_aims_lines(aim_curves(FilmType.COLOUR_NEGATIVE)), small=small), encoding="utf-8")
    product = read_toml(path, ProductFile).build("negative-100", tmp_path)
    assert product.grades.grades == ("A", "B", "C", "D", "E")
    assert [measured.name for measured in product.properties] == ["thickness", "curl", "adhesion"]
    assert product.costs.currency == "cost units"
    lane = next(c for c in product.criteria if c.name == "Spots in a 35 mm lane")
    assert lane.limit == (40 if small else 20)


@pytest.mark.parametrize("scene", ROLLS, ids=lambda scene: scene.name)
def test_measured_properties_come_back_as_they_truly_are(tmp_path, scene):
    """Corrected means lie near the truth; the adhesion of the last roll is void for its gauge's expired calibration."""
    (tmp_path / "instruments.toml").write_text(instruments_toml() + GAUGES_TOML, encoding="utf-8")
    path = tmp_path / "properties.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(properties_rows(scene, 14.0))
    specs = [
        PropertySpec(name=name, unit=unit) for name, unit in (("thickness", "µm"), ("curl", "mm"), ("adhesion", "N"))
    ]
    whole = Extent(along_from_m=0.0, along_to_m=14.0, across_from_mm=0.0, across_to_mm=1380.0)
    instruments = read_instruments(tmp_path / "instruments.toml")
    values = read_properties(path, specs, whole, instruments=instruments)
    for name, batches in properties_truth(scene).items():
        for batch, start, end in scene.batches:
            mean, sd = batches[batch]
            here = [v for v in values if v.subject == name and start * 14.0 <= v.place.along_m < end * 14.0]
            assert len(here) == 4
            assert sum(v.value for v in here) / 4 == pytest.approx(mean, abs=2.0 * sd)
            assert all(v.usable for v in here) == (name != "adhesion" or scene.name != "W-2043")


def test_the_lots_take_inspection_there_and_back(tmp_path):
    """Two lots not accepted tighten the inspection, and five accepted make it normal again."""
    (tmp_path / "lots").mkdir()
    (tmp_path / "lots" / "negative-100.csv").write_text(LOTS_CSV, encoding="utf-8")
    results, after = judge_lots(read_lots(tmp_path, "negative-100"))
    said = [str(result.plan.severity) for result in results]
    assert said == ["normal"] * 5 + ["tightened"] * 5 + ["normal"] * 2
    assert str(after.severity) == "normal"
