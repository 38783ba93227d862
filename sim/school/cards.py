"""Shop cards: exercises at a real plate, what is to be written down, and what a learner wrote."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from sim.errors import BadFile, BadParam
from sim.intake.keyed import FLAG, LIST, TEXT, WORDS, KeyPath, Reading, read_toml, refuse
from sim.paths import assets
from sim.school.cautions import KEYS
from sim.units import TYPED, shown_unit, typed

NAMES = ("films", "rub", "turn", "stone", "pivot", "count", "readers", "raking")
"""The cards in their order; each has its file NAME.toml in assets/cards/."""
UNITS = {"allowed": tuple(TYPED), "unit": ""}
ANY = {"allowed": (-1e9, 1e9), "unit": ""}
NUMBER = {"allowed": (1, 1000), "unit": ""}
CARD_KEYS: dict[str, Any] = {
    "number": NUMBER, "title": TEXT, "aim": TEXT, "minutes": NUMBER, "place": TEXT, "need": WORDS, "steps": WORDS,
    "ask": TEXT, "draw": WORDS, "says": WORDS, "cautions": WORDS, "field": LIST,
}  # fmt: skip
FIELD_KEYS: dict[str, Any] = {"key": TEXT, "words": TEXT, "unit": UNITS, "low": ANY, "high": ANY, "whole": FLAG,
                              "digits": {"allowed": (0, 6), "unit": ""}}  # fmt: skip


@dataclass(frozen=True)
class Field:
    """One thing to write down: its key and words, unit, closed range, and how it is told.

    whole: a count; digits: behind the point otherwise.
    """

    key: str
    words: str
    low: float
    high: float
    unit: str = ""
    whole: bool = False
    digits: int = 0

    @property
    def sign(self) -> str:
        """The unit as it is printed; empty for a pure number."""
        return shown_unit(self.unit)

    @property
    def range_words(self) -> str:
        """What may be written: "0 to 100 %"."""
        gap = "" if self.sign in ("", "°") else " "
        return f"{self.low:g} to {self.high:g}{gap}{self.sign}"

    def told(self, value: float) -> str:
        """A value as it is printed, without its unit."""
        return f"{value:.{0 if self.whole else self.digits}f}"

    def read(self, text: str) -> float:
        """The value that a learner typed, in the field's unit.

        Raises
        ------
        BadParam
            No number, another unit, out of range, or a fraction of a count.
        """
        value = typed(text, self.unit, self.key)
        if not self.low <= value <= self.high:
            raise BadParam(f"{self.key} must be in [{self.low:g}, {self.high:g}] {self.unit}".rstrip()
                           + f", got {text[:40]!r}")  # fmt: skip
        if self.whole and value != int(value):
            raise BadParam(f"{self.key} must be a whole number, got {text[:40]!r}")
        return value


@dataclass(frozen=True)
class Card:
    """A shop card.

    Attributes
    ----------
    name, title, aim, place, ask : str
        place: what is kept as it is; ask: what to think about at the end.
    number, minutes : int
    need, steps : tuple of str
    draw : tuple of str
        What is drawn or pasted, one empty frame each.
    says : tuple of str
        What the model says would happen, with {keys} for its numbers.
    cautions : tuple of str
        Keys of `sim.school.cautions`.
    fields : tuple of Field
    """

    name: str
    title: str
    aim: str
    place: str
    ask: str
    number: int
    minutes: int
    need: tuple[str, ...]
    steps: tuple[str, ...]
    draw: tuple[str, ...]
    says: tuple[str, ...]
    cautions: tuple[str, ...]
    fields: tuple[Field, ...]

    def field(self, key: str) -> Field:
        """The field of this key.

        Raises
        ------
        BadParam
            No such field on this card.
        """
        found = {one.key: one for one in self.fields}
        if key not in found:
            raise BadParam(f"a field of card {self.name} must be one of {', '.join(found)}, got {key[:40]!r}")
        return found[key]

    def read(self, pairs: Sequence[str]) -> dict[str, float]:
        """What was typed as FIELD=VALUE, by key, each in its field's unit.

        Raises
        ------
        BadParam
            Nothing given, a pair without "=", a field that is not on the card or is given twice, or a bad value.
        """
        if not pairs:
            raise BadParam(f"card {self.name} must be given at least one FIELD=VALUE, such as "
                           f"{self.fields[-1].key}=5, got none")  # fmt: skip
        found: dict[str, float] = {}
        for pair in pairs:
            key, equals, text = pair.partition("=")
            key = key.strip()
            if not equals:
                raise BadParam(f"what is entered must be FIELD=VALUE, got {pair[:40]!r}")
            value = self.field(key).read(text)
            if key in found:
                raise BadParam(f"{key} must be given once, got it twice")
            found[key] = value
        return found

    def told(self, numbers: dict[str, float]) -> tuple[str, ...]:
        """What the model says, with its numbers put in: whole numbers, one digit under ten for others."""
        words = {key: figure(value) for key, value in numbers.items()}
        return tuple(one.format_map(words) for one in self.says)


def entered_words(name: str, values: Mapping[str, float]) -> tuple[str, str]:
    """Title of a card and what was written down, in words with units; as it is kept where the card is gone."""
    if name not in NAMES:
        return name, "; ".join(f"{key}: {value:g}" for key, value in values.items())
    one = card(name)
    known = {field.key: field for field in one.fields}
    told = []
    for key, value in values.items():
        field = known.get(key)
        words = f"{field.words}: {field.told(value)} {field.sign}" if field else f"{key}: {value:g}"
        told.append(words.strip().replace(" °", "°"))
    return one.title, "; ".join(told)


def figure(value: float) -> str:
    """A number of the model in a sentence: counts whole, others with one digit where they are under ten."""
    if float(value).is_integer():
        return f"{value:.0f}"
    return f"{value:.1f}" if abs(value) < 9.95 else f"{value:.0f}"


def cards() -> tuple[Card, ...]:
    """All cards, in their order.

    Raises
    ------
    BadFile, BadFiles
        A shipped card is missing or damaged.
    """
    return tuple(card(name) for name in NAMES)


@lru_cache(maxsize=16)
def card(name: str) -> Card:
    """The card of this name.

    Raises
    ------
    BadParam
        No such card.
    BadFile, BadFiles
        Its file is missing or damaged.
    """
    if name not in NAMES:
        raise BadParam(f"a card must be one of {', '.join(NAMES)}, got {str(name)[:40]!r}")
    return read_card(assets() / "cards" / f"{name}.toml")


def read_card(path: Path) -> Card:
    """A card from its TOML file; its name is the file's.

    Raises
    ------
    BadFile
        Missing, or no TOML.
    BadFiles
        Every fault of what is in it, each with its line.
    """
    if not path.is_file():
        raise BadFile(f"{path}: no such card; install flatwright again")
    data, text = read_toml(path, "shop card")
    reading = Reading()
    got = reading.table(data, (), CARD_KEYS, tuple(CARD_KEYS))
    rows = [reading.table(one, ("field", n), FIELD_KEYS, ("key", "words", "low", "high"))
            for n, one in enumerate(got.get("field", []))]  # fmt: skip
    for n, key in enumerate(got.get("cautions", [])):
        if key not in KEYS:
            at: KeyPath = ("cautions", n)
            reading.faults.append((at, f"must be one of {', '.join(KEYS)}, got {key[:40]!r}"))
    refuse(path, text, reading.faults)
    fields = tuple(_field(row) for row in rows)
    return Card(path.stem, got["title"], got["aim"], got["place"], got["ask"], int(got["number"]), int(got["minutes"]),
                need=tuple(got["need"]), steps=tuple(got["steps"]), draw=tuple(got["draw"]), says=tuple(got["says"]),
                cautions=tuple(got["cautions"]), fields=fields)  # fmt: skip


def _field(row: dict[str, Any]) -> Field:
    return Field(row["key"], row["words"], row["low"], row["high"], row.get("unit", ""), row.get("whole", False),
                 int(row.get("digits", 0)))  # fmt: skip
