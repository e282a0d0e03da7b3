"""Users and their sign-in: what is kept, what it opens, what ends it, what slows down guessing. On both stores."""

from __future__ import annotations

import threading
from datetime import UTC, datetime, timedelta

import pytest

from diagnose.store import AT_HOME, Person, Store, passwords
from diagnose.store.access import DESKS, ROLES, may_see
from diagnose.store.users import FREE_TRIES, IDLE, LONGEST, LONGEST_WAIT, SignInRefused, Users
from shared.errors import StoreError

T0 = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
GOOD = "four walls and a roof"


@pytest.fixture(autouse=True)
def cheap_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    """The cost is in each hash; here a low one, so that hundreds of tries take no time."""
    monkeypatch.setattr(passwords, "COST", 4)


@pytest.fixture
def users(store: Store) -> Users:
    """A keeper and a technician."""
    store.users.add("kit", "keeper", password=GOOD, by="test", at=T0)
    store.users.add("ann", "technician", password=GOOD, shown="Ann Example", team="north", by="test", at=T0)
    return store.users


def test_the_hash_is_that_of_the_standard() -> None:
    """RFC 7914, section 12, third vector: N 16384, r 8, p 1."""
    made = passwords.scrypt("pleaseletmein", b"SodiumChloride", 14, 8, 1)
    assert made.hex().startswith("7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2")


def test_the_shipped_cost_is_what_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()
    kept = passwords.hashed(GOOD)
    assert kept.startswith("scrypt$15$8$3$") and GOOD not in kept
    assert passwords.fits(GOOD, kept) and not passwords.fits(GOOD + " ", kept) and not passwords.fits("", "")


def test_equal_passwords_are_kept_differently_and_composed_letters_are_one() -> None:
    assert passwords.hashed(GOOD) != passwords.hashed(GOOD)
    assert passwords.fits("cafe\N{COMBINING ACUTE ACCENT} am bach", passwords.hashed("café am bach"))


@pytest.mark.parametrize("bad", ["short", "x" * 201, "ababababababab", "my-name-is-ann-yes"])
def test_a_password_that_is_not_taken_is_not_repeated(users: Users, bad: str) -> None:
    with pytest.raises(StoreError) as caught:
        users.change("ann", password=bad, by="test")
    assert bad not in caught.value.line() and len(caught.value.line().splitlines()) == 1


def test_signing_in_and_out(users: Users) -> None:
    token = users.sign_in(" Ann ", GOOD, "10.0.0.7", at=T0)
    assert len(token) >= 40
    assert users.person_of(token, at=T0) == Person("ann", "Ann Example", "technician", "north")
    for other in ("", token + "x", token[:-1], "x" * 5000, "\0"):
        assert users.person_of(other, at=T0) is None
    users.sign_out(token)
    assert users.person_of(token, at=T0) is None


def test_a_token_is_kept_only_as_its_digest(users: Users, store: Store) -> None:
    from diagnose.store import database as db

    token = users.sign_in("ann", GOOD, "10.0.0.7")
    with store._db.read() as tx:
        rows = [dict(r) for table in db.kept_tables() for r in tx.execute(table.select()).mappings()]
    assert rows and token not in str(rows) and GOOD not in str(rows)


def test_a_sign_in_ends_by_itself(users: Users) -> None:
    token = users.sign_in("ann", GOOD, "x", at=T0)
    now = T0
    while now < T0 + LONGEST - IDLE:  # used every eleven hours
        now += timedelta(hours=11)
        assert users.person_of(token, at=now) is not None
    assert users.person_of(token, at=T0 + LONGEST) is None
    idle = users.sign_in("ann", GOOD, "x", at=T0)
    assert users.person_of(idle, at=T0 + IDLE - timedelta(seconds=1)) is not None
    idle = users.sign_in("ann", GOOD, "x", at=T0)
    assert users.person_of(idle, at=T0 + IDLE) is None


@pytest.mark.parametrize("change", [{"role": "telephone"}, {"team": ""}, {"active": False}, {"password": GOOD + "!"}])
def test_what_is_changed_by_the_keeper_holds_at_once(users: Users, change: dict[str, object]) -> None:
    token = users.sign_in("ann", GOOD, "x", at=T0)
    users.change("ann", by="kit", at=T0, **change)  # type: ignore[arg-type]
    assert users.person_of(token, at=T0) is None
    kinds = [(kind, by) for kind, by, _, _ in users.history("ann")]
    assert kinds == [("add", "test"), ("change", "kit")]
    assert "!" not in str(users.history("ann"))


def test_a_closed_user_cannot_sign_in_and_keeps_the_name(users: Users) -> None:
    users.change("ann", active=False, by="kit")
    with pytest.raises(SignInRefused, match="name or password is wrong"):
        users.sign_in("ann", GOOD, "x")
    with pytest.raises(StoreError, match="there is a user of this name"):
        users.add("ann", "technician", password=GOOD, by="kit")


def test_the_last_keeper_stays(users: Users) -> None:
    for change in ({"role": "trainer"}, {"active": False}):
        with pytest.raises(StoreError, match="last keeper"):
            users.change("kit", by="kit", **change)  # type: ignore[arg-type]
    users.add("lee", "keeper", password=GOOD, by="kit")
    assert users.change("kit", role="trainer", by="lee").role == "trainer"


@pytest.mark.parametrize(
    ("name", "role"), [("", "keeper"), ("a b", "keeper"), ("<b>", "keeper"), ("a" * 101, "keeper"), ("bo", "boss")]
)
def test_a_bad_user_is_one_line(users: Users, name: str, role: str) -> None:
    with pytest.raises(StoreError) as caught:
        users.add(name, role, password=GOOD, by="kit")
    assert len(caught.value.line().splitlines()) == 1 and "allowed" in caught.value.line()


def test_who_is_vouched_for(users: Users) -> None:
    users.add("Bo@Example.org", "telephone", by="kit")
    token = users.sign_in_vouched("bo@example.org")
    person = users.person_of(token)
    assert person is not None and person.role == "telephone"
    for stranger in ("cy@example.org", "ann"):
        with pytest.raises(SignInRefused, match="not known here"):
            users.sign_in_vouched(stranger)
    with pytest.raises(SignInRefused, match="wrong"):
        users.sign_in("bo@example.org", "", "x")
    with pytest.raises(StoreError, match="mail address"):
        users.add("bo", "telephone", by="kit")


def guess(users: Users, name: str, place: str, at: datetime) -> int:
    """Seconds to wait before the next guess is looked at, 0 when this one was."""
    try:
        users.sign_in(name, "wrong guess, surely", place, at=at)
    except SignInRefused as refused:
        return refused.wait
    raise AssertionError("it let a wrong password in")


def test_guessing_one_name_from_one_place_gets_slow(users: Users) -> None:
    """A day of guessing as fast as allowed comes to about a hundred guesses, and the right password does not help."""
    now, looked_at = T0, 0
    while now < T0 + timedelta(hours=24):
        wait = guess(users, "ann", "evil", now)
        if wait:
            assert wait <= LONGEST_WAIT.total_seconds()
            with pytest.raises(SignInRefused, match="too many"):
                users.sign_in("ann", GOOD, "evil", at=now)
            now += timedelta(seconds=wait)
        else:
            looked_at += 1
    assert FREE_TRIES["pair"] < looked_at < 120
    # from her own place she gets in until the name itself is being guessed at too often
    assert looked_at > FREE_TRIES["name"]
    assert guess(users, "ann", "evil", now) == 0
    with pytest.raises(SignInRefused, match="too many"):
        users.sign_in("ann", GOOD, "home", at=now)
    assert users.sign_in("ann", GOOD, "home", at=now + LONGEST_WAIT)


def test_a_few_mistakes_cost_nothing_and_a_success_forgets_them(users: Users) -> None:
    for _ in range(3):
        for _ in range(FREE_TRIES["pair"] - 1):
            assert guess(users, "ann", "home", T0) == 0
        users.sign_in("ann", GOOD, "home", at=T0)


def test_guessing_from_many_places_and_at_many_names(users: Users) -> None:
    waits = [guess(users, "ann", f"10.0.0.{n}", T0) for n in range(40)]
    assert waits.count(0) == FREE_TRIES["name"]
    waits = [guess(users, f"nobody{n}", "evil", T0) for n in range(60)]
    assert waits.count(0) == FREE_TRIES["place"]


def test_a_restart_forgets_nothing(users: Users, store: Store, address: str) -> None:
    for _ in range(FREE_TRIES["pair"]):
        guess(users, "ann", "evil", T0)
    assert guess(users, "ann", "evil", T0) > 0
    store.close()
    again = Store(address)
    assert guess(again.users, "ann", "evil", T0) > 0
    again.close()


def test_right_and_wrong_at_once_do_not_stand_in_each_others_way(users: Users) -> None:
    """Many sign in while somebody guesses from the same place: nobody is told that the record does not answer."""
    said: list[str] = []

    def come(number: int) -> None:
        try:
            users.sign_in(
                "ann" if number % 2 else "kit", GOOD if number % 3 else "wrong guess", f"10.0.0.{number % 2}", at=T0
            )
            said.append("in")
        except SignInRefused as refused:
            said.append(refused.what)

    threads = [threading.Thread(target=come, args=(number,)) for number in range(24)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(said) == 24 and "in" in said
    assert set(said) <= {"in", "name or password is wrong", "too many wrong passwords"}


def test_many_guesses_at_once_get_no_further(users: Users) -> None:
    waits: list[int] = []
    threads = [threading.Thread(target=lambda: waits.append(guess(users, "ann", "evil", T0))) for _ in range(24)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(waits) == 24 and waits.count(0) == FREE_TRIES["pair"]


# --- who sees which call


def test_which_calls_are_seen(store: Store) -> None:
    def opened(name: str, role: str, team: str) -> str:
        return store.open_call({"complaint": "no-flow", "role": role}, by="test", call_id=name, team=team)

    opened("all-field", "technician", "")
    opened("all-phone", "customer", "")
    opened("north-field", "technician", "north")
    opened("north-phone", "agent", "north")
    opened("south-phone", "customer", "south")

    def seen(role: str, team: str) -> set[str]:
        return {line.id for line in store.seen_by(Person("x", "X", role, team)).calls()}  # type: ignore[arg-type]

    everything = {line.id for line in store.calls()}
    assert len(everything) == 5
    assert seen("keeper", "south") == everything == {line.id for line in store.seen_by(AT_HOME).calls()}
    assert seen("technician", "north") == {"all-field", "all-phone", "north-field", "north-phone"}
    assert seen("telephone", "north") == {"all-phone", "north-phone"}
    assert seen("telephone", "") == {"all-phone"}
    assert seen("trainer", "south") == {"all-field", "all-phone", "south-phone"}
    # by address: what the list does not show cannot be opened either, and looks as if it did not exist
    for role in ROLES:
        for team in ("", "north", "south"):
            person = Person("x", "X", role, team)
            for line in store.calls():
                if line.id in seen(role, team):
                    assert store.seen_by(person).call(line.id).id == line.id
                else:
                    with pytest.raises(StoreError) as refused:
                        store.seen_by(person).call(line.id)
                    with pytest.raises(StoreError) as absent:
                        store.seen_by(person).call("x" * len(line.id))
                    assert refused.value.what == absent.value.what and refused.value.do == absent.value.do
                    with pytest.raises(StoreError, match="no such call"):
                        store.seen_by(person).append(line.id, {"note": "x"}, key="k", after_revision=0, by="X")
                    assert store.call(line.id).revision == 0


def test_the_record_bears_the_proved_name_and_the_team(store: Store) -> None:
    """Whatever name is told to the desk by somebody who signed in."""
    ann = store.seen_by(Person("ann", "Ann Example", "technician", "north"))
    call = ann.open_call({"complaint": "no-flow"}, by="Somebody Else")
    ann.append(call, {"note": "x"}, key="k", after_revision=0, by="Somebody Else")
    kept = store.call(call)
    assert (kept.line.opened_by, kept.line.team, kept.events[0].by) == ("Ann Example", "north", "Ann Example")
    assert store.machine(ann.add_machine({"name": "Unit 7"}, by="Somebody Else")).added_by == "Ann Example"


def test_a_telephone_call_handed_over_is_seen_by_both(store: Store) -> None:
    call = store.open_call({"complaint": "no-flow", "role": "customer"}, by="test")
    store.amend(call, {"role": "technician", "qualified": ["electrical"]}, key="h", after_revision=0, by="test")
    for role in ("telephone", "technician"):
        assert store.seen_by(Person("x", "X", role)).call(call).case.role == "technician"


def test_every_role_opens_something_and_none_too_much() -> None:
    assert all(DESKS[role] for role in ROLES)
    assert [role for role in ROLES if "training" in DESKS[role]] == ["trainer", "keeper"]
    assert [role for role in ROLES if "keeping" in DESKS[role]] == ["keeper"]
    assert "field" not in DESKS["telephone"], "the telephone desk is the only one for whoever works the telephone"
    assert not may_see(Person("x", "X", "technician", ""), "north", "field"), "no team is not every team"
