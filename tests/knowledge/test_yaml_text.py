"""The strings-only YAML reader: nothing is turned into another type, nothing expands, nothing is lost."""

from __future__ import annotations

import pytest

from knowledge.yaml_text import MAX_BYTES, YamlProblem, read_yaml


def test_everything_is_text() -> None:
    """`off`, `no`, `12:30`, numbers and dates stay what was written (YAML 1.1 would turn each into something else)."""
    data, _ = read_yaml("a: off\nb: no\nc: 12:30\nd: 1e3\ne: 2026-01-01\nf: ~\ng: [on, y, 0x10]\n")
    assert data == {
        "a": "off",
        "b": "no",
        "c": "12:30",
        "d": "1e3",
        "e": "2026-01-01",
        "f": "~",
        "g": ["on", "y", "0x10"],
    }


def test_lines_are_known() -> None:
    """Each key has its line for the error text."""
    _, lines = read_yaml("a: 1\nb:\n- x\n- c: 2\n")
    assert lines[("a",)] == 1 and lines[("b", 1, "c")] == 4


BOMB = "a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n"


@pytest.mark.parametrize(
    "text",
    [
        "a: 1\na: 2\n",
        BOMB,
        "a: !!python/object:os.system x\n",
        "a: [1, 2\n",
        "? [a, b]\n: c\n",
        "a: 1\n---\nb: 2\n",
        "[" * 60 + "]" * 60,
        "a: \x00",
        "x" * (MAX_BYTES + 1),
        "a: b: c",
    ],
)
def test_refused_with_a_line(text: str) -> None:
    """Duplicate keys, aliases, tags, broken text, deep nesting, size: one problem with its line."""
    with pytest.raises(YamlProblem) as caught:
        read_yaml(text)
    assert caught.value.line_number >= 1


def test_empty_is_empty() -> None:
    """An empty file is no error of the reader."""
    assert read_yaml("")[0] == "" and read_yaml("# only a comment\n")[0] == ""
