"""That a form was sent from a page of this desk, and by whom it was shown to."""

import hashlib
import hmac
import secrets
from typing import Any, Final

from jinja2 import pass_context
from jinja2.runtime import Context
from markupsafe import Markup
from starlette.requests import HTTPConnection

from wideroll.server.cookies import read_cookie
from wideroll.server.identity import who_asks

__all__ = ["CSRF_FIELD", "CSRF_HEADER", "csrf_field", "is_right_token", "new_visitor", "token_of"]

CSRF_FIELD: Final = "csrf"
CSRF_HEADER: Final = "x-csrf"
_KEPT: Final = "wideroll.visitor"
_LEAST_SECRET: Final = 32


def token_of(request: HTTPConnection) -> str:
    """What every form of the one who asks must carry: made from the cookie's secret, which no other site knows.

    Whoever isn't logged in gets a cookie for it with the same answer.
    """
    secret = _secret(request)
    if not secret:
        secret = request.scope.setdefault(_KEPT, secrets.token_urlsafe(32))
    return _token(secret)


def new_visitor(request: HTTPConnection) -> str:
    """The secret that the answer must give as a cookie; empty where none was made."""
    return str(request.scope.get(_KEPT, ""))


def is_right_token(request: HTTPConnection, sent: str) -> bool:
    """Whether a form carries what it must."""
    secret = _secret(request)
    return bool(secret) and hmac.compare_digest(_token(secret).encode(), sent.encode("utf-8", "replace"))


@pass_context
def csrf_field(context: Context, request: Any = None) -> Markup:
    """The hidden field of a form, which must stand first in it."""
    token = token_of(request or context["request"])
    return Markup('<input type="hidden" name="{}" value="{}">').format(CSRF_FIELD, token)


def _secret(request: HTTPConnection) -> str:
    asking = who_asks(request)
    visitor = read_cookie(request, "visitor")
    return asking.secret or (visitor if len(visitor) >= _LEAST_SECRET else "")


def _token(secret: str) -> str:
    return hmac.new(secret.encode(), b"form of the desk", hashlib.sha256).hexdigest()
