"""Arguments of `train`, apart from what it does: every command line is parsed without loading the bench."""

from __future__ import annotations

from typing import Any

from knowledge.scenarios import DIFFICULTIES, TOPICS


def add_parser(commands: Any) -> None:
    """The command `train` with its own commands."""
    train = commands.add_parser("train", help="training bench: list, show, play, debrief, class, rehearse")
    parts = train.add_subparsers(dest="what", required=True, metavar="WHAT")
    listed = parts.add_parser("list", help="scenarios by difficulty and topic")
    rehearse = parts.add_parser("rehearse", help="let the planner work the scenarios; how many end right")
    played = parts.add_parser("play", help="work a scenario in the terminal")
    for one in (listed, rehearse, played):
        one.add_argument("--difficulty", default="", help=", ".join(DIFFICULTIES))
        one.add_argument("--topic", default="", help=", ".join(TOPICS))
    show = parts.add_parser("show", help="a scenario as the trainee gets it")
    show.add_argument("scenario", help="id of a scenario, or a file that holds one")
    show.add_argument("--spoil", action="store_true", help="also what is wrong")
    played.add_argument("scenario", nargs="?", default="", help="id or file; without it one is drawn")
    played.add_argument("--guided", action="store_true", help="show the ranking and proposals")
    played.add_argument("--trainee", default="")
    played.add_argument(
        "-o", "--output", default="", help="keep the session in this file; it is continued when it exists"
    )
    after = parts.add_parser("debrief", help="true cause, paths, belief, score of a kept session")
    after.add_argument("session")
    group = parts.add_parser("class", help="overview of kept sessions")
    group.add_argument("sessions", nargs="+")
    group.add_argument("--csv", action="store_true")
    for one in (rehearse, played):
        one.add_argument("--seed", type=int, default=1)
    for one in (listed, show, after, group, rehearse, played):
        one.add_argument("--json", action="store_true")
