"""The outside contract of the command line: what machines and tests read, held by its own words and by JSON Schema."""

from __future__ import annotations

import builtins
import io
import json
import os
import random
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, NoReturn

import jsonschema  # comes with altair, which Streamlit draws with
import pytest

import diagnose.readings
from diagnose.__main__ import main
from diagnose.advise import advise
from diagnose.ask import ask
from diagnose.case import Case
from diagnose.case_check import checked, parse_case, read_case_file, read_case_text
from knowledge.__main__ import main as knowledge_main
from knowledge.load import CARDS, Knowledge, load_knowledge
from shared.quantities import QUANTITIES

# names of the outside contract, copied from its text: an advice has these and may have more
ADVICE_KEYS = {"format", "knowledge", "stop", "verdict", "suspects", "next", "doubts", "not_judged", "derived", "fired",
               "episode", "used_expected"}  # fmt: skip
SUSPECT_KEYS = {"cause", "place", "title", "probability", "for", "against", "not_checked"}
STEP_KEYS = {"id", "kind", "ask", "answers", "minutes", "expected_cost_minutes", "who", "hazards", "cautions", "why"}
DERIVED_KEYS = {"quantity", "place", "value", "unit", "uncertainty", "from"}
FIRED_KEYS = {"rule", "because", "from", "hold_point"}
STOP_KEYS = {"reason", "make_safe", "hand_over_to"}
VERDICT_KEYS = {"kind", "causes", "remedy", "proof", "who"}
VERDICTS = {"one-cause", "two-causes", "normal", "inseparable", "cannot-tell", "hand-over"}
STEPS = {"observe", "repair", "reconfigure", "hand-over"}
UNITS = {"degF", "degC", "delta_degF", "delta_degC", "psig", "psi", "psia", "barg", "bar", "kPa", "gpm", "L/s", "V", "A",
         "Hz", "%", "kW", "min", "1"}  # fmt: skip

CASE = """\
format: 1
complaint: low-suction
words: It hums & then <stops>. "Low pressure", it says.
role: technician
qualified: [refrigerant, electrical]
machine:
  refrigerant: R-410A
  circuits: 2
  compressors: 4
  set_point: 44 F
  design_flow: 96 gpm
  design_drop: 6.5 psi
context: [running-site]
now: '2026-05-01T10:30'
entries:
- {quantity: suction_pressure, value: 100 psig, place: 'circuit:A', state: cooling, steadiness: steady, at: '10:20'}
- {quantity: suction_line, value: 58 F, place: 'circuit:A', state: cooling, steadiness: steady, at: '10:21'}
- {quantity: evaporator_drop, value: 6.3 psi, state: cooling, steadiness: steady, at: '10:22'}
- {quantity: liquid_pressure, value: 290 psig, place: 'circuit:A', state: cooling, steadiness: steady, at: '10:23'}
- {quantity: liquid_line, value: 93 F, place: 'circuit:A', state: cooling, steadiness: steady, at: '10:24'}
- {note: Nothing smells <b>burnt</b>.}
"""

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(scope="module")
def base() -> Knowledge:
    """The shipped cards."""
    return load_knowledge()


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command line in this process: (code, out, err)."""

    def call(*arguments: object) -> tuple[int, str, str]:
        code = main([str(a) for a in arguments])
        said = capsys.readouterr()
        return code, said.out, said.err

    return call


@pytest.fixture
def case_file(tmp_path: Path) -> Path:
    """The case above as a file."""
    path = tmp_path / "call.yaml"
    path.write_text(CASE, encoding="utf-8")
    return path


def read(out: str) -> Any:
    """JSON without NaN or infinity, which no standard reader takes."""

    def refuse(name: str) -> NoReturn:
        raise AssertionError(f"{name} is no JSON")

    return json.loads(out, parse_constant=refuse)


# run -----------------------------------------------------------------------------------------------------------------


def check_advice(data: dict[str, Any], schema: dict[str, Any]) -> None:
    """One advice has the contract's keys and fits the schema the tool prints."""
    jsonschema.validate(data, schema, cls=jsonschema.Draft202012Validator)
    assert set(data) >= ADVICE_KEYS
    assert data["format"] == 1
    for suspect in data["suspects"]:
        assert set(suspect) >= SUSPECT_KEYS and 0 <= suspect["probability"] <= 1
    for step in data["next"]:
        assert set(step) >= STEP_KEYS and step["kind"] in STEPS
        assert step["kind"] != "observe" or bool(step["answers"]) != bool(step["reads"])
    for value in data["derived"]:
        assert set(value) >= DERIVED_KEYS and value["unit"] in UNITS
    for rule in data["fired"]:
        assert set(rule) >= FIRED_KEYS
    assert data["stop"] is None or set(data["stop"]) >= STOP_KEYS
    assert data["verdict"] is None or (set(data["verdict"]) >= VERDICT_KEYS and data["verdict"]["kind"] in VERDICTS)


@pytest.fixture(scope="module")
def advice_schema() -> dict[str, Any]:
    """What `schema advice` prints."""
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", "schema", "advice"], capture_output=True, text=True, check=True
    )
    schema: dict[str, Any] = json.loads(done.stdout)
    jsonschema.Draft202012Validator.check_schema(schema)
    return schema


def test_run_prints_one_advice(run: Run, case_file: Path, advice_schema: dict[str, Any], base: Knowledge) -> None:
    """`run CASE --json` is one Advice that fits its schema; the computed values are those of the readings."""
    code, out, err = run("run", case_file, "--json")
    assert (code, err) == (0, "")
    data = read(out)
    check_advice(data, advice_schema)
    assert data["knowledge"] == base.digest
    derived = {(d["quantity"], d["place"]): d for d in data["derived"]}
    # R-410A dew point at 100 psig (114.7 psia) is about 31.5 F in the makers' pressure-temperature charts (from memory)
    assert derived["superheat", "circuit:A"]["value"] == pytest.approx(58 - 31.5, abs=1.0)
    assert derived["superheat", "circuit:A"]["from"] == ["suction_pressure", "suction_line"]


def test_steps_print_the_advice_after_every_entry(run: Run, case_file: Path, advice_schema: dict[str, Any]) -> None:
    """One advice more than there are entries; the last one is that of the whole case."""
    code, out, _ = run("run", case_file, "--json", "--steps")
    rows = read(out)
    assert code == 0 and len(rows) == 1 + len(read_case_file(case_file).entries)
    for row in rows:
        check_advice(row, advice_schema)
    assert rows[-1] == read(run("run", case_file, "--json")[1])
    assert [len(r["derived"]) for r in rows] == sorted(len(r["derived"]) for r in rows)
    code, out, _ = run("run", case_file, "--steps")
    assert code == 0 and out.count("--- after ") == len(rows)


def test_run_as_text(run: Run, case_file: Path) -> None:
    """The plain form names the first suspect and the first step of the same advice."""
    data = read(run("run", case_file, "--json")[1])
    code, out, err = run("run", case_file)
    assert code == 0 and err == ""
    flat = " ".join(out.split())
    assert data["suspects"][0]["title"] in flat and data["next"][0]["title"] in flat


def test_a_case_as_json_is_the_same_case(run: Run, case_file: Path, tmp_path: Path) -> None:
    """YAML or JSON, decimal numbers or text, with or without the Unicode mark: the same advice."""
    data = read_case_file(case_file).model_dump(mode="json", exclude_defaults=True)
    other = tmp_path / "call.json"
    other.write_text(json.dumps(data), encoding="utf-8-sig")
    assert run("run", other, "--json")[1] == run("run", case_file, "--json")[1]


def test_case_schema_takes_every_kind_of_entry(run: Run, case_file: Path) -> None:
    """The printed case schema takes a written case and refuses an unknown key, as the reader does."""
    code, out, _ = run("schema", "case")
    schema = read(out)
    jsonschema.Draft202012Validator.check_schema(schema)
    data = read_case_file(case_file).model_dump(mode="json", exclude_defaults=True)
    assert code == 0
    jsonschema.validate(data, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**data, "machin": {}}, schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({k: v for k, v in data.items() if k != "complaint"}, schema)


# lists ---------------------------------------------------------------------------------------------------------------

LISTS = {
    "checks": {"id", "title", "answers", "reads", "who", "hazards", "needs_qualified", "minutes", "technician"},
    "causes": {"id", "title", "also", "remedy", "place"},
    "complaints": {"id", "title", "plain"},
    "findings": {"id", "title", "words", "neutral", "place"},
}


@pytest.mark.parametrize("name", sorted(LISTS))
def test_lists(name: str, run: Run, base: Knowledge) -> None:
    """Every card is listed once with its keys, as JSON and as lines of text."""
    code, out, err = run(name, "--json")
    rows = read(out)
    ids = [r["id"] for r in rows]
    assert (code, err) == (0, "") and len(set(ids)) == len(ids)
    assert set(ids) - {"nothing-wrong"} == set(getattr(base, name))
    assert all(set(row) >= LISTS[name] for row in rows)
    code, out, _ = run(name)
    assert code == 0 and len(out.splitlines()) == len(getattr(base, name))


def test_listed_answers_are_taken(run: Run, base: Knowledge) -> None:
    """Each listed answer of each check makes a valid case, "cannot-tell" among them; each listed word of each finding too."""
    checks, findings = read(run("checks", "--json")[1]), read(run("findings", "--json")[1])
    entries = [{"check": c["id"], "answer": a["id"]} for c in checks for a in c["answers"]]
    entries += [{"finding": f["id"], "word": w} for f in findings for w in f["words"]]
    assert sum(e.get("answer") == "cannot-tell" for e in entries) == len(base.checks)
    for n in range(0, len(entries), 1500):
        checked(parse_case({"complaint": next(iter(base.complaints)), "entries": entries[n : n + 1500]}), base)


def test_quantities_of_the_checks_are_of_the_fixed_list(base: Knowledge) -> None:
    """A check reads quantities of the fixed list only."""
    assert {q for c in base.checks.values() for q in c.reads} <= set(QUANTITIES)


# plain words of technicians and callers, with ids any of which is a sensible find; common practice, no source
PHRASES = {
    "strainer blocked": {"strainer-clogged", "strainer-pull", "strainer-drop-read"},
    "screen says no flow": {"no-flow", "flow-lamp-look", "screen-look", "screen-status-read", "alarm-list-read"},
    "flow switch lamp off": {"flow-lamp-look", "flow-switch-failed", "flow-switch-look"},
    "pump runs backwards": {"pump-look", "pump-reversed", "phases-reversed"},
    "overload set too low": {"overload-set-low", "overload-dial-read"},
    "pump trips after fifteen minutes": {"pump-trip", "time-to-trip-ask", "overload-set-low", "time-to-trip-read"},
    "phase monitor red lamp": {"monitor-lamp-look", "phase-fault", "monitor-failed"},
    "one phase missing": {"phase-lost-upstream", "supply-volts-read", "supply-fuse-open"},
    "volts low at the end of a long cable": {"undervoltage-long-cable", "feeder-walk"},
    "generator too small for the start": {"generator-too-small", "generator-rating-compare"},
    "coil full of dust and fluff": {"coil-dirty", "coil-look", "coil-light-look"},
    "condenser fan not turning": {"fan-motor-failed", "fans-look", "fan-supply-lost"},
    "high pressure cut out in the afternoon": {"high-head", "high-pressure-timing-ask"},
    "low suction pressure": {"low-suction", "suction-display-read", "refrigerant-readings"},
    "gas leak oil stain": {"oil-stain-look", "refrigerant-leak", "leak-seen"},
    "drier cold on the outlet side": {"drier-feel", "drier-temps-read", "drier-restricted"},
    "water temperature not coming down": {"fluid-trend-watch", "warm-supply", "fluid-temps-read"},
    "frost on the suction line": {"frost-look", "ice-on-pipe"},
    "vent spits air": {"vent-air-check", "air-bound", "vent-look"},
    "hose kinked under a pallet": {"hoses-walk", "hose-kinked"},
    "valve handle square across the pipe": {"unit-valves-look", "site-valves-walk", "site-valve-shut"},
    "compressor hums but does not start": {"compressor-wont-start", "start-attempt-ask", "compressor-seized"},
    "emergency stop pressed": {"estop-look", "emergency-stop-pressed"},
    "screen dark no lights": {"no-control-power", "screen-look"},
    "sight glass bubbles": {"sight-glass-look", "sight-glass-flash-normal"},
    "glycol too weak": {"glycol-too-weak", "glycol-read"},
    "gauge reads wrong": {"wrong-scale-or-unit", "gauge-on-wrong-port", "gauge-scale-check"},
    "someone reset it five times": {"reset-repeatedly", "reset-count-ask"},
    "noise like gravel in the pump": {"pump-listen", "noise-vibration", "pump-starved"},
    "water leaking on the ground": {"ground-look", "leak-seen", "loop-leak"},
}


@pytest.mark.parametrize("phrase", PHRASES)
def test_match_finds_plain_words(phrase: str, run: Run, base: Knowledge) -> None:
    """A sensible id is among the first five; every id found is one of the base."""
    code, out, err = run("match", phrase, "--json")
    found = read(out)
    assert (code, err) == (0, "") and found
    assert {f["id"] for f in found[:5]} & PHRASES[phrase], found[:5]
    for one in found:
        assert one["id"] in {**base.checks, **base.causes, **base.complaints, **base.findings}
        assert one["answer"] is None or one["answer"] in base.checks[one["id"]].answers
    assert [f["score"] for f in found] == sorted((f["score"] for f in found), reverse=True)


@pytest.mark.parametrize(
    "text", ["", "   ", "the of and", "qqqq zzzz", "'; DROP TABLE calls; --", "<script>", "\x1b[31m"]
)
def test_match_of_nothing(text: str, run: Run) -> None:
    """Words that are nobody's find little or nothing, and break nothing."""
    code, out, err = run("match", text, "--json")
    assert (code, err) == (0, "") and isinstance(read(out), list)


def test_calc(run: Run) -> None:
    """The contract's example: value, unit, uncertainty, as JSON and as text; a wrong unit is exit 2 and one line."""
    code, out, _ = run(
        "calc", "superheat", "refrigerant=R-410A", "suction_pressure=118psig", "suction_line=50degF", "--json"
    )
    data = read(out)
    assert code == 0 and data["unit"] == "delta_degF" and data["uncertainty"] > 0
    # R-410A at 118 psig has its dew point at about 40 F (pressure-temperature charts; from memory)
    assert data["value"] == pytest.approx(10.0, abs=1.0)
    code, out, _ = run("calc", "superheat", "refrigerant=R-410A", "suction_pressure=118psig", "suction_line=50degF")
    assert code == 0 and "delta_degF" in out and "+/-" in out
    code, out, err = run("calc", "superheat", "refrigerant=R-410A", "suction_pressure=118V", "suction_line=50degF")
    assert (code, out) == (2, "") and len(err.splitlines()) == 1 and "118V" in err


class Tags(HTMLParser):
    """Tags, attributes and text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.links += [v or "" for k, v in attrs if k in ("src", "href", "action", "background", "data")]
        assert not [k for k, _ in attrs if k.startswith("on")]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def test_report(run: Run, case_file: Path, tmp_path: Path) -> None:
    """One page that needs nothing from outside; what people wrote is text in it, never markup."""
    target = tmp_path / "report.html"
    code, out, err = run("report", case_file, "-o", target)
    assert (code, err) == (0, "") and target.name in out
    page = Tags()
    text = target.read_text(encoding="utf-8")
    page.feed(text)
    words = " ".join(" ".join(page.words).split())
    assert "script" not in page.tags and not [x for x in page.links if not x.startswith(("#", "data:"))]
    assert not re.search(r"url\((?!['\"]?(#|data:))|@import", text)
    assert 'It hums & then <stops>. "Low pressure", it says.' in words
    assert "Nothing smells <b>burnt</b>." in words
    assert read(run("run", case_file, "--json")[1])["suspects"][0]["title"] in words


def test_report_that_cannot_be_written(
    run: Run, case_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 2 and one line."""
    monkeypatch.chdir(tmp_path)
    code, out, err = run("report", case_file, "-o", Path("no-such-folder") / "report.html")
    assert (code, out) == (2, "") and len(err.splitlines()) == 1 and "no-such-folder" in err


def test_knowledge_commands(capsys: pytest.CaptureFixture[str], base: Knowledge, tmp_path: Path) -> None:
    """`stats --json` counts what is loaded; `check` exits 1 and names file and key of a broken card, 2 without cards."""
    assert knowledge_main(["stats", "--json"]) == 0
    counts = read(capsys.readouterr().out)
    assert {"causes", "checks", "rules", "complaints"} <= set(counts["cards"])
    assert counts["cards"]["causes"] == len(base.causes) and counts["knowledge"] == base.digest
    folder = tmp_path / "cards"
    shutil.copytree(CARDS, folder)
    broken = next(iter((folder / "causes").rglob("*.yaml")))
    broken.write_text(broken.read_text(encoding="utf-8").replace("place:", "plaice:", 1), encoding="utf-8")
    assert knowledge_main(["--cards", str(folder), "check"]) == 1
    said = capsys.readouterr().out
    assert broken.name in said and "plaice" in said
    assert knowledge_main(["--cards", str(tmp_path / "none"), "stats"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


# ask -----------------------------------------------------------------------------------------------------------------


def script(*lines: str) -> Callable[[str], str]:
    """A reader that types these lines, then quits."""
    left: Iterator[str] = iter(lines)
    return lambda prompt: next(left, "quit")


OPENING = ("low-suction", "technician", "refrigerant electrical", "R-410A", "it hums")


def asked(base: Knowledge, target: Path, *lines: str) -> Case:
    """The case that is kept after a dialogue of these lines."""
    assert ask(base, None, target, script(*OPENING, *lines)) == 0
    return read_case_file(target)


def test_ask_keeps_what_was_said(base: Knowledge, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Opening, an answer by number, "cannot tell", a reading, a note; every word lands in the file, which `run` takes."""
    target = tmp_path / "kept.yaml"
    case = asked(base, target, "?", "suction_pressure=118 psig@circuit:A", "note all quiet", "what is this", "?")
    assert (case.complaint, case.role, case.words) == ("low-suction", "technician", "it hums")
    assert case.qualified == ("refrigerant", "electrical") and case.machine.refrigerant == "R-410A"
    checks, reading, note, last = case.entries
    assert checks.answer == last.answer == "cannot-tell" and checks.check != last.check
    assert (reading.quantity, reading.value, reading.place) == ("suction_pressure", "118 psig", "circuit:A")
    assert note.note == "all quiet"
    said = capsys.readouterr().out
    assert "not understood: 'what is this'" in said and "why:" in said
    assert main(["run", str(target), "--json"]) == 0


def test_ask_undo(base: Knowledge, tmp_path: Path) -> None:
    """Undo takes back the last entry: the file is as if it had never been said; undoing nothing does nothing."""
    once = asked(base, tmp_path / "once.yaml", "?")
    undone = asked(base, tmp_path / "undone.yaml", "?", "flow=5 gpm", "undo")
    assert undone == once
    assert asked(base, tmp_path / "none.yaml", "undo", "undo").entries == ()


def test_ask_refuses_in_one_line_and_goes_on(
    base: Knowledge, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wrong unit or an unknown quantity is told and not kept; the next answer is."""
    case = asked(base, tmp_path / "kept.yaml", "suction_pressure=118 V", "no_such=1 V", "flow=nan gpm", "?")
    said = capsys.readouterr().out
    assert "'118 V'" in said and "'no_such'" in said and "'nan gpm'" in said
    assert [e.answer for e in case.entries] == ["cannot-tell"]


def test_ask_goes_on_with_a_kept_case(base: Knowledge, tmp_path: Path) -> None:
    """A second day: the kept file is continued, "skip" asks something else, answers by id are taken."""
    first = asked(base, tmp_path / "kept.yaml", "?")
    advice = advise(checked(first, base), base)
    looks = [s for s in advice.next if s.kind == "observe"]
    step = next(s for s in looks if s.answers)
    skips = ["skip"] * looks.index(step)
    target = tmp_path / "second.yaml"
    assert ask(base, tmp_path / "kept.yaml", target, script(*skips, step.answers[0].id)) == 0
    case = read_case_file(target)
    assert case.entries[:-1] == first.entries
    assert (case.entries[-1].check, case.entries[-1].answer) == (step.id, step.answers[0].id)


def test_ask_keeps_a_remedy_that_was_done(base: Knowledge, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Of the remedy proposed or of one named; an unknown one or an unknown outcome is told; once cured, what proves it."""
    case, target = Path(__file__).parent / "examples" / "low-suction-drier.yaml", tmp_path / "kept.yaml"
    lines = ("done soon", "done better no-such-remedy", "done not-cured", "undo", "done cured")
    assert ask(base, case, target, script(*lines)) == 0
    said = capsys.readouterr().out
    assert "once it is done: done cured" in said and "[replace-drier]" in said
    assert "not understood: 'done soon'" in said and "'no-such-remedy'" in said and "unknown action" in said
    assert said.rstrip().splitlines()[-2] == "Cured. Prove it, then close the call:"
    assert base.causes["drier-restricted"].proof in said
    last = read_case_file(target).entries[-1]
    assert (last.action, last.place, last.outcome) == ("replace-drier", "circuit:B", "cured")
    assert main(["run", str(target), "--json"]) == 0


def test_ask_from_standard_input(tmp_path: Path) -> None:
    """The real command with typed lines; the end of input ends the call without a traceback."""
    target = tmp_path / "kept.yaml"
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", "ask", "-o", str(target)],
        input="\n".join([*OPENING, "?", "note at the site"]) + "\n",
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        check=False,
    )
    assert done.returncode == 0 and "Traceback" not in done.stderr
    assert [bool(e.check) for e in read_case_file(target).entries] == [True, False]


# little known --------------------------------------------------------------------------------------------------------

PEOPLE: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("customer", ()),
    ("technician", ()),
    ("technician", ("electrical", "refrigerant", "height")),
)


@pytest.mark.parametrize(("role", "qualified"), PEOPLE, ids=["customer", "unqualified", "qualified"])
def test_a_complaint_alone_gives_a_useful_advice(role: str, qualified: tuple[str, ...], base: Knowledge) -> None:
    """Nothing known but the complaint: several suspects, no verdict yet, and a first look this person may do, with its why."""
    for complaint in base.complaints:
        advice = advise(checked(parse_case({"complaint": complaint, "role": role, "qualified": qualified}), base), base)
        looks = [s for s in advice.next if s.kind == "observe"]
        assert advice.verdict is None and advice.stop is None, complaint
        assert len(looks) >= 2, complaint
        assert all(s.why and s.ask and (s.answers or s.reads) and s.minutes > 0 for s in looks)
        assert all(s.who != "technician" or role == "technician" for s in looks), complaint
        assert all(set(s.needs_qualified) <= set(qualified) for s in looks), complaint
        assert len([s for s in advice.suspects if s.probability > 0.01]) >= 3, complaint
        assert {c.id for c in base.causes.values() if complaint in c.complaints} & {s.cause for s in advice.suspects}


# purity --------------------------------------------------------------------------------------------------------------

WATCHED = {"on": False}
OUTSIDE = ("open", "os.", "socket.", "subprocess.", "shutil.", "tempfile.", "sqlite3.", "import", "urllib.", "glob.")
SEEN: list[str] = []


def _watch(event: str, details: tuple[Any, ...]) -> None:
    if WATCHED["on"] and event.startswith(OUTSIDE):
        SEEN.append(f"{event} {details[:1]}")


class Forbidden(dict[str, str]):
    """An environment that nobody may ask."""

    def _no(self, *_: object, **__: object) -> NoReturn:
        raise AssertionError("the environment was read")

    __getitem__ = __contains__ = __iter__ = get = keys = items = values = copy = _no  # type: ignore[assignment]


class NoClock(datetime):
    """A datetime that cannot tell the time."""

    @classmethod
    def now(cls, tz: object = None) -> NoReturn:  # type: ignore[override]
        raise AssertionError("the clock was read")

    today = utcnow = now  # type: ignore[assignment]


def test_advise_asks_nothing_of_the_outside(base: Knowledge, monkeypatch: pytest.MonkeyPatch) -> None:
    """No clock, file, environment, random number or network. The tables that ship with it are read at the first use."""
    case = checked(read_case_text(CASE), base)
    expected = advise(case, base)
    fresh = replace(base, memo={})  # what is compiled from the cards is compiled again
    sys.addaudithook(_watch)

    def no(*_: object, **__: object) -> NoReturn:
        raise AssertionError("the outside was asked")

    with monkeypatch.context() as patch:
        for name in ("time", "time_ns", "monotonic", "perf_counter", "localtime", "gmtime", "strftime", "ctime"):
            patch.setattr(time, name, no)
        for module in [m for n, m in sys.modules.items() if n.split(".")[0] in ("diagnose", "knowledge", "shared")]:
            if getattr(module, "datetime", None) is datetime:
                patch.setattr(module, "datetime", NoClock)
        patch.setattr(os, "environ", Forbidden())
        patch.setattr(os, "urandom", no)
        patch.setattr(random, "random", no)
        patch.setattr(builtins, "open", no)
        patch.setattr(io, "open", no)
        patch.setattr(builtins, "input", no)
        patch.setattr(builtins, "print", no)
        WATCHED["on"] = True
        try:
            found = advise(case, fresh)
        finally:
            WATCHED["on"] = False
    assert diagnose.readings.datetime is datetime
    assert SEEN == []
    assert found == expected


def elsewhere(case_file: Path, folder: Path, **variables: str) -> bytes:
    """What `run --json` prints in a folder of its own with these variables; it leaves nothing there."""
    folder.mkdir()
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", "run", str(case_file), "--json"],
        cwd=folder,
        env={**os.environ, **variables},
        capture_output=True,
        timeout=60,
        check=True,
    )
    assert list(folder.iterdir()) == []
    return done.stdout


def test_the_same_everywhere(case_file: Path, tmp_path: Path) -> None:
    """Another locale, time zone, folder and user name: the same bytes."""
    there = {"TZ": "Pacific/Auckland", "LC_ALL": "de_DE.UTF-8", "LANG": "de_DE.UTF-8", "USER": "ann"}
    here = {"TZ": "America/Lima", "LC_ALL": "C", "LANG": "C", "USER": "bo"}
    outputs = {
        elsewhere(case_file, tmp_path / f"folder {n} ä", PYTHONHASHSEED="1", **v) for n, v in enumerate((there, here))
    }
    assert len(outputs) == 1


def test_the_same_whatever_the_hash_seed(case_file: Path, tmp_path: Path) -> None:
    """The order in which Python hashes text differs from process to process; nothing may depend on it, to the last digit."""
    assert len({elsewhere(case_file, tmp_path / seed, PYTHONHASHSEED=seed) for seed in ("1", "2", "3")}) == 1


def test_undo_is_replay(base: Knowledge) -> None:
    """The advice after entries less the last is the earlier advice, forwards, backwards and with nothing remembered."""
    case = checked(read_case_text(CASE), base)
    prefixes = [case.model_copy(update={"entries": case.entries[:n]}) for n in range(len(case.entries) + 1)]
    forwards = [advise(one, base) for one in prefixes]
    backwards = [advise(one, base) for one in reversed(prefixes)][::-1]
    assert forwards == backwards
    assert advise(prefixes[2], replace(base, memo={})) == forwards[2]
    assert forwards[2] != forwards[-1]


def test_a_proof_with_a_negative_number_is_refused_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    for option in ("--draws", "--processes"):
        assert main(["prove", "plan", option, "-1"]) == 2
        said = capsys.readouterr().err
        assert "given: '-1'" in said and said.count("\n") == 1


def test_a_folder_of_cases_is_no_folder_of_calls(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "case.yaml").write_text("complaint: no-flow\n", encoding="utf-8")
    assert main(["replay", str(tmp_path)]) == 2
    told = capsys.readouterr()
    assert "case.yaml: a call file has case and truth" in told.err and len(told.err.strip().splitlines()) == 1
