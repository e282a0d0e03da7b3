"""What the tests of the cards share: the shipped base, read once, and copies of it to break."""

from __future__ import annotations

import copy
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from knowledge.load import CARDS, Knowledge, RawCards, load_knowledge, read_cards


@pytest.fixture(scope="session")
def base() -> Knowledge:
    """The shipped cards."""
    return load_knowledge()


@pytest.fixture(scope="session")
def shipped() -> RawCards:
    """The shipped cards as read, with their lines; not to be changed."""
    return read_cards()


@pytest.fixture
def raw(shipped: RawCards) -> RawCards:
    """The shipped cards, to be changed: replace whole cards, they are immutable."""
    changed = copy.copy(shipped)
    changed.cards = {kind: dict(cards) for kind, cards in shipped.cards.items()}
    return changed


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the shipped folder."""
    return Path(shutil.copytree(CARDS, tmp_path / "cards with ñ"))


@pytest.fixture
def change(raw: RawCards) -> Callable[..., None]:
    """Replace keys of a card of ``raw``: kind, id, then keys with values as on the card, validated like one."""

    def put(kind: str, card_id: str, **changes: Any) -> None:
        card = raw.cards[kind][card_id]
        data = {**card.model_dump(by_alias=True, exclude_defaults=True), **changes}
        raw.cards[kind][card_id] = type(card).model_validate(data)

    return put
