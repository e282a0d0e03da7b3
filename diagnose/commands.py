"""What each command of the command line does; heavy parts are imported where they are used."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from knowledge.load import load_knowledge
from knowledge.models import Setup
from shared.errors import ChillerError


def _case_arguments(path: str) -> Path:
    return Path(path)


def run_run(args: argparse.Namespace) -> int:
    """`run CASE`: one Advice, or one after every entry."""
    from diagnose.advise import advise
    from diagnose.case_check import checked, read_case_file
    from diagnose.text import advice_text

    knowledge = load_knowledge()
    case = checked(read_case_file(Path(args.case)), knowledge)
    stages = (
        [case.model_copy(update={"entries": case.entries[:n]}) for n in range(len(case.entries) + 1)]
        if args.steps
        else [case]
    )
    rules, last = not args.without_rules, stages[-1]
    advices = [advise(c, knowledge, rules=rules, explain=c is last, three=args.three and c is last) for c in stages]
    if args.json:
        dumped = [a.model_dump(mode="json", by_alias=True) for a in advices]
        print(json.dumps(dumped if args.steps else dumped[0], ensure_ascii=False))
    else:
        for number, one in enumerate(advices):
            if args.steps:
                print(f"--- after {number} of {len(case.entries)} entries ---")
            print(advice_text(one, args.percent))
    return 0


def run_why(args: argparse.Namespace) -> int:
    """`why CASE CAUSE`: where one suspect stands, and what would bring it up."""
    from diagnose.case_check import checked, read_case_file
    from diagnose.text import why_text
    from diagnose.why import why

    knowledge = load_knowledge()
    case = checked(read_case_file(Path(args.case)), knowledge)
    answer = why(case, knowledge, " ".join(args.cause), args.place or None)
    if args.json:
        print(json.dumps(answer.model_dump(mode="json", by_alias=True), ensure_ascii=False))
    else:
        print(why_text(answer, args.percent))
    return 0


def run_ask(args: argparse.Namespace) -> int:
    """`ask`: lead through a call in the terminal."""
    from diagnose.ask import ask

    return ask(load_knowledge(), Path(args.case) if args.case else None, Path(args.output) if args.output else None)


def run_calc(args: argparse.Namespace) -> int:
    """`calc NAME key=value...`."""
    from diagnose.calculators.command import run_calc as calculate

    print(calculate(args.arguments, args.json))
    return 0


def run_checks(args: argparse.Namespace) -> int:
    """`checks`: ids, texts, allowed answers."""
    knowledge = load_knowledge()
    if args.json:
        print(
            json.dumps(
                [
                    {
                        "id": c.id,
                        "title": c.title,
                        "place": c.place,
                        "finding": c.finding,
                        "technician": c.technician,
                        "telephone": c.telephone,
                        "answers": [{"id": a, "text": t.text, "word": t.word or a} for a, t in c.answers.items()]
                        + [{"id": "cannot-tell", "text": "Cannot tell", "word": None}],
                        "outcomes": dict(c.outcomes) if isinstance(c, Setup) else {},
                        "reads": list(c.reads),
                        "tells": list(c.tells),
                        "minutes": c.minutes,
                        "who": c.who,
                        "needs_qualified": list(c.needs_qualified),
                        "hazards": list(c.hazards),
                        "state": c.state,
                        "words": list(c.words),
                    }
                    for c in knowledge.checks.values()
                ],
                ensure_ascii=False,
            )
        )
        return 0
    for check in knowledge.checks.values():
        print(f"{check.id}: {check.title} [{', '.join(check.answers) or 'reads ' + ', '.join(check.reads)}]")
    return 0


def run_causes(args: argparse.Namespace) -> int:
    """`causes`: ids, titles, other names, places."""
    knowledge = load_knowledge()
    if args.json:
        rows = [
            {
                "id": c.id,
                "title": c.title,
                "also": list(c.also),
                "kind": c.kind,
                "system": c.system,
                "place": c.place,
                "complaints": dict(c.complaints),
                "remedy": c.remedy.text,
                "remedy_id": c.remedy.id,
                "proof": c.proof,
            }
            for c in knowledge.causes.values()
        ]
        rows.append(
            {
                "id": "nothing-wrong",
                "title": "Nothing is wrong",
                "also": [],
                "kind": "normal",
                "system": "normal",
                "place": "unit",
                "complaints": {},
                "remedy": "",
                "remedy_id": "explain-normal",
                "proof": "",
            }
        )
        print(json.dumps(rows, ensure_ascii=False))
        return 0
    for cause in knowledge.causes.values():
        print(f"{cause.id}: {cause.title}")
    return 0


def run_complaints(args: argparse.Namespace) -> int:
    """`complaints`: ids and texts."""
    knowledge = load_knowledge()
    if args.json:
        print(
            json.dumps(
                [
                    {"id": c.id, "title": c.title, "plain": c.plain, "words": list(c.words)}
                    for c in knowledge.complaints.values()
                ],
                ensure_ascii=False,
            )
        )
        return 0
    for complaint in knowledge.complaints.values():
        print(f"{complaint.id}: {complaint.title}")
    return 0


def run_findings(args: argparse.Namespace) -> int:
    """`findings`: ids, words, texts."""
    knowledge = load_knowledge()
    if args.json:
        print(
            json.dumps(
                [
                    {
                        "id": f.id,
                        "title": f.title,
                        "place": f.place,
                        "words": list(f.ordered or f.words),
                        "ordered": bool(f.ordered),
                        "neutral": f.neutral,
                        "texts": dict(f.texts),
                        "states": list(f.states),
                    }
                    for f in knowledge.findings.values()
                ],
                ensure_ascii=False,
            )
        )
        return 0
    for finding in knowledge.findings.values():
        print(f"{finding.id}: {finding.title} [{', '.join(finding.ordered or finding.words)}]")
    return 0


def run_match(args: argparse.Namespace) -> int:
    """`match TEXT`: search only; nothing is weighed."""
    from diagnose.match import match

    found = match(args.text, load_knowledge())
    if args.json:
        print(json.dumps([m.as_dict() for m in found], ensure_ascii=False))
    else:
        for one in found:
            print(f"{one.score:5.2f} {one.kind:9s} {one.id}{' = ' + one.answer if one.answer else ''}: {one.text}")
    return 0


def run_report(args: argparse.Namespace) -> int:
    """`report CASE -o FILE`: a self-contained HTML report."""
    from diagnose.advise import advise
    from diagnose.case_check import checked, read_case_file
    from diagnose.report import html_report

    knowledge = load_knowledge()
    case = checked(read_case_file(Path(args.case)), knowledge)
    text = html_report(case, advise(case, knowledge, explain=True), knowledge)
    try:
        Path(args.output).write_text(text, encoding="utf-8")
    except OSError as error:
        raise ChillerError(
            "report cannot be written",
            given=args.output,
            allowed="a file in a folder that exists",
            do=str(error.strerror),
        ) from None
    print(f"report written to {args.output}")
    return 0


def run_worksheet(args: argparse.Namespace) -> int:
    """`worksheet COMPLAINT -o FILE`: a blank page to print."""
    from diagnose.case_check import read_case_file
    from diagnose.worksheet import worksheet

    knowledge = load_knowledge()
    machine = read_case_file(Path(args.machine)).machine if args.machine else None
    page = worksheet(
        knowledge, args.complaint, role=args.role, qualified=args.qualified, machine=machine, circuits=args.circuits
    )
    try:
        Path(args.output).write_text(page, encoding="utf-8")
    except OSError as error:
        raise ChillerError(
            "worksheet cannot be written", given=args.output, allowed="a file in a folder that exists", do=str(error)
        ) from None
    print(f"written: {args.output}")
    return 0


def run_placement(args: argparse.Namespace) -> int:
    """`placement ACT FILE`: a placement from receipt to return."""
    from diagnose.placement.command import run

    return run(args, load_knowledge())


def run_bench(args: argparse.Namespace) -> int:
    """`bench`: timings of belief, next steps, whole advice."""
    from diagnose.bench import bench, bench_text

    result = bench(load_knowledge())
    print(json.dumps(result) if args.json else bench_text(result))
    return 0


def run_replay(args: argparse.Namespace) -> int:
    """`replay FOLDER`: the table of worked calls."""
    from diagnose.replay import replay_folder, replay_text

    result = replay_folder(Path(args.folder), load_knowledge(), ablation=args.ablation)
    print(json.dumps(result, ensure_ascii=False) if args.json else replay_text(result))
    return 0


def run_evaluate(args: argparse.Namespace) -> int:
    """`evaluate`: simulated calls; exit 1 when somebody's safety was missed, whatever else was."""
    from diagnose.evaluate.threads import hold_to_one_thread

    hold_to_one_thread()
    from diagnose.evaluate.command import evaluate, evaluation_text

    result = evaluate(args)
    print(json.dumps(result, ensure_ascii=False) if args.json else evaluation_text(result))
    return 1 if result["all"]["missed_stops"] or result["all"]["forbidden"] else 0


def run_prove(args: argparse.Namespace) -> int:
    """`prove NAME`: a full-size proof; exit 1 when it does not pass."""
    from diagnose.prove.result import Options
    from diagnose.prove.run import prove

    for name in ("draws", "processes", "minutes"):
        if (given := getattr(args, name)) < 0:
            raise ChillerError(f"number of {name}", given=given, allowed="0 or more", do=f"correct --{name}")
    options = Options(args.seed, args.draws, args.processes, args.date, args.out, tuple(args.only), args.minutes)
    result, text = prove(args.name, options)
    print(json.dumps(result, ensure_ascii=False) if args.json else text)
    return 0 if result.get("passes", True) else 1


def run_store(args: argparse.Namespace) -> int:
    """`store ACT`: the record; exit 1 when a check of it finds problems."""
    from diagnose.store_command import run

    return run(args)


def run_train(args: argparse.Namespace) -> int:
    """`train WHAT`: the training bench."""
    from diagnose.training.command import run_train as train

    return train(args, load_knowledge())


def run_schema(args: argparse.Namespace) -> int:
    """`schema case|advice`: JSON Schema on standard output."""
    from diagnose.advice import Advice
    from diagnose.case import Case

    json.dump((Case if args.what == "case" else Advice).model_json_schema(by_alias=True), sys.stdout, indent=1)
    print()
    return 0
