"""The headers of answers, so that a browser runs and fetches nothing that isn't the desk's."""

from typing import Final

__all__ = ["HEADERS", "PAGE_POLICY", "PICTURE_POLICY", "SHEET_POLICY"]

_SHUT: Final = "base-uri 'none'; frame-ancestors 'none'"
PAGE_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    f"form-action 'self'; {_SHUT}"
)
SHEET_POLICY: Final = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'; {_SHUT}"
"""A sheet is one file with its style and pictures in it, and its figures carry style attributes; no script can run."""
PICTURE_POLICY: Final = f"default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; {_SHUT}"
HEADERS: Final = {
    "X-Content-Type-Options": "nosniff",
    # To other sites no address is told; of "no-referrer" browsers would also hide from us where a form comes from.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Cache-Control": "no-store",
}
