"""The sheet as one HTML file: it loads nothing, and reads without scripts, by keyboard, in light and dark, on paper."""

from __future__ import annotations

import html
import re
from collections.abc import Sequence
from typing import Final

from ...text import one_line
from ..maps.plan_facts import LegFacts, StopFacts
from ..words.cautions import CAUTIONS
from .sheet_cards import hold_words
from .sheet_tables import (
    SheetTable,
    table_of_answers,
    table_of_left_out,
    table_of_legs,
    table_of_stops,
)

_STYLE: Final = """
:root { color-scheme: light dark; --paper: #fbfaf6; --ink: #1d2326; --quiet: #4c5558; --band: #efece3; --edge: #6e685c;
  --mark: #7a1f4f; --sheet: #fbfaf6; }
@media (prefers-color-scheme: dark) { :root { --paper: #14191b; --ink: #f1efe8; --quiet: #b9c1c2; --band: #20282b;
  --edge: #8d9698; --mark: #f0a9cb; } }
* { box-sizing: border-box; }
[hidden] { display: none !important; }
body { margin: 0 auto; max-width: 78rem; padding: 1rem; background: var(--paper); color: var(--ink);
  font: 1rem/1.45 system-ui, sans-serif; }
h1 { font-size: 1.6rem; margin: 0 0 .2rem; } h2 { font-size: 1.2rem; margin: 1.6rem 0 .5rem; }
p { margin: .3rem 0; } a { color: var(--mark); }
.level, .quiet { color: var(--quiet); }
.totals { display: flex; flex-wrap: wrap; gap: .3rem 1.4rem; margin: .6rem 0; padding: 0; list-style: none; }
.totals b { font-weight: 600; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; font-size: .92rem; }
table.wide { min-width: 64rem; } .plain tbody th { min-width: 7rem; }
caption { text-align: left; font-weight: 600; padding: .2rem 0; }
th, td { text-align: left; vertical-align: top; padding: .3rem .5rem; }
thead th { border-bottom: 2px solid var(--ink); }
tbody tr:nth-child(even) { background: var(--band); }
tbody tr:focus-within, tbody tr.lit { outline: 3px solid var(--mark); outline-offset: -3px; }
.picture { overflow-x: auto; background: var(--sheet); border: 1px solid var(--edge); border-radius: .3rem; }
.stage { position: relative; min-width: 50rem; }
.card svg { min-width: 34rem; }
.picture svg { display: block; width: 100%; height: auto; }
.switches { display: flex; flex-wrap: wrap; gap: .3rem 1rem; margin: .5rem 0; padding: .4rem .7rem;
  border: 1px solid var(--edge); border-radius: .3rem; }
.switches label { padding: .25rem 0; }
.facts { min-height: 3.2rem; padding: .5rem .7rem; margin: .5rem 0; border-left: .3rem solid var(--mark);
  background: var(--band); }
.spot { position: absolute; width: 2.4rem; height: 2.4rem; transform: translate(-50%, -50%); border-radius: 50%;
  border: 0; background: transparent; cursor: pointer; padding: 0; }
.spot:hover, .spot:focus-visible { outline: 3px solid #7a1f4f; }
.cards { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 24rem), 1fr)); gap: 1rem; }
.cautions { border: 2px solid var(--ink); padding: .5rem .8rem; margin: 1rem 0; }
noscript p { margin: .3rem 0; }
h1, p, li { overflow-wrap: anywhere; }
@media (max-width: 40rem) { td, th { overflow-wrap: anywhere; }
  table.wide { min-width: 0; } table.wide, .wide tbody, .wide tr, .wide td, .wide th, .wide caption { display: block; }
  .wide thead { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); }
  .wide tr { padding: .4rem .2rem; border-top: 1px solid var(--edge); }
  .wide td, .wide tbody th { padding: .1rem .4rem; } .wide td:empty { display: none; }
  .wide td::before { content: attr(data-head) " "; color: var(--quiet); }
  .wide tbody th { float: left; min-width: 2rem; } .wide td[data-head="Stop"], .wide td[data-head="From and to"] {
    font-weight: 600; } .wide td[data-head="Stop"]::before, .wide td[data-head="From and to"]::before { content: ""; } }
@page { margin: 12mm; }
@media print { :root { color-scheme: light; --paper: #ffffff; --ink: #1d2326; --quiet: #4c5558; --band: #efece3;
    --edge: #6e685c; --mark: #7a1f4f; }
  body { max-width: none; padding: 0; font-size: 9.5pt; } .switches, .facts, .spot, .screen { display: none; }
  .scroll, .picture { overflow: visible; } .stage, .card svg, table.wide { min-width: 0; }
  table { font-size: 7.6pt; } th, td { padding: .16rem .3rem; } thead { display: table-header-group; }
  .page { break-before: page; border: 0; } h2 { break-after: avoid; } tr, .card { break-inside: avoid; } }
"""

_UNIT: Final = re.compile(r"(?<=\d) (?=(?:ft|mi|m|km|mph|m/s|min)(?!\w))|(?<=°) (?=\d)")
"""Between a number and its unit, or a bearing and its distance: no end of a line."""

_FEW: Final = 4  # columns that a phone holds side by side

_SCRIPT: Final = """
(function () {
  'use strict';
  var facts = document.getElementById('facts');
  function show(key) {
    var row = document.getElementById('stop-' + key);
    document.querySelectorAll('tr.lit').forEach(function (one) { one.classList.remove('lit'); });
    if (!row) { return; }
    row.classList.add('lit');
    facts.textContent = row.getAttribute('data-facts');
  }
  document.querySelectorAll('button.spot').forEach(function (spot) {
    ['mouseenter', 'focus', 'click'].forEach(function (what) {
      spot.addEventListener(what, function () { show(spot.getAttribute('data-stop')); });
    });
  });
  document.querySelectorAll('.switches input').forEach(function (box) {
    box.addEventListener('change', function () {
      document.querySelectorAll('[id^="map-layer-' + box.value + '"]').forEach(function (part) {
        part.style.display = box.checked ? '' : 'none';
      });
    });
  });
  document.querySelectorAll('.needs-script').forEach(function (one) { one.hidden = false; });
}());
"""

LAYERS: Final = (
    ("depth", "depths"),
    ("dry", "dry ground"),
    ("hazards", "shallow hazards"),
    ("zones", "zones"),
    ("run", "legs"),
    ("casts", "casts"),
    ("spots", "spots"),
)


def _safe(text: str) -> str:
    return html.escape(one_line(text), quote=True)


def _table(table: SheetTable, attributes: Sequence[str] = ()) -> str:
    """Lay out a table; each row comes with the attributes of its line, safe already.

    Roles are told, because a phone shows wide tables row by row, which would take them away; each cell knows its head.
    """
    heads = [_safe(text) for text in table.heads]
    head = "".join(f'<th scope="col" role="columnheader">{text}</th>' for text in heads)
    lines: list[str] = []
    for k, cells in enumerate(table.rows):
        first, *others = (_UNIT.sub("&nbsp;", _safe(cell)) for cell in cells)
        told = "".join(
            f'<td role="cell" data-head="{name}">{cell}</td>'
            for name, cell in zip(heads[1:], others, strict=True)
        )
        more = attributes[k] if attributes else ""
        lines.append(f'<tr role="row"{more}><th scope="row" role="rowheader">{first}</th>{told}</tr>')
    name, kind = _safe(table.caption), "wide" if len(heads) > _FEW else "plain"
    return (
        f'<div class="scroll" tabindex="0" role="region" aria-label="{name}"><table class="{kind}" role="table">'
        f'<caption>{name}</caption><thead role="rowgroup"><tr role="row">{head}</tr></thead>'
        f'<tbody role="rowgroup">{"".join(lines)}</tbody></table></div>'
    )


def _facts(stop: StopFacts) -> str:
    return f"{stop.number} {stop.name}: " + ". ".join(hold_words(stop) or [stop.kind])


def to_html(
    *,
    title: str,
    level: str,
    north: str,
    totals: Sequence[tuple[str, str]],
    stops: Sequence[StopFacts],
    legs: Sequence[LegFacts],
    left_out: Sequence[tuple[Sequence[str], str]],
    questions: Sequence[tuple[str, str]],
    map_svg: str,
    hot_spots: Sequence[tuple[str, str, float, float]],
    cards: Sequence[tuple[str, str]],
) -> str:
    """Write the sheet.

    Parameters
    ----------
    title, level, north
        Heading, what level and day the depths stand for, and which north bearings are counted from.
    totals, questions
        Pairs of words.
    stops, legs
        Facts of the plan.
    left_out
        Names of spots the plan leaves out, with the reason they share.
    map_svg
        The map.
    hot_spots
        Places on the map to point at: number, name, share from the left and from the top.
    cards
        Pictures of cards (SVG), each with words that say what it shows.

    Returns
    -------
    str
        A whole HTML file in UTF-8 that loads nothing.
    """
    marked = [f' id="stop-{_safe(stop.number)}" data-facts="{_safe(_facts(stop))}"' for stop in stops]
    spots = "".join(
        f'<button type="button" class="spot" data-stop="{_safe(number)}" '
        f'style="left:{100 * x:.2f}%;top:{100 * y:.2f}%" aria-label="{_safe(f"Stop {number}, {name}")}"></button>'
        for number, name, x, y in hot_spots
    )
    switches = "".join(
        f'<label><input type="checkbox" value="{key}" checked> {_safe(words)}</label>'
        for key, words in LAYERS
    )
    told = "".join(f"<li><b>{_safe(what)}</b> {_safe(value)}</li>" for what, value in totals)
    parts = [
        f"<h1>{_safe(title)}</h1>",
        f'<p class="level">{_safe(level)} {_safe(north)}</p>',
        f'<ul class="totals">{told}</ul>',
        f'<div class="cautions" role="note"><p>{_safe(" ".join(CAUTIONS))}</p></div>',
        f'<fieldset class="switches needs-script" hidden><legend>Show on the map</legend>{switches}</fieldset>',
        '<div class="picture" tabindex="0" role="region" aria-label="Map of the run">',
        f'<div class="stage">{map_svg}<div class="needs-script" hidden>{spots}</div></div></div>',
        '<p id="facts" class="facts needs-script" role="status" aria-live="polite" hidden>',
        "Point at a stop on the map, or step through them with the tab key.</p>",
        '<h2 class="flow">Stops</h2>',
        _table(table_of_stops(stops), marked),
        '<h2 class="flow">Legs</h2>',
        _table(table_of_legs(legs)),
    ]
    if questions:
        parts += [
            '<h2 class="flow">Asked of the plan</h2>',
            _table(table_of_answers(questions)),
        ]
    if left_out:
        parts += [
            '<h2 class="flow">Left out</h2>',
            _table(table_of_left_out(left_out)),
        ]
    if cards:
        parts.append('<h2 class="screen">Cards</h2>')
        parts += [
            f'<div class="picture card page" role="group" tabindex="0" aria-label="{_safe(words)}">{svg}</div>'
            for svg, words in cards
        ]
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; "
        "script-src 'unsafe-inline'; img-src data:\">"
        f"<title>{_safe(title)}</title><style>{_STYLE}</style></head><body><main>"
        + "\n".join(parts)
        + f"</main><script>{_SCRIPT}</script></body></html>\n"
    )
