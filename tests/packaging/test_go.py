"""The one-command start: which Python it takes, when it makes, refreshes or reuses its environment."""

from __future__ import annotations

import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
GO = ROOT / ".ci" / "go.py"


@pytest.fixture(scope="module")
def go() -> ModuleType:
    spec = importlib.util.spec_from_file_location("go_under_test", GO)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("version", [(3, 11, 0), (3, 12, 8), (3, 13, 9)])
def test_supported_pythons(go: ModuleType, version: tuple[int, ...]) -> None:
    assert go.version_problem(version) is None


@pytest.mark.parametrize("version", [(2, 7, 18), (3, 6, 15), (3, 10, 13), (3, 14, 0), (4, 0, 0)])
def test_other_pythons_get_one_line(go: ModuleType, version: tuple[int, ...]) -> None:
    line = go.version_problem(version)
    assert line.startswith("Python " + ".".join(map(str, version)))
    assert "3.11, 3.12 or 3.13" in line and "\n" not in line


def test_the_range_is_that_of_the_project(go: ModuleType) -> None:
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert f'requires-python = ">={go.OLDEST[0]}.{go.OLDEST[1]},<{go.NEWEST[0]}.{go.NEWEST[1] + 1}"' in text


def test_an_old_python_can_read_the_file() -> None:
    """A Python 3.6 must reach the version check. 3.7 is the oldest grammar that `ast` still offers."""
    import ast

    ast.parse(GO.read_text(encoding="utf-8"), feature_version=(3, 7))


@pytest.mark.parametrize("missing", ["venv", "ensurepip"])
def test_a_python_without_venv_or_ensurepip_gets_one_line(go: ModuleType, missing: str) -> None:
    line = go.missing_stdlib_problem(lambda name: None if name == missing else object())
    assert missing in line and "apt install python3" in line and "\n" not in line
    assert go.missing_stdlib_problem(lambda name: object()) is None


@pytest.mark.parametrize("arguments", [[], ["tests"], ["--help"]])
def test_wrong_use_is_one_line_and_exit_2(arguments: list[str]) -> None:
    done = subprocess.run([sys.executable, GO, *arguments], capture_output=True, text=True, check=False)
    assert done.returncode == 2 and done.stdout == ""
    assert len(done.stderr.splitlines()) == 1 and "app" in done.stderr and "test" in done.stderr


HAVE = {"python": "3.12", "checkout": "/here", "digest": "a", "extras": ["postgres"]}


@pytest.mark.parametrize(
    ("changed", "exists", "work"),
    [
        ({}, True, "nothing"),
        ({"extras": ["postgres", "test"]}, True, "nothing"),  # the larger environment also runs the app
        ({"digest": "b"}, True, "install"),
        ({"extras": []}, True, "install"),
        ({"python": "3.11"}, True, "create"),
        ({"checkout": "/there"}, True, "create"),
        ({}, False, "create"),
    ],
)
def test_what_is_done_to_the_environment(go: ModuleType, changed: dict[str, Any], exists: bool, work: str) -> None:
    assert go.work_to_do({**HAVE, **changed}, HAVE, exists) == work


def test_an_environment_of_unknown_making_is_installed_into(go: ModuleType, tmp_path: Path) -> None:
    assert go.read_state(str(tmp_path)) == {}
    assert go.work_to_do({}, HAVE, True) == "install"
    (tmp_path / "chiller-diagnose.json").write_text('{"digest": "cut sho', encoding="utf-8")
    assert go.read_state(str(tmp_path)) == {}
    go.write_state(str(tmp_path), HAVE)
    assert go.read_state(str(tmp_path)) == HAVE


def test_the_digest_follows_both_files(go: ModuleType, tmp_path: Path) -> None:
    digests = set()
    for constraints, project in (("a==1", "x"), ("a==2", "x"), ("a==1", "y"), ("a==1x", "")):
        (tmp_path / "constraints.txt").write_text(constraints, encoding="utf-8")
        (tmp_path / "pyproject.toml").write_text(project, encoding="utf-8")
        digests.add(go.wanted_state(str(tmp_path), "test")["digest"])
    assert len(digests) == 4


def test_every_step_runs_and_any_failure_counts(
    go: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    codes = {"ruff": 0, "mypy": 1, "knowledge": 0, "pytest": 0}
    seen: list[list[str]] = []

    def pretend(command: list[str]) -> int:
        seen.append(command)
        return codes[command[2]]

    monkeypatch.setattr(go, "run", pretend)
    assert go.test("python", ["-k", "one"]) == 1
    assert [command[2] for command in seen] == list(codes)
    assert "--doctest-modules" in seen[-1] and seen[-1][-2:] == ["-k", "one"]
    assert "mypy" in capsys.readouterr().out.splitlines()[-1]
    codes["mypy"] = 0
    assert go.test("python", []) == 0
    assert capsys.readouterr().out.splitlines()[-1] == "go: pytest", "pytest's summary is the last line"
    codes["pytest"] = 5
    assert go.test("python", []) == 5
