"""What all desks share in this process: the records, the cards, and advice already worked out."""

from __future__ import annotations

import logging
import threading
from collections import OrderedDict
from datetime import UTC, datetime
from functools import lru_cache

from diagnose.advice import Advice
from diagnose.case import Case
from diagnose.demo import load_demo
from diagnose.store import Call, Store, digest_of
from knowledge.load import Knowledge, cards_folder, load_knowledge
from shared.errors import ChillerError

MOST_KEPT = 300  # advices; fifty people at work need the last few of each
_lock = threading.Lock()
_one_at_a_time = threading.Lock()
_kept: OrderedDict[tuple[str, str], Advice] = OrderedDict()


@lru_cache(maxsize=1)
def knowledge() -> Knowledge:
    """The cards, read once; a change of the cards is seen after the next start, or when the keeper asks for it."""
    return load_knowledge()


def read_cards_again() -> list[str]:
    """Read the cards anew where all of them hold together; else what is wrong, and the cards in use stay as they are."""
    from knowledge.__main__ import all_problems

    problems = [str(problem) for problem in all_problems(cards_folder())]
    if not problems:
        load_knowledge()  # raises before anything is forgotten
        with _lock:
            knowledge.cache_clear()
            knowledge()
    return problems


def check_case(case: Case) -> None:
    """Refuse a case that does not hold together with the cards. Raises CaseError."""
    from diagnose.case_check import checked

    checked(case, knowledge())


@lru_cache(maxsize=1)
def store() -> Store:
    """The store of this process, as nobody in particular sees it."""
    return Store(check=check_case)


def records() -> Store:
    """The records as whoever is at this desk may see and write them. Raises NotSignedIn (see `ui/signin.py`)."""
    from streamlit.runtime.scriptrunner import get_script_run_ctx

    if get_script_run_ctx(suppress_warning=True) is None:
        return store()  # outside of a page nobody looks: what is loaded ahead is shown to no one
    from ui import signin

    return store().seen_by(signin.person(store()))


def open_records() -> None:
    """Open store and cards, and fill an empty store with the demonstration. Raises ChillerError."""
    with _lock:
        knowledge()
        _filled(store())


@lru_cache(maxsize=1)
def _filled(records: Store) -> None:
    load_demo(records, now())


def now() -> datetime:
    """The moment, in UTC."""
    return datetime.now(UTC)


def advise(case: Case) -> Advice:
    """Advice for a case, worked out anew."""
    from diagnose.advise import advise as work_out

    return work_out(case, knowledge())


def advice_for(case: Case, digest: str) -> Advice:
    """Advice for a case; equal cases under equal cards are worked out once.

    One is worked out after the other: threads of one Python take turns, so ten begun together would all be done last.
    """
    key = (knowledge().digest, digest)
    advice = _kept_for(key)
    if advice is not None:
        return advice
    with _one_at_a_time:
        advice = _kept_for(key)  # somebody else may have asked the same meanwhile
        if advice is None:
            advice = advise(case)
            with _lock:
                _kept[key] = advice
                while len(_kept) > MOST_KEPT:
                    _kept.popitem(last=False)
    return advice


def _kept_for(key: tuple[str, str]) -> Advice | None:
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
        return _kept.get(key)


def advice_of(call: Call) -> Advice:
    """Advice for a call as it stands."""
    return advice_for(call.case, call.case_digest)


def explained(call: Call) -> Advice:
    """Advice for a call with what would change it; worked out when somebody asks."""
    from diagnose.advise import advise as work_out

    return work_out(call.case, knowledge(), explain=True)


def advise_prefix(call: Call, count: int) -> Advice:
    """Advice as it stood after the first ``count`` entries that still stand."""
    case = call.case_after(count)
    return advice_for(case, digest_of(case))


def warm_up() -> None:
    """Load what the first question needs, so that the first person does not wait for it."""
    try:
        for line in store().calls("open", limit=1):
            advice_of(store().call(line.id))
    except ChillerError:
        logging.getLogger(__name__).warning("nothing to warm up with")
