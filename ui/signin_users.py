"""`python -m ui user ...`: who may sign in when the app is served to others."""

from __future__ import annotations

import argparse
import getpass
import os
import sys
from collections.abc import Sequence

from diagnose.store import Store
from diagnose.store.access import ROLES
from shared.errors import ChillerError, StoreError


def parser() -> argparse.ArgumentParser:
    """The command line."""
    made = argparse.ArgumentParser(prog="python -m ui user", description="Who may sign in, and to which desks.")
    made.add_argument("--store", help="file or database address of the records")
    acts = made.add_subparsers(dest="act", required=True, metavar="ACT")
    add = acts.add_parser("add", help="add a user; asks for a password")
    add.add_argument("name", help="name to sign in with; with --openid the mail address there")
    add.add_argument("--role", required=True, choices=ROLES)
    add.add_argument("--shown", default="", help="name as it stands in the record (default: the name)")
    add.add_argument("--team", default="", help="calls opened by somebody of a team are seen by that team only")
    add.add_argument("--openid", action="store_true", help="an identity provider vouches; no password is kept here")
    _password_option(add)
    acts.add_parser("list", help="list the users")
    role = acts.add_parser("role", help="change a user's role")
    role.add_argument("name")
    role.add_argument("role", choices=ROLES)
    team = acts.add_parser("team", help="change a user's team; '' for none")
    team.add_argument("name")
    team.add_argument("team")
    password = acts.add_parser("password", help="set a new password; asks for it")
    password.add_argument("name")
    _password_option(password)
    for act, what in (("remove", "a user may no longer sign in; the name stays in the record"), ("open", "may again")):
        acts.add_parser(act, help=what).add_argument("name")
    history = acts.add_parser("history", help="what was done to a user, when and by whom")
    history.add_argument("name")
    return made


def _password_option(command: argparse.ArgumentParser) -> None:
    command.add_argument("--password-stdin", action="store_true", help="read the password from standard input")


def main(arguments: Sequence[str]) -> int:
    """Exit code 0, 2 for what cannot be done."""
    given = parser().parse_args(arguments)
    try:
        store = Store(given.store or None)
        try:
            print("\n".join(_done(store, given)))
        finally:
            store.close()
    except ChillerError as error:
        print(error.line(), file=sys.stderr)
        return 2
    return 0


def _done(store: Store, given: argparse.Namespace) -> list[str]:
    users, by = store.users, f"{_login()} at the command line"
    if given.act == "list":
        lines = [
            f"{u.name}  {u.role}  {u.team or '-'}  {u.way}  {'' if u.active else 'removed  '}{u.shown}"
            for u in users.all()
        ]
        return lines or ["no users yet; python -m ui user add NAME --role keeper"]
    if given.act == "history":
        users.user(given.name)
        return [f"{at}  {kind} {dict(body)}  by {who}" for kind, who, at, body in users.history(given.name)]
    if given.act == "add":
        secret = "" if given.openid else _password(given)
        made = users.add(given.name, given.role, password=secret, shown=given.shown, team=given.team, by=by)
        return [f"{made.name} added: {made.role}"]
    changes = {
        "role": lambda: {"role": given.role},
        "team": lambda: {"team": given.team},
        "password": lambda: {"password": _password(given)},
        "remove": lambda: {"active": False},
        "open": lambda: {"active": True},
    }[given.act]()
    changed = users.change(given.name, by=by, **changes)  # type: ignore[arg-type]
    return [f"{changed.name}: {changed.role}, team {changed.team or '-'}, {'open' if changed.active else 'removed'}"]


def _password(given: argparse.Namespace) -> str:
    if given.password_stdin:
        return sys.stdin.readline(1000).rstrip("\r\n")
    if not sys.stdin.isatty():
        raise StoreError("no terminal to ask for a password", do="give it on standard input with --password-stdin")
    first = getpass.getpass("Password: ")
    if getpass.getpass("Once more: ") != first:
        raise StoreError("the two passwords differ", do="try again")
    return first


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return f"user {os.getuid()}" if hasattr(os, "getuid") else "somebody"
