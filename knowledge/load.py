"""Load the cards: from the compiled cache when the files are unchanged, else from YAML.

The cache is JSON keyed by the digest of the card files, in the user's cache folder; it is written atomically, rebuilt when
stale, and its absence or a read-only folder does no harm.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import tempfile
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import TypeAdapter, ValidationError

from knowledge.models import (
    Band,
    Card,
    Catalogue,
    Cause,
    Change,
    Check,
    Complaint,
    Context,
    Effect,
    Finding,
    Instrument,
    Rule,
    Setup,
    Source,
    Words,
)
from knowledge.placement import PlacementStep
from knowledge.scenarios import Scenario
from knowledge.watches import Watch
from knowledge.yaml_text import Lines, YamlProblem, read_yaml
from shared.errors import KnowledgeError

FORMAT = "6"
CARDS = Path(__file__).parent / "cards"
T = TypeVar("T", bound=Card)

# folder or file -> (name in Knowledge, model); a folder of tables holds lists, a folder of cards one card a file
TABLES: dict[str, tuple[str, type[Card]]] = {
    "effects.yaml": ("effects", Effect),
    "contexts.yaml": ("contexts", Context),
    "instruments.yaml": ("instruments", Instrument),
    "findings": ("findings", Finding),
    "bands": ("bands", Band),
    "sources": ("sources", Source),
    "placement": ("steps", PlacementStep),
    "watches.yaml": ("watches", Watch),
    "changes.yaml": ("changes", Change),
}
FOLDERS: dict[str, tuple[str, type[Card]]] = {
    "causes": ("causes", Cause),
    "checks": ("checks", Check),
    "setups": ("setups", Setup),
    "rules": ("rules", Rule),
    "complaints": ("complaints", Complaint),
    "texts": ("texts", Catalogue),
    "scenarios": ("scenarios", Scenario),
}


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with a card: where, what, and what to do about it."""

    file: str
    line: int
    key: str
    text: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.key + ': ' if self.key else ''}{self.text}"


@dataclass(frozen=True)
class Knowledge:
    """The loaded base: cards by id, in id order. ``where`` tells file of each card (kind, id).

    checks: every look, the set-ups among them, since each of these is a look as well; setups: these alone.
    """

    words: Words
    sources: dict[str, Source]
    effects: dict[str, Effect]
    findings: dict[str, Finding]
    bands: dict[str, Band]
    causes: dict[str, Cause]
    checks: dict[str, Check]
    rules: dict[str, Rule]
    complaints: dict[str, Complaint]
    contexts: dict[str, Context]
    instruments: dict[str, Instrument]
    digest: str
    setups: dict[str, Setup] = field(default_factory=dict)
    changes: dict[str, Change] = field(default_factory=dict)
    texts: dict[str, Catalogue] = field(default_factory=dict)
    scenarios: dict[str, Scenario] = field(default_factory=dict)
    steps: dict[str, PlacementStep] = field(default_factory=dict)
    watches: dict[str, Watch] = field(default_factory=dict)
    where: dict[str, str] = field(default_factory=dict)
    memo: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)  # compiled forms, filled on demand


@dataclass
class RawCards:
    """Cards as read from YAML with the problems met on the way. rows: path of each card inside its file.

    A set-up stands among the checks too.
    """

    cards: dict[str, dict[str, Card]]
    words: Words | None
    where: dict[str, str]
    lines: dict[str, Lines]
    problems: list[Problem]
    rows: dict[str, tuple[str | int, ...]] = field(default_factory=dict)

    def problem(self, kind: str, card_id: str, key: str, text: str) -> Problem:
        """A problem at a key ("then.cause") of a card, at the line of the deepest part of the key that has one."""
        file = self.where.get(f"{kind}/{card_id}", "?")
        lines, base = self.lines.get(file, {}), self.rows.get(f"{kind}/{card_id}", ())
        parts: tuple[str | int, ...] = tuple(int(p) if p.isdigit() else p for p in key.split(".") if p)
        while parts and (*base, *parts) not in lines:
            parts = parts[:-1]
        line = lines.get((*base, *parts)) if parts else lines.get((*base, "id"), lines.get(base, 1))
        return Problem(file, line or 1, f"{card_id}{'.' + key if key else ''}", text)


def card_files(folder: Path) -> list[Path]:
    """All card files below ``folder`` in a fixed order."""
    return sorted(folder.rglob("*.yaml"))


def digest_of(folder: Path) -> str:
    """Digest of names and contents of all card files."""
    sha = hashlib.sha256(FORMAT.encode())
    for path in card_files(folder):
        sha.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return sha.hexdigest()[:20]


def _explain(
    error: ValidationError, file: str, lines: Lines, base: tuple[str | int, ...], card_id: str
) -> list[Problem]:
    problems = []
    for one in error.errors():
        loc = tuple(part for part in one["loc"] if not (isinstance(part, str) and part.startswith("function")))
        path: tuple[str | int, ...] = (*base, *loc)
        while path and path not in lines:
            path = path[:-1]
        given = one.get("input")
        shown = f" (given: {str(given)[:50]!r})" if isinstance(given, (str, int, float)) else ""
        key = ".".join(str(p) for p in (card_id, *loc) if p != "")
        problems.append(Problem(file, lines.get(path, 1), key, one["msg"] + shown))
    return problems


def read_cards(folder: Path = CARDS) -> RawCards:
    """Read and validate every card, collecting all problems of shape."""
    cards: dict[str, dict[str, Card]] = {name: {} for name, _ in (*TABLES.values(), *FOLDERS.values())}
    raw = RawCards(cards, None, {}, {}, [])
    for path in card_files(folder):
        relative = path.relative_to(folder).as_posix()
        try:
            data, lines = read_yaml(path.read_text(encoding="utf-8"))
        except (YamlProblem, UnicodeDecodeError) as error:
            raw.problems.append(Problem(relative, getattr(error, "line_number", 1), "", str(error)))
            continue
        raw.lines[relative] = lines
        if relative == "words.yaml":
            try:
                raw.words = Words.model_validate(data)
            except ValidationError as error:
                raw.problems += _explain(error, relative, lines, (), "words")
            continue
        top = relative.split("/")[0]
        table, single = TABLES.get(top), FOLDERS.get(top)
        if table is None and single is None:
            raw.problems.append(
                Problem(relative, 1, "", f"no such kind of card: '{top}'; allowed: {', '.join((*TABLES, *FOLDERS))}")
            )
            continue
        name, model = table or single  # type: ignore[misc]
        rows = data if table else [data]
        if not isinstance(rows, list):
            raw.problems.append(Problem(relative, 1, "", "this file must be a list of rows starting with '- '"))
            continue
        for index, row in enumerate(rows):
            base: tuple[str | int, ...] = (index,) if table else ()
            card_id = str(row.get("id", "")) if isinstance(row, dict) else ""
            try:
                card: Any = model.model_validate(row)
            except ValidationError as error:
                raw.problems += _explain(error, relative, lines, base, card_id)
                continue
            kinds = (name, "checks") if isinstance(card, Setup) else (name,)
            if card.id in cards[kinds[-1]]:
                raw.problems.append(
                    Problem(
                        relative,
                        lines.get(base, 1),
                        card.id,
                        f"id already used in {raw.where[f'{kinds[-1]}/{card.id}']}; ids are unique",
                    )
                )
                continue
            if single and path.stem != card.id:
                raw.problems.append(Problem(relative, 1, "id", f"the file must be named {card.id}.yaml"))
            for kind in kinds:
                cards[kind][card.id] = card
                raw.where[f"{kind}/{card.id}"] = relative
                raw.rows[f"{kind}/{card.id}"] = base
    if raw.words is None and not any(p.file == "words.yaml" for p in raw.problems):
        raw.problems.append(Problem("words.yaml", 1, "", "missing: the table of words"))
    return raw


def assemble(raw: RawCards, digest: str) -> Knowledge:
    """A Knowledge from read cards; raises KnowledgeError when a card has no valid shape."""
    if raw.problems or raw.words is None:
        raise KnowledgeError("the cards do not hold together", [str(p) for p in raw.problems])
    sorted_cards: dict[str, dict[str, Any]] = {name: dict(sorted(found.items())) for name, found in raw.cards.items()}
    return Knowledge(words=raw.words, digest=digest, where=raw.where, **sorted_cards)


def cards_folder() -> Path:
    """The folder of cards in use: the shipped ones, or what CHILLER_CARDS names."""
    return Path(os.environ.get("CHILLER_CARDS") or CARDS)


def cache_folder() -> Path:
    """The user's cache folder, by the platform's convention; CHILLER_CACHE overrides."""
    if given := os.environ.get("CHILLER_CACHE"):
        return Path(given)
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "chiller-diagnose"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "chiller-diagnose"
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "chiller-diagnose"


def _kinds() -> list[tuple[str, type[Card]]]:
    return [*TABLES.values(), *FOLDERS.values()]


def _from_cache(path: Path, digest: str) -> Knowledge | None:
    try:
        content = json.loads(path.read_bytes())
        if content["digest"] != digest or content["format"] != FORMAT:
            return None
        loaded: dict[str, Any] = {}
        for name, model in _kinds():
            rows: list[Any] = TypeAdapter(list[model]).validate_python(content[name])  # type: ignore[valid-type]
            loaded[name] = {row.id: row for row in rows}
        loaded["checks"] = dict(sorted({**loaded["checks"], **loaded["setups"]}.items()))
        return Knowledge(words=Words.model_validate(content["words"]), digest=digest, where=content["where"], **loaded)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _to_cache(path: Path, knowledge: Knowledge) -> None:
    content: dict[str, Any] = {
        "digest": knowledge.digest,
        "format": FORMAT,
        "where": knowledge.where,
        "words": knowledge.words.model_dump(mode="json", by_alias=True),
    }
    for name, _ in _kinds():
        cards: dict[str, Card] = getattr(knowledge, name)
        own = [c for c in cards.values() if name == "setups" or not isinstance(c, Setup)]
        content[name] = [c.model_dump(mode="json", by_alias=True, exclude_defaults=True) for c in own]
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, suffix=".part")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump(content, file)
        os.replace(temporary, path)
    except OSError:
        return  # a read-only cache folder only costs time


@lru_cache(maxsize=8)
def _load(folder: Path, digest: str) -> Knowledge:
    key = hashlib.sha256(str(folder.resolve()).encode()).hexdigest()[:8]
    path = cache_folder() / f"base-{key}.json"
    cached = _from_cache(path, digest)
    if cached is not None:
        return cached
    knowledge = assemble(read_cards(folder), digest)
    _to_cache(path, knowledge)
    return knowledge


def load_knowledge(folder: Path | None = None) -> Knowledge:
    """The base in ``folder`` (default: the shipped cards; CHILLER_CARDS overrides). Raises KnowledgeError."""
    chosen = folder or cards_folder()
    if not chosen.is_dir():
        raise KnowledgeError("no cards", [f"no folder of cards at {chosen}"])
    return _load(chosen, digest_of(chosen))
