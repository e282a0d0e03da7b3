"""What the pages must never do, read from their source."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import ui

FILES = sorted(Path(ui.__file__).parent.rglob("*.py"))


def calls() -> Iterator[tuple[str, str, ast.Call]]:
    """(file, name of what is called, the call)."""
    for file in FILES:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
                yield file.name, name, node


def test_answers_come_from_the_return_value_of_a_button() -> None:
    """A callback of a session that is gone is dropped without a word; the return value arrives."""
    for file, name, node in calls():
        for keyword in node.keywords:
            if keyword.arg in ("on_click", "on_change"):
                assert ast.unparse(keyword.value) in ("'ignore'", "'rerun'"), f"{file}: {name} has a callback"


def test_every_button_has_a_key() -> None:
    for file, name, node in calls():
        if name in ("button", "text_input", "selectbox", "pills", "checkbox", "text_area", "radio"):
            assert any(k.arg == "key" for k in node.keywords), f"{file}:{node.lineno}: {name} without a key"


def test_numbers_come_through_our_own_parser_and_markup_through_one_door() -> None:
    for file, name, node in calls():
        assert name not in ("number_input", "slider", "dataframe", "write"), f"{file}: {name}"
        assert not any(k.arg in ("unsafe_allow_html", "unsafe_allow_javascript") for k in node.keywords), file
        if name == "html" and isinstance(node.func, ast.Attribute):
            assert file == "parts.py", f"{file}: markup is drawn by parts.html, after escaping"


def test_pieces_with_a_script_are_made_by_one_door() -> None:
    """Streamlit's own refuses keys that hold the id of some calls (see `ui/components.py`)."""
    for file, name, node in calls():
        if name == "component" and isinstance(node.func, ast.Attribute):
            assert file == "components.py", f"{file}:{node.lineno}"


def test_no_trade_numbers_in_pages() -> None:
    """Limits of the trade live on cards. Pages may count rows and characters, with a name for each count."""
    allowed = {0, 1, 2, 3}
    for file in FILES:
        tree = ast.parse(file.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Compare):
                for side in (node.left, *node.comparators):
                    if isinstance(side, ast.Constant) and isinstance(side.value, int | float):
                        known = side.value in allowed or file.name == "__main__.py"
                        assert known, f"{file.name}:{node.lineno}: compared with {side.value}"
