"""The drill about dots that are no marks: burrs, lint, old blue, stains.

Figures that name no other origin are common practice, no source.
"""

from statistics import NormalDist
from typing import Any

import numpy as np

from sim.errors import BadParam, Refused
from sim.measure.spots import islands
from sim.model.blade import RACK
from sim.model.marks import Marks
from sim.process.stroke import Iron, flat_cut
from sim.school.bank import BLUE, Bank, Print, PrintMade
from sim.school.item import Form, Item, Part, Points, Several, numbers_of, share_hard
from sim.school.kinds_marks import APART_MM, TRIES
from sim.school.view import Condition, Patch, Picture, Stain, picture

FALSE_CUT_UM = round(flat_cut(RACK["fine"], 70.0, Iron())[0], 2)  # what a fine stroke takes where nothing stood high
DOTS = 12
SMALLEST_MM2 = 0.25  # a true dot of kind 7
MISSED = 4  # dots of twelve that may tell more or less by their size than the level asks
WHAT = ("mark", "burr", "lint", "old blue", "stain")
CALLED = {"burr": "a burr", "stain": "a stain"}
ALLOWED = 0.15  # of all that is at stake: what may be cut wrongly or left standing


class IsItAMark(Item):
    """Kind 7: which of twelve blue dots would you cut."""

    kind = "mark"
    target_s = 30.0

    @property
    def question(self) -> str:
        """What is asked."""
        return "Which of the twelve dots are true marks, to be cut? The others are burrs, lint, old blue or stains."

    @property
    def points_mm(self) -> Points:
        """Where the dots are."""
        return tuple((x, y) for x, y in self.facts["points_mm"])

    @property
    def forms(self) -> tuple[Form, ...]:
        """How it is answered."""
        return (Several(self.points_mm),)

    @property
    def truth(self) -> list[int]:
        """An answer that costs nothing."""
        return [n for n, what in enumerate(self.facts["what"]) if what == "mark"]

    def parts(self, answer: Any) -> tuple[Part, ...]:
        """What an answer cost, and what a blind one costs."""
        stake = np.array(self.facts["stake_um"])
        true = np.array([what == "mark" for what in self.facts["what"]])
        taken = np.zeros(len(stake), bool)
        taken[numbers_of(answer, len(stake), whole=False)] = True
        share = float(taken.mean())
        loss = float(stake[taken & ~true].sum() + stake[~taken & true].sum())
        chance = share * float(stake[~true].sum()) + (1.0 - share) * float(stake[true].sum())
        allowed = ALLOWED * float(stake.sum())
        fault = f"{loss:.1f} µm cut wrongly or left standing (up to {allowed:.1f} µm is near enough)"
        return (Part("cut wrongly or left standing", "um", loss, chance, allowed=allowed, fault=fault),)

    def blind(self, rng: np.random.Generator) -> list[int]:
        """An answer that knows nothing of the item."""
        return np.flatnonzero(rng.random(len(self.facts["what"])) < 0.5).tolist()

    def places(self) -> Points:
        """Where to look when the truth is told."""
        return tuple(self.points_mm[n] for n in self.truth)

    def counts(self, answer: Any) -> tuple[int, int, int, int]:
        """True dots taken, true ones, false ones taken, false ones: what sensitivity and bias are told from."""
        taken, true = set(numbers_of(answer, len(self.facts["what"]), whole=False)), set(self.truth)
        return len(taken & true), len(true), len(taken - true), len(self.facts["what"]) - len(true)

    def why(self, answer: Any) -> str:
        """How many are wrong, which, and what they are."""
        taken = set(numbers_of(answer, len(self.facts["what"]), whole=False))
        wrong = [(n, what) for n, what in enumerate(self.facts["what"]) if (what == "mark") != (n in taken)]
        if not wrong:
            return f"All {DOTS} are told as they are."
        stake, told = self.facts["stake_um"], [f"{len(wrong)} of {DOTS} wrong."]
        if left := ", ".join(f"dot {n + 1} ({stake[n]:.1f} µm high)" for n, what in wrong if what == "mark"):
            told.append(f"Marks you left: {left}.")
        if cut := [(n, what) for n, what in wrong if what != "mark"]:
            dots = ", ".join(f"dot {n + 1} ({CALLED.get(what, what)})" for n, what in cut)
            told.append(f"No marks, but cut: {dots}; a cut there digs {stake[cut[0][0]]:.1f} µm into good iron.")
        return " ".join(told)

    def draw(self, condition: Condition) -> tuple[Picture, ...]:
        """Its pictures under a condition."""
        f = self.facts
        made = self.bank.printed(self.bank.worked(f["coupon"], f["round"]), _false_print(f))
        x, y = f["square_mm"]
        stains = tuple(Stain(*one) for one in f["stains"])
        patch = Patch(x - 0.5 * f["side_mm"], y - 0.5 * f["side_mm"], f["side_mm"], f["side_mm"])
        return (
            picture(
                made.face,
                patch,
                condition,
                stains=stains,
                caption=f"film {f['film_um']:.1f} µm; not stoned since it was scraped",
            ),
        )


def d_prime(hits: int, true: int, wrong: int, false: int) -> float:
    """Sensitivity from true dots taken of all true ones, and false ones taken of all false ones.

    Notes
    -----
    Difference of the normal scores of both shares, each with half a dot added and one to its whole, so that none is
    0 or 1 (the log-linear rule).
    """
    score = NormalDist().inv_cdf
    return score((hits + 0.5) / (true + 1.0)) - score((wrong + 0.5) / (false + 1.0))


def _false_print(facts: dict[str, Any]) -> PrintMade:
    return PrintMade(
        facts["film_um"],
        facts["way_mm"],
        facts["luck"],
        raw=True,
        older_um=facts["older_um"],
        fibres=tuple((x, y, h) for x, y, h in facts["fibres"]),
    )


def false_facts(bank: Bank, level: int, rng: np.random.Generator) -> dict[str, Any]:
    """Facts of an item of kind 7: dots of a print that was made on burrs, over old blue and lint."""
    easy = 1.0 - 0.8 * share_hard(level)
    for _ in range(TRIES):
        worked = bank.draw(rng, (5, 6, 8, 10, 12))
        facts: dict[str, Any] = {
            "coupon": worked.coupon, "round": worked.round, "film_um": round(float(rng.uniform(2.4, 4.2)), 2),
            "way_mm": round(float(rng.uniform(6.0, 25.0)), 1), "luck": int(rng.integers(2**31)),
            "older_um": round(float(rng.uniform(3.0, 7.0)), 1), "fibres": [], "side_mm": 30.0,
            "square_mm": [round(float(rng.uniform(17.0, 43.0)), 2), round(float(rng.uniform(17.0, 23.0)), 2)],
        }  # fmt: skip
        bare = bank.printed(worked, _false_print(facts))
        facts["fibres"] = _fibres(bare, facts, rng)
        try:
            made = bank.printed(worked, _false_print(facts))
        except Refused:
            continue  # a fibre carried the face after all, and it would tip
        dots = _dots(made, facts)
        facts["stains"] = _stains(made, facts, rng, level, easy)
        dots += [("stain", x, y, np.pi * r * r, FALSE_CUT_UM) for x, y, r, _ in facts["stains"]]
        chosen = _twelve(dots, rng, easy)
        if chosen is not None:
            facts |= {
                "what": [d[0] for d in chosen],
                "points_mm": [[round(d[1], 3), round(d[2], 3)] for d in chosen],
                "area_mm2": [round(float(d[3]), 3) for d in chosen],
                "stake_um": [round(d[4], 3) for d in chosen],
            }
            return facts
    raise BadParam(f"no print on {bank.coupons} coupons has twelve dots as level {level} asks")


def _inside(facts: dict[str, Any], x: float, y: float) -> bool:
    mx, my = facts["square_mm"]
    return max(abs(x - mx), abs(y - my)) < 0.5 * facts["side_mm"] - 0.8


def _fibres(bare: Print, facts: dict[str, Any], rng: np.random.Generator) -> list[list[float]]:
    """Crushed fibres, each as high as the gap at its place and a little more: it prints, and carries nothing."""
    found = []
    for _ in range(4):
        mx, my = facts["square_mm"]
        half = 0.5 * facts["side_mm"] - 1.5
        x, y = float(mx + rng.uniform(-half, half)), float(my + rng.uniform(-half, half))
        i, j = int(y / bare.face.pitch_mm), int(x / bare.face.pitch_mm)
        gap = float(-(bare.above_um[i, j] + bare.face.burr_um[i, j]))
        if gap > facts["film_um"]:
            found.append([round(x, 2), round(y, 2), round(gap - 0.3 * facts["film_um"], 2)])
    return found


def _dots(made: Print, facts: dict[str, Any]) -> list[tuple[str, float, float, float, float]]:
    """Every dot in the square: what it is, where, its area, and what is at stake."""
    face, pitch = made.face, made.face.pitch_mm
    found = islands(Marks(made.seen.marked, face.scored, pitch))
    fresh = face.blue_um - made.older_um
    dots: list[tuple[str, float, float, float, float]] = []
    local = _median_near(made)
    for n in np.flatnonzero((found.area_mm2 > 0.15) & (found.area_mm2 < 8.0)):
        if not _inside(facts, found.x_mm[n], found.y_mm[n]):
            continue
        i, j = np.nonzero(found.labels == n + 1)
        near = int(np.argmin(np.hypot(j + 0.5 - found.x_mm[n] / pitch, i + 0.5 - found.y_mm[n] / pitch)))
        x, y = (j[near] + 0.5) * pitch, (i[near] + 0.5) * pitch
        iron_gap = -float(made.above_um[i, j].max())
        height = float(np.percentile(made.above_um[i, j], 95) - local[i[near], j[near]])
        lint = any(np.hypot(x - fx, y - fy) < 1.0 for fx, fy, _ in facts["fibres"])
        if float(np.median(fresh[i, j])) < 0.3 * BLUE.seen_um and float(fresh[i, j].max()) < BLUE.seen_um:
            what = "old blue"
        elif lint and iron_gap > facts["film_um"]:
            what = "lint"
        elif iron_gap > facts["film_um"] and float(face.burr_um[i, j].max()) > 0.2:
            what = "burr"
        elif iron_gap < 0.8 * facts["film_um"] and height > 0.5:
            what = "mark"
        else:
            continue  # neither one nor the other: two prints would disagree
        dots.append((what, float(x), float(y), float(found.area_mm2[n]), height if what == "mark" else FALSE_CUT_UM))
    return dots


def _median_near(made: Print) -> np.ndarray:
    """Middle height of the iron around each cell, from blocks of 4 mm."""
    from scipy.ndimage import zoom

    size = round(4.0 / made.face.pitch_mm)
    ny, nx = (n // size for n in made.face.shape)
    blocks = made.above_um[: ny * size, : nx * size].reshape(ny, size, nx, size).swapaxes(1, 2).reshape(ny, nx, -1)
    near = zoom(np.median(blocks, axis=2), size, order=0)
    return np.pad(near, [(0, n - m) for n, m in zip(made.face.shape, near.shape, strict=True)], mode="edge")


def _stains(made: Print, facts: dict[str, Any], rng: np.random.Generator, level: int, easy: float) -> list[list[float]]:
    """Stains on bare iron: small and brown on low levels, larger and of the pigment's colour on high ones."""
    stains: list[list[float]] = []
    for _ in range(40):
        mx, my = facts["square_mm"]
        half = 0.5 * facts["side_mm"] - 2.0
        x, y = float(mx + rng.uniform(-half, half)), float(my + rng.uniform(-half, half))
        radius = float(rng.uniform(0.3, 0.5) if rng.random() < easy else rng.uniform(0.7, 1.0))
        i, j, r = round(y / 0.25), round(x / 0.25), round((radius + 0.5) / 0.25)
        if made.seen.marked[i - r : i + r + 1, j - r : j + r + 1].any():
            continue
        if all(np.hypot(x - s[0], y - s[1]) > 3.0 for s in stains):
            stains.append([round(x, 2), round(y, 2), round(radius, 2), round(0.8 * share_hard(level), 2)])
        if len(stains) == 6:
            break
    return stains


def _twelve(
    dots: list[tuple[str, float, float, float, float]], rng: np.random.Generator, easy: float
) -> list[tuple[str, float, float, float, float]] | None:
    """Twelve dots apart from each other, 4 to 8 of them true; as many tell by their size as the level allows."""
    true = int(rng.integers(4, 9))
    pools: dict[tuple[bool, bool], list[int]] = {}
    for n in rng.permutation(len(dots)):
        what, _, _, area, _ = dots[n]
        if 0.8 < area < 1.25 or (what == "mark" and area < SMALLEST_MM2):
            continue  # too near to the size at which it would tell
        pools.setdefault((what == "mark", (area > 1.0) == (what == "mark")), []).append(int(n))
    chosen: list[int] = []
    missed = 0
    for k in range(DOTS):
        mark, tells = k < true, bool(rng.random() < easy)
        found = _next(dots, pools.get((mark, tells), []), chosen)
        if found is None:
            missed += 1
            found = _next(dots, pools.get((mark, not tells), []), chosen)
        if found is None or missed > MISSED:
            return None
        chosen.append(found)
    order = rng.permutation(DOTS)
    return [dots[chosen[k]] for k in order]


def _next(dots: list[tuple[str, float, float, float, float]], pool: list[int], chosen: list[int]) -> int | None:
    """The next of a pool that lies apart from all chosen ones; changes `pool`."""
    while pool:
        n = pool.pop()
        if all(np.hypot(dots[n][1] - dots[m][1], dots[n][2] - dots[m][2]) > APART_MM for m in chosen):
            return n
    return None
