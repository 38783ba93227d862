"""Drills about a whole print: was the film right for it, how many spots does it have.

Figures that name no other origin are common practice, no source.
"""

import math
from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np

from sim.errors import BadParam
from sim.measure.spots import islands
from sim.model.marks import Marks
from sim.school.bank import Bank, Print, PrintMade, Worked
from sim.school.item import (
    Choice,
    Edges,
    Form,
    Item,
    Number,
    Part,
    amount_of,
    between,
    option_of,
    pair_of,
    share_hard,
)
from sim.school.view import Condition, Patch, Picture, condition_named, picture
from sim.units import MM_PER_INCH

FILM = Number("film", "um", 0.5, 10.0, log=True)
FILM_RATIO = math.log(FILM.high / FILM.low)
STEP = 2.5  # what "thinner" and "thicker" mean
NEW_UM = 1.0  # the film laid on a clean plate when nothing can be told
THINNER, THICKER, UNTOLD = f"thinner (÷ {STEP:g})", f"thicker (× {STEP:g})", f"cannot tell: clean plate, {NEW_UM:g} µm"
FILM_ANSWERS = (THINNER, "the same", THICKER, UNTOLD)
FILM_RATIO_ALLOWED = 1.3  # a film that is judged within this ratio is judged well, as lesson 1 wants it laid
HIDDEN_ALLOWED = 0.25  # of what a blind choice hides: so little more than the best counts as best
TILE_MM = 5.0
UNSEEN = 0.06  # two places whose share of blue differs by less cannot be told apart: common practice, no source
FILM_PATCH = Patch(4.0, 4.0, 52.0, 32.0)
TRIES = 80


def films_after(film_um: float) -> tuple[float, ...]:
    """Film of the next print under each of FILM_ANSWERS."""
    return film_um / STEP, film_um, film_um * STEP, NEW_UM


def hidden_um(made: Print) -> float:
    """Height order that a print hides: mean over pairs of places of 5 mm, what they differ by where it cannot be seen.

    Half of it where the blue of both is alike (a guess would be right half of the time), all where the blue misleads.
    """
    size = round(TILE_MM / made.face.pitch_mm)
    ny, nx = (n // size for n in made.face.shape)

    def tiles(values: np.ndarray) -> np.ndarray:
        cut = values[: ny * size, : nx * size].reshape(ny, size, nx, size)
        return np.asarray(cut.swapaxes(1, 2).reshape(ny * nx, -1))

    height = np.percentile(tiles(made.above_um), 95, axis=1)
    blue = tiles(made.seen.marked).mean(axis=1)
    i, j = np.triu_indices(len(height), 1)
    apart, told = height[i] - height[j], blue[i] - blue[j]
    lost = np.where(np.abs(told) < UNSEEN, 0.5, np.where(apart * told < 0.0, 1.0, 0.0))
    return float((lost * np.abs(apart)).mean())


def film_facts(bank: Bank, level: int, rng: np.random.Generator) -> dict[str, Any]:
    """Facts of an item of kind 3: film about the usual 3 um on level 1, from 0.8 to 10 um on level 10."""
    usual = bool(rng.random() >= 0.8 * share_hard(level))
    nearest: tuple[float, dict[str, Any]] | None = None
    for _ in range(TRIES):
        spread = 0.15 + 1.15 * share_hard(level)
        side = float(rng.uniform(0.55, 1.0)) * (1.0 if rng.random() < 0.5 else -1.0)
        film = round(float(np.clip(3.0 * math.exp(spread * side), 0.8, 10.0)), 2)
        worked = bank.draw(rng, (2, 3, 4, 5, 6, 8, 10, 12, 14))
        way = round(float(rng.uniform(0.0, 60.0)), 1)
        luck = int(rng.integers(2**31))
        prints = [bank.printed(worked, PrintMade(round(min(f, 30.0), 3), way, luck)) for f in films_after(film)]
        hidden = [hidden_um(one) for one in prints]
        ranked = np.sort(hidden)
        again = hidden_um(bank.printed(worked, PrintMade(film, way, luck + 1)))
        scatter = abs(again - hidden[1])
        facts = {
            "coupon": worked.coupon,
            "round": worked.round,
            "film_um": film,
            "way_mm": way,
            "luck": luck,
            "hidden_um": [round(v, 4) for v in hidden],
            "scatter_um": round(scatter, 4),
        }
        if ranked[1] - ranked[0] <= scatter:
            continue  # two prints would not agree on the answer
        if (int(np.argmin(hidden)) == 1) == usual:
            return facts
        if nearest is None or ranked[1] - ranked[0] > nearest[0]:
            nearest = float(ranked[1] - ranked[0]), facts
    if nearest is None:
        raise BadParam(f"no print on {bank.coupons} coupons tells one film from another")
    return nearest[1]


class Readable(Item):
    """Kind 3: how thick was the film, and was it right."""

    kind = "film"
    target_s = 20.0

    @property
    def question(self) -> str:
        """What is asked."""
        return "How thick is this film, in µm? And which film should come next, to show best what stands higher?"

    @property
    def forms(self) -> tuple[Form, ...]:
        """How it is answered."""
        return (FILM, Choice(FILM_ANSWERS))

    @property
    def truth(self) -> list[Any]:
        """An answer that costs nothing."""
        return [self.facts["film_um"], FILM_ANSWERS[int(np.argmin(self.facts["hidden_um"]))]]

    def parts(self, answer: Any) -> tuple[Part, ...]:
        """What an answer cost, and what a blind one costs."""
        guess, choice = pair_of(answer)
        film, hidden = self.facts["film_um"], np.array(self.facts["hidden_um"])
        x = math.log(film / FILM.low)
        off = abs(math.log(amount_of(guess, FILM) / film)) * film
        blind = (x * x + (FILM_RATIO - x) ** 2) / (2.0 * FILM_RATIO) * film
        more = hidden - hidden.min()
        picked = float(more[option_of(choice, FILM_ANSWERS)])
        told = math.log(FILM_RATIO_ALLOWED) * film
        chance = float(more.mean())
        times = max(guess / film, film / guess)
        far = f"{times:.3g}" if times < 2.0 else f"{times:.2g}" if times < 10.0 else f"{times:.0f}"
        best = FILM_ANSWERS[int(more.argmin())]
        return (
            Part(
                "film off by ratio", "um", off, blind, allowed=told, about="Film", near=f"within {far} times",
                fault=f"you said {guess:.2g} µm, it was {film:.1f} µm: {far} times too "
                f"{'thin' if guess < film else 'thick'} (up to {FILM_RATIO_ALLOWED:g} times is near enough)",
            ),
            Part(
                "heights misread with the next film", "um", picked, chance, allowed=HIDDEN_ALLOWED * chance,
                about="Next film", near=f"misleads about heights by {picked:.2f} µm more than the best",
                fault=f'with "{FILM_ANSWERS[option_of(choice, FILM_ANSWERS)]}" the blue misleads about heights by '
                f'{picked:.2f} µm more than with "{best}"',
            ),
        )  # fmt: skip

    def blind(self, rng: np.random.Generator) -> list[Any]:
        """An answer that knows nothing of the item."""
        return [FILM.low * math.exp(FILM_RATIO * float(rng.random())), FILM_ANSWERS[int(rng.integers(4))]]

    def why(self, answer: Any) -> str:
        """With the figures: the film, and by how much each choice misleads."""
        f, hidden = self.facts, self.facts["hidden_um"]
        guess, choice = pair_of(answer)
        mine, best = option_of(choice, FILM_ANSWERS), int(np.argmin(hidden))
        least = f'next, "{FILM_ANSWERS[best]}" shows heights best: its blue misleads by {hidden[best]:.2f} µm'
        yours = "as you said" if mine == best else f"that of yours by {hidden[mine]:.2f} µm"
        return (
            f"The film is {f['film_um']:.1f} µm (you said {amount_of(guess, FILM):.2g}), "
            f"rubbed {f['way_mm']:.0f} mm; {least}, {yours}."
        )

    def draw(self, condition: Condition) -> tuple[Picture, ...]:
        """Its pictures under a condition."""
        f = self.facts
        made = self.bank.print_of(f)
        return (picture(made.face, FILM_PATCH, condition, caption=f"rubbed {f['way_mm']:.0f} mm", square=False),)


# ---------------------------------------------------------------- counting

SIDE_MM = MM_PER_INCH
SPOTS_ALLOWED, BEARING_ALLOWED = 0.15, 5.0  # share of the spots, points of bearing: what still counts as right
EXPOSURE_KEPT = 0.4  # of the stops that are drawn: a picture too dark or too light is no count
LOWEST_LAMP_DEG = 15.0
SPOT_MM2 = 0.5  # below the eye's 1 mm2: a coupon has few so large
COUNT = Number("spots", "spots", 0.0, 120.0)
BEARING = Number("bearing", "points", 0.0, 100.0)
MIDDLE = 24.0, 14.0  # spots and bearing share (%) about which squares lie, within a ratio that shrinks by level
LEVEL_BANK = 16  # items of a level whose truths stand for "another item's truth"


def count_facts(bank: Bank, level: int, rng: np.random.Generator) -> dict[str, Any]:
    """Facts of an item of kind 5: on higher levels a square with more specks, and more like the other squares."""
    wanted = 0.05 + 0.95 * share_hard(level)
    spots, bearing = between(level, 3.0, 2.0), between(level, 4.0, 2.4)
    nearest: tuple[float, dict[str, Any]] | None = None
    for tried in range(40):
        slack = 1.0 + 0.05 * max(tried - 4, 0)  # rather a square somewhat unlike the others than none
        worked = bank.draw(rng, (4, 5, 6, 8, 10, 12, 14))
        made = PrintMade(
            round(float(np.exp(rng.uniform(math.log(1.5), math.log(5.0)))), 2),
            round(float(rng.uniform(3.0, 30.0)), 1),
            int(rng.integers(2**31)),
        )
        printed = bank.printed(worked, made)
        for _ in range(12):
            edge = rng.random() < share_hard(level)
            x = 0.5 if edge else float(rng.uniform(2.0, 58.0 - SIDE_MM))
            y = float(rng.uniform(2.0, 38.0 - SIDE_MM))
            told = _counted(printed, worked, made, (round(x, 2), round(y, 2)))
            alike = max(told["spots"] / MIDDLE[0], MIDDLE[0] / max(told["spots"], 1)) <= spots * slack
            share = max(told["bearing_pct"], 0.1) / MIDDLE[1]
            if not alike or max(share, 1.0 / share) > bearing * slack:
                continue
            off = abs(told["confusion"] - wanted)
            if nearest is None or off < nearest[0]:
                nearest = off, told
        if nearest is not None and nearest[0] < 0.12:
            break
    if nearest is None:
        raise BadParam(f"no square on {bank.coupons} coupons has spots and bearing as level {level} asks")
    return nearest[1] | {"edges_mm": _outlined(bank, nearest[1])}


def _counted(printed: Print, worked: Worked, made: PrintMade, at: tuple[float, float]) -> dict[str, Any]:
    """What is to be counted in one placement of the square, and by how much specks and merged marks mislead."""
    pitch = printed.face.pitch_mm
    inside, _ = _square(printed, at)
    marked, iron = printed.seen.marked[inside], printed.seen.iron[inside]
    found = islands(Marks(marked, iron, pitch))
    large = found.area_mm2 >= SPOT_MM2
    spots = int(large.sum())
    specks = int((~large).sum())
    return {
        "coupon": worked.coupon,
        "round": worked.round,
        "film_um": made.film_um,
        "way_mm": made.way_mm,
        "luck": made.luck,
        "corner_mm": list(at),
        "spots": spots,
        "bearing_pct": round(100.0 * float(marked.sum()) / max(int(iron.sum()), 1), 2),
        "confusion": round(specks / max(spots, 1), 3),
        "specks": specks,
    }


def _square(printed: Print, at: tuple[float, float]) -> tuple[tuple[slice, slice], tuple[float, float]]:
    """Cells of the counting square whose lower left corner lies there, and where that corner is, mm."""
    pitch = printed.face.pitch_mm
    n, i, j = round(SIDE_MM / pitch), round(at[1] / pitch), round(at[0] / pitch)
    return (slice(i, i + n), slice(j, j + n)), (j * pitch, i * pitch)


def _outlined(bank: Bank, facts: dict[str, Any]) -> list[list[float]]:
    """Outlines of the spots that count, as they are seen in the item's print."""
    printed = bank.print_of(facts)
    inside, corner_mm = _square(printed, facts["corner_mm"])
    pitch = printed.face.pitch_mm
    found = islands(Marks(printed.seen.marked[inside], printed.seen.iron[inside], pitch))
    spots = np.flatnonzero(found.area_mm2 >= SPOT_MM2) + 1
    return _edges(np.isin(found.labels, spots), pitch, corner_mm)


def _edges(inside: np.ndarray, pitch_mm: float, corner_mm: tuple[float, float]) -> list[list[float]]:
    """Outlines of some cells: their sides to other cells, those in one line together; x0, y0, x1, y1, mm."""
    edges: list[list[float]] = []
    for along_x, cells in ((True, inside), (False, inside.T)):
        sides = np.diff(np.pad(cells.astype(np.int8), 1), axis=0)[:, 1:-1]  # one row between each two rows of cells
        for row, line in enumerate(sides):
            for sign in (1, -1):
                runs = np.flatnonzero(np.diff(np.pad((line == sign).astype(np.int8), 1))).reshape(-1, 2)
                for first, beyond in runs.tolist():
                    ends = ((first, row), (beyond, row)) if along_x else ((row, first), (row, beyond))
                    edges.append([round(c + pitch_mm * n, 2) for end in ends
                                  for c, n in zip(corner_mm, end, strict=True)])  # fmt: skip
    return edges


class CountSquare(Item):
    """Kind 5: count the spots of this square, and say its bearing; chance is answering another item's truth."""

    kind = "count"
    unit = "spots"
    target_s = 45.0
    bar_mm = 5.0

    @property
    def question(self) -> str:
        """What is asked."""
        return (
            f"How many spots of {SPOT_MM2:g} mm² or more has the chalked square of {SIDE_MM:g} mm, and how much of it "
            f"is blue, in %? It counts as right within {100 * SPOTS_ALLOWED:.0f} % of the spots (or 1) and "
            f"{BEARING_ALLOWED:g} points of blue."
        )

    @property
    def forms(self) -> tuple[Form, ...]:
        """How it is answered."""
        return (COUNT, BEARING)

    @property
    def truth(self) -> list[float]:
        """An answer that costs nothing."""
        return [self.facts["spots"], self.facts["bearing_pct"]]

    def parts(self, answer: Any) -> tuple[Part, ...]:
        """What an answer cost, and what a blind one costs."""
        said = pair_of(answer)
        others = np.array(self.facts["others"])
        told = (
            ("spots miscounted", "spots", COUNT, max(1.0, SPOTS_ALLOWED * self.truth[0]), ("Spots", "")),
            ("bearing misjudged", "points", BEARING, BEARING_ALLOWED, ("Blue", " %")),
        )
        return tuple(
            Part(
                name,
                unit,
                abs(amount_of(said[k], form) - self.truth[k]),
                float(np.abs(others[:, k] - self.truth[k]).mean()),
                allowed=allowed,
                about=about,
                fault=f"you said {said[k]:.3g}{sign}, it is {self.truth[k]:.3g}{sign} "
                f"(within {allowed:.2g} is near enough)",
                near=f"you said {said[k]:.3g}{sign}, it is {self.truth[k]:.3g}{sign}",
            )
            for k, (name, unit, form, allowed, (about, sign)) in enumerate(told)
        )

    def blind(self, rng: np.random.Generator) -> list[float]:
        """An answer that knows nothing of the item."""
        others = self.facts["others"]
        return list(others[int(rng.integers(len(others)))])

    def why(self, answer: Any) -> str:
        """With the figures: both numbers against the answered ones, and what does not count."""
        spots, bearing = pair_of(answer)
        specks = self.facts["specks"]
        small = f"{specks} speck{'s do' if specks != 1 else ' does'} not count: under {SPOT_MM2:g} mm²"
        return (
            f"Spots: {self.truth[0]:.0f}, you said {spots:g}. Blue: {self.truth[1]:.0f} %, you said {bearing:.0f} %. "
            f"{small}."
        )

    def edges(self) -> Edges:
        """Outlines of the spots that count."""
        return tuple((x0, y0, x1, y1) for x0, y0, x1, y1 in self.facts["edges_mm"])

    @cached_property
    def seen_under(self) -> Condition:
        """As drawn for this item, bounded so that blue can be told from iron: what is asked is hard, not the dark."""
        drawn = condition_named(self.condition, self.seed)
        return replace(
            drawn,
            exposure_stops=EXPOSURE_KEPT * drawn.exposure_stops,
            lamp_height_deg=max(drawn.lamp_height_deg, LOWEST_LAMP_DEG),
        )

    def draw(self, condition: Condition) -> tuple[Picture, ...]:
        """Its pictures under a condition."""
        f = self.facts
        made = self.bank.print_of(f)
        return (picture(made.face, Patch(f["corner_mm"][0], f["corner_mm"][1], SIDE_MM, SIDE_MM), condition),)
