"""Users, their sign-in and what slows down guessing.

A user has a name to sign in with, a name as it stands in the record, a role that opens desks, perhaps a team. Either a
password is kept (way "password", as a salted hash) or an identity provider vouches (way "openid"; then the name is
the mail address the provider has verified). Users are never deleted, only closed: their names stand in records.
Whatever is done to a user is an event with who and when.

A sign-in is a random token; the store keeps its digest, so whoever reads the store cannot use it. It ends after
IDLE without use, after LONGEST in any case, and at once when the user is closed, the password is changed or the
person signs out.

Guessing: from the sixth wrong password on, for the same name from the same place, the next try has to wait, twice as long
each time, up to LONGEST_WAIT. The same holds, later, for one name from anywhere and for one place with any name. Counted in
the store, so a restart or another server changes nothing. A try that has to wait is refused before the password is looked at.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from diagnose.store import database as db
from diagnose.store.access import ROLES, Person, Role
from diagnose.store.passwords import checked_password, fits, hashed
from shared.errors import StoreError, shorten

Way = Literal["password", "openid"]
IDLE, LONGEST = timedelta(hours=12), timedelta(days=7)
TOUCHED = timedelta(minutes=1)  # how exactly the last use is written down; not at every tap
FREE_TRIES = {"pair": 5, "name": 20, "place": 30}
FIRST_WAIT, LONGEST_WAIT = timedelta(seconds=2), timedelta(minutes=15)
FORGOTTEN = timedelta(hours=24)
_NAME = re.compile(r"[a-z0-9][a-z0-9.@_+-]{0,99}")


class SignInRefused(StoreError):
    """Not signed in: wrong name or password, or too soon. wait: seconds until the next try is looked at."""

    def __init__(self, what: str, *, wait: int = 0, do: str = "") -> None:
        self.wait = wait
        super().__init__(what, do=do)


@dataclass(frozen=True, slots=True)
class User:
    """One user. active: may sign in."""

    name: str
    shown: str
    role: Role
    team: str
    way: Way
    active: bool

    @property
    def person(self) -> Person:
        """Whom the desks see."""
        return Person(self.name, self.shown, self.role, self.team)


class Users:
    """The users of one store."""

    def __init__(self, database: db.Database) -> None:
        self._db = database

    # --- who there is

    def all(self) -> tuple[User, ...]:
        """All users by name, closed ones too."""
        with self._db.read() as tx:
            return tuple(_user(row) for row in db.all_users(tx))

    def user(self, name: str) -> User:
        """One user. Raises StoreError when there is none."""
        with self._db.read() as tx:
            row = db.one_user(tx, tidy(name))
        if row is None:
            raise _nobody(name)
        return _user(row)

    def history(self, name: str) -> tuple[tuple[str, str, str, Mapping[str, Any]], ...]:
        """(what, by whom, when, with what) of a user, in order; never a password."""
        with self._db.read() as tx:
            return tuple(
                (e["kind"], e["by"], e["at"], json.loads(e["body"])) for e in db.user_events_of(tx, tidy(name))
            )

    def add(
        self,
        name: str,
        role: str,
        *,
        password: str = "",
        shown: str = "",
        team: str = "",
        by: str,
        at: datetime | None = None,
    ) -> User:
        """Add a user; without a password an identity provider vouches, and the name is the mail address there.

        Raises StoreError: bad name, role, password; name taken.
        """
        made = User(_checked_name(name), shorten(shown or name, 100), _checked_role(role), shorten(team, 100),
                    "password" if password else "openid", True)  # fmt: skip
        if made.way == "openid" and "@" not in made.name:
            raise StoreError("name of a user without a password", given=name, allowed="the mail address that the "
                             "identity provider has verified", do="give that address, or a password")  # fmt: skip
        secret = hashed(checked_password(password, made.name)) if password else ""
        row = {"name": made.name, "shown": made.shown, "role": made.role, "team": made.team, "way": made.way,
               "secret": secret, "active": True, "revision": 0}  # fmt: skip
        try:
            with self._db.write() as tx:
                db.add_user(tx, row)
                self._note(tx, made.name, 1, "add", {"role": made.role, "team": made.team, "way": made.way}, by, at)
        except db.Taken:
            raise StoreError(
                "there is a user of this name",
                given=made.name,
                do="choose another name, or change the one there is: user role, user password, user open",
            ) from None
        return made

    def change(
        self,
        name: str,
        *,
        role: str | None = None,
        team: str | None = None,
        password: str | None = None,
        active: bool | None = None,
        by: str,
        at: datetime | None = None,
    ) -> User:
        """Change a user; a new password, role or team, or closing the user, ends all sign-ins. Raises StoreError.

        The last open keeper can neither be closed nor given another role.
        """
        values: dict[str, Any] = {}
        if role is not None:
            values["role"] = _checked_role(role)
        if team is not None:
            values["team"] = shorten(team, 100)
        if active is not None:
            values["active"] = active
        told = dict(values)
        if password is not None:
            values["secret"] = hashed(checked_password(password, tidy(name)))
            told["password"] = "changed"
        with self._db.write() as tx:
            row = db.one_user(tx, tidy(name))
            if row is None:
                raise _nobody(name)
            if password is not None and row["way"] != "password":
                raise StoreError("no password is kept for this user", given=row["name"], do="change it at the identity "
                                 "provider")  # fmt: skip
            keeper_stays = {**row, **values}["role"] == "keeper" and {**row, **values}["active"]
            if row["role"] == "keeper" and row["active"] and not keeper_stays and db.open_keepers(tx) == 1:
                raise StoreError("this is the last keeper", given=row["name"], do="make another user keeper first")
            db.change_user(tx, row["name"], values)
            self._note(tx, row["name"], row["revision"] + 1, "change", told, by, at)
            db.end_sign_ins(tx, row["name"])
            return _user({**row, **values})

    @staticmethod
    def _note(
        tx: Any, name: str, number: int, kind: str, body: Mapping[str, Any], by: str, at: datetime | None
    ) -> None:
        event = {"name": name, "number": number, "kind": kind, "body": db.as_json(body), "by": shorten(by, 100),
                 "at": _text(_now(at))}  # fmt: skip
        db.add_user_event(tx, event)

    def anybody(self) -> bool:
        """Whether anybody can sign in."""
        return any(user.active for user in self.all())

    # --- signing in

    def sign_in(self, name: str, password: str, place: str, *, at: datetime | None = None) -> str:
        """A token for a name and password given from a place (network address). Raises SignInRefused."""
        now, name = _now(at), tidy(name)
        keys = {
            "pair": f"pair {_digest(name + chr(0) + place)}",
            "name": f"name {_digest(name)}",
            "place": f"place {_digest(place)}",
        }
        row = self._count_first(keys, name, now)
        usable = row is not None and row["active"] and row["way"] == "password"
        # the same work for a name that is not there, so that its absence cannot be told by the clock
        if not fits(password, row["secret"] if usable and row else ""):
            raise SignInRefused("name or password is wrong", do="try again; the keeper can set a new password")
        with self._db.write() as tx:
            db.in_turn(tx)
            db.drop_tries(tx, [keys["pair"], keys["name"]])
            db.uncount_try(tx, keys["place"])
            return _new_token(tx, name, now)

    def _count_first(self, keys: Mapping[str, str], name: str, now: datetime) -> db.Row | None:
        """Count a try as failed before it is looked at, so that many at once get no further than one after the other."""
        with self._db.write() as tx:
            db.in_turn(tx)
            db.forget_tries(tx, _text(now - FORGOTTEN))
            db.begin_tries(tx, list(keys.values()), _text(now))
            tries = db.tries_of(tx, list(keys.values()))
            if wait := max(_wait(kind, tries.get(key), now) for kind, key in keys.items()):
                raise _too_soon(wait)
            for key in keys.values():
                db.count_try(tx, key, _text(now))
            return db.one_user(tx, name)

    def sign_in_vouched(self, mail: str, *, at: datetime | None = None) -> str:
        """A token for a mail address that an identity provider has verified. Raises SignInRefused."""
        now, name = _now(at), tidy(mail)
        with self._db.write() as tx:
            row = db.one_user(tx, name)
            if row is None or not row["active"] or row["way"] != "openid":
                raise SignInRefused(
                    "this address is not known here",
                    do="ask the keeper to add it: python -m ui user add ADDRESS --role ROLE --openid",
                )
            return _new_token(tx, name, now)

    def person_of(self, token: str, *, at: datetime | None = None) -> Person | None:
        """Who signed in with this token, None when the sign-in has ended."""
        if not token or len(token) > 200:
            return None
        now, key = _now(at), _digest(token)
        with self._db.read() as tx:
            row = db.sign_in_of(tx, key)
            user = db.one_user(tx, row["name"]) if row is not None else None
        if row is None or user is None or not user["active"]:
            return None
        last = datetime.fromisoformat(row["last_at"])
        if now >= datetime.fromisoformat(row["ends_at"]) or now - last >= IDLE:
            return None
        if now - last >= TOUCHED:
            with self._db.write() as tx:
                db.touch_sign_in(tx, key, _text(now))
        return _user(user).person

    def sign_out(self, token: str) -> None:
        """End one sign-in."""
        with self._db.write() as tx:
            db.end_sign_in(tx, _digest(token))


def tidy(name: str) -> str:
    """A name as it is compared: small letters, no space around."""
    return name.strip().lower()[:200]


def _new_token(tx: Any, name: str, now: datetime) -> str:
    token = secrets.token_urlsafe(32)
    db.forget_sign_ins(tx, _text(now))
    row = {"token": _digest(token), "name": name, "made_at": _text(now), "last_at": _text(now),
           "ends_at": _text(now + LONGEST)}  # fmt: skip
    db.add_sign_in(tx, row)
    return token


def _wait(kind: str, tried: db.Row | None, now: datetime) -> int:
    """Seconds until a try is looked at again."""
    if tried is None:
        return 0
    over = int(tried["failures"]) - FREE_TRIES[kind]
    if over < 0:
        return 0
    pause = min(FIRST_WAIT * 2 ** min(over, 20), LONGEST_WAIT)
    left = (datetime.fromisoformat(tried["last_at"]) + pause - now).total_seconds()
    return max(0, int(left + 0.999))


def _too_soon(wait: int) -> SignInRefused:
    said = f"{wait} seconds" if wait < 120 else f"{(wait + 59) // 60} minutes"
    return SignInRefused("too many wrong passwords", wait=wait, do=f"try again in {said}")


def _checked_name(name: str) -> str:
    plain = tidy(name)
    if not _NAME.fullmatch(plain):
        raise StoreError("name of a user", given=name, allowed="1 to 100 of a-z 0-9 . @ _ + -", do="give another name")
    return plain


def _checked_role(role: str) -> Role:
    if role not in ROLES:
        raise StoreError("role of a user", given=role, allowed=", ".join(ROLES), do="choose one")
    return role


def _nobody(name: str) -> StoreError:
    return StoreError("no such user", given=name, do="see `user list`")


def _user(row: db.Row) -> User:
    return User(row["name"], row["shown"], row["role"], row["team"], row["way"], bool(row["active"]))


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "replace")).hexdigest()


def _now(at: datetime | None) -> datetime:
    return (at or datetime.now(UTC)).astimezone(UTC).replace(microsecond=0)


def _text(at: datetime) -> str:
    return at.isoformat(timespec="seconds")
