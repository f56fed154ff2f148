"""The description of the API, as OpenAPI 3.1: made from the routes, what they ask for and what they answer."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fastapi import APIRouter
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute

from wideroll.people import ACT_WORDS
from wideroll.server.access import Allow
from wideroll.server.programs.answers import ANSWERS, Wrong
from wideroll.server.programs.asked import ASKED
from wideroll.server.programs.schemas import REFS, Schemas, schemas_of

__all__ = ["Line", "api_routes", "describe", "lines_of", "with_doors"]

VERSION: Final = "3.1.0"
_TITLE: Final = "The desk of a plant"
_ABOUT: Final = (
    "What the pages of the desk show, for programs. Lengths are in the unit that ends a name: `_m` metres, `_mm` "
    "millimetres. Times are UTC. Whatever a program sends with a token needs no token of a form."
)
_SCHEMA_NAME: Final = re.compile(r"`(wideroll/[a-z-]+/\d+)`")
_NO_SCOPE: Final = "administer"
_METHODS: Final = ("get", "post", "put", "patch", "delete")
_ERRORS: Final = {
    "4XX": "Refused: who asks isn't known or mayn't, there is no such thing, or what was sent can't be used",
    "5XX": "A file of the plant can't be read, or it is our error",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A route on the page: method, path, what it does, and the scopes that allow it."""

    method: str
    path: str
    words: str
    scopes: tuple[str, ...]


def api_routes(routers: Sequence[APIRouter]) -> Iterator[APIRoute]:
    """The routes below /api."""
    for router in routers:
        for route in router.routes:
            if isinstance(route, APIRoute) and route.path.startswith("/api/"):
                yield route


def describe(routers: Sequence[APIRouter], *, version: str) -> dict[str, Any]:
    """All routes below /api.

    Args:
        routers: of the desk.
        version: of wideroll.
    """
    routes = list(api_routes(routers))
    made = get_openapi(title=_TITLE, version=version, openapi_version=VERSION, description=_ABOUT, routes=routes)
    schemas = schemas_of((*ANSWERS.values(), Wrong))
    for route in routes:
        for method in sorted(one.lower() for one in route.methods or () if one != "HEAD"):
            _fill(made["paths"][route.path_format][method], route, method, schemas)
    parts = made.setdefault("components", {})
    kept = {name: one for name, one in parts.get("schemas", {}).items() if "ValidationError" not in name}
    parts["schemas"] = {**kept, **schemas.definitions}
    return made


def with_doors(described: Mapping[str, Any], *, cookie: str, closed: bool) -> dict[str, Any]:
    """The same with the ways to say who asks.

    Args:
        described: by ``describe``.
        cookie: name of the session's.
        closed: whether everybody must say who they are.
    """
    scopes = "; ".join(f"`{act}`: {words}" for act, words in ACT_WORDS.items() if act != _NO_SCOPE)
    doors = {
        "token": {"type": "http", "scheme": "bearer", "description": f"A token with a scope. Scopes are {scopes}."},
        "session": {
            "type": "apiKey",
            "in": "cookie",
            "name": cookie,
            "description": "Of a browser that logged in. What changes something needs the header X-CSRF, too.",
        },
    }
    paths = {
        path: {
            method: {**one, "security": [*one["security"], *([] if closed else [{}])]}
            for method, one in methods.items()
        }
        for path, methods in described["paths"].items()
    }
    return {**described, "paths": paths, "components": {**described["components"], "securitySchemes": doors}}


def lines_of(described: Mapping[str, Any]) -> list[Line]:
    """The routes, by path."""
    return [
        Line(
            method=method.upper(),
            path=path,
            words=one["description"].replace("``", "").partition("\n")[0],
            scopes=tuple(act for act in one["x-scopes"] if act != _NO_SCOPE),
        )
        for path, methods in sorted(described["paths"].items())
        for method, one in methods.items()
        if method in _METHODS
    ]


def _fill(operation: dict[str, Any], route: APIRoute, method: str, schemas: Schemas) -> None:
    acts = _acts_of(route)
    words = operation.setdefault("description", route.summary or route.name)
    operation["summary"] = words.replace("``", "").partition("\n")[0]
    operation["operationId"] = f"{method} {route.path_format}"
    operation["x-scopes"] = list(acts)
    operation["security"] = [*({"token": [act]} for act in acts if act != _NO_SCOPE), {"session": []}]
    operation["parameters"] = [
        *operation.get("parameters", ()),
        *(one for one in ASKED.get(route.path_format, ()) if method == "get"),
    ]
    good = str(route.status_code or 200)
    found = operation["responses"].get(good, {})
    operation["responses"] = {
        good: {**found, "content": _content(operation, found, route, method, schemas.of)},
        **({"304": {"description": "What was asked for is what the asker has"}} if route.path_format in ASKED else {}),
        **{status: _wrong(words) for status, words in _ERRORS.items()},
    }


def _content(
    operation: Mapping[str, Any],
    found: Mapping[str, Any],
    route: APIRoute,
    method: str,
    schema_of: Callable[[Any], dict[str, Any]],
) -> dict[str, Any]:
    answer = ANSWERS.get((method, route.path_format))
    other = {
        kind: one for kind, one in found.get("content", {}).items() if kind != "application/json" or one.get("schema")
    }
    if answer is not None:
        return {**_tables(route), "application/json": {"schema": schema_of(answer)}}
    names = _SCHEMA_NAME.findall(f"{operation['description']} {found.get('description', '')}")
    if not names:
        return other
    schema = {"type": "object", "required": ["schema"], "properties": {"schema": {"enum": sorted(set(names))}}}
    return {**other, "application/json": {"schema": schema}}


def _tables(route: APIRoute) -> dict[str, Any]:
    """Where a route may answer with CSV."""
    has_csv = any(one["name"] == "format" for one in ASKED.get(route.path_format, ()))
    return {"text/csv": {"schema": {"type": "string"}}} if has_csv else {}


def _wrong(words: str) -> dict[str, Any]:
    return {"description": words, "content": {"application/json": {"schema": {"$ref": REFS.format(model="Wrong")}}}}


def _acts_of(route: APIRoute) -> tuple[str, ...]:
    """What allows it: each of the acts of its last ``Allow``, which is the narrowest."""
    asked = [one.call.acts for one in route.dependant.dependencies if isinstance(one.call, Allow)]
    return tuple(asked[-1]) if asked else ()
