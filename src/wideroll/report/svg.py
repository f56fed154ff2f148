"""A drawn figure to one small, self-contained SVG that may stand beside others in a page."""

import io
import re
from collections.abc import Mapping
from typing import Final
from xml.etree import ElementTree as ET

from matplotlib.figure import Figure

__all__ = ["slug", "to_svg"]

_SVG: Final = "{http://www.w3.org/2000/svg}"
_HREF: Final = "{http://www.w3.org/1999/xlink}href"
_PIXELS: Final = "data:image/png;base64,"
_NUMBER: Final = re.compile(r"-?\d+\.\d{3,}")
_REFERENCE: Final = re.compile(r"url\(#([^)]+)\)")
_FONT: Final = re.compile(r"font-family:[^;]*;?\s*")
_PLAIN_TURN: Final = re.compile(r"^rotate\(-?0 ")
_ROOT_STYLE: Final = (
    "stroke-linejoin: round; stroke-linecap: butt; "
    "font-family: Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"
)


def slug(text: str) -> str:
    """Letters, digits and dashes only, for use in an id; different texts may give the same.

    Example:
        >>> slug("Strip 12/b")
        'strip-12-b'
    """
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "x"


def to_svg(figure: Figure, *, key: str, title: str, description: str) -> str:
    """The figure as SVG text with no outside address, the same bytes each time.

    Ids are made unique to ``key`` so that several figures can stand in one page; those nobody refers to are dropped,
    as is the drawing library's metadata. ``title`` and ``description`` are what a screen reader says.
    """
    buffer = io.StringIO()
    figure.savefig(buffer, format="svg", metadata={"Date": None})
    root = ET.fromstring(buffer.getvalue())  # noqa: S314  # drawn a line above, not received
    _drop(root, f"{_SVG}metadata")
    _drop(root, f"{_SVG}style")
    names = {name: f"{key}-{rank}" for rank, name in enumerate(_references(root))}
    for element in root.iter():
        _tidy(element, names)
    _prune(root)
    for element in root.iter(f"{_SVG}g"):
        _share_style(element)
    root.attrib |= {"role": "img", "aria-labelledby": f"{key}-title {key}-desc", "style": _ROOT_STYLE}
    for place, (name, text) in enumerate((("title", title), ("desc", description))):
        said = ET.Element(f"{_SVG}{name}", {"id": f"{key}-{name}"})
        said.text = text
        said.tail = "\n"
        root.insert(place, said)
    return _written(root)


def _written(root: ET.Element) -> str:
    for element in root.iter():
        element.tag = element.tag.removeprefix(_SVG)
    root.set("xmlns", "http://www.w3.org/2000/svg")
    return ET.tostring(root, encoding="unicode").strip()


def _drop(root: ET.Element, tag: str) -> None:
    for parent in list(root.iter()):
        for child in parent.findall(tag):
            parent.remove(child)


def _references(root: ET.Element) -> tuple[str, ...]:
    """The ids that something refers to, in the order of the drawing."""
    found: dict[str, None] = {}
    for element in root.iter():
        for name, value in element.attrib.items():
            if name == _HREF and not value.startswith(_PIXELS):
                found[value.removeprefix("#")] = None
            found |= dict.fromkeys(_REFERENCE.findall(value))
    return tuple(found)


def _tidy(element: ET.Element, names: Mapping[str, str]) -> None:
    attributes = dict(element.attrib)
    element.attrib.clear()
    for name, value in attributes.items():
        if name == "id":
            if value in names:
                element.set("id", names[value])
        elif name == _HREF and value.startswith(_PIXELS):
            element.set("href", "".join(value.split()))
        elif name == _HREF:
            element.set("href", f"#{names[value.removeprefix('#')]}")
        elif name == "transform" and element.tag == f"{_SVG}image":
            # a scale per pixel: two decimals of it would move the far side of a wide picture by millimetres
            element.set("transform", value)
        elif name == "transform" and _PLAIN_TURN.match(value):
            continue
        else:
            short = _NUMBER.sub(lambda number: f"{float(number[0]):.2f}", value.replace("\n", ""))
            short = _FONT.sub("", short) if name == "style" else short
            element.set(name, _REFERENCE.sub(lambda found: f"url(#{names[found[1]]})", short))


def _share_style(group: ET.Element) -> None:
    """Say once what many markers have in common: a map has thousands."""
    styles = {child.get("style") for child in group}
    if (
        len(group) > 1
        and len(styles) == 1
        and "style" not in group.attrib
        and all(c.tag == f"{_SVG}use" for c in group)
    ):
        style = styles.pop()
        if style is not None:
            group.set("style", style)
            for child in group:
                del child.attrib["style"]


def _prune(parent: ET.Element) -> None:
    for child in list(parent):
        _prune(child)
        if child.tag in {f"{_SVG}g", f"{_SVG}defs"} and len(child) == 0:
            parent.remove(child)
    if parent.tag != f"{_SVG}text":
        parent.text = None if parent.text is None or not parent.text.strip() else parent.text
    parent.tail = "\n" if parent.tail is not None and not parent.tail.strip() else parent.tail
