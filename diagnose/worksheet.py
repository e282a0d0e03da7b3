"""A blank paper worksheet for one kind of call, for a dead battery: what to look at in order, boxes to tick, lines to write on.

It offers only what the person named may do, as the screens do. Filled in by hand it can be typed in later, entry by entry: the
check ids stand in small print beside the checks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from diagnose.case import Machine
from diagnose.phrases import ROLES, caution_line, hazard_words, minutes, needed_state, quantity_title, signal
from diagnose.plan import may_do
from knowledge.load import Knowledge
from knowledge.models import Check
from shared.errors import ChillerError
from shared.quantities import QUANTITIES

MOST_CHECKS = 26
MOST_CIRCUITS = 6
READINGS = {
    "unit": (
        "entering_fluid", "leaving_fluid", "evaporator_in", "evaporator_out", "strainer_in", "strainer_out", "pump_suction",
        "pump_discharge", "flow", "entering_air", "weather_air", "glycol_percent",
    ),
    "circuit": (
        "suction_pressure", "suction_line", "liquid_pressure", "liquid_line", "discharge_pressure", "discharge_line",
        "drier_in", "drier_out", "leaving_air", "sump",
    ),
    "supply": ("line_voltage", "frequency", "control_voltage", "line_current"),
}  # fmt: skip

STYLE = """
@page { size: A4; margin: 12mm }
* { box-sizing: border-box }
body { font: 13px/1.35 "DejaVu Sans", "Segoe UI", Helvetica, Arial, sans-serif; color: #111; background: #fff;
  max-width: 52rem; margin: 0 auto; padding: 1rem }
h1 { font-size: 1.3rem; margin: 0 } h2 { font-size: 1.05rem; margin: 1.1rem 0 .3rem; border-bottom: 2px solid #111 }
.row { display: flex; gap: 1rem; margin: .6rem 0 } .row span { flex: 1; border-bottom: 1px solid #111; padding-top: 1rem }
li { break-inside: avoid; margin: 0 0 .7rem } ol { padding-left: 1.6rem } p { margin: .2rem 0 }
.tick::before { content: "\\25A1\\00a0" } .tick { display: inline-block; margin: .1rem 1.1rem .1rem 0 }
.small { color: #444; font-size: .82rem } .stop { border: 3px solid #111; padding: .3rem .7rem }
table { width: 100%; border-collapse: collapse } th, td { border: 1px solid #111; padding: .35rem .3rem; text-align: left }
td.empty { min-width: 5rem; height: 1.9rem } .lines { border-bottom: 1px solid #111; height: 1.8rem }
"""


def worksheet(
    knowledge: Knowledge,
    complaint: str,
    *,
    role: str = "technician",
    qualified: Sequence[str] = (),
    machine: Machine | None = None,
    circuits: int = 2,
) -> str:
    """The worksheet as an HTML page to print. circuits: columns for circuit readings, 1 to 6.

    Raises ChillerError for an unknown complaint, role or number of circuits.
    """
    card = knowledge.complaints.get(complaint)
    if card is None:
        allowed = ", ".join(sorted(knowledge.complaints))
        raise ChillerError("unknown complaint", given=complaint, allowed=allowed, do="choose one of these")
    if role not in ("customer", "technician"):
        raise ChillerError("unknown role", given=role, allowed="customer, technician", do="who is at the machine?")
    if not 1 <= circuits <= MOST_CIRCUITS:
        raise ChillerError("number of circuits", given=circuits, allowed=f"1 to {MOST_CIRCUITS}", do="correct it")
    title = f"Worksheet: {card.title}"
    parts = [
        _head(title, card.cautions, role, qualified, machine),
        _stops(knowledge),
        _checks(checks_for(knowledge, complaint, role, qualified), role),
        _readings(circuits) if role == "technician" else "",
        "<h2>What was done, and what proved it</h2>" + "<div class='lines'></div>" * 5,
        "<p class='small'>Local codes, the permit of the site, the maker's manual and licensed practice outrank this page. "
        f"Knowledge {escape(knowledge.digest)}.</p>",
    ]
    return (
        "<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'>"
        "<meta http-equiv='Content-Security-Policy' content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body><main>{''.join(parts)}</main></body></html>\n"
    )


def checks_for(knowledge: Knowledge, complaint: str, role: str, qualified: Sequence[str]) -> list[Check]:
    """Checks of a kind of call that this person may do: its first looks in order, the safety questions that
    some of them need, then the others by minutes."""
    first = knowledge.complaints[complaint].first
    cards = knowledge.checks
    own = [c for c in cards.values() if complaint in c.families or c.id in first]
    may = [c for c in own if may_do(c.who, c.needs_qualified, role, qualified)]
    asked_before = {needed for c in may for needed in c.needs}
    asked = [cards[n] for n in sorted(asked_before) if may_do(cards[n].who, cards[n].needs_qualified, role, qualified)]

    def order(check: Check) -> tuple[int, float, str]:
        place = first.index(check.id) if check.id in first else len(first) + (0 if check.id in asked_before else 1)
        return place, check.minutes + check.wait_minutes, check.id

    return sorted({c.id: c for c in (*may, *asked)}.values(), key=order)[:MOST_CHECKS]


def _blank(*labels: str) -> str:
    return f"<div class='row'>{''.join(f'<span>{escape(one)}</span>' for one in labels)}</div>"


def _head(title: str, cautions: Iterable[str], role: str, qualified: Sequence[str], machine: Machine | None) -> str:
    who = ROLES.get(role, role) + (f", qualified: {', '.join(qualified)}" if qualified else "")
    known = [
        (k, getattr(machine, k)) for k in ("name", "serial", "refrigerant", "design_flow", "design_drop") if machine
    ]
    told = " &middot; ".join(f"{escape(k.replace('_', ' '))} {escape(str(v))}" for k, v in known if v)
    return (
        f"<h1>{escape(title)}</h1><p>For: {escape(who)}</p>{f'<p>{told}</p>' if told else ''}"
        + _blank("Date and time", "Name", "Machine", "Site")
        + _blank("What the caller says", "What was done last")
        + "".join(f"<p><b>{escape(c)}</b></p>" for c in cautions)
    )


def _stops(knowledge: Knowledge) -> str:
    rules = [r.then for r in knowledge.rules.values() if r.kind == "stop" and r.then.protects == "people"]
    rows = list(dict.fromkeys(then.reason for then in rules))
    said = "".join(f"<li>{escape(row)}</li>" for row in rows)
    return f"<section class='stop'><h2>Stop and hand over when</h2><ul>{said}</ul></section>" if rows else ""


def _checks(checks: Sequence[Check], role: str) -> str:
    rows = []
    for check in checks:
        ask = check.telephone if role == "customer" and check.telephone else check.technician
        word, what = signal(check.hazards), hazard_words(check.hazards)
        cautions = check.cautions or ((what,) if what else ())
        warned = "".join(f"<p><b>{escape(caution_line(word, c))}</b></p>" for c in cautions)
        state = needed_state(check.state)
        ticks = [a.text.rstrip(".") for a in check.answers.values()] + ["cannot tell"]
        boxes = "".join(f"<span class='tick'>{escape(a)}</span>" for a in ticks) if check.answers else ""
        reads = "; ".join(quantity_title(q) for q in check.reads)
        rows.append(
            f"<li><p><b>{escape(check.title)}</b> <span class='small'>{escape(minutes(check.minutes + check.wait_minutes))}"
            f"{f'; {escape(state)}' if state else ''}; {escape(check.id)}</span></p>{warned}<p>{escape(ask)}</p>"
            + (f"<p>{boxes}</p>" if boxes else f"<p class='small'>Write below: {escape(reads)}</p>")
            + "</li>"
        )
    return f"<h2>Checks, in this order</h2><ol>{''.join(rows)}</ol>"


def _readings(circuits: int) -> str:
    names = [f"circuit {'ABCDEF'[n]}" for n in range(circuits)]
    groups = [("Fluid, pump and air", READINGS["unit"], ["reading"]), ("Refrigerant", READINGS["circuit"], names)]
    groups.append(("Supply and motors", READINGS["supply"], ["L1", "L2", "L3"]))
    out = ["<h2>Readings, with their unit; gauge pressure unless written otherwise</h2>"]
    for title, quantities, columns in groups:
        head = "".join(f"<th>{escape(c)}</th>" for c in (title, *columns, "running or at rest, time"))
        empty = "<td class='empty'></td>" * (len(columns) + 1)
        rows = "".join(f"<tr><th>{escape(QUANTITIES[q].title)}</th>{empty}</tr>" for q in quantities)
        out.append(f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table><p></p>")
    return "".join(out)
