"""The invented plant as a plant's own machines and people would have left it, with the truth in a folder beside."""

import csv
import io
import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import numpy as np
import tifffile
from numpy.typing import NDArray

from wideroll.errors import InputError
from wideroll.roll import Extent, Place
from wideroll.sensitometry import Curve, FilmType, Record, Strip, StripKind
from wideroll.store.demo_examination import Examined, examine_roll
from wideroll.store.demo_faults import encoder_rows, planted_bands, planted_rarities, slowed_places
from wideroll.store.demo_history import history_files
from wideroll.store.demo_instruments import (
    DENSITOMETER,
    EXPOSURE_TOML,
    READ_ON,
    as_read,
    instruments_toml,
    working_densities,
)
from wideroll.store.demo_lots import LOTS_CSV
from wideroll.store.demo_processors import processor_files, runs_rows
from wideroll.store.demo_product import product_toml
from wideroll.store.demo_properties import GAUGES_TOML, properties_rows, properties_truth
from wideroll.store.demo_scene import CLEANINGS_CSV, ORDERS_TOML, PLANT_TOML, PRODUCT, REFERENCE_RUNS, ROLLS, RollScene
from wideroll.store.demo_sightings import eighths, inches_across
from wideroll.store.files import read_json, write_json, write_whole
from wideroll.synthetic import (
    PlantedMark,
    PlantedStreak,
    StripRecipe,
    Web,
    WebRecipe,
    aim_curves,
    make_strips,
    make_web,
    print_roller,
    scatter_dirt,
)

__all__ = ["demo_rolls", "write_demo_plant"]

_MARKER: Final = "demo.json"
_PARTIAL: Final = "demo-unfinished.txt"
_SCHEMA: Final = "wideroll/demo/6"
_WEB_MM: Final = 1380.0
_SEGMENT_LINES: Final = 20_000
_SMALL: Final = Fraction(1, 2)
_READING_SD: Final = 0.004
_FILM: Final = FilmType.COLOUR_NEGATIVE


def demo_rolls() -> tuple[str, ...]:
    """Names of the invented rolls."""
    return tuple(scene.name for scene in ROLLS)


def write_demo_plant(root: Path, *, small: bool, advance: Callable[[str, int, int], None]) -> bool:
    """Write the plant, unless it is there already.

    Args:
        root: a folder that is empty, doesn't exist, or holds an earlier demo.
        small: rolls half as long at a coarser pitch.
        advance: told the roll's name, the lines written of it and the lines there will be.

    Returns:
        Whether anything was written.

    Raises:
        InputError: when the folder holds something else.
    """
    marker = {"schema": _SCHEMA, "small": small}
    path = root / _MARKER
    if path.is_file():
        if read_json(path) == marker:
            return False
        raise _occupied(root, "another demo (another size or version)")
    if root.exists() and not (root / _PARTIAL).is_file() and (not root.is_dir() or any(root.iterdir())):
        raise _occupied(root, "files that no demo wrote")
    root.mkdir(parents=True, exist_ok=True)
    write_whole(root / _PARTIAL, b"This demo plant is being written.\n")
    _text(root / "plant.toml", PLANT_TOML)
    _text(root / "cleanings.csv", CLEANINGS_CSV)
    _text(root / "orders.toml", ORDERS_TOML)
    _text(root / "instruments.toml", instruments_toml() + GAUGES_TOML)
    for name, text in (processor_files() | history_files()).items():
        _text(root / name, text)
    _text(root / "lots" / f"{PRODUCT}.csv", LOTS_CSV)
    aims = _aims_lines(aim_curves(_FILM))
    _text(root / "products" / f"{PRODUCT}.toml", product_toml(aims, small=small))
    for scene in ROLLS:
        _write_roll(root, scene, small=small, advance=advance)
    write_json(path, marker)
    (root / _PARTIAL).unlink()
    return True


def _write_roll(root: Path, scene: RollScene, *, small: bool, advance: Callable[[str, int, int], None]) -> None:
    length_m = float(Fraction(scene.length_m) * (_SMALL if small else 1))
    pitch_mm = 0.5 if small else 0.3
    whole = Extent(along_from_m=0.0, along_to_m=length_m, across_from_mm=0.0, across_to_mm=_WEB_MM)
    folder = root / "rolls" / scene.name
    dirt, streaks = _dirt(scene, whole), _streaks(scene, length_m)
    web = make_web(
        WebRecipe(
            length_m=length_m,
            web_width_mm=_WEB_MM,
            pitch_mm=pitch_mm,
            seed=scene.seed,
            marks=dirt,
            streaks=streaks,
            bands=planted_bands(scene, whole),
            places=slowed_places(scene, length_m, pitch_mm),
        )
    )
    _text(folder / "roll.toml", _roll_toml(scene, length_m))
    _write_scan(folder / "scan", web, pitch_mm, lambda done: advance(scene.name, done, web.shape[0]))
    _write_strips(folder / "strips", scene, length_m)
    _table(folder / "properties.csv", properties_rows(scene, length_m))
    examined = examine_roll(scene, whole, dirt, streaks)
    _write_examination(folder / "examination", examined)
    _write_truth(root / "truth" / f"{scene.name}.json", scene, length_m, (dirt, streaks, examined))


def _dirt(scene: RollScene, whole: Extent) -> tuple[PlantedMark, ...]:
    inner = Extent(
        along_from_m=whole.along_from_m + 0.02,
        along_to_m=whole.along_to_m - 0.02,
        across_from_mm=whole.across_from_mm + 10.0,
        across_to_mm=whole.across_to_mm - 10.0,
    )
    marks = list(scatter_dirt(extent=inner, per_m2=scene.dirt_per_m2, seed=scene.seed))
    length = whole.along_to_m
    if scene.dirty_per_m2 > 0:
        start, end = scene.dirty
        stretch = inner.meet(_between(inner, start * length, end * length))
        if stretch is not None:
            marks += scatter_dirt(extent=stretch, per_m2=scene.dirty_per_m2, seed=scene.seed + 1, cause="dirty stretch")
    if scene.roller:
        marks += print_roller(
            diameter_mm=scene.roller_diameter_mm,
            across_mm=scene.roller_across_mm,
            length_m=length,
            slip=0.0006,
            print_probability=0.65,
            jitter_mm=1.5,
            seed=scene.seed + 2,
            cause=scene.roller,
        )
    return (*marks, *planted_rarities(scene, length))


def _between(box: Extent, from_m: float, to_m: float) -> Extent:
    return Extent(
        along_from_m=from_m, along_to_m=to_m, across_from_mm=box.across_from_mm, across_to_mm=box.across_to_mm
    )


def _streaks(scene: RollScene, length_m: float) -> tuple[PlantedStreak, ...]:
    if not scene.streak_across_mm:
        return ()
    streak = PlantedStreak(
        across_mm=scene.streak_across_mm,
        along_from_m=scene.streak_from * length_m,
        along_to_m=length_m,
        width_mm=0.9,
        contrast=-0.02,
    )
    return (streak,)


def _write_scan(folder: Path, web: Web, pitch_mm: float, advance: Callable[[int], None]) -> None:
    lines = web.shape[0]
    names: list[str] = []
    for number, start in enumerate(range(0, lines, _SEGMENT_LINES), 1):
        stop = min(start + _SEGMENT_LINES, lines)
        names.append(f"segment-{number:03d}.tif")
        _write_tiff(folder / names[-1], web.rows(start, stop))
        advance(stop - start)
    listed = ", ".join(f'"{name}"' for name in names)
    pitch = f'pitch_along = "{pitch_mm} mm"\npitch_across = "{pitch_mm} mm"'
    encoder = ""
    if web.recipe.places is not None:
        _table(folder / "encoder.csv", encoder_rows(web.recipe.places))
        encoder = 'encoder = "encoder.csv"\n'
    _text(folder / "scan.toml", f'scanner = "line-end scanner"\n{pitch}\nsegments = [{listed}]\n{encoder}')


def _write_tiff(path: Path, pixels: NDArray[np.uint8]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    tifffile.imwrite(path, pixels, bigtiff=True, photometric="minisblack", metadata=None)


def _write_strips(folder: Path, scene: RollScene, length_m: float) -> None:
    strips = [as_read(strip) for strip in make_strips(_strip_recipes(scene, length_m)).strips]
    first = strips[0]
    _text(folder / "exposure.toml", EXPOSURE_TOML)
    meter = (DENSITOMETER, READ_ON)
    listed = [("strip", "kind", "run", "along", "across", "densitometer", "read_on")]
    listed += [(s.name, s.kind.value, s.run, _metres(s.place), inches_across(s.place), *meter) for s in strips]
    _table(folder / "strips.csv", listed)
    readings: list[Sequence[str]] = [("strip", "step", *(record.value for record in first.density))]
    readings += [row for strip in strips for row in _reading_rows(strip)]
    _table(folder / "readings.csv", readings)
    _table(folder / "runs.csv", runs_rows(dict.fromkeys(strip.run for strip in strips)))


def _strip_recipes(scene: RollScene, length_m: float) -> Iterable[StripRecipe]:
    batches = {name: (start, end) for name, start, end in scene.batches}
    slow = batches.get(scene.slow_batch, (2.0, 2.0))
    used = sorted({strip.run for strip in scene.strips})
    for number, (run, copy) in enumerate((run, copy) for run in used for copy in (1, 2)):
        yield StripRecipe(
            name=f"ref-{run}-{copy}",
            film_type=_FILM,
            kind=StripKind.REFERENCE,
            run=run,
            process_fog=REFERENCE_RUNS[run],
            noise_sd=_READING_SD,
            step_density=working_densities(),
            seed=scene.seed * 100 + number,
        )
    for number, strip in enumerate(scene.strips):
        off = scene.slow_log_h if slow[0] <= strip.along < slow[1] else 0.0
        yield StripRecipe(
            name=strip.name,
            film_type=_FILM,
            run=strip.run,
            place=Place(along_m=round(strip.along * length_m, 2), across_mm=float(eighths(strip.across * _WEB_MM))),
            shift_log_h={Record.RED: 0.6 * off, Record.GREEN: off, Record.BLUE: 0.6 * off},
            process_fog=REFERENCE_RUNS[strip.run],
            noise_sd=_READING_SD,
            step_density=working_densities(),
            seed=scene.seed * 100 + 50 + number,
        )


def _reading_rows(strip: Strip) -> Iterable[Sequence[str]]:
    """Step 1 is the tablet's clear one, which gave the greatest exposure."""
    steps = len(strip.log_h)
    for step in range(1, steps + 1):
        densities = (f"{values[steps - step]:.3f}" for values in strip.density.values())
        yield (strip.name, str(step), *densities)


def _write_examination(folder: Path, examined: Examined) -> None:
    for name, rows in examined.tables.items():
        _table(folder / name, rows)
    for name, picture in examined.pictures.items():
        write_whole(folder / name, picture)


def _write_truth(
    path: Path,
    scene: RollScene,
    length_m: float,
    laid: tuple[tuple[PlantedMark, ...], tuple[PlantedStreak, ...], Examined],
) -> None:
    dirt, streaks, examined = laid
    dirty = [scene.dirty[0] * length_m, scene.dirty[1] * length_m] if scene.dirty_per_m2 else None
    truth: dict[str, Any] = {
        "roll": scene.name,
        "verdict": scene.verdict,
        "roller": scene.roller or None,
        "roller_across_mm": scene.roller_across_mm or None,
        "dirty_stretch_m": dirty,
        "slow_batch": scene.slow_batch or None,
        "slow_log_h": scene.slow_log_h or None,
        "void_runs": sorted({strip.run for strip in scene.strips if REFERENCE_RUNS[strip.run]}),
        "streaks": [asdict(streak) for streak in streaks],
        "band_mm": scene.band_mm or None,
        "properties": properties_truth(scene),
        "marks": [asdict(mark) for mark in dirt],
        "sightings": list(examined.truth),
    }
    write_whole(path, (json.dumps(truth, indent=1) + "\n").encode())


def _roll_toml(scene: RollScene, length_m: float) -> str:
    lines = [f'product = "{PRODUCT}"', f'length = "{length_m:g} m"', f'coated = "{scene.coated}"']
    for name, start, end in scene.batches:
        lines += ["", "[[batches]]", f'name = "{name}"']
        lines += [f'along_from = "{start * length_m:.2f} m"', f'along_to = "{_end(end, length_m)} m"']
    return "\n".join(lines) + "\n"


def _end(share: float, length_m: float) -> str:
    return f"{length_m:g}" if share == 1.0 else f"{share * length_m:.2f}"


def _aims_lines(curves: Mapping[Record, Curve]) -> str:
    first = next(iter(curves.values()))
    lines = [f"log_h = [{', '.join(f'{x:.3f}' for x in first.log_h)}]"]
    lines += [f"{record} = [{', '.join(f'{d:.3f}' for d in curve.density)}]" for record, curve in curves.items()]
    return "\n".join(lines) + "\n"


def _metres(place: Place | None) -> str:
    return "-" if place is None else f"{place.along_m:.2f} m"


def _table(path: Path, rows: Iterable[Sequence[str]]) -> None:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    _text(path, out.getvalue())


def _text(path: Path, text: str) -> None:
    write_whole(path, text.encode())


def _occupied(root: Path, holds: str) -> InputError:
    return InputError(
        where=str(root),
        rule="the folder for a demo must be new or empty",
        value=holds,
        mend="Name another folder, or remove this one.",
    )
