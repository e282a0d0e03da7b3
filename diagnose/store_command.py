"""The command `store`: back up, restore, check, list, export, import, readings as CSV.

The store itself is loaded when the command runs, so that other commands start without it.
"""

from __future__ import annotations

import argparse
import getpass
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shared.errors import StoreError

if TYPE_CHECKING:
    from diagnose.store import Store


def add_parser(commands: Any) -> None:
    """Add `store` to the command line."""
    store = commands.add_parser(
        "store", help="the record of machines and calls: back up, restore, check, export, import"
    )
    store.add_argument(
        "--store", default="", help="file or database address (default: CHILLER_STORE, else the user's file)"
    )
    acts = store.add_subparsers(dest="act", required=True, metavar="ACT")
    backup = acts.add_parser("backup", help="write everything to one file (FILE.gz: packed), also while others write")
    backup.add_argument("file")
    backup.add_argument("--replace", action="store_true", help="write over a file of this name")
    restore = acts.add_parser("restore", help="read everything from a backup into an empty store")
    restore.add_argument("file")
    restore.add_argument(
        "--keep-old", default="", metavar="FILE", help="what is there is written to FILE, then replaced"
    )
    check = acts.add_parser("check", help="say whether the records hold together; exit 1 if not")
    check.add_argument("--json", action="store_true")
    calls = acts.add_parser("calls", help="list the calls")
    calls.add_argument("--json", action="store_true")
    placements = acts.add_parser("placements", help="list the placements")
    placements.add_argument("--json", action="store_true")
    export = acts.add_parser("export", help="write one call or placement to a file that another store can import")
    export.add_argument("call", help="id of a call or of a placement")
    export.add_argument("-o", "--output", required=True)
    export.add_argument("--replace", action="store_true")
    take = acts.add_parser("import", help="take in a call or a placement from a file")
    take.add_argument("file")
    take.add_argument("--by", default="", help="your name, for the record (default: the name of this login)")
    readings = acts.add_parser("readings", help="write all readings as CSV, or those of one call or machine")
    readings.add_argument("-o", "--output", required=True)
    readings.add_argument("--call", default="")
    readings.add_argument("--machine", default="")
    readings.add_argument("--replace", action="store_true")


def run(args: argparse.Namespace) -> int:
    """Do what was asked; 1 when a check finds problems. Raises ChillerError."""
    from diagnose.store import Store

    _there(args)
    store = Store(args.store or None, check=_check)
    try:
        return {
            "backup": _backup,
            "restore": _restore,
            "check": _checkup,
            "calls": _calls,
            "placements": _placements,
            "export": _export,
            "import": _import,
            "readings": _readings,
        }[args.act](store, args)
    finally:
        store.close()


def _there(args: argparse.Namespace) -> None:
    """Only `restore` and `import` make a store; a slip in its name must not be backed up as an empty one."""
    from diagnose.store.address import default_address, read_address

    _, path = read_address(args.store or default_address())
    if path is not None and not path.exists() and args.act not in ("restore", "import"):
        raise StoreError("there is no store at this place", given=str(path), do="name it by --store or CHILLER_STORE")


def _check(case: Any) -> None:
    from diagnose.case_check import checked
    from knowledge.load import load_knowledge

    checked(case, load_knowledge())


def _counted(counts: dict[str, int]) -> str:
    return ", ".join(f"{number} {name.replace('_', ' ')}" for name, number in counts.items())


def _backup(store: Store, args: argparse.Namespace) -> int:
    counts = store.backup(Path(args.file), replace=args.replace)
    print(f"backup written to {args.file}: {_counted(counts)}")
    return 0


def _restore(store: Store, args: argparse.Namespace) -> int:
    counts = store.restore(Path(args.file), keep_old=Path(args.keep_old) if args.keep_old else None)
    print(f"restored into {store.address}: {_counted(counts)}")
    return 0


def _checkup(store: Store, args: argparse.Namespace) -> int:
    found = store.problems()
    if args.json:
        print(json.dumps({"store": store.address, "problems": found}, ensure_ascii=False))
    else:
        print("\n".join(found) or f"the records hold together: {store.address}, {len(store.calls())} calls")
    return 1 if found else 0


def _calls(store: Store, args: argparse.Namespace) -> int:
    lines = store.calls()
    if args.json:
        print(
            json.dumps(
                [
                    {
                        "id": line.id,
                        "machine": line.machine,
                        "complaint": line.complaint,
                        "state": line.state,
                        "outcome": line.outcome,
                        "opened_at": line.opened_at.isoformat(),
                        "opened_by": line.opened_by,
                        "last_at": line.last_at.isoformat(),
                        "events": line.revision,
                        "desk": line.desk,
                        "team": line.team,
                        "origin": line.origin,
                        "invented": line.invented,
                    }
                    for line in lines
                ],
                ensure_ascii=False,
            )
        )
        return 0
    for line in lines:
        print(f"{line.id}  {line.opened_at:%Y-%m-%d %H:%M}  {line.state}  {line.complaint}  {line.machine}")
    return 0


def _placements(store: Store, args: argparse.Namespace) -> int:
    lines = store.placements.placements()
    if args.json:
        told = [
            {
                "id": line.id,
                "name": line.name,
                "machine_id": line.machine_id,
                "state": line.state,
                "opened_at": line.opened_at.isoformat(),
                "opened_by": line.opened_by,
                "last_at": line.last_at.isoformat(),
                "events": line.revision,
                "team": line.team,
                "origin": line.origin,
                "invented": line.invented,
            }
            for line in lines
        ]
        print(json.dumps(told, ensure_ascii=False))
        return 0
    for line in lines:
        print(f"{line.id}  {line.opened_at:%Y-%m-%d %H:%M}  {line.state}  {line.name}")
    return 0


def _export(store: Store, args: argparse.Namespace) -> int:
    from diagnose.store.placement_file import placement_as_data
    from diagnose.store.transfer import call_as_data

    if any(line.id == args.call for line in store.placements.placements()):
        what = "placement"
        data = placement_as_data(store.placements.placement(args.call), store.placements.photos(args.call))
    else:
        what, data = "call", call_as_data(store.call(args.call))
    text = json.dumps(data, ensure_ascii=False, indent=1) + "\n"
    _write(args.output, text, args.replace)
    print(f"{what} {args.call} written to {args.output}: {len(data['events'])} events")
    return 0


def _import(store: Store, args: argparse.Namespace) -> int:
    from diagnose.store.files import read_json, read_small
    from diagnose.store.placement_file import FORMAT, MOST_BYTES

    content, by = read_small(Path(args.file), MOST_BYTES), args.by or _login()
    data = read_json(content, "file")
    if isinstance(data, dict) and data.get("format") == FORMAT:
        what, (found, new) = "placement", store.placements.take_in(content, by=by)
    else:
        what, (found, new) = "call", store.import_call(content, by=by)
    print(f"{what} {found}: {new} new events" if new else f"{what} {found}: all of it was there already")
    return 0


def _readings(store: Store, args: argparse.Namespace) -> int:
    from diagnose.store.transfer import readings_csv

    ids = [args.call] if args.call else [line.id for line in store.calls(machine_id=args.machine)]
    calls = [store.call(one) for one in ids]
    text = readings_csv(calls)
    # a mark at the start tells a spreadsheet that this is UTF-8
    _write(args.output, "\ufeff" + text, args.replace)
    print(f"{max(0, text.count(chr(13)) - 1)} readings of {len(calls)} calls written to {args.output}")
    return 0


def _write(name: str, text: str, replace: bool) -> None:
    from diagnose.store.files import written_whole

    if name == "-":
        sys.stdout.write(text)
        return
    with written_whole(Path(name), replace=replace) as file:
        file.write(text.encode())


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        raise StoreError("no name for the record", do="give yours: --by NAME") from None
