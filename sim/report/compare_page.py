"""The page of a comparison: which way got there soonest and how surely, drawn, in tables, and how to see any trial."""

import math
from collections.abc import Sequence
from functools import partial
from html import escape
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.hands.strategy import STRATEGIES
from sim.report import compare_words as words
from sim.report.compare_asked import (
    ComparisonReport,
    asked_html,
    failed_html,
    name_html,
    notes_html,
    replay_html,
    run_html,
    table_html,
)
from sim.report.page import whole_page
from sim.report.tables import PER_IN2
from sim.trials.comparison import Pair, Summary, Summed
from sim.trials.trial import CURVE, Outcome
from sim.units import counted

if TYPE_CHECKING:

    from sim.report.compare_figures import Band

MOST_LINES = 4  # in one chart; more get a chart each
MOST_PAIRS = 10  # drawn; of more, those with the one that leads
MOST_CROSSINGS = 6  # drawn; of more, those with the first way
COLUMNS = (  # name in the summary, words, unit, digits
    ("hours", "hours", "", 1), ("rounds", "rounds", "", 0), ("strokes", "strokes", "", 0),
    ("removed_mm3", "iron taken off", "mm³", 0), ("bearing_flatness_um", "bearing flatness", "µm", 2),
    ("spots_mean", "spots, mean", PER_IN2, 1), ("spots_lowest", "spots, lowest square", PER_IN2, 0),
    ("bearing_pct", "bearing", "%", 1), ("against_um", "against the datum", "µm", 1),
)  # fmt: skip
OVER_ROUNDS = (  # of CURVE and Target: title, words of the limit, whether the axis is logarithmic
    ("bearing_flatness_um", "Bearing flatness, µm", "at most", True),
    ("spots_lowest", f"Spots in the lowest square, {PER_IN2}", "at least", False),
)
OVER_NOTE = (
    "Solid line and band: this way, median and 10 to 90 % of the trials that count; a face that is done keeps its last "
    "figures. Dashed: {}, for comparison. Dotted: what the target asks."
)


def comparison_page(told: ComparisonReport, measured: bool = True) -> str:
    """The page as one HTML text.

    Parameters
    ----------
    measured : bool
        Whether to tell what this run took: all that may differ from run to run of the same trials.
    """
    title = _title(told)
    body = [f"<header><p class='kicker'>flatwright · compare</p><h1>{escape(title)}</h1>"
            f"<p class='lead'>{escape(_lead(told))}</p></header>"]  # fmt: skip
    if told.asked.vary and len(told.values) > 1:
        body += [_varied_answer(told), _along_html(told)]
    for value in told.values:
        body += _at_value(told, value)
    body += [f"<div class='two'><section><h2>What was asked</h2>{asked_html(told)}</section>",
             f"<section><h2>Read with care</h2>{notes_html(told)}</section></div>",
             f"<section><h2>To see a trial</h2>{replay_html(told)}</section>"]  # fmt: skip
    failed = [one for one in told.outcomes if one.fault]
    if failed:
        body.append(f"<section><h2>Trials that failed</h2>{failed_html(told, failed)}</section>")
    return whole_page(title, body, None, run_html(told) if measured else "")


def _title(told: ComparisonReport) -> str:
    names = told.names
    ways = " against ".join(names) if 0 < len(names) < 3 else f"{len(names)} ways of working"
    if told.asked.vary and len(told.values) == 1:
        return f"{ways}, {told.asked.vary} {told.values[0]:g} {words.unit_of(told.asked.vary)}"
    return f"{ways} as {told.asked.vary} varies" if told.asked.vary else ways


def _lead(told: ComparisonReport) -> str:
    asked = told.asked
    faces = counted(asked.runs, "face")
    at = f" at {counted(len(asked.values), 'value')} of {asked.vary}" if len(asked.values) > 1 else ""
    same = "Each way worked the same" if len(asked.ways) > 1 else "It worked"
    luck = ", with the same luck" if len(asked.ways) > 1 else ""
    of = asked.runs * len(asked.ways) * max(len(asked.values), 1)
    done = "" if len(told.outcomes) == of else f" {len(told.outcomes):,} of {of:,} trials are done so far."
    return f"{same} {faces}{at}{luck}, by the {asked.hand} hand, until the target was met or given up.{done}"


# ---------------------------------------------------------------- at one value


def _at_value(told: ComparisonReport, value: float) -> list[str]:
    """Answer, table and charts for one value of what is varied."""
    found = words.at_value(told.found, value)
    outcomes = [one for one in told.outcomes if one.varied == value or math.isnan(value)]
    where = "" if math.isnan(value) else f"{told.asked.vary} {value:g} {words.unit_of(told.asked.vary)}"
    parts = [f"<h2 class='face'>{escape(where)}</h2>"] if where else []
    parts += [_answer_html(found), f"<section><h2>Each way by itself</h2>{_ways_html(told, found)}</section>"]
    sound = [one for one in outcomes if not one.fault]
    if not sound:
        return parts
    parts += [f"<section><h2>Hours</h2>{_hours_html(found, sound, where)}</section>",
              f"<section><h2>Chance of being done</h2>{_chance_html(found, sound, where)}</section>"]  # fmt: skip
    if found.pairs:
        parts.append(f"<section><h2>On the same faces</h2>{_pairs_html(found, where)}</section>")
    rounds = _rounds_html(told, found, sound, where)
    if len(told.values) > 1:
        rounds = f"<details><summary>Drawn for each way</summary>{rounds}</details>"
    return [*parts, f"<section><h2>Over the rounds</h2>{rounds}</section>"]


def _answer_html(found: Summary) -> str:
    answer, more = words.headline(found)
    lead = words.leading(found)
    rivals = lead is not None and any(not one.sooner_borne_out for one in words.beside(found, lead))
    tone = "short" if lead is None else "even" if rivals else "met"
    items = "".join(f"<li>{escape(one)}</li>" for one in more)
    return f"<div class='verdict {tone}'><b>{escape(answer)}</b>{f'<ul>{items}</ul>' if items else ''}</div>"


def _ways_html(told: ComparisonReport, found: Summary) -> str:
    columns = [one for one in COLUMNS if any(math.isfinite(way.figures[one[0]].median) for way in found.strategies)]
    failed = any(one.failed for one in found.strategies)
    lines = []
    for way in found.strategies:
        met = f"{words.met_count(way)} of {way.runs}" if way.runs else words.DASH
        chance = f"{100.0 * way.chance_met.value:.0f} % ({words.chance_span(way.chance_met)})" if way.runs else ""
        cells = _cell(met, chance)
        cells += "".join(_cell(*words.spread_words(way.figures[name], digits)) for name, _, _, digits in columns)
        cells += _cell(str(way.failed), "") if failed else ""
        doc = escape(_doc(told, way.strategy))
        lines.append(f"<tr><th scope='row'>{name_html(way.strategy)}<small class='meaning'>{doc}</small></th>"
                     f"{cells}</tr>")  # fmt: skip
    heads = ["way", "met the target", *(f"{title}, {unit}" if unit else title for _, title, unit, _ in columns)]
    spent = any(words.met_count(one) < one.runs for one in found.strategies)
    given_up = (" Hours of a trial that was given up are those spent, so a way that often gives up is slower than its "
                "hours say.") if spent else ""  # fmt: skip
    table = table_html([*heads, *(["failed"] if failed else [])], lines)
    return (f"{table}<p class='note'>Large: the median of all trials that count. Small: from 10 to 90 % of "
            "them; of the target met, its share and the 95 % interval of the "
            f"chance. Figures are those at the end, of the poorest face.{given_up}</p>")  # fmt: skip


def _cell(large: str, small: str) -> str:
    below = f"<small class='meaning'>{escape(small)}</small>" if small else ""
    return f"<td class='n keep'>{escape(large)}{below}</td>"


def _doc(told: ComparisonReport, label: str) -> str:
    name = label.partition(":")[0]
    known = STRATEGIES.get(name)
    return told.docs.get(name, known.doc if known else "")


def _hours_html(found: Summary, sound: list[Outcome], where: str) -> str:
    from sim.report.compare_figures import MOST_DOTS, Hours, draw_spread, spread_size

    rows = []
    for way in found.strategies:
        mine = [one for one in sound if one.strategy == way.strategy]
        met, short = (np.array([one.hours for one in mine if one.met == is_met]) for is_met in (True, False))
        rows.append(Hours(way.strategy, met, short, way.figures["hours"]))
    alt = "; ".join(f"{way.strategy} {' from '.join(w for w in words.spread_words(way.figures['hours'], 1) if w)}"
                    for way in found.strategies)  # fmt: skip
    thinned = any(len(hours) > MOST_DOTS for row in rows for hours in (row.met, row.not_met))
    note = f"<p class='note'>Of more than {MOST_DOTS} dots every so manyth is drawn.</p>" if thinned else ""
    return _card(partial(draw_spread, rows=rows), spread_size(len(rows)), f"{where} Spread of hours: {alt}") + note


def _chance_html(found: Summary, sound: list[Outcome], where: str) -> str:
    from sim.report.compare_figures import PANEL_IN, WIDE_IN, Reached, draw_chance

    lines = [Reached(way.strategy, np.array([one.hours for one in sound if one.strategy == way.strategy and one.met]),
                     way.runs, way.chance_met) for way in found.strategies]  # fmt: skip
    last_h = max((one.hours for one in sound if math.isfinite(one.hours)), default=1.0)
    alt = "; ".join(f"{way.strategy} {words.surely(way)}" for way in found.strategies if way.runs)
    note = ("<p class='note'>Share of all trials that count whose target was met by then, in steps. At the right: the "
            "share at the end, with its 95 % interval.")  # fmt: skip
    if len(lines) <= MOST_LINES:
        tall = 2.9 + 0.2 * (len(lines) > 2)
        draw = partial(draw_chance, lines=lines, last_h=last_h)
        return f"{_card(draw, (WIDE_IN, tall), f'{where} Chance of being done against shop hours: {alt}')}{note}</p>"
    lead = _reference(found)
    beside = next(line for line in lines if line.name == lead.strategy)
    shown = []
    for line in lines:
        both = [line] if line is beside else [line, beside]
        draw = partial(draw_chance, lines=both, last_h=last_h, named=False)
        shown.append((line.name, draw, (PANEL_IN[0], 1.9), f"{where} Chance of being done: {line.name}"))
    return f"{_panels(shown)}{note} Dashed: {escape(lead.strategy)}, for comparison.</p>"


def _reference(found: Summary) -> Summed:
    """The way that others are drawn beside: the one that leads, else the first."""
    return words.leading(found) or found.strategies[0]


def _pairs_html(found: Summary, where: str) -> str:
    from sim.report.compare_figures import difference_size, draw_differences

    pairs = [one for one in found.pairs if one.pairs]
    lead = _reference(found).strategy
    drawn = list(pairs)
    if len(pairs) > MOST_PAIRS:
        drawn = [one if one.b == lead else words.turned(one) for one in pairs if lead in (one.a, one.b)]
    alt = "; ".join(f"{one.a} beside {one.b}: {words.difference(one.hours_difference, one.pairs)}" for one in drawn)
    draw = partial(draw_differences, rows=[(one.a, one.b, one.hours_difference) for one in drawn])
    size = difference_size(len(drawn))
    chart = _card(draw, size, f"{where} Paired differences of hours: {alt}") if drawn else ""
    only = f" Drawn are those with {escape(lead)}." if len(drawn) < len(pairs) else ""
    note = ("Hours of the first less those of the second, on the same faces. A hollow dot: the interval holds nought, "
            f"or there are too few faces for one.{only} Sooner: it met the target and the other did not, or later. "
            "Variance ratio: that of the differences on the same faces to that on different ones, as these runs "
            "have it; under 1 the same faces and luck narrowed the intervals, over 1 they widened them.")
    table = _pairs_table(found.pairs)
    if len(found.pairs) > MOST_PAIRS:
        table = f"<details><summary>All {len(found.pairs)} pairs as a table</summary>{table}</details>"
    return f"{chart}{table}<p class='note'>{note}</p>"


def _pairs_table(pairs: Sequence[Pair]) -> str:
    lines = []
    for one in pairs:
        hours = one.hours_difference
        digits = words.places(hours.value, hours.low, hours.high)
        numbers = (words.told(hours.value, digits, "+"), words.span(hours.low, hours.high, digits),
                   str(one.a_sooner), str(one.b_sooner), str(one.pairs), words.told(one.variance_ratio, 2))
        cells = "".join(f"<td class='n keep'>{text}</td>" for text in numbers)
        lines.append(f"<tr><th scope='row'>{name_html(one.a)}</th><td>{name_html(one.b)}</td>{cells}"
                     f"<td>{escape(words.pairing(one.variance_ratio, one.pairs))}</td></tr>")  # fmt: skip
    return table_html(["first", "second", "hours, median", "95 % interval", "first sooner", "second sooner", "of faces",
                   "variance ratio", "what pairing did"], lines, (2, 8))  # fmt: skip


def _rounds_html(told: ComparisonReport, found: Summary, sound: list[Outcome], where: str) -> str:
    from sim.report.compare_figures import PANEL_IN, band, draw_band, reach_of

    lead = _reference(found).strategy
    parts = []
    for figure, title, ask, log in OVER_ROUNDS:
        column, limit = CURVE.index(figure), float(getattr(told.target, figure))
        bands: dict[str, Band] = {}
        for way in found.strategies:
            mine = [one.curve for one in sound if one.strategy == way.strategy]
            bands[way.strategy] = band(way.strategy, [[row[column] for row in curve] for curve in mine])
        rounds = max(len(one.median) for one in bands.values())
        reach = reach_of(list(bands.values()), limit, log)
        shown = []
        for name, one in bands.items():
            draw = partial(draw_band, mine=one, other=None if name == lead else bands[lead], rounds=rounds,
                           limit=(ask, limit), log=log, reach=reach)  # fmt: skip
            shown.append((name, draw, PANEL_IN, f"{where} {title} over the rounds: {name}"))
        parts.append(f"<h3>{escape(title)}</h3>{_panels(shown)}")
    first = " Of the first face." if len(told.asked.start.shape.faces) > 1 else ""
    return f"{''.join(parts)}<p class='note'>{escape(OVER_NOTE.format(lead))}{first}</p>"


# ---------------------------------------------------------------- where something is varied


def _varied_answer(told: ComparisonReport) -> str:
    lines = [words.crossing_words(one, told.asked.vary, told.values, told.found) for one in told.found.crossings]
    crossed = any(math.isfinite(one.at.value) for one in told.found.crossings)
    unit = words.unit_of(told.asked.vary)
    for value in told.values:
        answer, _ = words.headline(words.at_value(told.found, value))
        lines.append(f"At {value:g} {unit} {answer[:1].lower()}{answer[1:]}")
    first, *more = lines
    items = "".join(f"<li>{escape(one)}</li>" for one in more)
    return f"<div class='verdict {'met' if crossed else 'even'}'><b>{escape(first)}</b><ul>{items}</ul></div>"


def _along_html(told: ComparisonReport) -> str:
    from sim.report.compare_figures import WIDE_IN, Along, draw_along

    along = {}
    for name in told.names:
        mine = sorted((one for one in told.found.strategies if one.strategy == name), key=lambda one: one.varied)
        along[name] = Along(name, np.array([one.varied for one in mine]), tuple(one.figures["hours"] for one in mine))
    shown = list(told.found.crossings)
    if len(shown) > MOST_CROSSINGS:
        shown = [one for one in shown if told.names[0] in (one.a, one.b)]
    what = f"{told.asked.vary}, {words.unit_of(told.asked.vary)}"
    size = (WIDE_IN, 3.3) if len(shown) == 1 else (3.8, 2.7)
    figures = []
    for one in shown:
        draw = partial(draw_along, a=along[one.a], b=along[one.b], crossing=one.at, words=what)
        alt = words.crossing_words(one, told.asked.vary, told.values, told.found)
        figures.append(_card(draw, size, f"Hours against {told.asked.vary}: {alt}"))
    charts = figures[0] if len(figures) == 1 else f"<div class='pair'>{''.join(figures)}</div>"
    note = ("Lines and bands: median and 10 to 90 % of the hours. Shaded: the 95 % interval of where the medians of "
            "the differences on the same faces cross, between the values by a straight line. It need not lie where the "
            "lines cross: those are medians of each way by itself.")  # fmt: skip
    return f"<section><h2>Hours against {escape(what)}</h2>{charts}<p class='note'>{note}</p></section>"


# ---------------------------------------------------------------- parts of a page


def _card(draw: Any, size_in: tuple[float, float], alt: str) -> str:
    from sim.report.figures import themed_svg

    return f"<figure class='card'>{themed_svg(draw, size_in, alt.strip())}</figure>"


def _panels(shown: Sequence[tuple[str, Any, tuple[float, float], str]]) -> str:
    """Charts side by side: caption, what draws it, inches, words for those who do not see it."""
    from sim.report.figures import themed_svg

    figures = [f"<figure><figcaption>{name_html(name)}</figcaption>{themed_svg(draw, size_in, alt.strip())}</figure>"
               for name, draw, size_in, alt in shown]  # fmt: skip
    return f"<div class='{'pair' if len(shown) in (2, 4) else 'three'}'>{''.join(figures)}</div>"
