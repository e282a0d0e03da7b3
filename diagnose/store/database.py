"""Tables, steps of the schema and transactions. The only module that imports SQLAlchemy.

The same statements run on SQLite and on PostgreSQL. SQLite: WAL, every commit reaches the disk, connections
stay open in a pool, one writer at a time by a lock of the process and BEGIN IMMEDIATE between processes.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    ForeignKey,
    Integer,
    MetaData,
    Select,
    Table,
    Text,
    UniqueConstraint,
    create_engine,
    delete,
    event,
    func,
    insert,
    inspect,
    select,
    text,
    update,
)
from sqlalchemy.engine import URL, Connection, Engine
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.pool import QueuePool

from diagnose.store.address import ALLOWED, read_address, without_password
from diagnose.store.steps import STEPS, Step
from shared.errors import StoreError, shorten

Row = Mapping[str, Any]
SCHEMA_LOCK = 0x43484C52  # any number nobody else uses; two servers that start at once then take turns
SIGN_IN_LOCK = SCHEMA_LOCK + 1
BUSY_MS = 15_000

_schema = MetaData()
_steps = Table(
    "schema_steps",
    MetaData(),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("title", Text, nullable=False),
    Column("at", Text, nullable=False),
)
machines = Table(
    "machines",
    _schema,
    Column("id", Text, primary_key=True),
    Column("card", Text, nullable=False),
    Column("invented", Boolean, nullable=False),
    Column("added_at", Text, nullable=False),
    Column("added_by", Text, nullable=False),
)
machine_versions = Table(
    "machine_versions",
    _schema,
    Column("machine_id", Text, ForeignKey("machines.id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("key", Text, nullable=False),
    Column("card", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Text, nullable=False),
    UniqueConstraint("machine_id", "key", name="machine_versions_once"),
)
calls = Table(
    "calls",
    _schema,
    Column("id", Text, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("machine_id", Text, nullable=False),
    Column("machine", Text, nullable=False),
    Column("complaint", Text, nullable=False),
    Column("header", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("outcome", Text, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("opened_at", Text, nullable=False),
    Column("opened_by", Text, nullable=False),
    Column("last_at", Text, nullable=False),
    Column("invented", Boolean, nullable=False),
    Column("team", Text, nullable=False),
    Column("desk", Text, nullable=False),
    Column("origin", Text, nullable=False),
)
events = Table(
    "events",
    _schema,
    Column("call_id", Text, ForeignKey("calls.id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", Text, nullable=False),
    Column("key", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Text, nullable=False),
    UniqueConstraint("call_id", "key", name="events_once"),
)
users = Table(
    "users",
    _schema,
    Column("name", Text, primary_key=True),
    Column("shown", Text, nullable=False),
    Column("role", Text, nullable=False),
    Column("team", Text, nullable=False),
    Column("way", Text, nullable=False),
    Column("secret", Text, nullable=False),
    Column("active", Boolean, nullable=False),
    Column("revision", Integer, nullable=False),
)
user_events = Table(
    "user_events",
    _schema,
    Column("name", Text, ForeignKey("users.name"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Text, nullable=False),
)
sign_ins = Table(
    "sign_ins",
    _schema,
    Column("token", Text, primary_key=True),
    Column("name", Text, ForeignKey("users.name"), nullable=False),
    Column("made_at", Text, nullable=False),
    Column("last_at", Text, nullable=False),
    Column("ends_at", Text, nullable=False),
)
sign_in_tries = Table(
    "sign_in_tries",
    _schema,
    Column("what", Text, primary_key=True),
    Column("failures", Integer, nullable=False),
    Column("last_at", Text, nullable=False),
)

training_classes = Table(
    "training_classes",
    _schema,
    Column("code", Text, primary_key=True),
    Column("title", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("team", Text, nullable=False),
    Column("opened_at", Text, nullable=False),
    Column("opened_by", Text, nullable=False),
)
training_sessions = Table(
    "training_sessions",
    _schema,
    Column("id", Text, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("class_code", Text, nullable=False),
    Column("trainee", Text, nullable=False),
    Column("header", Text, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("team", Text, nullable=False),
    Column("opened_at", Text, nullable=False),
    Column("last_at", Text, nullable=False),
)
training_events = Table(
    "training_events",
    _schema,
    Column("session_id", Text, ForeignKey("training_sessions.id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("key", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Text, nullable=False),
    UniqueConstraint("session_id", "key", name="training_events_once"),
)
training_scenarios = Table(
    "training_scenarios",
    _schema,
    Column("id", Text, primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("body", Text, nullable=False),
    Column("team", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Text, nullable=False),
)
placements = Table(
    "placements",
    _schema,
    Column("id", Text, primary_key=True),
    Column("key", Text, nullable=False, unique=True),
    Column("machine_id", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("header", Text, nullable=False),
    Column("state", Text, nullable=False),
    Column("revision", Integer, nullable=False),
    Column("opened_at", Text, nullable=False),
    Column("opened_by", Text, nullable=False),
    Column("last_at", Text, nullable=False),
    Column("invented", Boolean, nullable=False),
    Column("team", Text, nullable=False),
    Column("origin", Text, nullable=False),
)
placement_events = Table(
    "placement_events",
    _schema,
    Column("placement_id", Text, ForeignKey("placements.id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", Text, nullable=False),
    Column("key", Text, nullable=False),
    Column("body", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Text, nullable=False),
    UniqueConstraint("placement_id", "key", name="placement_events_once"),
)
placement_photos = Table(
    "placement_photos",
    _schema,
    Column("placement_id", Text, ForeignKey("placements.id"), primary_key=True),
    Column("id", Text, primary_key=True),
    Column("name", Text, nullable=False),
    Column("content", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Text, nullable=False),
)


class Taken(Exception):
    """A row with this key is already there (two writers met)."""


class Database:
    """Connections and transactions of one address. Whatever goes wrong is a StoreError with one line."""

    def __init__(self, address: str, steps: Sequence[Step] = STEPS) -> None:
        url, self.path = read_address(address)
        self.shown = without_password(address)
        self._lock: Any = threading.RLock() if self.path else nullcontext()
        if self.path is not None:
            _prepare_file(self.path, self.shown)
        try:
            self.engine = _engine(url, self.path)
        except (ArgumentError, NoSuchModuleError, ImportError) as error:
            raise StoreError("address of the store", given=self.shown, allowed=ALLOWED, do=_first_line(error)) from None
        try:
            with self.write() as tx:
                _migrate(tx, steps, self.shown)
        except BaseException:
            self.engine.dispose()
            raise

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A transaction that sees one moment of the records, however long it takes."""
        with self._told(), self.engine.connect() as connection:
            if self.path is None:
                connection = connection.execution_options(isolation_level="REPEATABLE READ")
            with connection.begin():
                yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A transaction that writes all or nothing. Raises Taken on a key that is taken."""
        with self._lock, self._told(), self.engine.connect() as connection:
            connection = connection.execution_options(chiller_writes=True)
            with connection.begin():
                yield connection

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except IntegrityError as error:
            raise Taken(_first_line(error.orig)) from None
        except DBAPIError as error:
            raise StoreError(
                f"the store does not answer: {_first_line(error.orig)}",
                given=self.shown,
                do="check that the place exists, is not full and may be written; then try again, "
                "nothing is stored twice",
            ) from None
        except SQLAlchemyError as error:
            raise StoreError(
                f"the store does not answer: {_first_line(error)}", given=self.shown, do="try again"
            ) from None


def _first_line(error: object) -> str:
    lines = str(error).strip().splitlines()
    return shorten(lines[0], 160) if lines else type(error).__name__


def _prepare_file(file: Path, shown: str) -> None:
    """Make folder and file, readable by their owner only: the records name customers."""
    try:
        file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not file.exists():
            file.touch(mode=0o600)
        if not file.is_file():
            raise OSError("not a file")
    except (OSError, ValueError) as error:
        raise StoreError(
            f"no file for the store: {_first_line(error)}",
            given=shown,
            allowed=ALLOWED,
            do="name another place by CHILLER_STORE or --store",
        ) from None


def _engine(url: str, path: Path | None) -> Engine:
    if path is None:
        return create_engine(
            url,
            pool_pre_ping=True,
            pool_size=10,
            max_overflow=10,
            isolation_level="READ COMMITTED",
            connect_args={"connect_timeout": 10, "application_name": "chiller-diagnose"},
        )
    # a pool also for a file: opening anew for each transaction made 50 sessions six times slower
    engine = create_engine(
        URL.create("sqlite+pysqlite", database=str(path)),
        poolclass=QueuePool,
        pool_size=6,
        max_overflow=0,
        pool_timeout=30,
        connect_args={"check_same_thread": False, "timeout": BUSY_MS / 1000},
    )
    event.listen(engine, "connect", _open_file)
    event.listen(engine, "begin", _begin)
    return engine


def _open_file(connection: Any, _record: object) -> None:
    connection.isolation_level = None  # the driver's own BEGIN comes too late
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    for attempt in range(50):  # changing to WAL does not wait for others by itself
        try:
            cursor.execute("PRAGMA journal_mode = WAL")
            break
        except Exception as error:
            if "locked" not in str(error) or attempt == 49:
                raise
            time.sleep(0.05)
    cursor.execute("PRAGMA synchronous = FULL")  # a receipt must outlive a flat battery
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.close()


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("chiller_writes")
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _migrate(tx: Connection, steps: Sequence[Step], shown: str) -> None:
    """Bring the schema up, step by step, in one transaction; refuse one that a newer release made."""
    if tx.dialect.name == "postgresql":
        tx.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": SCHEMA_LOCK})
    if not inspect(tx).has_table("schema_steps"):
        _steps.create(tx)
    done = tx.execute(select(func.max(_steps.c.number))).scalar() or 0
    if done > len(steps):
        raise StoreError(
            f"records made by a newer release (schema step {done})",
            given=shown,
            allowed=f"step {len(steps)} or older",
            do="start the newer release, or name another store",
        )
    for number in range(done + 1, len(steps) + 1):
        step = steps[number - 1]
        for statement in step.statements(tx.dialect.name):
            tx.execute(text(statement))
        tx.execute(
            insert(_steps).values(
                number=number, title=step.title, at=time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime())
            )
        )


# --- statements


def as_json(value: object) -> str:
    """JSON in plain ASCII, keys in order: no database has trouble with it."""
    return json.dumps(value, ensure_ascii=True, sort_keys=True, separators=(",", ":"))


def add_machine(tx: Connection, row: Row) -> None:
    """Insert a machine."""
    tx.execute(insert(machines), dict(row))


def _rows(tx: Connection, query: Select[Any]) -> list[Row]:
    return [dict(row) for row in tx.execute(query).mappings()]


def _first(tx: Connection, query: Select[Any]) -> Row | None:
    row = tx.execute(query).mappings().first()
    return None if row is None else dict(row)


def all_machines(tx: Connection) -> list[Row]:
    """All machines in the order of their coming."""
    return _rows(tx, select(machines).order_by(machines.c.added_at, machines.c.id))


def one_machine(tx: Connection, machine_id: str) -> Row | None:
    """One machine, or None."""
    return _first(tx, select(machines).where(machines.c.id == machine_id))


def versions_of(tx: Connection, machine_id: str = "") -> list[Row]:
    """Later versions of one machine's card, or of all machines', oldest first."""
    query = select(machine_versions).order_by(machine_versions.c.machine_id, machine_versions.c.number)
    return _rows(tx, query.where(machine_versions.c.machine_id == machine_id) if machine_id else query)


def add_version(tx: Connection, row: Row) -> None:
    """Insert a version of a machine's card."""
    tx.execute(insert(machine_versions), dict(row))


def add_call(tx: Connection, row: Row) -> None:
    """Insert a call."""
    tx.execute(insert(calls), dict(row))


def call_by_key(tx: Connection, key: str) -> Row | None:
    """The call that was opened with this key, or None."""
    return _first(tx, select(calls).where(calls.c.key == key))


def all_calls(
    tx: Connection,
    state: str = "",
    machine_id: str = "",
    limit: int = 0,
    *,
    team: str | None = None,
    desk: str = "",
) -> list[Row]:
    """Calls, the last touched first. team: only its own and everybody's; None: of all teams."""
    query = select(calls).order_by(calls.c.last_at.desc(), calls.c.id)
    if state:
        query = query.where(calls.c.state == state)
    if machine_id:
        query = query.where(calls.c.machine_id == machine_id)
    if team is not None:
        query = query.where(calls.c.team.in_(("", team)))
    if desk:
        query = query.where(calls.c.desk == desk)
    return _rows(tx, query.limit(limit) if limit else query)


def one_call(tx: Connection, call_id: str, *, to_write: bool = False) -> Row | None:
    """One call, or None. to_write: hold its row until the transaction ends."""
    query = select(calls).where(calls.c.id == call_id)
    return _first(tx, query.with_for_update() if to_write else query)


def events_of(tx: Connection, call_id: str) -> list[Row]:
    """Events of a call in order."""
    return _rows(tx, select(events).where(events.c.call_id == call_id).order_by(events.c.number))


def add_event(tx: Connection, row: Row, **changes: object) -> bool:
    """Insert an event and move the call on from the revision before it; False when it has moved meanwhile."""
    moved = tx.execute(
        update(calls)
        .where(calls.c.id == row["call_id"], calls.c.revision == row["number"] - 1)
        .values(revision=row["number"], last_at=row["at"], **changes)
    )
    if moved.rowcount != 1:
        return False
    tx.execute(insert(events), dict(row))
    return True


def is_empty(tx: Connection) -> bool:
    """Whether there is neither a machine nor a call."""
    return not any(tx.execute(select(func.count()).select_from(t)).scalar() for t in (machines, calls))


# --- users and their sign-ins


def all_users(tx: Connection) -> list[Row]:
    """All users by name."""
    return _rows(tx, select(users).order_by(users.c.name))


def one_user(tx: Connection, name: str) -> Row | None:
    """One user, or None."""
    return _first(tx, select(users).where(users.c.name == name))


def open_keepers(tx: Connection) -> int:
    """How many keepers may sign in."""
    query = select(func.count()).select_from(users).where(users.c.role == "keeper", users.c.active)
    return int(tx.execute(query).scalar() or 0)


def add_user(tx: Connection, row: Row) -> None:
    """Insert a user."""
    tx.execute(insert(users), dict(row))


def change_user(tx: Connection, name: str, values: Row) -> None:
    """Change a user and move it on to the next revision."""
    tx.execute(update(users).where(users.c.name == name).values(**values))


def add_user_event(tx: Connection, row: Row) -> None:
    """Insert what was done to a user; its number is the user's revision from now on."""
    tx.execute(update(users).where(users.c.name == row["name"]).values(revision=row["number"]))
    tx.execute(insert(user_events), dict(row))


def user_events_of(tx: Connection, name: str) -> list[Row]:
    """What was done to a user, in order."""
    return _rows(tx, select(user_events).where(user_events.c.name == name).order_by(user_events.c.number))


def add_sign_in(tx: Connection, row: Row) -> None:
    """Insert a sign-in."""
    tx.execute(insert(sign_ins), dict(row))


def sign_in_of(tx: Connection, token: str) -> Row | None:
    """The sign-in of this token's digest, or None."""
    return _first(tx, select(sign_ins).where(sign_ins.c.token == token))


def touch_sign_in(tx: Connection, token: str, at: str) -> None:
    """Write down that a sign-in was used."""
    tx.execute(update(sign_ins).where(sign_ins.c.token == token).values(last_at=at))


def end_sign_in(tx: Connection, token: str) -> None:
    """End one sign-in."""
    tx.execute(delete(sign_ins).where(sign_ins.c.token == token))


def end_sign_ins(tx: Connection, name: str) -> None:
    """End all sign-ins of a user."""
    tx.execute(delete(sign_ins).where(sign_ins.c.name == name))


def forget_sign_ins(tx: Connection, before: str) -> None:
    """Drop sign-ins that ended before a moment."""
    tx.execute(delete(sign_ins).where(sign_ins.c.ends_at < before))


def tries_of(tx: Connection, keys: Sequence[str]) -> dict[str, Row]:
    """Failed tries by key."""
    rows = _rows(tx, select(sign_in_tries).where(sign_in_tries.c.what.in_(keys)))
    return {row["what"]: row for row in rows}


def in_turn(tx: Connection) -> None:
    """One sign-in after the other: what they count belongs together and hangs on three rows at once. The lock of a moment
    that lasts as long as this short transaction; a file has one writer anyway."""
    if tx.dialect.name == "postgresql":
        tx.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": SIGN_IN_LOCK})


def begin_tries(tx: Connection, keys: Sequence[str], at: str) -> None:
    """A row for each key that has none yet."""
    statement = text(
        "INSERT INTO sign_in_tries (what, failures, last_at) VALUES (:what, 0, :at) ON CONFLICT (what) DO NOTHING"
    )
    for key in sorted(keys):
        tx.execute(statement, {"what": key, "at": at})


def count_try(tx: Connection, key: str, at: str) -> None:
    """Count one failed try; its row is there."""
    same = sign_in_tries.c.what == key
    tx.execute(update(sign_in_tries).where(same).values(failures=sign_in_tries.c.failures + 1, last_at=at))


def uncount_try(tx: Connection, key: str) -> None:
    """Take one failed try back."""
    same = sign_in_tries.c.what == key
    tx.execute(update(sign_in_tries).where(same).values(failures=sign_in_tries.c.failures - 1))


def drop_tries(tx: Connection, keys: Sequence[str]) -> None:
    """Forget the failed tries of these keys."""
    tx.execute(delete(sign_in_tries).where(sign_in_tries.c.what.in_(keys)))


def forget_tries(tx: Connection, before: str) -> None:
    """Forget failed tries older than a moment."""
    tx.execute(delete(sign_in_tries).where(sign_in_tries.c.last_at < before))


# --- training


def add_class(tx: Connection, row: Row) -> None:
    """Insert a class."""
    tx.execute(insert(training_classes), dict(row))


def all_classes(tx: Connection) -> list[Row]:
    """All classes, the newest first."""
    return _rows(tx, select(training_classes).order_by(training_classes.c.opened_at.desc(), training_classes.c.code))


def one_class(tx: Connection, code: str) -> Row | None:
    """One class, or None."""
    return _first(tx, select(training_classes).where(training_classes.c.code == code))


def add_training(tx: Connection, row: Row) -> None:
    """Insert a session."""
    tx.execute(insert(training_sessions), dict(row))


def training_by_key(tx: Connection, key: str) -> Row | None:
    """The session that was begun with this key, or None."""
    return _first(tx, select(training_sessions).where(training_sessions.c.key == key))


def one_training(tx: Connection, session_id: str, *, to_write: bool = False) -> Row | None:
    """One session, or None. to_write: hold its row until the transaction ends."""
    query = select(training_sessions).where(training_sessions.c.id == session_id)
    return _first(tx, query.with_for_update() if to_write else query)


def trainings_of(tx: Connection, class_code: str) -> list[Row]:
    """Sessions of a class in the order of their beginning; "": those of no class."""
    t = training_sessions
    return _rows(tx, select(t).where(t.c.class_code == class_code).order_by(t.c.opened_at, t.c.trainee, t.c.id))


def training_events_of(tx: Connection, session_id: str) -> list[Row]:
    """Events of a session in order."""
    t = training_events
    return _rows(tx, select(t).where(t.c.session_id == session_id).order_by(t.c.number))


def add_training_event(tx: Connection, row: Row) -> bool:
    """Insert an event and move the session on from the revision before it; False when it has moved meanwhile."""
    t = training_sessions
    moved = tx.execute(
        update(t)
        .where(t.c.id == row["session_id"], t.c.revision == row["number"] - 1)
        .values(revision=row["number"], last_at=row["at"])
    )
    if moved.rowcount != 1:
        return False
    tx.execute(insert(training_events), dict(row))
    return True


def all_scenarios(tx: Connection) -> list[Row]:
    """All versions of all scenarios that were written, oldest first."""
    return _rows(tx, select(training_scenarios).order_by(training_scenarios.c.id, training_scenarios.c.number))


def add_scenario(tx: Connection, row: Row) -> None:
    """Insert a version of a scenario."""
    tx.execute(insert(training_scenarios), dict(row))


# --- placements


def add_placement(tx: Connection, row: Row) -> None:
    """Insert a placement."""
    tx.execute(insert(placements), dict(row))


def placement_by_key(tx: Connection, key: str) -> Row | None:
    """The placement that was opened with this key, or None."""
    return _first(tx, select(placements).where(placements.c.key == key))


def all_placements(
    tx: Connection, state: str = "", machine_id: str = "", limit: int = 0, *, team: str | None = None
) -> list[Row]:
    """Placements, the last touched first. team: only its own and everybody's; None: of all teams."""
    query = select(placements).order_by(placements.c.last_at.desc(), placements.c.id)
    if state:
        query = query.where(placements.c.state == state)
    if machine_id:
        query = query.where(placements.c.machine_id == machine_id)
    if team is not None:
        query = query.where(placements.c.team.in_(("", team)))
    return _rows(tx, query.limit(limit) if limit else query)


def one_placement(tx: Connection, placement_id: str, *, to_write: bool = False) -> Row | None:
    """One placement, or None. to_write: hold its row until the transaction ends."""
    query = select(placements).where(placements.c.id == placement_id)
    return _first(tx, query.with_for_update() if to_write else query)


def placement_events_of(tx: Connection, placement_id: str) -> list[Row]:
    """Events of a placement in order."""
    t = placement_events
    return _rows(tx, select(t).where(t.c.placement_id == placement_id).order_by(t.c.number))


def placements_with(tx: Connection, kind: str, key: str) -> list[Row]:
    """Placements that have an event of this kind and key."""
    t = placement_events
    query = select(placements).join(t, t.c.placement_id == placements.c.id).where(t.c.kind == kind, t.c.key == key)
    return _rows(tx, query.order_by(placements.c.id))


def add_placement_event(tx: Connection, row: Row, **changes: object) -> bool:
    """Insert an event and move the placement on from the revision before it; False when it has moved meanwhile."""
    moved = tx.execute(
        update(placements)
        .where(placements.c.id == row["placement_id"], placements.c.revision == row["number"] - 1)
        .values(revision=row["number"], last_at=row["at"], **changes)
    )
    if moved.rowcount != 1:
        return False
    tx.execute(insert(placement_events), dict(row))
    return True


def placement_photos_of(tx: Connection, placement_id: str) -> list[Row]:
    """Photos of a placement with their content, in the order of their coming."""
    t = placement_photos
    return _rows(tx, select(t).where(t.c.placement_id == placement_id).order_by(t.c.at, t.c.id))


def one_placement_photo(tx: Connection, placement_id: str, photo_id: str) -> Row | None:
    """One photo, or None."""
    t = placement_photos
    return _first(tx, select(t).where(t.c.placement_id == placement_id, t.c.id == photo_id))


def add_placement_photo(tx: Connection, row: Row) -> None:
    """Insert a photo."""
    tx.execute(insert(placement_photos), dict(row))


def kept_tables() -> tuple[Table, ...]:
    """All tables of the records, those that others point to first."""
    return tuple(_schema.sorted_tables)


# --- the whole of the records, for backup, restore and check


def broken_file(tx: Connection) -> list[str]:
    """What the database says of its own file; a server looks after itself."""
    if tx.dialect.name != "sqlite":
        return []
    said = [str(row[0]) for row in tx.execute(text("PRAGMA integrity_check(40)"))]
    said += [f"row {row[1]} of {row[0]} points to nothing" for row in tx.execute(text("PRAGMA foreign_key_check"))]
    return [line for line in said if line != "ok"]


def schema_step(tx: Connection) -> int:
    """How far the schema has come."""
    return int(tx.execute(select(func.max(_steps.c.number))).scalar() or 0)


def rows_of(tx: Connection, table: Table) -> Iterator[dict[str, Any]]:
    """All rows of a table in the order of its key, fetched piece by piece."""
    order = list(table.primary_key.columns)
    result = tx.execute(select(table).order_by(*order).execution_options(yield_per=500))
    return (dict(row) for row in result.mappings())


def add_rows(tx: Connection, table: Table, rows: Sequence[Row]) -> None:
    """Insert rows that all have the same columns."""
    if rows:
        tx.execute(insert(table), [dict(row) for row in rows])


def is_bare(tx: Connection) -> bool:
    """Whether no table holds anything."""
    return not any(tx.execute(select(table).limit(1)).first() for table in kept_tables())


def hold_all(tx: Connection) -> None:
    """Keep everybody else out until the transaction ends; a file has one writer anyway, who has it already."""
    if tx.dialect.name == "postgresql":
        tx.execute(text(f"LOCK TABLE {', '.join(t.name for t in kept_tables())} IN ACCESS EXCLUSIVE MODE"))


def begin_anew(tx: Connection, shown: str) -> None:
    """Drop everything and make the schema again, in this transaction. The only place where records go."""
    for table in reversed(kept_tables()):
        table.drop(tx)
    _steps.drop(tx)
    if tx.dialect.name == "postgresql":
        tx.execute(text("DROP FUNCTION IF EXISTS chiller_keeps()"))
    _migrate(tx, STEPS, shown)
