"""Who may speak to the desk: those who have its secret, under its own address, from its own pages."""

from __future__ import annotations

import ipaddress
import secrets
from collections.abc import Iterable
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; "
    "frame-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
}
_NO_KEY = (
    "This desk opens with its own address only, which castingvote desk printed in its terminal. "
    "Copy the whole of it, with the part behind key=.\n"
)
_ELSEWHERE = "This desk answers under its own address only, and to its own pages.\n"


@dataclass(frozen=True)
class Secret:
    """What opens the desk: ``key`` stands in the address once, then in a cookie of this port; ``bytes_`` is its length.

    ``hosts`` are the names under which it answers, with the port; with ``any_address`` every IP address will do, since
    a name that was bent to this machine (DNS rebinding) is none.
    """

    port: int
    hosts: frozenset[str]
    any_address: bool = False
    key: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    _once: set[str] = field(default_factory=set)

    def ticket(self) -> str:
        """Return a key that opens the desk once.

        The address that a browser is started with stands in the list of processes, which every user of the machine
        can read; when the browser has used it, it opens nothing any more.
        """
        self._once.add(ticket := secrets.token_urlsafe(32))
        return ticket

    @property
    def cookie(self) -> str:
        """Its cookie; browsers do not tell ports apart, so that the name does."""
        return f"castingvote-desk-{self.port}"

    def knows(self, host: str) -> bool:
        """Say whether a request that names ``host`` means this desk."""
        if host in self.hosts:
            return True
        name, _, port = host.rpartition(":")
        return self.any_address and port == str(self.port) and _is_address(name.strip("[]"))

    def opens(self, key: str) -> bool:
        """Say whether ``key`` is the right one, in the same time for every wrong one."""
        return secrets.compare_digest(key.encode(), self.key.encode())

    def admits(self, key: str) -> bool:
        """Say whether ``key`` opens the entrance: the right one, or a ticket, which is used up by that."""
        if key in self._once:
            self._once.remove(key)
            return True
        return self.opens(key)


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


class Guard:
    """Lets nothing pass without the secret, the right Host and, for what changes anything, the right Origin."""

    def __init__(self, app: ASGIApp, secret: Secret) -> None:
        self._app, self._secret = app, secret

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or pass on one request."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return
        refusal = self._refusal(scope)
        app: ASGIApp = refusal if refusal is not None else self._app
        await app(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> Response | None:
        """Return the answer to a request that may not pass; None for one that may."""
        headers, secret = Headers(scope=scope), self._secret
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not secret.knows(hosts[0].lower()):
            return PlainTextResponse(_ELSEWHERE, 421)
        own, origins = f"http://{hosts[0].lower()}", headers.getlist("origin")
        silent = not origins and scope["method"] not in ("GET", "HEAD")  # browsers state it wherever something changes
        if silent or any(origin.lower() != own for origin in origins):
            return PlainTextResponse(_ELSEWHERE, 403)
        if scope["path"] == "/enter" and scope["method"] == "GET":  # a link in a message may lead here, with the key
            return self._entrance(Request(scope))
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            return PlainTextResponse(_ELSEWHERE, 403)
        if not any(secret.opens(key) for key in _cookies(headers.getlist("cookie"), secret.cookie)):
            return PlainTextResponse(_NO_KEY, 403)
        return None

    def _entrance(self, request: Request) -> Response:
        if not self._secret.admits(request.query_params.get("key", "")):
            return PlainTextResponse(_NO_KEY, 403)
        to = request.query_params.get("to", "")
        path = f"/w/{to}" if to.isalnum() and to.isascii() else "/"
        answer: Response = RedirectResponse(path, 303)
        if request.headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            # Followed from another page, a redirection would come without the strict cookie; a page of our own has it.
            answer = HTMLResponse(f'<!DOCTYPE html><meta http-equiv="refresh" content="0;url={path}">')
        answer.set_cookie(self._secret.cookie, self._secret.key, httponly=True, samesite="strict", path="/")
        return answer


def _cookies(headers: Iterable[str], name: str) -> list[str]:
    found = []
    for header in headers:
        try:
            cookie = SimpleCookie(header)
        except CookieError:
            continue
        found += [cookie[name].value] if name in cookie else []
    return found


def _with_headers(send: Send) -> Send:
    """Return ``send`` that adds the headers of every answer; one that has a policy of its own keeps it."""

    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return guarded
