"""A call as one printable HTML page that asks nothing of any network: plain markup, style inside, no script.

Every text that came from a person or a card is escaped; only the markup written here is markup.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import datetime, tzinfo
from html import escape

from diagnose.advice import Advice, Reason, Suspect, Verdict
from diagnose.case import Case, Entry, Machine
from diagnose.phrases import (
    QUALIFICATIONS,
    ROLES,
    SignalWord,
    at_place,
    caution_line,
    complaint_title,
    entry_line,
    hazard_words,
    likely,
    minutes,
    quantity_title,
    remedy_hazards,
    signal,
    suspect_title,
    unchecked,
    verdict_heading,
    who_may,
)
from diagnose.pictures import pictures_of
from diagnose.pictures.course import course
from diagnose.text import CHAIN_ENDS, left_lines, turn_lines
from knowledge.load import Knowledge
from shared.errors import ChillerError

MOST_SUSPECTS = 5
SHOWN_UNITS = {"delta_degF": "°F", "delta_degC": "K", "degF": "°F", "degC": "°C", "1": ""}

_LABELS = {
    "name": "Machine",
    "serial": "Serial number",
    "refrigerant": "Refrigerant",
    "capacity": "Capacity",
    "voltage": "Voltage",
    "frequency": "Frequency",
    "fluid": "Fluid",
    "glycol_percent": "Glycol",
    "altitude": "Altitude",
    "tank_at": "Expansion tank at",
    "expansion": "Expansion valve",
    "coil": "Condenser coil",
    "supply": "Supply",
    "pump_in_use": "Pump in use",
    "circuits": "Circuits",
    "compressors": "Compressors",
    "design_flow": "Design flow",
    "design_drop": "Evaporator drop at design flow",
    "pump_shutoff_rise": "Pump rise at no flow",
    "pump_design_rise": "Pump rise at design flow",
    "pump_plate_current": "Pump plate current",
    "compressor_plate_current": "Compressor plate current",
    "fan_plate_current": "Fan plate current",
    "low_pressure_cutout": "Low-pressure cut-out",
    "high_pressure_cutout": "High-pressure cut-out",
    "set_point": "Set point",
    "design_entering": "Design entering fluid",
}

STYLE = """
@page { size: A4; margin: 14mm }
* { box-sizing: border-box }
body { font: 15px/1.45 "DejaVu Sans", "Segoe UI", Helvetica, Arial, sans-serif; color: #111; background: #fff;
  max-width: 60rem; margin: 0 auto; padding: 1rem; overflow-wrap: break-word }
h1 { font-size: 1.5rem; margin: 0 0 .2rem }
h2 { font-size: 1.15rem; margin: 1.5rem 0 .4rem; border-bottom: 2px solid #111; break-after: avoid }
p { margin: .3rem 0 } ul { margin: .3rem 0; padding-left: 1.2rem }
table { width: 100%; border-collapse: collapse; font-size: .93rem }
th, td { text-align: left; vertical-align: top; padding: .25rem .5rem .25rem 0;
  border-bottom: 1px solid #999 }
tr { break-inside: avoid }
th { font-weight: 700; white-space: nowrap }
.when { white-space: nowrap }
.quiet { color: #444 }
.undone { text-decoration: line-through }
.box { border: 2px solid #111; padding: .5rem .8rem; margin: .6rem 0; break-inside: avoid }
.stop { border-color: #a40000; border-width: 4px } .mark { font-weight: 700; letter-spacing: .04em }
.pictures { display: grid; grid-template-columns: repeat(auto-fit, minmax(17rem, 1fr)); gap: .8rem }
figure { margin: 0; break-inside: avoid }
.invented { border: 2px dashed #111; padding: .2rem .6rem; display: inline-block; font-weight: 700 }
@media print { body { font-size: 10.5pt; padding: 0; max-width: none } a { color: inherit } }
"""


def html_report(
    case: Case,
    advice: Advice | Sequence[Advice],
    knowledge: Knowledge,
    *,
    made_at: str = "",
    outcome: str = "",
    outcome_note: str = "",
    undone: Sequence[tuple[Entry, str]] = (),
    people: Sequence[str] = (),
    invented: bool = False,
    zone: tzinfo | None = None,
) -> str:
    """The report of a call as an HTML document.

    advice: the last advice, or the advice after every entry (the last one last); with all of them the course
    of the call and every caution that stood on a screen are shown. undone: entries taken back, with when. people: who was
    at the machine at each entry (a role), where the desk knows it; shown when it changed.
    made_at, outcome, outcome_note: as the desk knows them. zone: of the times shown (this machine's).
    """
    steps = (advice,) if isinstance(advice, Advice) else tuple(advice)
    if not steps:
        raise ValueError("a report needs at least one advice")
    last = steps[-1]
    parts = [
        _head(case, knowledge, made_at, invented, zone),
        _stop(last),
        _outcome(outcome, outcome_note),
        _verdict(last.verdict, knowledge),
        _suspects(last, knowledge),
        _machine(case.machine),
        _entries(case, steps, knowledge, zone, people),
        _undone(undone, knowledge, zone),
        _derived(last),
        _pictures(case, steps, knowledge),
        _left(last),
        _doubts(last),
        _cautions(case, steps, knowledge),
        "<p class='quiet'>Local codes, the permit of the site, the maker's manual and licensed practice "
        f"outrank this page. Knowledge {_t(last.knowledge)}.</p>",
    ]
    return document(f"Call: {complaint_title(case, knowledge)}", "".join(parts))


def document(title: str, body: str, *, images: bool = False) -> str:
    """A page that loads nothing, not even by accident. body: markup; images: whether pictures stand in it."""
    policy = "default-src 'none'; style-src 'unsafe-inline'" + ("; img-src data:" if images else "")
    return (
        "<!DOCTYPE html>\n<html lang='en'><head><meta charset='utf-8'>"
        "<meta name='viewport' content='width=device-width, initial-scale=1'>"
        f"<meta http-equiv='Content-Security-Policy' content=\"{policy}\">"
        f"<title>{_t(title)}</title><style>{STYLE}</style></head>"
        f"<body><main>{body}</main></body></html>\n"
    )


def _t(text: object) -> str:
    return escape(str(text), quote=True)


def clock(at: str, zone: tzinfo | None) -> str:
    """A stored moment as read on a watch; what is no moment stays as it was written."""
    try:
        moment = datetime.fromisoformat(at.replace("Z", "+00:00"))
    except ValueError:
        return at
    local = moment.astimezone(zone) if moment.tzinfo else moment
    return local.strftime("%Y-%m-%d %H:%M")


def _list(items: Iterable[str]) -> str:
    rows = "".join(f"<li>{_t(item)}</li>" for item in items)
    return f"<ul>{rows}</ul>" if rows else ""


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table of cells that are already escaped."""
    body = "".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows)
    top = "".join(f"<th scope='col'>{_t(cell)}</th>" for cell in head)
    return f"<table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>" if body else ""


def _head(case: Case, knowledge: Knowledge, made_at: str, invented: bool, zone: tzinfo | None) -> str:
    words = f"<p>&ldquo;{_t(case.words)}&rdquo;</p>" if case.words else ""
    qualified = [QUALIFICATIONS[q] for q in case.qualified]
    person = ROLES.get(case.role, case.role)
    who = f"At the machine: {person}" + (f", qualified for {', '.join(qualified)}" if qualified else "")
    known = (knowledge.contexts.get(c) for c in case.context)
    context = _list(c.title for c in known if c is not None)
    line = " &middot; ".join(_t(p) for p in (case.machine.name, clock(case.now, zone), case.id) if p)
    return (
        ("<p class='invented'>Invented for demonstration</p>" if invented else "")
        + f"<h1>{_t(complaint_title(case, knowledge))}</h1><p>{line}</p>{words}<p>{_t(who)}</p>{context}"
        + (f"<p class='quiet'>Printed {_t(clock(made_at, zone))}</p>" if made_at else "")
    )


def _stop(advice: Advice) -> str:
    stop = advice.stop
    if stop is None:
        return ""
    over = f"<p>Hand over to {_t(ROLES.get(stop.hand_over_to, stop.hand_over_to))}.</p>" if stop.hand_over_to else ""
    return (
        f"<section class='box stop'><h2>Stop</h2><p>{_t(stop.reason)}</p>"
        f"<p><b>Make safe:</b> {_t(stop.make_safe)}</p>{over}</section>"
    )


def _outcome(outcome: str, note: str) -> str:
    if not outcome:
        return ""
    return f"<h2>Outcome</h2><p><b>{_t(outcome)}</b></p>" + (f"<p>{_t(note)}</p>" if note else "")


def _verdict(verdict: Verdict | None, knowledge: Knowledge) -> str:
    if verdict is None:
        return "<h2>Verdict</h2><p>None yet.</p>"
    rows = [
        ("What to do", verdict.remedy),
        ("Who", who_may(verdict.who)),
        ("Time", minutes(verdict.minutes) if verdict.minutes else ""),
        ("Parts", ", ".join(verdict.parts)),
        ("Proof that it is cured", verdict.proof),
        ("What would tell more", verdict.would_tell),
    ]
    body = "".join(f"<tr><th scope='row'>{_t(k)}</th><td>{_t(v)}</td></tr>" for k, v in rows if v)
    word = signal(remedy_hazards(verdict, knowledge))
    cautions = "".join(f"<p class='box'>{_t(caution_line(word, c))}</p>" for c in verdict.cautions)
    return (
        f"<h2>Verdict</h2><p>{_t(verdict_heading(verdict))}: <b>{_t(verdict.title)}</b></p>"
        f"{cautions}<table><tbody>{body}</tbody></table>"
    )


def _reasons(title: str, reasons: Sequence[Reason]) -> str:
    if not reasons:
        return ""
    return f"<p><b>{_t(title)}:</b> {_t('; '.join(r.text for r in reasons))}</p>"


def _suspect(suspect: Suspect, knowledge: Knowledge) -> str:
    rest = unchecked(suspect, knowledge)
    not_checked = f"<p><b>Not checked:</b> {_t('; '.join(rest))}</p>" if rest else ""
    chain = " → ".join(suspect.chain) if len(suspect.chain) > CHAIN_ENDS else ""
    how = f"<p><b>How it comes about:</b> {_t(chain)}</p>" if chain else ""
    return (
        f"<li><p><b>{_t(suspect_title(suspect))}</b> ({_t(likely(suspect.probability).text)})</p>"
        f"{_reasons('Fits', suspect.for_)}{_reasons('Does not fit', suspect.against)}{how}{not_checked}</li>"
    )


def _suspects(advice: Advice, knowledge: Knowledge) -> str:
    shown = [_suspect(s, knowledge) for s in advice.suspects[:MOST_SUSPECTS]]
    turns = turn_lines(advice)
    more = f"<h2>What would change this</h2>{_list(turns)}" if turns else ""
    return f"<h2>Suspects</h2><ol>{''.join(shown)}</ol>{more}" if shown else ""


def machine_rows(machine: Machine) -> list[tuple[str, str]]:
    """What a machine card says, as (what, value) in words; plain text."""
    rows = []
    for key, label in _LABELS.items():
        value = getattr(machine, key)
        if isinstance(value, dict):
            value = ", ".join(
                f"{name} ({', '.join(parts.compressors)})" if parts.compressors else name
                for name, parts in value.items()
            )
        if value not in (None, "", "unknown"):
            rows.append((label, str(value).replace("-", " ") if key in ("fluid", "tank_at") else str(value)))
    return rows + [(f"Card: {quantity_title(k)}", str(v)) for k, v in machine.card.items()]


def _machine(machine: Machine) -> str:
    rows = [(_t(k), _t(v)) for k, v in machine_rows(machine)]
    return "<h2>Machine</h2>" + (table(("", ""), rows) or "<p>No nameplate data given.</p>")


def _lead(advice: Advice) -> str:
    if not advice.suspects:
        return ""
    first = advice.suspects[0]
    return f"{suspect_title(first)} ({likely(first.probability).text})"


def _entries(
    case: Case, steps: Sequence[Advice], knowledge: Knowledge, zone: tzinfo | None, people: Sequence[str]
) -> str:
    changed = len(set(people)) > 1 and len(people) == len(case.entries)
    after = steps[-len(case.entries) :] if case.entries and len(steps) >= len(case.entries) else ()
    rows = []
    for number, entry in enumerate(case.entries):
        line = entry_line(entry, knowledge)
        remarks = f"<br><span class='quiet'>{_t('; '.join(line.remarks))}</span>" if line.remarks else ""
        row = [
            f"<span class='when'>{_t(clock(entry.at, zone))}</span>",
            _t(line.what),
            f"{_t(line.result)}{remarks}",
            _t(entry.by),
            *([_t(ROLES.get(people[number], people[number]))] if changed else []),
        ]
        rows.append([*row, _t(_lead(after[number]))] if after else row)
    head = ["When", "What", "Answer or reading", "Who", *(["At the machine"] if changed else [])]
    head += ["Leading afterwards"] if after else []
    return "<h2>Checks, readings and actions</h2>" + (table(head, rows) or "<p>None yet.</p>")


def _undone(undone: Sequence[tuple[Entry, str]], knowledge: Knowledge, zone: tzinfo | None) -> str:
    rows = [
        (
            _t(clock(entry.at, zone)),
            f"<span class='undone'>{_t(entry_line(entry, knowledge).text)}</span>",
            _t(clock(at, zone)),
        )
        for entry, at in undone
    ]
    return f"<h2>Taken back</h2>{table(('When', 'What', 'Taken back'), rows)}" if rows else ""


def _pictures(case: Case, steps: Sequence[Advice], knowledge: Knowledge) -> str:
    """What the readings look like, each picture with its words; how belief went where there is an advice for every stage."""
    went = course(steps) if len(steps) == len(case.entries) + 1 else None
    try:
        read = pictures_of(case, knowledge)
    except ChillerError:
        read = ()  # a reading that cannot be read stands in the table of entries as it was given
    shown = [*read, *([went] if went is not None else [])]
    drawn = "".join(
        f"<figure><figcaption><b>{_t(one.title)}</b></figcaption>{one.svg()}<p class='quiet'>{_t(one.words)}</p></figure>"
        for one in shown
    )
    return f"<h2>Pictures</h2><div class='pictures'>{drawn}</div>" if drawn else ""


def _number(value: float, uncertainty: float) -> str:
    """A value to the digit that its uncertainty leaves (two digits of the uncertainty, JCGM 100, 7.2.6)."""
    if uncertainty <= 0:
        return f"{value:.4g}"
    decimals = min(6, max(0, 1 - math.floor(math.log10(uncertainty))))
    return f"{value:.{decimals}f} ± {uncertainty:.{decimals}f}"


def _derived(advice: Advice) -> str:
    rows = [
        (
            _t(at_place(quantity_title(d.quantity), d.place)),
            _t(f"{_number(d.value, d.uncertainty)} {SHOWN_UNITS.get(d.unit, d.unit)}".strip()),
            _t(d.word.replace("-", " ")),
            _t(", ".join(quantity_title(name) for name in d.from_)),
        )
        for d in advice.derived
    ]
    note = "<p class='quiet'>± is one standard uncertainty (JCGM 100).</p>"
    head = ("What", "Value", "Judged", "From")
    return f"<h2>Derived values</h2>{table(head, rows)}{note}" if rows else ""


def _left(advice: Advice) -> str:
    rows = left_lines(advice)
    return f"<section class='box'><h2>Left changed</h2>{_list(rows)}</section>" if rows else ""


def _doubts(advice: Advice) -> str:
    waiting = [f"{at_place(n.finding.replace('-', ' '), n.place)}: {n.why}; {n.until}" for n in advice.not_judged]
    parts = (
        ("Contradictions", advice.contradictions),
        ("Not judged yet", waiting),
        ("Doubts", advice.doubts),
    )
    return "".join(f"<h2>{title}</h2>{_list(items)}" for title, items in parts if items)


def _cautions(case: Case, steps: Sequence[Advice], knowledge: Knowledge) -> str:
    """Every caution that stood on a screen of this call, once."""
    complaint = knowledge.complaints.get(case.complaint)
    shown: dict[str, SignalWord | None] = dict.fromkeys(complaint.cautions) if complaint else {}
    for advice in steps:
        for step in advice.next[:1]:
            what = hazard_words(step.hazards)
            for caution in step.cautions or ((f"{what}: {step.title}",) if what else ()):
                shown[caution] = signal(step.hazards) or shown.get(caution)
        for caution in advice.verdict.cautions if advice.verdict else ():
            shown[caution] = signal(remedy_hazards(advice.verdict, knowledge)) or shown.get(caution)
    lines = [caution_line(word, caution) for caution, word in shown.items()]
    return f"<h2>Cautions shown</h2>{_list(lines)}" if shown else ""
