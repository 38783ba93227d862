"""The result sheet of a finished lesson: one page, on paper or in a browser, with its prints, face and figures."""

import base64
import io
from collections.abc import Callable
from functools import partial
from html import escape
from pathlib import Path
from typing import NamedTuple

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from sim.errors import BadParam
from sim.report.figures import HEIGHT_COLOURS, INK, LINE, MUTED, RUST, STYLE, typeset
from sim.report.page import write_page
from sim.report.paper import MM_PER_PT, PDF_STYLE, SIZES_MM, Paper, save_pdf, width_mm, wrapped
from sim.report.sheet_parts import (
    GOOD,
    MADE,
    MAP_WORDS,
    MOST_ROWS,
    draw_bars,
    draw_cut,
    draw_map,
    draw_print,
    limit_words,
    origin,
    places,
    row_words,
    sheet_blocks,
    value_words,
)
from sim.report.sheet_parts import Sheet as Sheet
from sim.school.checks import Row
from sim.units import MM_PER_INCH

SMALL_PT, LOW_PT, TEXT_PT, HEAD_PT, CHART_PT = 7.4, 6.4, 8.6, 9.6, 6.4
GAP_MM, ROW_MM = 7.0, 6.8
PRINTS_WORDS = "Prints as they were lifted"
COLOURS, DPI = 48, 170  # of a picture in a page
BAR_MM = 42.0
LEAST_MM, MOST_MM = 12.0, 62.0  # how high a picture is
STRIP_MM, BELOW_MM = 5.4, 2.4  # of the colours under the map; from one picture to what comes next
LEFT_MM = 8.5  # of a section, for its axis
CAPTION_MM = HEAD_PT * MM_PER_PT * 1.5 + 3.4
CHART_STYLE = {**STYLE, **PDF_STYLE, "font.size": CHART_PT, "axes.facecolor": "white", "lines.linewidth": 1.1}


class Room(NamedTuple):
    """Where the pictures are: from y down, so high each, mm; in rows of two, or all four in one row."""

    y: float
    high: float
    columns: int
    low: float


def write_sheet(path: Path, sheet: Sheet, paper: str = "a4", force: bool = False) -> None:
    """Write a result sheet: by the end of its name as PDF or as one HTML file that carries everything.

    Parameters
    ----------
    paper : "a4" or "letter"

    Raises
    ------
    BadParam
        Another paper, or a name that ends in neither `.pdf` nor `.html`.
    CannotWrite
        The file is there and `force` is not set, or it cannot be written; nothing is left behind.
    """
    if paper not in SIZES_MM:
        raise BadParam(f"paper must be one of {', '.join(SIZES_MM)}, got {paper!r}")
    suffix = Path(path).suffix.lower()
    if suffix == ".pdf":
        save_pdf(Path(path), [sheet_paper(sheet, paper)], f"flatwright: {sheet.title}, {sheet.learner}", force)
    elif suffix == ".html":
        write_page(Path(path), partial(sheet_html, sheet, paper), force)
    else:
        raise BadParam(f"a result sheet must be named NAME.pdf or NAME.html, got {str(path)!r}")


def sheet_paper(sheet: Sheet, paper: str) -> Paper:
    """The sheet on paper; its pictures take what room the words leave."""
    room = picture_room(sheet, paper)
    with matplotlib.rc_context(CHART_STYLE):
        made = Paper(paper)
        _table(made, sheet, _head(made, sheet))
        _words(made, sheet, _pictures(made, sheet, room))
        _foot(made, sheet, room.low)
    return made


def picture_room(sheet: Sheet, paper: str) -> Room:
    """What room the words leave for the pictures: two rows of two, or one of four where two would be too low."""
    blank = Paper(paper, blank=True)
    y = _table(blank, sheet, _head(blank, sheet)) + 2.0
    low = blank.size_mm[1] - blank.margin_mm - _foot(blank, sheet, 0.0)
    free = low - _words(blank, sheet, 0.0) - 1.0 - y
    most = [min(MOST_MM, _side(blank, columns) * _shape(sheet)) for columns in (2, 4)]
    rows = 2 if sheet.prints else 1
    high = min((free - STRIP_MM - BELOW_MM * rows) / rows - CAPTION_MM, most[0])
    if high >= most[1] or not sheet.prints:
        return Room(y, max(high, LEAST_MM), 2, low)
    return Room(y, max(min(free - CAPTION_MM - STRIP_MM - BELOW_MM, most[1]), LEAST_MM), 4, low)


def _side(paper: Paper, columns: int) -> float:
    """How wide a picture may be, mm."""
    return (paper.room_mm + GAP_MM) / columns - GAP_MM


def _shape(sheet: Sheet) -> float:
    """Height of the face over its length."""
    _, _, end = sheet.faces
    return end.size_mm[1] / end.size_mm[0]


def _head(paper: Paper, sheet: Sheet) -> float:
    x, y, wide = paper.margin_mm, paper.margin_mm, paper.room_mm
    paper.text(x, y, "flatwright · result sheet", SMALL_PT)
    paper.text(x + wide, y, sheet.what, SMALL_PT, align="right")
    paper.rule(x, y + 4.4, wide, 1.2)
    answer, why, _ = sheet.verdict
    right = max(width_mm(answer, 13.0, True), 40.0) + 6.0
    top = y + 7.0
    low = paper.para(x, top, sheet.title, room_mm=wide - right - GAP_MM, size_pt=16.0, bold=True)
    low = paper.para(x, low + 0.6, sheet.learner, room_mm=wide - right - GAP_MM, size_pt=12.0)
    paper.text(x + wide - right + 3.0, top + 2.2, answer, 13.0, bold=True)
    down = paper.para(x + wide - right + 3.0, top + 8.8, why, room_mm=right - 5.0, size_pt=SMALL_PT)
    paper.box(x + wide - right, top, right, down + 1.6 - top, thick_pt=1.2)
    y = max(low, down + 1.6) + 1.4
    return paper.para(x, y, sheet.facts.lesson.goal, room_mm=wide, size_pt=TEXT_PT, grey=True) + 1.6


def _table(paper: Paper, sheet: Sheet, y: float) -> float:
    """Every figure against what passes; returns where it ends."""
    x, wide = paper.margin_mm, paper.room_mm
    rows = sheet.judged.rows[:MOST_ROWS]
    ends = [x + wide - BAR_MM - back for back in (47.0, 25.0, 4.0)]
    paper.text(x, y, "Figures against their limits", HEAD_PT, bold=True)
    for at, words in zip(ends, ("yours", "passes", "merit"), strict=True):
        paper.text(at, y + 0.5, words, SMALL_PT, grey=True, align="right")
    paper.text(x + wide - 0.5 * BAR_MM, y + 0.5, "right of the line passes", SMALL_PT, grey=True, align="center")
    y += HEAD_PT * MM_PER_PT * 1.5
    room = ends[0] - 19.0 - x
    for n, row in enumerate(rows):
        top = y + n * ROW_MM
        paper.rule(x, top, wide, 0.4)
        drop = 0.5 * (ROW_MM - SMALL_PT * MM_PER_PT)
        size = SMALL_PT if len(wrapped(row_words(row), room, SMALL_PT)) == 1 else LOW_PT
        lines = len(wrapped(row_words(row), room, size))
        paper.para(x, top + (drop if lines == 1 else 0.5), row_words(row), room_mm=room, size_pt=size)
        paper.text(ends[0], top + drop, value_words(row.value, row.unit), SMALL_PT, bold=not row.passed, align="right")
        paper.text(ends[1], top + drop, limit_words(row, row.passes), SMALL_PT, align="right")
        paper.text(ends[2], top + drop, limit_words(row, row.merit), SMALL_PT, grey=True, align="right")
    paper.rule(x, y + len(rows) * ROW_MM, wide, 0.4)
    chart = paper.chart(x + wide - BAR_MM, y, BAR_MM, max(len(rows), 1) * ROW_MM) if rows else None
    if chart is not None:
        draw_bars(chart, rows)
    return y + len(rows) * ROW_MM


def _pictures(paper: Paper, sheet: Sheet, room: Room) -> float:
    """Prints side by side; below or beside them the map of the face, and a section; returns where they end."""
    x, y, high = paper.margin_mm, room.y, room.high
    side = _side(paper, room.columns)
    size = SMALL_PT if room.columns == 2 else LOW_PT
    ends = [x + n * (side + GAP_MM) for n in range(room.columns)]
    if sheet.prints:
        paper.text(x, y, PRINTS_WORDS, HEAD_PT, bold=True)
        for left, (words, marks) in zip(ends, sheet.prints, strict=False):
            paper.text(left, y + CAPTION_MM - 4.0, words, size, grey=True)
            tall = marks.marked.shape[0] / marks.marked.shape[1]
            chart = paper.chart(left, y + CAPTION_MM, min(side, high / tall), min(high, side * tall))
            if chart is not None:
                draw_print(chart, marks)
        y += (CAPTION_MM + high + BELOW_MM) * (room.columns == 2)
    named, start, end = sheet.faces
    left, right = ends[-2:]
    paper.text(left, y, f"The face at the end{f', {named}' if named else ''}", HEAD_PT, bold=True)
    for at, words in ((left, MAP_WORDS), (right, sheet.section_words)):
        paper.text(at, y + CAPTION_MM - 4.0, words, size, grey=True)
    y += CAPTION_MM
    across, up = min(side, high / _shape(sheet)), min(high, side * _shape(sheet))
    wide = min(across, 0.45 * side)
    chart, strip = paper.chart(left, y, across, up), paper.chart(left, y + up + 1.2, wide, 2.2)
    if chart is not None and strip is not None:
        low_um, high_um = draw_map(chart, end)
        strip.imshow(np.linspace(0.0, 1.0, 64)[None, :], cmap=HEIGHT_COLOURS, aspect="auto")
        words = f"{typeset(f'{low_um:+.1f}')} to {typeset(f'{high_um:+.1f}')} µm"
        paper.text(left + wide + 2.0, y + up + 1.0, words, size)
    chart = paper.chart(right + LEFT_MM, y, side - LEFT_MM, up - 1.0)
    if chart is not None:
        draw_cut(chart, start, end)
    return y + up + STRIP_MM + BELOW_MM


def _words(paper: Paper, sheet: Sheet, y: float) -> float:
    """What was called, what the coach found and what was done; returns where it ends."""
    side = _side(paper, 2)
    ends = []
    for n, blocks in enumerate(sheet_blocks(sheet)):
        left, low = paper.margin_mm + n * (side + GAP_MM), y
        for title, lines in blocks:
            paper.text(left, low, title, HEAD_PT, bold=True)
            low += HEAD_PT * MM_PER_PT * 1.5
            for words in lines:
                low = paper.para(left, low, words, room_mm=side, size_pt=SMALL_PT) + 0.5
            low += 1.6
        ends.append(low)
    return max(ends)


def _foot(paper: Paper, sheet: Sheet, y: float) -> float:
    """That it was a model; returns where it ends."""
    x, wide = paper.margin_mm, paper.room_mm
    paper.rule(x, y, wide, 0.6)
    y = paper.para(x, y + 1.6, MADE, room_mm=wide, size_pt=SMALL_PT)
    paper.text(x, y + 0.4, origin(sheet), 6.6, grey=True)
    return y + 3.2


def sheet_html(sheet: Sheet, paper: str) -> str:
    """The sheet as one HTML text that carries everything and prints on one page; no script, no network."""
    answer, why, good = sheet.verdict
    columns = ["".join(f"<h2>{escape(head)}</h2>{''.join(f'<p>{escape(words)}</p>' for words in told)}"
                       for head, told in blocks) for blocks in sheet_blocks(sheet)]  # fmt: skip
    body = [
        f"<p class='top'><span>flatwright · result sheet</span><span>{escape(sheet.what)}</span></p>",
        f"<header><div><h1>{escape(sheet.title)}</h1><p class='who'>{escape(sheet.learner)}</p></div>"
        f"<p class='answer{'' if good else ' short'}'><b>{escape(answer)}</b>{escape(why)}</p></header>",
        f"<p class='m'>{escape(sheet.facts.lesson.goal)}</p>",
        _table_html(sheet),
        _pictures_html(sheet, paper),
        f"<div class='two'><div>{columns[0]}</div><div>{columns[1]}</div></div>",
        f"<footer><p>{escape(MADE)}</p><p class='m'>{escape(origin(sheet))}</p></footer>",
    ]
    before, between, after = HTML.replace("<!-- page -->", "A4" if paper == "a4" else "letter").split("<!-- -->")
    return f"{before}{escape(f'{sheet.title}, {sheet.learner}')}{between}{chr(10).join(body)}{after}"


def _table_html(sheet: Sheet) -> str:
    lines = []
    for row in sheet.judged.rows[:MOST_ROWS]:
        told = (value_words(row.value, row.unit), limit_words(row, row.passes), limit_words(row, row.merit))
        cells = "".join(f"<td class='n'>{escape(words)}</td>" for words in told)
        lines.append(f"<tr class='{'ok' if row.passed else 'short'}'><th scope='row'>{escape(row_words(row))}</th>"
                     f"{cells}<td class='b'>{_bar_html(row)}</td></tr>")  # fmt: skip
    numbers = "".join(f"<th scope='col' class='n'>{words}</th>" for words in ("yours", "passes", "merit"))
    return (f"<table><thead><tr><th scope='col'>Figures against their limits</th>{numbers}<th scope='col' class='b'>"
            f"right of the line passes</th></tr></thead><tbody>{''.join(lines)}</tbody></table>")


def _bar_html(row: Row) -> str:
    """A figure on its scale; colours stand in it, for not every printer reads a style sheet inside a picture."""
    value, merit = places(row)
    fill, edge = (INK, INK) if row.passed else ("white", RUST)
    dot, at = "", 4.0 + 122.0 * merit
    if value is not None:
        dot = f"<circle cx='{4.0 + 122.0 * value:.1f}' cy='8' r='3' fill='{fill}' stroke='{edge}' stroke-width='1.4'/>"
    return (f"<svg viewBox='0 0 130 16' aria-hidden='true'><rect x='65' y='3' width='61' height='10' fill='{GOOD}'/>"
            f"<path d='M4 8H126' stroke='{LINE}' stroke-width='.8'/><path d='M65 1.5V14.5' stroke='{INK}' "
            f"stroke-width='1.3'/><path d='M{at:.1f} 3V13' stroke='{MUTED}' stroke-width='.7'/>{dot}</svg>")


def _pictures_html(sheet: Sheet, paper: str) -> str:
    """The same pictures as on paper, nearly as large as they are there."""
    room = picture_room(sheet, paper)
    high, side = 0.95 * room.high, 0.95 * _side(Paper(paper, blank=True), room.columns)
    named, start, end = sheet.faces
    prints = []
    for words, marks in sheet.prints:
        tall = marks.marked.shape[0] / marks.marked.shape[1]
        prints.append(_figure_html(words, (min(side, high / tall), tall), partial(draw_print, marks=marks)))
    low_um, high_um = draw_map(Figure().add_subplot(), end)
    words = f"{MAP_WORDS}; dark {typeset(f'{low_um:+.1f}')}, light {typeset(f'{high_um:+.1f}')} µm"
    across = min(side, high / _shape(sheet))
    faces = [_figure_html(words, (across, _shape(sheet)), partial(draw_map, face=end)),
             _figure_html(sheet.section_words, (side, across * _shape(sheet) / side),
                          partial(draw_cut, start=start, end=end), LEFT_MM)]  # fmt: skip
    title = f"The face at the end{f', {named}' if named else ''}"
    if room.columns == 4:
        rows = [(f"{PRINTS_WORDS}; {title[0].lower()}{title[1:]}", [*prints, *faces])]
    else:
        rows = [(PRINTS_WORDS, prints), (title, faces)]
    return "".join(f"<h2>{escape(head)}</h2><div class='shots' style='--n:{room.columns}'>{''.join(shown)}</div>"
                   for head, shown in rows if shown)  # fmt: skip


def _figure_html(words: str, size: tuple[float, float], draw: Callable[[Axes], object], left_mm: float = 0.0) -> str:
    """A picture so wide in mm and so high for its width, with its caption; left_mm: room for its axes."""
    wide_mm, shape = size
    left, below = left_mm / wide_mm, 0.75 * left_mm / (wide_mm * shape)
    with matplotlib.rc_context(CHART_STYLE):
        figure = Figure(figsize=(wide_mm / MM_PER_INCH, wide_mm * shape / MM_PER_INCH), dpi=DPI, facecolor="white")
        canvas = FigureCanvasAgg(figure)
        draw(figure.add_axes((left + 0.005, below + 0.005, 0.99 - left, 0.99 - 1.2 * below)))
        canvas.draw()
    made = io.BytesIO()
    Image.fromarray(np.asarray(canvas.buffer_rgba())[:, :, :3]).quantize(COLOURS).save(made, format="PNG")
    data = base64.b64encode(made.getvalue()).decode("ascii")
    told = escape(words)
    return (f"<figure><figcaption>{told}</figcaption><img alt='{told}' style='width:{wide_mm:.1f}mm' "
            f"src='data:image/png;base64,{data}'></figure>")


HTML = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<title><!-- --></title>
<style>
:root{--ink:#23272b;--muted:#5a6168;--line:#d5d1c9;--rust:#a5411b}
*{box-sizing:border-box}
body{margin:0 auto;max-width:52rem;padding:1.2rem;background:#fff;color:var(--ink);
font:.8rem/1.36 "DejaVu Sans",Verdana,sans-serif}
p{margin:.2rem 0}.m{color:var(--muted)}
.top{display:flex;justify-content:space-between;border-bottom:2px solid var(--ink);padding-bottom:.2rem;
font-size:.74rem}
header{display:flex;justify-content:space-between;gap:1.5rem;align-items:flex-start;margin:.7rem 0 .4rem}
h1{font-size:1.55rem;line-height:1.15;margin:0 0 .2rem;overflow-wrap:anywhere}
h2{font-size:.92rem;margin:.8rem 0 .2rem}.who{font-size:1.1rem;overflow-wrap:anywhere}
.answer{flex:0 0 15rem;margin:0;border:2px solid var(--ink);padding:.4rem .7rem}
.answer b{display:block;font-size:1.2rem}
.answer.short{border-color:var(--rust)}
table{border-collapse:collapse;width:100%;margin:.6rem 0 0;font-variant-numeric:tabular-nums}
th,td{text-align:left;font-weight:400;border-top:1px solid var(--line);padding:.12rem .5rem .12rem 0;white-space:nowrap}
tbody th{white-space:normal;line-height:1.25}tbody tr:last-child>*{border-bottom:1px solid var(--line)}
thead th{border:0;color:var(--muted)}thead th:first-child{color:var(--ink);font-weight:700;font-size:.92rem}
.n{text-align:right}.b{width:24%;text-align:center;padding-right:0}.short td:nth-child(2){font-weight:700}
.b svg{display:block;width:100%;height:1.35rem}
.two{display:grid;grid-template-columns:minmax(0,1fr) minmax(0,1fr);gap:.2rem 1.6rem;align-items:start}
figure{margin:.3rem 0 0}figcaption{color:var(--muted);font-size:.74rem;padding-bottom:.15rem}
img{display:block;max-width:100%}
.shots{display:grid;grid-template-columns:repeat(var(--n),minmax(0,1fr));gap:.2rem 1.4rem;align-items:end}
footer{border-top:1px solid var(--ink);margin-top:.8rem;padding-top:.3rem}
@media (max-width:36rem){.two,.shots{grid-template-columns:minmax(0,1fr)}header{flex-direction:column}
.answer{flex:none}}
@page{size:<!-- page -->;margin:12mm}
@media print{html{font-size:12.2px}body{padding:0;max-width:none}figure,tr,h2{break-inside:avoid}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}}
</style></head><body>
<!-- -->
</body></html>
"""
