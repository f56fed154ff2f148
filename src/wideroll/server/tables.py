"""Tables on pages and as CSV, links in them, and a request's address with something changed in it."""

import re
from collections.abc import Callable, Mapping
from typing import Any, Final
from urllib.parse import urlencode

from fastapi.responses import PlainTextResponse
from starlette.requests import Request

from wideroll.errors import InputError, WiderollError

__all__ = ["address_with", "csv_answer", "linked", "named_by_field", "wrongs_of"]

_OPTION: Final = re.compile(r"--[a-z]|wideroll [a-z]|[A-Z]+ CASE")


def csv_answer(grid: Mapping[str, Any], name: str) -> PlainTextResponse:
    """A table of ``report.grid_json`` as a file.

    Args:
        grid: the table.
        name: of the file, without its ending.
    """
    from wideroll.report.grid_json import grid_csv  # noqa: PLC0415  (loads what draws)

    return PlainTextResponse(
        grid_csv(dict(grid)),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": f'inline; filename="{re.sub("[^A-Za-z0-9.-]+", "-", name)}.csv"'},
    )


def linked(grid: dict[str, Any], address: Callable[[str], str], *, column: int = 0) -> dict[str, Any]:
    """The same table with the cells of a column leading somewhere; an empty address leads nowhere.

    Args:
        grid: of ``report.grid_json``.
        address: made of a cell's text.
        column: from 0.
    """
    for row in grid["rows"]:
        row[column]["link"] = address(row[column]["text"].strip())
    return grid


def address_with(request: Request, **changed: str | int) -> str:
    """The query of a request with something changed, to be put after a page's address; what is empty is left out.

    Args:
        request: what was asked.
        changed: by name; an empty text takes it away.
    """
    asked = {**request.query_params, **{name: str(value) for name, value in changed.items()}}
    return f"?{urlencode({name: value for name, value in asked.items() if value})}"


def wrongs_of(error: WiderollError, fields: Mapping[str, str]) -> list[dict[str, str]]:
    """What is wrong with a form, for the summary at its top.

    Args:
        error: of an act, which names its options as the command line has them.
        fields: the field for a part of where it is wrong.
    """
    field = _field_of(error, fields)
    value = f" (found: {error.value})" if error.value not in {None, ""} else ""
    mend = "" if _OPTION.search(error.mend) else f" {error.mend}"
    subject = "" if field else f"{error.where}: "
    words = f"{subject}{error.rule}{value}.{mend}"
    return [{"field": field, "words": words[:1].upper() + words[1:]}]


def named_by_field(error: WiderollError, fields: Mapping[str, str]) -> InputError:
    """The same error for programs: where it is by the field that was sent, the mend without the command line.

    Args:
        error: of an act, which names its options as the command line has them.
        fields: the field for a part of where it is wrong.
    """
    mend = "Mend it and send it again." if _OPTION.search(error.mend) else error.mend
    return InputError(where=_field_of(error, fields) or error.where, rule=error.rule, value=error.value, mend=mend)


def _field_of(error: WiderollError, fields: Mapping[str, str]) -> str:
    where = error.where.casefold()
    return next((name for part, name in fields.items() if part in where), "")
