"""That a form was sent from a page of this desk, and by whom it was shown to."""

from markupsafe import Markup
from starlette.requests import Request

__all__ = ["csrf_field", "token_of"]


def token_of(request: Request) -> str:
    """What every form of the one who asks must carry."""
    return str(request.app.state.csrf)


def csrf_field(request: Request) -> Markup:
    """The hidden field of a form."""
    return Markup('<input type="hidden" name="csrf" value="{}">').format(token_of(request))
