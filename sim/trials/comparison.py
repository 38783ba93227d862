"""A comparison: strategies on the same faces with the same luck, run, kept, and summed up."""

import hashlib
import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

import sim
from sim.errors import BadParam
from sim.hands.strategy import STRATEGIES, known
from sim.shop.job import JobStart
from sim.shop.starts import start_from_data
from sim.target import Target
from sim.trials import stats
from sim.trials.executor import run_here, run_on_cluster
from sim.trials.ledger import Ledger
from sim.trials.stats import Interval, Spread
from sim.trials.trial import Outcome, Trial

MOST_TRIALS = 1_000_000
FIGURES = ("hours", "rounds", "strokes", "removed_mm3", "bearing_flatness_um", "spots_mean", "spots_lowest",
           "bearing_pct", "against_um")  # fmt: skip
"""What is summed up of an outcome."""


@dataclass(frozen=True)
class Varied:
    """What can be varied, how it enters a start, its unit and its range."""

    unit: str
    allowed: tuple[float, float]
    doc: str
    enter: Callable[[JobStart, float], JobStart]


def _face(start: JobStart, **changes: Any) -> JobStart:
    """The first face changed, of a part too."""
    if start.part is None:
        return replace(start, face=replace(start.face, **changes))
    faces = start.part.faces
    first = replace(faces[0], start=replace(faces[0].start, **changes))
    return replace(start, part=replace(start.part, faces=(first, *faces[1:])))


def _wedge(start: JobStart, um: float) -> JobStart:
    """Wedge of every face that the drawing holds to another one."""
    if start.part is None or not start.part.tolerances:
        raise BadParam("--vary wedge needs a part with a face held to another: give --part FILE")
    held = {one.face for one in start.part.tolerances}
    faces = tuple(replace(one, start=replace(one.start, wedge_y_um=um)) if one.name in held else one
                  for one in start.part.faces)  # fmt: skip
    return replace(start, part=replace(start.part, faces=faces))


VARIED = {
    "start-error": Varied("um", (1.0, 500.0), "form error of the first face before it is scraped, cusps not counted",
                          lambda start, um: _face(start, error_um=um)),
    "wedge": Varied("um", (-500.0, 500.0), "rise over the width of each face that is held to another", _wedge),
    "plate-error": Varied("um", (0.0, 20.0), "flatness of the plate",
                          lambda start, um: replace(start, plate=replace(start.plate, flatness_um=um))),
}  # fmt: skip


@dataclass(frozen=True)
class Asked:
    """What is compared.

    Attributes
    ----------
    ways : tuple of (str, tuple of (str, float))
        Strategies with their options.
    start : JobStart
        Its seed is that of the first run; the others follow.
    vary, values : str, tuple of float
        '' and none where nothing is varied.
    own : str
        File of the person's own strategies.
    """

    ways: tuple[tuple[str, tuple[tuple[str, float], ...]], ...]
    start: JobStart = field(default_factory=JobStart)
    hand: str = "skilled"
    target: Target | None = None
    runs: int = 200
    rounds: int = 60
    hours: float = 40.0
    vary: str = ""
    values: tuple[float, ...] = ()
    own: str = ""
    deadline_s: float = 300.0

    def as_data(self) -> dict[str, Any]:
        """Everything that an outcome depends on, for the ledger: physics and the text of the own file too."""
        text = Path(self.own).read_bytes() if self.own else b""
        return {"physics": sim.PHYSICS, **asdict(self), "own": hashlib.sha256(text).hexdigest() if text else ""}


def asked_from_data(data: dict[str, Any], own: str = "") -> Asked:
    """What `Asked.as_data` wrote; the person's own file is named again.

    Raises
    ------
    BadParam
        It is no such thing, or of other physics, or the own file is missing or another one.
    """
    try:
        rest = {key: data[key] for key in ("hand", "runs", "rounds", "hours", "vary", "deadline_s")}
        ways = tuple((str(name), tuple((str(k), float(v)) for k, v in options)) for name, options in data["ways"])
        target = None if data["target"] is None else Target(**data["target"])
        values, start = tuple(map(float, data["values"])), start_from_data(data["start"])
        asked = Asked(ways, start, target=target, values=values, own=own, **rest)
    except (KeyError, TypeError, ValueError) as error:
        raise BadParam(f"a comparison must hold what it was asked, got {type(error).__name__}: {error}") from None
    if data["physics"] != sim.PHYSICS:
        raise BadParam(f"physics must be {sim.PHYSICS} to go on with this comparison, got {data['physics']}")
    if asked.as_data()["own"] != data["own"]:
        raise BadParam("--own must be the file of strategies that the comparison was begun with")
    return asked


def trials_of(asked: Asked) -> list[Trial]:
    """Every trial, those of a face together, so that what is done at any time can be compared.

    Raises
    ------
    BadParam
        A strategy or a value that is not possible, twice the same strategy, or more than a million trials.
    """
    if not asked.ways:
        raise BadParam(f"name a strategy or more: {', '.join(STRATEGIES)}")
    for way, options in asked.ways:
        [found] = known([way])
        found.chosen(**dict(options))
        if found.needs_heights and not asked.start.shape.tolerances:
            raise BadParam(f"{way} needs a part with a face held to another: give --part FILE")
    if not 1 <= asked.runs * max(len(asked.values), 1) * len(asked.ways) <= MOST_TRIALS:
        raise BadParam(f"a comparison must have 1 to {MOST_TRIALS:,} trials, got runs = {asked.runs}")
    made = []
    for value in asked.values or (math.nan,):
        start = asked.start if math.isnan(value) else VARIED[asked.vary].enter(asked.start, value)
        for run in range(asked.runs):
            seeded = replace(start, seed=start.seed + run)
            made += [Trial(way, options, asked.hand, seeded, asked.target, asked.rounds, asked.hours, value, asked.own,
                           asked.deadline_s) for way, options in asked.ways]  # fmt: skip
    if len({one.key for one in made}) < len(made):
        raise BadParam("each strategy must be named once, got one twice")
    return made


def run(asked: Asked, ledger: Ledger | None, on_outcome: Callable[[Outcome], None], *, workers: int = 1,
        cluster: str = "") -> list[Outcome]:
    """Work every trial that the ledger does not hold yet; all outcomes in the order of the trials.

    Raises
    ------
    ShopError
        As `run_here`, `run_on_cluster`, `Ledger.add`; what was done is in the ledger.
    """
    trials = trials_of(asked)
    done = dict(ledger.outcomes) if ledger else {}

    def keep(outcome: Outcome) -> None:
        if ledger:
            ledger.add(outcome)
        done[outcome.key] = outcome
        on_outcome(outcome)

    left = [trial for trial in trials if trial.key not in done]
    if cluster:
        run_on_cluster(left, cluster, keep)
    else:
        run_here(left, workers, keep)
    return [done[trial.key] for trial in trials]


# ---------------------------------------------------------------- summing up


@dataclass(frozen=True)
class Summed:
    """What came of one strategy, at one value of what is varied.

    Attributes
    ----------
    runs, failed : int
        Trials that count, and those in which the strategy itself failed.
    figures : dict of str to Spread
        By the names of `FIGURES`; hours of a trial that did not meet the target are those spent.
    chance_met : Interval
    """

    strategy: str
    varied: float
    runs: int
    failed: int
    figures: dict[str, Spread]
    chance_met: Interval


@dataclass(frozen=True)
class Pair:
    """Two strategies on the same faces: hours of a less those of b.

    Attributes
    ----------
    hours_difference : Interval
        Median of the pairs.
    a_sooner, b_sooner : int
        Pairs in which one met the target and the other did not, or later.
    variance_ratio : float
        Of the paired difference to an unpaired one; under 1 where the same faces and luck help.
    """

    a: str
    b: str
    varied: float
    pairs: int
    hours_difference: Interval
    a_sooner: int
    b_sooner: int
    variance_ratio: float


@dataclass(frozen=True)
class Crossing:
    """Where the hours of two strategies cross as something is varied."""

    a: str
    b: str
    at: Interval
    pairs: int


@dataclass(frozen=True)
class Summary:
    """What a comparison says."""

    strategies: tuple[Summed, ...]
    pairs: tuple[Pair, ...]
    crossings: tuple[Crossing, ...]


def summary(outcomes: Sequence[Outcome]) -> Summary:
    """Sum up what is done; a face that one of two strategies has not worked yet is left out of their pair."""
    names = list(dict.fromkeys(outcome.strategy for outcome in outcomes))
    values = list(dict.fromkeys(outcome.key[1] for outcome in outcomes))
    sound = {outcome.key: outcome for outcome in outcomes if not outcome.fault}
    summed, pairs, crossings = [], [], []
    for value in values:
        varied = next(one.varied for one in outcomes if one.key[1] == value)
        for name in names:
            all_of = [one for one in outcomes if one.strategy == name and one.key[1] == value]
            if all_of:
                summed.append(_summed(all_of))
        pairs += [_pair(a, b, sound, varied) for n, a in enumerate(names) for b in names[n + 1 :]]
    if len(values) > 1:
        crossings = [_crossing(a, b, sound, values) for n, a in enumerate(names) for b in names[n + 1 :]]
    return Summary(tuple(summed), tuple(pairs), tuple(crossings))


def _summed(tried: list[Outcome]) -> Summed:
    sound, figures = [one for one in tried if not one.fault], {}
    for figure in FIGURES:
        got = np.array([getattr(one, figure) for one in sound], dtype=np.float64)
        figures[figure] = stats.spread(got[np.isfinite(got)])
    return Summed(tried[0].strategy, tried[0].varied, len(sound), len(tried) - len(sound), figures,
                  stats.chance(sum(one.met for one in sound), len(sound)))  # fmt: skip


Sound = dict[tuple[str, float, int], Outcome]


def paired(a: str, b: str, sound: Sound, value: float) -> list[tuple[Outcome, Outcome]]:
    """Outcomes of two strategies on the same faces, by seed."""
    seeds = sorted(seed for name, at, seed in sound if name == a and at == value and (b, value, seed) in sound)
    return [(sound[a, value, seed], sound[b, value, seed]) for seed in seeds]


def _hours(pairs: list[tuple[Outcome, Outcome]]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return np.array([a.hours for a, _ in pairs]), np.array([b.hours for _, b in pairs])


def _pair(a: str, b: str, sound: Sound, varied: float) -> Pair:
    pairs = paired(a, b, sound, 0.0 if math.isnan(varied) else varied)
    one, other = _hours(pairs)
    reach = [(x.hours if x.met else math.inf, y.hours if y.met else math.inf) for x, y in pairs]
    return Pair(a, b, varied, len(pairs), stats.median(one - other), sum(x < y for x, y in reach),
                sum(y < x for x, y in reach), stats.variance_ratio(one, other))  # fmt: skip


def _crossing(a: str, b: str, sound: Sound, values: list[float]) -> Crossing:
    """Over the faces that both have worked at every value."""
    of_value = [{x.seed: x.hours - y.hours for x, y in paired(a, b, sound, value)} for value in values]
    seeds = sorted(set.intersection(*(set(one) for one in of_value)))
    if not seeds:
        return Crossing(a, b, Interval(math.nan, math.nan, math.nan), 0)
    rows = np.array([[one[seed] for seed in seeds] for one in of_value])
    order = np.argsort(values)
    return Crossing(a, b, stats.crossover(np.array(values)[order], rows[order]), len(seeds))
