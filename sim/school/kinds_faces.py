"""Drills about a face: what form is it, which way was it scraped.

Figures that name no other origin are common practice, no source.
"""

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.ndimage import gaussian_filter

from sim.model.face import Face
from sim.model.plate import PlateMake
from sim.model.start import Start
from sim.school.bank import BLUE, Bank
from sim.school.item import (
    Choice,
    Form,
    Item,
    Line,
    Part,
    amount_of,
    between,
    number_of,
    option_of,
    pair_of,
    share_hard,
)
from sim.school.item import Number as Amount
from sim.school.view import Condition, Patch, Picture, picture
from sim.shop.commands import (
    RollFilm,
    Scrape,
    SpotFace,
    StoneFace,
    WipeFace,
    perform,
    strokes_as_data,
)
from sim.shop.job import Job, JobStart, begin_job
from sim.shop.partwork import PushEnds

FORMS = ("even", "crowned", "hollow", "twisted")
BAR_MM = 150.0, 50.0
BAR_PLATE = PlateMake(length_mm=210.0, width_mm=100.0)
FILMS_UM = 2.0, 4.0
UNLIKE_PCT = 3.0  # shares of blue that differ by less do not show a form
MIDDLE_FROM, END_TO = 0.4, 0.1  # shares of the length beyond which a bar turns near its middle, near its end


def form_um(form: str, amplitude_um: float) -> np.ndarray:
    """A form over a bar of 31 x 11 places, um: its range is the amplitude; flat for "even"."""
    x, y = np.linspace(-1.0, 1.0, 31)[None, :], np.linspace(-1.0, 1.0, 11)[:, None]
    shapes = {"even": 0.0 * x * y, "crowned": 1.0 - x * x + 0.0 * y, "hollow": x * x + 0.0 * y, "twisted": 0.5 * x * y}
    return np.asarray(amplitude_um * shapes[form])


@lru_cache(maxsize=1024)
def form_costs_um(truth: str, amplitude_um: float) -> tuple[float, ...]:
    """What each of FORMS is off by: the range of the difference of both forms."""
    true = form_um(truth, amplitude_um)
    return tuple(float(np.ptp(true - form_um(other, amplitude_um))) for other in FORMS)


def form_facts(bank: Bank, level: int, rng: np.random.Generator) -> dict[str, Any]:
    """Facts of an item of kind 4: a scraped bar of one of four forms, 10 um of it on level 1, 1 um on level 10."""
    amplitude = between(level, 10.0, 1.0) * float(rng.uniform(0.9, 1.1))
    form = FORMS[int(rng.integers(4))]
    facts = {
        "form": form,
        "amplitude_um": round(amplitude, 3),
        "luck": int(rng.integers(2**31)),
        "side": 1 if rng.random() < 0.5 else -1,
    }
    job, pivot = bar_job(facts)
    blue = [_blue_pct(face.blue_um >= BLUE.seen_um) for face in _prints(job, facts)]
    return facts | {"pivot_share": round(max(pivot, 0.0), 4), "blue_pct": blue}


def _prints(job: Job, facts: dict[str, Any]) -> Iterator[Face]:
    """The bar after each of its prints, one film after the other; changes `job`."""
    rng = np.random.default_rng([facts["luck"], 75])
    for k, film in enumerate(FILMS_UM):
        job.face.blue_um[:] = 0.0
        job.round = int(rng.integers(1_000_000))
        perform(RollFilm(film), job)
        perform(SpotFace(15.0 + 25.0 * k, 12.0 + 20.0 * k, 10.0), job)
        yield job.face


def _blue_pct(blue: np.ndarray) -> list[float]:
    """Blue on the middle third, on both end thirds, and on the corners of one diagonal and of the other, %."""
    ny, nx = (n // m for n, m in zip(blue.shape, (2, 3), strict=True))
    near, middle, far = blue[:, :nx], blue[:, nx:-nx], blue[:, -nx:]
    rising = np.concatenate([near[:ny], far[-ny:]]), np.concatenate([near[-ny:], far[:ny]])
    parts = middle, np.concatenate([near, far]), *rising
    return [round(100.0 * float(one.mean()), 1) for one in parts]


def bar_job(facts: dict[str, Any]) -> tuple[Job, float]:
    """The bar, scraped all over, and how far from its other end it turned when one end was pushed, of its length."""
    a, form = facts["amplitude_um"], facts["form"]
    bow = {"crowned": a, "hollow": -a}.get(form, 0.0)
    start = Start(
        length_mm=BAR_MM[0],
        width_mm=BAR_MM[1],
        kind="true",
        bow_x_um=bow,
        twist_um=facts["side"] * a if form == "twisted" else 0.0,
    )
    job = begin_job(JobStart(face=start, plate=BAR_PLATE, seed=facts["luck"] % 2**31))
    rng = np.random.default_rng([facts["luck"], 74])
    for turn in (40.0, 130.0):
        perform(
            Scrape("fine", rows((1.0, 1.0, BAR_MM[0] - 1.0, BAR_MM[1] - 1.0), turn, 60.0, rng, spacing_mm=2.6)), job
        )
    perform(StoneFace(), job)
    perform(WipeFace(), job)
    return job, float(perform(PushEnds(), job).pivots[0].share)


def rows(
    box: tuple[float, float, float, float],
    turn_deg: float,
    push_n: float,
    rng: np.random.Generator,
    *,
    spacing_mm: float = 2.2,
    length_mm: float = 7.0,
) -> tuple[tuple[int, int, int, int, int], ...]:
    """Strokes in rows over a box (x0, y0, x1, y1), with a hand's scatter, as `Scrape` wants them; at most 2000."""
    cx, cy = 0.5 * (box[0] + box[2]), 0.5 * (box[1] + box[3])
    reach = 0.5 * math.hypot(box[2] - box[0], box[3] - box[1])
    u, v = np.meshgrid(np.arange(-reach, reach, length_mm * 0.95), np.arange(-reach, reach, spacing_mm))
    u = (u + rng.uniform(0.0, length_mm, (u.shape[0], 1)) + rng.normal(0.0, 0.5, u.shape)).ravel()
    v = (v + rng.normal(0.0, 0.25, v.shape)).ravel()
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    x, y = cx + u * c - v * s, cy + u * s + v * c
    inside = (x > box[0]) & (x < box[2]) & (y > box[1]) & (y < box[3])
    x, y = x[inside], y[inside]
    way = np.radians(turn_deg + rng.normal(0.0, 3.0, len(x)))
    dx, dy = 0.5 * length_mm * np.cos(way), 0.5 * length_mm * np.sin(way)
    push = push_n * np.clip(1.0 + 0.12 * rng.standard_normal(len(x)), 0.5, 1.5)
    return strokes_as_data(np.column_stack([x - dx, y - dy, x + dx, y + dy, push])[:2000])


class WhatForm(Item):
    """Kind 4: even, crowned, hollow or twisted, from two prints and the push at one end."""

    kind = "form"
    target_s = 20.0

    @property
    def question(self) -> str:
        """What is asked."""
        return (
            f"A bar of 150 × 50 mm, printed with films of {FILMS_UM[0]:g} and {FILMS_UM[1]:g} µm; pushed at its right "
            f"end, it turned {self._turned()}. Which form has it?"
        )

    def _turned(self) -> str:
        """Where it turned."""
        from_left_mm = round(self.facts["pivot_share"] * BAR_MM[0])
        return f"{from_left_mm} mm from its left end" if from_left_mm else "at its left end"

    @property
    def forms(self) -> tuple[Form, ...]:
        """How it is answered."""
        return (Choice(FORMS),)

    @property
    def truth(self) -> str:
        """An answer that costs nothing."""
        return str(self.facts["form"])

    def parts(self, answer: Any) -> tuple[Part, ...]:
        """What an answer cost, and what a blind one costs."""
        costs = form_costs_um(self.truth, self.facts["amplitude_um"])
        off, said = costs[option_of(answer, FORMS)], FORMS[option_of(answer, FORMS)]
        fault = f"{self._named()} taken for {said}: the two differ by {off:.1f} µm"
        return (Part("form misread", "um", off, float(np.mean(costs)), fault=fault),)

    def _named(self) -> str:
        """The form, and by how much."""
        by = "" if self.truth == "even" else f" by {self.facts['amplitude_um']:.1f} µm"
        return f"{self.truth}{by}"

    def blind(self, rng: np.random.Generator) -> str:
        """An answer that knows nothing of the item."""
        return FORMS[int(rng.integers(4))]

    def why(self, answer: Any) -> str:
        """What was seen in the prints, and where this bar turned."""
        form, said = self.truth, FORMS[option_of(answer, FORMS)]
        other = "" if said == form else f", not {said}"
        return f"It is {self._named()}{other}. {self._seen()}; it turned {self._turned()}{self._place()}."

    def _seen(self) -> str:
        """What the print with the thin film shows of the form, or that it shows nothing of it."""
        middle, ends, rising, falling = self.facts["blue_pct"][0]
        high, low = max(rising, falling), min(rising, falling)
        told = f"{middle:.0f} % of the middle third and {ends:.0f} % of the ends"
        if self.truth == "twisted":
            told = f"{high:.0f} % of two opposite corners and {low:.0f} % of the other two"
        told = f"A film of {FILMS_UM[0]:g} µm left blue on {told}"
        shown = {"crowned": middle - ends, "hollow": ends - middle, "twisted": high - low}
        return told if shown.get(self.truth, UNLIKE_PCT) >= UNLIKE_PCT else f"{told}, which hardly shows it"

    def _place(self) -> str:
        """What the place where it turned says, where it says anything."""
        share = self.facts["pivot_share"]
        if self.truth == "even":
            return ", for a few tops carry it, and they may lie anywhere"
        if self.truth == "crowned":
            return ", near the middle that carries it" if share > MIDDLE_FROM else ""
        return ", near the end that carries it" if share < END_TO else ""

    def draw(self, condition: Condition) -> tuple[Picture, ...]:
        """Its pictures under a condition."""
        job, _ = bar_job(self.facts)
        near = replace(condition, px_per_mm=min(4.0, condition.px_per_mm))
        patch = Patch(1.0, 1.0, BAR_MM[0] - 2.0, BAR_MM[1] - 2.0)
        return tuple(picture(face, patch, near, caption=f"film {film:g} µm", square=False)
                     for film, face in zip(FILMS_UM, _prints(job, self.facts), strict=True))  # fmt: skip


# ---------------------------------------------------------------- directions

AROUND_MM = (12.0, 5.0, 42.0, 35.0)  # what is scraped: the square that is looked at, and some mm around
LAY_PATCH = Patch(17.0, 10.0, 20.0, 20.0)
STEPS = 12
DEG_PER_UM = 150.0  # how many degrees a um of ripple left by the next direction counts
ANGLE = Amount("direction", "deg", -360.0, 360.0)


def folded(a_deg: float, b_deg: float) -> float:
    """Angle between two lines, 0 to 90 degrees."""
    apart = abs(a_deg - b_deg) % 180.0
    return min(apart, 180.0 - apart)


def lay_job(bank: Bank, facts: dict[str, Any]) -> Job:
    """The patch, scraped round by round in the directions of the facts, the last one as lightly as they say."""
    job = bank.job_after(facts["coupon"], facts["round"])
    rng = np.random.default_rng([facts["luck"], 76])
    for n, turn in enumerate(facts["turns_deg"]):
        last = n == len(facts["turns_deg"]) - 1
        push, spacing = (facts["push_n"], facts["spacing_mm"]) if last else (95.0, 1.8)
        perform(Scrape("fine", rows(AROUND_MM, turn, push, rng, spacing_mm=spacing)), job)
        perform(StoneFace(), job)
    perform(WipeFace(), job)
    job.face.blue_um[:] = 0.0
    return job


def ripple_um(job: Job) -> float:
    """Waves of 0.8 to 4 mm that stand in the patch: standard deviation of the heights, um."""
    p, pitch = LAY_PATCH, job.face.pitch_mm
    rows_, cols = (slice(round(a / pitch) - 16, round((a + s) / pitch) + 16) for a, s in
                   ((p.y_mm, p.high_mm), (p.x_mm, p.wide_mm)))  # fmt: skip
    height = job.face.height_um[rows_, cols]
    band = gaussian_filter(height, 0.2 / pitch) - gaussian_filter(height, 1.0 / pitch)
    return float(band[16:-16, 16:-16].std())


def direction_facts(bank: Bank, level: int, rng: np.random.Generator) -> dict[str, Any]:
    """Facts of an item of kind 6: more and crossing rounds, and a lighter last one, on higher levels."""
    hard = share_hard(level)
    count = 1 + round(3.0 * hard)
    turns = [float(rng.uniform(0.0, 180.0))]
    while len(turns) < count:
        turns.append((turns[-1] + float(rng.uniform(40.0, 140.0))) % 180.0)
    worked, luck = bank.draw(rng, (8, 10, 12, 14)), int(rng.integers(2**31))
    facts = {
        "coupon": worked.coupon,
        "round": worked.round,
        "turns_deg": [round(t, 1) for t in turns],
        "push_n": round(between(level, 130.0, 45.0), 1),
        "spacing_mm": round(between(level, 1.8, 3.2), 2),
        "luck": luck,
        "lamp_off_deg": round(float(rng.uniform(-1.0, 1.0)) * (10.0 + 80.0 * hard), 1) + 180.0 * int(rng.integers(2)),
    }
    job = lay_job(bank, facts)
    left = []
    for k in range(STEPS):
        ripples = []
        for again in range(2):
            trial = job.copy()
            same = np.random.default_rng([luck, 77, again])
            strokes = rows(AROUND_MM, k * 180.0 / STEPS, 80.0, same, spacing_mm=1.8)
            perform(Scrape("fine", strokes), trial)
            ripples.append(ripple_um(trial))
        left.append(float(np.mean(ripples)))
    return facts | {"ripple_um": [round(v, 4) for v in left]}


class WhichWay(Item):
    """Kind 6: which way was it scraped last, and which way is next."""

    kind = "direction"
    unit = "deg"
    target_s = 15.0

    @property
    def question(self) -> str:
        """What is asked."""
        return "Which way was it scraped last? And which of twelve ways would leave the least ripple next?"

    @property
    def forms(self) -> tuple[Form, ...]:
        """How it is answered."""
        return (Line("last"), Line("next", STEPS))

    @property
    def truth(self) -> list[Any]:
        """An answer that costs nothing."""
        return [self.facts["turns_deg"][-1], int(np.argmin(self.facts["ripple_um"]))]

    def parts(self, answer: Any) -> tuple[Part, ...]:
        """What an answer cost, and what a blind one costs."""
        last, following = pair_of(answer)
        left = np.array(self.facts["ripple_um"])
        more = left - left.min()
        mean = float(more.mean())
        step = number_of(following, STEPS, "next direction")
        off = folded(amount_of(last, ANGLE), self.truth[0])
        best, way = self.truth[1] * 180.0 / STEPS, step * 180.0 / STEPS
        left_um = f"{more[step]:.2f} µm more ripple"
        fault = f"{way:.0f}° leaves {left_um} than {best:.0f}° (up to {mean:.2f} µm more is near enough)"
        return (
            Part("direction misread", "deg", off, 45.0, allowed=15.0, about="Scraped last",
                 fault=f"{off:.{3 if off < 20.0 else 2}g}° off (up to 15° is near enough)", near=f"{off:.0f}° off"),
            Part("more ripple than need be", "um", float(more[step]), mean, DEG_PER_UM, allowed=mean,
                 about="To scrape next", fault=fault, near=f"{left_um} than the best"),
        )  # fmt: skip

    def blind(self, rng: np.random.Generator) -> list[Any]:
        """An answer that knows nothing of the item."""
        return [float(rng.uniform(0.0, 180.0)), int(rng.integers(STEPS))]

    def why(self, answer: Any) -> str:
        """With the figures: both directions against the answered ones."""
        off, more = self.parts(answer)
        best, older = self.truth[1] * 180.0 / STEPS, [f"{turn:.0f}°" for turn in self.facts["turns_deg"][:-1]]
        ran = " and ".join(one for one in (", ".join(older[:-1]), *older[-1:]) if one)
        over = f"; the older round{'s' * (len(older) > 1)} ran at {ran}" if older else ""
        yours = "as yours does" if more.loss < 0.005 else f"yours {more.loss:.2f} µm more"
        return (
            f"It was scraped at {self.truth[0]:.0f}°, {off.loss:.0f}° from yours{over}. "
            f"Next, {best:.0f}° leaves the least ripple, {yours}."
        )

    def draw(self, condition: Condition) -> tuple[Picture, ...]:
        """Its pictures under a condition."""
        f = self.facts
        lamp_deg, old = (f["turns_deg"][-1] + 90.0 + f["lamp_off_deg"]) % 360.0, share_hard(self.level)
        lit = replace(condition, lamp_deg=lamp_deg, lay=condition.lay * old)
        job = lay_job(self.bank, f)
        return (picture(job.face, LAY_PATCH, lit, caption="wiped and stoned"),)
