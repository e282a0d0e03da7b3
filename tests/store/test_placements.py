"""Placements in the record: one answer once, one moment of the truth for everybody, a trouble call and back, files."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from diagnose.__main__ import main
from diagnose.case import Machine
from diagnose.case_check import checked
from diagnose.placement.keeping import Kept, amend, answer, calls_of, kept, open_placement, open_trouble
from diagnose.placement.record import Done, Placement, PlacementError, Taken
from diagnose.store import Conflict, Person, Store
from diagnose.store.database import Taken as Refused
from diagnose.store.placement_file import placement_as_data
from diagnose.store.placements import JPEG
from knowledge.load import Knowledge, load_knowledge
from shared.errors import ChillerError, StoreError

T0 = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
MACHINE = Machine(
    name="T-7 Curlew (invented)", refrigerant="R-410A", circuits=1, design_flow="96 gpm", design_drop="6.5 psi"
)
PICTURE = JPEG + b"\xe0 an invented dent"


@pytest.fixture(scope="module")
def base() -> Knowledge:
    return load_knowledge()


@pytest.fixture
def store(address: str, base: Knowledge) -> Iterator[Store]:
    made = Store(address, check=lambda case: checked(case, base) and None)
    yield made
    made.close()


def begin(store: Store, **more: Any) -> str:
    placement = Placement(name="North lot (invented)", machine=MACHINE, qualified=("electrical", "refrigerant"))
    return open_placement(store, placement, by="Ann", key="opened-once", at=T0, **more)


def do(store: Store, base: Knowledge, where: str, step: str, outcome: str = "done", **more: Any) -> Kept:
    now = kept(store, where)
    photos = more.pop("photos", ())
    done = Done(step=step, outcome=outcome, **more)  # type: ignore[arg-type]
    answer(
        store,
        now,
        done,
        base,
        key=f"{now.revision}|{step}",
        by="Ann",
        photos=photos,
        at=T0 + timedelta(minutes=now.revision),
    )
    return kept(store, where)


def test_an_answer_is_kept_once_and_by_whoever_saw_the_newest_screen(store: Store, base: Knowledge) -> None:
    where = begin(store)
    assert begin(store) == where
    now = kept(store, where)
    done = Done(step="delivery-photo-plate")
    first = answer(store, now, done, base, key="k1", by="Ann", at=T0)
    again = answer(store, now, done, base, key="k1", by="Ann", at=T0)
    assert again.repeated and not first.repeated and again.number == first.number == 1
    with pytest.raises(Conflict, match="moved on"):
        answer(store, now, Done(step="delivery-damage"), base, key="k2", by="Bo")
    with pytest.raises(Conflict, match="answered otherwise"):
        answer(store, now, Done(step="delivery-damage"), base, key="k1", by="Bo")
    entry = kept(store, where).placement.entries[0]
    assert (entry.step, entry.by, datetime.fromisoformat(entry.at)) == ("delivery-photo-plate", "Ann", T0)


def test_what_may_not_be_done_is_not_kept(store: Store, base: Knowledge) -> None:
    where = begin(store)
    for done, why in (
        (Done(step="start-pump"), "has to wait"),
        (Done(step="delivery-drained", readings=(Taken(quantity="flow", value="much"),)), "no number"),
        (Done(step="fluid-fill", outcome="left"), "reason"),
    ):
        with pytest.raises(PlacementError, match=why):
            answer(store, kept(store, where), done, base, key="x", by="Ann")
    amend(store, kept(store, where), {"qualified": []}, key="who", by="Ann")
    with pytest.raises(PlacementError, match="for somebody qualified"):
        answer(store, kept(store, where), Done(step="supply-connect"), base, key="x", by="Ann")
    assert kept(store, where).revision == 1


def test_the_last_thing_is_taken_back_first(store: Store, base: Knowledge) -> None:
    where = begin(store)
    do(store, base, where, "delivery-photo-plate")
    do(store, base, where, "delivery-drained")
    with pytest.raises(StoreError, match="nothing to take back"):
        store.placements.add(where, "undo", {"of": 1}, key="u0", after_revision=2, by="Ann")
    store.placements.add(where, "undo", {"of": None}, key="u1", after_revision=2, by="Ann")
    now = kept(store, where)
    assert [e.step for e in now.placement.entries] == ["delivery-photo-plate"] and len(now.record.events) == 3


def test_not_right_turns_into_a_call_once_and_the_call_finds_its_placement(store: Store, base: Knowledge) -> None:
    where = begin(store)
    do(store, base, where, "place-air", "not-right", note="wall at one metre")
    call = open_trouble(store, where, "place-air", base, by="Ann")
    assert open_trouble(store, where, "place-air", base, by="Bo") == call
    case = store.case(call)
    assert case.complaint == "high-head" and any("wall at one metre" in e.note for e in case.entries)
    found = store.placements.of_call(call)
    assert found is not None and found.id == where
    assert store.placements.of_call("another") is None
    # said again after it was taken back, it is another call; both stay in the placement
    now = kept(store, where)
    store.placements.add(where, "undo", {}, key="u", after_revision=now.revision, by="Ann")
    assert kept(store, where).trouble_of("place-air") is None
    do(store, base, where, "place-air", "not-right", note="wall at one metre")
    second = open_trouble(store, where, "place-air", base, by="Ann")
    assert second != call and [t.call for t, _ in calls_of(store, kept(store, where))] == [call, second]


def test_a_call_half_filled_by_a_power_cut_is_filled_up(
    store: Store, base: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    where = begin(store)
    do(store, base, where, "place-air", "not-right", note="wall at one metre")
    real, count = store.append, iter(range(9))

    def cut(*args: Any, **more: Any) -> Any:
        if next(count) == 1:
            raise StoreError("the power is gone")
        return real(*args, **more)

    monkeypatch.setattr(store, "append", cut)
    with pytest.raises(StoreError):
        open_trouble(store, where, "place-air", base, by="Ann")
    assert kept(store, where).trouble_of("place-air") is None and len(store.calls()) == 1
    call = open_trouble(store, where, "place-air", base, by="Ann")
    assert len(store.calls()) == 1
    notes = [e.note for e in store.case(call).entries]
    assert len(notes) == len(set(notes)) == 2


def test_a_team_s_placement_is_for_that_team(store: Store) -> None:
    north = store.seen_by(Person("ann", "Ann North", "technician", "north"))
    south = store.seen_by(Person("bo", "Bo South", "technician", "south"))
    voice = store.seen_by(Person("cy", "Cy", "telephone", "north"))
    where = begin(north)
    assert [p.opened_by for p in north.placements.placements()] == ["Ann North"]
    for other in (south, voice):
        assert other.placements.placements() == ()
        with pytest.raises(StoreError, match="no such placement"):
            other.placements.placement(where)
        with pytest.raises(StoreError, match="no such placement"):
            other.placements.add(where, "note", {"note": "x"}, key="k", after_revision=0, by="x")
        with pytest.raises(StoreError, match="no such placement"):
            other.placements.add_photo(where, "dent.jpg", PICTURE, by="x")


def test_photos_are_kept_with_what_they_show(store: Store, base: Knowledge) -> None:
    where = begin(store)
    photo = store.placements.add_photo(where, "dent.jpg", PICTURE, by="Ann")
    assert store.placements.add_photo(where, "again.jpg", PICTURE, by="Ann") == photo
    do(store, base, where, "delivery-damage", note="dent at the frame", photos=[photo])
    (one,) = store.placements.photos(where)
    assert (one.content, one.name) == (PICTURE, "dent.jpg")
    with pytest.raises(StoreError, match="photo"):
        store.placements.add_photo(where, "x.svg", b"<svg onload=alert(1)>", by="Ann")
    assert store.problems() == []


def worked(store: Store, base: Knowledge) -> str:
    where = begin(store, placement_id="placement-1")
    photo = store.placements.add_photo(where, "dent.jpg", PICTURE, by="Ann", at=T0)
    do(store, base, where, "delivery-damage", note="dent \N{SNOWMAN}", photos=[photo])
    do(store, base, where, "place-air", "not-right")
    open_trouble(store, where, "place-air", base, by="Ann")
    now = kept(store, where)
    store.placements.add(where, "wait", {"step": "x", "minutes": 6}, key="w", after_revision=now.revision, by="Ann")
    store.placements.add(where, "undo", {}, key="u", after_revision=now.revision + 1, by="Ann")
    return where


def test_backup_and_file_carry_a_placement_to_another_store(store: Store, base: Knowledge, tmp_path: Path) -> None:
    where = worked(store, base)
    assert store.problems() == []
    counts = store.backup(tmp_path / "all.gz")
    assert (counts["placements"], counts["placement_events"], counts["placement_photos"]) == (1, 5, 1)
    other = Store(str(tmp_path / "other.sqlite"))
    other.restore(tmp_path / "all.gz")
    assert other.placements.placement(where) == store.placements.placement(where)
    assert other.placements.photos(where) == store.placements.photos(where)
    third = Store(str(tmp_path / "third.sqlite"))
    data = json.dumps(placement_as_data(store.placements.placement(where), store.placements.photos(where))).encode()
    assert third.placements.take_in(data, by="Cy") == (where, 5)
    assert third.placements.take_in(data, by="Cy") == (where, 0)
    assert third.placements.placement(where).events == store.placements.placement(where).events
    assert third.placements.photos(where) == store.placements.photos(where)
    assert third.problems() == [] and "imported" in third.placements.placement(where).line.origin
    third.placements.add(where, "note", {"note": "went on"}, key="n", after_revision=5, by="Cy")
    store.placements.add(where, "note", {"note": "otherwise"}, key="n", after_revision=5, by="Cy")
    data = json.dumps(placement_as_data(store.placements.placement(where), ())).encode()
    with pytest.raises(Conflict, match="went on otherwise"):
        third.placements.take_in(data, by="Cy")
    other.close()
    third.close()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"version": 9}, "another version"),
        ({"format": "x"}, "not a placement file"),
        ({"colour": "red"}, "colour"),
        ({"events": [{"kind": "done", "key": "k", "body": {"step": "x", "outcome": "maybe"}, "by": "", "at": T0.isoformat()}]}, "outcome"),
        ({"events": [{"kind": "note", "key": "k", "body": {}, "by": "", "at": T0.isoformat()}]}, "note: missing"),
        ({"events": [{"kind": "reopen", "key": "k", "body": {}, "by": "", "at": T0.isoformat()}]}, "is open"),
        ({"events": [{"kind": "undo", "key": "k", "body": {"of": 7}, "by": "", "at": T0.isoformat()}]}, "nothing to take back"),
        ({"photos": [{"name": "x", "content": "PHN2Zz4=", "by": "", "at": T0.isoformat()}]}, "no JPEG"),
        ({"opened_at": "2999-01-01T00:00:00Z"}, "future"),
    ],
)  # fmt: skip
def test_a_spoilt_file_is_told_and_nothing_is_taken_in(tmp_path: Path, base: Knowledge, change: Any, told: str) -> None:
    store = Store(str(tmp_path / "a.sqlite"))
    where = begin(store)
    data = placement_as_data(store.placements.placement(where), ()) | {"id": "elsewhere"} | change
    with pytest.raises(ChillerError, match=told):
        store.placements.take_in(json.dumps(data).encode(), by="Cy")
    assert len(store.placements.placements()) == 1
    store.close()


def test_the_command_lists_exports_and_imports(tmp_path: Path, base: Knowledge, capsys: Any) -> None:
    place = str(tmp_path / "a.sqlite")
    store = Store(place)
    where = worked(store, base)
    store.close()
    assert main(["store", "--store", place, "placements"]) == 0
    assert "North lot" in capsys.readouterr().out
    assert main(["store", "--store", place, "export", where, "-o", str(tmp_path / "p.json")]) == 0
    assert main(["store", "--store", str(tmp_path / "b.sqlite"), "import", str(tmp_path / "p.json"), "--by", "Cy"]) == 0
    assert "5 new events" in capsys.readouterr().out
    assert main(["store", "--store", str(tmp_path / "b.sqlite"), "check"]) == 0


@pytest.mark.parametrize(
    "statement",
    ["UPDATE placement_events SET body = '{}'", "DELETE FROM placement_events", "DELETE FROM placement_photos"],
)
def test_the_database_itself_refuses_to_change_what_happened(store: Store, base: Knowledge, statement: str) -> None:
    where = worked(store, base)
    with pytest.raises((StoreError, Refused), match="never changed or deleted"), store._db.write() as tx:
        tx.execute(text(statement))
    assert len(kept(store, where).record.events) == 5 and len(store.placements.photos(where)) == 1
