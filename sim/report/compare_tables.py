"""What a comparison says, as a JSON object and as tables for a terminal."""

import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from rich import box
from rich.table import Table

from sim.trials.comparison import VARIED, Asked, Summary, summary
from sim.trials.stats import Interval, Spread
from sim.trials.trial import Outcome


def comparison_answer(asked: Asked, outcomes: list[Outcome]) -> dict[str, Any]:
    """The JSON object; over all values of what is varied, and for each of them."""
    pooled = summary([replace(one, varied=math.nan, seed=_apart(one, asked)) for one in outcomes])
    told = _answer_of(pooled) | {"trials": len(outcomes), "failed": sum(bool(one.fault) for one in outcomes)}
    if asked.vary:
        found = summary(outcomes)
        told["varied"] = {
            "name": asked.vary, "unit": "um",
            "values": [{"value": value} | _answer_of(_at(found, value)) for value in asked.values],
            "crossings": [{"a": one.a, "b": one.b, "pairs": one.pairs, "at_um": _interval(one.at)}
                          for one in found.crossings],
        }  # fmt: skip
    return told


def _apart(outcome: Outcome, asked: Asked) -> int:
    """A number for the face of an outcome that no other value has."""
    value = 0 if math.isnan(outcome.varied) else asked.values.index(outcome.varied)
    return outcome.seed + value * asked.runs


def _at(found: Summary, value: float) -> Summary:
    return replace(found, strategies=tuple(one for one in found.strategies if one.varied == value),
                   pairs=tuple(one for one in found.pairs if one.varied == value))  # fmt: skip


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
        now = _at(found, value) if asked.vary else found
        title = f"{asked.vary} {value:g} {VARIED[asked.vary].unit.replace('um', 'µm')}" if asked.vary else None
        yield _strategies(now, title)
        if now.pairs and not asked.vary:
            yield _pairs(now)
    for one in found.crossings:
        yield _crossing(one.a, one.b, asked.vary, one.at, one.pairs)


def _strategies(found: Summary, title: str | None) -> Table:
    table = Table(box=box.SIMPLE, title=title, title_justify="left", title_style="bold")
    table.add_column("strategy")
    for heading in ("met, %", "95 %", "hours", "10 to 90 %", "rounds", "strokes", "bearing flatness", "lowest"):
        table.add_column(heading, justify="right")
    if any(one.failed for one in found.strategies):
        table.add_column("failed", justify="right")
    for one in found.strategies:
        met, hours = one.chance_met, one.figures["hours"]
        row = [one.strategy, _n(100.0 * met.value, 0), f"{_n(100.0 * met.low, 0)} to {_n(100.0 * met.high, 0)}",
               _n(hours.median, 1), f"{_n(hours.p10, 1)} to {_n(hours.p90, 1)}", _n(one.figures["rounds"].median, 0),
               _n(one.figures["strokes"].median, 0), f"{_n(one.figures['bearing_flatness_um'].median, 1)} µm",
               _n(one.figures["spots_lowest"].median, 0)]  # fmt: skip
        table.add_row(*row, *([str(one.failed)] if len(table.columns) > len(row) else []))
    return table


def _pairs(found: Summary) -> Table:
    table = Table(box=box.SIMPLE, title="on the same faces: hours of the first less those of the second",
                  title_justify="left", title_style="bold")  # fmt: skip
    for heading in ("first", "second", "median", "95 %", "first sooner", "second sooner", "of"):
        table.add_column(heading, justify="left" if heading in ("first", "second") else "right")
    for one in found.pairs:
        hours = one.hours_difference
        table.add_row(one.a, one.b, _n(hours.value, 2, "+"), f"{_n(hours.low, 2, '+')} to {_n(hours.high, 2, '+')}",
                      str(one.a_sooner), str(one.b_sooner), str(one.pairs))  # fmt: skip
    return table


def _crossing(a: str, b: str, what: str, at: Interval, pairs: int) -> str:
    unit = VARIED[what].unit.replace("um", "µm")
    if math.isnan(at.value):
        return f"{a} and {b} do not cross in the range of {what} ({pairs} faces)"
    ends = " to ".join("beyond the range" if math.isinf(v) else _n(v, 0) for v in (at.low, at.high))
    return f"{a} and {b} cross at {what} {at.value:.0f} {unit}; 95 %: {ends} ({pairs} faces)"


def _n(value: float, places: int, sign: str = "") -> str:
    return "–" if not math.isfinite(value) else f"{value:{sign}.{places}f}"
