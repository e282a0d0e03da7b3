"""The record of machines and calls that survives the day: append-only events in SQLite or PostgreSQL.

address.py    where the records lie
records.py    what comes out: machines, calls, events, receipts
database.py   tables, steps of the schema, transactions; the only module that imports SQLAlchemy
store.py      what may be done: open, append, take back, close
"""

from diagnose.store.address import default_address
from diagnose.store.records import Call, CallLine, Conflict, Event, MachineRecord, Outcome, Receipt, digest_of
from diagnose.store.store import Store

__all__ = [
    "Call",
    "CallLine",
    "Conflict",
    "Event",
    "MachineRecord",
    "Outcome",
    "Receipt",
    "Store",
    "default_address",
    "digest_of",
]
