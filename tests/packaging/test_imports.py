"""The arrows shared <- knowledge <- diagnose <- ui, and who alone may import which library."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
OURS = ("shared", "knowledge", "diagnose", "ui")
MAY_IMPORT = {
    "shared": {"shared"},
    "knowledge": {"shared", "knowledge"},
    "diagnose": {"shared", "knowledge", "diagnose"},
    "ui": set(OURS),
}
# knowledge/__main__.py is an application: it fires specimens and replays calls, importing in functions only.
LAZY_EXCEPTION = "knowledge/__main__.py"
ONE_IMPORTER = {"experta": "diagnose", "frozendict": "diagnose", "pint": "shared", "sqlalchemy": "diagnose"}


def imports_of(source: str, package: str) -> Iterator[tuple[str, bool]]:
    """Each imported module's full name, and whether that runs on import of the module (not in a function).

    Counts `import`, `from ... import`, and `import_module("...")` or `__import__("...")` with a literal name.
    """
    tree = ast.parse(source)
    lazy = {
        inner
        for outer in ast.walk(tree)
        if isinstance(outer, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
        for inner in ast.walk(outer)
    }
    for node in ast.walk(tree):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            parts = package.split(".")[: len(package.split(".")) - (node.level - 1)] if node.level else []
            base = ".".join([*parts, *([node.module] if node.module else [])])
            names = [base, *(f"{base}.{alias.name}" for alias in node.names)]
        elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in ("import_module", "__import__") and isinstance(node.args[0].value, str):
                names = [node.args[0].value]
        for name in names:
            yield name, node not in lazy


def top(name: str) -> str:
    return name.partition(".")[0]


@lru_cache(maxsize=1)
def all_imports() -> tuple[tuple[str, str, bool], ...]:
    """(file, imported module, at import time) over our four packages."""
    return tuple(
        (path.relative_to(ROOT).as_posix(), name, eager)
        for package in OURS
        for path in sorted((ROOT / package).rglob("*.py"))
        for name, eager in imports_of(path.read_text(encoding="utf-8"), ".".join(path.parent.relative_to(ROOT).parts))
    )


def arrow_problems(imports: Iterable[tuple[str, str, bool]]) -> set[str]:
    problems = set()
    for file, name, eager in imports:
        target, home = top(name), file.partition("/")[0]
        if target == "tests":
            problems.add(f"{file} imports tests")
        if target in OURS and target not in MAY_IMPORT[home]:
            if file == LAZY_EXCEPTION and target == "diagnose" and not eager:
                continue
            problems.add(f"{file} imports {target}{' at once' if eager else ''}")
        if target == "streamlit" and home != "ui":
            problems.add(f"{file} imports streamlit; only ui may")
    return problems


def test_imports_follow_the_arrows() -> None:
    found = all_imports()
    assert len({file for file, _, _ in found}) > 10, "nothing was looked at"
    assert arrow_problems(found) == set()


@pytest.mark.parametrize(
    ("file", "source", "problem"),
    [
        ("shared/a.py", "import knowledge.loader", "shared/a.py imports knowledge at once"),
        ("shared/a.py", "from ..ui import page", "shared/a.py imports ui at once"),
        ("knowledge/a.py", "def f():\n    from diagnose import case", "knowledge/a.py imports diagnose"),
        (LAZY_EXCEPTION, "import diagnose", f"{LAZY_EXCEPTION} imports diagnose at once"),
        (LAZY_EXCEPTION, "def f():\n    import diagnose.engine", None),
        (LAZY_EXCEPTION, "def f():\n    import ui", f"{LAZY_EXCEPTION} imports ui"),
        ("diagnose/a.py", "import importlib\nimportlib.import_module('ui.app')", "diagnose/a.py imports ui"),
        ("diagnose/b/a.py", "def f():\n    import streamlit", "diagnose/b/a.py imports streamlit"),
        ("diagnose/b/a.py", "from . import c\nfrom ..x import y\nfrom shared.units import z", None),
        ("ui/a.py", "from tests.conftest import browser", "ui/a.py imports tests"),
    ],
)
def test_a_wrong_arrow_is_seen(file: str, source: str, problem: str | None) -> None:
    package = file.rpartition("/")[0].replace("/", ".")
    problems = arrow_problems((file, name, eager) for name, eager in imports_of(source, package))
    if problem is None:
        assert problems == set()
    else:
        assert any(problem in one for one in problems), problems


def importers_of(library: str) -> set[str]:
    return {file for file, name, _ in all_imports() if top(name) == library}


@pytest.mark.parametrize(("library", "home"), ONE_IMPORTER.items())
def test_one_module_is_the_seam_to(library: str, home: str) -> None:
    """So that another engine, unit library or store can take its place; its traps are kept in one file."""
    importers = importers_of(library)
    assert len(importers) == 1, f"{library} is imported by {sorted(importers)}"
    assert top(next(iter(importers)).replace("/", ".")) == home


def test_the_engine_and_its_compatibility_trick_are_one_module() -> None:
    assert importers_of("experta") == importers_of("frozendict")


def test_no_module_of_ui_hides_another() -> None:
    """Streamlit puts its script folder first on the import path, so a module there hides its namesakes."""
    hiding = {
        *OURS,
        "tests",
        *sys.stdlib_module_names,
        "altair",
        "experta",
        "networkx",
        "numpy",
        "pandas",
        "pint",
        "pydantic",
        "sqlalchemy",
        "starlette",
        "streamlit",
        "yaml",
    }
    hiding -= {"__main__", "__init__"}
    modules = [path for path in (ROOT / "ui").rglob("*.py") if "__pycache__" not in path.parts]
    assert modules
    files = {path.relative_to(ROOT).as_posix() for path in modules if path.stem in hiding}
    folders = {
        path.parent.relative_to(ROOT).as_posix()
        for path in modules
        if path.parent != ROOT / "ui" and path.parent.name in hiding
    }
    assert files | folders == set()
