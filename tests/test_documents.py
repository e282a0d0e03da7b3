"""The documents say what is so: commands, files, links, tables and examples are compared with the code and the cards."""

from __future__ import annotations

import importlib
import importlib.util
import re
import shlex
import sys
from pathlib import Path
from typing import Any

import pytest
from pydantic import BaseModel

import diagnose.advice as advice
import diagnose.why as why
from diagnose.__main__ import _parser
from diagnose.bounds import BOUNDS
from diagnose.case import Case, Entry, Machine
from diagnose.case_check import checked, read_case_text
from diagnose.wording import LIKELIHOOD, STRENGTH, likelihood_word, tenths
from knowledge.__main__ import main as knowledge_main
from knowledge.facts import STRATA
from knowledge.load import Knowledge, load_knowledge
from knowledge.models import Words
from shared.quantities import QUANTITIES
from ui.__main__ import parser as ui_parser
from ui.signin_users import parser as users_parser

ROOT = Path(__file__).parents[1]
_spec = importlib.util.spec_from_file_location("refresh_documents", ROOT / "tests" / "refresh_documents.py")
assert _spec and _spec.loader
refresh = importlib.util.module_from_spec(_spec)
sys.modules["refresh_documents"] = refresh
_spec.loader.exec_module(refresh)

TEXT = {name: (ROOT / name).read_text(encoding="utf-8") for name in refresh.DOCUMENTS}
EXAMPLES = [(name, example) for name, text in TEXT.items() for example in refresh.examples(text)]


@pytest.fixture(scope="module")
def base() -> Knowledge:
    """The shipped cards."""
    return load_knowledge()


# the job and the commands ---------------------------------------------------------------------------------------------


def test_the_job_is_one_paragraph_at_the_very_top() -> None:
    head, job, after, *_ = TEXT["README.md"].split("\n\n")
    assert head == "# Chiller Diagnose"
    assert not job.startswith(("#", "-", "|")) and "chiller" in job
    assert after.startswith("## Two commands")


def test_the_two_commands_are_those_of_the_start_file() -> None:
    spec = importlib.util.spec_from_file_location("go_for_documents", ROOT / ".ci" / "go.py")
    assert spec and spec.loader
    go = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(go)
    for command in go.EXTRAS:
        assert f"`python3 .ci/go.py {command}`" in TEXT["README.md"]
        assert f"`py .ci\\go.py {command}`" in TEXT["README.md"]
    named = {m for text in TEXT.values() for m in re.findall(r"\.ci[/\\]go\.py (\w+)", text)}
    assert named == set(go.EXTRAS)
    for version in (go.OLDEST, go.NEWEST):
        assert f"{version[0]}.{version[1]}" in TEXT["README.md"]


def commands(text: str) -> set[str]:
    """Every `python -m ...` written as code: in a span, or on a line of its own in a block."""
    spans = re.findall(r"`(python -m [^`]+)`", text)
    lines = re.findall(r"^(?:\$|   )? *(python -m [^\n]+)$", text, re.M)
    return {re.split(r"\s{2,}|#", one.strip())[0].strip() for one in [*spans, *lines]}


WRITTEN = sorted({(name, one) for name, text in TEXT.items() for one in commands(text)})


@pytest.mark.parametrize(("name", "command"), WRITTEN)
def test_every_command_exists(name: str, command: str) -> None:
    """The parsers take them as they are written, options and all."""
    words = shlex.split(command.replace("FOLDER", "folder"))
    if words[2] == "diagnose":
        assert hasattr(_parser().parse_args(words[3:]), "command")
    elif words[2] == "knowledge":
        with pytest.raises(SystemExit) as ended:
            knowledge_main([*words[3:], "--help"])
        assert ended.value.code == 0
    elif words[3:4] == ["user"]:
        wanted = words[4:] if len(words) > 5 or words[4:] == ["list"] else [*words[4:], "--help"]
        if "--help" in wanted:
            with pytest.raises(SystemExit) as ended:
                users_parser().parse_args(wanted)
            assert ended.value.code == 0
        else:
            users_parser().parse_args(wanted)
    else:
        assert words[2] == "ui" and ui_parser().parse_args(words[3:])


def test_the_commands_of_the_contract_are_written_down() -> None:
    parser: Any = next(a for a in _parser()._actions if a.dest == "command")
    text = "\n".join(TEXT.values())
    missing = {one for one in parser.choices if not re.search(rf"python -m diagnose {one}\b|`{one}`|`{one} ", text)}
    assert missing == set()


# examples -------------------------------------------------------------------------------------------------------------

_LONGEST_FIRST = "|".join(sorted((w for _, w in LIKELIHOOD), key=len, reverse=True))
_SAID = re.compile(rf"({_LONGEST_FIRST}), (about \d in 10|less than 1 in 10|more than 9 in 10)")
_SHARE = re.compile(r"\d+\.\d/10")


def key_lines(output: str) -> list[str]:
    """Lines that say what comes out: not the indented explanations, and without likelihoods, which move with any card."""
    out = []
    for line in output.splitlines():
        if line == refresh.CUT or not line.strip() or line.startswith("  "):
            continue
        out.append(_SHARE.sub("~", _SAID.sub("~", line)).strip())
    return out


@pytest.mark.parametrize(("name", "example"), EXAMPLES, ids=lambda v: getattr(v, "command", v))
def test_an_example_prints_what_is_shown(name: str, example: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    shown = example.output
    real = key_lines(refresh.chosen(refresh.printed(example), example.pieces))
    assert key_lines(shown) == real, f"{name} shows something else; see tests/refresh_documents.py"
    assert real, "nothing was compared"
    if "calc" in example.command or "bad_cases" in example.command:
        assert shown == refresh.chosen(refresh.printed(example), example.pieces)


def test_the_readme_shows_a_call_a_stop_and_each_command_of_the_tour() -> None:
    shown = " ".join(example.command for name, example in EXAMPLES if name == "README.md")
    for command in ("run", "ask", "calc", "match", "report"):
        assert f"diagnose {command} " in shown
    outputs = "\n".join(example.output for name, example in EXAMPLES if name == "README.md")
    assert "VERDICT (one-cause)" in outputs and "\nSTOP\n" in f"\n{outputs}"


@pytest.mark.parametrize("path", sorted((ROOT / "tests" / "examples").glob("*.yaml")), ids=lambda p: p.stem)
def test_an_example_case_is_invented_and_holds_together(path: Path, base: Knowledge) -> None:
    text = path.read_text(encoding="utf-8")
    assert "invented" in text.splitlines()[0]
    checked(read_case_text(text), base)


def test_the_case_shown_in_the_format_holds_together(base: Knowledge) -> None:
    (shown,) = re.findall(r"```yaml\n(.*?)```", TEXT["diagnose/CASE_FORMAT.md"], re.S)
    case = checked(read_case_text(shown), base)
    used = {
        key for e in case.entries for key in Entry.model_fields if getattr(e, key) != Entry.model_fields[key].default
    }
    assert {"check", "quantity", "action", "finding", "note"} <= used


# files and links ------------------------------------------------------------------------------------------------------

_FILE = re.compile(r"[\w./*-]+\.(?:py|yaml|yml|md|json|txt|toml|css)")
_FOLDERS = ("shared", "knowledge", "diagnose", "ui", "tests", ".ci")
MADE_BY_THE_READER = {"report.html", "CASE.yaml", "call.json", "openid.toml", "stay.json"}


def files_named(text: str) -> set[str]:
    """File names in code spans and indented blocks; a star or a placeholder is no name."""
    spans = [*re.findall(r"`([^`\n]+)`", text), *re.findall(r"^    [^\n]+$", text, re.M)]
    found = {name for span in spans for name in _FILE.findall(re.sub(r"<[^>]*>\S*", "", span))}
    return {n for n in found if "*" not in n and n not in MADE_BY_THE_READER}


def there(name: str, document: str) -> bool:
    """A path from the root or from the document; a bare name anywhere below our folders."""
    if (ROOT / name).exists() or (ROOT / document).parent.joinpath(name).exists():
        return True
    return "/" not in name and any(True for f in _FOLDERS for _ in (ROOT / f).rglob(name))


@pytest.mark.parametrize("document", TEXT)
def test_every_file_named_exists(document: str) -> None:
    named = files_named(TEXT[document])
    assert [n for n in sorted(named) if not there(n, document)] == []


def test_the_tour_names_the_files_of_the_way_through_advise() -> None:
    way = ("work", "looks", "plan", "belief", "network", "grade", "derive", "rules", "rules_engine", "verdict", "draw",
           "advise")  # fmt: skip
    named = files_named(TEXT["DEVELOPERS.md"])
    assert {f"diagnose/{one}.py" for one in way} <= named


@pytest.mark.parametrize("document", [*TEXT, "knowledge/README.md", "tests/calls/README.md"])
def test_links_inside_the_project_resolve(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        assert "://" not in target, f"{document} points outside the project: {target}"
        path, _, heading = target.partition("#")
        file = (ROOT / document).parent / path if path else ROOT / document
        assert file.exists(), f"{document}: {target}"
        if heading:
            titles = re.findall(r"^#+ (.+)$", file.read_text(encoding="utf-8"), re.M)
            assert heading in {re.sub(r"[^\w -]", "", t.lower()).replace(" ", "-") for t in titles}


# tables ---------------------------------------------------------------------------------------------------------------


def table(document: str, mark: str) -> list[list[str]]:
    """Rows of the table below a mark, without its head."""
    match = re.search(rf"<!-- {re.escape(mark)} -->\n((?:\|[^\n]*\n)+)", TEXT[document])
    assert match, f"{document} has no table {mark}"
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in match[1].strip().splitlines()]
    return rows[2:]


METHOD, FORMAT = "diagnose/METHOD.md", "diagnose/CASE_FORMAT.md"
PLAIN_TABLES = ("strength", "prior", "cures", "graded_right", "both_directions", "hazard_minutes", "access_minutes",
                "hand_over_minutes", "verdict")  # fmt: skip


@pytest.mark.parametrize("name", PLAIN_TABLES)
def test_a_word_table_equals_the_cards(name: str, base: Knowledge) -> None:
    shown = {row[0]: float(row[1]) for row in table(METHOD, f"table: {name}")}
    assert shown == dict(getattr(base.words, name))


def test_the_confusion_table_equals_the_cards(base: Knowledge) -> None:
    shown = {
        row[0]: dict(zip(("saw", "customer-says", "read"), map(float, row[1:]), strict=True))
        for row in table(METHOD, "table: answer_right")
    }
    assert shown == base.words.answer_right


def test_the_single_numbers_equal_the_cards(base: Knowledge) -> None:
    shown = {row[0]: row[1] for row in table(METHOD, "table: singles")}
    values = {name: getattr(base.words, name) for name in shown}
    assert shown == {name: value if isinstance(value, str) else f"{value:g}" for name, value in values.items()}


def test_every_entry_of_the_table_of_words_is_in_the_method() -> None:
    singles = {row[0] for row in table(METHOD, "table: singles")}
    assert {*PLAIN_TABLES, "answer_right", "sources", *singles} == set(Words.model_fields)


def test_the_numbers_of_the_method_equal_the_code() -> None:
    for name, shown, _ in table(METHOD, "table: constants"):
        module, _, constant = name.rpartition(".")
        value = getattr(importlib.import_module(f"diagnose.{module}"), constant)
        assert float(shown) == pytest.approx(value), name


def test_instruments_and_bounds_equal_the_code(base: Knowledge) -> None:
    shown = {row[0]: row[1:] for row in table(METHOD, "table: instruments")}
    assert {i.title for i in base.instruments.values()} == set(shown)
    for card in base.instruments.values():
        accuracy, lies = shown[card.title]
        assert accuracy == card.accuracy
        told = [f"{lie.mode} {lie.bias.strip()} +/- {lie.spread}, odds {lie.prior:g}" for lie in card.lies]
        assert lies == ("; ".join(told) or "none listed")
    assert [(row[0], row[1]) for row in table(METHOD, "table: bounds")] == [(b.quantity, b.text) for b in BOUNDS]


def test_measured_numbers_equal_the_result_files() -> None:
    """Every number quoted from a proof stands in its committed result; tests/refresh_documents.py puts it there."""
    rows = table(METHOD, "results")
    assert rows
    assert [row[2] for row in rows] == [refresh.measured(row[0], row[1].strip("`")) for row in rows]


def test_likelihood_words_equal_the_code() -> None:
    weights = [(float(low), word) for low, word in table(METHOD, "table: weight words")]
    assert weights == list(STRENGTH)
    assert [(float(low), word) for low, word in table(METHOD, "table: likelihood")] == list(LIKELIHOOD)


def test_the_strata_are_in_their_order() -> None:
    (shown,) = re.findall(r"\| stratum \|[^\n]*\n\|[-|]*\n((?:\|[^\n]*\n)+)", TEXT[METHOD])
    assert re.findall(r"^\| `([a-z-]+)`", shown, re.M) == list(STRATA)


def keys_shown(mark: str) -> set[str]:
    return {key for row in table(FORMAT, f"keys: {mark}") for key in re.findall(r"`([a-z_]+)`", row[0])}


@pytest.mark.parametrize(
    ("mark", "model"),
    [
        ("case", Case),
        ("entry", Entry),
        ("machine", Machine),
        ("advice", advice.Advice),
        ("stop", advice.Stop),
        ("verdict", advice.Verdict),
        ("suspect", advice.Suspect),
        ("step", advice.Step),
        ("turn", advice.Turn),
        ("why", why.Why),
        ("raises", why.Raises),
        ("left_changed", advice.LeftChanged),
        ("three", advice.ThreeCauses),
        ("not_judged", advice.NotJudged),
        ("derived", advice.Derived),
        ("fired", advice.Fired),
    ],
)
def test_every_key_of_the_contract_is_documented(mark: str, model: type[BaseModel]) -> None:
    assert keys_shown(mark) == {field.alias or name for name, field in model.model_fields.items()}


def test_every_quantity_is_documented() -> None:
    rows = {row[0].strip("`"): row for row in table(FORMAT, "keys: quantities")}
    assert set(rows) == set(QUANTITIES)
    for name, quantity in QUANTITIES.items():
        assert rows[name][2:] == [
            {"any": "as named"}.get(quantity.place, quantity.place),
            quantity.kind.value.replace("-", " "),
        ]


def test_the_words_of_likelihood_in_the_readme_are_those_of_the_tool() -> None:
    """A word and its tenths that stand together must come from the same table."""
    possible = {(likelihood_word(p / 1000), tenths(p / 1000)) for p in range(1001)}
    found = {pair for text in TEXT.values() for pair in _SAID.findall(text.lower())}
    assert found and found <= possible
