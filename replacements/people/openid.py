"""Signing in by the office's own sign-in service: OpenID Connect Core 1.0, authorization code with PKCE (RFC 7636).

It says who somebody is; no account is made by it. What it answers is taken only where this browser asked for it (state,
nonce and PKCE, each new every time: OWASP ASVS 5.0, 10.1.2, 10.2.1, 10.5.1), where its metadata and its token name
the very issuer that is set (10.5.3), and where the token is for this client (10.5.4) and signed with one of its public
keys: no algorithm without a key pair is taken. The account is told by a claim of the token. Leave it at `sub` unless
the service has a claim that is never given to somebody else later (10.5.2).

A second factor counts as given where the token's `amr` says `mfa` (RFC 8176, 2); else ours is asked for. A sign-in here
ends as every other does, whatever becomes of the one at the service (7.1.3): who signs out here is still signed in
there.

Needs the extra `sign-in` (authlib, joserfc).
"""

from __future__ import annotations

import base64
import json
import secrets
import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from importlib.util import find_spec
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.parse import quote, urlencode, urlsplit
from urllib.request import HTTPRedirectHandler, HTTPSHandler, Request, build_opener

SCOPE = "openid"
ASKED_FOR = timedelta(minutes=10)  # then one begins anew
_SIGNED = ("RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "Ed25519")
_CLOCKS = 60  # seconds that the two clocks may differ
_PATIENCE = 10  # seconds
_LONGEST = 1_000_000  # bytes of an answer


class ProviderTrouble(Exception):
    """Signing in by the service did not work; the text says why, in plain words."""


@dataclass(frozen=True, slots=True)
class Provider:
    """The office's sign-in service, and what we are to it. `claim` names the account; `ca_file`: see the settings."""

    issuer: str
    client_id: str
    secret: str
    claim: str = "sub"
    ca_file: str = ""


@dataclass(frozen=True, slots=True)
class Told:
    """Whom the service names, and whether it asked for more than one factor."""

    name: str
    multi_factor: bool


def is_safe(address: str) -> bool:
    """Whether an address goes by https; on this very machine http will do."""
    parts = urlsplit(address)
    return (parts.scheme == "https" and bool(parts.hostname)) or (
        parts.scheme == "http" and parts.hostname in ("127.0.0.1", "localhost", "::1")
    )


def is_installed() -> bool:
    return find_spec("authlib") is not None and find_spec("joserfc") is not None


class _NoDetours(HTTPRedirectHandler):
    def redirect_request(self, *_args: Any, **_names: Any) -> None:
        return None


def _fetch(provider: Provider, address: str, form: Mapping[str, str] | None = None, login: str = "") -> dict[str, Any]:
    """A JSON object from the service. Raises ProviderTrouble."""
    if not is_safe(address):
        raise ProviderTrouble("The sign-in service names an address without https.")
    headers = {"Accept": "application/json", **({"Authorization": f"Basic {login}"} if login else {})}
    body = urlencode(form).encode() if form is not None else None
    opener = build_opener(
        HTTPSHandler(context=ssl.create_default_context(cafile=provider.ca_file or None)), _NoDetours()
    )
    try:
        with opener.open(Request(address, body, headers), timeout=_PATIENCE) as answer:  # noqa: S310
            found = json.loads(answer.read(_LONGEST))
    except HTTPError as error:
        raise ProviderTrouble(f"The sign-in service answered {error.code}.") from error
    except (URLError, OSError) as error:
        raise ProviderTrouble("The sign-in service cannot be reached.") from error
    except ValueError as error:
        raise ProviderTrouble("The sign-in service answered what cannot be read.") from error
    if not isinstance(found, dict):
        raise ProviderTrouble("The sign-in service answered what cannot be read.")
    return found


def _metadata(provider: Provider) -> dict[str, Any]:
    """OpenID Connect Discovery 1.0, 4."""
    found = _fetch(provider, f"{provider.issuer.rstrip('/')}/.well-known/openid-configuration")
    if found.get("issuer") != provider.issuer:
        raise ProviderTrouble("What answers is not the sign-in service that is set: it names another issuer.")
    needed = ("authorization_endpoint", "token_endpoint", "jwks_uri")
    if not all(isinstance(found.get(name), str) and is_safe(found[name]) for name in needed):
        raise ProviderTrouble("The sign-in service does not say where to sign in.")
    return found


def ask(provider: Provider, *, redirect_uri: str) -> tuple[str, dict[str, str]]:
    """The address to send the browser to, and what to keep for this browser until it comes back."""
    from authlib.oauth2.rfc6749.parameters import prepare_grant_uri
    from authlib.oauth2.rfc7636 import create_s256_code_challenge

    kept = {name: secrets.token_urlsafe(32) for name in ("state", "nonce", "verifier")}
    address = prepare_grant_uri(
        _metadata(provider)["authorization_endpoint"],
        provider.client_id,
        "code",
        redirect_uri=redirect_uri,
        scope=SCOPE,
        state=kept["state"],
        nonce=kept["nonce"],
        code_challenge=create_s256_code_challenge(kept["verifier"]),
        code_challenge_method="S256",
    )
    return str(address), kept


def answered(
    provider: Provider, kept: Mapping[str, str], answer: Mapping[str, str], *, redirect_uri: str, at: datetime
) -> Told:
    """Whom the service names. `kept` is what `ask` gave, `answer` what the browser brings back.
    Raises ProviderTrouble where anything does not fit."""
    if not kept.get("state") or not secrets.compare_digest(answer.get("state", "").encode(), kept["state"].encode()):
        raise ProviderTrouble("That answer belongs to no sign-in that was begun in this browser.")
    metadata = _metadata(provider)
    if answer.get("iss", provider.issuer) != provider.issuer or (
        metadata.get("authorization_response_iss_parameter_supported") and "iss" not in answer
    ):  # RFC 9207
        raise ProviderTrouble("The answer comes from another sign-in service.")
    if "error" in answer or not answer.get("code"):
        raise ProviderTrouble("The sign-in service did not let you in.")
    token = _token(provider, metadata, answer["code"], kept["verifier"], redirect_uri)
    claims = _claims(provider, metadata, token, kept["nonce"], at)
    name = claims.get(provider.claim)
    if not isinstance(name, str) or not name:
        raise ProviderTrouble(f"The sign-in service does not say {provider.claim} of you.")
    amr = claims.get("amr") or []
    return Told(name, "mfa" in amr)


def _token(
    provider: Provider, metadata: Mapping[str, Any], code: str, verifier: str, redirect_uri: str
) -> dict[str, Any]:
    """The code for a token (RFC 6749, 4.1.3), our secret in the header (2.3.1) unless it wants it in the form."""
    form = {
        "grant_type": "authorization_code",
        "code": code,
        "redirect_uri": redirect_uri,
        "code_verifier": verifier,
        "client_id": provider.client_id,
    }
    login, ways = "", metadata.get("token_endpoint_auth_methods_supported") or ["client_secret_basic"]
    if provider.secret and "client_secret_basic" in ways:
        login = base64.b64encode(
            f"{quote(provider.client_id, safe='')}:{quote(provider.secret, safe='')}".encode()
        ).decode()
    elif provider.secret:
        form["client_secret"] = provider.secret
    return _fetch(provider, metadata["token_endpoint"], form, login)


def _claims(
    provider: Provider, metadata: Mapping[str, Any], token: Mapping[str, Any], nonce: str, at: datetime
) -> dict[str, Any]:
    """The claims of an ID token that holds (OpenID Connect Core 1.0, 3.1.3.7)."""
    from authlib.oidc.core import CodeIDToken
    from joserfc import jwt
    from joserfc.errors import JoseError
    from joserfc.jwk import KeySet

    try:
        keys = KeySet.import_key_set(_fetch(provider, metadata["jwks_uri"]))  # type: ignore[arg-type]
        read = jwt.decode(str(token.get("id_token", "")), keys, algorithms=list(_SIGNED))
        claims = CodeIDToken(
            read.claims,
            read.header,
            options={
                "iss": {"essential": True, "value": provider.issuer},
                "aud": {"essential": True, "value": provider.client_id},
                "nonce": {"essential": True, "value": nonce},
            },
            params={"nonce": nonce, "client_id": provider.client_id, "access_token": token.get("access_token")},
        )
        claims.validate(now=int(at.timestamp()), leeway=_CLOCKS)
    except (JoseError, ValueError, TypeError, KeyError) as error:
        raise ProviderTrouble("The sign-in service's token does not hold.") from error
    return dict(read.claims)
