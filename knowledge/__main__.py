"""The keeper's command: `python -m knowledge check | stats | show ID | schema FOLDER`.

An application: it may import the engine (lazily) to fire the rules' specimens; nothing else in this package may.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from pydantic import BaseModel

from knowledge.check import find_problems
from knowledge.load import CARDS, FOLDERS, TABLES, Problem, assemble, digest_of, load_knowledge, read_cards
from knowledge.models import Words
from shared.errors import ChillerError
from shared.quantities import DERIVED


def all_problems(folder: Path) -> list[Problem]:
    """Shape, whole set, and (when those are clean) the rules' specimens fired through the engine."""
    raw = read_cards(folder)
    problems = find_problems(raw, {d.name: d.kind for d in DERIVED.values()})
    if problems:
        return problems
    try:
        from diagnose.specimens import specimen_problems
    except ImportError:
        return problems
    return specimen_problems(assemble(raw, digest_of(folder)))


def _check(folder: Path) -> int:
    problems = all_problems(folder)
    for problem in problems:
        print(problem)
    print(
        f"{len(problems)} problem{'' if len(problems) == 1 else 's'} in {folder.name}"
        if problems
        else "all cards hold together"
    )
    return 1 if problems else 0


def _stats(folder: Path, as_json: bool) -> int:
    knowledge = load_knowledge(folder)
    counts = {name: len(getattr(knowledge, name)) for name, _ in (*FOLDERS.values(), *TABLES.values())}
    if as_json:
        print(json.dumps({"knowledge": knowledge.digest, "cards": counts}))
    else:
        print("\n".join(f"{count:5d} {name}" for name, count in counts.items()))
    return 0


def _schema(target: Path) -> int:
    target.mkdir(parents=True, exist_ok=True)
    models: dict[str, type[BaseModel]] = dict([*FOLDERS.values(), *TABLES.values()])
    models["words"] = Words
    for name, model in models.items():
        (target / f"{name}.schema.json").write_text(
            json.dumps(model.model_json_schema(by_alias=True), indent=1), encoding="utf-8"
        )
    print(f"{len(models)} schemas written")
    return 0


def main(argv: list[str] | None = None) -> int:
    """Run one command; exit 0, 1 (problems found) or 2 (cannot run)."""
    parser = argparse.ArgumentParser(prog="chiller-knowledge", description="check and count the knowledge cards")
    parser.add_argument("--cards", type=Path, default=CARDS, help="folder of cards (default: the shipped ones)")
    commands = parser.add_subparsers(dest="command", required=True)
    commands.add_parser("check", help="report every problem of every card at once")
    stats = commands.add_parser("stats", help="count the cards")
    stats.add_argument("--json", action="store_true")
    schema = commands.add_parser("schema", help="write the JSON Schemas of the cards, for completion in an editor")
    schema.add_argument("folder", type=Path)
    args = parser.parse_args(argv)
    try:
        if args.command == "check":
            return _check(args.cards)
        if args.command == "stats":
            return _stats(args.cards, args.json)
        return _schema(args.folder)
    except ChillerError as error:
        print(error.line(), file=sys.stderr)
        return 2


if __name__ == "__main__":
    sys.exit(main())
