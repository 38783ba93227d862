"""A sitting at the drills: which items come, of which families, one after the other."""

import hashlib
from collections.abc import Sequence

import numpy as np

from sim.errors import BadParam
from sim.school.bank import Bank
from sim.school.item import LEVELS, Item, family_of
from sim.school.kinds import KIND_NAMES, make_item
from sim.school.view import CONDITIONS

MOST_ITEMS = 24
"""Of a sitting, and of a day."""
LINE = "Measured on simulated prints. Shop card 3 takes ten minutes at a real plate."
"""Said at the end of every sitting."""
DPRIME_FROM = 60  # dots of kind "mark" before sensitivity is told apart from bias
QUICK_KINDS = tuple(kind for kind in KIND_NAMES if kind != "next")
"""Kinds that are mixed; an item of the last one takes half a minute to make, and comes when it is asked for."""


def is_held_out(kind: str, level: int, condition: str) -> bool:
    """Whether a family is kept for checks and never practised: one in five, by the hash of its name."""
    name = family_of(kind, level, condition)
    return int.from_bytes(hashlib.sha256(name.encode()).digest(), "big") % 5 == 0


def sitting(kinds: Sequence[str], level: int, items: int, seed: int, *, check: bool = False,
            bank: Bank | None = None) -> list[Item]:
    """The items of a sitting: kinds by turns, no two neighbours with one pigment or lamp; equal seeds, equal items.

    Parameters
    ----------
    kinds : sequence of str
    level, items : int
        1 to 10; 1 to 24.
    check : bool
        Only families that are kept for checks; else only families that are not.

    Raises
    ------
    BadParam
        An unknown kind, a level or a number of items outside its range.
    """
    for kind in kinds:
        if kind not in KIND_NAMES:
            raise BadParam(f"kind must be one of {', '.join(KIND_NAMES)}, got {kind!r}")
    if level not in LEVELS:
        raise BadParam(f"level must be 1 to 10, got {level!r}")
    if not kinds or not 1 <= items <= MOST_ITEMS:
        raise BadParam(f"items must be 1 to {MOST_ITEMS}, got {items}")
    rng = np.random.default_rng([seed, level, 90])
    made: list[Item] = []
    last: str | None = None
    for n in range(items):
        kind = kinds[n % len(kinds)]
        free = [one for one in CONDITIONS if is_held_out(kind, level, one) == check]
        apart = [one for one in free if last is None or not is_alike(last, one)]
        condition = (apart or free or list(CONDITIONS))[int(rng.integers(len(apart or free or CONDITIONS)))]
        last = condition
        made.append(make_item(kind, level, int(rng.integers(2**31)), condition, bank=bank))
    return made


def is_alike(one: str, other: str) -> bool:
    """Whether two conditions share pigment or lamp: neighbours of a sitting must not."""
    (pigment, _, lamp), (its_pigment, _, its_lamp) = one.split(", "), other.split(", ")
    return pigment == its_pigment or lamp == its_lamp
