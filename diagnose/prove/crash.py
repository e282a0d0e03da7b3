"""`prove crash`: answers outlive the process that wrote them, killed at any moment.

Eight writers, each a process of its own, answer calls; two groups of four share theirs, so they also meet. A writer says
that an answer is acknowledged only after the store has given its receipt. One writer after the other is killed (SIGKILL,
no chance to tidy up) at a random moment of its writing, now and then all of them at once, and started again; like a phone
that got no answer, it sends its last answer again. At the end every acknowledged answer must be there, with its number and
its words, none twice, and the records must hold together. What this does not show: a power cut of the whole machine.

The PostgreSQL part needs CHILLER_TEST_POSTGRES, a server whose user may create databases.
"""

from __future__ import annotations

import contextlib
import os
import random
import secrets
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from diagnose.prove.result import Options
from diagnose.store import Conflict, Store
from shared.errors import ChillerError

KILLS, WRITERS, GROUPS, PER_CALL = 200, 8, 2, 10
LONGEST_S = 0.25  # a writer that answers again is killed within this time
ALL_AT_ONCE = 10  # every so many kills it is all writers
STORES = ("sqlite", "postgres")
Ack = tuple[int, int, int, int, bool]  # writer, its answer, revision, number, whether it was there already


def call_of(who: int, answer: int) -> str:
    """Id of the call that an answer of a writer belongs to."""
    return f"crash-{who % GROUPS}-{answer // PER_CALL}"


def write_for_ever(address: str, who: int, answer: int) -> None:
    """Answer after answer, each said on standard output once it is stored."""
    store = Store(address)
    while True:
        call = call_of(who, answer)
        store.open_call({"complaint": "no-flow"}, by="crash", key=call, call_id=call)
        while True:
            try:
                revision = store.call(call).revision
                receipt = store.append(call, {"note": f"{who}/{answer}"}, key=f"{who}-{answer}", after_revision=revision,
                                       by=f"writer {who}")  # fmt: skip
                break
            except Conflict:
                continue
        print(who, answer, receipt.revision, receipt.number, int(receipt.repeated), flush=True)
        answer += 1


class Writer:
    """One writer: its process, what it has said, and what it has to say again."""

    def __init__(self, address: str, who: int) -> None:
        self.address, self.who = address, who
        self.acks: list[Ack] = []
        self.spoke = threading.Event()
        self.start()

    def start(self) -> None:
        """Start the process at the first answer that was not acknowledged."""
        self.spoke.clear()
        command = [sys.executable, "-m", "diagnose.prove.crash", self.address, str(self.who), str(len(self.acks))]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        self.reader = threading.Thread(target=self._listen, args=(self.process,), daemon=True)
        self.reader.start()

    def _listen(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout is not None
        for line in process.stdout:
            parts = line.split()
            if len(parts) == 5 and line.endswith("\n"):
                who, answer, revision, number, repeated = map(int, parts)
                self.acks.append((who, answer, revision, number, bool(repeated)))
                self.spoke.set()

    def kill(self) -> None:
        """End the process without a word, and hear what it still said."""
        if self.process.poll() is not None:
            raise ChillerError(
                "a writer ended by itself", given=f"exit code {self.process.returncode}", do="see its error above"
            )
        self.process.kill()
        self.process.wait()
        self.reader.join()


def run(address: str, kills: int, writers: int, seed: int) -> dict[str, Any]:
    """Kill and start again so many times; what was lost and what was doubled."""
    dice, started = random.Random(seed), time.monotonic()
    team = [Writer(address, who) for who in range(writers)]
    done = 0
    try:
        while done < kills:
            one = dice.choice(team)
            if not one.spoke.wait(120):
                raise ChillerError("a writer does not write", given=f"writer {one.who}", do="see its error above")
            time.sleep(dice.uniform(0, LONGEST_S))
            doomed = team if done % ALL_AT_ONCE == ALL_AT_ONCE - 1 else [one]
            for writer in doomed:
                writer.kill()
            done += 1
            for writer in doomed:
                writer.start()
        for writer in team:  # so that the last answers that nobody acknowledged are sent again too
            writer.spoke.wait(120)
    finally:
        for writer in team:
            with contextlib.suppress(ChillerError):
                writer.kill()
    return {"kills": done, "writers": writers, **count(address, team), "seconds": round(time.monotonic() - started)}


def count(address: str, team: list[Writer]) -> dict[str, Any]:
    """What is in the store against what was acknowledged."""
    store = Store(address)
    try:
        there: dict[str, tuple[str, int, int]] = {}
        notes: Counter[str] = Counter()
        for line in store.calls():
            call = store.call(line.id)
            for event in call.events:
                note = str(event.body["note"])
                notes[note] += 1
                there[note] = (call.id, event.number, call.answer_numbers[event.number])
        acked = [ack for writer in team for ack in writer.acks]
        lost = [
            ack for ack in acked if there.get(f"{ack[0]}/{ack[1]}") != (call_of(ack[0], ack[1]), ack[2], ack[3])
        ]  # fmt: skip
        said = {f"{ack[0]}/{ack[1]}" for ack in acked}
        return {
            "acknowledged": len(acked),
            "lost": len(lost),
            "doubled": sum(n - 1 for n in notes.values()) + len(acked) - len(said),
            "sent_again_and_there_already": sum(ack[4] for ack in acked),
            "stored_but_not_yet_acknowledged": len(set(notes) - said),
            "problems": store.problems(),
        }
    finally:
        store.close()


@contextlib.contextmanager
def empty_store(kind: str) -> Iterator[str]:
    """Address of an empty store of this kind, gone afterwards."""
    if kind == "sqlite":
        with tempfile.TemporaryDirectory() as folder:
            yield str(Path(folder) / "crash.sqlite")
        return
    server = os.environ.get("CHILLER_TEST_POSTGRES", "")
    if not server:
        raise ChillerError("no PostgreSQL server", do="set CHILLER_TEST_POSTGRES to one whose user may create databases, "
                           "or leave it out: --only sqlite")  # fmt: skip
    import psycopg

    name = f"chiller_crash_{secrets.token_hex(6)}"
    plain = server.replace("postgresql+psycopg://", "postgresql://", 1)
    with psycopg.connect(plain, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8'".encode())
        try:
            yield f"{server.rpartition('/')[0]}/{name}"
        finally:
            connection.execute(f"DROP DATABASE {name} WITH (FORCE)".encode())


def prove_crash(options: Options) -> tuple[str, dict[str, Any]]:
    """Both stores; ("", numbers): no cards take part."""
    unknown = set(options.only) - set(STORES)
    if unknown:
        raise ChillerError("unknown store", given=sorted(unknown)[0], allowed=", ".join(STORES), do="correct --only")
    stores = {}
    for kind in options.only or STORES:
        with empty_store(kind) as address:
            stores[kind] = run(address, options.draws or KILLS, WRITERS, options.seed)
    return "", {"stores": stores, "passes": all(_fine(one) for one in stores.values())}


def _fine(one: dict[str, Any]) -> bool:
    return not (one["lost"] or one["doubled"] or one["problems"]) and one["acknowledged"] > one["kills"]


def crash_text(result: dict[str, Any]) -> str:
    """The result for people."""
    lines = []
    for kind, one in result["stores"].items():
        lines.append(
            f"{kind}: {one['kills']} kills, {one['writers']} writers, {one['acknowledged']} answers acknowledged: "
            f"{one['lost']} lost, {one['doubled']} twice; {one['sent_again_and_there_already']} sent again were there "
            f"already; {one['seconds']} s"
        )
        lines += [f"  {line}" for line in one["problems"]]
    lines.append("passes" if result["passes"] else "DOES NOT PASS")
    return "\n".join(lines)


if __name__ == "__main__":
    write_for_ever(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
