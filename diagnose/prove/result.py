"""The result file of a proof: what ran, on what, and the numbers; and how a stale one is told."""

from __future__ import annotations

import json
import os
import platform
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from typing import Any

from shared.errors import ChillerError


@dataclass(frozen=True)
class Options:
    """What the command line may set. out: result file ("" = none); date: as given, told in the file ("" = the file's time)."""

    seed: int = 1
    draws: int = 0
    processes: int = 1
    date: str = ""
    out: str = ""
    only: tuple[str, ...] = ()
    minutes: float = 0.0


def machine() -> str:
    """The computer a proof ran on, in one line."""
    return f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"


def stamped(name: str, options: Options, digest: str, numbers: dict[str, Any]) -> dict[str, Any]:
    """The whole result: seed, machine, date, knowledge digest ("" = the proof uses no shipped cards), numbers."""
    return {
        "proof": name,
        "seed": options.seed,
        "machine": machine(),
        "date": options.date or "time of this file",
        "knowledge": digest,
        **numbers,
    }


def write_result(path: Path, result: dict[str, Any]) -> None:
    """Write a result file; raises ChillerError where the folder does not take it."""
    try:
        path.write_text(json.dumps(result, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise ChillerError(
            "result file cannot be written", given=str(path), allowed="a file in a folder that exists", do=str(error)
        ) from None


def code_digest(folders: Iterable[Path]) -> str:
    """Digest of all Python files and tables under these folders: what a proof ran on when that is code and not cards.

    Line ends do not count, comments do: a result made before a comment was changed is called stale, never the other way.
    """
    digest = blake2b(digest_size=10)
    for folder in folders:
        for path in sorted(p for p in folder.rglob("*") if p.suffix in (".py", ".json")):
            digest.update(f"{folder.name}/{path.relative_to(folder).as_posix()}\n".encode())
            digest.update(path.read_bytes().replace(b"\r\n", b"\n"))
    return digest.hexdigest()


def stale_results(folder: Path, digest: str, codes: Mapping[str, str] | None = None) -> list[str]:
    """One line for each result file in ``folder`` that was made with other cards than ``digest``, or with other code than
    ``codes`` (proof name -> `code_digest`) says.
    """
    stale = []
    for path in sorted(folder.glob("*.json")):
        made = json.loads(path.read_text(encoding="utf-8"))
        again = f"run: python -m diagnose prove {made.get('proof')} --out {path.name}"
        code = (codes or {}).get(str(made.get("proof")))
        if made.get("knowledge") not in ("", digest):
            stale.append(f"{path.name}: made with cards {made.get('knowledge')}, now {digest}; {again}")
        if code is not None and made.get("code") != code:
            stale.append(f"{path.name}: made with code {made.get('code')}, now {code}; {again}")
    return stale
