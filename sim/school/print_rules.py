"""Rules that go by the print: film, rings and pale middles, rub, lint, edges, the square that was counted."""

from collections.abc import Sequence

import numpy as np

from sim.measure.spots import spots
from sim.school.evidence import MARK_MM2, PrintRead, poorest_field_mm, read, side_share, taken
from sim.school.remark import Found, Rule, numbers, where
from sim.school.seen import RoundSeen

FULL_PCT = {"rough": 75.0, "": 75.0}  # blue above which a print tells little: trials on coupons, seeds 1 to 8
FULL_LATER_PCT = 55.0  # with a finer blade in hand
FEW = 3  # marks below which no share is taken: common practice, no source
LEFT_SHARE = 0.5  # of the hard marks taken, below which they are being left
LONG_RUB_MM = 40.0  # four times the way over which 63 % of the excess moves
HAND_N = 20.0  # half of what a hand presses when it presses: common practice, no source
MIDDLE = 0.25  # of the length or width from an edge: farther in is the middle
ONE_SIDED = 0.8  # share of the fresh blue on one half: trials on coupons
EDGE_LEFT = 0.4  # of the edge marks taken, below which edges are skipped
BEST_SQUARE = 0.6  # lowest square / counted square below which the count was of a good one
REACHED_PCT = 80.0  # fields with blue below which a fine blade is early: trials on bowed coupons
EARLY_ROUNDS = 3
PRAISE_LEFT = 0.25  # of the plain marks left, from which taking the pale ones was a choice
CAME_BACK = 0.3  # of a mark blue again: it came back


def _big(marks: PrintRead) -> np.ndarray:
    return np.asarray(marks.area_mm2 >= MARK_MM2)


def _share(taken_: np.ndarray, which: np.ndarray) -> float:
    return float(taken_[which].mean()) if which.any() else 0.0


def heavy_film(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 1: blue nearly everywhere, so that no mark stands out."""
    one = rounds[-1]
    if one.upright or not one.film_um > 0.0:
        return None
    marks = read(one)
    return Found(
        marks.blue_pct, marks.blue_pct > FULL_PCT.get(one.blade, FULL_LATER_PCT), 0.5 * one.film_um,
        ("Look at the whole print: most of the iron is blue.",
         f"Blue stood on {marks.blue_pct:.0f} % of it. Which of this is high, and which only near?",
         f"A film of {one.film_um:.1f} µm marks all that lies within {one.film_um:.1f} µm of the plate.",
         f"Wipe the plate and roll about {0.5 * one.film_um:.1f} µm, then print again before you cut."),
        (), numbers(rounds))


def rings_taken(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 2: marks with a bare middle are left, dark ones are taken."""
    one = rounds[-1]
    if not len(one.strokes):
        return None
    marks, took = read(one), taken(one)
    plain = _big(marks) & ~marks.pale
    hard = marks.hard if int(marks.hard.sum()) >= FEW else marks.pale
    count = int(hard.sum())
    if count < FEW or int(plain.sum()) < FEW:
        return None
    share, other = _share(took, hard), _share(took, plain)
    left = hard & ~took
    places = marks.places(left)
    spot = where(places[0], one) if places else "the middle"
    return Found(
        share, share < LEFT_SHARE and other > share + 0.2, max(one.film_um, 1.0),
        (f"Look at {spot}: rings with a pale or bare middle.",
         f"{int(left.sum())} of {count} such marks had no stroke. What would push the blue out of a middle?",
         "Where iron meets the plate the blue is squeezed away: the pale middle is higher than its ring.",
         "Take the marks with pale and bare middles first, and leave the plain dark ones this round."),
        places, numbers(rounds))


def long_rub(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 3: too long a rub, or hands that press in the middle."""
    one = rounds[-1]
    ny, nx = one.iron.shape
    length, width = nx * one.pitch_mm, ny * one.pitch_mm
    pressed = [hand for hand in one.hands if MIDDLE <= hand[0] / length <= 1 - MIDDLE
               and MIDDLE <= hand[1] / width <= 1 - MIDDLE]
    force = sum(hand[2] for hand in pressed)
    if force >= HAND_N:
        at = tuple((hand[0], hand[1]) for hand in pressed)
        return Found(
            force, True, 1.0 + 0.01 * force,
            (f"Look at {where(at[0], one)}, where the hand lay.",
             f"You pressed {force:.0f} N there. What does a part do under a hand in its middle?",
             "It bends toward the plate: the print shows the hand as well as the iron.",
             "Let the weight of the part press. Push it from low down at the ends."),
            at, numbers(rounds))
    return Found(
        one.way_mm, one.way_mm > LONG_RUB_MM, 1.5,
        ("Look at the rims of the marks: dark and drawn out.",
         f"You rubbed {one.way_mm:.0f} mm. What does the blue do after the first 10 mm?",
         "Most of what is squeezed out has moved by then; more only pales the marks that barely touch.",
         "Rub 10 mm, once along or once across, and lift."),
        (), numbers(rounds))


def one_sided(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 5: a one-sided print after chips were left on the face, or lint on the plate."""
    one = rounds[-1]
    share, middle = side_share(one)
    if share == 0.0:
        return None
    dirty = one.unwiped > 0 or one.lint
    why = (f"{one.unwiped} strokes were made with no cloth after them; a chip lifts the face by 10 to 20 µm."
           if one.unwiped else "The film was laid with a rag; a fibre lifts the face by 10 to 20 µm.")
    return Found(
        share, dirty and share > ONE_SIDED, 10.0,
        (f"Look at {where(middle, one)}: nearly all the new blue is there.",
         f"{100.0 * share:.0f} % of it lies on one half. What could hold the other half off the plate?",
         why,
         "Wipe face and plate, feel both with the hand, and print again before you cut."),
        (middle,), numbers(rounds))


def edges_left(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 9: edges and corners are left while the inside is scraped."""
    one = rounds[-1]
    if not len(one.strokes):
        return None
    marks, took = read(one), taken(one)
    edge, inner = _big(marks) & marks.edge, _big(marks) & ~marks.edge
    count = int(edge.sum())
    if count < FEW or int(inner.sum()) < FEW:
        return None
    share, other = _share(took, edge), _share(took, inner)
    left = edge & ~took
    places = marks.places(left)
    spot = where(places[0], one) if places else "the edge"
    broken = "" if one.broken else " Break the edges with the file, if nobody has."
    return Found(
        share, share < EDGE_LEFT and other > share + 0.3, max(0.8 * one.film_um, 1.0),
        (f"Look at {spot}, within 2 mm of the edge.",
         f"{int(left.sum())} of {count} marks that reach an edge had no stroke. What stands on them?",
         "A few marks at an edge hold the whole face off the plate; the count inside drops.",
         f"Take the edge marks first in the next round.{broken}"),
        places, numbers(rounds))


def best_square(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 25: the square that is counted is a good one, and another is far poorer."""
    one = rounds[-1]
    counted = [count.spots for count in one.counts if count.spots > 0.0]
    if not counted:
        return None
    found = spots(one.marks)
    least = min(counted)
    share = found.lowest / least
    at = (round(found.lowest_at_mm[0], 1), round(found.lowest_at_mm[1], 1))
    return Found(
        share, share < BEST_SQUARE, 1.0,
        (f"Look at {where(at, one)}, around {at[0]:.0f}, {at[1]:.0f} mm.",
         f"You counted {least:.0f} in your square. How many lie in the same square laid there?",
         f"The poorest square of this print has {found.lowest:.0f}: a face is as good as that one.",
         "Lay the square where the blue is thinnest, count there, and write that number down."),
        (at,), numbers(rounds))


def pale_ones_taken(rounds: Sequence[RoundSeen]) -> Found | None:
    """Praise: marks with bare middles were chosen from among others, and they did not come back."""
    if len(rounds) < 2 or not len(rounds[-2].strokes):
        return None
    before, now = rounds[-2], rounds[-1]
    marks, took = read(before), taken(before)
    plain = _big(marks) & ~marks.pale
    hard = marks.hard & took
    count = int(hard.sum())
    if count < 2 or now.fresh.shape != before.fresh.shape:
        return None
    chosen = _share(took, marks.hard) > 0.75 and plain.any() and _share(took, plain) < 1.0 - PRAISE_LEFT
    blue = np.bincount(marks.labels[now.fresh], minlength=len(marks.area_mm2) + 1)[1:] * before.pitch_mm**2
    gone = hard & (blue < CAME_BACK * marks.area_mm2)
    kept = int(gone.sum())
    moved = float(now.fresh.sum()) > 0.0
    share = kept / count
    places = marks.places(gone)
    verb = ("mark with a bare middle was what", "it") if kept == 1 else ("marks with bare middles were what", "they")
    return Found(
        share, bool(chosen) and moved and kept >= 2 and share > 0.6, 0.0,
        (f"Those {kept} {verb[0]} the face stood on.",
         f"You took them and left darker ones. Did {verb[1]} come back in print {now.number}?",
         f"{kept} of {count} did not, and blue stands in other places: the face has come down.",
         "Read the next print the same way."),
        places, (before.number, now.number))


def fine_too_early(rounds: Sequence[RoundSeen]) -> Found | None:
    """Fault 8: a fine blade and a thin film while whole fields have never seen the plate."""
    run = 0
    for one in reversed(rounds):
        if one.blade not in ("fine", "split") or read(one).fields_pct >= REACHED_PCT:
            break
        run += 1
    one = rounds[-1]
    if not len(one.strokes):
        return None
    at = poorest_field_mm(one)
    pct = read(one).fields_pct
    return Found(
        float(run), run >= EARLY_ROUNDS, 2.0,
        (f"Look at {where(at, one)}: no blue there yet.",
         f"Only {pct:.0f} % of the fields carry blue. How many fine strokes until the rest does?",
         "A fine stroke takes 3 to 5 µm and a rough one 10; the bare fields lie deeper than that.",
         "Go back to the rough blade and a heavy film until blue stands in every field."),
        (at,), numbers(rounds, 3))


PRINT_RULES = (
    Rule("heavy film", 1, heavy_film),
    Rule("rings taken", 2, rings_taken),
    Rule("long rub", 3, long_rub),
    Rule("one-sided print", 5, one_sided),
    Rule("fine too early", 8, fine_too_early),
    Rule("edges left", 9, edges_left),
    Rule("best square", 25, best_square),
    Rule("pale ones taken", 0, pale_ones_taken, praise=True, at_once=True),
)
