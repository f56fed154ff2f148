"""The one shape of an error: JSON below /api, the same words as a page elsewhere."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from wideroll.errors import ArgumentError, InputError, WiderollError
from wideroll.server.refusals import error_answer, list_near, refusal
from wideroll.server.tables import named_by_field

__all__ = ["MisaskedError", "add_errors", "as_asked", "error_answer"]


class MisaskedError(Exception):
    """What was asked for can't be used; ``error`` says what of it."""

    def __init__(self, error: WiderollError) -> None:
        """Because of an error of an act."""
        super().__init__(str(error))
        self.error = error


@contextmanager
def as_asked(fields: Mapping[str, str] | None = None) -> Iterator[None]:
    """Within it, what can't be used is the fault of who asks.

    Args:
        fields: what was sent, by a part of where an act says that something is wrong; None where acts name it so.

    Raises:
        MisaskedError: in place of an error that names what was asked for.
    """
    try:
        yield
    except (InputError, ArgumentError) as error:
        raise MisaskedError(error if fields is None else named_by_field(error, fields)) from error


def add_errors(app: FastAPI) -> None:
    """Let every error that a route ends with be answered in that shape."""
    app.add_exception_handler(HTTPException, _refused)
    app.add_exception_handler(RequestValidationError, _misput)
    app.add_exception_handler(FileNotFoundError, _not_found)
    app.add_exception_handler(MisaskedError, _misasked)
    app.add_exception_handler(WiderollError, _unfit)


def _refused(request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    rule = str(error.detail) if isinstance(error, HTTPException) else "internal error"
    answer = refusal(request, status=status, rule=rule)
    for name, value in (getattr(error, "headers", None) or {}).items():
        answer.headers[name] = value
    return answer


def _misput(request: Request, error: Exception) -> Response:
    first = error.errors()[0] if isinstance(error, RequestValidationError) and error.errors() else {}
    where = ".".join(str(one) for one in first.get("loc", ("request",)))
    return error_answer(
        request, status=422, where=where, rule=str(first.get("msg", "isn't as asked")), mend="Mend it and ask again."
    )


def _misasked(request: Request, error: Exception) -> Response:
    if not isinstance(error, MisaskedError):
        raise error
    what = error.error
    value = "" if what.value is None else f" (found: {what.value})"
    return error_answer(request, status=422, where=what.where, rule=f"{what.rule}{value}", mend=what.mend)


def _not_found(request: Request, error: Exception) -> Response:
    near, _ = list_near(request)
    named = f"a roll {error}" if getattr(error, "errno", None) is None else "that roll"  # else it names a file of ours
    rule, mend = (
        f"nothing is decided about {named}, or it has no sheet",
        f"Decide it first, or take a name from {near}.",
    )
    if request.url.path.removeprefix("/api").startswith("/cards/"):
        rule, mend = "there is no such card, or nothing of it was kept", f"Take one from {near}."
    return error_answer(
        request,
        status=404,
        where=request.url.path,
        rule=rule,
        mend=mend,
    )


def _unfit(request: Request, error: Exception) -> Response:
    if not isinstance(error, WiderollError):
        raise error
    # a name that can't be a roll's is as good as unknown; a file of ours that can't be read is our trouble
    status = 404 if isinstance(error, InputError) and error.where == "roll" else 500
    return error_answer(request, status=status, where=error.where, rule=error.rule, mend=error.mend)
