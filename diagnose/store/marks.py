"""What every line of the record bears: a key, a moment, a name."""

from __future__ import annotations

from datetime import UTC, datetime

from shared.errors import StoreError, shorten

MOST_KEY = 200


def moment_of(at: datetime | None) -> datetime:
    """In UTC, whole seconds; a time without a zone is taken as local; None: now."""
    return (at or datetime.now(UTC)).astimezone(UTC).replace(microsecond=0)


def stamp_of(at: datetime | None) -> str:
    """A moment as it is kept."""
    return moment_of(at).isoformat(timespec="seconds")


def name_of(by: str) -> str:
    """Whoever it was, as it is kept."""
    return shorten(by or "not named", 100)


def checked_key(key: str) -> str:
    """The key as it was given. Raises StoreError unless it is 1 to 200 printable ASCII characters."""
    if not key or len(key) > MOST_KEY or not key.isprintable() or not key.isascii():
        raise StoreError(
            "key of a record", given=key, allowed=f"1 to {MOST_KEY} printable characters", do="give another key"
        )
    return key
