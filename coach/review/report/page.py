"""The report's page: verdict first, then what it rests on, each capture with its proof, the engine, the data."""

from __future__ import annotations

import re
from html import escape
from typing import Any

from coach.core.spec import RULES
from coach.review.coverage import coverage_json
from coach.review.health import health_json
from coach.review.kinds import Kind, kind_of
from coach.review.power import power_json
from coach.review.report import draw
from coach.review.report.marks import mark
from coach.review.report.style import style
from coach.review.report.tables import attempts_table, figures_table, health_table, power_table, table
from coach.review.subject import Subject
from coach.review.summary import groups_of
from coach.review.whole import review_json
from coach.review.window import Window, rates_of
from coach.words import Words

OVER_SPEED = (
    ("gauge_boost",), ("lambda", "commanded_lambda"), ("timing_advance",), ("throttle", "commanded_throttle"),
    ("manifold_pressure", "manifold_pressure_commanded"), ("rail_pressure", "rail_pressure_commanded"),
    ("mass_airflow",), ("intake_temp",),
)  # fmt: skip
MOST_ROWS = 9
LEADS = ("road_speed", "engine_speed", "manifold_pressure", "gauge_boost")


def html(subject: Subject, *, embed_font: bool = True) -> str:
    """The report on a drive as one HTML text.

    Args:
        subject: the drive.
        embed_font: put the page's typeface inside, where the build has it (30 kB).

    Returns:
        The same text for the same drive: no clock is read, and nothing depends on where it is made.
    """
    w = subject.words
    made = review_json(subject)
    parts = [_top(subject, made), _head(subject, made)]
    parts += [_capture(subject, c) for c in made["captures"]]
    parts += [_coverage(subject), _health(subject), _notes(subject, made)]
    title = f"{made['headline']} – {made['drive']['title']}"
    body = _numbers(w, f"<main>{''.join(parts)}</main>{_foot(subject)}")
    return (
        f'<!doctype html>\n<html lang="{escape(w.language)}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title><style>{style(embed_font=embed_font)}</style></head>\n"
        f"<body>{body}</body></html>\n"
    )


def _numbers(words: Words, body: str) -> str:
    """The cells of tables and plots, each a number or a range, as the language writes numbers."""

    def written(found: re.Match[str]) -> str:
        return f">{re.sub(_CELL_PART, lambda part: words.number(part[0]), found[1])}<"

    return _CELL.sub(written, body)


_CELL_PART = r"\d+\.\d+"
_CELL = re.compile(rf">([-+−±(]?{_CELL_PART}(?: ?[^\W\d]{{1,3}}|°| %)?(?: \({_CELL_PART} – {_CELL_PART}\))?)<")
"""What stands between two tags and is one number, with its unit or its range behind it."""


def _top(subject: Subject, made: dict[str, Any]) -> str:
    w, drive = subject.words, made["drive"]
    at = drive["started_at"].replace("T", " ")[:16]
    of = w("review.report.of", time=f"{at} UTC", revision=drive["revision"]) if at else None
    of = of or w("review.report.of_unknown", revision=drive["revision"])
    name = drive["name"] or drive["title"]
    best = {(c["id"], c["best"]) for c in made["captures"] if c["send"] is not None}
    attempts = [a for some in subject.attempts.values() for a in some if not a.small]
    strip = draw.strip(subject, attempts, best, w.counted("review.report.whole", len(attempts)))
    note = f'<p class="lead"><b>{escape(w("review.report.driver"))}:</b> {escape(subject.note)}</p>'
    alarms = "".join(f"<li>{escape(a['sentence'])}</li>" for a in made["alarms"])
    return (
        f'<header><p class="kicker"><span>{escape(name)}</span><span>{escape(of)}</span></p>'
        f'<h1>{escape(made["headline"])}</h1><p class="lead">{escape(made["under"])}</p>'
        f"{note if subject.note else ''}<figure>{strip}"
        f'<div class="times"><span>0:00</span><span>{draw.clock(made["drive"]["duration_s"])}</span></div></figure>'
        + (f"<h2>{escape(w('review.report.alarms'))}</h2><ul>{alarms}</ul>" if alarms else "")
        + "</header>"
    )


def _head(subject: Subject, made: dict[str, Any]) -> str:
    rows = "".join(
        f"<div><dt>{escape(h['name'])}</dt><dd>{escape(h['text']) or _why(h['why'])}</dd></div>" for h in made["head"]
    )
    return f'<section><h2>{escape(subject.words("review.report.head"))}</h2><dl class="head">{rows}</dl></section>'


def _why(text: str) -> str:
    return f'<span class="note">{escape(text)}</span>'


def _capture(subject: Subject, c: dict[str, Any]) -> str:
    word = subject.words(f"review.report.outcomes.{c['outcome']}")
    said = " ".join(x for x in (c["sentence"], c["remedy"]) if x)
    body = [f"{mark(c['outcome'], word)}<div><h2>{escape(c['title'])}</h2><p>{escape(word)}. {escape(said)}</p></div>"]
    asked, judged = subject.capture(c["id"])
    best = next((a for a in subject.attempts.get(c["id"], ()) if a.number == c["best"]), None)
    if best is not None:
        w = Window(subject, asked, judged, best)
        kind = kind_of(judged)
        inside = [_rows(w)]
        if len([a for a in c["attempts"] if not a["small"]]) > 1:
            inside.append(attempts_table(subject.words, c["attempts"]))
        if best.secured_us is not None:
            inside += [_over(w) if kind == "sweep" else "", _power(w) if kind == "sweep" else "", _figures(w, kind)]
        body.append(f'<div class="whole">{"".join(inside)}</div>')
    return f'<section><div class="capture">{"".join(body)}</div></section>'


def _rows(w: Window) -> str:
    """The lead signal large, the others of the capture small, on one time."""
    names = [n for n in w.asked.signals() if w.has(n)]
    more = [n for n in LEADS if n not in names and w.has(n)]
    lead = next((n for n in names if _banded(w, n)), None)
    if w.capture.sweep is not None and w.has(w.capture.sweep.signal):
        lead = w.capture.sweep.signal
    lead = lead or next(iter([*names, *more]), None)
    if lead is None:
        return ""
    order = [lead, *(n for n in [*names, *more] if n != lead)][:MOST_ROWS]
    return f'<div class="rows">{"".join(_row(w, n, big=n == lead) for n in order)}</div>'


def _banded(w: Window, name: str) -> bool:
    return any(
        b.signal == name and b.low is not None and b.high is not None and b.low != b.high for b in w.capture.keep
    )


def _row(w: Window, name: str, *, big: bool) -> str:
    value, span = draw.value_of(w, name)
    label = w.word("report.plot", name=w.name(name), title=w.asked.title)
    unit = w.subject.readouts[name].unit if name in w.subject.readouts else ""
    return (
        f'<div class="row{" big" if big else ""}"><div><b>{escape(w.subject.short(name))}</b>'
        f"<small>{escape(_asked(w, name))}</small></div>"
        f'<div class="p">{draw.lane(w, name, label, big=big)}</div>'
        f'<div class="v"><b>{escape(value)} <small>{escape(unit)}</small></b><small>{escape(span)}</small></div></div>'
    )


def _asked(w: Window, name: str) -> str:
    """What was asked of a signal, in a few words."""
    s = w.subject
    if name not in s.readouts:
        return ""
    readout = s.readouts[name]
    band = next((b for b in (*w.capture.keep, *w.capture.start) if b.signal == name), None)
    sweep = w.capture.sweep
    if sweep is not None and sweep.signal == name:
        return w.word("from_to", low=readout.value(sweep.start), high=f"{readout.value(sweep.to)} {readout.unit}")
    if band is not None:
        return readout.asked_with_unit(band.low, band.high, band.wander)
    limit = next((x for x in w.capture.limits if x.signal == name), None)
    if limit is not None:
        low, high = readout.bounds(limit.low, limit.high)
        return w.word("report.limit", bound=f"{high or low} {readout.unit}")
    return w.word("report.recorded")


def _over(w: Window) -> str:
    """What a sweep is read by: each signal over engine speed."""
    figures = []
    for names in OVER_SPEED:
        there = [n for n in names if w.has(n)]
        if not there or (names[0] == "manifold_pressure" and w.has("gauge_boost")) or there[0] != names[0]:
            continue
        label = w.word("report.plot_over", name=w.name(there[0]), title=w.asked.title)
        drawn = draw.over_speed(w, there, label)
        unit = w.subject.readouts[there[0]].unit if there[0] in w.subject.readouts else ""
        dashed = "" if len(there) < 2 else w.word("report.dashed", name=w.subject.words.inside(w.name(there[1])))
        caption = f"<b>{escape(w.name(there[0]))}</b> {escape(unit)} {escape(dashed)}"
        figures.append(f"<figure><figcaption>{caption}</figcaption>{drawn}</figure>")
    if not figures:
        return ""
    title = escape(w.word("report.over"))
    return f'<h3>{title}, rpm</h3><div class="pair">{"".join(figures)}</div>'


def _power(w: Window) -> str:
    made = power_json(w)
    title = escape(w.word("report.power"))
    if made["why"]:
        return f"<h3>{title}</h3><p>{_why(made['why'])}</p>"
    air = made["weather"]["text"] or made["weather"]["why"]
    inputs = "; ".join(f"{i['name']}: {i['text']}" for i in made["inputs"])
    return (
        f"<h3>{title}</h3><p>{escape(made['peak']['text'])}</p>"
        f'<figure class="narrow"><figcaption>{escape(w.word("report.over_unit", unit="kW"))}</figcaption>'
        f"{draw.power_plot(made['points'], title)}</figure>"
        f'<p class="note">{escape(made["method"])} {escape(inputs)}.</p>{power_table(w.subject.words, made)}'
        f'<p class="note">{escape(_dot(air))} {escape(made["caveat"])}</p>'
    )


def _dot(text: str) -> str:
    return text if text.endswith(".") else f"{text}."


def _figures(w: Window, kind: Kind) -> str:
    rates = {r["signal"]: r for r in rates_of(w)}
    parts = []
    for group in groups_of(w, kind):
        if group.figures:
            parts.append(figures_table(w, group, rates))
        elif group.note:
            parts.append(f'<h3>{escape(group.title)}</h3><p class="note">{escape(group.note)}</p>')
        parts += [table(t, w.subject.units) for t in group.tables]
    return "".join(parts)


def _coverage(subject: Subject) -> str:
    w, made = subject.words, coverage_json([subject])
    title = escape(w("review.report.coverage"))
    if made["why"] or made["x"] is None:
        return f"<section><h2>{title}</h2><p>{_why(made['why'])}</p></section>"
    label = w("review.report.cells", name=w.inside(made["y"]["name"]), unit=made["y"]["unit"])
    empty = "".join(f"<p>{escape(w('review.report.wanted_empty', text=e['text']))}</p>" for e in made["empty_wanted"])
    return (
        f"<section><h2>{title}</h2><figure><figcaption>{escape(label)}</figcaption>"
        f'<div class="scroll" tabindex="0">{draw.cells(made, label)}</div>'
        f"</figure>{empty}</section>"
    )


def _health(subject: Subject) -> str:
    w, made = subject.words, health_json(subject)
    delays = "".join(
        f"<li>{escape(d['text'])} {escape(d['means'])}</li>" for d in made["delays"] if d["delay_s"] is not None
    )
    return (
        f"<section><h2>{escape(w('review.report.health'))}</h2><p>{escape(made['sentence'])} "
        f"{escape(made['order']['text'])}</p>{health_table(w, made)}" + (f"<ul>{delays}</ul>" if delays else "")
        + "</section>"
    )  # fmt: skip


def _notes(subject: Subject, made: dict[str, Any]) -> str:
    if not made["notes"]:
        return ""
    items = "".join(f"<li>{escape(n)}</li>" for n in made["notes"])
    return f"<section><h2>{escape(subject.words('review.report.notes'))}</h2><ul>{items}</ul></section>"


def _foot(subject: Subject) -> str:
    w = subject.words
    rules = w("review.report.rules", rules=subject.plan.rules or RULES, sha=subject.recipe.sha256)
    return f"<footer><p>{escape(w('review.report.limits'))}</p><p>{escape(rules)}</p></footer>"
