"""What a comparison says, as a JSON object and as tables for a terminal."""

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from rich.table import Table

from sim.report import compare_words as words
from sim.trials.comparison import Asked, Summary, summary
from sim.trials.stats import Interval, Spread
from sim.trials.trial import Outcome


def comparison_answer(asked: Asked, outcomes: list[Outcome]) -> dict[str, Any]:
    """The JSON object; for each value of what is varied, and over all of them, where a face comes once for each and
    nothing is said of how sure a figure is."""
    pooled = summary([replace(one, varied=math.nan, seed=_apart(one, asked)) for one in outcomes])
    pooled = _unsure(pooled) if len(asked.values) > 1 else pooled
    told = _answer_of(pooled) | {"trials": len(outcomes), "failed": sum(bool(one.fault) for one in outcomes)}
    if asked.vary:
        found = summary(outcomes)
        told["varied"] = {
            "name": asked.vary, "unit": "um",
            "values": [{"value": value} | _answer_of(words.at_value(found, value)) for value in asked.values],
            "crossings": [{"a": one.a, "b": one.b, "pairs": one.pairs, "at_um": _interval(one.at)}
                          for one in found.crossings],
        }  # fmt: skip
    return told


def _unsure(found: Summary) -> Summary:
    """Without intervals and what else takes trials for independent."""
    met = [replace(one, chance_met=replace(one.chance_met, low=math.nan, high=math.nan)) for one in found.strategies]
    pairs = [replace(one, variance_ratio=math.nan,
                     hours_difference=replace(one.hours_difference, low=math.nan, high=math.nan))
             for one in found.pairs]  # fmt: skip
    return replace(found, strategies=tuple(met), pairs=tuple(pairs))


def _apart(outcome: Outcome, asked: Asked) -> int:
    """A number for the face of an outcome that no other value has."""
    value = 0 if math.isnan(outcome.varied) else asked.values.index(outcome.varied)
    return outcome.seed + value * asked.runs


def _answer_of(found: Summary) -> dict[str, Any]:
    strategies = {
        one.strategy: {name: _spread(got) for name, got in one.figures.items()}
        | {"chance_met": _interval(one.chance_met, ("value", "low", "high")), "runs": one.runs, "failed": one.failed}
        for one in found.strategies
    }
    pairs = [{"a": one.a, "b": one.b, "pairs": one.pairs, "hours_difference": _interval(one.hours_difference),
              "a_sooner": one.a_sooner, "b_sooner": one.b_sooner, "variance_ratio": _known(one.variance_ratio)}
             for one in found.pairs]  # fmt: skip
    return {"strategies": strategies, "pairs": pairs}


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _spread(one: Spread) -> dict[str, float | None]:
    return {"median": _known(one.median), "p10": _known(one.p10), "p90": _known(one.p90)}


def _interval(one: Interval, names: tuple[str, str, str] = ("median", "low", "high")) -> dict[str, float | None]:
    return dict(zip(names, (_known(one.value), _known(one.low), _known(one.high)), strict=True))


def comparison_tables(asked: Asked, found: Summary) -> Iterator[Table | str]:
    """What is printed: strategies (for each value of what is varied), pairs, crossings, one after the other."""
    for value in asked.values or (math.nan,):
        now = words.at_value(found, value)
        title = f"{asked.vary} {value:g} {words.unit_of(asked.vary)}" if asked.vary else None
        yield _strategies(now, title)
        if now.pairs and not asked.vary:
            yield _pairs(now)
    for one in found.crossings:
        yield words.crossing_words(one, asked.vary, asked.values, found)


def _strategies(found: Summary, title: str | None) -> Table:
    numbers = ["met, %", "95 %", "hours", "10–90 %", "rounds", "strokes", "flat, µm", "lowest"]
    failed = ["failed"] if any(one.failed for one in found.strategies) else []
    table = _table(title, ["strategy"], numbers + failed)
    for one in found.strategies:
        met, (hours, ends) = one.chance_met, words.spread_words(one.figures["hours"], 1)
        rounds, strokes, lowest = (words.told(one.figures[name].median, 0)
                                   for name in ("rounds", "strokes", "spots_lowest"))  # fmt: skip
        chance = words.chance_span(met).removesuffix(" %")
        flat_um = words.told(one.figures["bearing_flatness_um"].median, 1)
        table.add_row(one.strategy, words.told(100.0 * met.value, 0), chance, hours, ends, rounds, strokes, flat_um,
                      lowest, *([str(one.failed)] if failed else []))  # fmt: skip
    return table


def _table(title: str | None, names: list[str], numbers: list[str]) -> Table:
    """Names at the left, folded where the terminal is narrow: nothing is cut off."""
    table = Table(box=None, title=title, title_justify="left", title_style="bold", padding=(0, 1, 0, 0))
    for heading in names:
        table.add_column(heading, overflow="fold")
    for heading in numbers:
        table.add_column(heading, justify="right", no_wrap=True)
    return table


def _pairs(found: Summary) -> Table:
    table = _table("on the same faces: hours of the first less those of the second", ["first", "second"],
                   ["median", "95 %", "1st sooner", "2nd sooner", "of"])  # fmt: skip
    for one in found.pairs:
        hours = one.hours_difference
        table.add_row(one.a, one.b, words.told(hours.value, 2, "+"), words.span(hours.low, hours.high, 2),
                      str(one.a_sooner), str(one.b_sooner), str(one.pairs))  # fmt: skip
    return table
