"""Links from card to card: every line that names a card leads to it, and the picture says what the cards say."""

from __future__ import annotations

from knowledge.describe import KINDS
from knowledge.links import LINKED, link_of, picture, sections, touches
from knowledge.load import Knowledge


def test_every_line_of_a_linked_heading_leads_to_a_card(base: Knowledge) -> None:
    """All cards of all kinds. Only "Readings" begins with a line of text."""
    seen = set()
    for kind in KINDS:
        for card_id in getattr(base, kind):
            for title, lines in sections(base, kind, card_id):
                if title not in LINKED:
                    continue
                links = [link_of(base, title, line) for line in lines]
                seen.add(title)
                allowed = 1 if title == "Readings" else 0
                assert sum(link is None for link in links) <= allowed, (kind, card_id, title, lines)
                assert all(link is None or f"({link.id})" not in link.text for link in links)
    assert seen == set(LINKED), "a heading that no card has any more"


def test_confirming_and_clearing_are_named_from_both_sides(base: Knowledge) -> None:
    """A look that a cause names under confirm or clear names that cause."""
    for cause in base.causes.values():
        named = dict(sections(base, "causes", cause.id))
        for title, other in (("Looks that confirm it", "It confirms"), ("Looks that clear it", "It clears")):
            for line in named[title]:
                link = link_of(base, title, line)
                assert link is not None
                back = dict(sections(base, "checks", link.id))[other]
                assert cause.id in [found.id for row in back if (found := link_of(base, other, row))]


def test_the_picture_of_a_cause_is_its_card(base: Knowledge) -> None:
    """Each line under brings and complaints is one arrow; arrows run to the right."""
    for cause in base.causes.values():
        drawn = picture(base, "causes", cause.id)
        assert drawn is not None
        own = [a for a in drawn.arrows if f"causes/{cause.id}" in (a.source, a.target)]
        assert len(own) == len(cause.brings) + len(cause.complaints)
        column = {node.name: n for n, nodes in enumerate(drawn.columns) for node in nodes}
        assert all(column[a.source] < column[a.target] for a in drawn.arrows), cause.id
        assert all(says.split(": ", 1)[1] for says in drawn.sentences())


def test_what_a_rule_reads_is_linked(base: Knowledge) -> None:
    for rule in base.rules.values():
        named = {(link.kind, link.id) for link in touches(base, "rules", rule.id)}
        for condition in (*rule.when, *rule.unless):
            assert condition.finding is None or ("findings", condition.finding) in named
        assert rule.then.cause is None or ("causes", rule.then.cause) in named
