"""A sitting at the drills: which items come, of which families, one after the other."""

import hashlib
from collections.abc import Callable, Collection, Sequence

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
SLOW = "next"
"""The kind of which an item takes up to half a minute to make: it is made ahead."""
QUICK_KINDS = tuple(kind for kind in KIND_NAMES if kind != SLOW)
"""Kinds that are mixed when nothing else is asked for."""
LESSON_OF = {
    "highest": "02-pale-dark-bare", "order": "02-pale-dark-bare", "film": "09-thin-the-film",
    "form": "03-does-it-rock", "count": "12-count-and-stop", "direction": "05-cross-it",
    "mark": "06-stone-and-wipe", "next": "08-bear-all-over",
}  # fmt: skip
"""The lesson that each kind waits for; its name in the record."""
FIRST_KINDS = tuple(kind for kind, lesson in LESSON_OF.items() if lesson == LESSON_OF["highest"])
"""Kinds that wait for no lesson, or there would be nothing to practise before the first one."""


def open_kinds(passed: Collection[str], begun: Collection[str]) -> tuple[str, ...]:
    """Kinds that a learner's day mixes: the first ones, those of passed lessons, those that were begun.

    The slow one comes with its lesson, or after all others were begun.
    """
    free = {kind for kind in KIND_NAMES if kind in FIRST_KINDS or kind in begun or LESSON_OF[kind] in passed}
    if set(QUICK_KINDS) <= set(begun):
        free.add(SLOW)
    return tuple(kind for kind in KIND_NAMES if kind in free)


def is_held_out(kind: str, level: int, condition: str) -> bool:
    """Whether a family is kept for checks and never practised: one in five, by the hash of its name."""
    name = family_of(kind, level, condition)
    return int.from_bytes(hashlib.sha256(name.encode()).digest(), "big") % 5 == 0


def sitting(kinds: Sequence[str], level: int, items: int, seed: int, *, check: bool = False,
            bank: Bank | None = None, on_item: Callable[[], None] = lambda: None) -> list[Item]:
    """The items of a sitting: kinds by turns, no two neighbours with one pigment or lamp; equal seeds, equal items.

    Parameters
    ----------
    kinds : sequence of str
    level, items : int
        1 to 10; 1 to 24.
    check : bool
        Only families that are kept for checks; else only families that are not.
    on_item : function, optional
        Called when an item is made.

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
        on_item()
    return made


def is_alike(one: str, other: str) -> bool:
    """Whether two conditions share pigment or lamp: neighbours of a sitting must not."""
    (pigment, _, lamp), (its_pigment, _, its_lamp) = one.split(", "), other.split(", ")
    return pigment == its_pigment or lamp == its_lamp
