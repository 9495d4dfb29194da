"""A small OpenID provider on this machine: discovery, authorization code with PKCE, RS256. It lets everybody in as
whoever it is told, and can be told to misbehave."""

from __future__ import annotations

import base64
import hashlib
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Thread
from typing import Any

from flask import Flask, Response, jsonify, redirect, request
from joserfc import jwt
from joserfc.jwk import OctKey, RSAKey
from werkzeug.serving import make_server

CLIENT, SECRET = "replacement-ballots", "a secret / of two programs"


@dataclass
class Provider:
    """`claims`: what it says of whoever signs in, over what is right; a claim of None is left out. `signed_by`: "own",
    "other" (a key that it does not publish), "shared" (HMAC with its public key), "nobody"."""

    issuer: str = ""
    claims: dict[str, Any] = field(default_factory=dict)
    signed_by: str = "own"
    named: str = ""  # the issuer that its metadata names, where it is to be another
    now: float = field(default_factory=time.time)
    codes: dict[str, dict[str, str]] = field(default_factory=dict)
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, parameters={"kid": "one"}))
    other: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, parameters={"kid": "one"}))

    def token(self, asked: dict[str, str]) -> str:
        right: dict[str, Any] = {
            "iss": self.issuer,
            "sub": "7f3a",
            "aud": CLIENT,
            "exp": int(self.now) + 300,
            "iat": int(self.now),
            "nonce": asked["nonce"],
        }
        claims = {name: value for name, value in {**right, **self.claims}.items() if value is not None}
        if self.signed_by == "shared":
            secret = OctKey.import_key(self.key.as_pem(private=False))
            return jwt.encode({"alg": "HS256", "kid": "one"}, claims, secret)
        if self.signed_by == "nobody":
            head, body, _ = jwt.encode({"alg": "RS256"}, claims, self.key).split(".")
            head = base64.urlsafe_b64encode(b'{"alg":"none"}').rstrip(b"=").decode()
            return f"{head}.{body}."
        return jwt.encode({"alg": "RS256", "kid": "one"}, claims, self.other if self.signed_by == "other" else self.key)


def _app(provider: Provider) -> Flask:
    app = Flask("provider")

    @app.get("/.well-known/openid-configuration")
    def metadata() -> Response:
        return jsonify(
            issuer=provider.named or provider.issuer,
            authorization_endpoint=f"{provider.issuer}/authorize",
            token_endpoint=f"{provider.issuer}/token",
            jwks_uri=f"{provider.issuer}/keys",
        )

    @app.get("/keys")
    def keys() -> Response:
        return jsonify(keys=[provider.key.as_dict(private=False)])

    @app.get("/authorize")
    def authorize() -> Any:
        asked = request.args
        assert (asked["response_type"], asked["client_id"], asked["scope"]) == ("code", CLIENT, "openid")
        assert asked["code_challenge_method"] == "S256"
        code = secrets.token_urlsafe(16)
        provider.codes[code] = dict(asked)
        return redirect(f"{asked['redirect_uri']}?code={code}&state={asked['state']}")

    @app.post("/token")
    def token() -> Any:
        asked = provider.codes.pop(request.form.get("code", ""), None)
        challenge = base64.urlsafe_b64encode(hashlib.sha256(request.form["code_verifier"].encode()).digest())
        login = request.authorization
        if (
            asked is None
            or asked["code_challenge"] != challenge.rstrip(b"=").decode()
            or asked["redirect_uri"] != request.form["redirect_uri"]
            or login is None
            or (login.username, login.password) != (CLIENT, "a%20secret%20%2F%20of%20two%20programs")  # RFC 6749, 2.3.1
        ):
            return {"error": "invalid_grant"}, 400
        return {"access_token": "unused", "token_type": "Bearer", "id_token": provider.token(asked)}

    return app


@contextmanager
def openid_provider() -> Iterator[Provider]:
    provider = Provider()
    server = make_server("127.0.0.1", 0, _app(provider), threaded=True)
    provider.issuer = f"http://127.0.0.1:{server.server_port}"
    thread = Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield provider
    finally:
        server.shutdown()
        thread.join(timeout=10)
