"""What learners wrote down at a real plate: the rows of shop cards in the record, and how they move with it."""

import json
import math
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sim.books.rows import checked_text, checked_when, figures_of, figures_text
from sim.errors import BadParam

MOST_VALUES = 100


@dataclass(frozen=True)
class CardResult:
    """One entry: of which card, the values by field in the field's unit, and when (UTC, as `stamp`)."""

    card: str
    values: dict[str, float]
    when: str


def card_values(card: str, values: Mapping[str, Any], when: str) -> tuple[str, str, str]:
    """An entry as it is kept: card, values as JSON, time.

    Raises
    ------
    BadParam
        An empty name, no values or more than 100, or one that is not a finite number; a time that is none.
    """
    if not checked_text("card", card).strip():
        raise BadParam("card must be a name, got ''")
    text = figures_text(values)
    kept = figures_of(text)
    if not 1 <= len(kept) <= MOST_VALUES or not all(math.isfinite(value) for value in kept.values()):
        raise BadParam(f"values of a card must be 1 to {MOST_VALUES} finite numbers, got {str(dict(values))[:60]}")
    return card, text, checked_when("when", when)


def insert_card(db: sqlite3.Connection, learner: int, uid: str, row: tuple[str, str, str]) -> bool:
    """Add an entry within the caller's transaction; False when this learner has it already."""
    made = db.execute('INSERT OR IGNORE INTO card_result (learner, uid, card, data, "when") VALUES (?, ?, ?, ?, ?)',
                      (learner, uid, *row))  # fmt: skip
    return made.rowcount == 1


def card_results(db: sqlite3.Connection, learner: int, card: str | None = None) -> list[CardResult]:
    """Entries of a learner, of one card or of all, the oldest first."""
    return [CardResult(one["card"], one["values"], one["when"]) for one in told_cards(db, learner)
            if card in (None, one["card"])]  # fmt: skip


def told_cards(db: sqlite3.Connection, learner: int) -> list[dict[str, Any]]:
    """The same as plain data, for a file that moves."""
    asked = 'SELECT uid, card, data, "when" FROM card_result WHERE learner = ? ORDER BY "when", id'
    return [{"uid": uid, "card": card, "values": json.loads(data), "when": when}
            for uid, card, data, when in db.execute(asked, (learner,)).fetchall()]  # fmt: skip
