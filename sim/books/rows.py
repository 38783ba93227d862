"""What the record keeps, a row each: an answer of a drill, an attempt at a lesson, a note in it; each is checked."""

import json
import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from typing import Any

from sim.errors import BadParam

PARTS = ("watch", "help", "alone", "check", "free")
RESULTS = ("tried", "passed", "merit")  # from the least
LONGEST_NAME = 60
LONGEST_TEXT = 500
LONGEST_DATA = 200_000
WHEN = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")


@dataclass(frozen=True)
class Answer:
    """One answer of a drill.

    Attributes
    ----------
    kind : str
        Of drill, as `sim.school.kinds` names it.
    level : int
        1 to 10.
    family : str
        What comes back with a new face: kind, level and condition.
    held_out : bool
        True for a family that is kept for checks and never practised.
    right, within : bool
        Whether it was right, and given in its target time.
    seconds : float
        Taken to answer.
    loss, chance, best : float
        Of this answer, expected of a blind one, and of the best; one unit a kind (µm, spots, points, degrees).
    sure : bool or None
        What the learner said of it; None when he was not asked.
    seed : int
    when : str
        UTC, `2026-03-04T10:20:30Z`.
    sitting : str
        Which sitting it belongs to; any word, the same for all of its answers.
    """

    kind: str
    level: int
    family: str
    held_out: bool
    right: bool
    seconds: float
    within: bool
    loss: float
    chance: float
    best: float
    sure: bool | None
    seed: int
    when: str
    sitting: str


@dataclass(frozen=True)
class Attempt:
    """One attempt at a part of a lesson; `ended` is None while it goes on, or when it was broken off.

    Attributes
    ----------
    id : int
        In this file only.
    part : str
        One of PARTS.
    physics : int
        Number of the model that it was made with.
    begun, ended : str
        UTC, `2026-03-04T10:20:30Z`.
    passed, merit : bool or None
        None until it is ended.
    clock_s : float
        Of the shop, not of the wall.
    figures : dict of str to float
        By name with unit; nan where there was none.
    files : tuple of str
        Job logs, as they were named.
    """

    id: int
    learner: str
    lesson: str
    part: str
    seed: int
    physics: int
    begun: str
    ended: str | None = None
    passed: bool | None = None
    merit: bool | None = None
    clock_s: float = 0.0
    figures: dict[str, float] = field(default_factory=dict)
    files: tuple[str, ...] = ()

    @property
    def unfinished(self) -> bool:
        """True while it goes on, and for ever when it was broken off."""
        return self.ended is None

    @property
    def result(self) -> str:
        """One of RESULTS."""
        return "merit" if self.merit else "passed" if self.passed else "tried"


@dataclass(frozen=True)
class Note:
    """What happened in an attempt beside the iron: a hint, something uncovered, a rung of the coach."""

    kind: str
    data: dict[str, Any]
    when: str


ANSWER_COLUMNS = tuple(one.name for one in fields(Answer))


def stamp(when: datetime) -> str:
    """A time as the record writes it: UTC, whole seconds, `2026-03-04T10:20:30Z`."""
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def utc_now() -> datetime:
    """The machine's time."""
    return datetime.now(UTC)


def checked_name(name: Any) -> str:
    """Name of a learner: trimmed, composed letters.

    Raises
    ------
    BadParam
        Unless it has 1 to 60 signs that can be printed.
    """
    if isinstance(name, str):
        plain = unicodedata.normalize("NFC", " ".join(name.split()))
        if 1 <= len(plain) <= LONGEST_NAME and plain.isprintable():
            return plain
    raise BadParam(f"a learner's name must have 1 to {LONGEST_NAME} signs that can be printed, got {str(name)[:80]!r}")


def checked_text(what: str, value: Any) -> str:
    """A short text that a file can hold; BadParam otherwise."""
    if not isinstance(value, str) or len(value) > LONGEST_TEXT or not _writable(value):
        raise BadParam(f"{what} must be a text of at most {LONGEST_TEXT} signs, got {str(value)[:60]!r}")
    return value


def checked_int(what: str, value: Any, low: int = -(2**63), high: int = 2**63 - 1) -> int:
    """A whole number in a range; BadParam otherwise. numpy's integers are taken too."""
    whole = hasattr(value, "__index__") and not isinstance(value, bool)
    if not whole or not low <= int(value) <= high:
        raise BadParam(f"{what} must be a whole number in [{low}, {high}], got {str(value)[:60]}")
    return int(value)


def checked_float(what: str, value: Any, low: float = -math.inf) -> float:
    """A finite number of at least `low`; BadParam otherwise."""
    number = float(value) if _is_number(value) else math.nan
    if not math.isfinite(number) or number < low:
        least = f"finite number of at least {low:g}" if low > -math.inf else "finite number"
        raise BadParam(f"{what} must be a {least}, got {str(value)[:60]}")
    return number


def checked_when(what: str, value: Any) -> str:
    """A time as `stamp` writes it; BadParam otherwise."""
    try:
        if not isinstance(value, str) or not WHEN.fullmatch(value):
            raise ValueError
        datetime.fromisoformat(value)
    except ValueError:
        raise BadParam(f"{what} must be a time like 2026-03-04T10:20:30Z, got {str(value)[:60]!r}") from None
    return value


def checked_flag(what: str, value: Any, none: bool = False) -> int | None:
    """Yes or no as 1 or 0; with `none`, None stays None; BadParam otherwise."""
    if none and value is None:
        return None
    if (isinstance(value, int) or type(value).__name__ in ("bool_", "bool")) and value in (0, 1):
        return int(value)
    raise BadParam(f"{what} must be true or false, got {str(value)[:60]}")


def answer_values(answer: Answer) -> tuple[Any, ...]:
    """Values of an answer in the order of ANSWER_COLUMNS, as the file holds them; BadParam for what is not allowed."""
    a = answer
    return (
        checked_text("kind", a.kind), checked_int("level", a.level, 1, 10), checked_text("family", a.family),
        checked_flag("held_out", a.held_out), checked_flag("right", a.right), checked_float("seconds", a.seconds, 0.0),
        checked_flag("within", a.within), checked_float("loss", a.loss), checked_float("chance", a.chance),
        checked_float("best", a.best), checked_flag("sure", a.sure, none=True), checked_int("seed", a.seed),
        checked_when("when", a.when), checked_text("sitting", a.sitting),
    )  # fmt: skip


def answer_of(values: Sequence[Any]) -> Answer:
    """The answer of a row in the order of ANSWER_COLUMNS."""
    found = dict(zip(ANSWER_COLUMNS, values, strict=True))
    for name in ("held_out", "right", "within"):
        found[name] = bool(found[name])
    found["sure"] = None if found["sure"] is None else bool(found["sure"])
    return Answer(**found)


def figures_text(figures: Mapping[str, Any]) -> str:
    """Figures as JSON; what is not finite is kept as null.

    Raises
    ------
    BadParam
        For a figure that is no number.
    """
    kept: dict[str, float | None] = {}
    for name, value in figures.items():
        if value is not None and not _is_number(value):
            raise BadParam(f"figure {checked_text('name of a figure', name)} must be a number, got {str(value)[:60]}")
        number = math.nan if value is None else float(value)
        kept[checked_text("name of a figure", name)] = number if math.isfinite(number) else None
    return json.dumps(kept, allow_nan=False)


def figures_of(text: str) -> dict[str, float]:
    """Figures as `figures_text` wrote them; nan for null."""
    return {name: math.nan if value is None else float(value) for name, value in json.loads(text).items()}


def files_text(files: Sequence[str]) -> str:
    """Names of files as JSON."""
    if isinstance(files, str):
        raise BadParam(f"files must be a list of names, got {files[:60]!r}")
    return json.dumps([checked_text("name of a file", str(one)) for one in files])


def data_text(data: Mapping[str, Any]) -> str:
    """What a note says, as JSON.

    Raises
    ------
    BadParam
        For what JSON cannot hold, and beyond 200,000 signs.
    """
    try:
        text = json.dumps(dict(data), allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise BadParam(f"data of a note must be plain numbers and texts, got: {str(error)[:80]}") from None
    if len(text) > LONGEST_DATA:
        raise BadParam(f"data of a note must have at most {LONGEST_DATA:,} signs, got {len(text):,}")
    return text


def _is_number(value: Any) -> bool:
    return hasattr(value, "__float__") and not isinstance(value, str)


def _writable(text: str) -> bool:
    """False for halves of a sign, which no file can hold, and for the zero sign, at which SQL tools stop."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return "\0" not in text
