"""The baseline and the rounds: early words with the days left to act, the round sheet, and a picture of every figure that is followed."""

from __future__ import annotations

import threading
from collections import OrderedDict

from diagnose.phrases import quantity_title
from diagnose.placement.amounts import is_metric
from diagnose.placement.keeping import Kept
from diagnose.placement.page import while_it_stayed
from diagnose.placement.rounds import BASELINE, ROUND
from diagnose.placement.trend import Trends, trend_of
from diagnose.placement.trend_text import baseline_line, figure_text, look_text, trend_picture, watch_text
from diagnose.places import spell
from knowledge.load import Knowledge
from ui import pictures
from ui.parts import html, t
from ui.placement.acts import Desk

MOST_KEPT, SHEET = 64, 12  # placements whose trends stay worked out; rounds on the sheet
_kept: OrderedDict[tuple[str, int, str], Trends] = OrderedDict()
_lock = threading.Lock()


def trends_of(now: Kept, knowledge: Knowledge) -> Trends:
    """All trends of a placement as it stands, worked out once for all screens."""
    key = (now.id, now.revision, knowledge.digest)
    with _lock:
        if key in _kept:
            return _kept[key]
    made = trend_of(while_it_stayed(now.placement), knowledge)
    with _lock:
        _kept[key] = made
        while len(_kept) > MOST_KEPT:
            _kept.popitem(last=False)
    return made


def early_words(desk: Desk) -> None:
    """What the rounds say, before anything else is read on the screen."""
    trends, metric = trends_of(desk.now, desk.knowledge), is_metric(desk.now.placement)
    for one in trends.words:
        look = look_text(one, desk.knowledge, desk.now.placement.qualified)
        html(
            f"<section class='early-word' role='note'><h2>Early word: {t(one.card.title)}</h2>"
            f"<p>{t(watch_text(one, metric).split(': ', 1)[-1])}</p>{f'<p>{t(look)}</p>' if look else ''}</section>"
        )
    if not trends.words and trends.rounds:
        html(f"<p class='ask'>{_counted(len(trends.rounds))} against the baseline: no early word.</p>")
    if trends.baseline is None and any(e.step == ROUND for e in desk.now.placement.entries):
        html("<p class='ask'>No baseline, so rounds are kept and compared with nothing.</p>")


def _counted(rounds: int) -> str:
    return "1 round" if rounds == 1 else f"{rounds} rounds"


def draw(desk: Desk) -> None:
    """Baseline, round sheet, and the pictures, those with a word first."""
    trends, metric = trends_of(desk.now, desk.knowledge), is_metric(desk.now.placement)
    html(f"<p class='ask'><b>{t(baseline_line(trends.baseline))}</b></p>")
    if trends.baseline is not None:
        rows = "".join(f"<li>{t(figure_text(f, metric))}</li>" for f in trends.baseline.round.figures.values())
        html(f"<ul class='results'>{rows}</ul>" if rows else "<p>Nothing that is followed was read.</p>")
    _sheet(desk)
    for one in trends.watches:
        if one.level != "word":
            html(f"<p class='log-line'>{t(watch_text(one, metric))}</p>")
        drawn = trend_picture(one, metric)
        if drawn is not None and one.level in ("word", "rising"):
            pictures.show(drawn, desk.key("trend", one.card.id, one.place))


def _sheet(desk: Desk) -> None:
    """The last rounds beside the baseline, as they were read."""
    entries = [e for e in desk.now.placement.entries if e.readings and (e.step == ROUND or e.step == BASELINE)]
    shown = [*[e for e in entries if e.step == BASELINE][-1:], *[e for e in entries if e.step == ROUND][-SHEET:]]
    if not shown:
        return
    names = list(dict.fromkeys((r.quantity, r.place) for e in shown for r in e.readings if not r.at))
    head = "".join(
        f"<th scope='col'>{t('baseline' if e.step == BASELINE else e.at[5:16].replace('T', ' '))}</th>" for e in shown
    )
    rows = []
    for quantity, place in names:
        told = [
            next((r.value for r in e.readings if (r.quantity, r.place) == (quantity, place) and not r.at), "")
            for e in shown
        ]
        cells = "".join(f"<td>{t(v if isinstance(v, str) else ' / '.join(v))}</td>" for v in told)
        title = quantity_title(quantity) + (f", {spell(place)}" if ":" in place else "")
        rows.append(f"<tr><th scope='row'>{t(title)}</th>{cells}</tr>")
    html(
        f"<div class='board' tabindex='0' role='region' aria-label='Round sheet'><table class='log'><thead><tr><th scope='col'>Round sheet</th>{head}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )
