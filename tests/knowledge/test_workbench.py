"""The keeper's commands: cards as sentences, scaffolds, what changed, the map, the width, reloading after an edit."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

import pytest

from knowledge.__main__ import main
from knowledge.changes import compare, compare_calls, differences, folder_of, written
from knowledge.check import find_problems
from knowledge.describe import KINDS, as_text, describe, found
from knowledge.graph import cause_map, map_dot, map_json
from knowledge.load import CARDS, Knowledge, RawCards, load_knowledge, read_cards
from knowledge.scaffold import MARK, RULE_KINDS, SYSTEMS, scaffold
from shared.errors import ChillerError
from shared.quantities import DERIVED

QUANTITIES = {d.name: d.kind for d in DERIVED.values()}
CALLS = Path(__file__).parents[1] / "calls"


def edit(folder: Path, file: str, old: str, new: str) -> None:
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1, file
    path.write_text(text.replace(old, new), encoding="utf-8")


# show -------------------------------------------------------------------------------------------------------------------


def test_every_card_can_be_read_as_sentences(base: Knowledge) -> None:
    for kind in KINDS:
        for name in getattr(base, kind):
            text = as_text(describe(base, kind, name))
            assert name in text and "()" not in text and "{" not in text


def test_a_cause_tells_causes_checks_rules_and_what_follows(base: Knowledge) -> None:
    text = as_text(describe(base, "causes", "strainer-clogged"))
    for expected in (
        "A common cause at each unit.",
        "usually fluid flow through the evaporator low",
        "When fluid flow through the evaporator is low: almost always evaporator pressure drop well under its curve",
        "(strainer-pull)",
        "25 minutes, by a technician",
    ):
        assert expected in text
    finding = as_text(describe(base, "findings", "strainer-drop"))
    assert "(strainer-clogged): almost always strainer drop far over clean" in finding
    complaint = as_text(describe(base, "complaints", "strainer-suspected"))
    assert "often: Strainer clogged (strainer-clogged)" in complaint
    check = as_text(describe(base, "checks", "strainer-drop-read"))
    assert "Spanish (review: needed by a native speaker of the trade): Busque dos relojes" in check


def test_an_id_of_two_kinds_shows_both(base: Knowledge, capsys: pytest.CaptureFixture[str]) -> None:
    assert found(base, "head") == [("findings", "head"), ("effects", "head")]
    assert found(base, "effects/head") == [("effects", "head")]
    assert main(["show", "head", "--json"]) == 0
    assert [card["kind"] for card in json.loads(capsys.readouterr().out)] == ["findings", "effects"]
    assert main(["show", "straner"]) == 2
    assert "no such card; given: 'straner'" in capsys.readouterr().err


# new --------------------------------------------------------------------------------------------------------------------


def test_scaffolds_pass_the_shape_check_but_for_the_marks(base: Knowledge, folder: Path) -> None:
    for system in SYSTEMS:
        scaffold(base, folder, "cause", f"new-{system}", system=system)
        scaffold(base, folder, "check", f"new-{system}-look", system=system)
        scaffold(base, folder, "setup", f"new-{system}-change", system=system)
    for kind in RULE_KINDS:
        scaffold(base, folder, "rule", f"new-{kind}", rule_kind=kind)
    complaint = scaffold(base, folder, "complaint", "new-complaint")
    problems = find_problems(read_cards(folder), QUANTITIES)
    others = [p for p in problems if "still to be written" not in p.text]
    assert [(p.key, p.text) for p in others] == [("new-complaint", "no cause is a suspect for this complaint")]
    made = {Path(p.file).stem for p in problems}
    assert len(made) == 3 * len(SYSTEMS) + len(RULE_KINDS) + 1
    assert all(p.line > 1 for p in problems if "still to be written" in p.text)
    assert complaint.read_text(encoding="utf-8").count(MARK) == 3


def test_a_filled_scaffold_is_a_card_like_any_other(base: Knowledge, folder: Path) -> None:
    path = scaffold(base, folder, "cause", "filter-bag-left", system="fluid")
    path.write_text(path.read_text(encoding="utf-8").replace(f"{MARK} ", ""), encoding="utf-8")
    assert not [p for p in find_problems(read_cards(folder), QUANTITIES) if "written" in p.text]
    assert load_knowledge(folder).causes["filter-bag-left"].system == "fluid"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["planet", "a"], "no such kind of card; given: 'planet'; allowed: cause, check, setup, rule, complaint"),
        (["cause", "Strainer_2"], "not an id; given: 'Strainer_2'"),
        (["cause", "strainer-clogged"], "this cause exists; given: 'strainer-clogged'"),
        (["cause", "a-new-one", "--system", "engine"], "no such system; given: 'engine'"),
        (["rule", "a-new-one", "--rule-kind", "hunch"], "no such kind of rule; given: 'hunch'"),
    ],
)
def test_a_bad_scaffold_gets_one_line(
    arguments: list[str], said: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = sorted(folder.rglob("*"))
    assert main(["--cards", str(folder), "new", *arguments]) == 2
    assert said in capsys.readouterr().err
    assert sorted(folder.rglob("*")) == before


# changes ----------------------------------------------------------------------------------------------------------------


def test_what_differs_is_told_key_by_key(folder: Path) -> None:
    edit(
        folder,
        "causes/fluid/vent-shut.yaml",
        "vent-state, gives: {shut-or-capped: almost-always}",
        "vent-state, gives: {shut-or-capped: usually}",
    )
    edit(folder, "checks/high-side/wind-ask.yaml", "telephone: Is it windy now?", "telephone: Is there wind now?")
    (folder / "complaints" / "leak-seen.yaml").rename(folder / "complaints" / "leak-heard.yaml")
    edit(folder, "complaints/leak-heard.yaml", "id: leak-seen", "id: leak-heard")
    changed = compare(written(CARDS), written(folder))
    assert (changed.added, changed.removed) == (("complaints/leak-heard",), ("complaints/leak-seen",))
    assert set(changed.changed) == {"causes/vent-shut", "checks/wind-ask"}
    (one,) = changed.changed["causes/vent-shut"]
    assert (one.key, one.was, one.now) == ("brings.vent-state.gives.shut-or-capped", "almost-always", "usually")
    assert changed.stale == ("wind-ask",), "its Spanish text has to be looked at"


def test_a_moved_line_is_no_difference_and_a_new_one_is(folder: Path) -> None:
    rows = [{"finding": "a", "gives": {"x": "often"}}, {"effect": "b", "gives": {"y": "often"}}]
    assert list(differences({"brings": rows}, {"brings": rows[::-1]})) == []
    more = [*rows, {"finding": "a", "gives": {"x": "seldom"}, "when": {"fluid": ["water"]}}]
    assert [(d.key, d.was) for d in differences({"brings": rows}, {"brings": more})] == [
        ("brings.a with fluid water", "-")
    ]


def test_calls_that_end_otherwise_are_named(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With the first suspect's signs taken off its card something else leads this call, and the command says what."""
    calls = tmp_path / "calls"
    calls.mkdir()
    (calls / "call-01.yaml").write_bytes((CALLS / "call-01.yaml").read_bytes())
    file = "causes/fluid/site-valve-shut.yaml"
    text = (folder / file).read_text(encoding="utf-8")
    bare = re.sub(
        r"^brings:\n(?:- .*\n)+",
        "brings:\n- {finding: noise-place, gives: {whole-skid: hardly-ever}}\n",
        text,
        flags=re.M,
    )
    assert bare != text
    (folder / file).write_text(bare, encoding="utf-8")
    assert main(["changes", str(CARDS), str(folder), "--calls", str(calls)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert "changed  causes/site-valve-shut" in said
    assert [line for line in said if line.startswith("call call-01: leader site-valve-shut@unit -> ")]
    assert said[-1] == "1 of 1 replayed calls end otherwise"


def test_the_same_cards_end_the_same() -> None:
    assert compare(written(CARDS), written(CARDS)).changed == {}
    row = {"verdict": "one-cause", "causes": ["a"], "leader": "a@unit", "stop": ""}
    assert compare_calls({"x": row}, {"x": dict(row)}) == []
    assert compare_calls({"x": row}, {"x": {**row, "stop": "s"}}) == [{"id": "x", "stop": {"was": "", "now": "s"}}]


def test_a_call_that_one_version_cannot_replay_is_said() -> None:
    rows = compare_calls({"a": {"verdict": "normal", "leader": "x"}}, {"a": {"problem": "unknown check 'y'"}})
    assert rows[0]["problem"] == {"was": None, "now": "unknown check 'y'"}


def test_a_version_may_be_a_git_revision(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    inside = subprocess.run(["git", "-C", str(CARDS), "rev-parse", "HEAD"], capture_output=True, check=False)
    if inside.returncode:
        assert main(["changes", "HEAD", str(CARDS)]) == 2  # an installed package has no history
        return
    at_head = folder_of("HEAD", tmp_path)
    assert (at_head / "words.yaml").read_text(encoding="utf-8").startswith("# The one table")
    for wrong in ("no-such-revision", "--help", "HEAD:knowledge"):
        with pytest.raises(ChillerError, match="no such version of the cards"):
            folder_of(wrong, tmp_path)


# map and width ------------------------------------------------------------------------------------------------------------


def test_the_map_holds_every_edge_of_the_cards(base: Knowledge) -> None:
    graph = cause_map(base)
    lines = sum(len(data.get("lines", ())) for _, _, data in graph.edges(data=True))
    assert lines == sum(len(c.brings) for c in base.causes.values())
    assert graph.edges["cause:strainer-clogged", "effect:fluid-flow"]["lines"][0]["gives"] == {
        "low": "usually",
        "none": "seldom",
    }
    assert graph.edges["effect:pump-running", "effect:fluid-flow"]["given"] == {"stopped": {"none": "always"}}
    assert len([1 for e in graph.in_edges("finding:pump-suction")]) > 5


def test_the_map_of_a_complaint_holds_its_causes_only(base: Knowledge, capsys: pytest.CaptureFixture[str]) -> None:
    graph = cause_map(base, "ice-on-pipe")
    causes = {data["id"] for _, data in graph.nodes(data=True) if data["kind"] == "cause"}
    assert causes == {c.id for c in base.causes.values() if "ice-on-pipe" in c.complaints}
    assert json.loads(json.dumps(map_json(graph))) == map_json(graph)
    dot = map_dot(graph)
    assert dot.startswith("digraph") and dot.count("{") == dot.count("}") == dot.count("digraph")
    assert dot.count(" -> ") == graph.number_of_edges()
    assert main(["map", "--complaint", "rain"]) == 2
    assert "no such complaint; given: 'rain'" in capsys.readouterr().err


def test_the_width_is_printed_and_refused_above_the_limit(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--cards", str(folder), "width"]) == 0
    assert capsys.readouterr().out == "induced width 1, at most 1\n"
    edit(folder, "effects.yaml", "  title: pump turning\n", "  title: pump turning\n  parent: flow-proof\n")
    assert main(["--cards", str(folder), "width"]) == 1
    said = capsys.readouterr().out.splitlines()
    assert said[-1] == "induced width 2, at most 1"
    assert {line.split(": ")[1] for line in said[:-1]} == {
        f"{n}.parent" for n in ("pump-running", "fluid-flow", "flow-proof")
    }
    assert all(line.startswith("effects.yaml:") for line in said[:-1])


# reloading ----------------------------------------------------------------------------------------------------------------


def test_editing_one_card_takes_effect_on_the_next_load(folder: Path) -> None:
    before = load_knowledge(folder)
    edit(folder, "causes/fluid/strainer-clogged.yaml", "title: Strainer clogged", "title: Strainer full of dirt")
    after = load_knowledge(folder)
    assert before.causes["strainer-clogged"].title == "Strainer clogged"
    assert after.causes["strainer-clogged"].title == "Strainer full of dirt"
    assert after.digest != before.digest
    assert load_knowledge(folder) is after


def test_a_problem_names_file_and_line_of_its_key(folder: Path, shipped: RawCards) -> None:
    edit(folder, "findings/fluid.yaml", "- id: hose-stiffness\n", "- id: hose-stiffness\n  effect: no-such-effect\n")
    (problem,) = find_problems(read_cards(folder), QUANTITIES)
    lines = (folder / "findings/fluid.yaml").read_text(encoding="utf-8").splitlines()
    assert (problem.file, problem.key) == ("findings/fluid.yaml", "hose-stiffness.effect")
    assert lines[problem.line - 1] == "  effect: no-such-effect"


def test_every_command_is_written_down() -> None:
    """Whoever keeps the base finds each command in both documents; that each line works is tested with the documents."""
    from knowledge.__main__ import _parser

    parser: Any = next(a for a in _parser()._actions if a.dest == "command")
    root = Path(__file__).parents[2]
    for name in ("DEVELOPERS.md", "knowledge/README.md"):
        text = (root / name).read_text(encoding="utf-8")
        assert [one for one in parser.choices if f"python -m knowledge {one}" not in text] == [], name
