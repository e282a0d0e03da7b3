"""The page on which one signs in: plain HTML with one form, no script, its own route in front of the desks."""

from __future__ import annotations

import logging
import re
from html import escape
from urllib.parse import parse_qs, quote, urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from diagnose.store.users import LONGEST, SignInRefused, Users
from shared.errors import ChillerError
from ui.signin_serving import COOKIE, PAGE, Serving

MOST_BYTES = 4096
_PLACE = re.compile(r"/?(\?[A-Za-z0-9_=&.%-]{0,300})?")
_HEAD = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; "
    "frame-ancestors 'none'; base-uri 'none'",
}
_STYLE = """
body { margin: 0; font: 18px/1.45 "Source Sans 3", "Source Sans Pro", system-ui, sans-serif; color: #101418; background: #fff }
main { max-width: 26rem; margin: 0 auto; padding: 1.5rem 1rem }
h1 { font-size: 1.6rem; margin: 0 0 1rem }
label { display: block; margin: 1rem 0 .3rem; font-weight: 600 }
input { box-sizing: border-box; width: 100%; min-height: 3rem; padding: .5rem .75rem; font: inherit; border: 2px solid #4a5560;
  border-radius: .3rem }
button, .other { display: block; box-sizing: border-box; width: 100%; min-height: 4rem; margin: 1.5rem 0 0; padding: 1rem;
  font: inherit; font-weight: 600; text-align: center; border-radius: .3rem; border: 2px solid #0b4a43 }
button { color: #fff; background: #0b4a43 }
.other { color: #0b4a43; background: #fff; text-decoration: none }
:focus-visible { outline: 3px solid #0b4a43; outline-offset: 3px }
.problem { border-left: .4rem solid #8a1c1c; padding: .5rem .75rem; background: #fbeeee }
@media (prefers-color-scheme: dark) {
  body { color: #f2f4f3; background: #0d1113 } input { color: inherit; background: #172022; border-color: #9aa7ad }
  button { color: #0d1113; background: #8fd3c6; border-color: #8fd3c6 } .other { color: #8fd3c6; background: #0d1113;
  border-color: #8fd3c6 } .problem { background: #331414 } :focus-visible { outline-color: #8fd3c6 }
}
"""


def routes(users: Users, serving: Serving) -> list[Route]:
    """The route of the page."""

    async def page(request: Request) -> Response:
        if request.method == "POST":
            return await _take(request, users, serving)
        return draw(serving, back=place_in(request.query_params.get("to", "")))

    return [Route(PAGE, page, methods=["GET", "POST"])]


def draw(serving: Serving, *, problem: str = "", name: str = "", back: str = "/", status: int = 200) -> HTMLResponse:
    """The page. back: where to go afterwards; name: as it was typed."""
    told = f"<p class='problem' role='alert'>{escape(problem)}</p>" if problem else ""
    other = ""
    if serving.openid:
        other = f"<a class='other' href='{escape(openid_address())}'>Sign in with your organisation's account</a>"
    body = (
        "<!doctype html><html lang='en'><head><meta charset='utf-8'><title>Sign in: Chiller Diagnose</title>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<style>{_STYLE}</style></head><body><main><h1>Chiller Diagnose: sign in</h1>{told}"
        f"<form method='post' action='{PAGE}'><input type='hidden' name='to' value='{escape(back)}'>"
        "<label for='name'>Name</label><input id='name' name='name' autocomplete='username' autocapitalize='none' "
        f"spellcheck='false' required maxlength='100' value='{escape(name)}'>"
        "<label for='password'>Password</label><input id='password' name='password' type='password' "
        "autocomplete='current-password' required maxlength='200'>"
        f"<button type='submit'>Sign in</button></form>{other}"
        "<p>Forgotten? The keeper of the record sets a new one.</p></main></body></html>"
    )
    return HTMLResponse(body, status, _HEAD)


def place_in(text: str) -> str:
    """Where to go afterwards: a place in this app, never elsewhere.

    >>> place_in("/?call=abc"), place_in("//evil.example/"), place_in("https://evil.example/")
    ('/?call=abc', '/', '/')
    """
    return text if _PLACE.fullmatch(text) and text.startswith("/") else "/"


def asked_for(path: str, query: str) -> str:
    """Address of the page for somebody who asked for something else first."""
    back = place_in(f"/?{query}" if query else "/") if path == "/" else "/"
    return PAGE if back == "/" else f"{PAGE}?to={quote(back, safe='')}"


def openid_address() -> str:
    """Where Streamlit's own sign-in with the identity provider begins."""
    from streamlit.auth_util import encode_provider_token

    return f"/auth/login?provider={quote(encode_provider_token('default'), safe='')}"


def with_cookie(response: Response, token: str, serving: Serving) -> Response:
    """The answer with the sign-in on it."""
    response.set_cookie(
        COOKIE,
        token,
        max_age=int(LONGEST.total_seconds()),
        path="/",
        httponly=True,
        samesite="lax",
        secure=serving.secure,
    )
    return response


async def _take(request: Request, users: Users, serving: Serving) -> Response:
    # a form on a foreign page must not sign anybody in (as somebody else)
    origin = request.headers.get("origin", "")
    if urlsplit(origin).netloc != request.headers.get("host", "").strip() or not origin:
        return draw(serving, problem="This form came from another page. Sign in here.", status=403)
    content = b""
    async for piece in request.stream():
        content += piece
        if len(content) > MOST_BYTES:
            return draw(serving, problem="Name or password is too long.", status=413)
    try:
        fields = parse_qs(content.decode("ascii"), max_num_fields=5)
    except ValueError:
        return draw(serving, problem="This form cannot be read. Sign in here.", status=400)
    name, password, back = ((fields.get(key) or [""])[0] for key in ("name", "password", "to"))
    place = request.client.host if request.client else "unknown"
    try:
        token = await run_in_threadpool(users.sign_in, name, password, place)
    except SignInRefused as refused:
        answer = draw(
            serving, problem=_sentence(refused), name=name, back=place_in(back), status=429 if refused.wait else 401
        )
        if refused.wait:
            answer.headers["Retry-After"] = str(refused.wait)
        return answer
    except ChillerError:
        logging.getLogger(__name__).exception("a sign-in could not be looked at")
        return draw(serving, problem="The record does not answer. Try again in a minute.", name=name, status=503)
    return with_cookie(RedirectResponse(place_in(back), 303), token, serving)


def _sentence(refused: SignInRefused) -> str:
    return f"{refused.what[:1].upper()}{refused.what[1:]}. {refused.do[:1].upper()}{refused.do[1:]}."
