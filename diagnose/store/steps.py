"""The steps by which the schema came to be what it is, oldest first. A step that was released is never edited.

To add one: append a Step with the statements that make it from the step before, add its tables or columns to
`database.py`, and let `tests/store/test_steps.py` write down the new shape. A store is brought up, step by step, in one
transaction when it is opened; a store of a newer release is refused.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Step:
    """SQL of one step: `both` first, then what one kind of database needs alone. Statements without parameters."""

    title: str
    both: tuple[str, ...] = ()
    sqlite: tuple[str, ...] = ()
    postgresql: tuple[str, ...] = ()

    def statements(self, dialect: str) -> tuple[str, ...]:
        """All statements for "sqlite" or "postgresql"."""
        return (*self.both, *(self.sqlite if dialect == "sqlite" else self.postgresql))


STEPS: tuple[Step, ...] = (
    Step(
        "machines, calls, events",
        both=(
            "CREATE TABLE machines (id TEXT PRIMARY KEY, card TEXT NOT NULL, invented BOOLEAN NOT NULL, "
            "added_at TEXT NOT NULL, added_by TEXT NOT NULL)",
            "CREATE TABLE calls (id TEXT PRIMARY KEY, key TEXT NOT NULL UNIQUE, machine_id TEXT NOT NULL, "
            "machine TEXT NOT NULL, complaint TEXT NOT NULL, header TEXT NOT NULL, state TEXT NOT NULL, "
            "outcome TEXT NOT NULL, revision INTEGER NOT NULL, "
            "opened_at TEXT NOT NULL, opened_by TEXT NOT NULL, last_at TEXT NOT NULL, invented BOOLEAN NOT NULL)",
            "CREATE TABLE events (call_id TEXT NOT NULL REFERENCES calls (id), number INTEGER NOT NULL, "
            'kind TEXT NOT NULL, key TEXT NOT NULL, body TEXT NOT NULL, "by" TEXT NOT NULL, at TEXT NOT NULL, '
            "PRIMARY KEY (call_id, number), "
            "CONSTRAINT events_once UNIQUE (call_id, key))",
            "CREATE INDEX calls_by_state ON calls (state, last_at)",
            "CREATE INDEX calls_by_machine ON calls (machine_id, opened_at)",
        ),
    ),
    Step(
        "whose a call is, users and their sign-in",
        both=(
            "ALTER TABLE calls ADD COLUMN team TEXT NOT NULL DEFAULT ''",
            "ALTER TABLE calls ADD COLUMN desk TEXT NOT NULL DEFAULT 'field'",
            "ALTER TABLE calls ADD COLUMN origin TEXT NOT NULL DEFAULT ''",
            # quotes inside the caller's words are escaped in the header, so this finds the key alone
            "UPDATE calls SET desk = 'telephone' WHERE header LIKE '%\"role\":\"customer\"%' "
            'OR header LIKE \'%"role":"agent"%\'',
            "CREATE TABLE users (name TEXT PRIMARY KEY, shown TEXT NOT NULL, role TEXT NOT NULL, team TEXT NOT NULL, "
            "way TEXT NOT NULL, secret TEXT NOT NULL, active BOOLEAN NOT NULL, revision INTEGER NOT NULL)",
            "CREATE TABLE user_events (name TEXT NOT NULL REFERENCES users (name), number INTEGER NOT NULL, "
            'kind TEXT NOT NULL, body TEXT NOT NULL, "by" TEXT NOT NULL, at TEXT NOT NULL, '
            "PRIMARY KEY (name, number))",
            "CREATE TABLE sign_ins (token TEXT PRIMARY KEY, name TEXT NOT NULL REFERENCES users (name), "
            "made_at TEXT NOT NULL, last_at TEXT NOT NULL, ends_at TEXT NOT NULL)",
            "CREATE TABLE sign_in_tries (what TEXT PRIMARY KEY, failures INTEGER NOT NULL, last_at TEXT NOT NULL)",
        ),
    ),
    Step(
        "the database itself refuses to change or delete what happened",
        sqlite=tuple(
            f"CREATE TRIGGER {table}_{act.lower()} BEFORE {act} ON {table} "
            "BEGIN SELECT RAISE(ABORT, 'what happened is never changed or deleted'); END"
            for table in ("events", "user_events")
            for act in ("UPDATE", "DELETE")
        ),
        postgresql=(
            "CREATE FUNCTION chiller_keeps() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'what happened is never changed or deleted'; END $$",
            *(
                f"CREATE TRIGGER {table}_keeps BEFORE UPDATE OR DELETE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION chiller_keeps()"
                for table in ("events", "user_events")
            ),
        ),
    ),
    Step(
        "training: classes, sessions with their events, scenarios that trainers wrote",
        both=(
            "CREATE TABLE training_classes (code TEXT PRIMARY KEY, title TEXT NOT NULL, body TEXT NOT NULL, "
            "team TEXT NOT NULL, opened_at TEXT NOT NULL, opened_by TEXT NOT NULL)",
            "CREATE TABLE training_sessions (id TEXT PRIMARY KEY, key TEXT NOT NULL UNIQUE, class_code TEXT NOT NULL, "
            "trainee TEXT NOT NULL, header TEXT NOT NULL, revision INTEGER NOT NULL, team TEXT NOT NULL, "
            "opened_at TEXT NOT NULL, last_at TEXT NOT NULL)",
            "CREATE TABLE training_events (session_id TEXT NOT NULL REFERENCES training_sessions (id), "
            'number INTEGER NOT NULL, key TEXT NOT NULL, body TEXT NOT NULL, "by" TEXT NOT NULL, at TEXT NOT NULL, '
            "PRIMARY KEY (session_id, number), "
            "CONSTRAINT training_events_once UNIQUE (session_id, key))",
            "CREATE TABLE training_scenarios (id TEXT NOT NULL, number INTEGER NOT NULL, body TEXT NOT NULL, "
            'team TEXT NOT NULL, "by" TEXT NOT NULL, at TEXT NOT NULL, PRIMARY KEY (id, number))',
            "CREATE INDEX training_sessions_by_class ON training_sessions (class_code, opened_at)",
        ),
        sqlite=tuple(
            f"CREATE TRIGGER {table}_{act.lower()} BEFORE {act} ON {table} "
            "BEGIN SELECT RAISE(ABORT, 'what happened is never changed or deleted'); END"
            for table in ("training_events", "training_scenarios")
            for act in ("UPDATE", "DELETE")
        ),
        postgresql=tuple(
            f"CREATE TRIGGER {table}_keeps BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION chiller_keeps()"
            for table in ("training_events", "training_scenarios")
        ),
    ),
    Step(
        "placements with what happened in them, and their photos",
        both=(
            "CREATE TABLE placements (id TEXT PRIMARY KEY, key TEXT NOT NULL UNIQUE, machine_id TEXT NOT NULL, "
            "name TEXT NOT NULL, header TEXT NOT NULL, state TEXT NOT NULL, revision INTEGER NOT NULL, "
            "opened_at TEXT NOT NULL, opened_by TEXT NOT NULL, last_at TEXT NOT NULL, invented BOOLEAN NOT NULL, "
            "team TEXT NOT NULL, origin TEXT NOT NULL)",
            "CREATE TABLE placement_events (placement_id TEXT NOT NULL REFERENCES placements (id), "
            'number INTEGER NOT NULL, kind TEXT NOT NULL, key TEXT NOT NULL, body TEXT NOT NULL, "by" TEXT NOT NULL, '
            "at TEXT NOT NULL, PRIMARY KEY (placement_id, number), "
            "CONSTRAINT placement_events_once UNIQUE (placement_id, key))",
            # a photo is found by the digest of its content; the content is base64
            "CREATE TABLE placement_photos (placement_id TEXT NOT NULL REFERENCES placements (id), id TEXT NOT NULL, "
            'name TEXT NOT NULL, content TEXT NOT NULL, "by" TEXT NOT NULL, at TEXT NOT NULL, '
            "PRIMARY KEY (placement_id, id))",
            "CREATE INDEX placements_by_state ON placements (state, last_at)",
            "CREATE INDEX placement_events_by_key ON placement_events (key)",
        ),
        sqlite=tuple(
            f"CREATE TRIGGER {table}_{act.lower()} BEFORE {act} ON {table} "
            "BEGIN SELECT RAISE(ABORT, 'what happened is never changed or deleted'); END"
            for table in ("placement_events", "placement_photos")
            for act in ("UPDATE", "DELETE")
        ),
        postgresql=tuple(
            f"CREATE TRIGGER {table}_keeps BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION chiller_keeps()"
            for table in ("placement_events", "placement_photos")
        ),
    ),
    Step(
        "later versions of a machine's card",
        both=(
            # the card a machine came with is version 1 and stays in its row
            "CREATE TABLE machine_versions (machine_id TEXT NOT NULL REFERENCES machines (id), number INTEGER NOT NULL, "
            'key TEXT NOT NULL, card TEXT NOT NULL, "by" TEXT NOT NULL, at TEXT NOT NULL, '
            "PRIMARY KEY (machine_id, number), "
            "CONSTRAINT machine_versions_once UNIQUE (machine_id, key))",
        ),
        sqlite=tuple(
            f"CREATE TRIGGER machine_versions_{act.lower()} BEFORE {act} ON machine_versions "
            "BEGIN SELECT RAISE(ABORT, 'what happened is never changed or deleted'); END"
            for act in ("UPDATE", "DELETE")
        ),
        postgresql=(
            "CREATE TRIGGER machine_versions_keeps BEFORE UPDATE OR DELETE ON machine_versions "
            "FOR EACH ROW EXECUTE FUNCTION chiller_keeps()",
        ),
    ),
)
