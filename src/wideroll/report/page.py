"""What all pages are made with: one way to read templates, and a figure as it stands on a page."""

from dataclasses import dataclass
from typing import Final

from jinja2 import Environment, PackageLoader, StrictUndefined, Template

from wideroll.report.grid import Grid

__all__ = ["PageFigure", "page_template"]

_ENVIRONMENT: Final = Environment(
    loader=PackageLoader("wideroll.report", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
    keep_trailing_newline=True,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PageFigure:
    """An SVG drawn here (so safe to put in as it is), its caption, and its data in tables."""

    svg: str
    caption: str
    data: tuple[Grid, ...] = ()


def page_template(name: str) -> Template:
    """A template of a page; what it names and isn't given is an error, and all text is escaped.

    Args:
        name: of the file in ``templates``.
    """
    return _ENVIRONMENT.get_template(name)
