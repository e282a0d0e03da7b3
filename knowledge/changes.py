"""What differs between two versions of the cards, key by key, and which calls end otherwise because of it.

A version is a folder of cards or, in a git checkout, the name of a revision. Cards are compared as written, so that versions
whose shape no longer fits today's models can be compared too; calls are replayed only where both can be loaded.
"""

from __future__ import annotations

import io
import subprocess
import tarfile
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from knowledge.load import CARDS, FOLDERS, TABLES, card_files
from knowledge.yaml_text import YamlProblem, read_yaml
from shared.errors import ChillerError, KnowledgeError, shorten

Cards = dict[str, dict[str, Any]]
CALL_KEYS = ("verdict", "causes", "leader", "stop")
ABSENT = "-"


@dataclass(frozen=True)
class Difference:
    """One key of a card that differs; texts of what stood there and what stands there now, ABSENT for nothing."""

    key: str
    was: str
    now: str


@dataclass(frozen=True)
class Changed:
    """All that differs between two versions: "kind/id" of cards added and removed, differences of those in both.

    translated: there are texts in other languages, so an English text that changed has to be looked at there too.
    """

    added: tuple[str, ...]
    removed: tuple[str, ...]
    changed: Mapping[str, tuple[Difference, ...]]
    translated: bool = False

    @property
    def stale(self) -> tuple[str, ...]:
        """Checks whose English telephone text or answers changed while the translation stayed as it was."""
        touched = {
            name.removeprefix("checks/")
            for name, differences in self.changed.items()
            if name.startswith("checks/") and any(d.key.split(".")[0] in ("telephone", "answers") for d in differences)
        }
        followed = {
            d.key.split(".")[1] for n, ds in self.changed.items() if n.startswith("texts/") for d in ds if "." in d.key
        }
        return tuple(sorted(touched - followed)) if self.translated else ()


def folder_of(version: str, scratch: Path) -> Path:
    """Folder with the cards of a version; a git revision is unpacked below ``scratch``. Raises ChillerError."""
    if Path(version).is_dir():
        return Path(version)
    allowed = "a folder of cards, or a git revision where the cards lie in a checkout"
    problem = ChillerError("no such version of the cards", given=version, allowed=allowed, do="correct it")
    inside = ["git", "-C", str(CARDS)]
    try:
        prefix = subprocess.run([*inside, "rev-parse", "--show-prefix"], capture_output=True, text=True, check=True)
        commit = subprocess.run(
            [*inside, "rev-parse", "--verify", "--quiet", "--end-of-options", f"{version}^{{commit}}"],
            capture_output=True,
            text=True,
            check=True,
        )
        # asked from the top of the checkout, since paths are read as seen from the folder one stands in
        top = subprocess.run([*inside, "rev-parse", "--show-toplevel"], capture_output=True, text=True, check=True)
        packed = subprocess.run(
            ["git", "-C", top.stdout.strip(), "archive", "--format=tar", commit.stdout.strip(), prefix.stdout.strip()],
            capture_output=True,
            check=True,
        )
    except (OSError, subprocess.CalledProcessError):
        raise problem from None
    target = scratch / commit.stdout.strip()
    with tarfile.open(fileobj=io.BytesIO(packed.stdout)) as archive:
        for member in archive:
            content = archive.extractfile(member)
            if content is not None:
                path = target / member.name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(content.read())
    return target / prefix.stdout.strip()


def written(folder: Path) -> Cards:
    """kind -> id -> card as written in a folder. Raises KnowledgeError for files that cannot be read."""
    out: Cards = {}
    unreadable = []
    for path in card_files(folder):
        relative = path.relative_to(folder).as_posix()
        top = relative.split("/")[0]
        kind = (TABLES.get(top) or FOLDERS.get(top) or (top.removesuffix(".yaml"), None))[0]
        try:
            data, _ = read_yaml(path.read_text(encoding="utf-8"))
        except (YamlProblem, UnicodeDecodeError) as error:
            unreadable.append(f"{relative}: {error}")
            continue
        for row in data if isinstance(data, list) else [data]:
            if isinstance(row, dict):
                out.setdefault(kind, {})[str(row.get("id", path.stem))] = row
    if unreadable:
        raise KnowledgeError("the cards cannot be read", unreadable)
    return out


def compare(old: Cards, new: Cards) -> Changed:
    """Cards added, removed and changed."""
    before = {f"{kind}/{name}": card for kind, cards in old.items() for name, card in cards.items()}
    after = {f"{kind}/{name}": card for kind, cards in new.items() for name, card in cards.items()}
    both = sorted(before.keys() & after.keys())
    changed = {name: tuple(differences(before[name], after[name])) for name in both if before[name] != after[name]}
    return Changed(
        tuple(sorted(after.keys() - before.keys())),
        tuple(sorted(before.keys() - after.keys())),
        changed,
        "texts" in new,
    )


def differences(old: Any, new: Any, key: str = "") -> Iterable[Difference]:
    """Keys that differ between two cards. What a cause brings is known by its effect or finding, not by its line."""
    if isinstance(old, dict) and isinstance(new, dict):
        for name in [*old, *(n for n in new if n not in old)]:
            yield from differences(old.get(name), new.get(name), f"{key}.{name}" if key else name)
    elif old != new and isinstance(old, list) and isinstance(new, list) and _edges(old) and _edges(new):
        yield from differences(_by_target(old), _by_target(new), key)
    elif old != new:
        yield Difference(key, _short(old), _short(new))


def _edges(rows: list[Any]) -> bool:
    return bool(rows) and all(isinstance(r, dict) and ("effect" in r or "finding" in r) and "gives" in r for r in rows)


def _by_target(rows: list[dict[str, Any]]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for row in rows:
        when = "".join(f" with {n} {'/'.join(w)}" for n, w in row.get("when", {}).items())
        name = f"{row.get('effect') or row.get('finding')}{when}"
        while name in out:
            name += "+"
        out[name] = {k: v for k, v in row.items() if k not in ("effect", "finding", "when")}
    return out


def _short(value: Any) -> str:
    if value is None:
        return ABSENT
    if isinstance(value, dict):
        return shorten("{" + ", ".join(f"{k}: {_short(v)}" for k, v in value.items()) + "}", 200)
    if isinstance(value, list):
        return shorten("[" + ", ".join(_short(v) for v in value) + "]", 200)
    return shorten(value, 200)


def compare_calls(old: Mapping[str, Mapping[str, Any]], new: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Calls that end otherwise: {id, key: {was, now}}; rows hold verdict, causes, leader and stop, or a problem."""
    out = []
    for name in sorted(old.keys() | new.keys()):
        before, after = old.get(name, {}), new.get(name, {})
        moved = {
            k: {"was": before.get(k), "now": after.get(k)}
            for k in (*CALL_KEYS, "problem")
            if before.get(k) != after.get(k)
        }
        if moved:
            out.append({"id": name, **moved})
    return out


def as_data(changed: Changed, calls: list[dict[str, Any]] | None) -> dict[str, Any]:
    """The comparison as data; calls None: they were not replayed."""
    return {
        "added": list(changed.added),
        "removed": list(changed.removed),
        "changed": {name: [asdict(d) for d in ds] for name, ds in changed.changed.items()},
        "translations_to_review": list(changed.stale),
        "calls": calls,
    }


def as_text(changed: Changed, calls: list[dict[str, Any]] | None, replayed: int = 0) -> str:
    """The comparison for people. replayed: how many calls were worked with both versions."""
    lines = [f"added    {name}" for name in changed.added] + [f"removed  {name}" for name in changed.removed]
    for name, ds in changed.changed.items():
        lines.append(f"changed  {name}")
        lines += [f"           {d.key}: {d.was} -> {d.now}" for d in ds]
    lines += [f"look at the translation of {name}: its English telephone text changed" for name in changed.stale]
    lines.append(f"{len(changed.added)} added, {len(changed.removed)} removed, {len(changed.changed)} changed")
    for call in calls or ():
        for key, one in call.items():
            if key != "id":
                lines.append(f"call {call['id']}: {key} {_told(one['was'])} -> {_told(one['now'])}")
    if calls is not None:
        lines.append(f"{len(calls)} of {replayed} replayed calls end otherwise")
    return "\n".join(lines)


def _told(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value)) or ABSENT
    return str(value) if value else ABSENT
