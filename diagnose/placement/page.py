"""The report of a placement as one printable page that loads nothing: receipt to return, figures, baseline, calls, proofs."""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping, Sequence
from datetime import tzinfo
from html import escape

from diagnose.phrases import QUALIFICATIONS, complaint_title, minutes, quantity_title
from diagnose.placement.amounts import figures, is_metric, site_of
from diagnose.placement.flow import flows, way_line
from diagnose.placement.keeping import Kept, Trouble
from diagnose.placement.plan import Outlook, outlook
from diagnose.placement.record import Placement
from diagnose.placement.rounds import BASELINE, ROUND
from diagnose.placement.trend import trend_of
from diagnose.placement.trend_text import baseline_line, figure_text, trend_picture, watch_text
from diagnose.places import spell
from diagnose.report import clock, document, machine_rows, table
from diagnose.store import Call, closing_of
from diagnose.store.placements import Photo, PlacementEvent
from diagnose.store.records import OUTCOMES
from knowledge.load import Knowledge
from knowledge.outcomes import NOT_FOUND
from knowledge.placement import SITE, STAGES

OUTCOME_WORDS = {"done": "done, and good", "not-right": "not right", "left": "left out"}
FACT_WORDS = {
    "loop": "Loop", "drains": "Drains", "valves": "Valves", "strainer": "Strainer", "power": "Power", "sump": "Sump",
    "pump": "Pump", "flow": "Flow", "cooling": "Cooling", "baseline": "Baseline",
}  # fmt: skip


def placement_page(
    now: Kept,
    knowledge: Knowledge,
    *,
    calls: Sequence[tuple[Trouble, Call | None]] = (),
    photos: Iterable[Photo] = (),
    made_at: str = "",
    zone: tzinfo | None = None,
) -> str:
    """The report as an HTML document.

    calls: those that came of it (None: one that this person may not see). photos: as the record has them. zone: of the times
    shown (this machine's).
    """
    pictures = {p.id: p for p in photos}
    placement = now.placement
    seen = outlook(placement, knowledge)
    parts = [
        _head(now, seen, made_at, zone),
        _machine(placement),
        _worked_out(placement, seen, knowledge),
        _flow(placement, knowledge),
        _steps(now, knowledge, pictures, zone),
        _followed(placement, knowledge),
        _calls(calls, knowledge, zone),
        _missing(seen),
        _undone(now, knowledge, zone),
        "<p class='quiet'>Local codes, the permit of the site, the maker's manual and licensed practice outrank this page. "
        f"Knowledge {escape(knowledge.digest[:12])}.</p>",
    ]
    return document(f"Placement: {now.record.line.name}", "".join(parts), images=bool(pictures))


def fact_words(facts: Mapping[str, str]) -> list[str]:
    """What is true now, in words, without what nobody told.

    >>> fact_words({"loop": "drained", "power": "off", "flow": "unproved", "drains": "unknown"})
    ['Loop drained', 'Power off', 'Flow unproved']
    """
    return [f"{FACT_WORDS[name]} {word}" for name, word in facts.items() if word not in ("unknown", "none")]


def answer_line(event: PlacementEvent, knowledge: Knowledge) -> str:
    """What an event of a placement says, in one line."""
    body = event.body
    step = knowledge.steps.get(str(body.get("step", "")))
    title = step.title if step else str(body.get("step", ""))
    if event.kind == "done":
        return f"{title}: {OUTCOME_WORDS.get(str(body.get('outcome', 'done')), '')}"
    if event.kind == "note":
        return str(body.get("note") or "Photo")
    if event.kind == "wait":
        return f"{title}: countdown started, {minutes(float(body['minutes']))}"
    if event.kind == "call":
        return f"{title}: trouble call opened"
    if event.kind == "amend":
        if "qualified" in body:
            has = [QUALIFICATIONS.get(str(q), str(q)) for q in body["qualified"]]
            return f"here now: {'qualified for ' + ' and '.join(has) if has else 'nobody with a qualification'}"
        return "the machine as its plate says" if "machine" in body else "what is known of the site"
    return {"close": "placement ended", "reopen": "placement open again"}.get(event.kind, "")


def details(event: PlacementEvent) -> list[str]:
    """Readings, figures of the site and the note of an event, one line each."""
    body = event.body
    out = []
    for one in body.get("readings", ()):
        value = one["value"] if isinstance(one["value"], str) else " / ".join(one["value"])
        place = f", {spell(one['place'])}" if ":" in one.get("place", "") else ""
        place += " some minutes before" if one.get("at") else ""
        out.append(f"{quantity_title(one['quantity'])}{place}: {value}")
    out += [f"{SITE[key][0]}: {value}" for key, value in body.get("site", {}).items() if key in SITE]
    if event.kind == "done" and body.get("note"):
        out.append(f"Note: {body['note']}")
    return [_capital(line) for line in out]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _head(now: Kept, seen: Outlook, made_at: str, zone: tzinfo | None) -> str:
    line, placement = now.record.line, now.placement
    counted = [s for s in seen.steps if not s.card.again]
    done = sum(s.state == "done" for s in counted)
    opened = f"Opened {clock(line.opened_at.isoformat(), zone)} by {line.opened_by}"
    state = f"ended {clock(line.last_at.isoformat(), zone)}" if line.state == "closed" else "not ended yet"
    return (
        ("<p class='invented'>Invented for demonstration</p>" if line.invented else "")
        + f"<h1>Placement: {escape(line.name)}</h1><p>{escape(placement.machine.name)} &middot; {escape(opened)}; {escape(state)}</p>"
        + f"<p>{done} of {len(counted)} steps done. {escape(', '.join(fact_words(seen.facts)))}.</p>"
        + (f"<p class='quiet'>Printed {escape(clock(made_at, zone))}</p>" if made_at else "")
    )


def _machine(placement: Placement) -> str:
    rows = [(escape(k), escape(v)) for k, v in machine_rows(placement.machine)]
    site = [(escape(SITE[k][0].capitalize()), escape(v)) for k, v in site_of(placement).items()]
    return (
        "<h2>Machine</h2>"
        + (table(("", ""), rows) or "<p>No nameplate data given.</p>")
        + (f"<h2>Site</h2>{table(('', ''), site)}" if site else "")
    )


def _worked_out(placement: Placement, seen: Outlook, knowledge: Knowledge) -> str:
    rows = []
    for one in seen.steps:
        for figure in figures(one.card, placement):
            if figure.lines:
                rows.append((escape(figure.title), escape("; ".join(figure.lines)), escape(figure.source)))
    return f"<h2>Worked out</h2>{table(('What', 'Figure', 'Source'), rows)}" if rows else ""


def _flow(placement: Placement, knowledge: Knowledge) -> str:
    found = flows(placement, knowledge)
    if not found.ways:
        return ""
    lines = [way_line(w, is_metric(placement)) for w in found.ways] + list(found.words)
    return "<h2>Flow, proved</h2>" + "".join(f"<p>{escape(line)}</p>" for line in lines)


def _steps(now: Kept, knowledge: Knowledge, pictures: Mapping[str, Photo], zone: tzinfo | None) -> str:
    rows, stage = [], ""
    for event in now.record.standing():
        step = knowledge.steps.get(str(event.body.get("step", "")))
        if event.kind == "done" and step is not None and step.stage != stage:
            stage = step.stage
            rows.append(("", f"<b>{escape(STAGES[stage])}</b>", ""))
        text = escape(answer_line(event, knowledge))
        more = "".join(f"<br>{escape(line)}" for line in details(event))
        shown = "".join(_photo(pictures[p]) for p in event.body.get("photos", ()) if p in pictures)
        rows.append(
            (
                f"<span class='when'>{escape(clock(event.at.isoformat(), zone))}</span>",
                _capital(text) + more + shown,
                escape(event.by),
            )
        )
    return "<h2>What was done</h2>" + (table(("When", "What", "Who"), rows) or "<p>Nothing yet.</p>")


def while_it_stayed(placement: Placement) -> Placement:
    """The placement up to its last round or baseline: the return takes the baseline back, the report still tells of it."""
    last = max((n for n, e in enumerate(placement.entries) if e.step in (BASELINE, ROUND)), default=-1)
    return placement.model_copy(update={"entries": placement.entries[: last + 1]})


def _followed(placement: Placement, knowledge: Knowledge) -> str:
    """The baseline with its reasons, early words, and a picture for every figure with one."""
    trends, metric = trend_of(while_it_stayed(placement), knowledge), is_metric(placement)
    if trends.baseline is None:
        return ""
    signature = "".join(f"<li>{escape(figure_text(f, metric))}</li>" for f in trends.baseline.round.figures.values())
    words = "".join(f"<p><b>{escape(watch_text(w, metric))}</b> {escape(w.card.why)}</p>" for w in trends.words) or (
        "<p>No early word.</p>" if trends.rounds else ""
    )
    drawn = [p for w in trends.words if (p := trend_picture(w, metric)) is not None]
    pictures = "".join(
        f"<figure><figcaption><b>{escape(one.title)}</b></figcaption>{one.svg()}<p class='quiet'>{escape(one.words)}</p></figure>"
        for one in drawn
    )
    return (
        f"<h2>Baseline and rounds</h2><p>{escape(baseline_line(trends.baseline))}</p><ul>{signature}</ul>"
        f"<p>{len(trends.rounds)} rounds.</p>{words}<div class='pictures'>{pictures}</div>"
    )


def _photo(photo: Photo) -> str:
    data = base64.b64encode(photo.content).decode("ascii")
    name = escape(photo.name, quote=True)
    style = "max-width:100%;max-height:16rem"
    return f"<figure><img style='{style}' alt='{name}' src='data:image/jpeg;base64,{data}'><figcaption>{name}</figcaption></figure>"


def call_outcome(call: Call, knowledge: Knowledge) -> str:
    """How a trouble call stands, in words."""
    if call.open:
        return "open"
    closing = closing_of(call)
    out = OUTCOMES.get(call.line.outcome, call.line.outcome)
    if closing is None or not closing.found:
        return out
    names = [knowledge.causes[c].title if c in knowledge.causes else c for c in closing.found if c != NOT_FOUND]
    return f"{out}: {' and '.join(names)}" + (f"; proved by: {closing.proof}" if closing.proof else "")


def _calls(calls: Sequence[tuple[Trouble, Call | None]], knowledge: Knowledge, zone: tzinfo | None) -> str:
    rows = []
    for trouble, call in calls:
        step = knowledge.steps.get(trouble.step)
        title = step.title if step else trouble.step
        if call is None:
            rows.append(("", escape(title), "a call of another team"))
            continue
        rows.append(
            (
                f"<span class='when'>{escape(clock(call.line.opened_at.isoformat(), zone))}</span>",
                f"{escape(complaint_title(call.case, knowledge))}<br><span class='quiet'>from: {escape(title)}</span>",
                f"{escape(_capital(call_outcome(call, knowledge)))}<br><span class='quiet'>call {escape(call.id)}</span>",
            )
        )
    return f"<h2>Trouble calls</h2>{table(('Opened', 'Trouble', 'How it ended'), rows)}" if rows else ""


def _missing(seen: Outlook) -> str:
    rows = [
        s.card.title
        for s in seen.steps
        if s.card.must and not s.card.again and s.state in ("next", "waits", "not-right")
    ]
    return f"<h2>Not done</h2><ul>{''.join(f'<li>{escape(r)}</li>' for r in rows)}</ul>" if rows else ""


def _undone(now: Kept, knowledge: Knowledge, zone: tzinfo | None) -> str:
    at = {int(e.body["of"]): e.at.isoformat() for e in now.record.events if e.kind == "undo"}
    rows = [
        (
            f"<span class='undone'>{escape(answer_line(e, knowledge))}</span>",
            escape(e.by),
            escape(clock(at[e.number], zone)),
        )
        for e in now.record.events
        if e.number in at
    ]
    return f"<h2>Taken back</h2>{table(('What', 'Who', 'Taken back'), rows)}" if rows else ""
