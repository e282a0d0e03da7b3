"""Where the telephone desk's addresses lead: the board of open calls, a new call, one call, its handing over."""

from __future__ import annotations

import streamlit as st

from diagnose.store import digest_of
from diagnose.telephone import heard_case
from ui import office, opening
from ui.field.acts import Desk
from ui.telephone import board, handing_over, script
from ui.telephone.phrases import LANGUAGES

ADDRESS = {"desk": "telephone"}


def draw() -> None:
    """Draw what the address names. Raises StoreError when there is no such call."""
    if call := st.query_params.get("call"):
        _call(call)
    elif st.query_params.get("new"):
        opening.draw()
    else:
        board.draw()


def _call(call_id: str) -> None:
    call = office.records().call(call_id)
    language = st.query_params.get("lang", "")
    language = language if language in LANGUAGES else "en"
    heard = heard_case(call.case)
    advice = office.advice_for(heard, digest_of(heard))
    address = {**ADDRESS, **({"lang": language} if language != "en" else {})}
    desk = Desk(office.records(), office.knowledge(), call, advice, address)
    if st.query_params.get("over"):
        handing_over.draw(desk, language)
    else:
        script.draw(desk, language)
