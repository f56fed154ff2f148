"""Cards posted to an address, signed if a key is given."""

import hmac
import ssl
from dataclasses import dataclass, field
from typing import Final

import httpx

from wideroll import __version__
from wideroll.notices.delivery import PAUSES_S, RefusedError, UnreachedError, deliver
from wideroll.workflow.action_card import ActionCard
from wideroll.workflow.card_json import card_bytes, card_id

__all__ = ["WebhookSink", "signature"]

_LATER: Final = {408, 425, 429}
"""Refusals that mean: not now."""


def signature(body: bytes, secret: bytes) -> str:
    r"""The value of the header Wideroll-Signature: HMAC with SHA-256 (RFC 2104, FIPS 198-1) of the body.

    Args:
        body: as posted.
        secret: the key.

    Example:
        >>> signature(b"Hi There", b"\x0b" * 20)[:23]
        'sha256=b0344c61d8db3853'
    """
    return f"sha256={hmac.digest(secret, body, 'sha256').hex()}"


@dataclass(frozen=True, slots=True, kw_only=True)
class WebhookSink:
    """Posts each card as JSON. Redirects aren't followed, and no proxy or password is taken from the surroundings."""

    where: str
    url: str
    secret: bytes | None = field(default=None, repr=False)
    tls: ssl.SSLContext
    timeout_s: float
    pauses_s: tuple[float, ...] = PAUSES_S

    def send(self, card: ActionCard) -> None:
        """Post the card until it is answered with 200 to 299.

        Raises:
            InputError: when it is refused, redirected or, after three tries, not answered.
        """
        body = card_bytes(card)
        headers = {
            "Content-Type": "application/json",
            "Idempotency-Key": card_id(card),
            "User-Agent": f"wideroll/{__version__}",
        }
        if self.secret is not None:
            headers["Wideroll-Signature"] = signature(body, self.secret)
        deliver(lambda: self._post(body, headers), where=self.where, timeout_s=self.timeout_s, pauses_s=self.pauses_s)

    def _post(self, body: bytes, headers: dict[str, str]) -> None:
        try:
            with (
                httpx.Client(trust_env=False, verify=self.tls, timeout=self.timeout_s) as client,
                client.stream("POST", self.url, content=body, headers=headers) as answer,
            ):
                status, why = answer.status_code, f"answer {answer.status_code} {answer.reason_phrase}".strip()
        except httpx.TimeoutException as error:
            raise UnreachedError.silent(self.timeout_s) from error
        except (httpx.HTTPError, httpx.InvalidURL) as error:
            raise UnreachedError(str(error) or type(error).__name__) from error
        if httpx.codes.is_success(status):
            return
        if httpx.codes.is_server_error(status) or status in _LATER:
            raise UnreachedError(why)
        if httpx.codes.is_redirect(status):
            why += ": redirects aren't followed"
        raise RefusedError(why)
