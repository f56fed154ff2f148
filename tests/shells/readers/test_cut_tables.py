"""What files say of the slitter: widths, how their film is sold, runs, minutes, units and days."""

from pathlib import Path

import pytest

from wideroll.errors import InputError
from wideroll.readers.cutting_table import CuttingTable
from wideroll.readers.fields import FileModel
from wideroll.readers.models import PlantFile, RollFile
from wideroll.readers.toml_files import placed, read_toml
from wideroll.readers.width_table import WidthTable
from wideroll.readers.winding_table import WindingTable
from wideroll.roll import ShopUnits
from wideroll.slitting import ByLength, ByMetre, FinishedLength, Spliced

WIDTH = 'name = "35"\nwidth = "34.975 mm"\ntolerance = "0.025 mm"\n'
SPLICED = 'spliced = {length = "400 ft", value = 52, most_splices = 2, least_between = "50 ft", loss_per_splice = 1.5}'
WINDING = '[winding]\nthickness = "0.13 mm"\ncore_diameter = "6 in"\nfull_diameter = "640 mm"\n'


class _Product(FileModel):
    widths: tuple[WidthTable, ...] = ()
    cutting: CuttingTable = CuttingTable()
    winding: WindingTable | None = None


@pytest.fixture
def read(tmp_path: Path):
    """Reads the tables as a file, and builds what they say."""

    def read(text: str):
        path = tmp_path / "film.toml"
        path.write_text(text, encoding="utf-8")
        with placed(path):
            file = read_toml(path, _Product)
            return tuple(width.build() for width in file.widths), file.cutting.build(file.winding)

    return read


def _width(sold: str) -> str:
    return f"[[widths]]\n{WIDTH}{sold}\n"


@pytest.mark.parametrize(
    ("sold", "finish"),
    [
        ("value_per_m = 2.5", ByMetre(value_per_m=2.5)),
        ("value_per_m = 2\nsecond_per_m = 0.5", ByMetre(value_per_m=2.0, second_per_m=0.5)),
        (
            'lengths = [{length = "30 m", value = 40, second_value = 10}, {length = "10 m", value = 12}]',
            ByLength(
                lengths=(
                    FinishedLength(length_m=30.0, value=40.0, second_value=10.0),
                    FinishedLength(length_m=10.0, value=12.0),
                )
            ),
        ),
        (SPLICED, Spliced(length_m=121.92, value=52.0, most_splices=2, least_between_m=15.24, loss_per_splice=1.5)),
    ],
)
def test_film_is_sold_in_one_of_three_ways(read, sold: str, finish) -> None:
    """By the metre, by fixed lengths or spliced: each arrives with all its numbers."""
    (width,), _ = read(_width(sold))
    assert width.finish == finish
    assert (width.name, width.width_mm, width.tolerance_mm) == ("35", 34.975, 0.025)


@pytest.mark.parametrize(
    ("sold", "where", "rule"),
    [
        ("", "width 35", "value_per_m, lengths or spliced must be there"),
        (f"value_per_m = 1\n{SPLICED}", "width 35", "sold in one way"),
        (f'lengths = [{{length = "1 m", value = 1}}]\n{SPLICED}', "width 35", "sold in one way"),
        ("value_per_m = 1\nsecond_per_m = 2", "width 35, second_per_m", "worth more than first (1)"),
        ("value_per_m = 1\nsecond_per_m = -1", "second_per_m", "greater than or equal to 0"),
        (f"{SPLICED}\nsecond_per_m = 1", "width 35, second_per_m", "goes with value_per_m"),
        ("value_per_m = 0", "value_per_m", "greater than 0"),
        ("lengths = []", "lengths", "too short"),
        ('lengths = [{length = "0 m", value = 1}]', "lengths.1.length", "greater than 0"),
        ('lengths = [{length = "1 m", value = 0}]', "lengths.1.value", "greater than 0"),
        ('lengths = [{length = "1 m", value = 1, second_value = 2}]', "second_value", "worth more than first (1)"),
        (
            'lengths = [{length = "1 ft", value = 1}, {length = "304.8 mm", value = 2}]',
            "width 35, lengths",
            "each length is given once",
        ),
        (SPLICED.replace('"50 ft"', '"201 ft"'), "least_between", "at most half the length (121.92 m)"),
        (SPLICED.replace('"50 ft"', '"0 ft"'), "least_between", "greater than 0"),
        (SPLICED.replace("most_splices = 2", "most_splices = 0"), "most_splices", "greater than or equal to 1"),
        (SPLICED.replace("1.5}", "52}"), "loss_per_splice", "less than the roll's value (52)"),
        (SPLICED.replace("1.5}", "-1}"), "loss_per_splice", "greater than or equal to 0"),
    ],
)
def test_film_that_cannot_be_sold_so_is_refused(read, refused, sold: str, where: str, rule: str) -> None:
    """Ways of selling that contradict one another or themselves are named with width, field, rule and mend."""
    with refused("film.toml", where, rule=rule):
        read(_width(sold))


def test_minutes_and_runs_arrive(read) -> None:
    """The slitter's minutes, what they cost, and the longest run arrive where the plan reckons with them."""
    _, rules = read(
        '[cutting]\nsetup_minutes = 12\nstop_minutes = 4.5\nvalue_per_minute = 2\nmost_run = "600 m"\n'
        'most_diameter = "12 in"\n' + WINDING
    )
    assert (rules.setup_minutes, rules.stop_minutes, rules.value_per_minute) == (12.0, 4.5, 2.0)
    assert (rules.most_run_m, rules.most_diameter_mm) == (600.0, 304.8)
    assert (rules.core_diameter_mm, rules.thickness_mm) == (152.4, 0.13)
    assert rules.run_m == pytest.approx(0.25 * 3.141592653589793 * (304.8**2 - 152.4**2) / 0.13 / 1000.0)


def test_the_slitters_core_counts_before_the_wide_rolls(read) -> None:
    """Finished rolls may be wound on a core of their own, which is named under cutting."""
    own = '[cutting]\nmost_diameter = "12 in"\ncore_diameter = "2 in"\nthickness = "0.125 mm"\n'
    assert read(own + WINDING) == read(own)
    assert read(own)[1].core_diameter_mm == 50.8


def test_a_winding_alone_limits_no_run(read) -> None:
    """Without a greatest length or diameter the slitter winds on to the end."""
    assert read(WINDING)[1].run_m == float("inf")


@pytest.mark.parametrize(
    ("table", "where", "rule"),
    [
        ('most_diameter = "12 in"', "cutting.most_diameter", "film must be known"),
        ('most_diameter = "12 in"\nthickness = "0.1 mm"', "cutting.most_diameter", "core must be known"),
        (
            'most_diameter = "2 in"\nthickness = "0.1 mm"\ncore_diameter = "3 in"',
            "cutting.most_diameter",
            "greater than the core (76.2 mm)",
        ),
        ('core_diameter = "3 in"', "cutting.core_diameter", "goes with most_diameter"),
        ('thickness = "0.1 mm"', "cutting.thickness", "goes with most_diameter"),
        ('most_run = "0 m"', "cutting.most_run", "greater than 0"),
        ("setup_minutes = -1", "cutting.setup_minutes", "greater than or equal to 0"),
        ('knife_step = "1/16 in"', "cutting.knife_step", "whole micrometres"),
        ('knife_step = "2 m"', "cutting.knife_step", "at most 100 mm"),
        ('least_strip = "-1 mm"', "cutting.least_strip", "greater than or equal to 0"),
        ("value_per_minute = inf", "cutting.value_per_minute", "finite"),
        ('stop_minutes = "3"', "cutting.stop_minutes", "number"),
    ],
)
def test_a_slitter_that_cannot_be_is_refused(read, refused, table: str, where: str, rule: str) -> None:
    """Runs without what they hang on, and minutes below nothing, are named with field, rule and mend."""
    with refused("film.toml", where, rule=rule):
        read(f"[cutting]\n{table}\n")


def test_a_knife_step_between_micrometres_is_shown_with_its_neighbours(read) -> None:
    """The message has the step as it was written, and the two next to it that can be set."""
    with pytest.raises(InputError, match=r"got '1/16 in'. Write 1.587 mm or 1.588 mm"):
        read('[cutting]\nknife_step = "1/16 in"\n')


def test_the_least_strip_arrives(read) -> None:
    """The narrowest strip that can be led away arrives where the knives are set; without it none is too narrow."""
    assert read('[cutting]\nleast_strip = "1/8 in"\n')[1].least_strip_mm == 3.175
    assert read("")[1].least_strip_mm == 0.0


@pytest.mark.parametrize(
    ("width", "tolerance", "where", "rule"),
    [
        ("34.975 mm", "50 mm", "width 35, tolerance", "less than the width (34.975 mm)"),
        ("34.975 mm", "34.975 mm", "width 35, tolerance", "less than the width"),
        ("1 1/64 in", "0 mm", "width 35, width", "whole micrometres"),
    ],
)
def test_a_width_that_cannot_be_cut_is_refused(
    read, refused, width: str, tolerance: str, where: str, rule: str
) -> None:
    """A tolerance as wide as the film, or a width between micrometres without one, is named."""
    with refused("film.toml", where, rule=rule):
        read(f'[[widths]]\nname = "35"\nwidth = "{width}"\ntolerance = "{tolerance}"\nvalue_per_m = 1.0\n')


@pytest.mark.parametrize(("said", "units"), [("", "metric"), ('shop_units = "inches"', "inches")])
def test_shop_units_are_the_plants(tmp_path: Path, said: str, units: str) -> None:
    """The plant says what its cut lists are written in; metres and millimetres where it doesn't."""
    path = tmp_path / "plant.toml"
    path.write_text(f'name = "p"\nweb_width = "54 in"\ndatum_edge = "drive side"\n{said}\n', encoding="utf-8")
    assert read_toml(path, PlantFile).build().shop_units is ShopUnits(units)


def test_unknown_shop_units_are_refused(tmp_path: Path, refused) -> None:
    """Other units are refused, naming those that there are."""
    path = tmp_path / "plant.toml"
    path.write_text('name = "p"\nweb_width = "54 in"\ndatum_edge = "d"\nshop_units = "ells"\n', encoding="utf-8")
    with refused("plant.toml, field shop_units", rule="'metric' or 'inches'", value="ells"):
        read_toml(path, PlantFile)


ROLL = 'product = "p"\nlength = "40 m"\nbatches = [{name = "E-1", along_from = "0 m", along_to = "40 m"}]\n'


@pytest.mark.parametrize(
    ("said", "day"),
    [
        ("", ""),
        ("slit_on = 2026-12-02", "2026-12-02"),
        ('coated = "2026-12-02T14:30"\nslit_on = "2026-12-02"', "2026-12-02"),
    ],
)
def test_a_roll_may_say_when_it_is_slit(tmp_path: Path, said: str, day: str) -> None:
    """The day of slitting arrives as it was said, and may be that of coating."""
    path = tmp_path / "roll.toml"
    path.write_text(f"{said}\n{ROLL}", encoding="utf-8")
    assert read_toml(path, RollFile).build("r").slit_on == day


@pytest.mark.parametrize(
    ("said", "where", "rule"),
    [
        ('slit_on = "2026-13-02"', "field slit_on", "day of the calendar"),
        ("coated = 2026-12-03\nslit_on = 2026-12-02", "slit_on", "must not lie before the roll was coated"),
    ],
)
def test_a_day_of_slitting_that_cannot_be_is_refused(tmp_path: Path, refused, said: str, where: str, rule: str) -> None:
    """No day of the calendar, or one before the coating, is refused."""
    path = tmp_path / "roll.toml"
    path.write_text(f"{said}\n{ROLL}", encoding="utf-8")
    with refused("roll.toml", where, rule=rule), placed(path):
        read_toml(path, RollFile)


def test_windings_arrive(read) -> None:
    """How often film is wound over is once unless it is said."""
    plain, twice = (read(f"[[widths]]\n{WIDTH}value_per_m = 2.0\n{said}")[0][0] for said in ("", "windings = 2\n"))
    assert (plain.windings, twice.windings) == (1, 2)
