"""Backup and restore: one portable text file that either kind of store writes and reads, described in FORMATS.md.

A backup is one moment of the records, also while others write. A restore puts in all of it or nothing: every row is
checked for its columns and kinds, the whole for its digest and for holding together. A store that has anything in it is
replaced only when a file is named to which it is backed up first, in the same transaction.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from diagnose.store import database as db
from diagnose.store.checkup import problems
from diagnose.store.files import opened, read_json, written_whole
from diagnose.store.steps import STEPS
from shared.errors import ManyProblems, StoreError, shorten

FORMAT, VERSION = "chiller-records", 1
LONGEST_LINE = 4_000_000  # bytes; a call's header with its machine card is some ten thousand
MOST_BYTES = 8_000_000_000  # unpacked; a packed file of a few kilobytes can hold any length of nothing
LEFT_OUT = ("sign_ins", "sign_in_tries")  # who is signed in just now is nothing to keep
AT_ONCE = 500
Counts = dict[str, int]


def backup(database: db.Database, path: Path, *, replace: bool = False) -> Counts:
    """Write all records to a file; how many rows of each table. Raises StoreError."""
    with database.read() as tx, written_whole(path, replace=replace) as file:
        return _write(tx, file)


def _write(tx: Any, file: IO[bytes]) -> Counts:
    digest, counts = hashlib.sha256(), Counts()

    def line(value: Mapping[str, Any]) -> None:
        data = db.as_json(value).encode() + b"\n"
        digest.update(data)
        file.write(data)

    made = datetime.now(UTC).isoformat(timespec="seconds")
    line({"format": FORMAT, "version": VERSION, "schema": db.schema_step(tx), "made": made})
    for table in db.kept_tables():
        if table.name not in LEFT_OUT:
            counts[table.name] = 0
            for row in db.rows_of(tx, table):
                line({"table": table.name, "row": row})
                counts[table.name] += 1
    file.write(db.as_json({"end": counts, "sha256": digest.hexdigest()}).encode() + b"\n")
    return counts


def restore(database: db.Database, path: Path, *, keep_old: Path | None = None) -> Counts:
    """Read all records from a file into a store; how many rows of each table.

    keep_old: what is there is written to this file first, then replaced; without it only an empty store is filled.
    Raises StoreError, RestoreError (all problems); then nothing has changed.
    """
    try:
        with opened(path) as file, database.write() as tx:
            db.hold_all(tx)
            if not db.is_bare(tx):
                _keep(tx, database, keep_old)
            db.begin_anew(tx, database.shown)
            counts = _read(tx, file)
            if found := db.broken_file(tx) or problems(tx):
                raise RestoreError("records do not hold together", found)
            return counts
    except db.Taken as error:
        raise StoreError("a row of the file is there twice, or belongs to nothing", given=str(error),
                         do="nothing was restored; take another backup") from None  # fmt: skip


def _keep(tx: Any, database: db.Database, keep_old: Path | None) -> None:
    if keep_old is None:
        raise StoreError(
            "there are records in this store already",
            given=database.shown,
            allowed="an empty store",
            do="name another by --store, or say where to keep what is there: --keep-old FILE; it is replaced then",
        )
    with written_whole(keep_old) as kept:
        _write(tx, kept)


class RestoreError(ManyProblems, StoreError):
    """A backup does not hold together; one line each."""


def _lines(file: IO[bytes]) -> Iterator[tuple[int, bytes]]:
    number = size = 0
    while data := file.readline(LONGEST_LINE + 1):
        number, size = number + 1, size + len(data)
        if len(data) > LONGEST_LINE or size > MOST_BYTES:
            raise StoreError(
                f"line {number} is too long, or the file",
                allowed=f"lines up to {LONGEST_LINE} bytes, files up to {MOST_BYTES}",
                do="check the file",
            )
        yield number, data


def _read(tx: Any, file: IO[bytes]) -> Counts:
    tables = {t.name: t for t in db.kept_tables() if t.name not in LEFT_OUT}
    digest, counts, waiting = hashlib.sha256(), Counts(dict.fromkeys(tables, 0)), list[dict[str, Any]]()
    names, reached, ended = list(tables), 0, False
    for number, data in _lines(file):
        value = read_json(data, f"line {number}")
        if not isinstance(value, dict) or ended:
            raise _wrong(number, "something after the end" if ended else "no object")
        if number == 1:
            _check_head(value)
        elif "end" in value:
            # a backup of an earlier step of the schema knows fewer tables
            told = value["end"] if isinstance(value["end"], dict) else {}
            if value.get("sha256") != digest.hexdigest() or {**dict.fromkeys(tables, 0), **told} != counts:
                raise _wrong(number, "the digest or the counts do not fit: the file was changed")
            ended = True
        else:
            name, row = value.get("table"), value.get("row")
            if name not in tables or not isinstance(row, dict) or names.index(name) < reached:
                raise _wrong(number, f"table '{shorten(name)}'")
            if names.index(name) > reached or len(waiting) >= AT_ONCE:
                db.add_rows(tx, tables[names[reached]], waiting)
                waiting = []
            reached = names.index(name)
            waiting.append(_checked_row(tables[name], row, number))
            counts[name] += 1
        digest.update(data)
    if not ended:
        raise StoreError("the file ends too early", given=f"{sum(counts.values())} rows", do="take another backup")
    db.add_rows(tx, tables[names[reached]], waiting)
    return counts


def _check_head(head: Mapping[str, Any]) -> None:
    if head.get("format") != FORMAT:
        raise StoreError("not a backup of records", given=head.get("format"), allowed=FORMAT, do="check the file")
    if head.get("version") != VERSION or not isinstance(head.get("schema"), int) or head["schema"] > len(STEPS):
        raise StoreError(
            "backup made by a newer release",
            given=f"version {shorten(head.get('version'))}, schema step {shorten(head.get('schema'))}",
            allowed=f"version {VERSION}, schema step {len(STEPS)} or older",
            do="restore it with the newer release",
        )


def _checked_row(table: Any, row: dict[str, Any], number: int) -> dict[str, Any]:
    columns = {column.name: column for column in table.columns}
    for name, value in row.items():
        wanted: type = columns[name].type.python_type if name in columns else type(None)
        if type(value) is not wanted:
            raise _wrong(number, f"column '{shorten(name)}' of {table.name}")
        if isinstance(value, int) and abs(value) >= 2**31:
            raise _wrong(number, f"column '{name}' of {table.name}: number too large")
        if isinstance(value, str) and not _storable(value):
            raise _wrong(number, f"column '{name}' of {table.name}: characters that no database keeps")
    missing = [n for n, c in columns.items() if n not in row and c.server_default is None]
    if missing:
        raise _wrong(number, f"no column '{missing[0]}' of {table.name}")
    return row


def _storable(text: str) -> bool:
    return "\0" not in text and not any("\ud800" <= c <= "\udfff" for c in text)


def _wrong(number: int, what: str) -> StoreError:
    return StoreError(f"line {number} of the backup: {what}", do="nothing was restored; take another backup")
