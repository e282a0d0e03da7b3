"""Three hundred spoilt case files and as many spoilt call files: exit 2 and clear lines, or a sound advice; never a traceback.

Mutants of valid files by a fixed seed: in the text (bytes, brackets, tags, anchors) and in the tree (kinds, sizes, unicode,
keys). Some mutants are still valid; then they must give a whole advice. Each is bounded in time and memory.
"""

from __future__ import annotations

import json
import random
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from diagnose.__main__ import main
from diagnose.advice import Advice
from diagnose.case_check import checked, read_case_file, read_case_text
from diagnose.store import Store
from diagnose.store.transfer import call_as_data
from knowledge.load import load_knowledge
from shared.errors import ChillerError

FILES, CALLS, WORKED, SEED = 300, 300, 15, 20
SLOWEST_S, MOST_MB = 5.0, 250
LONGEST_LINE, MOST_LINES = 420, 41
EXAMPLES = Path(__file__).parents[1] / "examples"
RICH = """\
format: 1
complaint: low-suction
words: It hums & then stops.
role: technician
qualified: [refrigerant, electrical]
machine: {name: Unit 7, refrigerant: R-410A, circuits: {A: {compressors: [A1, A2], fans: [1]}, B: {compressors: [B1]}},
  set_point: 44 F, design_flow: 96 gpm, design_drop: 6.5 psi, drop_curve: [[40 gpm, 1.2 psi], [96 gpm, 6.5 psi]],
  altitude: 300 m, fluid: propylene-glycol, glycol_percent: 30 %, card: {superheat: 10 K}}
context: [running-site]
now: '2026-05-01T10:30'
entries:
- {quantity: suction_pressure, value: 100 psig, place: 'circuit:A', state: cooling, steadiness: steady, at: '10:20'}
- {quantity: line_voltage, value: [462 V, 460 V, 461 V], at: '10:21', instrument: meter 3}
- {finding: air-spread, word: even}
- {note: Nothing smells burnt.}
"""
ODD = [
    "", " ", "0", "-1", "1e400", "-1e400", "nan", "inf", "9" * 400, "0x1f", "1_000", "1,2,3", "NaN psig", "12 psig psig", "true",
    "null", "~", "[]", "{}", "x" * 5000, "\N{SNOWMAN}" * 300, "a\u202eb", "\u200b", "\ufeff", "e\u0301" * 60, "\U0001f9ca", "\u2028",
    "<script>alert(1)</script>", "'; DROP TABLE calls; --", "../../etc/passwd", "C:\\con", "%s%n", "{{7*7}}", "${x}", "=1+1",
    "circuit:Z", "circuit:A:B", "instrument:" + "x" * 190, "10:99", "2026-13-45", "99999999999999 min", "-5 min",
]  # fmt: skip
BYTES = [b"\0", b"\xff", b"\t", b"\r", b"&a ", b"*a ", b"!!python/object:os.system ", b"!!binary ", b"<<: *a\n", b"---\n", b"...\n",
         b"{", b"}", b"[", b"]", b'"', b"'", b"%YAML 9.9\n", b"? ", b"|\n", b"\xe2\x80\xae", b"\xc2\x85", b"#", b": ", b"- "]  # fmt: skip


def nodes(tree: Any) -> Iterator[tuple[Any, Any]]:
    """(container, key) of everything in a tree."""
    for key in list(tree) if isinstance(tree, dict) else range(len(tree)):
        yield tree, key
        if isinstance(tree[key], dict | list):
            yield from nodes(tree[key])


def odd_value(dice: random.Random, old: Any) -> Any:
    """Something that does not belong there."""
    return dice.choice([
        lambda: dice.choice(ODD),
        lambda: dice.choice([None, True, -1, 0, 10**30, 1e308, -0.0]),
        lambda: [old],
        lambda: {"x": old},
        list,
        lambda: [dice.choice(ODD) for _ in range(dice.randint(1, 40))],
        lambda: {dice.choice(ODD): dice.choice(ODD)},
        lambda: f"{old}{dice.choice(ODD)}",
        lambda: dice.choice(ODD) + str(old),
    ])()  # fmt: skip


def spoil_tree(dice: random.Random, tree: Any) -> None:
    """Change one to three things in a tree."""
    for _ in range(dice.randint(1, 3)):
        places = list(nodes(tree))
        if not places:
            return
        holder, key = dice.choice(places)
        act = dice.random()
        if act < 0.6:
            holder[key] = odd_value(dice, holder[key])
        elif act < 0.75:
            del holder[key]
        elif isinstance(holder, dict):
            holder[dice.choice([*ODD[:20], "bogus", str(key).upper(), f"{key} "])] = holder[key]
        else:
            holder.extend([holder[key]] * dice.choice([1, 1, 3, 3, 40, 300]))


def deep(dice: random.Random) -> bytes:
    return dice.choice([b"[", b"{a: ", b"- ", b"? "]) * dice.choice([50, 3000, 60_000])


def bomb() -> bytes:
    rows = [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}' if n else 'x'] * 9)}]" for n in range(12)]
    return "\n".join(rows).encode()


def spoil_text(dice: random.Random, text: bytes) -> bytes:
    """Change some bytes of a text."""
    act, at = dice.random(), dice.randrange(len(text))
    if act < 0.5:
        for _ in range(dice.randint(1, 4)):
            at = dice.randrange(len(text))
            text = text[:at] + dice.choice(BYTES) + text[at:]
        return text
    if act < 0.6:
        return text[:at]
    if act < 0.7:
        return text[:at] + text[dice.randrange(len(text)) :]
    if act < 0.78:
        return text + text
    if act < 0.86:
        return b"words: " + deep(dice) + b"\n" + text
    if act < 0.9:
        return bomb() + b"\n" + text
    if act < 0.95:
        return text.replace(b"psi", b"9" * dice.choice([400, 100_000]), 1)
    return bytes(dice.randrange(256) for _ in range(dice.randrange(400)))


class Plain(yaml.SafeDumper):
    """Writes a thing twice where it stands twice; with anchors every such file would fall at the first hurdle."""

    def ignore_aliases(self, data: Any) -> bool:
        return True


def case_files() -> list[bytes]:
    """The mutants."""
    dice = random.Random(SEED)
    valid = [RICH.encode(), *(p.read_bytes() for p in sorted(EXAMPLES.glob("*.yaml")))]
    made = []
    for number in range(FILES):
        text = valid[number % len(valid)]
        if dice.random() < 0.6:
            tree = yaml.load(text, yaml.BaseLoader)
            spoil_tree(dice, tree)
            text = yaml.dump(tree, Dumper=Plain, allow_unicode=True, sort_keys=False).encode("utf-8", "surrogatepass")
        else:
            text = spoil_text(dice, text)
        made.append(text)
    return made


def memory_mb() -> float:
    """The most this process ever held; 0 where it is not told."""
    try:
        import resource
    except ImportError:
        return 0.0
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / 1e6 if sys.platform == "darwin" else most / 1e3


def valid(path: Path, knowledge: Any) -> bool:
    """Whether a file passes the check; anything but a refusal by our own error is a failure of the test."""
    try:
        checked(read_case_file(path), knowledge)
    except ChillerError:
        return False
    return True


def sound(lines: list[str]) -> None:
    """What every refusal looks like."""
    assert 1 <= len(lines) <= MOST_LINES
    for line in lines:
        assert 10 <= len(line) <= LONGEST_LINE and line.isprintable(), line
        assert "Traceback" not in line and "Error:" not in line and " object at 0x" not in line, line


def test_the_files_that_are_spoilt_are_valid() -> None:
    """What the mutants come from passes, so that a refusal is about the mutation."""
    for text in [RICH, *(p.read_text(encoding="utf-8") for p in sorted(EXAMPLES.glob("*.yaml")))]:
        checked(read_case_text(text), load_knowledge())


@pytest.fixture
def one_base(monkeypatch: pytest.MonkeyPatch) -> None:
    """The cards are read once, not for each of hundreds of files."""
    knowledge = load_knowledge()
    monkeypatch.setattr("diagnose.commands.load_knowledge", lambda: knowledge)


@pytest.mark.usefixtures("one_base")
def test_spoilt_case_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each alone: exit 2 with clear lines and nothing on standard output, or exit 0 with one whole advice (the first of
    those that are still valid are worked; the rest only pass the check)."""
    knowledge = load_knowledge()
    before, ends = memory_mb(), Counter[int]()
    for number, content in enumerate(case_files()):
        path = tmp_path / f"{number}.yaml"
        path.write_bytes(content)
        if ends[0] >= WORKED and valid(path, knowledge):
            continue
        started = time.process_time()
        code = main(["run", str(path), "--json"])
        took, said = time.process_time() - started, capsys.readouterr()
        ends[code] += 1
        try:
            assert took < SLOWEST_S
            if code == 0:
                Advice.model_validate_json(said.out)
                assert not said.err
            else:
                assert code == 2 and not said.out
                sound(said.err.splitlines())
        except AssertionError as error:
            raise AssertionError(f"file {number}: {content[:2000]!r}") from error
    assert ends[2] > 0.6 * FILES, ends
    assert memory_mb() - before < MOST_MB


@pytest.mark.parametrize(
    ("what", "content"),
    [
        ("keys", "complaint: low-suction\nentries:\n- {" + ", ".join(f"k{n}: x" for n in range(30_000)) + "}\n"),
        ("entries", "complaint: low-suction\nentries:\n" + "- {a: 1, b: 2, c: 3, d: 4, e: 5}\n" * 1990),
        ("digits", "complaint: low-suction\nformat: " + "9" * 5000 + "\n"),
        ("other digits", "complaint: low-suction\nformat: \N{SUPERSCRIPT TWO}\n"),
        ("long key", "complaint: low-suction\n" + "k" * 100_000 + ": x\n"),
        ("words", "complaint: low-suction\nwords: " + "burnt " * 150_000 + "\n"),
        ("brackets in text", "complaint: low-suction\nwords: '" + "[{" * 200_000 + "'\n"),
        ("circuits", "complaint: low-suction\nmachine: {circuits: {" + ", ".join(f"C{n}: {{}}" for n in range(40_000)) + "}}\n"),
        ("curve", "complaint: low-suction\nmachine: {drop_curve: [" + "[1 gpm, 1 psi], " * 30_000 + "[2 gpm, 2 psi]]}\n"),
        ("context", "complaint: low-suction\ncontext: [" + ", ".join(f"c{n}" for n in range(20_000)) + "]\n"),
    ],
    ids=lambda v: v if len(v) < 30 else "",
)  # fmt: skip
@pytest.mark.usefixtures("one_base")
def test_much_of_one_thing(what: str, content: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As much of one wrong thing as a file may hold: the time grows with the file, not with its square."""
    path = tmp_path / "much.yaml"
    path.write_text(content, encoding="utf-8")
    started = time.process_time()
    assert main(["run", str(path)]) == 2
    assert time.process_time() - started < 2 * SLOWEST_S
    sound(capsys.readouterr().err.splitlines())


PATHS = ["../../etc/passwd", "/dev/zero", "/dev/full/x", "x" * 5000, "", " ", "~root/x", "CON", "nul.yaml", "-x", "\u202e.yaml",
         "file:///etc/passwd", "http://example.org/x.yaml", "%2e%2e/x", "*", "|cat", "$(id)", "a\nb"]  # fmt: skip


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.usefixtures("one_base")
def test_odd_names_of_files(path: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: Any) -> None:
    """Names that are no case file, to read and to write: one line, no file anywhere else."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "case.yaml").write_text(RICH)
    acts = [
        ["run", path],
        ["store", "--store", "x.sqlite", "import", path],
        ["store", "--store", "y.sqlite", "restore", path],
    ]
    for act in acts:
        try:
            code = main(act)
        except SystemExit as error:  # an option, says the parser
            code = int(error.code or 0)
        said = capsys.readouterr()
        assert code == 2 and said.err and "Traceback" not in said.err
    left = {p.name.partition("-")[0] for p in tmp_path.iterdir()}
    assert left <= {"case.yaml", "x.sqlite", "y.sqlite"}


# call files ----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def call_data(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The document of a call with every kind of event."""
    store = Store(str(tmp_path_factory.mktemp("fuzz") / "x.sqlite"))
    case = yaml.load(RICH, yaml.BaseLoader)
    entries = case.pop("entries")
    case["format"] = 1
    call = store.open_call(case, by="Ann", call_id="call-1")
    for n, entry in enumerate(entries):
        store.append(call, entry, key=f"k{n}", after_revision=n, by="Ann")
    n = len(entries)
    store.undo(call, key="u", after_revision=n, by="Bo")
    store.set_aside(call, "valve-handles", "unit", key="s", after_revision=n + 1, by="Ann")
    store.amend(call, {"qualified": ["electrical"]}, key="m", after_revision=n + 2, by="Ann")
    store.close_call(call, "left", key="c", after_revision=n + 3, by="Ann")
    data: dict[str, Any] = json.loads(json.dumps(call_as_data(store.call(call))))
    store.close()
    return data


def test_spoilt_call_files(tmp_path: Path, call_data: dict[str, Any]) -> None:
    """Each is imported whole, and then the records hold together, or refused with clear lines, and then nothing is there."""
    knowledge, dice, ends = load_knowledge(), random.Random(SEED), Counter[str]()
    check: Callable[[Any], None] = lambda case: checked(case, knowledge) and None  # noqa: E731
    store = Store(str(tmp_path / "x.sqlite"), check=check)
    store.import_call(json.dumps({**call_data, "id": "whole"}).encode(), by="Kit")
    for number in range(CALLS):
        tree = json.loads(json.dumps({**call_data, "id": f"call-{number}"}))
        if dice.random() < 0.7:
            spoil_tree(dice, tree)
            content = json.dumps(tree).encode()
        else:
            content = spoil_text(dice, json.dumps(tree).encode())
        before, started = len(store.calls()), time.process_time()
        try:
            store.import_call(content, by="Kit")
            ends["taken"] += 1
        except ChillerError as error:
            ends["refused"] += 1
            assert len(store.calls()) == before
            sound(error.line().splitlines())
        assert time.process_time() - started < SLOWEST_S
    assert store.problems() == []
    for line in store.calls():
        checked(store.call(line.id).case, knowledge)
    assert ends["refused"] > 0.6 * CALLS and ends["taken"] > 3, ends
    store.close()
