"""Who may ask the server: nobody but the page that it opened itself, from this machine.

Any page in the user's browser can send requests to a server on this machine, and a name that is made to lead here
("rebinding") makes them look like ours. So three things have to agree: the `Host` is this machine's own address, the
`Origin`, where there is one, is ours, and the path begins with a secret that only the opened page knows.
"""

from __future__ import annotations

from secrets import compare_digest

from starlette.datastructures import Headers, MutableHeaders
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOSTS = ("127.0.0.1", "localhost")
"""Names under which this machine may be asked."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)

_ALWAYS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}


class _Inner:
    """Checks of origin and secret; puts the headers on every answer."""

    def __init__(self, app: ASGIApp, secret: str, port: int) -> None:
        self.app = app
        self.secret = secret.encode()
        self.origins = {f"http://{host}:{port}" for host in HOSTS}
        self.hosts = {f"{host}:{port}" for host in HOSTS}

    def _refusal(self, scope: Scope) -> PlainTextResponse | None:
        headers = Headers(scope=scope)
        origin, site = headers.get("origin"), headers.get("sec-fetch-site", "none")
        if headers.get("host", "").lower() not in self.hosts:
            return PlainTextResponse("not this host", 400)
        first = scope["path"].lstrip("/").partition("/")[0]
        if not compare_digest(first.encode("utf-8", "replace"), self.secret):
            return PlainTextResponse("not found", 404)
        if scope["method"] == "POST" and origin is None:
            return PlainTextResponse("without an origin", 403)
        if (origin is not None and origin not in self.origins) or site not in ("none", "same-origin"):
            return PlainTextResponse("not this origin", 403)
        return None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _ALWAYS.items():
                    headers[name] = value
            await send(message)

        if scope["type"] == "http":
            await (self._refusal(scope) or self.app)(scope, receive, with_headers)


def guarded(app: ASGIApp, secret: str, port: int) -> ASGIApp:
    """An application that answers its own page alone.

    Parameters
    ----------
    app : ASGI application
        What answers below the secret.
    secret : str
        First part of every path.
    port : int
        Port at which the server listens.

    Returns
    -------
    ASGI application
        Refuses all else before a body is read.
    """
    return TrustedHostMiddleware(_Inner(app, secret, port), allowed_hosts=list(HOSTS), www_redirect=False)
