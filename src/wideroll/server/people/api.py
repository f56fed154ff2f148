"""People, tokens and the log for machines; no password and no token is ever told."""

from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, HTTPException, Query, Request

from wideroll.people import Kind, find_person
from wideroll.server.access import Allow
from wideroll.server.entrance import entrance_of
from wideroll.server.people.data import log_rows, people_rows, person_row, token_rows

__all__ = ["router"]

router: Final = APIRouter(prefix="/api/people", dependencies=[Depends(Allow("administer"))])


@router.get("")
def people(request: Request) -> dict[str, Any]:
    """All people of the desk."""
    return {"people": people_rows(entrance_of(request).database())}


@router.get("/tokens")
def tokens(request: Request) -> dict[str, Any]:
    """All tokens, without their secrets."""
    entrance = entrance_of(request)
    return {"tokens": token_rows(entrance.database(), now_s=entrance.now_s)}


@router.get("/log")
def log(
    request: Request,
    kind: Kind | None = None,
    before: Annotated[int | None, Query(ge=1, le=2**62)] = None,
    most: Annotated[int, Query(ge=1, le=1000)] = 100,
) -> dict[str, Any]:
    """The newest lines of the log first; ``before`` a number goes on from there."""
    return {"log": log_rows(entrance_of(request).database(), kind=kind, before=before, most=most)}


@router.get("/{name}")
def one(request: Request, name: str) -> dict[str, Any]:
    """A person, with the tokens that act for them."""
    entrance = entrance_of(request)
    database = entrance.database()
    found = None if database is None else find_person(database, name)
    if found is None:
        raise HTTPException(404, "nobody here has that name")
    return {**person_row(found), "tokens": token_rows(database, now_s=entrance.now_s, person=found.name)}
