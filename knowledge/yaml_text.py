"""Read YAML as nothing but text: mappings, lists and strings, with the line of every key.

YAML's implicit types would read `off`, `no` and `12:30` as something else; aliases make bombs; a duplicate key loses
data. So: no types, no aliases, no tags, no duplicate keys, limits on size and depth.
"""

from __future__ import annotations

from typing import Any

import yaml

MAX_DEPTH = 30
MAX_BYTES = 1_000_000
_Loader: Any = getattr(yaml, "CBaseLoader", yaml.BaseLoader)


class YamlProblem(ValueError):
    """One problem with its line (from 1)."""

    def __init__(self, text: str, line: int) -> None:
        self.text, self.line_number = text, line
        super().__init__(f"line {line}: {text}")


class _Level:
    __slots__ = ("value", "is_map", "key", "path")

    def __init__(self, value: Any, is_map: bool, path: tuple[str | int, ...]) -> None:
        self.value, self.is_map, self.path = value, is_map, path
        self.key: str | None = None


Lines = dict[tuple[str | int, ...], int]


def read_yaml(text: str) -> tuple[Any, Lines]:
    """Return (data, lines): data of dict/list/str, lines maps each path of keys to its line number.

    Raises YamlProblem.
    """
    if len(text) > MAX_BYTES:
        raise YamlProblem(f"file of {len(text)} characters, at most {MAX_BYTES} are read", 1)
    lines: Lines = {(): 1}
    stack: list[_Level] = []
    root: list[Any] = []

    def put(value: Any, line: int) -> tuple[str | int, ...]:
        if not stack:
            if root:
                raise YamlProblem("more than one document", line)
            root.append(value)
            return ()
        level = stack[-1]
        if level.is_map:
            path = (*level.path, str(level.key))
            level.value[level.key] = value
            level.key = None
        else:
            path = (*level.path, len(level.value))
            level.value.append(value)
        lines.setdefault(path, line)
        return path

    try:
        for event in yaml.parse(text, Loader=_Loader):
            line = event.start_mark.line + 1 if event.start_mark else 1
            if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
                raise YamlProblem("anchors and aliases (& and *) are not read; write the value out", line)
            if getattr(event, "tag", None) not in (None, "!"):
                raise YamlProblem("tags (!) are not read; write plain text", line)
            in_key = bool(stack) and stack[-1].is_map and stack[-1].key is None
            if isinstance(event, yaml.ScalarEvent):
                if in_key:
                    key = event.value
                    if key in stack[-1].value:
                        raise YamlProblem(f"key '{key[:60]}' is given twice", line)
                    stack[-1].key = key
                    lines[(*stack[-1].path, key)] = line
                else:
                    put(event.value, line)
            elif isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
                if in_key:
                    raise YamlProblem("a key must be plain text", line)
                if len(stack) >= MAX_DEPTH:
                    raise YamlProblem(f"nested deeper than {MAX_DEPTH}", line)
                is_map = isinstance(event, yaml.MappingStartEvent)
                value: Any = {} if is_map else []
                stack.append(_Level(value, is_map, put(value, line)))
            elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
                stack.pop()
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        reason = getattr(error, "problem", None) or str(error).splitlines()[0]
        raise YamlProblem(f"not readable as YAML: {reason}", (mark.line + 1) if mark else 1) from None
    return (root[0] if root else ""), lines
