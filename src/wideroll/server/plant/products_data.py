"""Products as tables, and the words of a change."""

import tomllib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wideroll.errors import WiderollError
from wideroll.server.plant.grids import Grid, cell, grid

if TYPE_CHECKING:
    from wideroll.readers.product_text import TextFault

__all__ = ["fault_words", "product_tables", "products_grid", "products_of"]

_RECORDS = ("red", "green", "blue", "visual")


def products_of(root: Path) -> list[dict[str, Any]]:
    """The plant's products in short; one whose file has a fault is listed with it."""
    from wideroll.acts.products import product_names, product_text, rolls_by_product  # noqa: PLC0415
    from wideroll.readers.product_text import product_faults  # noqa: PLC0415

    found: list[dict[str, Any]] = []
    for name in product_names(root):
        try:
            text = product_text(root, name)
            faults = [str(one.error) for one in product_faults(name, text, root / "products")]
        except WiderollError as error:
            text, faults = "", [str(error)]
        data = _loaded(text)
        found.append(
            {
                "product": name,
                "film_type": str(data.get("film_type", "")),
                "criteria": len(_tables(data, "criteria")),
                "widths": [str(one.get("name", "")) for one in _tables(data, "widths")],
                "rolls": [one.roll for one in rolls_by_product(root, name)],
                "trouble": faults[0] if faults else "",
            }
        )
    return found


def products_grid(products: Iterable[Mapping[str, Any]]) -> Grid:
    """The same as a table."""
    rows = [
        (
            cell(one["product"], link=f"/plant/products/{one['product']}"),
            one["film_type"],
            one["criteria"],
            ", ".join(one["widths"]),
            len(one["rolls"]),
            cell(f"✖ {one['trouble']}", tone="strong") if one["trouble"] else "● can be decided by",
        )
        for one in products
    ]
    heads = ("product", "kind of film", "#criteria", "widths", "#decided rolls", "its file")
    return grid(f"Products: {len(rows)}", heads, rows, empty="No roll can be decided before there is one.")


def product_tables(text: str) -> dict[str, Grid]:
    """A product's file as tables, values and units as they are written there; none where it isn't TOML."""
    data = _loaded(text)
    if not data:
        return {}
    tables = {
        "criteria": _criteria(data),
        "aims": _aims("Aims of the film: density at log H", data.get("aims")),
        "reference": _aims("Aims of the reference film: density at log H", _table(data.get("reference")).get("aims")),
        "widths": _widths(data),
        "properties": grid(
            "Properties that are measured", ("property", "unit"), _rows(data, "properties", ("name", "unit"))
        ),
        "cutting": _pairs("Cutting", data.get("cutting"), empty="Usual rules: [cutting] isn't in the file."),
        "costs": _pairs("Costs", data.get("costs"), empty="Costs are left out: [costs] isn't in the file."),
    }
    return {key: one for key, one in tables.items() if one["rows"] or one["empty"]}


def fault_words(fault: "TextFault", keys: Iterable[str] = ()) -> dict[str, str]:
    """A fault as the summary of errors shows it, led to its field where that is on the page, else to the text."""
    place = ".".join(map(str, fault.place))
    near = [key for key in keys if place == key or place.startswith(f"{key}.")]
    line = f"Line {fault.line}: " if fault.line else ""
    error = fault.error
    value = "" if error.value is None else f" Got {str(getattr(error.value, 'value', error.value))[:200]}."
    words = f"{line}{error.where.partition(': ')[2] or error.where}: {error.rule}.{value} {error.mend}"
    return {"field": near[0] if near else "text", "words": words, "key": near[0] if near else ""}


def _criteria(data: Mapping[str, Any]) -> Grid:
    heads = ("criterion", "measured", "of", "#limit", "#good level", "#aim", "unit", "beyond it", "where")
    return grid(
        "Criteria: what each part of a roll must meet",
        heads,
        (
            (
                str(one.get("name", "")),
                str(one.get("measurand", "")),
                _of(one),
                _word(one.get("limit")),
                _word(one.get("good")),
                _word(one.get("aim")),
                str(one.get("unit", "")),
                str(one.get("consequence", "")),
                str(one.get("lane", one.get("region", "roll"))),
            )
            for one in _tables(data, "criteria")
        ),
        empty="The file has no criteria.",
    )


def _of(one: Mapping[str, Any]) -> dict[str, str]:
    kinds, least = one.get("kinds", []), one.get("least_size")
    named = ", ".join(map(str, kinds)) if isinstance(kinds, list | tuple) else str(kinds)
    return cell(named or str(one.get("subject", "")), note=f"from {least}" if least else "")


def _aims(caption: str, held: Any) -> Grid:
    table = _table(held)
    log_h = table.get("log_h")
    records = [one for one in _RECORDS if isinstance(table.get(one), list)]
    rows = zip(log_h if isinstance(log_h, list) else (), *(table[one] for one in records), strict=False)
    made = grid(
        caption,
        ("#log H", *(f"#{one}" for one in records)),
        [[_fixed(one) for one in row] for row in rows],
        empty="The file has no such aims.",
    )
    tolerance = table.get("tolerance_density")
    return made if tolerance is None else made | {"foot": [f"Tolerance {tolerance} in density."]}


def _fixed(value: Any) -> str:
    return f"{value:.3f}".replace("-", "\N{MINUS SIGN}") if isinstance(value, int | float) else str(value)


def _widths(data: Mapping[str, Any]) -> Grid:
    rows = []
    for one in _tables(data, "widths"):
        ways = [f"{one['value_per_m']} per m"] if "value_per_m" in one else []
        ways += [f"{length.get('value')} per {length.get('length')}" for length in _tables(one, "lengths")]
        spliced = _table(one.get("spliced"))
        ways += [f"{spliced.get('value')} per {spliced.get('length')}, spliced"] if spliced else []
        rows.append([str(one.get(key, "")) for key in ("name", "width", "tolerance")] + ["; ".join(ways)])
    return grid("Slit widths", ("width", "#of film", "#tolerance, ±", "value"), rows, empty="The file has no widths.")


def _pairs(caption: str, held: Any, *, empty: str) -> Grid:
    rows: list[tuple[str, str]] = []
    for name, value in _table(held).items():
        inner = value.items() if isinstance(value, dict) else ()
        rows += [(f"{name}: {one}", _word(what)) for one, what in inner] or [(name, _word(value))]
    return grid(caption, ("field", "#value"), rows, empty=empty)


def _rows(data: Mapping[str, Any], name: str, keys: tuple[str, ...]) -> list[list[str]]:
    return [[str(one.get(key, "")) for key in keys] for one in _tables(data, name)]


def _word(value: Any) -> str:
    return "" if value is None else str(value)


def _table(held: Any) -> Mapping[str, Any]:
    return held if isinstance(held, dict) else {}


def _tables(data: Mapping[str, Any], name: str) -> list[Mapping[str, Any]]:
    held = data.get(name)
    return [one for one in held if isinstance(one, dict)] if isinstance(held, list) else []


def _loaded(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError):
        return {}
