"""The pins are exact, complete and what is installed; nothing names an index host."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[2]
LINES = [
    line.strip()
    for line in (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    if line.strip() and not line.startswith("#")
]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
PINS = {canonicalize_name(Requirement(line).name): Requirement(line) for line in LINES}


def test_every_line_is_one_exact_release() -> None:
    wrong = [line for line in LINES if not re.fullmatch(r"[\w.-]+==[\w.]+( *; *[^:]+)?", line)]
    assert not wrong
    assert len(PINS) == len(LINES), "a package is pinned twice"


@pytest.mark.parametrize("name", ["constraints.txt", "pyproject.toml"])
def test_no_index_host_and_no_direct_address(name: str) -> None:
    text = (ROOT / name).read_text(encoding="utf-8")
    assert not re.search(r"https?://|--(extra-)?index-url|--find-links| @ ", text)


def closure() -> set[str]:
    """Names of all packages that an installation with all extras brings to this Python and system."""
    wanted = [Requirement(text) for text in PROJECT["dependencies"]]
    for extra in PROJECT["optional-dependencies"].values():
        wanted += [Requirement(text) for text in extra]
    seen: set[tuple[str, frozenset[str]]] = set()
    while wanted:
        requirement = wanted.pop()
        key = (canonicalize_name(requirement.name), frozenset(requirement.extras))
        if key in seen:
            continue
        seen.add(key)
        for text in metadata.requires(requirement.name) or ():
            inner = Requirement(text)
            extras = requirement.extras or {""}
            if inner.marker is None or any(inner.marker.evaluate({"extra": extra}) for extra in extras):
                wanted.append(inner)
    return {name for name, _ in seen}


def test_all_that_is_installed_is_pinned() -> None:
    names = closure()
    assert {"experta", "streamlit", "pydantic-core", "psycopg-binary"} <= names, "the walk lost its way"
    assert names - set(PINS) == set()


def test_no_pin_is_dead() -> None:
    here = {name for name, pin in PINS.items() if pin.marker is None or pin.marker.evaluate()}
    assert here - closure() == set()


def test_the_installed_releases_are_the_pinned_ones() -> None:
    different = {
        name: metadata.version(name)
        for name in closure()
        if not PINS[name].specifier.contains(metadata.version(name), prereleases=True)
    }
    assert different == {}
