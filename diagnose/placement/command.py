"""`placement ACT FILE`: a placement kept in a file, step by step."""

from __future__ import annotations

import argparse
import json
from datetime import datetime, timedelta
from pathlib import Path

from diagnose.case_check import checked, read_case_file
from diagnose.machine import read_machine
from diagnose.placement.baseline import baseline_of, with_baseline
from diagnose.placement.call import call_of
from diagnose.placement.plan import facts_of, lacking_facts, outlook
from diagnose.placement.record import (
    Done,
    Placement,
    PlacementError,
    Taken,
    entry_problems,
    read_placement,
    site_problem,
    write_placement,
)
from diagnose.placement.rounds import BASELINE, ROUND
from diagnose.placement.text import next_text, report_text
from diagnose.placement.trend import Trends, trend_of
from diagnose.placement.trend_data import baseline_data, trends_data
from diagnose.placement.trend_text import baseline_line, baseline_text, trend_picture, trends_text
from knowledge.load import Knowledge
from knowledge.placement import PlacementStep
from shared.errors import ChillerError


def run(args: argparse.Namespace, knowledge: Knowledge) -> int:
    """Do what was asked; 0. Raises ChillerError."""
    path = Path(args.file)
    if args.act == "open":
        _open(args, path, knowledge)
    elif args.act == "show":
        placement = read_placement(path)
        print(_json(placement, knowledge) if args.json else next_text(placement, knowledge))
    elif args.act == "report":
        placement = read_placement(path)
        print(
            json.dumps(placement.model_dump(mode="json"), ensure_ascii=False)
            if args.json
            else report_text(placement, knowledge)
        )
    elif args.act in ("baseline", "round", "trend"):
        _followed(args, path, knowledge)
    elif args.act == "done":
        placement = with_done(read_placement(path), _done(args), knowledge)
        write_placement(path, placement)
        print(next_text(placement, knowledge))
    else:
        case = checked(call_of(read_placement(path), args.step, knowledge), knowledge)
        text = json.dumps(
            case.model_dump(mode="json", exclude_defaults=True) | {"complaint": case.complaint},
            ensure_ascii=False,
            indent=1,
        )
        try:
            Path(args.output).write_text(text + "\n", encoding="utf-8")
        except OSError as error:
            raise ChillerError("call cannot be written", given=args.output, do=str(error)) from None
        print(f"call written to {args.output}")
    return 0


def _followed(args: argparse.Namespace, path: Path, knowledge: Knowledge) -> None:
    """Baseline, round and trend: what is read is kept first, then told."""
    placement = read_placement(path)
    if args.act == "round" or (args.act == "baseline" and args.read):
        args.step, args.outcome, args.site = BASELINE if args.act == "baseline" else ROUND, "done", []
        args.at = args.at or datetime.now().isoformat(timespec="minutes")
        done = _done(args)
        if args.act == "baseline":
            done = done.model_copy(update={"readings": (*_earlier(args), *done.readings)})
        kept = with_done(placement, done, knowledge)
        if args.act == "baseline":
            kept, made = with_baseline(placement, done, knowledge)
            write_placement(path, kept)
            print(json.dumps(baseline_data(made), ensure_ascii=False) if args.json else baseline_text(made))
            return
        write_placement(path, placement := kept)
    if args.act == "baseline":
        found = baseline_of(placement, knowledge)
        text = baseline_text(found) if found is not None else baseline_line(None)
        print(json.dumps(baseline_data(found), ensure_ascii=False) if args.json else text)
        return
    trends = trend_of(placement, knowledge)
    print(
        json.dumps(trends_data(trends), ensure_ascii=False)
        if args.json
        else trends_text(trends, knowledge, placement.qualified)
    )
    if getattr(args, "svg", ""):
        _draw(Path(args.svg), trends)


def _draw(folder: Path, trends: Trends) -> None:
    for one in trends.watches:
        picture = trend_picture(one)
        if picture is None:
            continue
        try:
            (folder / f"{picture.name}.svg").write_text(picture.svg() + "\n", encoding="utf-8")
        except OSError as error:
            raise ChillerError(
                "picture cannot be written", given=str(folder), allowed="a folder that exists", do=str(error.strerror)
            ) from None


def _earlier(args: argparse.Namespace) -> list[Taken]:
    """Readings of --earlier MINUTES ..., with their moments."""
    out: list[Taken] = []
    for minutes, *texts in args.earlier:
        try:
            at = datetime.fromisoformat(args.at) - timedelta(minutes=float(minutes))
        except (ValueError, OverflowError):
            raise ChillerError(
                "earlier readings",
                given=minutes,
                allowed="--earlier 6 entering_fluid=54F leaving_fluid=44F",
                do="say how many minutes before",
            ) from None
        out += [one.model_copy(update={"at": at.isoformat(timespec="minutes")}) for one in _taken(texts)]
    return out


def _open(args: argparse.Namespace, path: Path, knowledge: Knowledge) -> None:
    if path.exists():
        raise ChillerError(
            "there is a placement already", given=str(path), do="choose another file, or go on with this one"
        )
    machine = read_case_file(Path(args.machine)).machine if args.machine else Placement().machine
    if problems := read_machine(machine).problems:
        raise PlacementError("the machine card does not hold together", list(problems))
    placement = Placement(name=args.name or machine.name, machine=machine, qualified=tuple(args.qualified))
    write_placement(path, placement)
    print(next_text(placement, knowledge))


def _pairs(texts: list[str], what: str) -> list[tuple[str, str]]:
    out = []
    for text in texts:
        key, equals, value = text.partition("=")
        if not equals or not value.strip():
            raise ChillerError(f"{what} without a value", given=text, allowed="NAME=VALUE", do="write both")
        out.append((key.strip(), value.strip()))
    return out


def _taken(texts: list[str]) -> list[Taken]:
    readings = []
    for name, value in _pairs(texts, "reading"):
        quantity, _, place = name.partition("@")
        readings.append(
            Taken(
                quantity=quantity,
                place=place,
                value=tuple(v.strip() for v in value.split("/")) if "/" in value else value,
            )
        )
    return readings


def _done(args: argparse.Namespace) -> Done:
    return Done(step=args.step, outcome=args.outcome, at=args.at, by=args.by, note=args.note, readings=tuple(_taken(args.read)),
                site=dict(_pairs(args.site, "figure of the site")))  # fmt: skip


def with_done(placement: Placement, done: Done, knowledge: Knowledge) -> Placement:
    """The placement with one more entry. Raises PlacementError with every problem: nothing is kept then."""
    step = knowledge.steps.get(done.step)
    seen = outlook(placement, knowledge).of(done.step) if step is not None else None
    if step is None or seen is None:
        now = [s.card.id for s in outlook(placement, knowledge).next]
        raise PlacementError("unknown step", [f"given: '{done.step}'; allowed now: {', '.join(now)}"])
    problems = [
        f"{done.step}: {key}: {problem}" for key, value in done.site.items() if (problem := site_problem(key, value))
    ]
    problems += [f"{done.step}: {problem}" for problem in entry_problems(done)]
    if done.outcome == "done":
        problems += _missing(step, placement, seen.waits or lacking_facts(step, facts_of(placement, knowledge)))
    if done.outcome == "left" and step.must and not done.note:
        problems.append(f"{done.step}: this step counts; leaving it out needs a reason (--note)")
    if problems:
        raise PlacementError("the step was not kept", problems)
    return placement.model_copy(update={"entries": (*placement.entries, done)})


def _missing(step: PlacementStep, placement: Placement, waits: tuple[str, ...]) -> list[str]:
    out = [f"{step.id}: has to wait; {one}" for one in waits]
    lacking = set(step.needs_qualified) - set(placement.qualified)
    if lacking:
        out.append(
            f"{step.id}: for somebody qualified: {', '.join(sorted(lacking))}; let that person do it and say so when opening"
        )
    return out


def _json(placement: Placement, knowledge: Knowledge) -> str:
    seen = outlook(placement, knowledge)
    steps = [
        {"id": s.card.id, "stage": s.card.stage, "title": s.card.title, "state": s.state, "waits": list(s.waits)}
        for s in seen.steps
    ]
    return json.dumps({"name": placement.name, "facts": dict(seen.facts), "steps": steps}, ensure_ascii=False)
