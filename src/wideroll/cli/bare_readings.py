"""Readings of the user's own, from what the options say to a strip room."""

import math
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from wideroll.cli.options import misused
from wideroll.readers import BareFile, read_bare_file
from wideroll.readers.models import ProductFile
from wideroll.readers.toml_files import placed, read_toml
from wideroll.sensitometry import (
    DensitometerStatus,
    FilmType,
    Record,
    Strip,
    StripKind,
    StripResult,
    log_exposure,
    measure_strip,
    step_tablet,
)
from wideroll.workflow import Product, StripRoom, judge_strips

__all__ = ["BareRoom", "Readings", "bare_room"]

_USUAL_STEPS: Final = 21
_USUAL_INCREMENT: Final = 0.15
_PASTED: Final = Path("-")
_LOG_H_IS_ABSOLUTE: Final = "doesn't go with a file that gives log_h, which is in lx·s"
_AIMS_ARE_ABSOLUTE: Final = "aims are given at exposures in lx·s: give --exposure-lxs too"
_USUAL_STATUS: Final = {
    FilmType.COLOUR_NEGATIVE: DensitometerStatus.M,
    FilmType.MOTION_PICTURE_NEGATIVE: DensitometerStatus.M,
    FilmType.COLOUR_REVERSAL: DensitometerStatus.A,
    FilmType.BLACK_AND_WHITE: DensitometerStatus.VISUAL,
}
"""M for film that is printed, A for film that is looked at, visual for black-and-white (ISO 5-3)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """What the command was told of a file of readings."""

    path: Path
    exposure_lxs: float | None = None
    steps: int | None = None
    increment: float | None = None
    film_type: FilmType | None = None
    status: DensitometerStatus | None = None
    columns: tuple[str, ...] = ()
    aims: Path | None = None
    density_at: tuple[float, ...] = ()
    """Log H at which densities are read off."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BareRoom:
    """The strips of one file, measured, with what they were taken for."""

    file: BareFile
    room: StripRoom
    product: Product | None
    status: DensitometerStatus | None
    assumed: tuple[str, ...]
    """What was taken for granted because nothing said it, and what doesn't go together, in sentences."""


def bare_room(told: Readings) -> BareRoom:
    """Read and measure a file of readings, and compare it with the aims where a product is given.

    With aims, and reference strips in the file, each run is judged by them and its check strips are corrected, as those
    of a roll are.

    Raises:
        InputError: when a file has a fault.
        BadParameter: when an option doesn't go with the file.
    """
    file = _read(told)
    product = _product(told, file)
    absolute = told.exposure_lxs is not None or file.exposed_by == "log_h"
    film_types = {strip.name: _film_type(strip, told, product) for strip in file.strips}
    if product is None:
        results = tuple(
            measure_strip(strip, None, film_type=film_types[strip.name], densities_at_log_h=told.density_at)
            for strip in file.strips
        )
        room = StripRoom(strips=file.strips, results=results if absolute else tuple(map(_without_iso_speed, results)))
    elif any(strip.kind is StripKind.REFERENCE for strip in file.strips):
        room = judge_strips(file.strips, product)
    else:
        room = StripRoom(strips=file.strips, results=tuple(measure_strip(strip, product.aims) for strip in file.strips))
    return BareRoom(
        file=file,
        room=room,
        product=product,
        status=told.status,
        assumed=(*_assumed(told, product, room, absolute=absolute, films=film_types), *_doubts(told, room, film_types)),
    )


def _read(told: Readings) -> BareFile:
    clear_lxs = 1.0 if told.exposure_lxs is None else told.exposure_lxs
    tablet = step_tablet(told.steps or _USUAL_STEPS, told.increment or _USUAL_INCREMENT)
    file = read_bare_file(
        told.path,
        log_h_of_step=log_exposure(clear_lxs, 1.0, tablet),
        log_h_clear=math.log10(clear_lxs),
        columns=told.columns,
        pasted=sys.stdin.buffer if told.path == _PASTED else None,
    )
    for option, value in (("--steps", told.steps), ("--increment", told.increment)):
        if value is not None and file.exposed_by != "step":
            why = f"doesn't go with a file that gives {file.exposed_by} of each reading"
            raise misused(why, option)
    if told.exposure_lxs is not None and file.exposed_by == "log_h":
        raise misused(_LOG_H_IS_ABSOLUTE, "--exposure-lxs")
    return file


def _product(told: Readings, file: BareFile) -> Product | None:
    if told.aims is None:
        return None
    if told.exposure_lxs is None and file.exposed_by != "log_h":
        raise misused(_AIMS_ARE_ABSOLUTE, "--aims")
    with placed(told.aims):
        product = read_toml(told.aims, ProductFile).build(told.aims.stem, told.aims.parent)
    if told.film_type not in {None, product.film_type}:
        why = f"the product of --aims is {product.film_type.value}"
        raise misused(why, "--film-type")
    places = (*product.aims.densities_at_log_h, *told.density_at)
    return replace(product, aims=replace(product.aims, densities_at_log_h=places))


def _film_type(strip: Strip, told: Readings, product: Product | None) -> FilmType:
    if product is not None:
        return product.film_type
    return told.film_type or _likely_film(strip)


def _assumed(
    told: Readings, product: Product | None, room: StripRoom, *, absolute: bool, films: dict[str, FilmType]
) -> tuple[str, ...]:
    """What was taken for granted because no option said it."""
    said: list[str] = []
    if not absolute:
        said.append(
            "No --exposure-lxs given: log H is relative to the light on the tablet, so speeds aren't ISO speeds."
        )
    if product is None and told.film_type is None:
        names = ", ".join(dict.fromkeys(film.value for film in films.values()))
        said.append(f"No --film-type given: taken as {names}, from the records read and the way density runs.")
    if product is not None and not room.runs:
        said.append("No reference strips in the file: deviations from aim aren't corrected for the process.")
    return tuple(said)


def _doubts(told: Readings, room: StripRoom, films: dict[str, FilmType]) -> tuple[str, ...]:
    """Where the status of the densities isn't the one that the film or its records are read in."""
    if told.status is None:
        return ()
    said: list[str] = []
    for film in dict.fromkeys(films.values()):
        usual = _USUAL_STATUS[film]
        visual = all(set(s.density) == {Record.VISUAL} for s in room.strips if films[s.name] is film)
        if visual:
            usual = DensitometerStatus.VISUAL
        if told.status is not usual:
            said.append(
                f"Status {told.status.value} given, but {film.value} film"
                f"{' with a visual record only' if visual else ''} is read in status {usual.value} (ISO 5-3)."
            )
    return tuple(said)


def _without_iso_speed(result: StripResult) -> StripResult:
    """ISO speeds need exposures in lx·s; relative ones would give a number that means nothing."""
    return replace(result, measures=tuple(measure for measure in result.measures if measure.unit != "ISO"))


def _likely_film(strip: Strip) -> FilmType:
    """Told from what was read: one visual record is black-and-white, falling density is reversal film."""
    if set(strip.density) == {Record.VISUAL}:
        return FilmType.BLACK_AND_WHITE
    ends = [(read[0], read[-1]) for d in strip.density.values() if len(read := d[np.isfinite(d)])]
    falling = bool(ends) and all(first > last for first, last in ends)
    return FilmType.COLOUR_REVERSAL if falling else FilmType.COLOUR_NEGATIVE
