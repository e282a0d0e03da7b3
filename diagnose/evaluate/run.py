"""Many simulated calls: worked here or on a Dask scheduler, kept one line each, gone on with after a kill.

Each call is a function of (seed, number) and the cards, so rows may come in any order and from any machine, and a run that was
stopped goes on where its file of rows ends. A half-written last line is dropped.
"""

from __future__ import annotations

import importlib
import json
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from diagnose.evaluate.threads import ONE_THREAD
from diagnose.evaluate.work import Row, work_number
from knowledge.load import load_knowledge
from shared.errors import ChillerError

ROWS = 2  # what a row holds: one more whenever that changes
CHUNK = 1  # calls a worker takes at a time: one costs seconds, and the last ones must not wait behind each other
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Settings:
    """cases: how many; workers: processes of a local Dask cluster (1: here, without Dask); scheduler: address of another one
    instead; card: JSON of a machine card for all calls, "" for random machines; rows: file that keeps them, None: nowhere.
    """

    cases: int = 200
    seed: int = 1
    workers: int = 1
    scheduler: str = ""
    card: str = ""
    rows: Path | None = None


def _head(settings: Settings, digest: str) -> Row:
    return {"rows": ROWS, "knowledge": digest, "seed": settings.seed, "card": settings.card}


def kept_rows(path: Path, head: Row) -> list[Row]:
    """Rows of an earlier run. Raises ChillerError for those of other cards, another seed or machine."""
    if not path.exists():
        return []
    lines = []
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            lines.append(json.loads(line))
        except json.JSONDecodeError:
            break  # the line that was being written when the run was killed
    if not lines:
        return []
    if lines[0] != head:
        known = {k: lines[0].get(k) for k in ("knowledge", "seed", "rows")}
        raise ChillerError(
            "the folder holds calls of another evaluation",
            given=f"{path}: cards {known['knowledge']}, seed {known['seed']}, rows {known['rows']}",
            allowed=f"cards {head['knowledge']}, seed {head['seed']}, rows {ROWS}, the same machine",
            do="give another --out, or delete that file",
        )
    return lines[1:]


def rows_of(settings: Settings, progress: Progress | None = None) -> list[Row]:
    """Rows of all calls, in order of their numbers."""
    digest = load_knowledge().digest
    head = _head(settings, digest)
    rows = kept_rows(settings.rows, head) if settings.rows else []
    done = {r["number"] for r in rows}
    left = [n for n in range(settings.cases) if n not in done]
    said = progress or (lambda made, of: None)
    said(settings.cases - len(left), settings.cases)
    made = settings.cases - len(left)
    with _keeper(settings.rows, head, rows) as keep:
        for row in _worked(settings, digest, left):
            rows.append(row)
            keep(row)
            made += 1
            said(made, settings.cases)
    return sorted((r for r in rows if r["number"] < settings.cases), key=lambda r: int(r["number"]))


@contextmanager
def _keeper(path: Path | None, head: Row, rows: Sequence[Row]) -> Iterator[Callable[[Row], None]]:
    """Writes each row at once, so that a kill loses none."""
    if path is None:
        yield lambda row: None
        return
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        fresh = path.with_suffix(".new")
        fresh.write_text("".join(json.dumps(r) + "\n" for r in (head, *rows)), encoding="utf-8")
        fresh.replace(path)
        file: IO[str] = path.open("a", encoding="utf-8")
    except OSError as error:
        raise ChillerError(
            "calls cannot be kept", given=str(path), allowed="a folder that can be written", do=str(error.strerror)
        ) from None
    with file:

        def keep(row: Row) -> None:
            file.write(json.dumps(row) + "\n")
            file.flush()

        yield keep


def _worked(settings: Settings, digest: str, numbers: Sequence[int]) -> Iterator[Row]:
    if not numbers:
        return
    if settings.workers == 1 and not settings.scheduler:
        for number in numbers:
            yield work_number(settings.seed, number, digest, settings.card)
        return
    yield from _by_dask(settings, digest, numbers)


def _piece(seed: int, numbers: Sequence[int], digest: str, card: str) -> list[Row]:
    return [work_number(seed, n, digest, card) for n in numbers]


def _by_dask(settings: Settings, digest: str, numbers: Sequence[int]) -> Iterator[Row]:
    try:
        dask: Any = importlib.import_module("dask.config")
        distributed: Any = importlib.import_module("distributed")
    except ImportError:
        raise ChillerError(
            "Dask is not installed",
            allowed="one worker without it",
            do="pip install 'chiller-diagnose[evaluate]', or --workers 1",
        ) from None
    pieces = [tuple(numbers[n : n + CHUNK]) for n in range(0, len(numbers), CHUNK)]
    settled = {
        "distributed.nanny.pre-spawn-environ": ONE_THREAD,
        "distributed.comm.timeouts.connect": "10s",
        "distributed.worker.profile.enabled": False,  # sampling stacks a hundred times a second is not what it is for
    }
    with dask.set(settled):
        cluster: Any = None
        try:
            if not settings.scheduler:
                cluster = distributed.LocalCluster(
                    n_workers=settings.workers, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0"
                )
            client = distributed.Client(settings.scheduler or cluster)
        except (OSError, ValueError, TimeoutError) as error:
            raise ChillerError(
                "no Dask scheduler", given=settings.scheduler or "a local one", allowed="tcp://HOST:8786", do=str(error)
            ) from None
        try:
            made = [client.submit(_piece, settings.seed, p, digest, settings.card, pure=False) for p in pieces]
            for future in distributed.as_completed(made):
                yield from future.result()
        finally:
            client.close()
            if cluster is not None:
                cluster.close()
