"""Transmittance spectra: a table of wavelengths and samples, or ISO 28178 exchange text."""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import numpy as np

from wideroll.errors import ArgumentError, InputError
from wideroll.readers.csv_tables import Row
from wideroll.readers.exchange_text import ExchangeText, is_exchange_text, parse_exchange
from wideroll.readers.pasted import CellTable, read_cells, read_whole
from wideroll.readers.strip_cells import PlacedRow
from wideroll.readers.toml_files import placed
from wideroll.sensitometry import Spectrum

__all__ = ["read_spectra"]

_WAVELENGTH: Final = "wavelength_nm"
_BAND: Final = re.compile(r"(?:SPECTRAL_(?:NM_?)?|NM_?)([0-9]{3,4}(?:\.[0-9]+)?)")
_NM: Final = "SPECTRAL_NM"
_SCALES: Final = {"SPECTRAL_DEC": 1.0, "SPECTRAL_PCT": 100.0}
_NAMES: Final = ("SAMPLE_ID", "SAMPLE_NAME")
_MOST_TRANSMITTANCE: Final = 1.1
_Reading = tuple[float, float]


def read_spectra(path: Path, *, full_scale: float | None = None) -> Mapping[str, Spectrum]:
    """Spectra by the name of their sample, in the order of the file.

    A table has a column ``wavelength_nm`` and one column a sample, with transmittances as fractions. Exchange text has
    a set a sample, named by ``SAMPLE_ID`` or else ``SAMPLE_NAME``, and either pairs of the fields ``SPECTRAL_NM`` and
    ``SPECTRAL_DEC`` (fractions) or ``SPECTRAL_PCT`` (per cent), or a field a wavelength like ``SPECTRAL_380``. Names of
    fields are those of ISO 28178 and ANSI CGATS.17, from memory and from others' lists.

    Args:
        path: the file.
        full_scale: the number that stands for all of the light, 1 or 100. Needed for fields like ``SPECTRAL_380``,
            which don't say it; 1 unless given for a table.

    Raises:
        InputError: naming the line and column or field.
        ArgumentError: when full_scale is neither.
    """
    if full_scale not in {None, 1, 100}:
        raise ArgumentError(where="full_scale", rule="must be 1 or 100", value=full_scale, mend="Give one of them.")
    text = read_whole(path)
    if is_exchange_text(text):
        return _of_exchange(parse_exchange(path, text), full_scale)
    return _of_table(read_cells(path, text), 1.0 if full_scale is None else full_scale)


def _of_table(table: CellTable, scale: float) -> Mapping[str, Spectrum]:
    names = [name.strip() for name in table.names]
    lower = [name.lower() for name in names]
    if _WAVELENGTH not in lower or len(names) == 1:
        raise InputError(
            where=f"{table.path}, {table.header}",
            rule=f"must have a column {_WAVELENGTH} and a column for each sample",
            value=", ".join(names),
            mend="Name the column of the wavelengths, in nm.",
        )
    at = lower.index(_WAVELENGTH)
    rows = [
        Row(path=table.path, line=number, cells=dict(zip(names, cells, strict=True))) for number, cells in table.lines
    ]
    spectra: dict[str, Spectrum] = {}
    for name in (name for place, name in enumerate(names) if place != at):
        readings = [(_wavelength(row, names[at]), _transmittance(row, name, scale)) for row in rows]
        spectra[name] = _spectrum(f"{table.path}, column {name}", readings)
    return spectra


def _of_exchange(exchange: ExchangeText, full_scale: float | None) -> Mapping[str, Spectrum]:
    bands = _bands(exchange, full_scale)
    named = next((exchange.fields.index(name) for name in _NAMES if name in exchange.fields), None)
    if named is None:
        raise InputError(
            where=f"{exchange.path}, line {exchange.format_line}",
            rule=f"spectra must have a field {' or '.join(_NAMES)}",
            mend="Add the field to the format of the data.",
        )
    spectra: dict[str, Spectrum] = {}
    for line, values in exchange.sets:
        name = values[named]
        where = f"{exchange.path}, line {line}"
        if not name or not name.isprintable() or name in spectra:
            raise InputError(
                where=f"{where}, field {exchange.fields[named]}",
                rule="each sample has a name of its own",
                value=name,
                mend="Number the samples through.",
            )
        row = PlacedRow(
            path=exchange.path,
            line=line,
            cells={str(place): value for place, value in enumerate(values)},
            places={str(place): f"line {line}, field {field}" for place, field in enumerate(exchange.fields)},
        )
        readings = [
            (_wavelength(row, str(nm)) if isinstance(nm, int) else nm, _transmittance(row, str(place), scale))
            for nm, place, scale in bands
        ]
        spectra[name] = _spectrum(where, readings)
    return spectra


def _bands(exchange: ExchangeText, full_scale: float | None) -> list[tuple[int | float, int, float]]:
    """Of each reading: its wavelength or (whole) the place of the field that holds it, its own place, and its scale."""
    where = f"{exchange.path}, line {exchange.format_line}"
    bands: list[tuple[int | float, int, float]] = []
    for place, name in enumerate(exchange.fields):
        single = _BAND.fullmatch(name)
        if single and full_scale is None:
            raise InputError(
                where=f"{where}, field {name}",
                rule="such a field doesn't say whether it holds fractions or per cent",
                mend="Give full_scale, 1 or 100.",
            )
        if single and full_scale is not None:
            bands.append((float(single[1]), place, full_scale))
        if name in _SCALES:
            if place == 0 or exchange.fields[place - 1] != _NM:
                raise InputError(
                    where=f"{where}, field {name}", rule=f"must follow a field {_NM}", mend="Correct the format."
                )
            bands.append((place - 1, place, _SCALES[name]))
    if not bands:
        raise InputError(
            where=where,
            rule=f"spectra must have fields {_NM} with {' or '.join(_SCALES)}, or fields like SPECTRAL_380",
            value=", ".join(exchange.fields),
            mend="Export the spectra too.",
        )
    return bands


def _wavelength(row: Row, column: str) -> float:
    value = row.number(column)
    if not value > 0.0:
        raise row.refuse(column, rule="a wavelength is a number of nm greater than 0", mend="Correct it.")
    return value


def _transmittance(row: Row, column: str, scale: float) -> float:
    value = row.number(column) / scale
    if not 0.0 <= value <= _MOST_TRANSMITTANCE:
        raise row.refuse(
            column,
            rule=f"a transmittance lies between 0 and {_MOST_TRANSMITTANCE * scale:g}",
            mend="Give fractions, or say that it is per cent; take the dark reading and the 100 % line again.",
        )
    return value


def _spectrum(where: str, readings: Sequence[_Reading]) -> Spectrum:
    ordered = sorted(readings)
    with placed(where):
        return Spectrum(
            wavelength_nm=np.array([nm for nm, _ in ordered]), transmittance=np.array([value for _, value in ordered])
        )
