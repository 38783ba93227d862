"""A sitting at the drills as the window holds it: the item, what was picked so far, what was told. No pygame here."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol

from sim.books.standing import GROUP, Side, skill_text, standings
from sim.errors import BadParam, ShopError
from sim.school.item import Choice, Edges, Form, Item, Line, Number, Order, Part, Place, Points, Several, Told
from sim.school.kind_false import IsItAMark, d_prime
from sim.school.making import Maker
from sim.school.sitting import DPRIME_FROM, MOST_ITEMS
from sim.school.today import Book, Today, day_of
from sim.units import typed

KIND_WORDS = {
    "highest": "Which stands highest", "order": "Put three in order", "film": "Is this print readable",
    "form": "What form is it", "count": "Count this square", "direction": "Which way was it scraped",
    "mark": "Is it a mark", "next": "What next",
}  # fmt: skip
PART_WORDS = {"last": "Scraped last", "next": "To scrape next", "film": "Film", "spots": "Spots", "bearing": "Bearing"}
SIGNS = ((re.compile(r"\bum\b"), "µm"), (re.compile(r"\bmm2\b"), "mm²"), (re.compile(r" deg\b"), "°"),
         (re.compile(r"(?<=\d) x (?=\d)"), " × "))  # fmt: skip
UNITS = {"um": "µm", "deg": "°", "points": "%"}
TYPED_AS = {"um": "um", "points": "%", "spots": ""}
PLACES = ("1st", "2nd", "3rd", "4th", "5th")
TRIES = 3  # other items that are asked for when the iron holds none of the kind


class Notebook(Book, Protocol):
    """The record, as far as it is needed here."""

    def current(self) -> str:
        """Who practises now."""


@dataclass(frozen=True)
class Row:
    """A kind in the summary: level where it stands, right of so many, skill in words."""

    kind: str
    level: int
    right: int
    of: int
    skill: str


@dataclass(frozen=True)
class Dot:
    """A place of the picture that can be named: its words, and "", "chosen", "true", "wrong", "missed" or "other"."""

    x_mm: float
    y_mm: float
    words: str
    state: str = ""


@dataclass(frozen=True)
class Way:
    """A direction across the picture: degrees anticlockwise from the right; "chosen", "yours" or "true"; its words."""

    deg: float
    state: str
    words: str = ""


def in_signs(text: str) -> str:
    """A sentence of the school with the signs of the window: µm, mm², °."""
    for pattern, sign in SIGNS:
        text = pattern.sub(sign, text)
    return text


class Drills:
    """One sitting.

    Parameters
    ----------
    book : Record
        Every answer is in it when `give` returns.
    maker : Maker
    clock : callable
        Seconds that never go back; response times are taken from it.

    Attributes
    ----------
    item : Item or None
        None while the next one is made, and when the sitting is over.
    picked : list
        An answer for each form of the item, None where nothing was picked yet.
    at : int
        The form that keys are for.
    told, costs
        None and empty before the answer is given.
    over : str
        Why there is no more; empty while there is.
    note : str
        What is wrong with what was typed, or why an answer could not be kept.
    """

    def __init__(self, book: Notebook, maker: Maker, clock: Callable[[], float], *,
                 kinds: tuple[str, ...] | None = None) -> None:
        self.sat = Today(book, kinds)
        self.learner = book.current()
        self.item: Item | None = None
        self.picked: list[Any] = []
        self.at = 0
        self.told: Told | None = None
        self.costs: tuple[Part, ...] = ()
        self.over = self.note = self.moved = ""
        self.took_s = 0.0  # of the last answer
        self.shown = 0  # items of this sitting, with the one that is shown
        self._book, self._maker, self._clock = book, maker, clock
        self._coming: Item | None = None
        self._waiting = True  # nothing can be done before the next item is there
        self._since_s = clock()
        self._asked = False
        self._failed = 0
        self._dots = [0, 0, 0, 0]
        self._rows: list[Row] = []
        self._order_next()
        self.poll()

    # ------------------------------------------------------------------ what comes

    @property
    def ended(self) -> bool:
        """Nothing more is asked and nothing told: the summary is to be seen."""
        return bool(self.over) and self.told is None

    @property
    def seconds(self) -> float:
        """Since this item was shown, or since one waits for it."""
        return self._clock() - self._since_s

    @property
    def remaining_s(self) -> float:
        """What is left of the five minutes; it stands still while one waits."""
        return self.sat.remaining_s + (self.seconds if self._waiting else 0.0)

    def poll(self) -> bool:
        """Take the next item when it is made; True when something is to be drawn anew."""
        while self._asked:
            try:
                made = self._maker.made()
            except ShopError as error:
                self._failed, self._asked = self._failed + 1, False
                if self._failed < TRIES:
                    self._order_next()
                else:
                    self.over = f"No further face could be drawn: {error}"
                continue
            if made is None:
                return False
            self._coming, self._asked, self._failed = made, False, 0
            if self._waiting:
                self._show()
            return True
        return False

    def _order_next(self) -> None:
        wanted = self.sat.wanted()
        if wanted is not None:
            self._maker.ask(wanted)
            self._asked = True
        elif self._waiting:
            self._end()

    def _show(self) -> None:
        self.sat.waited(self.seconds)
        self.item, self._coming, self._waiting = self._coming, None, False
        assert self.item is not None
        self.picked = [[] if isinstance(form, Order | Several) else None for form in self.item.forms]
        self.at, self.told, self.costs, self.note, self.moved = 0, None, (), "", ""
        self.shown += 1
        self._since_s = self._clock()
        if (ahead := self.sat.ahead()) is not None:
            self._maker.ahead(ahead)

    def _end(self) -> None:
        self.item, self._waiting = None, False
        full = self.sat.given >= MOST_ITEMS
        self.over = f"Done for today: {MOST_ITEMS} items. Tomorrow again." if full else "The five minutes are over."

    def next(self) -> None:
        """Go on to the next item, or to the end; nothing before an answer is given."""
        if self.told is None:
            return
        self.item, self.told, self.picked = None, None, []
        if self.over:
            return
        self._waiting, self._since_s = True, self._clock()
        if self.sat.left == 0:
            self._end()
        elif self._coming is not None:
            self._show()
        else:
            self.poll()

    def leave(self) -> None:
        """Let the maker go; every answer is on the disk."""
        self._maker.close()

    # ------------------------------------------------------------------ what is picked

    @property
    def forms(self) -> tuple[Form, ...]:
        """How the item is answered."""
        return () if self.item is None else self.item.forms

    @property
    def form(self) -> Form | None:
        """The form that keys are for; None when nothing is asked."""
        return self.forms[self.at] if self.item is not None and self.told is None else None

    @property
    def at_once(self) -> bool:
        """A pick is the answer: one place, or one of several choices, and nothing else."""
        return len(self.forms) == 1 and isinstance(self.forms[0], Place | Choice)

    @property
    def whole(self) -> bool:
        """Something was picked for every form."""
        return all(self._is_picked(n) for n in range(len(self.forms)))

    def _is_picked(self, part: int) -> bool:
        form, picked = self.forms[part], self.picked[part]
        if isinstance(form, Order):
            return len(picked) == len(form.points_mm)
        return picked is not None  # of several, none is an answer too

    def pick(self, part: int, n: int) -> None:
        """Pick number n of a form's places or options; in a list, once more takes it off."""
        if self.item is None or self.told is not None or part >= len(self.forms):
            return
        form = self.forms[part]
        if isinstance(form, Number | Line) or not 0 <= n < count_of(form):
            return
        self.at, self.note = part, ""
        if isinstance(form, Order | Several):
            kept = self.picked[part]
            kept = [one for one in kept if one != n] if n in kept else [*kept, n]
            self.picked[part] = sorted(kept) if isinstance(form, Several) else kept
        else:
            self.picked[part] = n
        if self.at_once:
            self.give()

    def rub(self) -> None:
        """Take the last pick of a list off."""
        if isinstance(self.form, Order | Several):
            self.picked[self.at] = self.picked[self.at][:-1]

    def set(self, part: int, value: float) -> None:
        """A number, or a direction in degrees, as it was slid or drawn."""
        if self.item is None or self.told is not None or part >= len(self.forms):
            return
        form = self.forms[part]
        self.at, self.note = part, ""
        if isinstance(form, Line):
            self.picked[part] = step_of(form, value)
        elif isinstance(form, Number):
            self.picked[part] = round(min(max(value, form.low), form.high), 1 if form.log else 0)

    def type(self, part: int, text: str) -> bool:
        """A number as it was typed; False, with a note, when it is none."""
        form = self.forms[part] if part < len(self.forms) else None
        if not isinstance(form, Number) or self.told is not None:
            return False
        self.at, self.note = part, ""
        try:
            value = typed(text, TYPED_AS.get(form.unit, ""), form.name)
            if not form.low <= value <= form.high:
                raise BadParam(f"{form.name} must be {form.low:g} to {form.high:g} {form.unit}, got {value:g}")
        except BadParam as error:
            self.picked[part], self.note = None, in_signs(str(error)).replace("points", "%")
            return False
        self.picked[part] = value
        return True

    def turn(self, way: int, fine: bool) -> None:
        """Turn the direction by a step: 15 degrees, or where any direction is meant 5, finely 1."""
        form = self.form
        if isinstance(form, Line):
            picked, step = self.picked[self.at], 180.0 / form.steps if form.steps else 1.0 if fine else 5.0
            self.set(self.at, 0.0 if picked is None else degrees(form, picked) + way * step)

    def drawn(self) -> None:
        """A direction was drawn to its end: the next one is drawn, when there is one that is open."""
        if self.form is not None and self._is_picked(self.at):
            self.at = next((n for n in range(len(self.forms)) if not self._is_picked(n)), self.at)

    def aim(self, part: int) -> None:
        """Let keys and drags be for another form."""
        if self.form is not None and 0 <= part < len(self.forms):
            self.at, self.note = part, ""

    def go_on(self) -> None:
        """Enter: to the next form that is open, or the answer is given; the next item after it."""
        if self.told is not None:
            self.next()
            return
        if self.item is None:
            return
        if not self._is_picked(self.at):
            self.note = self.note or "Answer first."
            return
        open_parts = [n for n in range(len(self.forms)) if not self._is_picked(n)]
        if open_parts:
            self.at = open_parts[0]
        else:
            self.give()

    def give(self) -> None:
        """Give the answer: it is kept, then the truth is told, and the next item is begun."""
        if self.item is None or self.told is not None or not self.whole:
            return
        answer = self.picked if len(self.forms) > 1 else self.picked[0]
        self.took_s, before = self.seconds, self.sat.level(self.item.kind)
        try:
            self.told = self.sat.answer(self.item, answer, self.took_s)
        except ShopError as error:
            self.note = str(error)
            return
        self.costs, self.note = self.item.parts(answer), ""
        after = self.sat.level(self.item.kind)
        self.moved = "" if after == before else f"Level {after} from here on."
        if isinstance(self.item, IsItAMark):
            self._dots = [a + b for a, b in zip(self._dots, self.item.counts(answer), strict=True)]
        self._order_next()

    # ------------------------------------------------------------------ what is seen

    def dots(self) -> list[Dot]:
        """Places of the picture that can be named; after the answer with what is true of them."""
        form = next((one for one in self.forms if isinstance(one, Place | Order | Several)), None)
        if form is None:
            return []
        part = self.forms.index(form)
        truth = None if self.told is None else self.told.truth if len(self.forms) == 1 else self.told.truth[part]
        return dots_of(form, self.picked[part], truth)

    def lit(self) -> Points:
        """Where to look, once the truth is told."""
        return () if self.told is None else self.told.places_mm

    def edges(self) -> Edges:
        """Outlines of what was asked about, once the truth is told."""
        return () if self.told is None else self.told.edges_mm

    def ways(self) -> list[Way]:
        """Directions to draw: what was picked, and after the answer what is true."""
        made: list[Way] = []
        for part, form in enumerate(self.forms):
            if not isinstance(form, Line) or self.picked[part] is None:
                continue
            if self.told is None:
                made.append(Way(degrees(form, self.picked[part]), "chosen", form.name))
            elif form.steps:
                made.append(Way(degrees(form, self.told.truth[part]), "true", "next"))
            else:
                made.append(Way(degrees(form, self.picked[part]), "yours", "yours"))
                made.append(Way(degrees(form, self.told.truth[part]), "true", "scraped"))
        return made

    def cost_words(self) -> list[str]:
        """What was wrong or near; with several parts, which of them are right; nothing where nothing was lost."""
        if self.told is None or self.told.verdict == "Right":
            return []
        signs = (" ✕", " ✓") if len(self.costs) > 1 else ("", "")
        return [f"{one.words}{signs[one.right]}" for one in self.costs if one.words]

    def pace_words(self) -> str:
        """How long the answer took, against what counts as in time."""
        if self.item is None or self.told is None:
            return ""
        took, asked = f"{self.took_s:.0f} s", f"{self.item.target_s:.0f} s"
        return f"{took}, in time" if self.took_s <= self.item.target_s else f"{took}; in time would be {asked}"

    def left_words(self) -> str:
        """The rest of the five minutes, in steps of ten seconds; an item that is open when they end is the last."""
        tens = 10 * math.ceil(self.remaining_s / 10.0)
        if tens <= 0:
            return "time is over" if self.item is None or self.told else "time is over: this last one still counts"
        return f"{tens // 60} min {tens % 60:02d} s left" if tens >= 60 else f"{tens} s left"

    def summary(self) -> list[Row]:
        """Each kind of this sitting, or of today where nothing was answered in this one; kept once it is over."""
        rows = self._rows or self._summed()
        self._rows = rows if self.ended else []
        return rows

    def _summed(self) -> list[Row]:
        given, now = self._book.answers(), self._book.now()
        here = [one for one in given if one.sitting == self.sat.name]
        here = here or [one for one in given if day_of(one, now) == now.date()]
        skills = {one.kind: one.practice for one in standings(given)}
        rows = []
        for kind in dict.fromkeys(one.kind for one in here):
            mine = [one for one in here if one.kind == kind]
            right = sum(one.right for one in mine)
            rows.append(Row(kind, self.sat.level(kind), right, len(mine), skill_words(skills[kind])))
        return rows

    def marks_told(self) -> str:
        """How well true marks are told from false ones, once there are enough dots; else nothing."""
        hits, true, wrong, false = self._dots
        if true + false < DPRIME_FROM:
            return ""
        return f"Marks told from what is none: d′ {d_prime(hits, true, wrong, false):.1f} (0 not at all, 2 well)."


def skill_words(side: Side | None) -> str:
    """Skill at the level of the last answers, or how many answers it takes until it can be told."""
    if side is None:
        return ""
    told = skill_text(side.here)
    if side.here.answers < GROUP:
        return f"after {told} at level {side.level}"
    return told if side.here.skill is None else f"{told} at level {side.level}"


def count_of(form: Form) -> int:
    """How many places or options a form has."""
    if isinstance(form, Choice):
        return len(form.options)
    return len(form.points_mm) if isinstance(form, Place | Order | Several) else 0


def degrees(form: Line, picked: float) -> float:
    """Degrees of an answer to a form of directions."""
    return picked * 180.0 / form.steps if form.steps else float(picked)


def step_of(form: Line, deg: float) -> float:
    """The answer to a form of directions that is nearest to these degrees."""
    return round(deg * form.steps / 180.0) % form.steps if form.steps else round(deg) % 180


def _found(form: Place | Several, mine: bool) -> str:
    """Of a place that is true: one of several may have been left."""
    return "true" if mine or isinstance(form, Place) else "missed"


def dots_of(form: Place | Order | Several, picked: Any, truth: Any) -> list[Dot]:
    """Places as they are shown; `truth` is None before the answer."""
    made = []
    for n, (x, y) in enumerate(form.points_mm):
        words, state = str(n + 1), ""
        if isinstance(form, Order):
            rank = picked.index(n) if n in picked else None
            true = None if truth is None else truth.index(n)
            if true is None:
                words, state = (words, "") if rank is None else (f"{words}: {PLACES[rank]}", "chosen")
            elif rank is not None:
                words += f": {PLACES[true]}" if rank == true else f": {PLACES[true]}, not {PLACES[rank]}"
                state = "true" if rank == true else "other"
        else:
            mine = picked == n if isinstance(form, Place) else n in picked
            if truth is None:
                state = "chosen" if mine else ""
            else:
                right = truth == n if isinstance(form, Place) else n in truth
                state = "" if not mine and not right else "wrong" if not right else _found(form, mine)
        made.append(Dot(x, y, words, state))
    return made
