"""Problems of the whole set of cards: what no single card can show.

`find_problems` reports everything at once; each problem names file, line, key and remedy. It does not fire rules (that
needs the engine: `python -m knowledge check` adds it).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from knowledge.facts import ASSUMED_FACTS, MACHINE_FACTS, RULE_FACTS, STRATA, fact_words
from knowledge.load import Problem, RawCards
from knowledge.models import Band, Cause, Change, Check, Complaint, Condition, Effect, Finding, Rule, Words
from knowledge.placement import placement_problems
from knowledge.scaffold import mark_problems
from knowledge.scenarios import scenario_problems
from knowledge.setups import setup_problems
from knowledge.texts import text_problems
from knowledge.watches import watch_problems
from knowledge.whole_set import whole_set_problems
from shared.errors import ReadingError
from shared.quantities import QUANTITIES, Kind
from shared.units import parse, parse_spread

CUSTOMER_HAZARDS = {"none", "slip"}
MOST_TOGETHER = 1.001  # words of one edge are exclusive, so their probabilities add up to at most one


class SetChecker:
    """Walks the whole set once. quantity_kinds: kind of each derived quantity bands may use."""

    def __init__(self, raw: RawCards, quantity_kinds: Mapping[str, Kind]) -> None:
        self.raw = raw
        cards: dict[str, dict[str, Any]] = dict(raw.cards)
        self.effects: dict[str, Effect] = cards["effects"]
        self.findings: dict[str, Finding] = cards["findings"]
        self.bands: dict[str, Band] = cards["bands"]
        self.causes: dict[str, Cause] = cards["causes"]
        self.checks: dict[str, Check] = cards["checks"]
        self.rules: dict[str, Rule] = cards["rules"]
        self.complaints: dict[str, Complaint] = cards["complaints"]
        self.contexts = cards["contexts"]
        self.sources = cards["sources"]
        self.instruments = cards["instruments"]
        self.changes: dict[str, Change] = cards["changes"]
        self.kinds = quantity_kinds
        self.problems: list[Problem] = []

    def add(self, kind: str, card_id: str, key: str, text: str) -> None:
        self.problems.append(self.raw.problem(kind, card_id, key, text))

    def run(self) -> list[Problem]:
        self._effects()
        self._findings()
        self._bands()
        self._causes()
        self._checks()
        self._rules()
        self._complaints()
        self._instruments()
        self._changes()
        self._whole()
        return self.problems

    # helpers -----------------------------------------------------------------------------------------------------

    def _words_of(self, card: Effect | Finding) -> tuple[str, ...]:
        return card.ordered or getattr(card, "words", ())

    def _check_words(
        self,
        kind: str,
        card_id: str,
        key: str,
        given: Iterable[str],
        target: Effect | Finding,
        *,
        neutral_ok: bool = False,
    ) -> None:
        allowed = self._words_of(target)
        for word in given:
            if word not in allowed:
                self.add(kind, card_id, key, f"'{word}' is not a word of '{target.id}'; allowed: {', '.join(allowed)}")
            elif word == target.neutral and not neutral_ok:
                self.add(
                    kind,
                    card_id,
                    key,
                    f"'{word}' is the healthy word of '{target.id}'; a cause brings unhealthy words only",
                )

    def _strengths(self, kind: str, card_id: str, key: str, gives: Mapping[str, str]) -> None:
        words: Words | None = self.raw.words
        if words is None:
            return
        total = sum(words.strength.get(s, 0.0) for s in gives.values())  # type: ignore[call-overload]
        if total > MOST_TOGETHER and len(gives) > 1:
            self.add(
                kind, card_id, key, f"strengths add up to {total:.2f}; words of one scale exclude each other, at most 1"
            )

    def _sources(self, kind: str, card_id: str, ids: Iterable[str]) -> None:
        for one in ids:
            if one not in self.sources:
                self.add(kind, card_id, "sources", f"no source '{one}'; add it to sources/ or use one that exists")

    def _refs(self, kind: str, card_id: str, key: str, ids: Iterable[str], where: Mapping[str, Any], what: str) -> None:
        for one in ids:
            if one not in where:
                self.add(kind, card_id, key, f"no {what} '{one}'; write that card or correct the id")

    def _facts(self, kind: str, card_id: str, key: str, when: Mapping[str, Iterable[str]]) -> None:
        for name, given in when.items():
            allowed = fact_words(name, self.complaints, self.contexts)
            if allowed is None:
                self.add(kind, card_id, key, f"no fact '{name}'; see knowledge/facts.py")
            elif allowed:
                for word in given:
                    if word not in allowed:
                        self.add(kind, card_id, key, f"fact '{name}' is never '{word}'; allowed: {', '.join(allowed)}")

    # one kind after the other --------------------------------------------------------------------------------------

    def _effects(self) -> None:
        for card in self.effects.values():
            if card.neutral not in card.ordered:
                self.add("effects", card.id, "neutral", f"'{card.neutral}' is not one of {', '.join(card.ordered)}")
            self._given("effects", card.id, card.parent, card.given, card)
            seen, at = {card.id}, card.parent
            while at and at in self.effects:
                if at in seen:
                    self.add("effects", card.id, "parent", f"cycle through '{at}'; effects form a tree")
                    break
                seen.add(at)
                at = self.effects[at].parent

    def _given(
        self,
        kind: str,
        card_id: str,
        parent: str | None,
        given: Mapping[str, Mapping[str, str]],
        target: Effect | Finding,
    ) -> None:
        if parent is None:
            if given:
                self.add(kind, card_id, "given", "given without an effect above it")
            return
        above = self.effects.get(parent)
        if above is None:
            self.add(kind, card_id, "effect", f"no effect '{parent}'")
            return
        self._check_words(kind, card_id, "given", given, above)
        for word, gives in given.items():
            self._check_words(kind, card_id, f"given.{word}", gives, target)
            self._strengths(kind, card_id, f"given.{word}", gives)

    def _findings(self) -> None:
        for card in self.findings.values():
            words = self._words_of(card)
            if bool(card.ordered) == bool(card.words):
                self.add("findings", card.id, "", "exactly one of 'ordered' and 'words' is needed")
            if len(words) < 2:
                self.add("findings", card.id, "", "a finding needs at least two words")
            if card.neutral not in words:
                self.add("findings", card.id, "neutral", f"'{card.neutral}' is not one of {', '.join(words)}")
            missing = [w for w in words if w not in card.texts]
            if missing:
                self.add("findings", card.id, "texts", f"no text for {', '.join(missing)}")
            self._check_words("findings", card.id, "texts", card.texts, card, neutral_ok=True)
            self._check_words("findings", card.id, "leak", card.leak, card)
            self._given("findings", card.id, card.effect, card.given, card)

    def _bands(self) -> None:
        for card in self.bands.values():
            finding = self.findings.get(card.finding)
            if finding is None:
                self.add("bands", card.id, "finding", f"no finding '{card.finding}'")
                continue
            if not finding.ordered:
                self.add(
                    "bands", card.id, "finding", f"'{card.finding}' has no scale; bands grade ordered findings only"
                )
            elif len(card.limits) != len(finding.ordered) - 1:
                self.add(
                    "bands", card.id, "limits", f"{len(finding.ordered) - 1} limits needed, {len(card.limits)} given"
                )
            self._sources("bands", card.id, card.source)
            self._facts("bands", card.id, "when", card.when)
            kind = self.kinds.get(card.quantity)
            if kind is None:
                self.add(
                    "bands",
                    card.id,
                    "quantity",
                    f"no derived quantity '{card.quantity}'; allowed: {', '.join(sorted(self.kinds))}",
                )
                continue
            try:
                values = [parse(limit, kind).value for limit in card.limits]
                if parse_spread(card.soft, kind) <= 0:
                    self.add("bands", card.id, "soft", "must be above 0: healthy machines differ")
                if values != sorted(values) or len(set(values)) != len(values):
                    self.add("bands", card.id, "limits", "limits must rise")
            except ReadingError as error:
                self.add("bands", card.id, "limits", str(error))

    def _causes(self) -> None:
        for card in self.causes.values():
            folder = self.raw.where.get(f"causes/{card.id}", "").split("/")
            if len(folder) == 3 and folder[1] != card.system:
                self.add(
                    "causes", card.id, "system", f"the card lies in folder '{folder[1]}'; move it to '{card.system}'"
                )
            for number, edge in enumerate(card.brings):
                key = f"brings.{number}"
                if bool(edge.effect) == bool(edge.finding):
                    self.add("causes", card.id, key, "each line brings exactly one of effect and finding")
                    continue
                target: Effect | Finding | None = (
                    self.effects.get(edge.effect) if edge.effect else self.findings.get(edge.finding or "")
                )
                if target is None:
                    self.add(
                        "causes",
                        card.id,
                        key,
                        f"no {'effect' if edge.effect else 'finding'} '{edge.effect or edge.finding}'",
                    )
                    continue
                if isinstance(target, Finding) and not target.weighed:
                    self.add(
                        "causes",
                        card.id,
                        key,
                        f"finding '{target.id}' is not weighed (weighed: false), so no cause may bring it",
                    )
                self._check_words("causes", card.id, key, edge.gives, target)
                self._strengths("causes", card.id, key, edge.gives)
                self._facts("causes", card.id, key + ".when", edge.when)
            self._facts("causes", card.id, "when", card.when)
            for name in card.when:
                if name not in MACHINE_FACTS or name in ASSUMED_FACTS:
                    told = ", ".join(n for n in MACHINE_FACTS if n not in ASSUMED_FACTS)
                    self.add("causes", card.id, "when", f"'{name}' does not rule a cause out; allowed: {told}")
            self._refs("causes", card.id, "complaints", card.complaints, self.complaints, "complaint")
            self._refs("causes", card.id, "prior_in", card.prior_in, self.contexts, "context")
            self._refs("causes", card.id, "confirm", card.confirm, self.checks, "check")
            self._refs("causes", card.id, "clear", card.clear, self.checks, "check")
            self._refs("causes", card.id, "inseparable", card.inseparable, self.causes, "cause")
            self._needs("causes", card.id, card.remedy.needs)
            self._sources("causes", card.id, card.sources)
            touched = {e.finding for e in card.brings if e.finding} | self._below(
                {e.effect for e in card.brings if e.effect}
            )
            for check_id in card.confirm:
                check = self.checks.get(check_id)
                if check and not touched & {check.finding, *check.tells}:
                    self.add(
                        "causes",
                        card.id,
                        "confirm",
                        f"check '{check_id}' shows nothing this cause brings, so it cannot confirm it",
                    )

    def _below(self, effects: set[str]) -> set[str]:
        """Findings that show these effects or effects below them."""
        grown = True
        reached = set(effects)
        while grown:
            more = {e.id for e in self.effects.values() if e.parent in reached} - reached
            reached |= more
            grown = bool(more)
        return {f.id for f in self.findings.values() if f.effect in reached}

    def _needs(self, kind: str, card_id: str, needs: Mapping[str, Iterable[str]]) -> None:
        for check_id, given in needs.items():
            check = self.checks.get(check_id)
            if check is None:
                self.add(kind, card_id, "needs", f"no check '{check_id}'")
            elif check.finding and check.finding in self.findings:
                self._check_words(kind, card_id, "needs", given, self.findings[check.finding], neutral_ok=True)

    def _checks(self) -> None:
        brought = {e.finding for c in self.causes.values() for e in c.brings if e.finding}
        brought |= self._below({e.effect for c in self.causes.values() for e in c.brings if e.effect})
        in_rules = {c.finding for r in self.rules.values() for c in (*r.when, *r.unless) if c.finding}
        asked_before = {name for c in self.checks.values() for name in c.needs}
        for card in self.checks.values():
            if bool(card.answers) == bool(card.reads):
                self.add("checks", card.id, "", "a check has either answers (with finding) or reads (with tells)")
            if card.answers and not card.finding:
                self.add("checks", card.id, "finding", "answers need a finding whose words they mean")
            self._refs("checks", card.id, "tells", card.tells, self.findings, "finding")
            for quantity in card.reads:
                if quantity not in QUANTITIES:
                    self.add("checks", card.id, "reads", f"no quantity '{quantity}' in the fixed list")
            if card.finding:
                finding = self.findings.get(card.finding)
                if finding is None:
                    self.add("checks", card.id, "finding", f"no finding '{card.finding}'")
                else:
                    self._check_words(
                        "checks",
                        card.id,
                        "answers",
                        (a.word or key for key, a in card.answers.items()),
                        finding,
                        neutral_ok=True,
                    )
            if "cannot-tell" in card.answers:
                self.add("checks", card.id, "answers", "'cannot-tell' is always allowed; do not list it")
            self._needs("checks", card.id, card.needs)
            self._facts("checks", card.id, "when", card.when)
            self._sources("checks", card.id, card.sources)
            self._refs("checks", card.id, "families", card.families, self.complaints, "complaint")
            if card.who == "customer":
                if not card.telephone:
                    self.add("checks", card.id, "telephone", "a check for customers needs a telephone text")
                risky = set(card.hazards) - CUSTOMER_HAZARDS
                if risky or card.needs_qualified:
                    self.add(
                        "checks",
                        card.id,
                        "who",
                        f"never for a customer: {', '.join((*sorted(risky), *card.needs_qualified))}",
                    )
            if {"live-electrical", "stored-electrical"} & set(
                card.hazards
            ) and "electrical" not in card.needs_qualified:
                self.add("checks", card.id, "needs_qualified", "electrical hazard without the electrical qualification")
            if "refrigerant" in card.hazards and "refrigerant" not in card.needs_qualified:
                self.add(
                    "checks", card.id, "needs_qualified", "refrigerant hazard without the refrigerant qualification"
                )
            if "height" in card.hazards and "height" not in card.needs_qualified:
                self.add("checks", card.id, "needs_qualified", "height hazard without the height qualification")
            shown = {card.finding, *card.tells} - {None}
            if not card.safety and card.id not in asked_before and not shown & (brought | in_rules):
                self.add(
                    "checks",
                    card.id,
                    "",
                    "no cause and no rule needs what this check shows; add the edge or drop the check",
                )

    def _rules(self) -> None:
        order = {kind: number for number, kind in enumerate(STRATA)}
        for card in self.rules.values():
            folder = self.raw.where.get(f"rules/{card.id}", "").split("/")
            if len(folder) == 3 and folder[1] != card.kind:
                self.add("rules", card.id, "kind", f"the card lies in folder '{folder[1]}'; move it to '{card.kind}'")
            for name, conditions in (("when", card.when), ("unless", card.unless)):
                for number, condition in enumerate(conditions):
                    self._condition(card, f"{name}.{number}", condition, name == "unless", order)
            self._sources("rules", card.id, card.source)
            self._then(card)
            for name, specimens in (("fires_on", card.fires_on), ("quiet_on", card.quiet_on)):
                for specimen in specimens:
                    for key, word in specimen.findings.items():
                        finding = self.findings.get(key.split("@")[0].strip())
                        if finding is None:
                            self.add("rules", card.id, name, f"no finding '{key}'")
                        else:
                            self._check_words("rules", card.id, name, [word.split()[0]], finding, neutral_ok=True)
                    self._facts("rules", card.id, name, {k: v.split() for k, v in specimen.facts.items()})

    def _condition(self, card: Rule, key: str, condition: Condition, negative: bool, order: Mapping[str, int]) -> None:
        if bool(condition.finding) == bool(condition.fact):
            self.add("rules", card.id, key, "a condition names exactly one of finding and fact")
        elif condition.finding:
            finding = self.findings.get(condition.finding)
            if finding is None:
                self.add("rules", card.id, key, f"no finding '{condition.finding}'")
            else:
                self._check_words("rules", card.id, key, condition.words, finding, neutral_ok=True)
        elif condition.fact:
            allowed = fact_words(condition.fact, self.complaints, self.contexts)
            if allowed is None:
                self.add("rules", card.id, key, f"no fact '{condition.fact}'")
            elif allowed:
                for word in condition.words:
                    if word not in allowed:
                        self.add(
                            "rules",
                            card.id,
                            key,
                            f"fact '{condition.fact}' is never '{word}'; allowed: {', '.join(allowed)}",
                        )
            elif negative:
                for word in condition.words:
                    other = self.rules.get(word)
                    if other is not None and order[other.kind] >= order[card.kind]:
                        self.add(
                            "rules",
                            card.id,
                            key,
                            f"'unless' may name only facts of a lower stratum; '{word}' is a {other.kind} rule",
                        )
            if condition.fact in RULE_FACTS:
                self._refs("rules", card.id, key, condition.words, self.rules, "rule")

    def _then(self, card: Rule) -> None:
        then, kind = card.then, card.kind
        if kind == "conclusive":
            if not then.cause:
                self.add("rules", card.id, "then", "a conclusive rule names a cause")
            else:
                self._refs("rules", card.id, "then.cause", [then.cause], self.causes, "cause")
        elif then.cause:
            self.add("rules", card.id, "then.cause", "only a conclusive rule names a cause")
        if kind == "derived-finding":
            inputs = {c.finding for c in card.when if c.finding}
            if len(inputs) < 2:
                self.add("rules", card.id, "when", "a derived finding needs at least two different findings")
            if not then.finding or not then.word:
                self.add("rules", card.id, "then", "a derived-finding rule gives finding and word")
            elif then.finding not in self.findings:
                self.add("rules", card.id, "then.finding", f"no finding '{then.finding}'")
            else:
                self._check_words(
                    "rules", card.id, "then.word", [then.word], self.findings[then.finding], neutral_ok=True
                )
            for one in then.findings:
                if one not in inputs:
                    self.add(
                        "rules",
                        card.id,
                        "then.findings",
                        f"'{one}' is not among the rule's inputs, so it cannot be replaced",
                    )
        if kind == "not-judged":
            if not then.findings or not then.reason or not then.release:
                self.add(
                    "rules",
                    card.id,
                    "then",
                    "a not-judged rule gives findings, reason and release (what would make them judgeable)",
                )
            self._refs("rules", card.id, "then.findings", then.findings, self.findings, "finding")
        if kind == "stop" and not (then.reason and then.make_safe and then.hand_over_to and then.protects):
            self.add("rules", card.id, "then", "a stop gives protects, reason, make_safe and hand_over_to")
        if kind == "hold-point" and not (then.hold and then.release):
            self.add(
                "rules", card.id, "then", "a hold point gives hold (what must not go on) and release (what lifts it)"
            )
        if kind == "state" and not then.state:
            self.add("rules", card.id, "then", "a state rule gives state")
        if kind == "contradiction":
            if not then.reason or not then.settle:
                self.add("rules", card.id, "then", "a contradiction gives reason and settle (checks that settle it)")
            self._refs("rules", card.id, "then.settle", then.settle, self.checks, "check")
        if kind == "gate" and not (then.forbid_hazards or then.forbid_states or then.forbid_remedies or then.ask_first):
            self.add(
                "rules", card.id, "then", "a gate forbids hazards, states or remedies, or names a check to ask first"
            )
        if then.ask_first:
            self._refs("rules", card.id, "then.ask_first", [then.ask_first], self.checks, "check")

    def _noticed(self, card: Complaint) -> None:
        """A cause that is called about so brings something of what such callers notice."""
        above = {f.effect for name in card.noticed if (f := self.findings.get(name)) and f.effect}
        while higher := {e.parent for name in above if (e := self.effects.get(name)) and e.parent} - above:
            above |= higher
        for cause in self.causes.values():
            brings = any(edge.finding in card.noticed or edge.effect in above for edge in cause.brings)
            if card.noticed and card.id in cause.complaints and not brings:
                self.add(
                    "causes",
                    cause.id,
                    "complaints",
                    f"'{card.id}' is called about by who noticed {', '.join(card.noticed)}; bring one of them or drop the complaint",
                )

    def _complaints(self) -> None:
        for card in self.complaints.values():
            self._refs("complaints", card.id, "first", card.first, self.checks, "check")
            self._sources("complaints", card.id, card.sources)
            if card.about and card.about not in self.effects:
                self.add("complaints", card.id, "about", f"no effect '{card.about}'")
            if card.effect and card.effect not in self.effects:
                self.add("complaints", card.id, "effect", f"no effect '{card.effect}'")
            elif card.effect:
                self._check_words("complaints", card.id, "given", card.given, self.effects[card.effect])
            self._refs("complaints", card.id, "noticed", card.noticed, self.findings, "finding")
            self._noticed(card)
            if self.causes and not any(card.id in c.complaints for c in self.causes.values()):
                self.add("complaints", card.id, "", "no cause is a suspect for this complaint")

    def _instruments(self) -> None:
        for card in self.instruments.values():
            self._refs("instruments", card.id, "shows", [f for f, _ in card.given_away()], self.findings, "finding")
            for finding, word in card.given_away():
                if finding in self.findings:
                    self._check_words("instruments", card.id, "shows", [word], self.findings[finding])
            self._sources("instruments", card.id, card.source)

    def _changes(self) -> None:
        for card in self.changes.values():
            self._refs("changes", card.id, "cause", [card.cause], self.causes, "cause")
            context = card.key.removeprefix("prior_in.")
            if context != card.key:
                self._refs("changes", card.id, "key", [context], self.contexts, "context")
            if card.was == card.now:
                self.add("changes", card.id, "now", f"'{card.now}' is what it was; drop the row or correct it")
            if card.confirmed > card.calls:
                self.add(
                    "changes", card.id, "confirmed", f"{card.confirmed} confirmed of {card.calls} calls; correct it"
                )

    def _whole(self) -> None:
        observable = {c.finding for c in self.checks.values()} | {f for c in self.checks.values() for f in c.tells}
        observable |= {b.finding for b in self.bands.values()} | {r.then.finding for r in self.rules.values()}
        for finding in self.findings.values():
            if self.checks and finding.id not in observable:
                self.add("findings", finding.id, "", "no check, band or rule can ever show this finding")


def find_problems(raw: RawCards, quantity_kinds: Mapping[str, Kind]) -> list[Problem]:
    """All problems of shape and of the whole set, in file order.

    What needs every reference to hold (which looks tell causes apart, what an answer leads to) is looked at only when all do.
    """
    problems = [*raw.problems, *SetChecker(raw, quantity_kinds).run(), *text_problems(raw), *mark_problems(raw)]
    problems += scenario_problems(raw)
    problems += setup_problems(raw)
    problems += placement_problems(raw)
    problems += watch_problems(raw)
    if not problems:
        problems = whole_set_problems(raw)
    return sorted(set(problems), key=lambda p: (p.file, p.line, p.key, p.text))
