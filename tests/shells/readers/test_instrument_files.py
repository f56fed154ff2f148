"""instruments.toml, and what it makes of a roll's exposures and readings."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from wideroll.readers import PlantFolder
from wideroll.readers.instrument_files import InstrumentsFile, read_instruments
from wideroll.readers.strip_files import read_strips
from wideroll.readers.toml_files import read_toml
from wideroll.sensitometry import Record, log_exposure, step_tablet

STEPS = 7
TABLET = step_tablet(STEPS, 0.15)
CERTIFIED = (TABLET + 0.05).round(3).tolist()
FOUND = (log_exposure(100.0, 0.01, CERTIFIED) + 0.02).round(6).tolist()
INSTRUMENTS = f"""\
calibration_required = false

[[tablets]]
name = "T-7"
step_density = {CERTIFIED}
standard_uncertainty = 0.004
common_standard_uncertainty = 0.002
certified_on = 2026-01-10
expires_on = "2027-01-09"

[[tablets]]
name = "nominal"
steps = 9
increment_density = 0.2

[[sensitometers]]
name = "S-1"
illuminance_lx = 100.0
time_s = 0.01
tablet = "T-7"

[[sensitometers.calibrations]]
on = 2026-10-01
expires = 2026-12-01
log_h = {FOUND}
standard_uncertainty_log_h = 0.003
common_standard_uncertainty_log_h = 0.01

[[sensitometers]]
name = "S-0"
illuminance_lx = 90
time_s = 0.02
tablet = "31x0.10"

[[densitometers]]
name = "D-2"
status = "M"
most_density = 3.5
repeatability_density = 0.003

[[densitometers.calibrations]]
on = 2026-10-01
expires = 2026-11-01
tablet = "T-7"
read.red = {[round(d - 0.02, 3) for d in CERTIFIED]}
read.visual = {[round(d / 1.02, 3) for d in CERTIFIED]}

[[densitometers]]
name = "D-0"
status = "visual"
most_density = 0.55
"""
PLAIN = f"illuminance_lx = 100\ntime_s = 0.01\nsteps = {STEPS}\nincrement_density = 0.15\n"
LAMP = 'sensitometer = "S-1"\nexposed_on = 2026-10-20\n'
LISTED = "strip,kind,run,along,across,densitometer,read_on\nS-1,check,P1,12.5 m,9 3/8 in,D-2,2026-10-21\n"
ROWS = [f"S-1,{step},{0.2 + 0.1 * (STEPS - step):.2f},{0.3 + 0.1 * (STEPS - step):.2f}" for step in range(1, STEPS + 1)]

Read = Callable[..., object]


@pytest.fixture
def read(tmp_path: Path):
    """Read the one strip of a roll, with some of its files replaced."""

    def read(
        *,
        instruments: str | None = INSTRUMENTS,
        exposure: str = LAMP,
        listed: str = LISTED,
        header: str = "strip,step,red,visual",
        rows: list[str] = ROWS,
    ):
        if instruments is not None:
            (tmp_path / "instruments.toml").write_text(instruments, encoding="utf-8")
        (tmp_path / "exposure.toml").write_text(exposure, encoding="utf-8")
        (tmp_path / "strips.csv").write_text(listed, encoding="utf-8")
        (tmp_path / "readings.csv").write_text("\n".join([header, *rows]), encoding="utf-8")
        return read_strips(tmp_path, instruments=read_instruments(tmp_path / "instruments.toml"))[0]

    return read


def _instead(old: str, new: str, text: str = INSTRUMENTS) -> str:
    assert old in text
    return text.replace(old, new)


def test_calibrated_exposures_and_densities(read) -> None:
    """Exposures are those the sensitometer was found to give, densities those the tablet says the readings mean."""
    strip = read()
    assert strip.why_unusable == ""
    assert strip.log_h == pytest.approx(sorted(FOUND), abs=1e-4)
    assert strip.density[Record.RED] == pytest.approx(0.2 + 0.1 * np.arange(STEPS) + 0.02, abs=1e-3)
    assert strip.density[Record.VISUAL] == pytest.approx((0.3 + 0.1 * np.arange(STEPS)) * 1.02, abs=2e-3)
    assert 0.01 < strip.log_h_sd < 0.012
    assert strip.shared_covariance[Record.RED].shape == (STEPS, STEPS)
    assert (np.diag(strip.shared_covariance[Record.RED]) > 0.002**2).all()


def test_a_plant_without_instruments_reads_as_it_always_did(read) -> None:
    """No instruments.toml, none named: nominal exposures, densities as read, no further uncertainty."""
    listed = "\n".join(line.rsplit(",", 2)[0] for line in LISTED.splitlines())
    strip = read(instruments=None, exposure=PLAIN, listed=listed)
    assert strip.log_h == pytest.approx(np.sort(log_exposure(100.0, 0.01, TABLET)), abs=1e-12)
    assert strip.density[Record.RED] == pytest.approx(0.2 + 0.1 * np.arange(STEPS), abs=1e-12)
    assert (strip.log_h_sd, strip.why_unusable, strip.note, dict(strip.shared_covariance)) == (0.0, "", "", {})


@pytest.mark.parametrize(
    ("exposure", "log_h"),
    [
        ('illuminance_lx = 100\ntime_s = 0.01\ntablet = "T-7"\nexposed_on = 2026-10-20\n', 0.0 - np.array(CERTIFIED)),
        (PLAIN + 'tablet = "T-7"\nexposed_on = 2026-10-20\n', 0.0 - np.array(CERTIFIED)),
        (PLAIN + 'filter_density = {neutral = 1.0, "blue 3" = 0.3}\n', -1.3 - TABLET),
    ],
)
def test_a_tablet_by_name_and_filters_in_the_beam(read, exposure: str, log_h: np.ndarray) -> None:
    """A named tablet has its certified densities, and filters take theirs off every step."""
    assert read(exposure=exposure).log_h == pytest.approx(np.sort(log_h), abs=1e-12)


@pytest.mark.parametrize(("name", "steps", "least"), [("21x0.15", 21, 0.15), ("31x0.10", 31, 0.10)])
def test_the_usual_tablets_are_known_by_name(read, name: str, steps: int, least: float) -> None:
    """21 steps of 0.15 and 31 of 0.10 need no instruments.toml."""
    rows = [f"S-1,{step},{0.2 + 0.01 * step},{0.3 + 0.01 * step}" for step in range(1, steps + 1)]
    listed = LISTED.replace("D-2", "-")
    exposure = f'illuminance_lx = 100\ntime_s = 0.01\ntablet = "{name}"\n'
    strip = read(instruments=None, exposure=exposure, listed=listed, rows=rows)
    assert len(strip.log_h) == steps
    assert np.diff(strip.log_h) == pytest.approx(least)


@pytest.mark.parametrize(
    ("exposure", "read_on", "why"),
    [
        (
            LAMP,
            "2026-11-20",
            "densitometer D-2's calibration of 2026-10-01 expired on 2026-11-01; the strip was read on 2026-11-20",
        ),
        (LAMP, "2026-09-20", "densitometer D-2 had no calibration when the strip was read on 2026-09-20"),
        (
            LAMP.replace("10-20", "12-20"),
            "2026-10-21",
            "sensitometer S-1's calibration of 2026-10-01 expired on 2026-12-01; the strips were exposed on 2026-12-20",
        ),
        (
            PLAIN + 'tablet = "T-7"\nexposed_on = 2027-02-01\n',
            "2026-10-21",
            "tablet T-7's certificate expired on 2027-01-09; the strips were exposed on 2027-02-01",
        ),
    ],
)
def test_what_no_calibration_covers_is_no_evidence(read, exposure: str, read_on: str, why: str) -> None:
    """Outside the days of calibration and certificate the strip is there, unusable, with the reason; nothing raises."""
    assert read(exposure=exposure, listed=LISTED.replace("2026-10-21", read_on)).why_unusable == why


def test_a_plant_can_ask_for_calibrations(read) -> None:
    """With calibration_required, strips whose instruments aren't named, or were never calibrated, are no evidence."""
    strict = _instead("required = false", "required = true")
    assert read(instruments=strict).why_unusable == ""
    bare = read(instruments=strict, exposure=PLAIN, listed=LISTED.replace("D-2,2026-10-21", "-,-"))
    assert bare.why_unusable == (
        "the plant asks for a calibrated sensitometer, and exposure.toml names none; "
        "the plant asks for a calibrated densitometer, and strips.csv names none"
    )
    rows = [f"S-1,{step},{0.2 + 0.01 * step}" for step in range(1, 32)]
    exposure = 'sensitometer = "S-0"\nexposed_on = 2026-10-20\n'
    never = {"exposure": exposure, "listed": LISTED.replace("D-2", "D-0"), "header": "strip,step,visual", "rows": rows}
    assert read(instruments=strict, **never).why_unusable == (
        "sensitometer S-0 had no calibration when the strips were exposed on 2026-10-20; "
        "densitometer D-0 had no calibration when the strip was read on 2026-10-21"
    )
    assert read(**never).why_unusable == ""


def test_readings_over_the_range_of_the_densitometer_are_not_read(read) -> None:
    """A density at or over what the instrument can read is left out, and the strip's note says how many were."""
    rows = [row.rsplit(",", 2)[0] + "," + row.rsplit(",", 1)[1] for row in ROWS]
    strip = read(header="strip,step,visual", rows=rows, listed=LISTED.replace("D-2", "D-0"))
    assert np.isnan(strip.density[Record.VISUAL]).tolist() == [False] * 3 + [True] * 4
    assert strip.note == "visual: 4 readings at or over the range of densitometer D-0 (0.55) left out"


def test_a_calibration_with_another_tablet_is_no_evidence(read) -> None:
    """Readings that no offset and gain brings near the tablet named make every strip read by them unusable."""
    wrong = _instead(str([round(d - 0.02, 3) for d in CERTIFIED]), str([round(d / 1.5, 3) for d in CERTIFIED]))
    assert read(instruments=wrong).why_unusable == (
        "densitometer D-2's calibration of 2026-10-01 can't be used: "
        "red: a gain of 1.50 against tablet T-7; was another tablet read?"
    )


@pytest.mark.parametrize(
    ("exposure", "where", "rule", "value"),
    [
        ('sensitometer = "S-9"\n', "field sensitometer", "one of instruments.toml's sensitometers: S-1, S-0", "S-9"),
        ('illuminance_lx = 1\ntime_s = 1\ntablet = "T"\n', "field tablet", "T-7, nominal, 21x0.15, 31x0.10", "T"),
        (LAMP + 'tablet = "nominal"\n', "field tablet", "working tablet of sensitometer S-1, T-7", "nominal"),
        (LAMP + "illuminance_lx = 80\ntime_s = 0.01\n", "field illuminance_lx", "that of sensitometer S-1 (100)", 80),
        (LAMP + "steps = 9\nincrement_density = 0.15\n", "field steps", "tablet T-7 has 7 steps", 9),
        (LAMP + "steps = 7\nincrement_density = 0.1\n", "field increment_density", "step 7 of tablet T-7 has", 0.6),
        (
            LAMP + f"step_density = {CERTIFIED[::-1]}\n",
            "field step_density",
            "step 1 of tablet T-7 has a density",
            0.95,
        ),
        ('sensitometer = "S-1"\n', "field exposed_on", "sensitometer S-1 is held to its dates", None),
        (PLAIN + 'tablet = "T-7"\n', "field exposed_on", "tablet T-7 is held to its dates", None),
        (LAMP.replace("2026-10-20", "20261020"), "field exposed_on", "a day of the calendar", 20261020),
        (LAMP.replace("2026-10-20", '"2026-02-30"'), "field exposed_on", "a day of the calendar", "2026-02-30"),
        (
            PLAIN + "filter_density = {neutral = -1.0}\n",
            "field filter_density.neutral",
            "greater than or equal to 0",
            -1,
        ),
        (PLAIN.replace("0.01", "0"), "field time_s", "greater than 0", 0),
        (PLAIN.replace("0.01", "-0.01"), "field time_s", "greater than 0", -0.01),
        (PLAIN.replace("time_s = 0.01\n", ""), "light", "illuminance_lx and time_s, or the sensitometer", None),
        ("illuminance_lx = 1\ntime_s = 1\n", "step tablet", "either steps and increment_density", None),
    ],
)
def test_a_fault_in_the_exposure_is_named(read, refused, exposure: str, where: str, rule: str, value: object) -> None:
    """Unknown names, another tablet or light than the one named, and days that are none are told with their field."""
    with refused("exposure.toml", where, rule=rule, value=value):
        read(exposure=exposure)


@pytest.mark.parametrize(
    ("old", "new", "where", "rule", "value"),
    [
        (
            "D-2,2026-10-21",
            "D-9,2026-10-21",
            "column densitometer",
            "instruments.toml's densitometers: D-2, D-0",
            "D-9",
        ),
        ("D-2,2026-10-21", "D-2,", "column read_on", "must not be empty", None),
        ("D-2,2026-10-21", "D-2,21.10.2026", "column read_on", "a day of the calendar", "21.10.2026"),
        ("D-2,2026-10-21", "D-2,2026-13-21", "column read_on", "a day of the calendar", "2026-13-21"),
        ("D-2,2026-10-21", "D-0,2026-10-21", "column densitometer", "status visual doesn't read red", "D-0"),
    ],
)
def test_a_fault_in_the_list_is_named(read, refused, old: str, new: str, where: str, rule: str, value: object) -> None:
    """Densitometers that aren't there or can't read the record, and days that are none, are told with their line."""
    with refused("strips.csv, line 2", where, rule=rule, value=value):
        read(listed=_instead(old, new, LISTED))


def test_naming_instruments_that_a_plant_has_none_of_is_refused(read, refused) -> None:
    """Without instruments.toml there is no sensitometer or densitometer to be named."""
    with refused("exposure.toml, field sensitometer", rule="sensitometers: none", value="S-1"):
        read(instruments=None)
    with refused("strips.csv, line 2, column densitometer", rule="densitometers: none", value="D-2"):
        read(instruments=None, exposure=PLAIN)


def test_readings_of_another_number_of_steps_are_refused(read, refused) -> None:
    """Readings of nine steps can't be of the sensitometer's tablet of seven."""
    with refused("readings.csv, line 9, column step", rule="the tablet has steps 1 to 7", value="8"):
        read(rows=[*ROWS, "S-1,8,0.1,0.1", "S-1,9,0.1,0.1"])
    with refused("readings.csv, strip S-1", rule="each of the tablet's 7 steps", value="no step 7"):
        read(rows=ROWS[:-1])


@pytest.mark.parametrize(
    ("old", "new", "where", "rule", "value"),
    [
        ('name = "nominal"', 'name = "T-7"', "tablets", "given once", "T-7"),
        ('name = "nominal"', 'name = "21x0.15"', "tablets", "given once", "21x0.15"),
        ('name = "D-0"', 'name = "D-2"', "densitometers", "given once", "D-2"),
        ('name = "S-0"', 'name = "S-1"', "sensitometers", "given once", "S-1"),
        ("increment_density = 0.2\n", "", "tablet nominal", "either steps and increment_density", None),
        (f"step_density = {CERTIFIED}", "step_density = [0, 1, 2, 2, 3]", "tablet T-7", "same density", "2"),
        (f"step_density = {CERTIFIED}", "step_density = [0, 1, 2, 3]", "step_density", "too short", None),
        (f"step_density = {CERTIFIED}", "step_density = [0, 1, 2, 3, '4']", "step_density.5", "number", "4"),
        (f"step_density = {CERTIFIED}", "step_density = [0, 1, 2, 3, 41]", "step_density.5", "equal to 6", 41),
        (
            "standard_uncertainty = 0.004",
            "standard_uncertainty = [0.1]",
            "tablet T-7",
            "one for all, or one for each",
            1,
        ),
        ("standard_uncertainty = 0.004", "standard_uncertainty = -0.1", "standard_uncertainty", "equal to 0", -0.1),
        ('"2027-01-09"', '"2025-01-09"', "tablet T-7", "expires on the day it was certified or later", "2025-01-09"),
        (
            "expires = 2026-11-01",
            "expires = 2026-09-01",
            "densitometer D-2",
            "on the day it was made or later",
            "2026-09",
        ),
        ("expires = 2026-11-01", "expires = 11", "calibrations.1.expires", "a day of the calendar", 11),
        (
            "expires = 2026-11-01",
            "expires = 2026-11-01T08:00:00",
            "calibrations.1.expires",
            "a day of the calendar",
            None,
        ),
        (
            'tablet = "T-7"\nread',
            'tablet = "T-8"\nread',
            "calibration of 2026-10-01, tablet",
            "nominal, 21x0.15",
            "T-8",
        ),
        ('tablet = "T-7"\nread', 'tablet = "nominal"\nread', "densitometer D-2, red", "each of the 9 steps", 7),
        ('tablet = "T-7"\n\n', 'tablet = "T-8"\n\n', "sensitometer S-1, tablet", "must be one of", "T-8"),
        ("read.red", "read.cyan", "calibrations.1.read.cyan", "must be 'red', 'green', 'blue' or 'visual'", "cyan"),
        ('status = "M"', 'status = "T"', "densitometers.1.status", "'M', 'A' or 'visual'", "T"),
        ('status = "M"', 'status = "visual"', "densitometer D-2", "reads visual only", "red"),
        ("most_density = 3.5", "most_density = 35", "most_density", "less than or equal to 6", 35),
        ("time_s = 0.01", "time_s = -0.01", "sensitometers.1.time_s", "greater than 0", -0.01),
        ("time_s = 0.01", "time_s = 0", "sensitometers.1.time_s", "greater than 0", 0),
        (f"log_h = {FOUND}", f"log_h = {FOUND[:6]}", "sensitometer S-1, log_h", "each of the 7 steps of tablet T-7", 6),
        ("repeatability_density", "repeatability", "densitometers.1.repeatability", "no such field", None),
        ("calibration_required = false", "calibration_required = 1", "calibration_required", "boolean", 1),
    ],
)
def test_a_fault_in_instruments_toml_is_named(
    tmp_path: Path, refused, old: str, new: str, where: str, rule: str, value: object
) -> None:
    """Names given twice or unknown, tablets at odds with themselves, and impossible days are told with their field."""
    path = tmp_path / "instruments.toml"
    path.write_text(_instead(old, new), encoding="utf-8")
    with refused("instruments.toml", where, rule=rule, value=value):
        read_instruments(path)


def test_calibrations_come_in_the_order_of_their_days(tmp_path: Path, refused) -> None:
    """A calibration made on the day of the one above it, or before it, is a slip."""
    path = tmp_path / "instruments.toml"
    again = INSTRUMENTS.split("[[densitometers.calibrations]]")[1].partition("[[densitometers]]")[0]
    path.write_text(
        _instead(
            '\n[[densitometers]]\nname = "D-0"',
            f"[[densitometers.calibrations]]{again}\n[[densitometers]]\nname = 'D-0'",
        )
    )
    with refused("instruments.toml", "densitometer D-2, calibrations", rule="made after the one above it (2026-10-01)"):
        read_instruments(path)


def test_a_plant_s_strips_and_decisions_depend_on_its_instruments(tmp_path: Path, read) -> None:
    """PlantFolder hands the instruments to its strips, and names their file among the inputs of a decision."""
    read()
    assert read_instruments(tmp_path / "none.toml") is None
    plant = PlantFolder(tmp_path)
    assert plant.instruments() is not None
    assert [path.name for path in plant.inputs("T-1", "none")] == ["instruments.toml"]
    assert read_toml(tmp_path / "instruments.toml", InstrumentsFile).build().calibration_required is False
