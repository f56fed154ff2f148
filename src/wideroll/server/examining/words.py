"""What was entered, in a line of words."""

from collections.abc import Mapping
from typing import Final

__all__ = ["setting_words", "sighting_words"]

_COLOURS: Final = ("red", "green", "blue")
_SECTIONS: Final = (
    *("high_density", "mid_density", "unexposed"),
    *("cyan_separation", "magenta_separation", "yellow_separation"),
)
_SAID: Final[Mapping[tuple[str, str], str]] = {
    ("embedded", "yes"): "in or under the emulsion",
    ("embedded", "no"): "on top",
    ("wipes_off", "yes"): "wipes off",
    ("wipes_off", "no"): "doesn't wipe off",
    ("metallic", "yes"): "metal",
    ("side", "emulsion"): "emulsion side",
    ("side", "base"): "base side",
}
_SETTINGS: Final[Mapping[tuple[str, str], str]] = {
    ("blind", "yes"): "blind",
    ("blind", "no"): "not blind",
    ("filters", "yes"): "red, green and blue filter",
    ("filters", "no"): "no filters",
    ("sections", "all"): "all six sections",
    ("sections", "densities"): "sections of density",
    ("sections", "separations"): "separations",
    ("sections", "none"): "no sections",
    ("densitometer", "yes"): "densitometer",
}


def sighting_words(cells: Mapping[str, str]) -> str:
    """A sighting in the words it was entered with.

    Example:
        >>> sighting_words({"kind": "spot", "along": "66 cm", "across": "5 7/8 in", "size": "0.6 mm", "grade": "D"})
        'spot at 66 cm along, 5 7/8 in across; 0.6 mm; grade D'
    """
    place = ", ".join(f"{cells[name]} {name}" for name in ("along", "across") if cells.get(name))
    what = " at ".join(part for part in (cells.get("kind", ""), place) if part)
    filters = ", ".join(f"{colour} {cells[colour]}" for colour in _COLOURS if cells.get(colour))
    shows = ", ".join(_plain(one) for one in _SECTIONS if cells.get(one) == "yes")
    hidden = ", ".join(_plain(one) for one in _SECTIONS if cells.get(one) == "no")
    densities = ", ".join(cells[f"density_{colour}"] for colour in _COLOURS if cells.get(f"density_{colour}"))
    parts = (
        what,
        cells.get("size", ""),
        filters,
        f"shows in {shows}" if shows else "",
        f"not in {hidden}" if hidden else "",
        *(words for (name, value), words in _SAID.items() if cells.get(name) == value),
        f"grade {cells['grade']}" if cells.get("grade") else "",
        f"densities {densities}" if densities else "",
        cells.get("note", ""),
        "with a photograph" if cells.get("photograph") else "",
    )
    return "; ".join(part for part in parts if part)


def setting_words(setting: Mapping[str, str], names: Mapping[str, str]) -> str:
    """How a sheet is looked at.

    Args:
        setting: answers by the names of the questions.
        names: the questions, in order.
    """
    loupe = f"{setting['loupe']}× loupe" if setting.get("loupe") else "no loupe" if "loupe" in setting else ""
    said = [loupe if name == "loupe" else _SETTINGS.get((name, setting.get(name, "")), "") for name in names]
    return ", ".join(part for part in said if part)


def _plain(name: str) -> str:
    return name.replace("_", " ")
