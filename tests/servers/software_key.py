"""A security key in software: what a browser and a key would answer together (WebAuthn level 2, 6.3 and 7)."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from fido2.cose import ES256
from fido2.utils import websafe_encode
from fido2.webauthn import AttestationObject, AttestedCredentialData, AuthenticatorData, CollectedClientData


@dataclass
class SoftwareKey:
    """One key with one credential. `origin` is what the browser says of the page, `domain` what the key signs for."""

    origin: str = "http://localhost"
    domain: str = "localhost"
    count: int = 0
    credential_id: bytes = field(default_factory=lambda: secrets.token_bytes(32))
    private: ec.EllipticCurvePrivateKey = field(default_factory=lambda: ec.generate_private_key(ec.SECP256R1()))

    def _client(self, kind: Any, challenge: str) -> CollectedClientData:
        return CollectedClientData.create(kind, challenge, self.origin)

    def _data(self, flags: Any, made: AttestedCredentialData | None = None) -> AuthenticatorData:
        digest = sha256(self.domain.encode()).digest()
        return AuthenticatorData.create(digest, flags, self.count, bytes(made) if made else b"")

    def made(self, public_key: dict[str, Any]) -> str:
        """The answer to the options of setting up, as JSON."""
        own = AttestedCredentialData.create(
            b"\0" * 16, self.credential_id, ES256.from_cryptography_key(self.private.public_key())
        )
        flags = AuthenticatorData.FLAG.UP | AuthenticatorData.FLAG.AT
        client = self._client(CollectedClientData.TYPE.CREATE, public_key["challenge"])
        attestation = AttestationObject.create("none", self._data(flags, own), {})
        return self._answer({"clientDataJSON": bytes(client), "attestationObject": bytes(attestation)})

    def signed(self, public_key: dict[str, Any], *, touched: bool = True) -> str:
        """The answer to the options of signing in, as JSON. The key counts on."""
        self.count += 1
        client = self._client(CollectedClientData.TYPE.GET, public_key["challenge"])
        data = self._data(AuthenticatorData.FLAG.UP if touched else AuthenticatorData.FLAG(0))
        signature = self.private.sign(bytes(data) + client.hash, ec.ECDSA(SHA256()))
        return self._answer({"clientDataJSON": bytes(client), "authenticatorData": bytes(data), "signature": signature})

    def _answer(self, response: dict[str, bytes]) -> str:
        name = websafe_encode(self.credential_id)
        encoded = {what: websafe_encode(value) for what, value in response.items()}
        return json.dumps(
            {"id": name, "rawId": name, "type": "public-key", "response": encoded, "clientExtensionResults": {}}
        )
