"""The plant from its files, each by itself: a file with a fault is told, and the others still show."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from wideroll.errors import WiderollError
from wideroll.server.plant.grids import Grid, cell, grid

if TYPE_CHECKING:
    from wideroll.readers.models import PlantFile, RollerTable
    from wideroll.readers.notice_table import NoticeTable

__all__ = ["Part", "plant_parts", "told"]

_SOON: Final = timedelta(days=30)
"""A calibration that ends within it is due."""
_STATES: Final = {"good": "●", "due": "▲", "overdue": "✖", "no end": "○", "none": "◌"}
_TONES: Final = {"due": "hold", "overdue": "reject", "none": "hold"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part of the plant: its facts and tables, or the fault of its file.

    Args:
        key: in addresses.
        name: above it.
        file: that it comes from.
        facts: name and what it is.
        tables: by their keys.
        fault: of the file; where, rule, value and mend.
    """

    key: str
    name: str
    file: str
    facts: tuple[tuple[str, str], ...] = ()
    tables: dict[str, Grid] = field(default_factory=dict)
    fault: dict[str, str] | None = None


def told(error: WiderollError) -> dict[str, str]:
    """An error for a page: where, rule, value and mend."""
    value = "" if error.value is None else str(getattr(error.value, "value", error.value))
    return {"where": error.where, "rule": error.rule, "value": value[:200], "mend": error.mend}


def plant_parts(root: Path, today: date) -> tuple[Part, ...]:
    """All parts of the plant, in the order of the page.

    Args:
        root: the plant's folder.
        today: to tell which calibrations are due.
    """
    return (
        _part(("line", "The coating line", "plant.toml"), lambda: _line(root)),
        _part(("cleanings", "Cleanings", "cleanings.csv"), lambda: _cleanings(root)),
        _part(("instruments", "Instruments", "instruments.toml"), lambda: _instruments(root, today)),
        _part(("processors", "Processors", "processors.toml"), lambda: _processors(root)),
        _part(("examiners", "Examiners", "examiners.toml"), lambda: _examiners(root)),
        _part(("record", "The record", "record"), lambda: _record(root)),
    )


_Made = tuple[tuple[tuple[str, str], ...], dict[str, Grid]]


def _part(about: tuple[str, str, str], make: Callable[[], _Made]) -> Part:
    key, name, file = about
    try:
        facts, tables = make()
    except WiderollError as error:
        return Part(key=key, name=name, file=file, fault=told(error))
    return Part(key=key, name=name, file=file, facts=facts, tables=tables)


def _plant_file(root: Path) -> "PlantFile":
    from wideroll.readers.models import PlantFile  # noqa: PLC0415
    from wideroll.readers.toml_files import placed, read_toml  # noqa: PLC0415

    path = root / "plant.toml"
    with placed(path):
        return read_toml(path, PlantFile)


def _line(root: Path) -> _Made:
    plant, cleaned = _plant_file(root), _last_cleaned(root)
    facts = (
        ("Name", plant.name),
        ("Web width", f"{plant.web_width:.9g} mm"),
        ("Datum edge", plant.datum_edge),
        ("Shop units", str(plant.shop_units.value)),
    )
    rollers = grid(
        f"Rollers: {len(plant.rollers)}, in the order of the file",
        ("roller", "zone", "#diameter, mm", "#tolerance, ± mm", "side", "span from datum edge, mm", "!last cleaned"),
        (_roller(one, cleaned.get(one.name, "not known")) for one in plant.rollers),
        empty="Repeats can't be traced to a roller before plant.toml lists them as [[rollers]].",
    )
    zones = grid(
        f"Zones: {len(plant.zones)}, as the web passes them",
        ("zone", "the emulsion there", "#rollers"),
        ((one.name, one.stage, sum(r.zone == one.name for r in plant.rollers)) for one in plant.zones),
        empty="plant.toml may list them as [[zones]]; then a mark's look tells before or after drying.",
    )
    scanners = grid(
        f"Scanners: {len(plant.scanners)}",
        ("scanner", "#wavelength, nm"),
        ((one.name, float(one.wavelength_nm)) for one in plant.scanners),
        empty="No scan can be read before plant.toml lists its scanner as [[scanners]].",
    )
    notices = grid(
        f"Notices of action cards: {len(plant.notices)}",
        ("notice", "kind", "goes to"),
        ((one.name, one.kind, _goes_to(one)) for one in plant.notices),
        empty="Action cards are shown here and go nowhere else. plant.toml may list files, webhooks or brokers as "
        "[[notices]].",
    )
    return facts, {"rollers": rollers, "zones": zones, "scanners": scanners, "notices": notices}


def _roller(one: "RollerTable", cleaned: str) -> tuple[object, ...]:
    ends = ("datum edge" if one.across_from is None else f"{one.across_from:g}", one.across_to)
    whole = one.across_from is None and one.across_to is None
    span = "whole web" if whole else f"{ends[0]} to {'far edge' if ends[1] is None else f'{ends[1]:g}'}"
    return one.name, one.zone or "not given", f"{one.diameter:.2f}", f"{one.tolerance:.2f}", one.side, span, cleaned


def _goes_to(one: "NoticeTable") -> str:
    """Without what an address may carry in secret."""
    return one.path or (one.url or "").partition("?")[0] or f"{one.host}, topic {one.topic}"


def _last_cleaned(root: Path) -> dict[str, str]:
    try:
        return {name: str(day) for name, day in sorted(_cleaned(root))}
    except WiderollError:  # told with the table of cleanings itself
        return {}


def _cleaned(root: Path) -> Iterator[tuple[str, str]]:
    from wideroll.readers.cleaning_files import read_cleanings  # noqa: PLC0415

    names = [one.name for one in _plant_file(root).rollers]
    for one in read_cleanings(root / "cleanings.csv", names):
        yield one.roller, one.on.text.replace("T", " ")


def _cleanings(root: Path) -> _Made:
    rows = sorted(_cleaned(root), key=lambda one: one[1], reverse=True)
    shown = grid(
        f"Cleanings: {len(rows)}, the last first",
        ("!on", "roller"),
        ((on, roller) for roller, on in rows),
        empty="A line in cleanings.csv says which roller was cleaned when; a mark that was gone after it is traced "
        "to that roller sooner.",
    )
    return (), {"cleanings": shown}


def _instruments(root: Path, today: date) -> _Made:
    from wideroll.readers.instrument_files import InstrumentsFile  # noqa: PLC0415
    from wideroll.readers.toml_files import placed, read_toml  # noqa: PLC0415

    path = root / "instruments.toml"
    file = InstrumentsFile()
    if path.is_file():
        with placed(path):
            file = read_toml(path, InstrumentsFile)
            file.build()
    rows = [
        *(_dated("step tablet", one.name, [(one.certified_on, one.expires_on)], today) for one in file.tablets),
        *(_dated("densitometer", one.name, _days(one.calibrations), today) for one in file.densitometers),
        *(_dated("sensitometer", one.name, _days(one.calibrations), today) for one in file.sensitometers),
        *(_dated("gauge", one.name, _days(one.calibrations), today) for one in file.gauges),
    ]
    late = ", ".join(row[0] for row in rows if "overdue" in row[2]["text"])
    shown = grid(
        f"Instruments and their calibrations on {today.isoformat()}; overdue: {late or 'none'}",
        ("instrument", "kind", "!calibration", "!calibrated on", "!holds until", "#days left"),
        rows,
        empty="List step tablets, densitometers, sensitometers and gauges in instruments.toml, with their "
        "calibrations; until then readings are taken as they are.",
    )
    needed = "no evidence" if file.calibration_required else "evidence all the same, as the plant has it"
    return (("What is read without a calibration is", needed),) if rows else (), {"instruments": shown}


def _days(calibrations: Iterable[Any]) -> list[tuple[str | None, str | None]]:
    return [(one.on, one.expires) for one in calibrations]


def _dated(kind: str, name: str, days: Sequence[tuple[str | None, str | None]], today: date) -> tuple[Any, ...]:
    """The calibration that counts today: the last that isn't of a day to come."""
    past = [(on, ends) for on, ends in days if on is None or on <= today.isoformat()]
    on, ends = past[-1] if past else (None, None)
    left = (date.fromisoformat(ends) - today) if ends else None
    if on is None and ends is None:
        state = "none"
    elif left is None:
        state = "no end"
    else:
        state = "overdue" if left < timedelta(0) else "due" if left <= _SOON else "good"
    sign = cell(f"{_STATES[state]} {state}", tone=_TONES.get(state, ""))
    return name, kind, sign, on or "not given", ends or "not given", "" if left is None else left.days


def _processors(root: Path) -> _Made:
    from wideroll.readers.processor_files import read_processors  # noqa: PLC0415

    histories = read_processors(root)
    shown = grid(
        f"Processors: {len(histories)}",
        ("processor", "process", "#runs", "!last run"),
        (
            (
                one.processor.name,
                one.processor.process,
                len(one.runs),
                one.runs[-1].processed_on.replace("T", " ") if one.runs else "none",
            )
            for one in histories
        ),
        empty="List the lab's processors in processors.toml, and their runs in processors/<name>.csv: then each run "
        "of strips is judged by its control chart.",
    )
    return (), {"processors": shown}


def _examiners(root: Path) -> _Made:
    from wideroll.readers.examiner_file import read_examiners  # noqa: PLC0415

    found = read_examiners(root / "examiners.toml")
    shown = grid(
        f"Examiners whose answers were tried: {len(found)}",
        ("examiner", "#wrong by filters, %", "#wrong by touch, %", "#wrong in sections, %"),
        (
            (name, f"{100 * one.filters:.1f}", f"{100 * one.touch:.1f}", f"{100 * one.sections:.1f}")
            for name, one in found.items()
        ),
        empty="examiners.toml may say how often each examiner's answers are wrong, as repeated blind sheets have "
        "shown; until then usual shares are taken.",
    )
    return (), {"examiners": shown}


def _record(root: Path) -> _Made:
    from sqlalchemy import make_url  # noqa: PLC0415

    from wideroll.acts.sealing import open_record  # noqa: PLC0415
    from wideroll.readers import PlantFolder  # noqa: PLC0415
    from wideroll.store import Picked  # noqa: PLC0415

    lies = make_url(PlantFolder(root).record_url()).render_as_string(hide_password=True).removeprefix("sqlite:///")
    store = open_record(root)
    if store is None:
        return (("Lies at", lies), ("Events", "none yet: it begins with the first that is done")), {}
    with store:
        last = next(store.newest(Picked()), None)
    if last is None:
        return (("Lies at", lies), ("Events", "none yet")), {}
    return (
        ("Lies at", lies),
        ("Events", str(last.number)),
        ("Last", f"{last.act} by {last.who}"),
        ("Last one added, UTC", last.when_utc),
    ), {}
