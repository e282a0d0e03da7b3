"""Who is at the desk: the person of the sign-in, or whoever sits at this machine.

How the app was started decides (`signin_serving.py`): for this machine only, nobody signs in; for others, everybody does. The
gate in front of the app (`signin_gate.py`) lets nobody through without a sign-in; here every drawing asks again, so
that a sign-in that ended, or a role that was changed, holds from the next tap on.

The sign-in is a cookie that no script of the page can read, never a part of an address. It outlives a reload and a restart
of the app; what it stands for is in the store (`diagnose.store.users`).
"""

from __future__ import annotations

import streamlit as st

from diagnose.store import AT_HOME, Person, Store
from shared.errors import ChillerError
from ui.parts import html, md, t
from ui.signin_serving import COOKIE, PAGE, PASSED_ON, serving

ROLE_WORDS = {
    "technician": "technician",
    "telephone": "telephone",
    "trainer": "trainer",
    "keeper": "keeper of the record",
}
DESK_WORDS = {
    "field": "the field desk",
    "telephone": "the telephone desk",
    "training": "the training desk",
    "machines": "the machines",
    "keeping": "the rulebook",
}


class NotSignedIn(ChillerError):
    """Nobody is signed in here, or no longer."""


def person(store: Store) -> Person:
    """Who is at this desk. Raises NotSignedIn."""
    how = serving()
    if how is not None and how.to_others:
        found = store.users.person_of(st.context.cookies.get(COOKIE, ""))
        if found is None:
            raise NotSignedIn("you are not signed in, or no longer", do="sign in; nothing that was saved is lost")
        return found
    if how is None and _from_elsewhere():
        raise NotSignedIn("this app was not started for others", do="start it with: python -m ui --address ADDRESS")
    return AT_HOME


def _from_elsewhere() -> bool:
    """Whether the page that is drawn stands on another machine: started by other means than ours, nothing is in front."""
    headers = {str(name).lower() for name in st.context.headers}
    return isinstance(st.context.ip_address, str) or any(name in headers for name in PASSED_ON)


NEEDS = {"rulebook": "keeping", "placement": "field"}  # pages that stand behind another desk's name


def opens(who: Person, desk: str) -> bool:
    """Whether a person's sign-in opens a desk; the list of calls and what is no desk of its own is open to all."""
    needed = NEEDS.get(desk, desk)
    return needed not in DESK_WORDS or needed in who.desks


def refuse(who: Person, desk: str) -> None:
    """Draw what is shown instead of a desk that this sign-in does not open."""
    html(
        f"<div data-screen='closed-desk'><p class='kicker'>Chiller Diagnose</p><h1>Not your desk</h1>"
        f"<p>Signed in as {t(who.shown)} ({t(ROLE_WORDS[who.role])}), which does not open "
        f"{t(DESK_WORDS.get(NEEDS.get(desk, desk), desk))}. The keeper can change that.</p></div>"
    )
    if st.button("All calls", key="signin-home"):
        st.query_params.clear()
        st.rerun()


def draw_sign_in(problem: str) -> None:
    """Draw what is shown to whoever is not signed in any more: a page that was left open over night."""
    html(
        f"<div data-screen='signed-out'><p class='kicker'>Chiller Diagnose</p><h1>Sign in</h1><p>{t(problem)}</p>"
        f"<p><a href='{PAGE}'>Go to the sign-in</a></p></div>"
    )


def draw_foot(store: Store) -> None:
    """Draw who is signed in, and the way out; nothing on one's own machine."""
    who = store.person
    if not who.signed_in:
        return
    with st.container(key="signin-foot"):
        team = f", team {who.team}" if who.team else ""
        st.caption(md(f"Signed in as {who.shown} ({ROLE_WORDS[who.role]}{team})"))
        if st.button("Sign out", key="sign-out"):
            store.users.sign_out(st.context.cookies.get(COOKIE, ""))
            st.rerun()
