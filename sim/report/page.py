"""The demo's report: one HTML file that carries its style and pictures, needs no network and no script, and prints."""

import base64
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from html import escape
from itertools import groupby
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING

import numpy as np

from sim import PHYSICS, __version__
from sim.hands.skill import HANDS
from sim.model.blade import RACK
from sim.model.face import Face
from sim.model.marks import Marks
from sim.report.tables import Row, digits_of, number, scorecard_rows, verdict
from sim.target import Target

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from sim.report.figures import Curve, Drawing
    from sim.shop.rounds import RoundLog

PRINTS = 12  # in the strip
PANEL_IN, WIDE_IN = (3.5, 2.2), 3.8

BANDS_NOTE = (
    " Every second round the face is swept with the indicator from its datum; while the readings tell of a wedge, full "
    "rows are scraped in bands, the highest first, and the marks wait."
)
CAUTIONS = (
    ("Edges cut", "A scraper is pushed hard and slips. Keep hands and body out of its way, clamp the part, break its "
     "edges first, and cover the blade when it is put down."),
    ("Oily rags catch fire", "Rags with linseed oil heat by themselves. Spread them flat outdoors, or keep them in a "
     "closed metal can with water."),
    ("Carbide dust", "Grinding a carbide edge frees dust that holds cobalt. Grind wet, with extraction, and wear a "
     "respirator."),
    ("Iron is heavy", "A block of 300 × 300 × 50 mm weighs 32 kg. Lift it with a second person or a hoist."),
    ("Pauses", "Roughing takes pushes of some 450 N, far above what guidance on work allows for long. Rest, and change "
     "the work about."),
)  # fmt: skip


@dataclass(frozen=True)
class DemoReport:
    """Everything that the report tells.

    Attributes
    ----------
    title : str
    seed : int
    hand : str
        Name of the hand, as in `sim.hands.skill.HANDS`; another name is told as it is.
    target : Target
    rounds : sequence of RoundLog
        At least one, in order; strokes and hours count from the start of the job, `picture` is uint8 (ny, nx),
        row = y, 0 bare to 255 darkest.
    met_round : int or None
        The first round after which every limit was met.
    totals : dict
        `sim.measure.verdict.scorecard` of the end, and removed_mm3, strokes, shop_hours, strokes_off_marks_pct.
    start_face, end_face : Face
    marks : Marks
        Of the standard print at the end.
    lowest_at_mm : (x, y)
        Middle of the poorest counting square.
    against : (words, um) or None
        What the drawing asks of the face against its datum, "Parallelism to the foot", and the limit.
    """

    title: str
    seed: int
    hand: str
    target: Target
    rounds: "Sequence[RoundLog]"
    met_round: int | None
    totals: Mapping[str, float]
    start_face: Face
    end_face: Face
    marks: Marks
    lowest_at_mm: tuple[float, float]
    against: tuple[str, float] | None = None


def write_demo_report(path: Path, demo: DemoReport, force: bool = False) -> None:
    """Write the report of a face; as `write_page`."""
    write_page(path, partial(demo_page, demo), force)


def write_page(path: Path, make: Callable[[], str], force: bool = False) -> None:
    """Write a page whole or not at all, and over nothing unless told to; it is made when it may be written.

    Raises
    ------
    CannotWrite
        If the file is there and `force` is not set, or it cannot be written; nothing is left behind.
    """
    from sim.report.figures import refuse_existing, write_whole

    refuse_existing(path, force)
    page = make().encode("utf-8", "replace")
    write_whole(path, lambda draft: Path(draft).write_bytes(page), force)


def save_readme_pictures(demo: DemoReport, folder: Path, force: bool = False) -> list[Path]:
    """Save strip of prints, curves and height maps as prints.png, curves.png and heights.png; returns their paths.

    Raises
    ------
    CannotWrite
        As `write_demo_report`, for each of the three.
    """
    from sim.report import figures

    prints: list[Drawing] = [
        (f"round {log.round} · {_film(log)}{log.shop_hours:.1f} h",
         partial(figures.draw_print, darkness=log.picture, iron=demo.end_face.iron))
        for log in chosen_rounds(demo.rounds, 8)
    ]
    curves: list[Drawing] = [(curve.title, _curve(demo, curve)) for curve in _curves_of(demo)]
    heights: list[Drawing] = [
        (name, partial(figures.draw_heights, face=face))
        for name, face in (("Start", demo.start_face), ("End", demo.end_face))
    ]
    figures.save_sheet(folder / "prints.png", prints, 4, (9.0, 3.7), force=force)
    figures.save_sheet(folder / "curves.png", curves, 3, (9.6, 4.6), force=force)
    figures.save_sheet(folder / "heights.png", heights, 2, (9.0, 3.7), force=force)
    return [folder / name for name in ("prints.png", "curves.png", "heights.png")]


def chosen_rounds(rounds: "Sequence[RoundLog]", most: int) -> "list[RoundLog]":
    """At most so many rounds, evenly spread, the first and the last among them."""
    if len(rounds) <= most:
        return list(rounds)
    return [rounds[index] for index in np.rint(np.linspace(0, len(rounds) - 1, most)).astype(int)]


def demo_page(demo: DemoReport) -> str:
    """The report as one HTML text."""
    answer, *more = told_verdict(demo)
    body = [
        f"<header>{_heading(demo)}</header>",
        verdict_html(answer, " ".join(more), demo.met_round is not None),
        f"<div class='two'><section><h2>Scorecard</h2>{scorecard_html(demo)}</section>",
        f"<section><h2>How it was done</h2>{how_html(demo)}</section></div>",
        f"<section><h2>The prints</h2>{strip_html(demo)}</section>",
        f"<section><h2>Round by round</h2>{curves_html(demo)}</section>",
        f"<section><h2>The face before and after</h2>{faces_html(demo)}</section>",
    ]
    return whole_page(demo.title, body, demo.seed)


def told_verdict(demo: DemoReport) -> list[str]:
    """Sentences that say whether and when a face was done; the first is the answer."""
    hours = {log.round: log.shop_hours for log in demo.rounds}
    met = None if demo.met_round is None else (demo.met_round, hours[demo.met_round])
    return verdict(scorecard_rows(demo.totals, demo.target), demo.rounds[-1].round, met)


def verdict_html(answer: str, more: str, met: bool) -> str:
    """The answer in a box."""
    return f"<p class='verdict {'met' if met else 'short'}'><b>{escape(answer)}</b> {escape(more)}</p>"


def whole_page(title: str, body: Sequence[str], seed: int | None, foot: str = "") -> str:
    """A page of these parts, with cautions, what the numbers are, and where it comes from.

    seed None: of no seed; foot: HTML for the end.
    """
    made = "" if seed is None else f", seed {seed}"
    parts = [
        *body,
        f"<div class='two'><section class='box'><h2>Cautions for real iron</h2>{_cautions()}</section>",
        f"<section><h2>What these numbers are, and are not</h2>{NUMBERS}</section></div>",
        f"<footer>{foot}flatwright {escape(__version__)}, physics {PHYSICS}{made}</footer>",
    ]
    before, between, after = PAGE.split("<!-- -->")
    return f"{before}{escape(title)}{between}{chr(10).join(parts)}{after}"


def _heading(demo: DemoReport) -> str:
    from sim.report.figures import about_plane_um

    length, width = demo.end_face.size_mm
    start_um = about_plane_um(demo.start_face)
    return (
        f"<p class='kicker'>flatwright · {escape(demo.hand)} hand · seed {demo.seed}</p><h1>{escape(demo.title)}</h1>"
        f"<p class='lead'>The {length:g} × {width:g} mm foot of a cast-iron stand for a school’s optics bench, as it "
        f"came from the mill out of flat by {np.nanmax(start_um) - np.nanmin(start_um):.0f} µm, to be scraped by hand "
        "until it bears evenly on the surface plate.</p>"
    )


def scorecard_html(demo: DemoReport) -> str:
    """Every figure of a face against what was wanted, as a table."""
    rows: Sequence[Row] = scorecard_rows(demo.totals, demo.target)
    words = {True: "<td class='yes'>✓ yes</td>", False: "<td class='no'>✗ no</td>", None: "<td></td>"}
    lines = []
    for row in rows:
        unit = f", <small>{escape(row.unit)}</small>" if row.unit else ""
        lines.append(
            f"<tr{' class=aside' if row.met is None else ''}><th scope='row'>{escape(row.name)}{unit}"
            f"<small class='meaning'>{escape(row.meaning)}</small></th>"
            f"<td class='n'>{row.got}</td><td>{escape(row.wanted)}</td>{words[row.met]}</tr>"
        )
    head = "<th>figure</th><th class='n'>got</th><th>wanted</th><th>met</th>".replace("<th", "<th scope='col'")
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table>"


def how_html(demo: DemoReport) -> str:
    """Hand, blades, stages and hours of a face."""
    told = [("Hand", demo.hand)]
    if demo.hand in HANDS:
        hand = HANDS[demo.hand]
        misses = f"depth ±{100.0 * hand.depth_scatter:g} %, place ±{hand.drift_mm:g} mm"
        told.append(("Pace", f"{hand.pace_per_min:g} strokes a minute, all in"))
        told.append(("Its misses", f"{misses}, direction ±{hand.direction_deg:g}°"))
    radii = ", ".join(f"{name} {blade.end_radius_mm:g}" for name, blade in RACK.items())
    material = " and ".join(dict.fromkeys(blade.material for blade in RACK.values()))
    last = demo.rounds[-1]
    told += [
        ("Blades", f"{material}, end radius in mm: {radii}"),
        *_stages(demo.rounds),
        ("Strokes", f"{last.strokes:,}"),
        ("Shop time", f"{last.shop_hours:.1f} h"),
    ]
    if "strokes_off_marks_pct" in demo.totals:
        told.append(("Off the marks", f"{demo.totals['strokes_off_marks_pct']:.1f} % of the strokes"))
    told.append(("Seed", f"{demo.seed}: the same seed and hand give the same face again"))
    items = "".join(f"<dt>{escape(name)}</dt><dd>{escape(value)}</dd>" for name, value in told)
    return (
        f"<dl>{items}</dl><p class='note'>Each round: roll the film, print the face on the plate, cut what is marked, "
        "edges and corners first, across the last direction; stone, wipe. The film and the blade get finer as the "
        "marks spread; then the large marks are split. Whoever scrapes here sees the prints and never the heights."
        f"{BANDS_NOTE if demo.against else ''}</p>"
    )


def _stages(rounds: "Sequence[RoundLog]") -> list[tuple[str, str]]:
    """Rounds in a row with one blade, and what was done in them: first and last film and push."""
    told = []
    for blade, group in groupby(rounds, key=lambda log: log.blade):
        logs = list(group)
        which = f"Rounds {logs[0].round}–{logs[-1].round}" if len(logs) > 1 else f"Round {logs[0].round}"
        films, pushes = (_span([getattr(log, name) for log in logs]) for name in ("film_um", "push_n"))
        parts = [f"{blade} blade" if blade else "no stroke"]
        parts += [f"film {films} µm"] if films else []
        parts += [f"push {pushes} N"] if pushes else []
        told.append((which, ", ".join(parts)))
    return told


def _span(values: Sequence[float]) -> str:
    """From the first value to the last, each with two figures; nothing where there is none."""
    ends = [f"{float(f'{value:.2g}'):g}" for value in (values[0], values[-1]) if not np.isnan(value)]
    return " to ".join(dict.fromkeys(ends))


def strip_html(demo: DemoReport) -> str:
    """Prints from the first round to the last."""
    from sim.report.figures import png_bytes, print_colours

    shown = []
    for log in chosen_rounds(demo.rounds, PRINTS):
        data = base64.b64encode(png_bytes(print_colours(log.picture, demo.end_face.iron))).decode()
        ny, nx = log.picture.shape
        dark_pct = 100.0 * float(log.picture.mean()) / 255.0
        alt = f"{escape(demo.title)}: print lifted in round {log.round}: mean darkness {dark_pct:.0f} %"
        shown.append(
            f"<figure><img src='data:image/png;base64,{data}' width='{nx}' height='{ny}' alt='{alt}'>"
            f"<figcaption><b>Round {log.round}</b> · {_film(log)}{log.shop_hours:.1f} h</figcaption></figure>"
        )
    return (
        f"<div class='strip'>{''.join(shown)}</div><p class='note'>As lifted from the plate, with the film that was "
        "rolled and the shop time at the end of the round. Blue is where the plate touched or nearly so; a "
        "pale middle in a dark ring is where it pressed hardest. Compare prints of one film: it gets thinner as the "
        "work gets finer, so a late print with as much blue is a much flatter face.</p>"
    )


def _film(log: "RoundLog") -> str:
    """The film of a round, for a caption; nothing where none was weighed."""
    return "" if np.isnan(log.film_um) else f"film {log.film_um:.2g} µm · "


def _curve(demo: DemoReport, curve: "Curve") -> "Callable[[Axes], None]":
    from sim.report.figures import draw_curve

    limits = demo.target if demo.against is None else SimpleNamespace(**vars(demo.target), against_um=demo.against[1])
    return partial(draw_curve, curve=curve, rounds=demo.rounds, target=limits, met_round=demo.met_round)


def _curves_of(demo: DemoReport) -> "list[Curve]":
    """The six figures of a face; where the drawing asks for it, how it lies to its datum instead of how even it is."""
    from sim.report.figures import CURVES, Curve

    if demo.against is None:
        return list(CURVES)
    lies = Curve(f"{demo.against[0]}, µm", (("", "against_um"),), (("against_um", "at most"),), log=True)
    others = [curve for curve in CURVES if curve.lines[0][1] != "spots_cv"]
    return [others[0], lies, *others[1:]]


def curves_html(demo: DemoReport) -> str:
    """Figures of a face over its rounds, drawn and as a table."""
    from sim.report.figures import themed_svg

    first, last = demo.rounds[0], demo.rounds[-1]
    shown = []
    for curve in _curves_of(demo):
        told = "; ".join(
            f"{label} from {_three(getattr(first, name))} to {_three(getattr(last, name))}".strip()
            for label, name in curve.lines
        )
        alt = f"{demo.title}: {curve.title}, rounds {first.round} to {last.round}: {told}"
        svg = themed_svg(_curve(demo, curve), PANEL_IN, alt)
        shown.append(f"<figure><figcaption>{escape(curve.title)}</figcaption>{svg}</figure>")
    ring = "" if demo.met_round is None else "A ring marks the first round that met every limit. "
    return (
        f"<div class='three'>{''.join(shown)}</div><p class='note'>{ring}Dashed lines are limits. Spots and bearing "
        "are taken after each round on a standard print that is computed, never made: thin film, gentle rub, "
        f"marks from {demo.target.spot_area_mm2:g} mm² up, in every placement of a square inch. "
        f"{'' if demo.against else 'Unevenness is drawn where the mean is at least 1.'}</p>{_rounds_table(demo)}"
    )


def _three(value: float) -> str:
    """Three figures, or that there is none."""
    return "none" if np.isnan(value) else f"{value:.3g}"


def _rounds_table(demo: DemoReport) -> str:
    columns = (
        ("round", "round", 0),
        ("strokes so far", "strokes", 0),
        ("hours so far", "shop_hours", 2),
        ("bearing flatness, µm", "bearing_flatness_um", 2),
        ("spots, mean per in²", "spots_mean", 1),
        ("spots, lowest per in²", "spots_lowest", 1),
        ("σ ÷ mean", "spots_cv", 2),
        ("bearing, %", "bearing_pct", 1),
    )
    head = "".join(f"<th scope='col' class='n'>{title}</th>" for title, _, _ in columns) + "<th scope='col'>met</th>"
    lines = []
    for log in demo.rounds:
        told = ((getattr(log, name), name, digits) for _, name, digits in columns)
        cells = "".join(f"<td class='n'>{number(value, digits_of(name, value, n))}</td>" for value, name, n in told)
        lines.append(f"<tr>{cells}<td>{'yes' if log.met else ''}</td></tr>")
    which = "The one round" if len(demo.rounds) == 1 else f"All {len(demo.rounds)} rounds"
    return (
        f"<details><summary>{which} as a table</summary><div class='wide'><table>"
        f"<thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table></div></details>"
    )


def faces_html(demo: DemoReport) -> str:
    """Maps before and after, a section, and the marks of the standard print."""
    from sim.report.figures import draw_heights, draw_marks, draw_section, themed_svg

    area = demo.target.spot_area_mm2
    at = f"x {demo.lowest_at_mm[0]:.0f}, y {demo.lowest_at_mm[1]:.0f} mm"
    least = scorecard_rows({k: v for k, v in demo.totals.items() if k == "spots_lowest"}, demo.target)
    lowest = f"{least[0].got} spots" if least else "the fewest spots"
    drawn: tuple[tuple[str, str, str, float, Callable[[Axes], None]], ...] = (  # extra_in: axis labels, colour bar
        ("Heights at the start", "Form and the tracks of the cutter.",
         "map of heights at the start", 0.9, partial(draw_heights, face=demo.start_face)),
        ("Heights at the end", "What is left of the form, and the depth of single cuts. The scale is another one.",
         "map of heights at the end", 0.9, partial(draw_heights, face=demo.end_face)),
        ("Section along the middle", "Both in one datum: what lies between is the iron that was cut away.",
         "heights along the middle of the face, at the start and at the end", 0.45,
         partial(draw_section, start=demo.start_face, end=demo.end_face)),
        ("Standard print at the end", f"The square inch lies where the fewest spots are: {lowest} at {at}. Paler marks "
         f"are smaller than {area:g} mm² and are not counted.",
         f"marks of the standard print at the end; the poorest square inch holds {lowest} at {at}", 0.45,
         partial(draw_marks, marks=demo.marks, spot_area_mm2=area, lowest_at_mm=demo.lowest_at_mm)),
    )  # fmt: skip
    tall_in = 3.2 * min(demo.end_face.size_mm[1] / demo.end_face.size_mm[0], 1.5)
    shown = [
        f"<figure><figcaption>{escape(title)}</figcaption>"
        f"{themed_svg(draw, (WIDE_IN, tall_in + extra_in), f'{demo.title}: {alt}')}"
        f"<p class='note'>{escape(note)}</p></figure>"
        for title, note, alt, extra_in, draw in drawn
    ]
    return f"<div class='pair'>{''.join(shown)}</div>"


def _cautions() -> str:
    items = "".join(f"<li><b>{escape(name)}.</b> {escape(words)}</li>" for name, words in CAUTIONS)
    return (
        "<p>Local rules, the maker’s sheets and licensed practice come first; this page replaces none of them.</p>"
        f"<ul>{items}</ul>"
    )


NUMBERS = """<p>Everything here comes from a model of iron, blue and blade, not from a real face. Parts of it are held
to published values and to an independent contact solver; the force of the blade was fitted to two measured forces.</p>
<p>Many numbers are from memory or common practice: pace, scatter of a hand, what an eye counts, how deep pockets should
be. Take those as shop rules, and the hours as a way to compare two ways of working, not as an estimate for a job.</p>
<p><code>flatwright model</code> lists every parameter with its unit, range and where it comes from.</p>"""

PAGE = """<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<meta http-equiv="Content-Security-Policy" content="default-src 'none'; img-src data:; style-src 'unsafe-inline'">
<title><!-- --></title>
<style>
:root{--paper:#f5f3ef;--card:#fffefc;--ink:#23272b;--muted:#5a6168;--line:#d5d1c9;
--rust:#a5411b;--yes:#2b6a3c;--no:#a3241c}
@media screen and (prefers-color-scheme:dark){:root{--paper:#17191b;--card:#1f2225;--ink:#e8e5df;--muted:#a9afb4;
--line:#3c4146;--rust:#f19468;--yes:#86cb9c;--no:#ff958c}}
*{box-sizing:border-box}
body{margin:0 auto;max-width:70rem;padding:2rem clamp(1rem,4vw,2.5rem) 3rem;background:var(--paper);color:var(--ink);
font:1rem/1.5 system-ui,"Segoe UI",Roboto,"Helvetica Neue","Liberation Sans","DejaVu Sans",sans-serif}
h1{font-size:clamp(1.6rem,5vw,2.4rem);line-height:1.15;margin:.1em 0 .3em;letter-spacing:-.01em;overflow-wrap:anywhere}
h2{font-size:1.2rem;margin:2.2rem 0 .7rem}h3{font-size:1rem;margin:1.4rem 0 .5rem}
h2.face{font-size:1.6rem;margin-top:3rem;padding-top:1rem;border-top:2px solid var(--rust)}
.kicker{margin:0;color:var(--rust);font-weight:600;font-size:.9rem}
.lead{margin:0;max-width:44rem;color:var(--muted);font-size:1.1rem}
.verdict{margin:1.4rem 0 0;padding:.8rem 1rem;background:var(--card);border:1px solid var(--line);
border-left:.4rem solid var(--tone);border-radius:.4rem}
.verdict b{color:var(--tone);margin-right:.3rem}
.verdict ul{margin:.4rem 0 0}.verdict li{margin:.15rem 0}
.met{--tone:var(--yes)}.short{--tone:var(--no)}.even{--tone:var(--rust)}
.two,.pair,.three,.strip{display:grid;gap:1rem 1.5rem}
.two{grid-template-columns:minmax(0,1.25fr) minmax(0,1fr);align-items:start}
.pair{grid-template-columns:repeat(2,minmax(0,1fr))}
.three{grid-template-columns:repeat(auto-fit,minmax(min(18rem,100%),1fr));gap:1rem}
.strip{grid-template-columns:repeat(4,minmax(0,1fr));gap:.9rem}
@media (max-width:46rem){.strip{grid-template-columns:repeat(2,minmax(0,1fr))}
.two,.pair{grid-template-columns:minmax(0,1fr)}.two{gap:0}}
figure{margin:0;min-width:0}
.three figure,.pair figure,figure.card{background:var(--card);border:1px solid var(--line);border-radius:.4rem;
padding:.7rem .8rem}
figcaption{font-weight:600;font-size:.92rem}.strip figcaption{font-weight:400;color:var(--muted);font-size:.85rem}
.strip b{color:var(--ink)}
.strip img{display:block;width:100%;height:auto;border-radius:.15rem}
svg.chart{display:block;width:100%;height:auto;overflow:visible}
svg.chart *{stroke-linejoin:round;stroke-linecap:butt}svg.chart text{font-family:inherit!important}
.note{color:var(--muted);font-size:.88rem;margin:.6rem 0 0;max-width:48rem}.pair .note{margin-top:.3rem}
table{border-collapse:collapse;width:100%;font-size:.92rem;font-variant-numeric:tabular-nums}
th,td{text-align:left;padding:.32rem .8rem .32rem 0;border-bottom:1px solid var(--line);vertical-align:baseline}
thead th{color:var(--muted);font-weight:500;font-size:.84rem}tbody th{font-weight:500}.n{text-align:right}
.n+:not(.n){padding-left:.8rem}
.keep{white-space:nowrap}.aside th,.aside td{font-weight:400;color:var(--muted)}.aside .n{color:var(--ink)}
.yes{color:var(--yes);font-weight:600;white-space:nowrap}.no{color:var(--no);font-weight:600;white-space:nowrap}
small{font-size:.86em;color:var(--muted)}.meaning{display:block;font-weight:400;line-height:1.3}
dl{display:grid;grid-template-columns:max-content minmax(0,1fr);gap:.3rem 1rem;margin:0;font-size:.95rem}
dt{color:var(--muted)}dd{margin:0;overflow-wrap:anywhere}
details{margin-top:1rem}summary{cursor:pointer;color:var(--rust);font-weight:600;padding:.3rem 0}
.wide{overflow-x:auto}figure+.wide{margin-top:.8rem}
.wide td,.wide th{padding:.25rem .5rem}.wide thead th{white-space:normal;min-width:4.2rem}
.box{background:var(--card);border:1px solid var(--line);border-left:.4rem solid var(--rust);border-radius:.4rem;
padding:0 1.2rem .6rem;margin-top:2.2rem}.box h2{margin-top:1rem}
ul{padding-left:1.1rem;margin:.6rem 0}li{margin:.35rem 0}code{font-size:.92em}
footer{margin-top:2.5rem;padding-top:.8rem;border-top:1px solid var(--line);color:var(--muted);font-size:.85rem}
@page{margin:14mm}
@media print{:root{--paper:#fff;--card:#fff;font-size:9pt}body{padding:0;max-width:none}
.two{grid-template-columns:1.25fr 1fr;gap:1.5rem}
h2{margin-top:1.4rem}.wide td,.wide th{padding:.1rem .4rem}footer{margin-top:1rem}
.strip{grid-template-columns:repeat(6,1fr)}.three{grid-template-columns:repeat(3,1fr)}
.pair{grid-template-columns:1fr 1fr}
figure,tr,.verdict,.box,.box+section{break-inside:avoid}h2{break-after:avoid}
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}
details::details-content{content-visibility:visible;block-size:auto}}
</style>
</head>
<body>
<!-- -->
</body>
</html>
"""
