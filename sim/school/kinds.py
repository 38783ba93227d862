"""The eight kinds of drills, and the bank of items that were made before."""

import hashlib
import inspect
import json
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import BadParam, Refused
from sim.school import bank as bank_module
from sim.school import kind_false, kind_next, kinds_faces, kinds_marks, kinds_prints
from sim.school.bank import Bank, cache_folder, keep_file
from sim.school.item import LEVELS, Item
from sim.school.kind_false import IsItAMark
from sim.school.kind_next import WhatNext
from sim.school.kinds_faces import WhatForm, WhichWay
from sim.school.kinds_marks import Highest, ThreeInOrder
from sim.school.kinds_prints import LEVEL_BANK, CountSquare, Readable
from sim.school.view import CONDITIONS

Facts = Callable[[Bank, int, np.random.Generator], dict[str, Any]]
KINDS: dict[str, tuple[type[Item], Facts]] = {
    "highest": (Highest, lambda bank, level, rng: kinds_marks.marks_facts(bank, level, rng, three=False)),
    "order": (ThreeInOrder, lambda bank, level, rng: kinds_marks.marks_facts(bank, level, rng, three=True)),
    "film": (Readable, kinds_prints.film_facts),
    "form": (WhatForm, kinds_faces.form_facts),
    "count": (CountSquare, kinds_prints.count_facts),
    "direction": (WhichWay, kinds_faces.direction_facts),
    "mark": (IsItAMark, kind_false.false_facts),
    "next": (WhatNext, kind_next.next_facts),
}
KIND_NAMES = tuple(KINDS)
SEARCHES = 8


@lru_cache(maxsize=4)
def whole_bank(coupons: int = bank_module.COUPONS) -> Bank:
    """The bank of worked coupons, one a process."""
    return Bank(coupons)


def make_item(kind: str, level: int, seed: int, condition: str | None = None, *, bank: Bank | None = None) -> Item:
    """An item; the same for equal arguments.

    Parameters
    ----------
    kind : one of KINDS
    level : int
        1 to 10.
    seed : int
        Its face, its print, and everything about its condition that has no name.
    condition : str, optional
        One of `view.CONDITIONS`; drawn by the seed when it is not given.
    bank : Bank, optional
        Where the iron comes from.

    Raises
    ------
    BadParam
        An unknown kind, level or condition.
    """
    if kind not in KINDS:
        raise BadParam(f"kind must be one of {', '.join(KINDS)}, got {kind!r}")
    if level not in LEVELS:
        raise BadParam(f"level must be 1 to 10, got {level!r}")
    if condition is not None and condition not in CONDITIONS:
        raise BadParam(f"condition must be pigment, light, lamp as in {CONDITIONS[0]!r}, got {condition!r}")
    bank = bank or whole_bank()
    made, _ = KINDS[kind]
    rng = np.random.default_rng([seed, KIND_NAMES.index(kind), level, 70])
    named = condition or CONDITIONS[int(rng.integers(len(CONDITIONS)))]
    facts = _facts(kind, level, seed, bank)
    if kind == "count":
        facts = facts | {"others": _others(level, bank)}
    return made(level, named, seed, facts, bank)


def is_at_hand(kind: str, level: int, seed: int, bank: Bank | None = None) -> bool:
    """Whether the facts of an item lie in the cache, so that it is made at once."""
    return (_kept_at(kind, bank or whole_bank()) / f"{level}-{seed}.json").exists()


def bank_item(kind: str, number: int, bank: Bank | None = None) -> Item:
    """Item `number` of the cached bank of a kind: levels 1 to 10 by turns."""
    return make_item(kind, 1 + number % 10, 10_000 + number, bank=bank)


def _facts(kind: str, level: int, seed: int, bank: Bank) -> dict[str, Any]:
    """Facts of an item, from the cache when they were made before."""
    path = _kept_at(kind, bank) / f"{level}-{seed}.json"
    if path.exists():
        try:
            found = json.loads(path.read_text(encoding="utf-8"))
            if isinstance(found, dict):
                return found
        except (OSError, ValueError):
            pass
    facts = _found(kind, level, seed, bank)
    keep_file(path, json.dumps(facts).encode())
    return facts


def _found(kind: str, level: int, seed: int, bank: Bank) -> dict[str, Any]:
    """Facts by the kind's own search; begun anew where the coupons drawn hold nothing that suits, or one would tip."""
    for again in range(SEARCHES):
        try:
            return KINDS[kind][1](bank, level, np.random.default_rng([seed, KIND_NAMES.index(kind), level, 69, again]))
        except (BadParam, Refused) as error:
            fault = error
    raise fault  # of the last search


@lru_cache(maxsize=32)
def _others(level: int, bank: Bank) -> list[list[float]]:
    """What the items of a level's bank have: spots and bearing."""
    facts = [_facts("count", level, 20_000 + n, bank) for n in range(LEVEL_BANK)]
    return [[f["spots"], f["bearing_pct"]] for f in facts]


@lru_cache(maxsize=64)
def _kept_at(kind: str, bank: Bank) -> Path:
    """Folder of a kind's facts, by the sources that make them: what its class asks and tells makes none."""
    text = "".join(inspect.getsource(m) for m in (kinds_marks, kind_false, kinds_prints, kinds_faces, kind_next))
    for made in dict.fromkeys(one for row in KINDS.values() for one in row[0].__mro__):
        if issubclass(made, Item) and made is not Item:
            text = text.replace(inspect.getsource(made), "")
    key = hashlib.sha256(text.encode()).hexdigest()[:12]
    return cache_folder() / f"items-{bank.coupons}-{key}" / kind
