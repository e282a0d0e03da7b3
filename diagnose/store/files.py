"""Files that the records are written to and read from: whole or not at all, never over something, never without a limit."""

from __future__ import annotations

import contextlib
import gzip
import json
import os
import re
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, NoReturn

from shared.errors import StoreError

DEEPEST = 40  # levels of brackets
_TEXTS_OR_BRACKETS = re.compile(r'"(?:[^"\\]|\\.)*"|[\[\]{}]', re.S)


def cannot(
    path: Path | str, error: object, do: str = "name a file in a folder that exists and may be written"
) -> StoreError:
    """What is said when a file cannot be written or read."""
    said = getattr(error, "strerror", None) or error
    return StoreError(f"file cannot be used: {said}", given=str(path), do=do)


@contextlib.contextmanager
def written_whole(path: Path, *, replace: bool = False) -> Iterator[IO[bytes]]:
    """A file that appears under its name only when all of it is on the disk; readable by its owner only.

    Raises StoreError: it is there already (unless replace), it cannot be written. A name ending in .gz is compressed.
    """
    if path.exists() and not replace:
        raise StoreError("there is a file of this name", given=str(path), do="name another, or add --replace")
    part = path.with_name(f".{path.name[:200]}.{secrets.token_hex(4)}.part")
    try:
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        try:
            with os.fdopen(descriptor, "wb") as raw:
                packed = gzip.GzipFile(fileobj=raw, mode="wb", mtime=0) if path.suffix == ".gz" else None
                yield packed or raw  # type: ignore[misc]
                if packed is not None:
                    packed.close()
                raw.flush()
                os.fsync(raw.fileno())
            os.replace(part, path)
        except BaseException:
            with contextlib.suppress(OSError):
                part.unlink()
            raise
    except OSError as error:
        raise cannot(path, error) from None


@contextlib.contextmanager
def opened(path: Path) -> Iterator[IO[bytes]]:
    """A file to read from, unpacked if it is packed. Raises StoreError when it cannot be read."""
    try:
        with path.open("rb") as raw:
            packed = raw.read(2) == b"\x1f\x8b"
            raw.seek(0)
            with gzip.GzipFile(fileobj=raw) if packed else contextlib.nullcontext(raw) as file:
                yield file  # type: ignore[misc]
    except (OSError, EOFError, gzip.BadGzipFile) as error:
        raise cannot(path, error, "check the path and the file") from None


def read_small(path: Path, most: int) -> bytes:
    """The content of a file of at most ``most`` bytes. Raises StoreError."""
    with opened(path) as file:
        content = file.read(most + 1)
    if len(content) > most:
        raise StoreError("file too large", given=path.name, allowed=f"up to {most} bytes", do="check the file")
    return content


def read_json(content: bytes, what: str) -> Any:
    """JSON as the standard has it: no NaN, no key twice, not too deep. Raises StoreError."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise StoreError(f"{what}: not a text file", allowed="JSON in UTF-8", do="check the file") from None

    def refuse(name: str) -> NoReturn:
        raise ValueError(f"{name} is no number of JSON")

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        made = dict(pairs)
        if len(made) != len(pairs):
            raise ValueError("a key is given twice")
        return made

    level = 0  # the reader itself would go down until its stack ends
    for bracket in _TEXTS_OR_BRACKETS.findall(text):
        level += bracket in ("[", "{")
        level -= bracket in ("]", "}")
        if level > DEEPEST:
            raise StoreError(f"{what}: nested too deep", allowed=f"{DEEPEST} levels", do="check the file")
    try:
        data = json.loads(text, parse_constant=refuse, object_pairs_hook=once)
        json.dumps(data, ensure_ascii=False).encode()  # half a character (a lone surrogate) cannot be kept
        return data
    except (ValueError, RecursionError) as error:
        raise StoreError(f"{what}: not readable as JSON: {str(error)[:120]}", do="check the file") from None
