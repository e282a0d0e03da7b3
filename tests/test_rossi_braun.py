"""Sign-only cases from the published table of fault signatures: the right cause first, five of five.

Source: see `rossi_braun.yaml`, which holds the table.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from diagnose.advice import Advice
from diagnose.advise import advise
from diagnose.case_check import checked, parse_case
from knowledge.load import Knowledge, load_knowledge
from knowledge.models import Cause, Check
from knowledge.yaml_text import read_yaml

TABLE: dict[str, Any] = read_yaml((Path(__file__).parent / "rossi_braun.yaml").read_text(encoding="utf-8"))[0]
FINDINGS: list[str] = list(TABLE["columns"].values())
ROWS: list[dict[str, Any]] = TABLE["rows"]
LEAK, RESTRICTION = ROWS[0], ROWS[2]
COMPLAINTS = ("warm-supply", "is-this-normal")  # neither points to one of the five faults
TIE = 2.0  # within a factor of two nobody would call one of two suspects


@pytest.fixture(scope="module")
def base() -> Knowledge:
    """The shipped cards."""
    return load_knowledge()


def advice_for(
    row: dict[str, Any],
    base: Knowledge,
    complaint: str,
    columns: list[str] = FINDINGS,
    machine: dict[str, str] | None = None,
) -> Advice:
    """What is advised when only these columns of a row were told."""
    entries = [
        {
            "finding": finding,
            "word": "high" if sign == "+" else "low",
            "place": "circuit:A" if base.findings[finding].place == "circuit" else "unit",
        }
        for finding, sign in zip(FINDINGS, row["signs"], strict=True)
        if finding in columns
    ]
    data = {"complaint": complaint, "qualified": ["electrical", "refrigerant", "height"], "entries": entries}
    return advise(checked(parse_case({**data, "machine": machine or {}}), base), base)


def chance(advice: Advice, right: list[str]) -> float:
    """Probability of the likeliest of these causes."""
    return max((s.probability for s in advice.suspects if s.cause in right), default=0.0)


def tells(check: Check) -> set[str]:
    """Findings a check brings to light."""
    return {check.finding} if check.finding else set(check.tells)


def shown(cause: Cause, finding: str, base: Knowledge) -> dict[str, str]:
    """Words of a finding that a cause brings about, itself or through the hidden state."""
    direct = next((e.gives for e in cause.brings if e.finding == finding), {})
    effect = base.findings[finding].effect
    return {**direct, **next((e.gives for e in cause.brings if effect and e.effect == effect), {})}


def test_the_table_is_whole(base: Knowledge) -> None:
    """Five faults with seven signs each; every column and every plainest cause has its card; leak and restriction differ in one."""
    assert len(ROWS) == 5 and all(len(r["signs"]) == len(FINDINGS) == 7 for r in ROWS)
    assert len({tuple(r["signs"]) for r in ROWS}) == 5
    assert set(FINDINGS) <= set(base.findings) and {r["right"][0] for r in ROWS} <= set(base.causes)
    differ = [f for f, a, b in zip(FINDINGS, LEAK["signs"], RESTRICTION["signs"], strict=True) if a != b]
    assert differ == ["subcooling"]


@pytest.mark.parametrize("complaint", COMPLAINTS)
@pytest.mark.parametrize("row", ROWS, ids=lambda r: r["fault"])
def test_right_cause_first(row: dict[str, Any], complaint: str, base: Knowledge) -> None:
    """All seven signs: the right cause leads."""
    advice = advice_for(row, base, complaint)
    assert advice.suspects[0].cause in row["right"], [(s.cause, round(s.probability, 3)) for s in advice.suspects[:5]]


@pytest.mark.parametrize("expansion", ["orifice", "thermostatic"])
@pytest.mark.parametrize("row", ROWS, ids=lambda r: r["fault"])
def test_right_cause_first_on_either_expansion_device(row: dict[str, Any], expansion: str, base: Knowledge) -> None:
    """The table is for orifices; with a valve its superheat column weakens, but the five stay apart."""
    advice = advice_for(row, base, COMPLAINTS[0], machine={"expansion": expansion, "refrigerant": "R-22"})
    assert advice.suspects[0].cause in row["right"], [(s.cause, round(s.probability, 3)) for s in advice.suspects[:5]]


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r["fault"])
def test_three_columns_keep_the_right_cause_near(row: dict[str, Any], base: Knowledge) -> None:
    """Evaporating temperature, subcooling and discharge temperature part all five in the source: the right one is in the first three."""
    columns = ["suction", "subcooling", "discharge-temperature"]
    advice = advice_for(row, base, COMPLAINTS[0], columns)
    assert {s.cause for s in advice.suspects[:3]} & set(row["right"])


@pytest.mark.parametrize("complaint", COMPLAINTS)
@pytest.mark.parametrize("row", [LEAK, RESTRICTION], ids=lambda r: r["fault"])
def test_without_subcooling_leak_and_restriction_tie(row: dict[str, Any], complaint: str, base: Knowledge) -> None:
    """Six signs cannot part the two: neither leads by a factor of two, no verdict, and the next looks part them."""
    advice = advice_for(row, base, complaint, [f for f in FINDINGS if f != "subcooling"])
    leak, restriction = chance(advice, LEAK["right"]), chance(advice, RESTRICTION["right"])
    assert leak > 0 and 1 / TIE <= leak / restriction <= TIE
    assert {s.cause for s in advice.suspects[:2]} <= {*LEAK["right"], *RESTRICTION["right"]}
    assert advice.verdict is None
    one, other = (base.causes[r["right"][0]] for r in (LEAK, RESTRICTION))
    parting = [
        s.id
        for s in advice.next
        if s.kind == "observe" and any(shown(one, f, base) != shown(other, f, base) for f in tells(base.checks[s.id]))
    ]
    assert parting


def test_without_subcooling_the_tool_asks_for_it(base: Knowledge) -> None:
    """Subcooling itself is among the next looks."""
    advice = advice_for(LEAK, base, COMPLAINTS[0], [f for f in FINDINGS if f != "subcooling"], {"refrigerant": "R-22"})
    assert [s.id for s in advice.next if s.kind == "observe" and "subcooling" in tells(base.checks[s.id])]


@pytest.mark.parametrize("row", [LEAK, RESTRICTION], ids=lambda r: r["fault"])
def test_subcooling_breaks_the_tie(row: dict[str, Any], base: Knowledge) -> None:
    """With the one column that differs, the right one of the two leads the other by more than a factor of two."""
    advice = advice_for(row, base, COMPLAINTS[0])
    wrong = RESTRICTION if row is LEAK else LEAK
    assert chance(advice, row["right"]) > TIE * chance(advice, wrong["right"])
