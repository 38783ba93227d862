"""Shop cards on paper: one page a card with fields to fill in, the model's pictures and numbers beside them."""

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from html import escape
from pathlib import Path

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke
from PIL import Image

from sim import __version__
from sim.report.figures import INK, MUTED, RUST, STYLE, write_whole
from sim.report.page import write_page
from sim.report.paper import MM_PER_PT, PDF_STYLE, Paper, save_pdf, wrapped
from sim.school.cards import NAMES, Card, Field
from sim.school.cautions import TITLES, caution
from sim.school.exercises import Shot, Simulated

Sheet = tuple[Card, Simulated]
FRONT = "Write down your own before you look at the model's. Local rules and licensed practice come before this card."
BARE, INKED = 0.95, 0.05  # grey of bare iron and of full blue: black on white
LEFT_MM, GAP_MM = 62.0, 6.0  # the narrow column, and between the two
ROW_MM, LOW_ROW_MM, MANY = 6.2, 5.3, 6  # of a field that is filled in by hand; where there are more than so many
MOST_WIDE_MM, MOST_HIGH_MM, CAPTION_MM, BETWEEN_MM = 89.0, 75.0, 4.6, 4.0
LINE_MM, MOST_LINES = 7.0, 7  # to answer on
SHADES = 16
COLUMNS = (("write down", 0.48), ("yours", 0.18), ("allowed", 0.20), ("model", 0.14))
SMALL_PT, TEXT_PT, HEAD_PT = 7.6, 8.6, 9.2


def save_cards(folder: Path, sheets: Sequence[Sheet], paper: str, *, name: str, force: bool = False) -> list[Path]:
    """Save cards as NAME.pdf and NAME.html; returns their paths.

    Parameters
    ----------
    paper : "a4" or "letter"

    Raises
    ------
    CannotWrite
        One of them is there and `force` is not set, or cannot be written.
    """
    page, print_out = folder / f"{name}.html", folder / f"{name}.pdf"
    write_page(page, partial(cards_html, sheets, paper), force)
    papers = [card_paper(card, found, paper) for card, found in sheets]
    save_pdf(print_out, papers, "flatwright: shop cards", force)
    return [page, print_out]


def card_paper(card: Card, found: Simulated, paper: str) -> Paper:
    """A card on a sheet; its pictures take what room the words leave."""
    pictures = _best(card, found, paper)
    with matplotlib.rc_context(PDF_STYLE):
        made = Paper(paper)
        _lay(made, card, found, pictures)
    return made


@dataclass
class _Pictures:
    """How pictures and frames lie: row by row, so high at most; and how many lines there are for words."""

    rows: list[list[Shot | str]]
    high_mm: float = 0.0
    lines: int = 2

    @property
    def shape(self) -> float:
        """Height over width."""
        first = next((one for one in self.rows[0] if isinstance(one, Shot)), None)
        return 0.7 if first is None else first.size_mm[1] / first.size_mm[0]

    def cell_mm(self, room_mm: float) -> float:
        """From one picture to the next, in the fullest row."""
        return (room_mm + BETWEEN_MM) / max(len(row) for row in self.rows)

    def wide_mm(self, room_mm: float) -> float:
        """Of each picture."""
        return min(self.cell_mm(room_mm) - BETWEEN_MM, MOST_WIDE_MM, max(self.high_mm, 0.0) / self.shape)


def draw_shot(chart: Axes, shot: Shot, size_pt: float = 5.5) -> None:
    """Draw a print in grey, dark where it is blue, or a relief; square, numbers and points upon it."""
    share = shot.seen / 255.0
    grey = share if shot.relief else BARE + share * (INKED - BARE)
    across, up = shot.size_mm
    chart.imshow(grey, cmap="gray", vmin=0.0, vmax=1.0, origin="lower", extent=(0.0, across, 0.0, up), aspect="auto",
                 interpolation="antialiased")  # fmt: skip
    if shot.square_mm:
        x, y, side = shot.square_mm
        for colour, thick in (("white", 2.4), ("black", 0.9)):
            chart.add_patch(Rectangle((x, y), side, side, fill=False, ec=colour, lw=thick))
    for n, (x, y) in enumerate(shot.places_mm, start=1):
        right, top = x > 0.92 * across, y > 0.9 * up  # there the number would leave the picture
        chart.annotate(str(n), (x, y), (-4 if right else 4, -3 if top else 3), textcoords="offset points",
                       fontsize=size_pt, weight="bold", ha="right" if right else "left", va="top" if top else "bottom",
                       path_effects=[withStroke(linewidth=2.0, foreground="white")])  # fmt: skip
        chart.plot(x, y, "o", ms=4.6, mfc="none", mec="black", mew=0.8)
    for x, y in shot.dots_mm:
        chart.plot(x, y, "o", ms=3.0, mfc="white", mec="black", mew=0.7)
    chart.add_patch(Rectangle((0.0, 0.0), across, up, fill=False, ec="black", lw=1.0))
    chart.set_xlim(0.0, across)
    chart.set_ylim(0.0, up)
    chart.set_axis_off()


def _best(card: Card, found: Simulated, paper: str) -> _Pictures:
    """Pictures and frames in one row or in two, whichever makes them larger on what the words leave of the sheet."""
    trial = Paper(paper, blank=True)
    end_mm = trial.size_mm[1] - trial.margin_mm
    model: list[Shot | str] = list(found.shots)
    own: list[Shot | str] = list(card.draw)
    layouts = [_Pictures([[*model, *own]]), _Pictures([model, own])]
    for one in layouts:
        one.high_mm = min((end_mm - _lay(trial, card, found, one)) / len(one.rows), MOST_HIGH_MM)
    best = max(layouts, key=lambda one: one.wide_mm(trial.room_mm))
    best.lines += min(int((end_mm - _lay(trial, card, found, best)) / LINE_MM), MOST_LINES - best.lines)
    return best


def _lay(paper: Paper, card: Card, found: Simulated, pictures: _Pictures) -> float:
    """Lay a card out; returns where it ends."""
    x, wide = paper.margin_mm, paper.room_mm
    y = _head(paper, card)
    right, room = x + LEFT_MM + GAP_MM, wide - LEFT_MM - GAP_MM
    low = _headed(paper, x, y, "You need")
    low = paper.items(x, low, [("□", words) for words in card.need], room_mm=LEFT_MM, size_pt=TEXT_PT)
    low = _headed(paper, x, low + 1.5, "What stays the same")
    low = paper.para(x, low, card.place, room_mm=LEFT_MM, size_pt=TEXT_PT)
    steps = [(f"{n}", words) for n, words in enumerate(card.steps, start=1)]
    other = paper.items(right, _headed(paper, right, y, "Steps"), steps, room_mm=room, size_pt=TEXT_PT)
    y = _draw_pictures(paper, pictures, max(low, other) + 2.0)
    table_mm = wide - LEFT_MM - GAP_MM
    low = _fields(paper, card, found, (x, y + 1.0, table_mm))
    beside = x + table_mm + GAP_MM
    other = _headed(paper, beside, y, "What the model says")
    for words in card.told(found.numbers):
        other = paper.para(beside, other, words, room_mm=LEFT_MM, size_pt=SMALL_PT) + 1.2
    setup = f"Model: {found.setup}."
    other = paper.para(beside, other, setup, room_mm=LEFT_MM, size_pt=6.6, grey=True)
    y = paper.para(x, max(low, other) + 2.0, card.ask, room_mm=wide, size_pt=TEXT_PT, bold=True)
    for _ in range(pictures.lines):
        y += LINE_MM
        paper.rule(x, y, wide, 0.4)
    return _cautions(paper, card, y + 3.0)


def _head(paper: Paper, card: Card) -> float:
    x, y, wide = paper.margin_mm, paper.margin_mm, paper.room_mm
    paper.text(x, y, f"flatwright shop card {card.number} of {len(NAMES)} · about {card.minutes} minutes", SMALL_PT)
    paper.text(x + wide, y, "date ______________   by ______________   part ______________", SMALL_PT, align="right")
    paper.rule(x, y + 4.4, wide, 1.2)
    paper.text(x, y + 6.4, card.title, 17.0, bold=True)
    y = paper.para(x, y + 14.6, card.aim, room_mm=wide, size_pt=10.5)
    return paper.para(x, y + 0.4, FRONT, room_mm=wide, size_pt=SMALL_PT, grey=True) + 2.2


def _headed(paper: Paper, x: float, y: float, words: str) -> float:
    paper.text(x, y, words, HEAD_PT, bold=True)
    return y + HEAD_PT * MM_PER_PT * 1.55


def _draw_pictures(paper: Paper, pictures: _Pictures, y: float) -> float:
    """Rows of pictures and frames from y on; returns where they end."""
    step, wide = pictures.cell_mm(paper.room_mm), pictures.wide_mm(paper.room_mm)
    tall = wide * pictures.shape
    for row in pictures.rows:
        for n, one in enumerate(row):
            x = paper.margin_mm + n * step
            if isinstance(one, str):
                paper.text(x, y, f"yours: {one}", SMALL_PT, bold=True)
                paper.box(x, y + CAPTION_MM, wide, tall)
                continue
            paper.text(x, y, f"model: {one.caption}", SMALL_PT)
            chart = paper.chart(x, y + CAPTION_MM, wide, tall)
            if chart is not None:
                draw_shot(chart, one)
        y += CAPTION_MM + tall + 1.5
    return y + 1.5


def _fields(paper: Paper, card: Card, found: Simulated, at: tuple[float, float, float]) -> float:
    """The table to fill in at x, y, so wide; returns where it ends."""
    x, y, wide = at
    starts = [x + wide * sum(share for _, share in COLUMNS[:n]) for n in range(len(COLUMNS) + 1)]
    for n, (name, _) in enumerate(COLUMNS):
        paper.text(starts[n] + (0.0 if n == 0 else 1.5), y, name, SMALL_PT, bold=True)
    y += 4.2
    top, row_mm = y, ROW_MM if len(card.fields) <= MANY else LOW_ROW_MM
    for one in card.fields:
        paper.rule(x, y, wide, 0.4)
        room = starts[1] - x - 1.0
        drop = 0.5 * (row_mm - SMALL_PT * MM_PER_PT) - 0.1
        short = len(wrapped(one.words, room, SMALL_PT)) == 1
        paper.para(x, y + (drop if short else 0.3), one.words, room_mm=room, size_pt=SMALL_PT if short else 6.2)
        paper.text(starts[2] - 1.5, y + drop, one.sign, SMALL_PT, align="right")
        paper.text(starts[2] + 1.5, y + drop, one.range_words, 6.8, grey=True)
        paper.text(starts[3] + 1.5, y + drop, model_words(one, found), SMALL_PT)
        y += row_mm
    paper.rule(x, y, wide, 0.4)
    for n in (1, 2, 3):
        paper.upright(starts[n], top, y - top, 0.4)
    return y + 1.5


def model_words(one: Field, found: Simulated) -> str:
    """What the model got for a field, with its unit; a dash where it says nothing."""
    if one.key not in found.numbers:
        return "–"
    value = found.numbers[one.key]
    digits = 1 if one.unit and not one.digits and 0.0 < abs(value) < 9.95 else one.digits
    gap = "" if one.sign in ("", "°") else " "
    return f"{value:.{digits}f}{gap}{one.sign}"


def _cautions(paper: Paper, card: Card, y: float) -> float:
    x, wide = paper.margin_mm, paper.room_mm
    top = y
    y += 1.8
    for key in card.cautions:
        paper.text(x + 2.5, y, TITLES[key], SMALL_PT, bold=True)
        y = paper.para(x + 34.0, y, caution(key), room_mm=wide - 36.5, size_pt=SMALL_PT) + 0.6
    paper.box(x, top, wide, y + 0.8 - top, thick_pt=1.0)
    return y + 0.8


def cards_html(sheets: Sequence[Sheet], paper: str) -> str:
    """Cards as one HTML text that carries everything, a page each when printed; no script, no network."""
    body = "".join(_card_html(card, found, paper) for card, found in sheets)
    page = "A4" if paper == "a4" else "letter"
    return HTML.replace("<!-- page -->", page).replace("<!-- body -->", body)


def _card_html(card: Card, found: Simulated, paper: str) -> str:
    pictures = _best(card, found, paper)
    lines = "<div class='line'></div>" * max(pictures.lines - 1, 2)
    need = "".join(f"<li>{escape(words)}</li>" for words in card.need)
    steps = "".join(f"<li>{escape(words)}</li>" for words in card.steps)
    says = "".join(f"<p>{escape(words)}</p>" for words in card.told(found.numbers))
    rows = "".join(
        f"<tr><th scope='row'>{escape(one.words)}</th><td class='fill'>{escape(one.sign)}</td>"
        f"<td class='m'>{escape(one.range_words)}</td><td>{escape(model_words(one, found))}</td></tr>"
        for one in card.fields
    )
    warned = "".join(f"<p><b>{escape(TITLES[key])}.</b> {escape(caution(key))}</p>" for key in card.cautions)
    return (
        f"<article id='{card.name}'><p class='top'><span>flatwright {escape(__version__)} · shop card {card.number} of "
        f"{len(NAMES)} · about {card.minutes} minutes</span><span>date __________ by __________ part __________</span>"
        f"</p><h1>{escape(card.title)}</h1><p class='aim'>{escape(card.aim)}</p><p class='m'>{FRONT}</p>"
        f"<div class='two'><div><h2>You need</h2><ul>{need}</ul><h2>What stays the same</h2><p>{escape(card.place)}</p>"
        f"</div><div><h2>Steps</h2><ol>{steps}</ol></div></div>"
        f"{_pictures_html(card, pictures, pictures.wide_mm(Paper(paper, blank=True).room_mm))}"
        f"<div class='two turned'><table><thead><tr><th>write down</th><th>yours</th><th>allowed</th><th>model</th>"
        f"</tr></thead><tbody>{rows}</tbody></table><div class='says'><h2>What the model says</h2>{says}"
        f"<p class='m'>Model: {escape(found.setup)}.</p></div></div><p class='ask'>{escape(card.ask)}</p>"
        f"{lines}<div class='cautions'>{warned}</div></article>"
    )


def _pictures_html(card: Card, pictures: _Pictures, wide_mm: float) -> str:
    shown = []
    for row in pictures.rows:
        for one in row:
            if isinstance(one, str):
                frame = f"<div class='frame' style='padding-top:{100.0 * pictures.shape:.4g}%'></div>"
                shown.append(f"<figure><figcaption><b>yours: {escape(one)}</b></figcaption>{frame}</figure>")
            else:
                data = base64.b64encode(_shot_png(one)).decode("ascii")
                told = f"{escape(card.title)}, model: {escape(one.caption)}"
                shown.append(f"<figure><figcaption>model: {escape(one.caption)}</figcaption>"
                             f"<img alt='{told}' src='data:image/png;base64,{data}'></figure>")  # fmt: skip
    return f"<div class='shots' style='--n:{len(pictures.rows[0])};--w:{0.92 * wide_mm:.0f}mm'>{''.join(shown)}</div>"


def _shot_png(shot: Shot) -> bytes:
    across, up = shot.size_mm
    with matplotlib.rc_context(PDF_STYLE):
        figure = Figure(figsize=(2.6, 2.6 * up / across), dpi=200)
        FigureCanvasAgg(figure)
        draw_shot(figure.add_axes((0.0, 0.0, 1.0, 1.0)), shot)
        made = io.BytesIO()
        figure.savefig(made, format="png")
    few, small = Image.open(made).convert("L").quantize(SHADES), io.BytesIO()
    few.save(small, format="PNG", optimize=True)
    return small.getvalue()


def save_entered(path: Path, card: Card, found: Simulated, entries: Sequence[dict[str, float]],
                 force: bool = False) -> None:  # fmt: skip
    """Save a learner's entries beside the model as a small picture: a line a field, from 0 to the largest value.

    Raises
    ------
    CannotWrite
        As `save_cards`.
    """
    fields = [one for one in card.fields if one.key in found.numbers or any(one.key in entry for entry in entries)]
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(7.2, 1.0 + 0.34 * len(fields)), dpi=140, layout="constrained")
        FigureCanvasAgg(figure)
        chart = figure.subplots()
        for row, one in enumerate(reversed(fields)):
            _draw_field(chart, one, row, found.numbers.get(one.key), [e[one.key] for e in entries if one.key in e])
        chart.set_ylim(-0.7, len(fields) - 0.3)
        chart.set_xlim(0.0, 1.22)
        chart.set_yticks(range(len(fields)), [f"{one.words}" for one in reversed(fields)])
        chart.set_xticks([])
        for side in ("bottom", "left"):
            chart.spines[side].set_visible(False)
        chart.tick_params(length=0)
        chart.set_title(f"{card.title}: yours (filled; the last one dark) and the model (ring)", loc="left", fontsize=9)
        made = io.BytesIO()
        figure.savefig(made, format="png")
    write_whole(path, lambda draft: Path(draft).write_bytes(made.getvalue()), force)


def _draw_field(chart: Axes, one: Field, row: int, model: float | None, own: Sequence[float]) -> None:
    most = max([*own, *([] if model is None else [model]), 1e-9])
    chart.plot([0.0, 1.0], [row, row], color=MUTED, lw=0.5)
    for n, value in enumerate(own):
        chart.plot(value / most, row, "o", ms=6, color=RUST, alpha=1.0 if n == len(own) - 1 else 0.35, zorder=3)
    if model is not None:
        chart.plot(model / most, row, "o", ms=9, mfc="none", mec=INK, mew=1.3, zorder=4)
    gap = "" if one.sign in ("", "°") else " "
    chart.annotate(f"{most:.3g}{gap}{one.sign}", (1.03, row), va="center", color=MUTED)


HTML = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<title>flatwright: shop cards</title>
<style>
*{box-sizing:border-box}
body{margin:0 auto;max-width:50rem;padding:1rem;background:#fff;color:#000;
font:.82rem/1.34 "DejaVu Sans",Verdana,sans-serif}
article{padding:1rem 0 2.5rem}p{margin:.25rem 0}
.top{display:flex;flex-wrap:wrap;justify-content:space-between;gap:.3rem 1rem;border-bottom:2px solid #000;
padding-bottom:.2rem;font-size:.72rem}
h1{font-size:1.6rem;line-height:1.15;margin:.4rem 0 .2rem}h2{font-size:.86rem;margin:.6rem 0 .2rem}
.aim{font-size:1rem}.m{color:#555;font-size:.7rem}.ask{font-weight:700;margin-top:.7rem}
.two{display:grid;grid-template-columns:minmax(0,1fr) minmax(0,1.85fr);gap:0 1.4rem}
.two.turned{grid-template-columns:minmax(0,1.85fr) minmax(0,1fr);align-items:start;margin-top:.4rem}
ul,ol{margin:.2rem 0;padding-left:1.3rem}ul{list-style:"\\25A1  "}li{margin:.12rem 0}ol li::marker{font-weight:700}
.shots{display:grid;grid-template-columns:repeat(var(--n),minmax(0,1fr));gap:.4rem .8rem;margin-top:.7rem}
figure{margin:0;width:100%;max-width:var(--w)}
figcaption{font-size:.7rem;white-space:nowrap}img{display:block;width:100%}
.frame{border:1px solid #000}
table{border-collapse:collapse;width:100%;font-size:.76rem}thead th{border:0;padding-bottom:.1rem}
th,td{text-align:left;padding:.2rem .4rem;border:1px solid #000;font-weight:400;height:1.55rem}
th:first-child{border-left:0;padding-left:0}td:last-child{border-right:0;white-space:nowrap}thead th{font-weight:700}
.fill{width:20%;text-align:right}td.m{white-space:nowrap}.says{font-size:.74rem}.says h2{margin-top:0}
.line{border-bottom:1px solid #000;height:5.5mm}
.cautions{border:1.5px solid #000;padding:.3rem .6rem;margin-top:.7rem;font-size:.72rem}
@media (max-width:40rem){.two,.two.turned{grid-template-columns:minmax(0,1fr)}.shots{grid-template-columns:1fr 1fr}}
@page{size:<!-- page -->;margin:12mm}
@media print{html{font-size:12.8px}body{padding:0;max-width:none}article{padding:0;break-after:page}
article:last-child{break-after:auto}}
</style></head><body><!-- body --></body></html>
"""
