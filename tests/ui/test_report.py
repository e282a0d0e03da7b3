"""The report: complete, escaped, asks nothing of any network."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest

from diagnose.advice import Advice, Derived, Reason, Stop, Suspect, Verdict
from diagnose.bench import CASE
from diagnose.case import Case
from diagnose.pictures import pictures_of
from diagnose.report import html_report
from knowledge.load import load_knowledge

EVIL = "<script>alert(1)</script>\"'><img src=http://example.org/x onerror=alert(2)>"
MACHINE = {"name": EVIL, "serial": EVIL, "refrigerant": "R-410A", "circuits": {"A": {"compressors": [EVIL[:50]]}},
           "card": {"pump_suction": EVIL}}  # fmt: skip


class Reader(HTMLParser):
    """Checks that tags close in order and collects tags, attributes and text."""

    def __init__(self) -> None:
        super().__init__()
        self.stack: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag not in ("meta", "br"):
            self.stack.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.stack.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.stack and self.stack[-1] != "style":
            self.words.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    assert not reader.stack
    return reader


def advice(**more: object) -> Advice:
    reason = Reason(finding="strainer-drop", place="unit", text=EVIL, weight=1)
    given: dict[str, object] = {
        "knowledge": EVIL, "complaint": "no-flow", "state": "cooling", "steadiness": "steady",
        "stop": Stop(reason=EVIL, make_safe=EVIL, hand_over_to="electrician", protects="people", ends=False, rule="r"),
        "verdict": Verdict(kind="one-cause", causes=("strainer-clogged",), places=("unit",), title=EVIL, remedy=EVIL,
                           remedy_id="clean-strainer", proof=EVIL, who=EVIL, minutes=25, cautions=(EVIL,), parts=(EVIL,)),
        "suspects": (Suspect(cause="c", place="circuit:B", title=EVIL, kind="fault", probability=0.617,
                             **{"for": (reason,)}, against=(reason,), not_checked=(EVIL,)),),
        "derived": (Derived(quantity="superheat", place="circuit:A", value=21.4449, unit="delta_degF", uncertainty=1.234,
                            text="", word=EVIL),),
        "contradictions": (EVIL,), "doubts": (EVIL,),
    }  # fmt: skip
    return Advice(**{**given, **more})  # type: ignore[arg-type]


def case(**more: object) -> Case:
    entries = [
        {"note": EVIL, "by": EVIL, "at": "2026-05-04T09:02:00+00:00"},
        {
            "quantity": "line_voltage",
            "value": ["461 V", "459,5 V", "460 V"],
            "at": EVIL[:100],
            "condition": EVIL,
        },
        {"check": EVIL[:100], "answer": EVIL[:100], "sure": "guess", "who": "customer-says"},
        {"action": "clean-strainer", "outcome": "not-cured"},
    ]
    return Case.model_validate({"complaint": "no-flow", "words": EVIL, "machine": MACHINE, "entries": entries, **more})


def test_everything_is_in_it_and_nothing_executes() -> None:
    page = html_report(case(), advice(), load_knowledge(), outcome="handed over", outcome_note=EVIL, invented=True,
                       made_at="2026-05-04T10:00:00+00:00")  # fmt: skip
    reader = read(page)
    text = " ".join(reader.words)
    assert set(reader.tags) <= {"html", "head", "meta", "title", "style", "body", "main", "section", "h1", "h2", "p", "b",
                                "ul", "ol", "li", "table", "thead", "tbody", "tr", "th", "td", "span", "br"}  # fmt: skip
    names = {name for name, _ in reader.attributes}
    assert names <= {"lang", "charset", "name", "content", "http-equiv", "class", "scope"}, names
    assert text.count("<script>alert(1)</script>") > 15, "every field shows what it holds, as text"
    for part in ("Invented for demonstration", "Stop", "Outcome", "Verdict", "Suspects", "likely, about 6 in 10", "Machine",
                 "461 V / 459.5 V / 460 V", "a guess", "said by the customer", "not cured", "21.4 ± 1.2 °F",
                 "Contradictions", "Doubts", "Cautions shown", "Proof that it is cured", "Parts"):  # fmt: skip
        assert part in text, part


def test_it_may_load_nothing() -> None:
    page = html_report(case(), advice(), load_knowledge())
    assert "default-src 'none'" in page
    reader = read(page)
    assert not {"src", "href", "action", "data", "srcset", "style"} & {name for name, _ in reader.attributes}
    assert "url(" not in page and "@import" not in page


def test_with_the_advice_after_each_entry_it_shows_the_course() -> None:
    steps = [advice(suspects=(Suspect(cause="c", place="unit", title=f"Suspect {n}", kind="fault", probability=n / 10),))
             for n in range(1, 5)]  # fmt: skip
    text = " ".join(read(html_report(case(), steps, load_knowledge())).words)
    assert "Leading afterwards" in text and all(f"Suspect {n} (" in text for n in range(1, 5))


def test_an_empty_call_has_a_report() -> None:
    bare = Advice(knowledge="k", complaint="x", state="unknown", steadiness="unknown")
    text = " ".join(read(html_report(Case(complaint="x"), bare, load_knowledge())).words)
    assert "None yet." in text and "No nameplate data given." in text


def test_times_are_those_of_the_zone_asked_for() -> None:
    from datetime import timedelta, timezone

    page = html_report(case(), advice(), load_knowledge(), zone=timezone(timedelta(hours=2)))
    assert "2026-05-04 11:02" in page


def test_no_advice_is_a_mistake_of_the_caller() -> None:
    with pytest.raises(ValueError, match="at least one"):
        html_report(case(), [], load_knowledge())


def test_pictures_of_the_readings_stand_in_it_with_their_words() -> None:
    given = Case.model_validate(CASE)
    page = html_report(given, advice(), load_knowledge())
    found = read(page)
    assert found.tags.count("svg") == len(pictures_of(given, load_knowledge())) > 2
    assert any("evaporating at" in word for word in found.words)
    assert not [value for name, value in found.attributes if name in ("href", "src")]
