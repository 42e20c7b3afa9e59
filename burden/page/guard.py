"""Who may talk to the page: this machine's own browser, and a telephone that knows the code, nobody else.

Every request must name an address the page really has (so that no foreign name can point at it), everything that
changes something must come from the page itself, and no body may be longer than a case is. Every answer says that the
page may load nothing from anywhere but itself, and run no script but its own files.
"""

from __future__ import annotations

import hmac
import secrets
import threading
from collections.abc import Iterable
from ipaddress import ip_address
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["MAX_BODY", "PAGE_POLICY", "REPORT_POLICY", "Guard", "Shared"]

#: a form of five thousand slides and a hundred doses is smaller [bytes]
MAX_BODY = 2_000_000
PAGE_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
#: a report is one file with its own style and figures inside, and runs nothing
REPORT_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; sandbox; "
    "frame-ancestors 'none'"
)
_COOKIE = "burden_session"
#: of a code: no letter that is taken for a figure or another letter
_LETTERS = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
_CODE_LENGTH, _MOST_WRONG = 8, 10


class Shared:
    """The code that lets a telephone in once, and the sessions that came in by it."""

    def __init__(self) -> None:
        self.code: str | None = "".join(secrets.choice(_LETTERS) for _ in range(_CODE_LENGTH))
        self._sessions: set[str] = set()
        self._wrong = 0
        self._lock = threading.Lock()

    @property
    def closed(self) -> bool:
        """Whether too many wrong codes were tried."""
        return self._wrong >= _MOST_WRONG

    def enter(self, code: str) -> str | None:
        """Return a new session for the right code, which then is used up; None for any other."""
        said = "".join(code.split()).upper().replace("-", "")
        with self._lock:
            if self.closed or self.code is None or not hmac.compare_digest(said.encode(), self.code.encode()):
                self._wrong += 1
                return None
            self.code = None
            session = secrets.token_urlsafe(32)
            self._sessions.add(session)
            return session

    def knows(self, session: str | None) -> bool:
        """Whether somebody came in with the code before."""
        return session is not None and session in self._sessions

    @staticmethod
    def cookie(session: str) -> str:
        """Return the header that keeps a session in the telephone's browser."""
        return f"{_COOKIE}={session}; HttpOnly; SameSite=Strict; Path=/"


class Guard:
    """Checks every request before anything else sees it.

    Parameters
    ----------
    app : ASGI application
    hosts : iterable of str
        Host names with port under which the page may be asked for.
    shared : Shared, optional
        Where other machines may come in by a code; without it none may.
    """

    def __init__(self, app: ASGIApp, hosts: Iterable[str], shared: Shared | None = None) -> None:
        self.app, self.hosts, self.shared = app, frozenset(host.lower() for host in hosts), shared

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope, headers)
        if refusal is not None:
            await refusal(scope, receive, _with_policy(send))
            return
        await self.app(scope, _limited(receive), _with_policy(send))

    def _refusal(self, scope: Scope, headers: Headers) -> JSONResponse | RedirectResponse | None:
        host = headers.get("host", "").lower()
        if host not in self.hosts:
            return _refused(421, "host")
        if scope["method"] not in ("GET", "HEAD") and not _same_origin(headers, host):
            return _refused(403, "origin")
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > MAX_BODY:
            return _refused(413, "too long")
        if not _local(scope) and not self._admitted(scope, headers):
            open_path = scope["path"] == "/enter" or scope["path"] == "/static/page.css"
            return None if open_path and self.shared is not None else RedirectResponse("/enter", 303)
        return None

    def _admitted(self, scope: Scope, headers: Headers) -> bool:
        from http.cookies import CookieError, SimpleCookie

        try:
            found = SimpleCookie(headers.get("cookie", "")).get(_COOKIE)
        except CookieError:
            return False
        return self.shared is not None and self.shared.knows(found.value if found else None)


def _refused(status: int, why: str) -> JSONResponse:
    return JSONResponse({"refused": why}, status)


def _local(scope: Scope) -> bool:
    """Whether a request comes from this machine."""
    client = scope.get("client")
    try:
        return client is not None and ip_address(client[0]).is_loopback
    except ValueError:
        return False


def _same_origin(headers: Headers, host: str) -> bool:
    """Whether what changes something comes from the page itself: browsers say where from with every such request."""
    origin = headers.get("origin")
    return origin is not None and urlsplit(origin).scheme in ("http", "https") and urlsplit(origin).netloc == host


def _limited(receive: Receive) -> Receive:
    """Cut a body off that is longer than it said."""
    taken = 0

    async def limited() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        return {"type": "http.disconnect"} if taken > MAX_BODY else message

    return limited


def _with_policy(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            headers.setdefault("content-security-policy", PAGE_POLICY)
            headers["x-content-type-options"] = "nosniff"
            headers["referrer-policy"] = "no-referrer"
            headers["cross-origin-opener-policy"] = "same-origin"
            headers["cross-origin-resource-policy"] = "same-origin"
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return sent
