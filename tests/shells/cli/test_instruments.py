"""The command instruments, and strips whose calibration had expired, from the terminal."""

import json
from pathlib import Path

import pytest

from wideroll.store.demo_instruments import instruments_toml


@pytest.fixture
def lab(tmp_path: Path) -> Path:
    """A folder with the demo's instruments."""
    (tmp_path / "instruments.toml").write_text(instruments_toml(), encoding="utf-8")
    return tmp_path


def test_calibrations_are_shown_with_their_intervals(lab: Path, run) -> None:
    """Instrument, record, offset and gain are in the table; nothing goes to standard error."""
    code, out, err = run("instruments", lab)
    assert (code, err) == (0, "")
    for word in ("sensitometer", "densitometer", "exposure", "red", "offset", "gain", "interval", "● usable"):
        assert word in out


def test_what_holds_on_a_day(lab: Path, run) -> None:
    """On a day each calibration is not yet made, superseded, expired, or the one that holds."""
    states = {}
    for day in ("2026-06-30", "2026-10-15", "2026-11-20", "2027-01-01"):
        code, out, _ = run("instruments", lab, "--on", day, "--json")
        document = json.loads(out, parse_constant=pytest.fail)
        assert (code, document["schema"], document["on"]) == (0, "wideroll/instruments/1", day)
        states[day] = [made["state"] for one in document["instruments"] for made in one["calibrations"]]
    assert states == {
        "2026-06-30": ["not yet made"] * 3,
        "2026-10-15": ["holds", "holds", "not yet made"],
        "2026-11-20": ["holds", "superseded", "holds"],
        "2027-01-01": ["expired", "superseded", "expired"],
    }


def test_an_unusable_calibration_says_why(lab: Path, run) -> None:
    """A calibration whose readings can't be of the tablet named is marked, with the reason, in table and JSON."""
    read = ", ".join(f"{0.10 * step:.2f}" for step in range(21))
    (lab / "instruments.toml").write_text(
        '[[densitometers]]\nname = "D-2"\nstatus = "visual"\nmost_density = 4.0\n[[densitometers.calibrations]]\n'
        f"on = 2026-10-01\nexpires = 2026-11-01\ntablet = '21x0.15'\nread.visual = [{read}]\n",
        encoding="utf-8",
    )
    code, out, _ = run("instruments", lab, "--on", "2026-10-20")
    assert code == 0
    assert "✖ unusable" in out
    (one,) = json.loads(run("instruments", lab, "--json")[1], parse_constant=pytest.fail)["instruments"]
    assert one["calibrations"][0]["why_unusable"] == (
        "visual: a gain of 1.50 against tablet 21x0.15; was another tablet read?"
    )


def test_a_plant_without_instruments_and_a_day_that_is_none_are_refused(lab: Path, run) -> None:
    """No file is an input error, no day a wrong usage."""
    code, out, err = run("instruments", lab, "--on", "2026-11-31")
    assert (code, out) == (2, "")
    assert "a day of the calendar" in err
    (lab / "instruments.toml").unlink()
    code, out, err = run("instruments", lab)
    assert (code, out) == (3, "")
    assert "instruments.toml" in err


def test_a_strip_read_after_the_calibration_expired_holds_the_roll(plant: Path, run) -> None:
    """Strips that no calibration covers are shown with the reason, and don't count as evidence."""
    (plant / "instruments.toml").write_text(
        '[[densitometers]]\nname = "D-2"\nstatus = "visual"\nmost_density = 4.0\n'
        "[[densitometers.calibrations]]\non = 2026-10-01\nexpires = 2026-11-01\ntablet = '21x0.15'\n"
        f"read.visual = [{', '.join(f'{0.15 * step:.2f}' for step in range(21))}]\n",
        encoding="utf-8",
    )
    listed = plant / "rolls" / "T-1" / "strips" / "strips.csv"
    lines = listed.read_text(encoding="utf-8").splitlines()
    why = "densitometer D-2's calibration of 2026-10-01 expired on 2026-11-01; the strip was read on 2026-11-20"
    for day, code, usable in (("2026-10-20", 0, True), ("2026-11-20", 10, False)):
        dated = [f"{lines[0]},densitometer,read_on", *(f"{line},D-2,{day}" for line in lines[1:])]
        listed.write_text("\n".join(dated), encoding="utf-8")
        _, out, _ = run("strips", plant, "T-1", "--json")
        document = json.loads(out, parse_constant=pytest.fail)
        said = json.dumps(document, ensure_ascii=False)
        assert (why in said) is not usable
        assert run("decide", plant, "T-1")[0] == code
