"""`evaluate`: run, write the rows, the numbers and the page, compare with an earlier evaluation; and the same as a proof."""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from diagnose.case import Machine
from diagnose.case_check import checked, parse_case
from diagnose.evaluate.page import page
from diagnose.evaluate.run import Progress, Settings, rows_of
from diagnose.evaluate.summary import compared, summary, text, turned
from diagnose.prove.result import Options, machine, write_result
from knowledge.load import load_knowledge
from knowledge.yaml_text import YamlProblem, read_yaml
from shared.errors import ChillerError

BAR = 40
MOST_NAMED = 30  # calls named one by one in the terminal
MOST_CASES = 1_000_000
PROOF_CASES = 240
HELD_OUT_SHARE = 4  # one call on the held-out machine for so many on random ones
HELD_OUT = Machine.model_validate(
    {
        "refrigerant": "R-454B",
        "capacity": "190 kW",
        "voltage": "400 V",
        "frequency": "50 Hz",
        "fluid": "propylene-glycol",
        "glycol_percent": "25 %",
        "altitude": "300 m",
        "tank_at": "load",
        "expansion": "electronic",
        "supply": "generator",
        "pumps": ["onboard", "site"],
        "pump_in_use": "onboard",
        "pump_drive": "yes",
        "fan_drive": "no",
        "circuits": 2,
        "compressors": 4,
        "design_flow": "8.6 L/s",
        "design_drop": "47 kPa",
        "set_point": "4 degC",
    }
)
"""An invented machine that is used for nothing else: no card, strength or band was written with it in view."""


def machine_from(path: Path) -> Machine:
    """The machine card of a file: its keys alone, or a case file with a `machine`. Raises ChillerError or CaseError."""
    try:
        data, _ = read_yaml(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise ChillerError("machine card cannot be read", given=str(path), allowed="a file", do=str(error)) from None
    except YamlProblem as error:
        raise ChillerError(
            "machine card cannot be read", given=f"{path}: {error}", allowed="YAML as in a case's `machine`"
        ) from None
    card = data.get("machine", data) if isinstance(data, dict) else data
    case = parse_case({"complaint": "is-this-normal", "machine": card}, where=path.name)
    return checked(case, load_knowledge()).machine


def bar(done: int, of: int, width: int = BAR) -> str:
    """A progress bar in text."""
    full = width * done // of if of else width
    return f"[{'#' * full}{'.' * (width - full)}] {done} of {of}"


def _progress() -> Progress:
    live = sys.stderr.isatty()

    def said(done: int, of: int) -> None:
        if live:
            print(f"\r{bar(done, of)}", end="" if done < of else "\n", file=sys.stderr, flush=True)
        elif done == of or done % max(of // 10, 1) == 0:
            print(bar(done, of), file=sys.stderr, flush=True)

    return said


def settings_of(args: argparse.Namespace) -> Settings:
    """The settings of a command line, checked."""
    if not 1 <= args.cases <= MOST_CASES:
        raise ChillerError("number of cases", given=args.cases, allowed=f"1 to {MOST_CASES}")
    workers = os.cpu_count() or 1 if args.workers is None else args.workers
    if not 1 <= workers <= 1024:
        raise ChillerError("number of workers", given=workers, allowed="1 to 1024")
    card = machine_from(Path(args.machine)).model_dump_json(exclude_defaults=True) if args.machine else ""
    return Settings(args.cases, args.seed, workers, args.scheduler, card, Path(args.out) / "rows.jsonl")


def evaluate(args: argparse.Namespace) -> dict[str, Any]:
    """Run, and write rows.jsonl, evaluation.json and evaluation.html into the folder; the numbers."""
    settings = settings_of(args)
    before = _read_before(Path(args.before)) if args.before else {}
    rows = rows_of(settings, _progress())
    result: dict[str, Any] = {
        "knowledge": load_knowledge().digest,
        "seed": settings.seed,
        "machine_card": args.machine or "random machines",
        "machine": machine(),
        **summary(rows),
    }
    table = compared(before, result) if before else []
    moved = turned(_rows_beside(Path(args.before)), rows) if before else {}
    if before:
        result |= {"before": {"knowledge": before.get("knowledge", ""), "moved": table, "turned": moved}}
    write_result(Path(args.out) / "evaluation.json", result)
    (Path(args.out) / "evaluation.html").write_text(page(result, table, moved), encoding="utf-8")
    return result


def _read_before(path: Path) -> dict[str, Any]:
    try:
        made = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise ChillerError(
            "earlier evaluation cannot be read", given=str(path), allowed="an evaluation.json", do=str(error)
        ) from None
    if not isinstance(made, dict) or "groups" not in made:
        raise ChillerError("not an evaluation", given=str(path), allowed="an evaluation.json that `evaluate` wrote")
    return made


def _rows_beside(path: Path) -> list[dict[str, Any]]:
    """Rows of the earlier evaluation, where they are still beside it."""
    rows = path.parent / "rows.jsonl"
    if not rows.exists():
        return []
    return [json.loads(line) for line in rows.read_text(encoding="utf-8").splitlines()[1:] if line.endswith("}")]


def evaluation_text(result: Mapping[str, Any]) -> str:
    """What the terminal shows: the numbers, and what moved against the earlier evaluation."""
    return "\n".join([text(result), *(_moved_lines(result["before"], result) if "before" in result else [])])


def _moved_lines(before: Mapping[str, Any], result: Mapping[str, Any]) -> list[str]:
    table = before["moved"]
    cards = f"cards {before['knowledge']} before, {result['knowledge']} now"
    lines = [f"before and after ({cards}):", f"  {'':52s}{'before':>10s}{'after':>10s}"]
    for one in table:
        name = f"{one['group']}: {one['number'].replace('_', ' ')}"
        lines.append(f"  {name:52s}{_number(one['before']):>10s}{_number(one['after']):>10s}")
    lines += [] if table else ["  no number moved"]
    for what, which in before["turned"].items():
        lines.append(f"  calls that {what}: {len(which)} ({', '.join(map(str, which[:MOST_NAMED])) or 'none'})")
    return lines


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:g}"


# as a proof ----------------------------------------------------------------------------------------------------------


def prove_evaluation(options: Options) -> tuple[str, dict[str, Any]]:
    """Random machines and the held-out one; kept beside the result file while it runs."""
    knowledge = load_knowledge()
    cases = options.draws or PROOF_CASES
    beside = Path(options.out) if options.out else None
    made: dict[str, Any] = {}
    cards = {
        "random": (cases, ""),
        "held_out": (max(1, cases // HELD_OUT_SHARE), HELD_OUT.model_dump_json(exclude_defaults=True)),
    }
    for name, (count, card) in cards.items():
        kept = beside.with_suffix(".partial.jsonl" if name == "random" else f".{name}.jsonl") if beside else None
        made[name] = summary(rows_of(Settings(count, options.seed, options.processes, "", card, kept), _progress()))
        if kept is not None and name != "random":
            kept.unlink()
    targets = made["random"]["targets"]
    safe = all(made[n]["all"][k] == 0 for n in made for k in ("missed_stops", "forbidden"))
    return knowledge.digest, {**made, "passes": safe and all(t["met"] is not False for t in targets.values())}


def proof_text(result: Mapping[str, Any]) -> str:
    """Both parts for people."""
    return "\n\n".join(
        f"{title}\n{text(result[name])}"
        for name, title in (("random", "random machines"), ("held_out", "the held-out machine"))
    )
