"""Coming in by a provider of names: OpenID Connect, code flow with PKCE, state and nonce, each good once."""

import secrets
import ssl
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, Final, cast

from wideroll.errors import InputError
from wideroll.people import Provider

if TYPE_CHECKING:
    import httpx

__all__ = ["Errand", "Errands", "Facts", "begin_errand", "finish_errand"]

_LASTS_S: Final = 600
_MOST: Final = 1000
_WAIT_S: Final = 10.0
_LEEWAY_S: Final = 60
_MOST_BYTES: Final = 1_000_000
_SIGNED_BY: Final = ("RS256", "PS256", "ES256", "ES384", "EdDSA", "Ed25519")


@dataclass(frozen=True, slots=True, kw_only=True)
class Errand:
    """A browser that was sent to the provider: what it must bring back, and where it wants to go after."""

    nonce: str
    verifier: str
    back: str
    after: str
    made_s: float


@dataclass(slots=True, kw_only=True)
class Errands:
    """Those under way, by state; each is good once and for ten minutes."""

    _open: OrderedDict[str, Errand] = field(default_factory=OrderedDict)
    _lock: Lock = field(default_factory=Lock)

    def add(self, state: str, errand: Errand) -> None:
        """Remember one; the oldest goes when there are too many."""
        with self._lock:
            self._open[state] = errand
            while len(self._open) > _MOST:
                self._open.popitem(last=False)

    def take(self, state: str, now_s: float) -> Errand | None:
        """The one of a state, which from then on is no longer good."""
        with self._lock:
            errand = self._open.pop(state, None)
        return errand if errand is not None and now_s - errand.made_s <= _LASTS_S else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What the provider proved: its subject, and the claims about them."""

    subject: str
    claims: Mapping[str, Any]


def begin_errand(provider: Provider, errands: Errands, *, back: str, after: str, now_s: float) -> tuple[str, str]:
    """Where to send a browser, and the state that it must bring back.

    Args:
        provider: of names.
        errands: under way.
        back: address of the desk that the provider sends it back to.
        after: address of the desk that it wants to go to.
        now_s: now.

    Raises:
        InputError: when the provider can't be asked, or doesn't do what is needed.
    """
    from authlib.oauth2.client import OAuth2Client  # noqa: PLC0415

    about = _about(provider)
    state, nonce, verifier = secrets.token_urlsafe(32), secrets.token_urlsafe(32), secrets.token_urlsafe(48)
    scope = " ".join(dict.fromkeys(("openid", *provider.scopes)))
    client = OAuth2Client(
        None, client_id=provider.client_id, redirect_uri=back, scope=scope, code_challenge_method="S256"
    )
    address, _ = client.create_authorization_url(
        _endpoint(about, "authorization_endpoint", provider), state=state, code_verifier=verifier, nonce=nonce
    )
    errands.add(state, Errand(nonce=nonce, verifier=verifier, back=back, after=after, made_s=now_s))
    return str(address), state


def finish_errand(provider: Provider, root: Path, errand: Errand, code: str, *, now_s: float) -> Facts:
    """What the provider proves for the code that a browser brought back.

    Raises:
        InputError: when the provider can't be asked, refuses the code, or what it says isn't for this desk, this errand
            and now, signed by its key.
    """
    from authlib.common.errors import AuthlibBaseError  # noqa: PLC0415
    from authlib.oauth2.client import OAuth2Client  # noqa: PLC0415

    about = _about(provider)
    with _http() as http:
        client = OAuth2Client(http, client_id=provider.client_id, redirect_uri=errand.back)
        secret = _secret(provider, root)
        sent = _asked(
            provider,
            lambda: client.fetch_token(
                _endpoint(about, "token_endpoint", provider),
                code=code,
                code_verifier=errand.verifier,
                grant_type="authorization_code",
                auth=(provider.client_id, secret),
            ),
            expected=AuthlibBaseError,
        )
    keys = _fetched(provider, _endpoint(about, "jwks_uri", provider))
    return _proved(provider, errand, sent, keys, now_s)


def _proved(
    provider: Provider, errand: Errand, sent: Mapping[str, Any], keys: Mapping[str, Any], now_s: float
) -> Facts:
    from authlib.oidc.core import CodeIDToken  # noqa: PLC0415
    from joserfc import jwt  # noqa: PLC0415
    from joserfc.errors import JoseError  # noqa: PLC0415
    from joserfc.jwk import KeySet  # noqa: PLC0415

    options = {
        "iss": {"essential": True, "value": provider.issuer},
        "aud": {"essential": True, "value": provider.client_id},
        "nonce": {"essential": True, "value": errand.nonce},
        "exp": {"essential": True},
        "iat": {"essential": True},
        "sub": {"essential": True},
    }
    params = {"nonce": errand.nonce, "client_id": provider.client_id, "access_token": sent.get("access_token")}
    try:
        token = jwt.decode(str(sent.get("id_token", "")), KeySet.import_key_set(cast("Any", keys)), list(_SIGNED_BY))
        claims = CodeIDToken(token.claims, token.header, options, params)
        claims.validate(now=int(now_s), leeway=_LEEWAY_S)
    except (JoseError, ValueError, TypeError, KeyError) as error:
        raise _unproved(provider, f"{type(error).__name__}: {error}") from error
    subject = claims["sub"]
    if not isinstance(subject, str) or not subject:
        raise _unproved(provider, "no subject")
    return Facts(subject=f"{provider.issuer} {subject}", claims=dict(claims))


def _about(provider: Provider) -> Mapping[str, Any]:
    from authlib.oidc.discovery import get_well_known_url  # noqa: PLC0415

    about = _fetched(provider, get_well_known_url(provider.issuer, external=True))
    if about.get("issuer") != provider.issuer:
        raise _unproved(provider, "it calls itself otherwise")
    return about


def _endpoint(about: Mapping[str, Any], name: str, provider: Provider) -> str:
    address = about.get(name)
    scheme = provider.issuer.partition("://")[0]
    if not isinstance(address, str) or not address.startswith((f"{scheme}://", "https://")):
        raise _unproved(provider, f"it has no {name}")
    return address


def _fetched(provider: Provider, address: str) -> Mapping[str, Any]:
    def fetch() -> Any:
        with _http() as http, http.stream("GET", address) as answer:
            answer.raise_for_status()
            data = b""
            for piece in answer.iter_bytes():
                data += piece
                if len(data) > _MOST_BYTES:
                    raise ValueError("it says too much")  # noqa: TRY003
        import json  # noqa: PLC0415

        return json.loads(data)

    found = _asked(provider, fetch)
    if not isinstance(found, dict):
        raise _unproved(provider, "what it says can't be read")
    return found


def _asked(provider: Provider, ask: Callable[[], Any], *, expected: type[Exception] = ValueError) -> Any:
    import httpx  # noqa: PLC0415

    try:
        return ask()
    except (httpx.HTTPError, httpx.InvalidURL, ValueError, expected) as error:
        raise _unproved(provider, f"{type(error).__name__}: {error}") from error


def _http() -> "httpx.Client":
    import httpx  # noqa: PLC0415

    return httpx.Client(timeout=_WAIT_S, follow_redirects=False, verify=_trust())


@cache
def _trust() -> ssl.SSLContext:
    """The authorities that the machine trusts; reading them takes longer than asking."""
    return ssl.create_default_context()


def _secret(provider: Provider, root: Path) -> str:
    path = root / provider.secret_file
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            where=f"desk.toml: oidc.secret_file: {path}",
            rule="the file with the secret must be readable",
            mend="Put it in place; it should be readable by the account that runs the desk, and by no other.",
        ) from error
    if not lines or not lines[0].strip():
        raise InputError(
            where=f"desk.toml: oidc.secret_file: {path}",
            rule="the first line must hold the secret",
            mend="Write it there, and nothing else.",
        )
    return lines[0].strip()


def _unproved(provider: Provider, why: str) -> InputError:
    return InputError(
        where=provider.label,
        rule="the provider must prove who it is",
        value=why,
        mend="Try again; if it goes on, tell an administrator of the desk.",
    )
