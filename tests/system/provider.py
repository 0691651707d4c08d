"""A small OpenID Connect provider for tests: one client, codes that hold once, ID tokens signed with RS256 (RFC 7519).

It speaks what OpenID Connect Core 1.0 and Discovery 1.0 ask of a provider in the authorization code flow.  Who comes is
signed in at once as whoever the test says.
"""

from __future__ import annotations

import base64
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

import uvicorn
from joserfc import jwt
from joserfc.jwk import RSAKey
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from tests.system.parts import free_port, listens, wait_for

CLIENT, SECRET = "rooms", "a secret between two machines"


@dataclass
class Provider:
    """The provider; ``person`` are the claims of whoever signs in next, ``asked`` what its doors were asked."""

    port: int
    person: dict[str, Any] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)
    _codes: dict[str, dict[str, Any]] = field(default_factory=dict)
    _key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "one", "use": "sig"}))

    @property
    def issuer(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def app(self) -> Starlette:
        return Starlette(routes=[
            Route("/.well-known/openid-configuration", self._about),
            Route("/authorize", self._authorize),
            Route("/token", self._token, methods=["POST"]),
            Route("/keys", self._keys),
        ])  # fmt: skip

    async def _about(self, request: Request) -> Response:
        return JSONResponse({
            "issuer": self.issuer, "authorization_endpoint": f"{self.issuer}/authorize", "token_endpoint": f"{self.issuer}/token",
            "jwks_uri": f"{self.issuer}/keys", "response_types_supported": ["code"], "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"], "scopes_supported": ["openid", "profile", "email"],
            "token_endpoint_auth_methods_supported": ["client_secret_basic", "client_secret_post"],
        })  # fmt: skip

    async def _authorize(self, request: Request) -> Response:
        said = dict(request.query_params)
        self.asked.append("authorize")
        if (
            said.get("client_id") != CLIENT
            or said.get("response_type") != "code"
            or "openid" not in said.get("scope", "")
        ):
            return Response("no such client", status_code=400)
        code = secrets.token_urlsafe(16)
        self._codes[code] = {"redirect_uri": said["redirect_uri"], "nonce": said.get("nonce")}
        back = urlencode({"code": code, "state": said.get("state", "")})
        return RedirectResponse(f"{said['redirect_uri']}?{back}", status_code=302)

    async def _token(self, request: Request) -> Response:
        form = await request.form()
        self.asked.append("token")
        known = self._codes.pop(str(form.get("code")), None)
        if (
            known is None
            or known["redirect_uri"] != form.get("redirect_uri")
            or not _is_client(request, form)
        ):
            return JSONResponse({"error": "invalid_grant"}, status_code=400)
        now = int(time.time())
        claims = {
            "iss": self.issuer, "aud": CLIENT, "sub": "1", "iat": now, "exp": now + 600, "nonce": known["nonce"], **self.person,
        }  # fmt: skip
        signed = jwt.encode({"alg": "RS256", "kid": "one"}, claims, self._key)
        return JSONResponse({"access_token": secrets.token_urlsafe(16), "token_type": "Bearer", "expires_in": 600, "id_token": signed})  # fmt: skip

    async def _keys(self, request: Request) -> Response:
        return JSONResponse({"keys": [self._key.as_dict(private=False)]})


def _is_client(request: Request, form: Any) -> bool:
    basic = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
    posted = (form.get("client_id"), form.get("client_secret")) == (CLIENT, SECRET)
    quoted = base64.b64encode(f"{CLIENT}:{SECRET.replace(' ', '+')}".encode()).decode()
    return posted or request.headers.get("authorization") in (f"Basic {basic}", f"Basic {quoted}")


@contextmanager
def running_provider() -> Iterator[Provider]:
    """A provider that answers at a free port of this machine."""
    provider = Provider(free_port())
    server = uvicorn.Server(uvicorn.Config(provider.app(), port=provider.port, log_level="error"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        wait_for(lambda: listens(provider.port), 20, "the provider")
        yield provider
    finally:
        server.should_exit = True
        thread.join(10)
