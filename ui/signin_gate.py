"""The gate in front of everything the app answers, pages, sockets, uploads and downloads alike.

For this machine only: a request must be addressed to this machine by name (so that a web page elsewhere cannot reach it by
a name of its own) and must not have been passed on by another program. For others: everything but the sign-in page, the
page's own scripts and the sign of life needs a sign-in.
"""

from __future__ import annotations

import json
import logging
import time
from http.cookies import CookieError, SimpleCookie

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from diagnose.store.users import SignInRefused, Users
from shared.errors import ChillerError
from ui.signin_page import asked_for, draw, with_cookie
from ui.signin_serving import COOKIE, PAGE, PASSED_ON, Serving, is_loopback

OPEN = (PAGE, "/_stcore/health", "/favicon.png", "/auth/login", "/oauth2callback")
OPEN_BELOW = ("/static/",)  # the page's own scripts, fonts and styles: the same for everybody, nothing of ours
SHUT = ("/_stcore/metrics", "/_stcore/agent")  # of no use to anybody at a desk
KNOWN_FOR_S = 2.0  # a page is seventy files; the store is not asked for each
MOST_KNOWN = 2000
VOUCHED = "_streamlit_user"  # the cookie in which Streamlit puts what the identity provider said, signed
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",  # the address of a page names a call
    "X-Frame-Options": "SAMEORIGIN",
}


class Gate:
    """Passes on what may come in."""

    def __init__(self, app: ASGIApp, users: Users, serving: Serving) -> None:
        self._app, self._users, self._serving = app, users, serving
        self._known: dict[str, float] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request or socket."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        answer = await self._refusal(scope)
        if answer is None:
            await self._app(scope, receive, _with_headers(send))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 4401, "reason": "sign in"})
        else:
            await answer(scope, receive, _with_headers(send))

    async def _refusal(self, scope: Scope) -> Response | None:
        """What is answered instead of the app, None when the request may pass."""
        headers, path = Headers(scope=scope), str(scope["path"])
        if path.startswith(SHUT):
            return PlainTextResponse("not here", 404)
        if not self._serving.to_others:
            return _only_here(headers)
        if path in OPEN or path.startswith(OPEN_BELOW):
            return None
        cookies = _cookies(headers)
        if await self._signed_in(cookies.get(COOKIE, "")):
            return None
        if scope["type"] == "websocket" or scope["method"] != "GET" or "text/html" not in headers.get("accept", ""):
            return PlainTextResponse("sign in first", 401)
        if self._serving.openid and VOUCHED in cookies:
            return await self._vouched(cookies)
        return RedirectResponse(asked_for(path, scope["query_string"].decode("latin-1")), 303)

    async def _signed_in(self, token: str) -> bool:
        now = time.monotonic()
        if self._known.get(token, 0.0) > now:
            return True
        try:
            found = await run_in_threadpool(self._users.person_of, token)
        except ChillerError:
            logging.getLogger(__name__).exception("the record does not answer")
            return False
        if found is None:
            return False
        if len(self._known) >= MOST_KNOWN:
            self._known.clear()
        self._known[token] = now + KNOWN_FOR_S
        return True

    async def _vouched(self, cookies: dict[str, str]) -> Response:
        """Back from the identity provider: its word is taken once and becomes a sign-in like any other."""
        try:
            mail = vouched_mail(cookies)
            token = await run_in_threadpool(self._users.sign_in_vouched, mail)
            answer = with_cookie(RedirectResponse("/", 303), token, self._serving)
        except SignInRefused as refused:
            answer = draw(self._serving, problem=f"Not signed in: {refused.line()}.", status=403)
        for name in cookies:
            if name.startswith(VOUCHED):
                answer.delete_cookie(name, path="/")
        return answer


def vouched_mail(cookies: dict[str, str]) -> str:
    """The mail address the identity provider has verified. Raises SignInRefused."""
    from streamlit.auth_util import get_cookie_with_chunks
    from streamlit.web.server.server_util import get_cookie_secret
    from streamlit.web.server.starlette.starlette_app_utils import decode_signed_value

    def one(name: str) -> bytes | None:
        value = cookies.get(name)
        return None if value is None else decode_signed_value(get_cookie_secret(), name, value.encode("latin-1"))

    signed = get_cookie_with_chunks(one, VOUCHED)
    try:
        said = json.loads(signed) if signed else None
    except ValueError:
        said = None
    if not isinstance(said, dict) or not said.get("is_logged_in"):
        raise SignInRefused("the identity provider's answer cannot be read", do="sign in again")
    if said.get("email_verified") is not True or not isinstance(said.get("email"), str):
        raise SignInRefused("the identity provider has not verified a mail address", do="ask whoever keeps it")
    return str(said["email"])


def _only_here(headers: Headers) -> Response | None:
    host = headers.get("host", "")
    name = host.rpartition(":")[0] if host.rpartition(":")[2].isdigit() else host
    if not is_loopback(name):
        return PlainTextResponse("This app was started for its own machine only; see python -m ui --help", 421)
    if any(passed in headers for passed in PASSED_ON):
        return PlainTextResponse(
            "This app was started for its own machine only, not to be passed on; see python -m ui --help", 421
        )
    return None


def _cookies(headers: Headers) -> dict[str, str]:
    read: SimpleCookie = SimpleCookie()
    try:
        read.load(headers.get("cookie", ""))
    except CookieError:
        return {}
    return {name: morsel.value for name, morsel in read.items()}


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sending
