"""``[winding]`` of a product file."""

import pytest

from wideroll.errors import InputError
from wideroll.readers.toml_files import read_toml
from wideroll.readers.winding_table import WindingTable

GIVEN = {"thickness": "0.13 mm", "tolerance": "0.004 mm", "core_diameter": "6 in", "full_diameter": "640 mm"}


def written(tmp_path, change):
    """The table as a file of its own."""
    path = tmp_path / "winding.toml"
    fields = {name: value for name, value in (GIVEN | change).items() if value is not None}
    path.write_text("".join(f'{name} = "{value}"\n' for name, value in fields.items()))
    return path


def test_winding_arrives_as_radii(tmp_path):
    """Diameters in any unit become radii in millimetres; a tolerance left out is none."""
    winding = read_toml(written(tmp_path, {}), WindingTable).build()
    assert (winding.thickness_mm, winding.tolerance_mm) == (0.13, 0.004)
    assert (winding.least_radius_mm, winding.most_radius_mm) == (76.2, 320.0)
    assert read_toml(written(tmp_path, {"tolerance": None}), WindingTable).build().tolerance_mm == 0.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"thickness": None}, "field thickness: the field must be there"),
        ({"thickness": "0 mm"}, "field thickness: must be greater than 0"),
        ({"thickness": "0.13"}, "field thickness"),
        ({"tolerance": "-1 mm"}, "field tolerance"),
        ({"tolerance": "0.13 mm"}, r"winding\.tolerance: must be less than the thickness"),
        ({"core_diameter": "640 mm"}, r"winding\.full_diameter: must be greater than core_diameter"),
        ({"core": "6 in"}, "field core: the file has no such field"),
    ],
)
def test_windings_that_are_none_are_refused(tmp_path, change, words):
    """Each fault gives one error that names the field, the rule and the value."""
    with pytest.raises(InputError, match=words):
        read_toml(written(tmp_path, change), WindingTable)
