"""Paste what the shown commands print into the documents again.

Run by hand from the root of the checkout after a change that moves an example:

    python tests/refresh_documents.py

A block is a ```console fence whose first line is `$ python -m diagnose ...`, below a mark that says what is shown:

    <!-- output: first 3; from "Next" 2 -->     blocks of the output; one block is a line with the indented lines below it
    <!-- output: all; answers "a", "b" -->      what is typed at the prompts

Numbers in a table marked `results` are read from the committed result files. What is left out between is marked [...]. The test of the documents uses the same code and compares the key lines only.
"""

from __future__ import annotations

import contextlib
import io
import json
import re
import shlex
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md", "diagnose/METHOD.md", "diagnose/CASE_FORMAT.md", "diagnose/store/FORMATS.md")
CUT = "[...]"
_BLOCK = re.compile(
    r"<!-- output: (?P<shown>[^\n]*?) -->\n```console\n\$ (?P<command>[^\n]*)\n(?P<output>.*?)```", re.S
)


@dataclass(frozen=True)
class Shown:
    """One example of a document: the command, which blocks of its output are shown, what is typed, and what stands there."""

    command: str
    pieces: str
    answers: tuple[str, ...]
    output: str


def examples(text: str) -> list[Shown]:
    """All examples of a document."""
    return [_shown(match) for match in _BLOCK.finditer(text)]


def _shown(match: re.Match[str]) -> Shown:
    pieces, _, typed = match["shown"].partition("; answers ")
    return Shown(match["command"], pieces, tuple(re.findall(r'"([^"]*)"', typed)), match["output"])


def printed(example: Shown) -> str:
    """What the command prints, on both streams, with what is typed at its prompts."""
    words = shlex.split(example.command)
    assert words[:3] == ["python", "-m", "diagnose"], f"not a command that can be shown: {example.command}"
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        if words[3] == "ask":
            _ask(Path(words[4]), iter(example.answers))
        else:
            from diagnose.__main__ import main

            with tempfile.TemporaryDirectory() as folder:
                main(
                    [f"{folder}/{w}" if before == "-o" else w for before, w in zip(words[2:], words[3:], strict=False)]
                )
            return out.getvalue().replace(f"{folder}/", "")
    return out.getvalue()


def _ask(case: Path, answers: Iterator[str]) -> None:
    from diagnose.ask import ask
    from knowledge.load import load_knowledge

    def read(prompt: str) -> str:
        typed = next(answers)
        print(f"{prompt}{typed}")
        return typed

    ask(load_knowledge(), case, None, read)


def blocks(output: str) -> list[str]:
    """The output cut into lines with the indented lines below each."""
    out: list[str] = []
    for line in output.rstrip().splitlines():
        if out and (line.startswith(" ") or not line.strip()):
            out[-1] += f"\n{line}"
        else:
            out.append(line)
    return out


def chosen(output: str, pieces: str) -> str:
    """The shown part of an output."""
    if pieces == "all":
        return output.rstrip() + "\n"
    every = blocks(output)
    keep: set[int] = set()
    for piece in pieces.split("; "):
        start, count = _piece(piece, every)
        keep |= set(range(start, min(start + count, len(every))))
    out, last = [], -1
    for index in sorted(keep):
        if index != last + 1:
            out.append(CUT)
        out.append(every[index].rstrip() if index + 1 not in keep else every[index])
        last = index
    if last + 1 < len(every):
        out.append(CUT)
    return "\n".join(out) + "\n"


def _piece(piece: str, every: list[str]) -> tuple[int, int]:
    if first := re.fullmatch(r"first (\d+)", piece):
        return 0, int(first[1])
    named = re.fullmatch(r'from "([^"]+)" (\d+)', piece)
    assert named, f"not understood: {piece!r}"
    return next(n for n, block in enumerate(every) if block.startswith(named[1])), int(named[2])


_RESULT = re.compile(r"^\| (?P<file>[\w-]+) \| `(?P<path>[\w.]+)` \| (?P<shown>[^|]*) \|", re.M)


def measured(file: str, path: str) -> str:
    """A number of a committed result file, to two digits; counts whole."""
    found: Any = json.loads((ROOT / "tests" / "results" / f"{file}.json").read_text(encoding="utf-8"))
    for key in path.split("."):
        found = found[int(key)] if isinstance(found, list) else found[key]
    return f"{found}" if isinstance(found, int) else f"{found:.2g}"


def remeasured(text: str) -> str:
    """A document with the numbers of its table of results as they stand in the result files."""
    head, mark, rest = text.partition("<!-- results -->\n")
    table, gap, after = rest.partition("\n\n")

    def fill(match: re.Match[str]) -> str:
        return f"| {match['file']} | `{match['path']}` | {measured(match['file'], match['path'])} |"

    return head + mark + _RESULT.sub(fill, table) + gap + after if mark else text


def refreshed(text: str) -> str:
    """A document with every example as it is printed now."""

    def paste(match: re.Match[str]) -> str:
        example = _shown(match)
        part = chosen(printed(example), example.pieces)
        return f"<!-- output: {match['shown']} -->\n```console\n$ {example.command}\n{part}```"

    return _BLOCK.sub(paste, text)


if __name__ == "__main__":
    import os

    os.chdir(ROOT)
    for name in DOCUMENTS:
        path = ROOT / name
        before = path.read_text(encoding="utf-8")
        after = remeasured(refreshed(before))
        if after != before:
            path.write_text(after, encoding="utf-8")
        print(f"{name}: {'changed' if after != before else 'unchanged'}")
