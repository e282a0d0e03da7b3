"""The record of machines and calls that survives the day: append-only events in SQLite or PostgreSQL.

address.py    where the records lie
access.py     who may see which call, which desks a sign-in opens
records.py    what comes out: machines, calls, events, receipts
database.py   tables and transactions; the only module that imports SQLAlchemy
steps.py      how the schema came to be what it is
marks.py      what every line bears: key, moment, name
placements.py placements, receipt to return, and their photos
closing.py    how a call ended: outcome, confirmed cause, what proved it
store.py      what may be done: open, append, take back, close
users.py      users, their sign-in, what slows down guessing
passwords.py  salted hashes
"""

from diagnose.store.access import AT_HOME, Person
from diagnose.store.address import default_address
from diagnose.store.closing import Closing, closing_of
from diagnose.store.records import Call, CallLine, Conflict, Event, MachineRecord, Outcome, Receipt, digest_of
from diagnose.store.store import Store

__all__ = [
    "AT_HOME",
    "Call",
    "CallLine",
    "Closing",
    "Conflict",
    "Event",
    "MachineRecord",
    "Outcome",
    "Person",
    "Receipt",
    "Store",
    "closing_of",
    "default_address",
    "digest_of",
]
