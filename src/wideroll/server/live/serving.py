"""A server that lets go of pages that listen when it ends."""

import socket

import uvicorn

from wideroll.server.live.hub import Hub

__all__ = ["desk_server"]


class _DeskServer(uvicorn.Server):
    """Tells listeners that the desk ends before it waits for what is still under way: they would listen for ever."""

    def __init__(self, config: uvicorn.Config, hub: Hub) -> None:
        super().__init__(config)
        self._hub = hub

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End."""
        self._hub.close()
        await super().shutdown(sockets)


def desk_server(config: uvicorn.Config, hub: Hub) -> uvicorn.Server:
    """The server of a desk.

    Args:
        config: of the server.
        hub: of the desk.
    """
    return _DeskServer(config, hub)
