"""Bad case files and readings: exit 2, one clear line for each problem, no traceback, nothing written anywhere.

The files lie in `bad_cases/`; its manifest says of each which pieces its lines must hold: what was given, what is allowed or
what to do. Files that are better made than kept (10 MB, binary, another encoding) are made here.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

from diagnose.__main__ import main
from diagnose.case_check import case_problems, parse_case, read_case_file
from diagnose.store import Store
from knowledge.load import load_knowledge
from shared.errors import CaseError, ReadingError
from shared.units import parse_reading

FOLDER = Path(__file__).parent / "bad_cases"
MANIFEST: dict[str, list[list[str]]] = yaml.safe_load((FOLDER / "manifest.yml").read_text(encoding="utf-8"))
READINGS: list[list[Any]] = yaml.safe_load((FOLDER / "readings.yml").read_text(encoding="utf-8"))
FILES = sorted(FOLDER.glob("*.yaml"))
LONGEST_LINE = 420  # a line that still can be read in a terminal of 140 columns, three times over
SLOWEST_S = 5.0  # a bomb would take for ever; two shared cores take far less than this

Run = Callable[..., list[str]]


def snapshot(folder: Path) -> dict[str, tuple[int, bytes]]:
    """Every file below a folder with its time of change and content."""
    return {
        str(p.relative_to(folder)): (p.stat().st_mtime_ns, p.read_bytes())
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


@pytest.fixture(scope="session")
def kept_calls(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Content of a store with one call in it."""
    path = tmp_path_factory.mktemp("store") / "calls.sqlite"
    store = Store(str(path))
    store.open_call({"complaint": "low-suction"}, by="test")
    store.close()
    return path.read_bytes()


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kept_calls: bytes) -> Path:
    """A home with a store that holds one call, and a current folder; the cards' cache lies elsewhere and is warm."""
    load_knowledge()
    home = tmp_path / "home"
    (home / "work").mkdir(parents=True)
    for name in ("HOME", "USERPROFILE", "XDG_DATA_HOME", "LOCALAPPDATA"):
        monkeypatch.setenv(name, str(home))
    monkeypatch.setenv("CHILLER_STORE", str(home / "calls.sqlite"))
    monkeypatch.chdir(home / "work")
    (home / "calls.sqlite").write_bytes(kept_calls)
    return home


@pytest.fixture
def refused(home: Path, capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs the command on a file in this process; checks all that holds for every bad case; returns the lines."""

    def run(path: Path | str, *flags: str, command: str = "run") -> list[str]:
        before, started = snapshot(home), time.process_time()  # others may be busy on this machine
        code = main([command, str(path), *flags])
        took = time.process_time() - started
        said = capsys.readouterr()
        check_refusal(code, said.out, said.err)
        assert took < SLOWEST_S
        assert snapshot(home) == before, "the home, its store or the current folder was touched"
        return said.err.splitlines()

    return run


def check_refusal(code: int, out: str, err: str) -> None:
    """What every refusal looks like."""
    assert code == 2
    assert out == ""
    assert "Traceback" not in err and "Error:" not in err
    lines = err.splitlines()
    assert lines and len(set(lines)) == len(lines)
    for line in lines:
        assert 20 <= len(line) <= LONGEST_LINE, line
        assert line.isprintable(), "control characters reach the terminal"


def check_lines(lines: list[str], wanted: list[list[str]]) -> None:
    """One line for each problem, each with its pieces; their order is free."""
    assert len(lines) == len(wanted), lines
    left = list(lines)
    for pieces in wanted:
        line = next((one for one in left if all(p in one for p in pieces)), None)
        assert line is not None, f"no line with {pieces} in {left}"
        left.remove(line)


def test_manifest_and_files_fit() -> None:
    """Every file has its row and every row its file, and there are as many as promised."""
    assert {f.stem for f in FILES} == set(MANIFEST)
    assert len(FILES) >= 55
    assert all(len(pieces) >= 2 for lines in MANIFEST.values() for pieces in lines if "YAML" not in pieces[0])


@pytest.mark.parametrize("name", sorted(MANIFEST))
def test_bad_case_file(name: str, refused: Run) -> None:
    """The file is refused; each problem has its line, with the key or the value it is about."""
    check_lines(refused(FOLDER / f"{name}.yaml"), MANIFEST[name])


@pytest.mark.parametrize("flags", [["--json"], ["--steps"], ["--json", "--steps"]], ids=" ".join)
def test_no_flag_prints_half_an_advice(flags: list[str], refused: Run) -> None:
    """Nothing on standard output, whatever form of advice was asked for."""
    for name in ("entry-twice", "value-nan", "yaml-bomb"):
        check_lines(refused(FOLDER / f"{name}.yaml", *flags), MANIFEST[name])


def test_no_report_and_no_dialogue_of_a_bad_case(home: Path, refused: Run) -> None:
    """`report` leaves no file behind, `ask` asks nothing."""
    path = FOLDER / "place-no-such-circuit.yaml"
    check_lines(refused(path, "-o", str(home / "report.html"), command="report"), MANIFEST[path.stem])
    check_lines(refused(path, "-o", str(home / "kept.yaml"), command="ask"), MANIFEST[path.stem])


# files that are made -------------------------------------------------------------------------------------------------


def made(folder: Path, name: str, content: bytes) -> Path:
    path = folder / name
    path.write_bytes(content)
    return path


def test_ten_megabytes(tmp_path: Path, refused: Run) -> None:
    """Refused by its size, before it is parsed."""
    path = made(tmp_path, "big.yaml", b"complaint: low-suction\nwords: " + b"w" * 10_000_000 + b"\n")
    check_lines(refused(path), [["big.yaml", "file too large", "bytes", "up to 1000000 bytes"]])


def test_just_above_the_limit(tmp_path: Path, refused: Run) -> None:
    """One byte over the limit is over it, one below is read."""
    head = b"complaint: low-suction\n#"
    assert read_case_file(made(tmp_path, "most.yaml", head + b"c" * (1_000_000 - len(head)))).complaint == "low-suction"
    check_lines(refused(made(tmp_path, "over.yaml", head + b"c" * (1_000_001 - len(head)))), [["file too large"]])


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no endless device on this system")
def test_file_without_end(refused: Run) -> None:
    """A device says its size is 0 and never ends; no more than the limit is read from it."""
    check_lines(refused("/dev/zero"), [["zero", "file too large", "up to 1000000 bytes"]])


def test_deep_beyond_the_stack(tmp_path: Path, refused: Run) -> None:
    """A hundred thousand brackets end in one line, not in the interpreter's limit."""
    path = made(tmp_path, "deep.yaml", b"complaint: " + b"[" * 100_000 + b"]" * 100_000)
    check_lines(refused(path), [["deep.yaml", "line 1", "nest"]])


@pytest.mark.parametrize(
    ("content", "pieces"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x01", ["not a text file", "UTF-8"]),
        (bytes(range(256)) * 40, ["not a text file", "UTF-8"]),
        ("complaint: low-suction\n".encode("utf-16"), ["not a text file", "UTF-8"]),
        ("complaint: low-suction\nwords: Wärme\n".encode("latin-1"), ["not a text file", "UTF-8"]),
        (b"complaint: low-suction\nwords: a\x00b\n", ["not readable as YAML", "control characters"]),
        (b"\x00" * 4096, ["not readable as YAML", "control characters"]),
        (b"\xef\xbb\xbf", ["not a case file", "nothing in it"]),
        (b"   \n\n\t", ["made.yaml"]),
    ],
    ids=["picture", "bytes", "utf-16", "latin-1", "nul", "nuls", "only a mark", "spaces"],
)
def test_not_text(content: bytes, pieces: list[str], tmp_path: Path, refused: Run) -> None:
    """What is no UTF-8 text is named so, with what to save it as."""
    check_lines(refused(made(tmp_path, "made.yaml", content)), [["made.yaml", *pieces]])


def test_directory_and_missing_file(tmp_path: Path, refused: Run) -> None:
    """The name given is in the line."""
    (tmp_path / "calls").mkdir()
    check_lines(refused(tmp_path / "calls"), [["calls", "cannot be read", "check the path"]])
    check_lines(refused(tmp_path / "absent.yaml"), [["absent.yaml", "cannot be read", "check the path"]])
    check_lines(refused(tmp_path / ("n" * 300 + ".yaml")), [["nnn", "cannot be read", "check the path"]])


def test_file_nobody_may_read(tmp_path: Path, refused: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Permission denied is told as such. Faked, since an administrator may read everything."""
    path = made(tmp_path, "locked.yaml", b"complaint: low-suction\n")
    real = Path.open

    def denied(self: Path, *args: Any, **more: Any) -> Any:
        if self == path:
            raise PermissionError(13, "Permission denied", str(self))
        return real(self, *args, **more)

    monkeypatch.setattr(Path, "open", denied)
    check_lines(refused(path), [["locked.yaml", "cannot be read", "Permission denied"]])


def test_more_entries_than_a_call_can_have(tmp_path: Path, refused: Run) -> None:
    """Two thousand entries are the limit, told with both numbers."""
    text = "complaint: low-suction\nentries:\n" + "".join(f"- {{note: n{i}}}\n" for i in range(2001))
    check_lines(refused(made(tmp_path, "long.yaml", text.encode())), [["long.yaml.entries", "2001", "up to 2000"]])


@pytest.mark.parametrize("entry", ["{check: no-such-%d, answer: so}", "{bogus-%d: so}"], ids=["ids", "keys"])
def test_many_problems_are_cut_and_counted(entry: str, tmp_path: Path, refused: Run) -> None:
    """Sixty problems are forty lines and one that says how many were left out."""
    text = "complaint: low-suction\nentries:\n" + "".join(f"- {entry % i}\n" for i in range(60))
    lines = refused(made(tmp_path, "many.yaml", text.encode()))
    check_lines(lines[:-1], [[f"entries.{i + 1}.", f"-{i}'"] for i in range(40)])
    assert "20 more" in lines[-1]


def test_two_problems_of_different_stages_of_reading(refused: Run, tmp_path: Path) -> None:
    """Machine card, entry and complaint are wrong: all three are told at once."""
    text = "complaint: nothing-such\nmachine: {voltage: 24 V}\nentries:\n- {quantity: flow, value: 5 A}\n"
    check_lines(
        refused(made(tmp_path, "three.yaml", text.encode())),
        [["complaint", "'nothing-such'"], ["machine.voltage", "24 V"], ["entries.1.value", "5 A"]],
    )


COUNTED = {"circuits": "2", "compressors": "4", "fans": "6"}
LISTED = {
    "circuits": {"A": {"compressors": ["A1", "A2"], "fans": ["1", "2"]}, "B": {"compressors": ["B1"], "fans": ["3"]}}
}
NUMBERED = {"circuits": {"1": {"compressors": ["1a", "1b"]}, "2": {"compressors": ["2a", "2b"]}}}
GOOD_PLACES = [
    ({}, "suction_pressure", ["", "A", "circuit:A", "circuit B", "circuit:2", "1", "compressor:A1"]),
    (COUNTED, "suction_pressure", ["b", "circuit:B", "circuit:2", "compressor:B2", "fan:6", "A2"]),
    (LISTED, "sump", ["compressor:A2", "compressor:b1", "A1", "circuit:B", "compressor:A?"]),
    (LISTED, "fan_current", ["fan:3", "fan:B3", "circuit:A"]),
    (NUMBERED, "fan_current", ["fan:1", "fan:12", "circuit:1"]),
    (NUMBERED, "sump", ["compressor:1a", "compressor:2B", "circuit:2"]),
    (COUNTED, "line_current", ["supply", "pump:onboard", "onboard", "compressor:A1", "fan:2", "supply:L2"]),
    ({}, "pump_suction", ["", "pump", "pump:site", "onboard", "unit"]),
    (COUNTED, "entering_fluid", ["unit", "loop", "circuit:A", "chiller:2"]),
]


@pytest.mark.parametrize(("machine", "quantity", "places"), GOOD_PLACES, ids=lambda v: v if isinstance(v, str) else "")
def test_good_places_are_taken(machine: dict[str, Any], quantity: str, places: list[str]) -> None:
    """The other side of the refusals: every way to name a place that this machine has."""
    value = {"sump": "90 F", "fan_current": "2 A", "line_current": "9 A", "entering_fluid": "54 F"}.get(
        quantity, "12 psig"
    )
    for place in places:
        entry = {"quantity": quantity, "value": value, "place": place}
        case = parse_case({"complaint": "low-suction", "machine": machine, "entries": [entry]})
        assert case_problems(case, load_knowledge()) == [], place


# readings ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("quantity", "value", "pieces"), READINGS, ids=lambda v: str(v)[:30])
def test_bad_reading(quantity: str, value: str, pieces: list[str]) -> None:
    """Refused in one line that says what was given, what is allowed and what to do, in no time."""
    started = time.perf_counter()
    with pytest.raises(ReadingError) as caught:
        parse_reading(quantity, value)
    assert time.perf_counter() - started < SLOWEST_S
    line = caught.value.line()
    assert "\n" not in line and len(line) <= LONGEST_LINE
    assert not [p for p in pieces if p not in line], line
    assert caught.value.allowed and caught.value.do


def test_all_bad_readings_in_one_case(tmp_path: Path, refused: Run) -> None:
    """Forty bad readings in one file: forty lines, each with the number of its entry."""
    rows = [r for r in READINGS if r[1]][:40]
    body = yaml.safe_dump({"complaint": "low-suction", "entries": [{"quantity": q, "value": v} for q, v, _ in rows]})
    lines = refused(made(tmp_path, "readings.yaml", body.encode()))
    check_lines(lines, [[f"entries.{n}.", *pieces] for n, (_, _, pieces) in enumerate(rows, 1)])


# through the real command --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["yaml-bomb", "value-control-characters", "machine-of-text", "entry-twice"])
def test_from_the_shell(name: str, tmp_path: Path) -> None:
    """The same through a process of its own: exit code 2, standard error, an empty standard output, no file made."""
    (tmp_path / "work").mkdir()
    before = snapshot(tmp_path)
    variables = {**os.environ, "CHILLER_STORE": str(tmp_path / "calls.sqlite"), "PYTHONIOENCODING": "ascii"}
    done = subprocess.run(
        [sys.executable, "-m", "diagnose", "run", str(FOLDER / f"{name}.yaml"), "--json"],
        cwd=tmp_path / "work",
        env=variables,
        capture_output=True,
        timeout=60,
        check=False,
    )
    check_refusal(done.returncode, done.stdout.decode(), done.stderr.decode())
    check_lines(done.stderr.decode().splitlines(), MANIFEST[name])
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize("arguments", [["run"], ["run", "a.yaml", "--no-such-flag"], ["no-such-command"], []])
def test_wrong_use(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2 and how it is used, on standard error."""
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    said = capsys.readouterr()
    assert ended.value.code == 2 and said.out == "" and "usage:" in said.err


def test_the_errors_carry_their_problems() -> None:
    """Other desks draw the same lines: the error holds them one by one."""
    with pytest.raises(CaseError) as caught:
        read_case_file(FOLDER / "keys-unknown.yaml")
    assert len(caught.value.problems) == len(MANIFEST["keys-unknown"])
