"""The arguments of `placement`, apart from what it does, so that every other command starts without loading it."""

from __future__ import annotations

from typing import Any


def add_parser(commands: Any) -> None:
    """The arguments of the command."""
    parser = commands.add_parser("placement", help="work order of a placement, receipt to return, kept in a file")
    acts = parser.add_subparsers(dest="act", required=True)
    new = acts.add_parser("open", help="begin one")
    new.add_argument("file")
    new.add_argument("--machine", default="", help="a case file whose machine it is")
    new.add_argument("--name", default="")
    new.add_argument("--qualified", nargs="*", default=[], choices=("electrical", "refrigerant", "height"))
    for name, text in (("show", "what comes next"), ("report", "all that was done")):
        one = acts.add_parser(name, help=text)
        one.add_argument("file")
        one.add_argument("--json", action="store_true")
    done = acts.add_parser("done", help="a step was done, was not right, or is left out")
    done.add_argument("file")
    done.add_argument("step")
    done.add_argument("--outcome", default="done", choices=("done", "not-right", "left"))
    done.add_argument(
        "--read", nargs="*", default=[], metavar="QUANTITY[@PLACE]=VALUE", help="readings; three phases with /"
    )
    done.add_argument("--site", nargs="*", default=[], metavar="FIGURE=VALUE")
    done.add_argument("--at", default="")
    done.add_argument("--by", default="")
    done.add_argument("--note", default="")
    call = acts.add_parser("call", help="write the trouble call of a step that is not right")
    call.add_argument("file")
    call.add_argument("step")
    call.add_argument("-o", "--output", required=True)
    for name, text in (
        ("baseline", "keep the readings of the steady, healthy machine; without readings show what is kept"),
        ("round", "write down the readings of a round"),
    ):
        one = acts.add_parser(name, help=text)
        one.add_argument("file")
        one.add_argument("--read", nargs="*", default=[], metavar="QUANTITY[@PLACE]=VALUE")
        one.add_argument("--at", default="")
        one.add_argument("--by", default="")
        one.add_argument("--note", default="")
        one.add_argument("--json", action="store_true")
        if name == "baseline":
            one.add_argument(
                "--earlier", nargs="+", action="append", default=[], metavar="MINUTES QUANTITY[@PLACE]=VALUE",
                help="the same readings some minutes before, so that steadiness is shown",
            )  # fmt: skip
    trend = acts.add_parser("trend", help="rounds against the baseline: early words, days to act")
    trend.add_argument("file")
    trend.add_argument("--json", action="store_true")
    trend.add_argument("--svg", default="", metavar="FOLDER", help="write one picture for each trend")
