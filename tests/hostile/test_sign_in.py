"""The app served to others: nobody in without a sign-in, nobody at a desk or call that is not theirs, guessing slowed."""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import time
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from websockets.exceptions import InvalidStatus

from diagnose.store.users import FREE_TRIES
from ui.signin_gate import KNOWN_FOR_S
from ui.signin_serving import COOKIE, PAGE, Serving
from ui.visitor import Visitor

GOOD = "four walls and a roof"
Reply = tuple[int, dict[str, str], str]


class _Stay(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_: Any, **__: Any) -> None:
        return None


_opener = urllib.request.build_opener(_Stay)


def ask(url: str, data: dict[str, str] | bytes | None = None, **headers: str) -> Reply:
    """(status, headers, text) of one request; redirections are not followed."""
    body = urllib.parse.urlencode(data).encode() if isinstance(data, dict) else data
    request = urllib.request.Request(url, data=body, headers={k.replace("_", "-"): v for k, v in headers.items()})
    try:
        with _opener.open(request, timeout=30) as reply:
            return reply.status, dict(reply.headers), reply.read(200_000).decode("utf-8", "replace")
    except urllib.error.HTTPError as error:
        with error:
            return error.code, dict(error.headers), error.read(200_000).decode("utf-8", "replace")


def sign_in(served: Any, name: str, password: str = GOOD, to: str = "/", **headers: str) -> Reply:
    headers = {"Origin": served.url, **headers}
    return ask(served.url + PAGE, {"name": name, "password": password, "to": to}, **headers)


def token(served: Any, name: str) -> str:
    status, headers, _ = sign_in(served, name)
    assert status == 303
    return headers["set-cookie"].partition(";")[0]


def visit(served: Any, cookie: str, query: str = "", keys: tuple[str, ...] = ()) -> str:
    """What somebody sees at an address, after tapping rows."""

    async def work() -> str:
        page = await Visitor.at(served.url, query, {"Cookie": cookie, "Origin": served.url} if cookie else None)
        for key in keys:
            await page.tap(key)
        await page.leave()
        return page.text

    return asyncio.run(work())


# --- nobody in without a sign-in


@pytest.mark.parametrize("path", ["/", "/?call=demo-weak-flow", "/?desk=telephone", "/anything", "/?new=1"])
def test_a_page_leads_to_the_sign_in(served: Any, path: str) -> None:
    status, headers, text = ask(served.url + path, Accept="text/html")
    assert status == 303 and headers["location"].startswith(PAGE) and text == ""


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/_stcore/host-config", 401),
        ("/_stcore/metrics", 404),
        ("/_stcore/agent/openapi.json", 404),
        ("/_stcore/upload_file/x/y", 401),
        ("/media/0123456789abcdef.html", 401),
        ("/component/x/index.html", 401),
        ("/_stcore/bidi-components/x/y.js", 401),
        ("/static/../_stcore/host-config", 401),
        ("/static/%2e%2e/_stcore/host-config", 401),
        ("//_stcore/host-config", 401),
        ("/_stcore/health", 200),
    ],
)
def test_what_is_not_a_page_is_refused(served: Any, path: str, status: int) -> None:
    got, _, text = ask(served.url + path)
    # a path that walks upwards is stopped by one of the two doors
    assert got == status or ("static" in path and got in (400, 404) and "allowedOrigins" not in text)


@pytest.mark.parametrize("cookie", ["", f"{COOKIE}=", f"{COOKIE}=guess", f"{COOKIE}={'x' * 5000}", "_streamlit_user=x",
                                    f'{COOKIE}="; DROP TABLE users'])  # fmt: skip
def test_the_socket_is_shut(served: Any, cookie: str) -> None:
    with pytest.raises(InvalidStatus) as caught:
        visit(served, cookie)
    assert caught.value.response.status_code == 403


def test_signing_in_leads_to_where_one_wanted_to_go(served: Any) -> None:
    _, headers, _ = ask(f"{served.url}/?call=demo-weak-flow", Accept="text/html")
    _, _, page = ask(served.url + headers["location"])
    assert "value='/?call=demo-weak-flow'" in page
    status, headers, _ = sign_in(served, "kit", to="/?call=demo-weak-flow")
    assert (status, headers["location"]) == (303, "/?call=demo-weak-flow")
    cookie = headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=lax" in cookie and GOOD not in str(headers)
    assert "demo-weak-flow" not in cookie
    shown = visit(served, cookie.partition(";")[0], f"call={served.calls['-technician']}")
    assert "data-screen" in shown and "No such call" not in shown and "Signed in as Kit Example" in shown


@pytest.mark.parametrize("to", ["//evil.example/", "https://evil.example", "/\\evil.example", "/?x=%0d%0aSet-Cookie:a=b",
                                "/?call=<script>", "javascript:alert(1)"])  # fmt: skip
def test_it_never_leads_elsewhere(served: Any, to: str) -> None:
    _, headers, _ = sign_in(served, "kit", to=to)
    assert headers["location"] in ("/", "/?x=%0d%0aSet-Cookie") or "evil" not in headers["location"]
    assert (
        "\n" not in headers["location"]
        and headers["location"].startswith("/")
        and headers["location"][1:2] in ("", "?")
    )


@pytest.mark.parametrize("origin", ["", "http://evil.example", "null", "http://127.0.0.1:1"])
def test_a_form_of_a_foreign_page_is_refused(served: Any, origin: str) -> None:
    status, headers, _ = sign_in(served, "kit", Origin=origin)
    assert status == 403 and "set-cookie" not in headers


def test_what_is_typed_comes_back_as_text(served: Any) -> None:
    status, headers, page = sign_in(served, "<script>alert(1)</script>'\"")
    assert status == 401 and "<script>" not in page and "&lt;script&gt;" in page
    assert "script-src" not in headers["content-security-policy"]
    assert "default-src 'none'" in headers["content-security-policy"]


@pytest.mark.parametrize(
    "data", [b"name=" + b"x" * 10_000, b"\xff\xfe", b"&" * 2000, b"", b"name=kit", b"name=kit&name=ann&password=a&to=b"]
)
def test_a_form_that_is_none(served: Any, data: bytes) -> None:
    status, headers, page = ask(served.url + PAGE, data, Origin=served.url)
    assert status in (400, 401, 413, 429) and "set-cookie" not in headers and "role='alert'" in page


# --- desks and calls

SEES = {
    "kit": {"-technician", "-customer", "north-technician", "north-customer", "south-technician", "south-customer"},
    "ann": {"-technician", "-customer", "north-technician", "north-customer"},
    "sam": {"-technician", "-customer", "south-technician", "south-customer"},
    "tea": {"-technician", "-customer", "north-technician", "north-customer"},
}


@pytest.mark.parametrize("name", SEES)
def test_another_teams_call_by_its_address_is_as_if_it_were_not_there(served: Any, name: str) -> None:
    cookie = token(served, name)
    for what, call in served.calls.items():
        shown = visit(served, cookie, f"call={call}")
        assert ("No such call" not in shown) == (what in SEES[name]), what
    absent = visit(served, cookie, "call=" + "x" * 22)
    assert "No such call" in absent


def test_the_telephone_opens_no_other_desk(served: Any) -> None:
    """By no address: not the field desk, not a new call there; and of calls only those of the telephone and its team."""
    cookie = token(served, "tel")
    for what, call in served.calls.items():
        assert "Not your desk" in visit(served, cookie, f"call={call}"), what
        assert "Not your desk" in visit(served, cookie, f"desk=made-up&call={call}"), what
    for query in ("new=1", "desk=training", "desk=machines", "desk=rulebook", "desk=field&new=1"):
        assert "Not your desk" in visit(served, cookie, query), query
    home = visit(served, cookie)
    assert "Not your desk" not in home and "Calls" in home


def test_the_record_bears_the_name_of_the_sign_in(served: Any) -> None:
    cookie, call = token(served, "ann"), served.calls["north-technician"]

    async def work() -> None:
        page = await Visitor.at(served.url, f"call={call}", {"Cookie": cookie})
        await page.tap((page.keys("-ans-") or page.keys("cannot"))[0])
        assert "Answer 1 saved" in page.text
        await page.leave()

    asyncio.run(work())
    assert served.store.call(call).events[0].by == "Ann Example"


def test_signing_out_and_a_change_by_the_keeper_hold_for_a_page_that_is_open(served: Any) -> None:
    ann = token(served, "ann")
    assert "Sign in" in visit(served, ann, "", ("sign-out",))
    with pytest.raises(InvalidStatus):
        for _ in range(2):
            visit(served, ann)
            time.sleep(KNOWN_FOR_S + 0.1)  # what the gate knows may be that old

    async def work() -> str:
        page = await Visitor.at(served.url, "", {"Cookie": token(served, "sam")})
        assert "Calls" in page.text
        served.store.users.change("sam", team="south", by="kit")
        await page.tap("new-call")
        await page.leave()
        return page.text

    assert "not signed in" in asyncio.run(work())


# --- guessing


def test_guessing_is_slowed_and_a_restart_forgets_nothing(served: Any) -> None:
    codes = [sign_in(served, "tea", f"wrong guess {n}")[0] for n in range(FREE_TRIES["pair"] + 3)]
    assert codes.count(401) == FREE_TRIES["pair"] and set(codes[FREE_TRIES["pair"] :]) == {429}
    status, headers, page = sign_in(served, "tea")
    assert status == 429 and int(headers["retry-after"]) >= 1 and "Too many wrong passwords" in page
    assert "set-cookie" not in headers
    served.stop()
    served.start()
    status, headers, _ = sign_in(served, "tea", "wrong guess")
    assert status in (401, 429)
    assert any(sign_in(served, "tea", "wrong guess")[0] == 429 for _ in range(2))


# --- how it may be started


def started(tmp_path: Path, *arguments: str, prepare: Callable[[Path], object] = lambda path: None) -> tuple[int, str]:
    store = tmp_path / "s.sqlite"
    prepare(store)
    done = subprocess.run([sys.executable, "-m", "ui", "--headless", "--store", str(store), *arguments],
                          capture_output=True, text=True, timeout=60, cwd=tmp_path, check=False,
                          env={**os.environ, "CHILLER_STORE": str(store)})  # fmt: skip
    assert "Traceback" not in done.stderr
    return done.returncode, done.stderr


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--address", "0.0.0.0"], "passwords would cross the network in the clear"),
        (["--address", "0.0.0.0", "--unencrypted"], "nobody could sign in"),
        (["--proxy"], "nobody could sign in"),
        (["--address", "0.0.0.0", "--certificate", "x.pem"], "go together"),
        (["--address", "0.0.0.0", "--certificate", "x.pem", "--key", "y.pem"], "no such file"),
        (["--address", "203.0.113.7", "--unencrypted"], "no address of this machine"),
        (["--openid", "x.toml"], "cannot be read"),
    ],
)
def test_it_does_not_start_in_an_unsafe_way(tmp_path: Path, arguments: list[str], told: str) -> None:
    code, errors = started(tmp_path, *arguments)
    assert code == 2 and told in errors and len(errors.splitlines()) == 1


@pytest.mark.parametrize(
    ("serving", "others"),
    [
        (Serving(), False),
        (Serving("localhost"), False),
        (Serving("::1"), False),
        (Serving("127.0.0.1", proxy=True), True),
        (Serving("0.0.0.0"), True),
        (Serving("::"), True),
        (Serving("10.0.0.5"), True),
        (Serving("chiller.example"), True),
    ],
)
def test_whom_it_is_for(serving: Serving, others: bool) -> None:
    assert serving.to_others is others


# --- for this machine only


def test_at_home_nobody_signs_in(home: Any) -> None:
    assert ask(home.url + "/", Accept="text/html")[0] == 200
    shown = visit(home, "", "call=demo-weak-flow")
    assert "Strainer" in shown and "Sign out" not in shown


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example"},
        {"Host": "evil.example:8620"},
        {"Host": "127.0.0.1.evil.example"},
        {"X_Forwarded_For": "10.0.0.7"},
        {"Forwarded": "for=10.0.0.7"},
    ],
)
def test_at_home_only_this_machine_is_served(home: Any, headers: dict[str, str]) -> None:
    """Neither under a name that a web page made up for this address, nor passed on by a program in front."""
    status, _, text = ask(home.url + "/", Accept="text/html", **headers)
    assert status == 421 and "own machine only" in text
