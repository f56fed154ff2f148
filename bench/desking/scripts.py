"""How much JavaScript a page loads, as it is sent."""

import asyncio
import re

import httpx
from fastapi import FastAPI

__all__ = ["script_bytes"]

_SCRIPT = re.compile(r'<script[^>]* src="([^"]+)"')
_IMPORT = re.compile(r"""(?:\bfrom|\bimport)\s*\(?\s*["'](\.{0,2}/[^"']+)["']""")


def script_bytes(app: FastAPI, path: str) -> int:
    """Bytes on the wire of all scripts of a page, with what they import."""
    return asyncio.run(_bytes(app, path))


async def _bytes(app: FastAPI, path: str) -> int:
    transport = httpx.ASGITransport(app=app)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
        page = await client.get(path)
        page.raise_for_status()
        due, seen, sent = [httpx.URL(path).join(one) for one in _SCRIPT.findall(page.text)], set(), 0
        while due:
            address = due.pop()
            if address.path in seen:
                continue
            seen.add(address.path)
            answer = (await client.get(str(address), headers={"Accept-Encoding": "gzip"})).raise_for_status()
            sent += int(answer.headers["content-length"])
            due += [address.join(one) for one in _IMPORT.findall(answer.text)]
    return sent
