"""`train list | show | play | debrief | class | rehearse`: the bench on the command line."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from diagnose.training.checking import read_scenario
from diagnose.training.debrief import debrief, planner_path
from diagnose.training.draw import draw_scenario, fitting
from diagnose.training.overview import as_csv, line_of
from diagnose.training.play import play, read_session
from diagnose.training.session import start
from diagnose.training.text import brief_text, debrief_text, spoiler_text
from knowledge.load import Knowledge
from knowledge.scenarios import Scenario
from shared.errors import CaseError, ChillerError


def chosen(name: str, knowledge: Knowledge) -> Scenario:
    """A shipped scenario by id, or one read from a file. Raises ChillerError, CaseError."""
    if name in knowledge.scenarios:
        return knowledge.scenarios[name]
    path = Path(name)
    if path.suffix.lower() in (".yaml", ".yml", ".json"):
        try:
            return read_scenario(path.read_text(encoding="utf-8"), knowledge)
        except (OSError, UnicodeDecodeError):
            raise CaseError("unreadable", [f"{path.name}: cannot be read; name a scenario file"]) from None
    raise ChillerError("no such scenario", given=name, allowed="an id of `train list`, or a file", do="choose one")


def run_train(args: argparse.Namespace, knowledge: Knowledge) -> int:
    """Run one of the commands of `train`."""
    lines: str
    data: Any
    if args.what == "list":
        found = fitting(knowledge.scenarios, args.difficulty, args.topic)
        data = [
            {
                "id": s.id,
                "title": s.title,
                "difficulty": s.difficulty,
                "topics": list(s.topics),
                "complaint": s.complaint,
                "role": s.role,
                "minutes": s.minutes,
                "invented": True,
            }
            for s in found
        ]
        lines = "\n".join(f"{s.id:36s} {s.difficulty:6s} {', '.join(s.topics):28s} {s.title}" for s in found)
    elif args.what == "show":
        scenario = chosen(args.scenario, knowledge)
        lines = brief_text(scenario, knowledge) + (f"\n\n{spoiler_text(scenario, knowledge)}" if args.spoil else "")
        data = scenario.model_dump(
            mode="json", exclude=None if args.spoil else {"faults", "lies", "answers", "ends", "points"}
        )
    elif args.what == "play":
        return _play(args, knowledge)
    elif args.what == "debrief":
        one = debrief(read_session(Path(args.session)), knowledge)
        lines, data = debrief_text(one), one.model_dump(mode="json")
    elif args.what == "class":
        rows = [line_of(read_session(Path(p)), knowledge, Path(p).stem) for p in args.sessions]
        data = [r.model_dump(mode="json") for r in rows]
        lines = (
            as_csv(rows).rstrip()
            if args.csv
            else "\n".join(
                f"{r.trainee or '-':20s} {r.scenario:44s} {r.state:12s} {r.minutes:5.0f} of {r.allowed:3.0f} min  marks {r.safety_marks}  score {r.score}"
                for r in rows
            )
        )
    else:
        data = rehearsed(fitting(knowledge.scenarios, args.difficulty, args.topic), knowledge, args.seed)
        lines = (
            "\n".join(
                f"{'right' if r['right'] else 'NOT':6s}{r['id']:36s} {r['verdict']:12s} {', '.join(r['causes'][:2]) or r['stop']} [{r['looks']} looks, {r['minutes']:.0f} min]"
                for r in data["scenarios"]
            )
            + f"\n{data['right']} of {data['worked']} end right"
        )
    print(json.dumps(data, ensure_ascii=False) if args.json else lines)
    return 0


def rehearsed(scenarios: Sequence[Scenario], knowledge: Knowledge, seed: int) -> dict[str, Any]:
    """Every scenario worked by the planner with the simulated answers, and how many end right."""
    rows = []
    for one in scenarios:
        path = planner_path(one, knowledge, seed)
        rows.append(
            {
                "id": one.id,
                "right": path.right,
                "verdict": path.verdict,
                "causes": list(path.causes),
                "stop": path.stop,
                "looks": len(path.steps),
                "minutes": path.minutes,
            }
        )
    return {
        "knowledge": knowledge.digest,
        "seed": seed,
        "worked": len(rows),
        "right": sum(bool(r["right"]) for r in rows),
        "scenarios": rows,
    }


def _play(args: argparse.Namespace, knowledge: Knowledge) -> int:
    output = Path(args.output) if args.output else None
    if output is not None and output.exists() and not args.scenario:
        session = read_session(output)
    else:
        if output is not None and output.exists():
            raise ChillerError(
                "the file is there already",
                given=output.name,
                do="leave the scenario out to go on with it, or name another file",
            )
        scenario = (
            chosen(args.scenario, knowledge)
            if args.scenario
            else draw_scenario(knowledge.scenarios, args.seed, args.difficulty, args.topic)
        )
        session = start(scenario, args.seed, "guided" if args.guided else "exam", args.trainee)
    if args.json:
        print(session.model_dump_json(exclude_defaults=True))
        return 0
    session = play(session, knowledge, output)
    if session.named is not None:
        print()
        print(debrief_text(debrief(session, knowledge)))
    return 0
