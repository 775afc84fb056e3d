"""The tables of a report."""

from __future__ import annotations

import math
from collections.abc import Mapping
from html import escape
from typing import Any

from coach.review.figures import Cell, Column, Group, Table, figure_json, shown, table_json
from coach.review.report.draw import clock, length
from coach.review.window import Window
from coach.shown import Units
from coach.words import Words

US = 1_000_000


def _heads(names: list[str]) -> str:
    """The head of a table; a column whose cells are names by themselves has none."""
    cells = (f'<th scope="col">{escape(n)}</th>' if n else "<td></td>" for n in names)
    return f"<thead><tr>{''.join(cells)}</tr></thead>"


def figures_table(w: Window, group: Group, rates: Mapping[str, Mapping[str, Any]]) -> str:
    """A group of figures: name, value, spread, rate and gap; or why it cannot be said."""
    words = w.subject.words
    rows = []
    any_rate = any(f.id in rates for f in group.figures)
    for figure in group.figures:
        f = figure_json(figure, words, w.subject.units)
        note = f"<small>{escape(f['note'])}</small>" if f["note"] else ""
        head = f'<th scope="row">{escape(f["name"])}{note}</th>'
        if not f["text"]:
            rows.append(f'<tr>{head}<td class="why" colspan="{3 if any_rate else 2}">{escape(f["why"])}</td></tr>')
            continue
        number, _, unit = f["text"].partition(" ")
        rate = f"<td>{escape(rates[f['id']]['text'])}</td>" if f["id"] in rates else "<td></td>" if any_rate else ""
        spread = escape(f["spread_text"].partition(" ")[0])
        rows.append(f"<tr>{head}<td><b>{escape(number)}</b> {escape(unit)}</td><td>{spread}</td>{rate}</tr>")
    names = ["", words("review.report.mean" if any_rate else "review.report.value"), words("review.report.spread")]
    if any_rate:
        names.append(words("review.report.rate"))
    note = f"<small>{escape(group.note)}</small>" if group.note else ""
    caption = f"<caption>{escape(group.title)}{note}</caption>"
    heads = _heads(names)
    return f'<table class="figures">{caption}{heads}<tbody>{"".join(rows)}</tbody></table>'


def table(made: Table, units: Units) -> str:
    """A table of a summary."""
    t = table_json(made, units)
    heads = _heads([f"{c['name']} {c['unit']}".strip() for c in t["columns"]])
    rows = "".join(
        "<tr>" + "".join(f"<td>{_cell(v, c, units)}</td>" for v, c in zip(row, made.columns, strict=True)) + "</tr>"
        for row in made.rows
    )
    note = f"<small>{escape(t['note'])}</small>" if t["note"] else ""
    wide = ' class="wide"' if len(t["columns"]) > 8 else ""
    caption = f"<caption>{escape(t['title'])}{note}</caption>"
    return f'<div class="scroll" tabindex="0"><table{wide}>{caption}{heads}<tbody>{rows}</tbody></table></div>'


def _cell(value: Cell, column: Column, units: Units) -> str:
    """A value with the digits of its unit, so that a column stands in line."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return "–"
    if isinstance(value, str) or column.unit is None:
        return escape(str(value))
    return shown(float(value), column.unit, units, difference=column.difference, places=column.places).text


def attempts_table(words: Words, attempts: list[dict[str, Any]]) -> str:
    """All attempts of a capture that people need to see."""
    rows = []
    for a in attempts:
        if a["small"]:
            continue
        word = words(f"review.report.outcomes.{a['outcome']}")
        window = f"{clock(a['start_s'])} – {clock(a['end_s'])}"
        rows.append(
            f'<tr><th scope="row">{escape(word)}<small>{escape(a["sentence"])}</small></th><td>{window}</td>'
            f"<td>{escape(length(a['duration_s'] * US))}</td></tr>"
        )
    title = escape(words("review.report.attempts"))
    return f'<table class="figures"><caption>{title}</caption><tbody>{"".join(rows)}</tbody></table>'


def power_table(words: Words, made: dict[str, Any]) -> str:
    """Each standard's factor and corrected peak, beside the uncorrected one."""
    if not made["corrections"]:
        return ""
    rows = []
    for c in made["corrections"]:
        note = f"<small>{escape(c['note'])}</small>" if c["note"] else ""
        span = "" if c["low"] == c["high"] else f" ({c['low']:.3f} – {c['high']:.3f})"
        rows.append(
            f'<tr><th scope="row">{escape(c["name"])}{note}</th><td>{c["factor"]:.4f}{span}</td>'
            f"<td>{c['uncorrected_kw']:.1f} kW</td><td>{c['peak_kw']:.1f} kW</td></tr>"
        )
    heads = _heads([words(f"review.report.{k}") for k in ("standard", "factor", "uncorrected", "corrected")])
    return f'<table class="figures">{heads}<tbody>{"".join(rows)}</tbody></table>'


def health_table(words: Words, made: dict[str, Any]) -> str:
    """Each signal's rate and gap, and what was found."""
    rows = []
    for s in made["signals"]:
        found = "".join(f"<small>{escape(f['text'])} {escape(f['means'])}</small>" for f in s["findings"])
        rate = "–" if s["rate_hz"] is None else f"{s['rate_hz']:.1f}"
        asked = "" if s["asked_hz"] is None else words("review.report.asked_hz", n=f"{s['asked_hz']:g}")
        rows.append(
            f'<tr><th scope="row">{escape(s["name"])}{found}</th><td>{rate}</td><td>{asked}</td>'
            f"<td>{s['max_gap_s']:.2f} s</td></tr>"
        )
    keys = ("review.report.signals", "review.report.rate_hz", None, "review.report.gap")
    heads = _heads(["" if k is None else words(k) for k in keys])
    return f'<table class="figures long">{heads}<tbody>{"".join(rows)}</tbody></table>'
