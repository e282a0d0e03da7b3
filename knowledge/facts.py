"""The facts a rule or a `when` may name besides findings, with the words they may have."""

from __future__ import annotations

MACHINE_FACTS: dict[str, tuple[str, ...]] = {
    "expansion": ("thermostatic", "electronic", "orifice"),
    "valve": ("thermostatic", "electronic", "orifice", "unknown"),  # the expansion device as told, nothing assumed
    "coil": ("tube-fin", "microchannel"),
    "fluid": ("water", "glycol"),
    "refrigerant-class": ("a1", "a2l"),
    "glide": ("yes", "no"),
    "plate-pressure": ("high", "lower", "unknown"),
    "tank-at": ("unit-suction", "load", "discharge", "unknown"),
    "pump-in-use": ("onboard", "site"),
    "supply": ("generator", "utility"),
    "pump-drive": ("yes", "no"),
    "fan-drive": ("yes", "no"),
    "any-drive": ("yes", "no"),
    "receiver": ("yes", "no"),
    "clean-split": ("known",),
    "card-subcooling": ("known",),
    "several-circuits": ("yes", "no"),
    "circuits": ("one", "several"),
    "tandem": ("yes", "no"),
    "compressors": ("one", "few", "many", "unknown"),  # of the whole machine; few: up to four
    "twins": ("none", "one", "more", "unknown"),  # of a compressor in its own circuit
}
# what is assumed where nobody told it: an assumption rules out no cause, so no cause card may ask for it
ASSUMED_FACTS = ("expansion", "coil", "pump-in-use")
STOP_WORDS: dict[str, tuple[str, ...]] = {
    # what people say -> the stop word it counts as; searched in free text, never weighed
    "burnt": ("burnt", "burned", "burning", "scorch", "melted", "warm plastic", "hot plastic", "charred"),
    "tingle": ("tingle", "tingling", "shock", "zapped", "electrocut"),
    "hiss": ("hiss", "hissing"),
    "smoke": ("smoke", "smoking", "sparks", "arcing", "arc flash", "on fire", "flames"),
    "headache": ("headache", "dizzy", "nausea", "short of breath", "fainted"),
    "ice": ("ice on", "iced up", "icing", "frozen", "frosted over"),
    "wet": ("puddle", "standing in water", "panel is wet", "water in the panel", "rain in", "rained into", "soaked"),
    "jumper": (
        "jumpered",
        "jumper wire",
        "wire across",
        "bypassed the",
        "bridged",
        "linked out",
        "shorted out the",
        "taped down",
        "wedged in",
        "nuisance trip",
        "not trip any more",
        "not trip out any more",
        "n't trip any more",
        "n't trip out any more",
        "no longer trips",
    ),
    "burst": (
        "blows gas",
        "gas at the vent",
        "gas from the vent",
        "oil film",
        "oily film",
        "gauge keeps rising",
        "pressure keeps rising",
        "pressure climbs by itself",
    ),
    "gas": ("gas smell", "smell of gas", "oily mist", "gas leak", "refrigerant cloud"),
    "reset": (
        "pressed reset",
        "pressed the reset",
        "pushed the reset",
        "hit reset",
        "reset it",
        "reset again",
        "resetting",
        "reset twice",
        "reset three times",
    ),
    "live": ("panel key", "open the panel", "terminals to poke", "multimeter", "my meter", "remove the cover"),
}
CASE_FACTS: dict[str, tuple[str, ...]] = {
    "role": ("customer", "agent", "technician"),
    "qualified-electrical": ("yes", "no"),
    "qualified-refrigerant": ("yes", "no"),
    "qualified-height": ("yes", "no"),
    "state": ("isolated", "standing", "powered", "pump-only", "cooling", "unknown"),
    "steadiness": ("steady", "pull-down", "cycling", "starting", "unknown"),
    "said": tuple(STOP_WORDS),
    "resets": ("none", "one", "more"),
    "cannot-tell-run": ("yes", "no"),
}
# facts set by rules of an earlier stratum, usable by later ones
RULE_FACTS = ("held", "gate", "not-judged", "contradiction")
STRATA = ("state", "hold-point", "not-judged", "derived-finding", "contradiction", "conclusive", "gate", "stop")


def fact_words(name: str, complaints: object, contexts: object) -> tuple[str, ...] | None:
    """The words allowed for a fact, None when there is no such fact; an empty tuple allows any word."""
    if name in MACHINE_FACTS:
        return MACHINE_FACTS[name]
    if name in CASE_FACTS:
        return CASE_FACTS[name]
    if name == "complaint":
        return tuple(complaints)  # type: ignore[arg-type]
    if name.startswith("context-"):
        return ("yes",) if name.removeprefix("context-") in contexts else None  # type: ignore[operator]
    if name in RULE_FACTS:
        return ()
    return None
