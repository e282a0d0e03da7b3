"""What whoever calls has noticed: no noise call without a noise. For drawing calls, in proofs and simulations; nothing is weighed by it."""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.network import Key, Network


def noticed_keys(network: Network, complaint: str, instances: Sequence[int]) -> list[Key]:
    """Findings, where the wrong parts are, of which a caller with this complaint has met one. instances: numbers from 1."""
    at = [network.instances[n - 1].place for n in instances if n]
    return [
        (name, place.id)
        for name in network.knowledge.complaints[complaint].noticed
        for place in network.places.values()
        if place.kind == network.knowledge.findings[name].place and any(place.touches(one) for one in at)
    ]


def met(network: Network, key: Key, word: str) -> bool:
    """Whether this word of a finding is something to call about."""
    return word != network.knowledge.findings[key[0]].neutral
