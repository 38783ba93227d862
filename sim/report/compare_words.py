"""What a comparison bears out, in sentences: nothing is claimed that its intervals do not hold up."""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sim.trials import stats
from sim.trials.comparison import VARIED, Crossing, Pair, Summary, Summed
from sim.trials.stats import Interval, Spread
from sim.units import counted, shown_unit

CANNOT_TELL = "no difference in hours that these runs can tell"
MINUS, DASH = "\N{MINUS SIGN}", "\N{EN DASH}"


@dataclass(frozen=True)
class Beside:
    """A way beside the one that leads, on the same faces.

    Attributes
    ----------
    way : Summed
    hours : Interval
        Its hours less those of the one that leads.
    lead_sooner, way_sooner : int
        Faces on which one met the target and the other did not, or later.
    pairs : int
    sooner_borne_out : bool
        Whether the one that leads got there sooner, by the intervals: more often than not, and in fewer hours or with
        a better chance.
    """

    way: Summed
    hours: Interval
    lead_sooner: int
    way_sooner: int
    pairs: int
    sooner_borne_out: bool


def at_value(found: Summary, varied: float) -> Summary:
    """What is said at one value of what is varied; all of it for NaN."""
    if math.isnan(varied):
        return found
    return replace(found, strategies=tuple(one for one in found.strategies if one.varied == varied),
                   pairs=tuple(one for one in found.pairs if one.varied == varied))  # fmt: skip


def turned(pair: Pair) -> Pair:
    """The same pair, told from the other one."""
    hours = pair.hours_difference
    return replace(pair, a=pair.b, b=pair.a, hours_difference=Interval(-hours.value, -hours.high, -hours.low),
                   a_sooner=pair.b_sooner, b_sooner=pair.a_sooner)  # fmt: skip


def leading(found: Summary) -> Summed | None:
    """The way that was sooner than most others on most faces; then the surer, then the quicker. None where none met."""
    def rank(one: Summed) -> tuple[int, float, float]:
        mine = [pair if pair.a == one.strategy else turned(pair) for pair in found.pairs
                if one.strategy in (pair.a, pair.b)]  # fmt: skip
        beaten = sum((pair.a_sooner > pair.b_sooner) - (pair.a_sooner < pair.b_sooner) for pair in mine)
        return -beaten, -one.chance_met.value, one.figures["hours"].median

    reached = [one for one in found.strategies if one.runs and one.chance_met.value > 0.0]
    return min(reached, key=rank) if reached else None


def beside(found: Summary, lead: Summed) -> list[Beside]:
    """Every other way beside the one that leads, in the order asked."""
    told = []
    for way in found.strategies:
        pair = next((one for one in found.pairs if {one.a, one.b} == {way.strategy, lead.strategy}), None)
        if pair is None or way.strategy == lead.strategy:
            continue
        pair = pair if pair.a == way.strategy else turned(pair)
        share = stats.chance(pair.b_sooner, pair.a_sooner + pair.b_sooner)
        surer = lead.chance_met.low > way.chance_met.high
        borne_out = share.low > 0.5 and (pair.hours_difference.low > 0.0 or surer)
        told.append(Beside(way, pair.hours_difference, pair.b_sooner, pair.a_sooner, pair.pairs, borne_out))
    return told


ENOUGH = 20
"""Faces from which a difference of a third of its scatter can be told: common practice, no source."""


def headline(found: Summary) -> tuple[str, list[str]]:
    """The answer, and what there is to say of each way, for one value of what is varied.

    Returns
    -------
    answer : str
        Which way got there soonest; that it cannot be told, if it cannot.
    more : list of str
        A sentence for each way, the one that leads first.
    """
    lead = leading(found)
    if lead is None:
        if not any(one.runs for one in found.strategies):
            return "There is nothing to tell: every trial failed.", []
        answer = "The target was never met." if len(found.strategies) == 1 else "None of these ways met the target."
        return answer, [f"{one.strategy}: {surely(one)}." for one in found.strategies]
    others = beside(found, lead)
    first = f"{lead.strategy}: {hours_of(lead)}, {surely(lead)}."
    more = [first, *(_beside(one, lead) for one in others)]
    rivals = [one.way.strategy for one in others if not one.sooner_borne_out and one.way.runs]
    unknown = [one.strategy for one in found.strategies if not one.runs]
    if not others:
        return f"{lead.strategy} met the target on {met_count(lead)} of {counted(lead.runs, 'face')}.", [first]
    if rivals or unknown:
        names, few = listed([lead.strategy, *rivals, *unknown], "or"), rivals and lead.runs < ENOUGH
        why = f"; {counted(lead.runs, 'face')} are too few, take {ENOUGH} or more" if few else ""
        return f"Which way gets there soonest these runs cannot tell: {names}{why}.", more
    return f"{lead.strategy} got there soonest.", more


def _beside(one: Beside, lead: Summed) -> str:
    if not one.way.runs:
        return f"{one.way.strategy}: every trial failed."
    if not one.pairs:
        return f"{one.way.strategy}: {surely(one.way)}; no face that both have worked."
    short = met_count(one.way) < one.way.runs or met_count(lead) < lead.runs
    return f"{one.way.strategy}: {difference(one.hours, one.pairs, spent=short)}; {surely(one.way)}."


def difference(hours: Interval, pairs: int, spent: bool = False) -> str:
    """How many hours longer or less on the same faces, or that it cannot be told; spent: some were given up."""
    if math.isnan(hours.value):
        return "no face to compare"
    words = ("more spent" if spent else "longer") if hours.value > 0.0 else "less spent" if spent else "shorter"
    size = told(abs(hours.value), places(hours.value))
    if math.isnan(hours.low):
        return f"{size} h {words} in the median of {counted(pairs, 'face')}, too few for an interval"
    if hours.low <= 0.0 <= hours.high:
        return f"{CANNOT_TELL}, 95 % interval {span(hours.low, hours.high)} h"
    ends = (hours.low, hours.high) if hours.low > 0.0 else (-hours.high, -hours.low)
    digits = places(*ends, hours.value)
    size = told(abs(hours.value), digits)
    return f"{size} h {words} on the same faces, 95 % interval {told(ends[0], digits)} to {told(ends[1], digits)}"


def pairing(ratio: float, pairs: int) -> str:
    """What the same faces and luck did for the difference.

    Notes
    -----
    With no correlation the ratio lies within 1.96 / sqrt(pairs - 1) of 1 in about 95 of 100 comparisons; what is
    nearer to 1 is not told apart from it.
    """
    if math.isnan(ratio) or pairs < 3:
        return "too few faces, or nothing varies"
    if abs(ratio - 1.0) <= 1.96 / math.sqrt(pairs - 1):
        return "no gain or loss that these runs can tell"
    if ratio < 1.0:
        return f"narrowed: worth {1.0 / max(ratio, 0.001):,.1f} times as many faces unpaired"
    return f"widened: {1.0 / ratio:.2f} times as many faces unpaired would do"


def crossing_words(one: Crossing, what: str, values: Sequence[float], found: Summary) -> str:
    """Where two ways cross, and which takes fewer hours at either end, as far as the intervals there bear it out."""
    unit = unit_of(what)
    low, high = min(values), max(values)
    if one.pairs == 0:
        return f"{one.a} and {one.b}: no face that both have worked at every value."
    faces = counted(one.pairs, "face")
    if math.isnan(one.at.value):
        return f"{one.a} and {one.b} do not cross from {low:g} to {high:g} {unit} ({faces})."
    interval = "too few faces for an interval"
    if not math.isnan(one.at.low):
        interval = f"95 % interval {end(one.at.low, values)} to {end(one.at.high, values)} {unit}"
    said = f"{one.a} and {one.b} cross at a {what} of {one.at.value:.0f} {unit}, {interval}, {faces}."
    fewer = [_fewer(pair, low, high) for pair in found.pairs if (pair.a, pair.b) == (one.a, one.b)]
    under, over = (next((name for end_, name in fewer if end_ == which), "") for which in ("low", "high"))
    if under and over and under != over:
        return f"{said} At {low:g} {unit} {under} takes fewer hours, at {high:g} {unit} {over}."
    return f"{said} Which of them is ahead at both ends these runs cannot tell."


def _fewer(pair: Pair, low: float, high: float) -> tuple[str, str]:
    """End of the range, and who takes fewer hours there; '' where it is no end or cannot be told."""
    which = "low" if pair.varied == low else "high" if pair.varied == high else ""
    hours = pair.hours_difference
    return which, pair.a if hours.high < 0.0 else pair.b if hours.low > 0.0 else ""


# ---------------------------------------------------------------- figures as words


def hours_of(one: Summed) -> str:
    """Hours in the median; of trials that were given up too, those spent."""
    spent = "" if met_count(one) == one.runs else " spent"
    return f"{told(one.figures['hours'].median, 1)} h{spent} in the median"


def surely(one: Summed) -> str:
    """On how many faces a way met the target, with the interval of the chance; failed trials are told."""
    failed = f", {counted(one.failed, 'trial')} failed" if one.failed else ""
    return f"met on {met_count(one)} of {one.runs} ({chance_span(one.chance_met)}){failed}"


def met_count(one: Summed) -> int:
    """On how many faces a way met the target."""
    return round(one.chance_met.value * one.runs) if one.runs else 0


def chance_span(chance: Interval) -> str:
    """The interval of a chance, in per cent."""
    if math.isnan(chance.low):
        return "no interval"
    return f"{100.0 * chance.low:.0f}{DASH}{100.0 * chance.high:.0f} %"


def places(*values: float) -> int:
    """Decimals of hours: one, or as many as it takes, up to three, that none but nought is told as nought."""
    for digits in (1, 2):
        if all(v == 0.0 or not math.isfinite(v) or float(f"{v:.{digits}f}") != 0.0 for v in values):
            return digits
    return 3


def told(value: float, digits: int, sign: str = "") -> str:
    """A number with a true minus and no sign before nought; an en dash where there is none."""
    if not math.isfinite(value):
        return DASH
    return re.sub(r"^-", MINUS, re.sub(r"^[-+](?=0(\.0*)?$)", "", f"{value:{sign}z,.{digits}f}"))


def span(low: float, high: float, digits: int | None = None) -> str:
    """From and to, signed."""
    if math.isnan(low):
        return DASH
    digits = places(low, high) if digits is None else digits
    return f"{told(low, digits, '+')} to {told(high, digits, '+')}"


def spread_words(spread: Spread, digits: int) -> tuple[str, str]:
    """Median, and from 10 to 90 %; the second is empty where there is none."""
    if math.isnan(spread.median):
        return DASH, ""
    return told(spread.median, digits), f"{told(spread.p10, digits)}{DASH}{told(spread.p90, digits)}"


def end(value: float, values: Sequence[float]) -> str:
    """An end of the interval of a crossing; beyond the range where it is infinite."""
    if math.isinf(value):
        return f"below {min(values):g}" if value < 0.0 else f"beyond {max(values):g}"
    return told(value, 0)


def unit_of(what: str) -> str:
    """Unit of what is varied, as it is shown."""
    return shown_unit(VARIED[what].unit) if what in VARIED else ""


def listed(names: Sequence[str], last: str = "and") -> str:
    """Names with commas, and a word before the last."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} {last} {names[-1]}"


def duration(hours: float) -> str:
    """A time as it is read: minutes, hours or days."""
    if hours < 1.5:
        return f"{60.0 * hours:.0f} min" if hours >= 1.0 / 60.0 else f"{3600.0 * hours:.1f} s"
    return f"{hours:.1f} h" if hours < 48.0 else f"{hours / 24.0:,.1f} days"


def named(strategy: str, seed: int, varied: float) -> str:
    """A trial as `--job` takes it."""
    return f"{strategy}@{seed}" + ("" if math.isnan(varied) else f"@{varied:g}")


def job_file(name: str) -> str:
    """The file that `--job` writes for a trial of this name."""
    return f"{re.sub(r'[^a-z0-9.=-]+', '-', name)}.job"
