"""The keeper's command: `python -m knowledge check | stats | show | new | changes | map | width | outcomes | schema`.

An application: it may import the engine (lazily) to fire the rules' specimens, to replay calls and to read the store;
nothing else in this package may.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from knowledge.check import find_problems
from knowledge.load import (
    CARDS,
    FOLDERS,
    TABLES,
    Knowledge,
    Problem,
    assemble,
    digest_of,
    load_knowledge,
    read_cards,
)
from knowledge.models import Words
from shared.errors import CaseError, ChillerError
from shared.quantities import DERIVED


def all_problems(folder: Path) -> list[Problem]:
    """Shape, whole set, and (when those are clean) the rules' specimens fired through the engine."""
    raw = read_cards(folder)
    problems = find_problems(raw, {d.name: d.kind for d in DERIVED.values()})
    if problems:
        return problems
    try:
        from diagnose.specimens import specimen_problems
        from diagnose.training.checking import scenario_problems
    except ImportError:
        return problems
    knowledge = assemble(raw, digest_of(folder))
    return [*specimen_problems(knowledge), *scenario_problems(knowledge)]


def _check(args: argparse.Namespace) -> int:
    folder: Path = args.cards
    problems = all_problems(folder)
    for problem in problems:
        print(problem)
    print(
        f"{len(problems)} problem{'' if len(problems) == 1 else 's'} in {folder.name}"
        if problems
        else "all cards hold together"
    )
    return 1 if problems else 0


def _stats(args: argparse.Namespace) -> int:
    knowledge = load_knowledge(args.cards)
    counts = {name: len(getattr(knowledge, name)) for name, _ in (*FOLDERS.values(), *TABLES.values())}
    if args.json:
        print(json.dumps({"knowledge": knowledge.digest, "cards": counts}))
    else:
        print("\n".join(f"{count:5d} {name}" for name, count in counts.items()))
    return 0


def _schema(args: argparse.Namespace) -> int:
    from knowledge.outcomes import ClosedCall

    target: Path = args.folder
    target.mkdir(parents=True, exist_ok=True)
    models: dict[str, type[BaseModel]] = dict([*FOLDERS.values(), *TABLES.values()])
    models |= {"words": Words, "closed-call": ClosedCall}
    for name, model in models.items():
        (target / f"{name}.schema.json").write_text(
            json.dumps(model.model_json_schema(by_alias=True), indent=1), encoding="utf-8"
        )
    print(f"{len(models)} schemas written")
    return 0


def _show(args: argparse.Namespace) -> int:
    from knowledge.describe import as_text, describe, found

    knowledge = load_knowledge(args.cards)
    cards = [(kind, card_id, describe(knowledge, kind, card_id)) for kind, card_id in found(knowledge, args.id)]
    if args.json:
        rows = [{"kind": k, "id": i, "sections": [{"title": t, "lines": x} for t, x in s]} for k, i, s in cards]
        print(json.dumps(rows))
    else:
        print("\n\n".join(as_text(sections) for _, _, sections in cards))
    return 0


def _new(args: argparse.Namespace) -> int:
    from knowledge.scaffold import MARK, scaffold

    knowledge = load_knowledge(args.cards)
    path = scaffold(knowledge, args.cards, args.kind, args.id, system=args.system, rule_kind=args.rule_kind)
    print(path)
    print(f"replace every text marked {MARK} and the ids taken from other cards, then run `check`")
    return 0


def _replayed(folder: Path, knowledge: Knowledge) -> dict[str, dict[str, Any]]:
    """Call id -> verdict, causes, leading suspect and stop, or why the call cannot be replayed with these cards."""
    from diagnose.replay import read_call, work

    out: dict[str, dict[str, Any]] = {}
    for path in sorted(folder.glob("*.yaml")):
        try:
            one = work(read_call(path, knowledge), knowledge)
        except CaseError as error:
            out[path.stem] = {"problem": error.line().split("\n")[0]}
            continue
        leader = one.final.suspects[0] if one.final and one.final.suspects else None
        out[path.stem] = {
            "verdict": one.verdict,
            "causes": list(one.verdict_causes),
            "leader": f"{leader.cause}@{leader.place}" if leader else "",
            "stop": one.stop,
        }
    if not out:
        raise CaseError("no calls", [f"no call files in {folder}"])
    return out


def _changes(args: argparse.Namespace) -> int:
    from knowledge.changes import as_data, as_text, compare, compare_calls, folder_of, written

    with tempfile.TemporaryDirectory() as scratch:
        old, new = (folder_of(version, Path(scratch)) for version in (args.old, args.new))
        changed = compare(written(old), written(new))
        calls, count = None, 0
        if args.calls is not None:
            # read past the cache: versions come and go
            bases = [assemble(read_cards(folder), digest_of(folder)) for folder in (old, new)]
            before, after = (_replayed(args.calls, base) for base in bases)
            calls, count = compare_calls(before, after), len(after)
    print(json.dumps(as_data(changed, calls)) if args.json else as_text(changed, calls, count))
    return 0


def _map(args: argparse.Namespace) -> int:
    from knowledge.graph import cause_map, map_dot, map_json

    graph = cause_map(load_knowledge(args.cards), args.complaint)
    print(json.dumps(map_json(graph)) if args.json else map_dot(graph))
    return 0


def _width(args: argparse.Namespace) -> int:
    from knowledge.graph import MOST_WIDTH, effect_forest, induced_width

    raw = read_cards(args.cards)
    cards: Mapping[str, Any] = raw.cards
    width, blamed = induced_width(effect_forest(cards["effects"], cards["findings"]))
    for kind, name in blamed:
        key = "parent" if kind == "effects" else "effect"
        print(raw.problem(kind, name, key, "lies on a ring of effects; take one of its parents out"))
    print(f"induced width {width}, at most {MOST_WIDTH}")
    return 1 if width > MOST_WIDTH else 0


def _outcomes(args: argparse.Namespace) -> int:
    from knowledge.outcomes import accept, as_data, as_text, proposals, read_calls

    knowledge = load_knowledge(args.cards)
    if (args.file is None) == (args.store is None):
        raise ChillerError(
            "closed calls come from one place", allowed="FILE, or --store [ADDRESS]", do="give one of the two"
        )
    if args.store is None:
        calls = read_calls(args.file, knowledge)
    else:
        from diagnose.closed_calls import closed_calls

        calls = closed_calls(args.store, knowledge)
    found = proposals(knowledge, calls)
    if not args.accept:
        print(json.dumps(as_data(calls, found)) if args.json else as_text(knowledge, calls, found))
        return 0
    chosen = accept(knowledge, args.cards, found, args.accept, args.reason, date.today(), key=args.key)
    print(f"{chosen.cause}: {chosen.key} {chosen.was} -> {chosen.now}; written down in changes.yaml; now run `check`")
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="chiller-knowledge", description="check, read and keep the knowledge cards")
    parser.add_argument("--cards", type=Path, default=CARDS, help="folder of cards (default: the shipped ones)")
    commands = parser.add_subparsers(dest="command", required=True)

    check = commands.add_parser("check", help="report every problem of every card at once")
    check.set_defaults(run=_check)

    stats = commands.add_parser("stats", help="count the cards")
    stats.add_argument("--json", action="store_true")
    stats.set_defaults(run=_stats)

    show = commands.add_parser("show", help="a card as readable sentences")
    show.add_argument("id", metavar="ID", help="id of a card, or kind/id where two kinds share an id")
    show.add_argument("--json", action="store_true")
    show.set_defaults(run=_show)

    new = commands.add_parser("new", help="a new card to fill in")
    new.add_argument("kind", metavar="KIND", help="cause, check, setup, rule or complaint")
    new.add_argument("id", metavar="ID")
    new.add_argument("--system", default="", help="of a cause, check or set-up (default: fluid)")
    new.add_argument("--rule-kind", default="gate", help="kind of a rule (default: gate)")
    new.set_defaults(run=_new)

    changes = commands.add_parser("changes", help="what differs between two versions, and which calls end otherwise")
    changes.add_argument("old", metavar="OLD", help="folder of cards or git revision")
    changes.add_argument("new", metavar="NEW", help="folder of cards or git revision")
    changes.add_argument("--calls", type=Path, help="folder of transcribed calls to replay with both")
    changes.add_argument("--json", action="store_true")
    changes.set_defaults(run=_changes)

    graph = commands.add_parser("map", help="causes, effects and findings as a graph: DOT text, or JSON")
    graph.add_argument("--complaint", default="", help="only causes reported so")
    graph.add_argument("--json", action="store_true")
    graph.set_defaults(run=_map)

    width = commands.add_parser("width", help="induced width of the forest of effects; refused above the limit")
    width.set_defaults(run=_width)

    outcomes = commands.add_parser(
        "outcomes", help="likelihoods that closed calls would change; nothing changes by itself"
    )
    outcomes.add_argument("file", metavar="FILE", nargs="?", type=Path, help="closed calls as JSON")
    outcomes.add_argument("--store", metavar="ADDRESS", nargs="?", const="", help="closed calls of the record instead")
    outcomes.add_argument("--accept", metavar="CAUSE", default="", help="write this proposal into the card")
    outcomes.add_argument("--key", default="", help="which one, if there are several: prior or prior_in.CONTEXT")
    outcomes.add_argument("--reason", default="", help="why; kept in changes.yaml")
    outcomes.add_argument("--json", action="store_true")
    outcomes.set_defaults(run=_outcomes)

    schema = commands.add_parser("schema", help="write the JSON Schemas of the cards, for completion in an editor")
    schema.add_argument("folder", type=Path)
    schema.set_defaults(run=_schema)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command; exit 0, 1 (problems found) or 2 (cannot run)."""
    args = _parser().parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")  # cards hold accents, a console may not
    try:
        return int(args.run(args))
    except ChillerError as error:
        print(error.line(), file=sys.stderr)
        return 2
    except BrokenPipeError:
        return 0


if __name__ == "__main__":
    sys.exit(main())
