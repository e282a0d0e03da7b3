"""The command line: run, why, ask, calc, checks, causes, complaints, findings, match, report, bench, replay, evaluate, prove,
train, schema.

Exit 0; a bad case or value: exit 2 with one clear line for each problem, never a traceback.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from diagnose import store_command
from diagnose.placement import arguments as placement_command
from diagnose.training import arguments as training_arguments
from shared.errors import ChillerError


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="chiller-diagnose", description="From a chiller trouble call to the likely cause and the next safe check."
    )
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    run = commands.add_parser("run", help="print the advice for a case file")
    run.add_argument("case")
    run.add_argument("--json", action="store_true", help="print one Advice as JSON")
    run.add_argument("--steps", action="store_true", help="print the advice after every entry")
    run.add_argument("--without-rules", action="store_true", help="switch the rule stage off (ablation)")
    run.add_argument("--three", action="store_true", help="weigh three causes at once as well")
    run.add_argument("--percent", action="store_true", help="chances in per cent instead of tenths")
    why = commands.add_parser("why", help="where one cause stands in a call, why, and what would bring it up")
    why.add_argument("case")
    why.add_argument("cause", nargs="+", help="id of a cause, nothing-wrong, an instrument of the call, or plain words")
    why.add_argument("--place", default="", help="one of several places of it, e.g. circuit:B")
    why.add_argument("--json", action="store_true")
    why.add_argument("--percent", action="store_true", help="chances in per cent instead of tenths")
    ask = commands.add_parser("ask", help="lead through a call in the terminal")
    ask.add_argument("case", nargs="?", help="continue this case file")
    ask.add_argument("-o", "--output", help="keep the case in this file")
    calc = commands.add_parser(
        "calc", help="run a calculator: calc superheat refrigerant=R-410A suction_pressure=118psig suction_line=50degF"
    )
    calc.add_argument("arguments", nargs="*", metavar="NAME key=value")
    calc.add_argument("--json", action="store_true")
    for name, what in (
        ("checks", "checks and their answers"),
        ("causes", "causes"),
        ("complaints", "complaints"),
        ("findings", "findings and their words"),
    ):
        lister = commands.add_parser(name, help=f"list {what}")
        lister.add_argument("--json", action="store_true")
    match = commands.add_parser("match", help="find checks, answers and causes for plain words")
    match.add_argument("text")
    match.add_argument("--json", action="store_true")
    report = commands.add_parser("report", help="write an HTML report of a case")
    report.add_argument("case")
    report.add_argument("-o", "--output", required=True)
    sheet = commands.add_parser("worksheet", help="write a blank worksheet for one kind of call, to print")
    sheet.add_argument("complaint", help="id of a complaint, see `complaints`")
    sheet.add_argument("-o", "--output", required=True, help="HTML file to write")
    sheet.add_argument("--role", default="technician", choices=("customer", "technician"))
    sheet.add_argument("--qualified", nargs="*", default=[], choices=("electrical", "refrigerant", "height"))
    sheet.add_argument("--machine", default="", help="a case file whose machine is written at the top")
    sheet.add_argument("--circuits", type=int, default=2)
    placement_command.add_parser(commands)
    bench = commands.add_parser("bench", help="time belief, next steps and whole advice")
    bench.add_argument("--json", action="store_true")
    replay = commands.add_parser("replay", help="work the transcribed calls of a folder and print the table")
    replay.add_argument("folder")
    replay.add_argument("--json", action="store_true")
    replay.add_argument("--ablation", action="store_true", help="also with the rule stage switched off")
    evaluate = commands.add_parser(
        "evaluate", help="work thousands of simulated calls to their verdict and count: JSON and one page with plots"
    )
    evaluate.add_argument("--cases", type=int, default=200)
    evaluate.add_argument("--seed", type=int, default=1)
    evaluate.add_argument("--workers", type=int, help="processes of a local Dask cluster; 1: here, without Dask")
    evaluate.add_argument("--scheduler", default="", help="address of a Dask scheduler, e.g. tcp://10.0.0.5:8786")
    evaluate.add_argument(
        "--machine", default="", help="a machine card (YAML) for all calls; without it: random machines"
    )
    evaluate.add_argument(
        "--out", default="evaluation", help="folder; a run that was stopped goes on where its rows end"
    )
    evaluate.add_argument("--before", default="", help="evaluation.json of an earlier run, to compare with")
    evaluate.add_argument("--json", action="store_true", help="print the numbers as JSON")
    prove = commands.add_parser(
        "prove",
        help="run a full-size proof: ahead (what the look-ahead predicts), belief (against an independent library), calibration (in a moved world), causes (self-play), plan (against the optimum), "
        "plant (random machines, days and faults), crash (writers killed at random), drift (early words before a trip), load (fifty people at once)",
    )
    prove.add_argument(
        "name",
        choices=(
            "ahead",
            "belief",
            "calibration",
            "causes",
            "crash",
            "drift",
            "evaluate",
            "growth",
            "load",
            "plan",
            "plant",
            "shared",
        ),
    )
    prove.add_argument("--json", action="store_true")
    prove.add_argument("--out", default="", help="write the result file here")
    prove.add_argument(
        "--date", default="", help="date to write into the result file; without it, the file's own time counts"
    )
    prove.add_argument("--seed", type=int, default=1)
    prove.add_argument("--draws", type=int, default=0, help="fewer draws or networks than the full proof")
    prove.add_argument("--processes", type=int, default=1)
    prove.add_argument("--minutes", type=float, default=0.0, help="load: a soak of this length instead of the full one")
    prove.add_argument("--only", nargs="*", default=[], help="causes: only these")
    store_command.add_parser(commands)
    training_arguments.add_parser(commands)
    schema = commands.add_parser("schema", help="print the JSON Schema of case or advice")
    schema.add_argument("what", choices=("case", "advice"))
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command."""
    args = _parser().parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    from diagnose import commands

    try:
        return int(getattr(commands, f"run_{args.command}")(args))
    except ChillerError as error:
        print(error.line(), file=sys.stderr)
        return 2
    except BrokenPipeError:
        return 0
    except KeyboardInterrupt:
        print("stopped; what was answered is kept in the output file, if one was given", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())
