"""The rulebook: every card as sentences, found by plain words, with links from card to card and a map of what causes what."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from diagnose.rulebook import SEARCHED, Hit, evidence, search
from knowledge.describe import Section, found
from knowledge.links import Link, Picture, link_of, picture, sections, touches
from shared.errors import ChillerError
from ui import office, rulebook_map, signin
from ui.parts import announce, drawer, html, md, say_later, say_now, signal_box, t
from ui.taps import go, offer

ADDRESS = {"desk": "rulebook"}
WORDS = {
    "causes": "cause",
    "checks": "look",
    "rules": "rule",
    "complaints": "complaint",
    "findings": "what is seen",
    "bands": "limit",
    "effects": "hidden state",
    "instruments": "instrument",
    "contexts": "circumstance",
    "sources": "source",
}
EVERYTHING = "Everything"
IN_WORDS = ("It brings", "What follows from that")  # what the map of a cause shows, said with its conditions
FEW = 8  # links that are drawn at once; more go into a drawer


def draw() -> None:
    """Draw what the address names: ?card=KIND/ID a card, else the search."""
    who = office.records().person
    if not signin.opens(who, "keeping"):
        signin.refuse(who, "keeping")
        return
    address = st.query_params.get("card", "")
    try:
        kind, card_id = found(office.knowledge(), address)[0] if address else ("", "")
    except ChillerError as error:
        html(_head("No such card", "Rulebook"))
        html(f"<p>{t(error.line())}</p>")
        offer("Search the rulebook", "rb-search", partial(go, **ADDRESS))
        return
    if kind:
        _card(kind, card_id)
    else:
        _search()


def _head(title: str, above: str) -> str:
    return f"<div data-screen='rulebook'><p class='kicker'>{t(above)}</p><h1>{t(title)}</h1></div>"


# search -----------------------------------------------------------------------------------------------------------------


def _search() -> None:
    knowledge = office.knowledge()
    html(_head("Rulebook", "Chiller Diagnose"))
    say_now()
    counts = ", ".join(
        f"{len(getattr(knowledge, kind))} {plural}"
        for kind, plural in (("causes", "causes"), ("checks", "looks"), ("rules", "rules"), ("bands", "limits"))
    )
    html(f"<p>What this tool knows of the trade: {t(counts)}. Version {t(knowledge.digest[:12])}.</p>")
    kept = st.query_params.get("q", "")
    typed = st.text_input("Find", value=kept, key="rb-find", placeholder="superheat, strainer, burnt smell ...",
                          autocomplete="off", max_chars=200)  # fmt: skip
    chosen = st.selectbox("Among", [EVERYTHING, *SEARCHED], key="rb-among",
                          format_func=lambda k: EVERYTHING if k == EVERYTHING else WORDS[k].capitalize())  # fmt: skip
    words = (typed or "").strip()
    if words != kept:
        st.query_params["q"] = words  # a reload finds it again
    if words:
        hits = search(knowledge, words, SEARCHED if chosen == EVERYTHING else (chosen,))
        html(f"<h2>Found</h2>{'' if hits else '<p>Nothing fits these words. Try fewer or other ones.</p>'}")
        _hits(hits)
    else:
        html("<h2>Start from a complaint</h2>")
        _hits([Hit("complaints", c.id, "complaints", c.title) for c in knowledge.complaints.values()])
    offer("All calls", "rb-home", go)
    offer("Read the cards again, after editing", "rb-again", _again)
    announce("rulebook", f"Rulebook {words}")


def _again() -> None:
    try:
        problems = office.read_cards_again()
    except ChillerError as error:
        problems = [error.line()]
    if problems:
        rest = f" And {len(problems) - 3} more: python -m knowledge check." if len(problems) > 3 else ""
        say_later(f"The cards in use stay as they are. {' '.join(problems[:3])}{rest}")
    else:
        say_later(f"The cards were read again. Version {office.knowledge().digest[:12]}.")


def _hits(hits: Sequence[Hit]) -> None:
    with st.container(key="rows-rulebook"):
        for number, hit in enumerate(hits):
            label = f"**{md(hit.title)}**  \n{WORDS[hit.found]}"
            to = partial(go, **ADDRESS, card=f"{hit.kind}/{hit.id}")
            offer(label, f"rb-hit-{number}-{hit.found}-{hit.id}", to, width="stretch")


# a card -----------------------------------------------------------------------------------------------------------------


def _card(kind: str, card_id: str) -> None:
    knowledge = office.knowledge()
    card = getattr(knowledge, kind)[card_id]
    html(_head(card.title, f"Rulebook: {WORDS[kind]}"))
    say_now()
    with st.container(key="rows-rulebook-ways"):
        offer("Search the rulebook", "rb-search", partial(go, **ADDRESS), width="stretch")
    said = sections(knowledge, kind, card_id)
    drawn = picture(knowledge, kind, card_id)
    drawn = drawn if drawn is not None and len(drawn.columns) > 1 else None
    in_words = [section for section in said if drawn is not None and section[0] in IN_WORDS]
    left, right = st.columns([11, 9], gap="large")
    with left:
        for section in said:
            if not _linked(section) and section not in in_words:
                _text(section)
        if kind == "causes":
            _evidence(card_id)
    with right:
        about = touches(knowledge, kind, card_id)
        rows = [(title, links) for title, lines in said if (links := _links(title, lines))]
        rows += [("It is about", about)] if about else []
        for number, (title, links) in enumerate(rows):
            _rows(f"rb-{kind}-{card_id}-{number}", title, links)
    if drawn is not None:
        _map(drawn, f"{kind}/{card_id}", in_words)
    html(
        f"<p class='rail-quiet'>{t(kind.removesuffix('s'))} {t(card_id)}, cards/{t(knowledge.where[f'{kind}/{card_id}'])}</p>"
    )
    announce(f"rulebook {kind}/{card_id}", f"{WORDS[kind]}: {card.title}")


def _links(title: str, lines: Sequence[str]) -> list[Link]:
    return [link for line in lines if (link := link_of(office.knowledge(), title, line)) is not None]


def _linked(section: Section) -> bool:
    """Whether every line of a section names a card: then it is drawn as rows."""
    title, lines = section
    return len(_links(title, lines)) == len(lines)


def _text(section: Section) -> None:
    title, lines = section
    head = f"<h2>{t(title)}</h2>" if title else ""
    if title == "Cautions":
        html(head + "".join(signal_box(None, line) for line in lines))
    elif len(lines) == 1:
        html(f"{head}<p class='ask'>{t(lines[0])}</p>")
    else:
        html(f"{head}<ul>{''.join(f'<li>{t(line)}</li>' for line in lines)}</ul>")


def _rows(key: str, title: str, links: Sequence[Link]) -> None:
    if len(links) > FEW:
        box = drawer(f"{title} ({len(links)})", f"{key}-drawer")
        if not box:
            return
        with box:
            _buttons(key, links)
        return
    html(f"<h2>{t(title)}</h2>")
    _buttons(key, links)


def _buttons(key: str, links: Sequence[Link]) -> None:
    with st.container(key=f"rows-{key}"):
        for number, link in enumerate(links):
            to = partial(go, **ADDRESS, card=f"{link.kind}/{link.id}")
            offer(md(link.text), f"{key}-{number}-{link.id}", to, width="stretch")


def _map(drawn: Picture, here: str, in_words: Sequence[Section]) -> None:
    html(
        "<h2>What leads to what</h2><p>Tap a card to open it. Thick lines: usually or more; thin: often or sometimes; "
        "dashed: seldom or less.</p>"
    )
    rulebook_map.draw(drawn, here, ADDRESS)
    box = drawer("The same in words", f"rb-words-{here}")
    if box:
        with box:
            for section in in_words or [("", drawn.sentences())]:
                _text(section)


def _evidence(cause: str) -> None:
    box = drawer("From closed calls", f"rb-closed-{cause}")
    if not box:
        return
    with box:
        told = evidence(office.knowledge(), office.records(), cause)
        rows = [f"{len(told.confirmed)} of {told.calls} closed calls with a confirmed cause ended here; "
                f"{told.not_found} more ended without one. Calls of the demonstration are left out."]  # fmt: skip
        rows += [
            f"{c.at}, {office.knowledge().complaints[c.complaint].title}: {c.proof or 'no proof recorded'}"
            for c in told.confirmed[:12]
            if c.complaint in office.knowledge().complaints
        ]
        rows += [
            f"Proposed for {p.key}: {p.now} instead of {p.was} ({p.confirmed} of {p.calls} calls, {p.expected} expected). "
            "Nothing changes until the keeper accepts it: python -m knowledge outcomes --store"
            for p in told.proposals
        ]
        html(f"<ul>{''.join(f'<li>{t(row)}</li>' for row in rows)}</ul>")
