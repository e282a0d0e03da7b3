"""The blank worksheet: first looks first, nothing the person may not do, all of it markup that runs nothing."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from diagnose.__main__ import main
from diagnose.case import Machine
from diagnose.plan import may_do
from diagnose.worksheet import checks_for, worksheet
from knowledge.load import Knowledge, load_knowledge
from shared.errors import ChillerError


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


class Tags(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.append(tag)


@pytest.mark.parametrize("role", ["customer", "technician"])
@pytest.mark.parametrize("qualified", [(), ("electrical", "refrigerant", "height")])
def test_only_what_this_person_may_do_and_first_looks_first(
    base: Knowledge, role: str, qualified: tuple[str, ...]
) -> None:
    for complaint, card in base.complaints.items():
        checks = checks_for(base, complaint, role, qualified)
        assert all(may_do(c.who, c.needs_qualified, role, qualified) for c in checks)
        own = [c for c in card.first if may_do(base.checks[c].who, base.checks[c].needs_qualified, role, qualified)]
        assert [c.id for c in checks[: len(own)]] == own
        position = {c.id: n for n, c in enumerate(checks)}
        for check in checks:
            if check.id not in own:
                assert all(position[n] < position[check.id] for n in check.needs if n in position)


def test_every_answer_has_a_box_and_stops_come_before_checks(base: Knowledge) -> None:
    page = worksheet(base, "no-flow", qualified=("electrical",))
    assert page.index("Stop and hand over when") < page.index("Checks, in this order")
    for check in checks_for(base, "no-flow", "technician", ("electrical",)):
        assert check.id in page
        if check.answers:
            block = page[page.index(f"{check.id}</span>") :]
            assert block[: block.index("</li>")].count("class='tick'") == len(check.answers) + 1


def test_a_customer_sees_no_readings_table_and_the_words_to_read_out(base: Knowledge) -> None:
    page = worksheet(base, "no-flow", role="customer")
    assert "liquid line temperature" not in page and "<table" not in page
    first = checks_for(base, "no-flow", "customer", ())[0]
    assert first.telephone and first.telephone[:30] in page.replace("&#x27;", "'")


def test_names_are_text(base: Knowledge) -> None:
    page = worksheet(base, "no-flow", machine=Machine(name="<script>alert(1)</script>"))
    assert "script" not in Tags(page).tags
    assert not re.search(r"(href|src)=", page)


@pytest.mark.parametrize(("complaint", "circuits"), [("nope", 2), ("no-flow", 7)])
def test_what_is_wrong_is_said_in_one_line(base: Knowledge, complaint: str, circuits: int) -> None:
    with pytest.raises(ChillerError, match="allowed"):
        worksheet(base, complaint, circuits=circuits)


def test_the_command_writes_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "sheet.html"
    assert main(["worksheet", "high-head", "-o", str(out)]) == 0
    assert "<title>Worksheet:" in out.read_text(encoding="utf-8")
    assert main(["worksheet", "high-head", "-o", str(tmp_path / "none" / "x.html")]) == 2
    assert "cannot be written" in capsys.readouterr().err
