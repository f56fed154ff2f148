"""The stream that open pages listen to."""

import time
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from threading import Lock
from typing import Annotated, Final

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.responses import StreamingResponse
from starlette.concurrency import run_in_threadpool

from wideroll.server.access import Allow, Person, person_of
from wideroll.server.desk import Desk, desk_of
from wideroll.server.live.hub import Hub, Told, hub_of
from wideroll.server.live.looking import looker_of

__all__ = ["router"]

router: Final = APIRouter()
_HEARTBEAT_S: Final = 15.0
"""So often somebody who listens is looked up anew, when nothing happens."""
_FRESH_S: Final = 1.0
"""So old may that be when something is told."""
_AGAIN_MS: Final = 2000
_MOST: Final = 300
_MOST_EACH: Final = 12
_LOOKED_UP: Final = "wideroll."
"""What a request remembers of who asks."""


@dataclass(slots=True)
class _Listeners:
    """How many listen, all in all and by person."""

    all: int = 0
    each: dict[str, int] = field(default_factory=dict)
    lock: Lock = field(default_factory=Lock)

    def full(self, who: str) -> bool:
        """Whether there is no room for one more."""
        return self.all >= _MOST or self.each.get(who, 0) >= _MOST_EACH

    def come(self, who: str) -> None:
        """One more listens."""
        with self.lock:
            self.all += 1
            self.each[who] = self.each.get(who, 0) + 1

    def go(self, who: str) -> None:
        """One less does."""
        with self.lock:
            self.all -= 1
            self.each[who] -= 1
            if not self.each[who]:
                del self.each[who]


@router.get(
    "/live",
    response_class=StreamingResponse,
    responses={200: {"content": {"text/event-stream": {}}}, 429: {"description": "too many listen"}},
)
def live(request: Request, person: Annotated[Person, Depends(Allow("read"))], after: str = "") -> StreamingResponse:
    """What happens in the plant, as server-sent events, on from a position."""
    desk = desk_of(request)
    looker_of(desk)
    listeners: _Listeners = desk.parts.setdefault("listeners", _Listeners())
    if listeners.full(person.login or person.name):
        raise HTTPException(429, "too many pages listen at once: close some")
    at = request.headers.get("last-event-id") or after
    return StreamingResponse(
        _stream(request, desk, person, at, listeners),
        media_type="text/event-stream",
        headers={"Cache-Control": "no-store", "X-Accel-Buffering": "no"},
    )


async def _stream(request: Request, desk: Desk, person: Person, at: str, listeners: _Listeners) -> AsyncIterator[str]:
    """The lines of one listener, until they go, may listen no longer, or the desk ends."""
    hub = hub_of(desk)
    listeners.come(person.login or person.name)
    try:
        yield f"retry: {_AGAIN_MS}\n\n"
        number = hub.number_of(at) if at else None
        if number is None:
            number, told = _fresh(hub, "reload" if at else "here")
            yield told
        checked = time.monotonic()
        while not hub.closed:
            more = hub.after(number)
            if time.monotonic() - checked >= (_HEARTBEAT_S if more == [] else _FRESH_S):
                checked = time.monotonic()
                if not await run_in_threadpool(_still_may, request, person):
                    yield "event: ended\ndata: {}\n\n"
                    return
            if more is None:
                number, told = _fresh(hub, "reload")
                yield told
            for one in more or ():
                yield _event(hub, one, person)
                number = one.number
            if not more and not await hub.more(number, _HEARTBEAT_S):
                yield ": nothing new\n\n"
    finally:
        listeners.go(person.login or person.name)


def _fresh(hub: Hub, kind: str) -> tuple[int, str]:
    """Where somebody stands who begins now."""
    position = hub.position
    return hub.number_of(position) or 0, f"id: {position}\nevent: {kind}\ndata: {{}}\n\n"


def _event(hub: Hub, told: Told, person: Person) -> str:
    kind, data = told.words(person)
    return f"id: {hub.position_of(told.number)}\nevent: {kind}\ndata: {data}\n\n"


def _still_may(request: Request, person: Person) -> bool:
    """Whether who listens is still logged in with the same roles, looked up anew."""
    scope = {name: value for name, value in request.scope.items() if not name.startswith(_LOOKED_UP)}
    return person_of(Request(scope)) == person
