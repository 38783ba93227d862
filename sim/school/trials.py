"""Limits from trials: the model solution worked by a trained and a skilled hand on the seeds that the lesson names."""

import math
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sim.errors import BadParam, ShopError
from sim.school.attempt import begin_attempt
from sim.school.checks import CHECKS, Better, Judged, Row, judge
from sim.school.facts import gather
from sim.school.lesson import Lesson, Solution
from sim.school.lessonfile import read_lesson
from sim.school.ways import work

TRAINED, SKILLED, BEGINNER = "trained", "skilled", "beginner"
REACHED = 0.8  # share of the seeds on which the trained hand reaches what passes
Figures = dict[str, list[float]]
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class FoundLimit:
    """Limits of a check as trials give them, beside those of the lesson's file.

    Attributes
    ----------
    passes : float
        What the trained hand reaches on 80 % of the seeds.
    merit : float
        The skilled hand's median, or `passes` where that is harder.
    trained, skilled : float
        Share of the seeds on which the trained hand reaches what passes by the file, and the skilled one its merit.
    """

    check: str
    unit: str
    better: Better
    passes: float
    merit: float
    file_passes: float
    file_merit: float
    trained: float
    skilled: float


@dataclass(frozen=True)
class Trials:
    """What came of the trials of a lesson: limits, and the share of the seeds on which each hand passes by the file."""

    lesson: str
    seeds: tuple[int, int]
    rows: tuple[FoundLimit, ...]
    passed: dict[str, float]


def tried(lesson: Lesson, hand: str | None, seed: int, solution: Solution | None = None) -> Judged:
    """A solution (default: the model) worked alone by a hand on one seed, and judged.

    Raises
    ------
    BadParam
        The lesson, hand and seed on which the solution does what the lesson does not allow.
    """
    attempt = begin_attempt(lesson, "alone", seed)
    try:
        work(attempt, solution or lesson.model, hand)
        return judge(lesson, gather(attempt))
    except ShopError as error:
        raise BadParam(f"{lesson.name}, {hand or 'its own'} hand, seed {seed}: {error}") from None


def trial_figures(lesson: Lesson, hand: str, seeds: Sequence[int], progress: Progress | None = None, *,
                  processes: int = 1) -> Figures:
    """Figures of the model solution by check, one a seed in their order; NaN where there was nothing to be judged.

    Raises
    ------
    BadParam
        No seed, or a solution that does what the lesson does not allow.
    """
    return _all(lesson, [(hand, seed) for seed in seeds], progress, processes)[hand]


def limits_from(lesson: Lesson, progress: Progress | None = None, *, processes: int = 1) -> Trials:
    """Trials of the model solution on all seeds of the lesson: what passes, what earns merit.

    Raises
    ------
    BadParam
        As `trial_figures`.
    """
    first, last = lesson.seeds.trials
    hands = (TRAINED, SKILLED, BEGINNER)
    found = _all(lesson, [(hand, seed) for hand in hands for seed in range(first, last + 1)], progress, processes)
    rows = []
    for limit in lesson.limits:
        check = CHECKS[limit.check]
        trained, skilled = (np.array(found[hand][limit.check]) for hand in (TRAINED, SKILLED))
        passes = reached_by(trained, check.better, REACHED)
        merit = reached_by(skilled, check.better, 0.5)
        merit = merit if check.reached(merit, passes) or math.isnan(passes) else passes
        shares = (float(np.mean([check.reached(v, most) for v in values]))
                  for values, most in ((trained, limit.passes), (skilled, limit.merit)))  # fmt: skip
        rows.append(FoundLimit(limit.check, check.unit, check.better, passes, merit, limit.passes, limit.merit,
                               *shares))  # fmt: skip
    passed = {hand: _passed(lesson, found[hand]) for hand in hands}
    return Trials(lesson.name, (first, last), tuple(rows), passed)


def reached_by(values: np.ndarray, better: Better, share: float) -> float:
    """The hardest value that at least this share of the figures reach; NaN counts as not reached.

    NaN when so many figures are missing that no value is reached by enough.
    """
    known = np.sort(values[np.isfinite(values)])
    count = math.ceil(share * len(values) - 1e-9)
    if not 1 <= count <= len(known):
        return math.nan
    return float(known[len(known) - count] if better == "high" else known[count - 1])


def _passed(lesson: Lesson, figures: Figures) -> float:
    """Share of the seeds on which every limit that passes was reached."""
    reached = [[CHECKS[one.check].reached(v, one.passes) for v in figures[one.check]] for one in lesson.limits]
    return float(np.mean(np.all(np.array(reached), axis=0)))


def _all(lesson: Lesson, cases: list[tuple[str, int]], progress: Progress | None, processes: int) -> dict[str, Figures]:
    """Figures of every hand by check, in the order of the cases."""
    if not cases:
        raise BadParam("seeds must be one or more, got none")
    judged: dict[int, dict[str, float]] = {}
    if processes > 1 and lesson.path.is_file():
        with ProcessPoolExecutor(min(processes, len(cases))) as pool:
            jobs = {pool.submit(_in_process, lesson.path, *case): n for n, case in enumerate(cases)}
            try:
                for done in as_completed(jobs):
                    judged[jobs[done]] = done.result()
                    if progress:
                        progress(len(judged), len(cases))
            except BaseException:
                pool.shutdown(cancel_futures=True)
                raise
    else:
        for n, (hand, seed) in enumerate(cases):
            judged[n] = tried(lesson, hand, seed).figures
            if progress:
                progress(n + 1, len(cases))
    found: dict[str, Figures] = {}
    for n, (hand, _) in enumerate(cases):
        mine = found.setdefault(hand, {one.check: [] for one in lesson.limits})
        for one in lesson.limits:
            mine[one.check].append(judged[n][one.check])
    return found


def _in_process(path: Path, hand: str, seed: int) -> dict[str, float]:
    """One trial in a process of its own, which reads the lesson again: files travel better than lessons."""
    return tried(read_lesson(path), hand, seed).figures


def solution_faults(lesson: Lesson) -> tuple[list[str], list[str]]:
    """What a lesson's own solutions come to on the first seed alone: what is wrong with them, and a line for each.

    Nothing is wrong when the model passes every check, and the wrong one does not pass the one that it is said to fail.
    """
    faults, lines = [], []
    try:
        judged = tried(lesson, None, lesson.seeds.alone)
        faults += [f"the model must pass, got {row.sentence()}" for row in judged.rows if not row.passed]
        figures = ", ".join(_short(row) for row in judged.rows)
        lines.append(f"model {'passes' if judged.passed else 'does not pass'}: {figures}")
        judged = tried(lesson, None, lesson.seeds.alone, lesson.wrong)
        (row,) = (row for row in judged.rows if row.check == lesson.wrong.fails)
        faults += [f"the wrong solution must fail {lesson.wrong.fails}, got {row.sentence()}"] if row.passed else []
        lines.append(f"wrong {'passes' if row.passed else 'fails'}: {_short(row)}")
    except ShopError as error:
        faults.append(str(error))
    return faults, lines


def _short(row: Row) -> str:
    """A figure beside its limit, by the name of its check."""
    if math.isnan(row.value):
        return f"{row.check} not judged: {row.why.partition('.')[0]}, limit {row.passes:g}"
    return f"{row.check} {row.value:.3g}, limit {row.passes:g}"
