"""Lesson files: a lesson in TOML, read whole or refused with every fault at once, each with its line."""

import math
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import BadFile, BadFiles, BadParam
from sim.hands.skill import HANDS
from sim.intake.drawing import START, read_part
from sim.intake.keyed import FLAG, LIST, TABLE, TEXT, WORDS, KeyPath, Reading, read_toml, refuse
from sim.intake.soundness import RANGES
from sim.model.plate import PlateMake
from sim.model.start import COUPON, Start
from sim.paths import assets, lessons
from sim.school.cautions import KEYS as CAUTIONS
from sim.school.check import AFTER_WORDS
from sim.school.checks import CHECKS
from sim.school.checks_reading import case_of
from sim.school.faults import FAULTS
from sim.school.lesson import (
    TOOLS,
    Ahead,
    Allowed,
    Bound,
    Lesson,
    Limit,
    Piece,
    Question,
    Seeds,
    Solution,
    Step,
    Worked,
)
from sim.school.ways import WAYS
from sim.seat.compliant import Body
from sim.shop.commands import COMMANDS, Command, from_data, strokes_as_data
from sim.shop.job import JobStart


def number(low: float, high: float, unit: str = "") -> dict[str, Any]:
    """What a number in a lesson file may be."""
    return {"allowed": (low, high), "unit": unit}


ANY = number(-1e6, 1e6)
COUNT = number(0.0, 1e6)
SEED = number(0.0, 2.0**31 - 1.0)
HAND = {"allowed": tuple(HANDS), "unit": ""}
PLATE = {f.name: f.metadata for f in fields(PlateMake)}
KEYS = {
    "title": TEXT, "number": number(1, 999), "goal": TEXT, "minutes": number(1, 600, "min"), "belief": TEXT,
    "faults": None, "permission": TEXT, "cautions": WORDS, "shuffled": FLAG, "piece": LIST, "allowed": TABLE,
    "step": LIST, "check": LIST, "question": LIST, "seeds": TABLE, "model": TABLE, "wrong": TABLE,
}  # fmt: skip
MUST = ("title", "number", "goal", "minutes", "belief", "permission", "piece", "step", "check", "model", "wrong")
PIECE_KEYS = {"title": TEXT, "asked_um": number(0.0, 100.0, "um"), "seed_step": SEED, "part": TEXT, "face": TABLE,
              "plate": TABLE, "mass_kg": RANGES["mass_kg"], "thickness_mm": RANGES["thickness_mm"], "worked": TABLE,
              "before": LIST, "scatter_mm": number(0.0, 100.0, "mm"), "case": TEXT,
              "ahead": number(1, 60)}  # fmt: skip
WORKED_KEYS = {"hand": HAND, "rounds": number(1, 60), "stone": FLAG, "crossing": FLAG}
ALLOWED_KEYS = {"tools": WORDS, "rows": FLAG, "orders": FLAG, "carry_on": FLAG, "hand_over": FLAG, "coach": FLAG,
                "rounds": number(1, 1000), "strokes": number(1, 100_000), "hand": HAND}  # fmt: skip
STEP_KEYS = {"text": TEXT, "hints": WORDS, "done": TABLE}
BOUND_KEYS = {"check": TEXT, "at_least": ANY, "at_most": ANY, "after": {"allowed": tuple(AFTER_WORDS), "unit": ""}}
LIMIT_KEYS = {"name": TEXT, "passes": ANY, "merit": ANY}
QUESTION_KEYS = {"id": TEXT, "text": TEXT, "options": WORDS, "unit": TEXT, "low": ANY, "high": ANY, "each_piece": FLAG}
SEEDS_KEYS = {"help": SEED, "alone": SEED, "check": SEED, "trials": None}
MODEL_KEYS = {"way": TEXT, "options": TABLE}
WRONG_KEYS = {**MODEL_KEYS, "fails": TEXT, "reason": TEXT}
ROWS = "Rows"
ROWS_KEYS = {"do": TEXT, "blade": TEXT, "x_mm": ANY, "y_mm": ANY, "length_mm": number(1, 600, "mm"),
             "width_mm": number(1, 600, "mm"), "spacing_mm": number(0.5, 20, "mm"), "push_n": number(1, 600, "N"),
             "along_deg": number(-360, 360, "deg"), "stroke_mm": number(1, 100, "mm")}  # fmt: skip
MOST_PIECES = 12
RUNGS = 4
FOLLOWED = "follow"
"""The way whose rounds can be done ahead."""
MOST_TRIALS = 1000


def lesson_files(folder: Path | None = None) -> list[Path]:
    """The lesson files of a folder (the shipped ones by default), in the order of their names."""
    return sorted((folder or lessons()).glob("*.toml"))


def find_lesson(name: str) -> Lesson:
    """A shipped lesson by its name or number, or the one in a file.

    Raises
    ------
    BadParam
        With the names there are.
    BadFile, BadFiles
        As `read_lesson`.
    """
    shipped = {path.stem: path for path in lesson_files()}
    numbered = {stem.partition("-")[0].lstrip("0"): path for stem, path in shipped.items()}
    path = shipped.get(name) or numbered.get(name.lstrip("0") or name)
    if path is None and name.endswith(".toml"):
        path = Path(name)
    if path is None:
        raise BadParam(f"lesson must be one of {', '.join(shipped)}, a number or a file .toml, got {name[:80]!r}")
    return read_lesson(path)


def read_lesson(path: str | Path) -> Lesson:
    """The lesson in a file; lessons/README.md tells what it holds.

    Raises
    ------
    BadFile
        If the file cannot be read, or is not TOML: told alone, with its line.
    BadFiles
        With every fault of the content: `file:line: path.to.key: what, allowed, got`.
    """
    path = Path(path)
    data, text = read_toml(path, "lesson file")
    reading = _Reading(path)
    lesson = reading.lesson(data)
    refuse(path, text, reading.faults)
    return lesson


class _Reading(Reading):
    """One reading of a lesson file: makes what it can."""

    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path

    def fault(self, at: KeyPath, told: str) -> None:
        """Keep a fault."""
        self.faults.append((at, told))

    def lesson(self, data: dict[str, Any]) -> Lesson:
        """The lesson; of no worth if there are faults."""
        got = self.table(data, (), dict(KEYS), MUST)
        self.whole(got, (), "number")
        for key in ("title", "goal", "belief", "permission"):
            if key in got and not 3 <= len(got[key].strip()) <= 400:
                self.fault((key,), f"{key} must have 3 to 400 signs, got {len(got[key].strip())}")
        pieces = tuple(self.piece(one, ("piece", n)) for n, one in enumerate(got.get("piece", ())))
        if "piece" in got and not 1 <= len(pieces) <= MOST_PIECES:
            self.fault(("piece",), f"piece must be 1 to {MOST_PIECES} tables [[piece]], got {len(pieces)}")
        steps = tuple(self.step(one, ("step", n)) for n, one in enumerate(got.get("step", ())))
        limits = tuple(self.limit(one, ("check", n)) for n, one in enumerate(got.get("check", ())))
        for key, found in (("step", steps), ("check", limits)):
            if key in got and not found:
                self.fault((key,), f"{key} must be at least one table [[{key}]], got none")
        self.once([one.check for one in limits], "check", "name")
        if {"decision_loss_h", "hours_factor"} & {one.check for one in limits}:
            self.cases(pieces)
        questions = tuple(self.question(one, ("question", n)) for n, one in enumerate(got.get("question", ())))
        self.once([one.id for one in questions], "question", "id")
        model = self.solution(got.get("model"), ("model",), MODEL_KEYS)
        pieces = tuple(self.ahead(piece, ("piece", n, "ahead"), model) for n, piece in enumerate(pieces))
        wrong = self.solution(got.get("wrong"), ("wrong",), WRONG_KEYS)
        if wrong.fails and wrong.fails not in {one.check for one in limits}:
            names = ", ".join(one.check for one in limits)
            self.fault(("wrong", "fails"), f"fails must be a check of this lesson: {names}, got {wrong.fails!r}")
        words = {key: got.get(key, "").strip() for key in ("title", "goal", "belief", "permission")}
        return Lesson(
            name=self.path.stem, number=int(got.get("number", 1)), **words, minutes=got.get("minutes", 1.0),
            faults=self.numbers(got.get("faults", []), ("faults",)), pieces=pieces or (Piece(),),
            cautions=self.words(got.get("cautions", []), ("cautions",), CAUTIONS),
            allowed=self.allowed(got.get("allowed", {})), steps=steps, limits=limits, questions=questions,
            seeds=self.seeds(got.get("seeds", {})), model=model, wrong=wrong,
            shuffled=got.get("shuffled", False), path=self.path,
        )  # fmt: skip

    def cases(self, pieces: tuple[Piece, ...]) -> None:
        """Faults of pieces that are no recorded case."""
        for n, piece in enumerate(pieces):
            try:
                case_of(piece.case)
            except BadParam as error:
                self.fault(("piece", n, "case"), str(error))

    def words(self, given: list[str], at: KeyPath, allowed: Any) -> tuple[str, ...]:
        """Words that must be among some."""
        for n, one in enumerate(given):
            if one not in allowed:
                self.fault((*at, n), f"must be one of {', '.join(allowed)}, got {one[:60]!r}")
        return tuple(given)

    def once(self, names: list[str], table: str, key: str) -> None:
        """A fault for every name that stands in an earlier table as well."""
        for n, name in enumerate(names):
            if name and name in names[:n]:
                self.fault((table, n, key), f"{key} must stand once, got {name[:60]!r} again")

    def whole(self, got: dict[str, Any], at: KeyPath, *keys: str) -> None:
        """A fault for every number with a fraction where one counts."""
        for key in keys:
            if not float(got.get(key, 0.0)).is_integer():
                self.fault((*at, key), f"{key} must be a whole number, got {got[key]:g}")

    def numbers(self, given: Any, at: KeyPath) -> tuple[int, ...]:
        """Numbers of faults."""
        if not isinstance(given, list) or not all(type(one) is int and one in FAULTS for one in given):
            self.fault(at, f"{at[-1]} must be a list of whole numbers from 1 to {max(FAULTS)}, got {str(given)[:60]}")
            return ()
        return tuple(given)

    def piece(self, data: Any, at: KeyPath) -> Piece:
        """A piece with its start."""
        got = self.table(data, at, dict(PIECE_KEYS))
        self.whole(got, at, "seed_step", "ahead")
        start = self.start(got, at)
        worked = None
        if "worked" in got:
            told = self.table(got["worked"], (*at, "worked"), dict(WORKED_KEYS), ("rounds",))
            self.whole(told, (*at, "worked"), "rounds")
            worked = Worked(**told | {"rounds": int(told.get("rounds", 1))})
        before: list[Command] = []
        for n, one in enumerate(got.get("before", ())):
            before += self.act(one, (*at, "before", n))
        if "part" in got and "scatter_mm" in got:
            got_mm = f"got {got['scatter_mm']:g}"
            self.fault((*at, "scatter_mm"), f"scatter_mm must stand beside face, not beside part, {got_mm}")
        return Piece(start, got.get("title", ""), worked, tuple(before), int(got.get("seed_step", 0)),
                     got.get("asked_um", 0.0), got.get("scatter_mm", 0.0), got.get("case", ""),
                     Ahead(int(got["ahead"])) if "ahead" in got else None)

    def ahead(self, piece: Piece, at: KeyPath, model: Solution) -> Piece:
        """A piece whose rounds ahead are those of the model; a fault where the model has none that can be counted."""
        if piece.ahead is None:
            return piece
        options = {key: value for key, value in model.options.items() if key not in ("rounds", "hand")}
        most = int(model.options.get("rounds", WAYS[FOLLOWED].options["rounds"])) - 1
        if model.way != FOLLOWED or piece.ahead.rounds > most:
            must = f"ahead must be rounds of a model that has the way {FOLLOWED}, fewer than it has"
            self.fault(at, f"{must}, got {piece.ahead.rounds} of {model.way!r}")
            return piece
        return replace(piece, ahead=Ahead(piece.ahead.rounds, model.options.get("hand", "skilled"), options))

    def start(self, got: dict[str, Any], at: KeyPath) -> JobStart:
        """What a piece begins from: a coupon, a face of one's own, or a part in a file."""
        plate = self.made(PlateMake, got.get("plate", {}), (*at, "plate"), PLATE)
        body = {key: got[key] for key in ("mass_kg", "thickness_mm") if key in got}
        if "part" in got:
            for key in ("face", *body):
                if key in got:
                    must = f"{key} must not stand beside part, which has its own"
                    self.fault((*at, key), f"{must}, got {str(got[key])[:60]}")
            return JobStart(plate=plate, part=self.part(got["part"], (*at, "part")))
        face = self.made(Start, got.get("face", {}), (*at, "face"), START, COUPON)
        return JobStart(face=face, plate=plate, body=replace(Body(), **body))

    def made(self, kind: Any, data: Any, at: KeyPath, keys: Any, like: Any = None) -> Any:
        """A tool from its table; the usual one where a value is wrong."""
        got = self.table(data, at, dict(keys))
        like = like or kind()
        try:
            return replace(like, **{key: type(getattr(like, key))(value) for key, value in got.items()})
        except BadParam as error:
            self.fault(at, str(error))
            return like

    def part(self, name: str, at: KeyPath) -> Any:
        """A part: shipped, by its name, or a file beside the lesson; None, and a fault, where it cannot be read."""
        path = self.path.parent / name if name.endswith(".toml") else assets() / "parts" / f"{name}.toml"
        if "/" in name or "\\" in name or not path.is_file():
            shipped = ", ".join(sorted(one.stem for one in (assets() / "parts").glob("*.toml")))
            self.fault(at, f"part must be one of {shipped}, or a part file beside the lesson, got {name[:60]!r}")
            return None
        try:
            return read_part(path)
        except (BadFile, BadFiles) as error:
            self.fault(at, f"part must be a part file that can be read, got {str(error).splitlines()[0]}")
            return None

    def act(self, data: Any, at: KeyPath) -> list[Command]:
        """An act that is done before the learner takes over."""
        if data.get("do") == ROWS:
            got = self.table(data, at, dict(ROWS_KEYS), ("x_mm", "y_mm", "length_mm", "width_mm"))
            if any(one[: len(at)] == at for one in self.lost):
                return []
            data = {"do": "Scrape", "blade": got.get("blade", "fine"), "strokes": _rows(got)}
        try:
            return [from_data(data)]
        except (BadParam, TypeError) as error:
            names = f"; or {ROWS}" if str(data.get("do")) not in COMMANDS else ""
            self.fault(at, f"{error}{names}")
            return []

    def allowed(self, data: Any) -> Allowed:
        """What the lesson allows."""
        at: KeyPath = ("allowed",)
        got = self.table(data, at, dict(ALLOWED_KEYS))
        if "tools" in got:
            got["tools"] = self.words(got["tools"], (*at, "tools"), TOOLS)
        self.whole(got, at, "rounds", "strokes")
        for key in ("rounds", "strokes"):
            if key in got:
                got[key] = int(got[key])
        allowed = Allowed(**got)
        for key in ("rows", "orders", "carry_on", "hand_over", "strokes"):
            if got.get(key) and "scrape" not in allowed.tools:
                told = ", ".join(allowed.tools) or "none"
                self.fault((*at, key), f"{key} must stand beside the tool scrape in tools, got tools {told}")
        return allowed

    def step(self, data: Any, at: KeyPath) -> Step:
        """A step with its hints and its end."""
        got = self.table(data, at, dict(STEP_KEYS), ("text",))
        done = None
        if "done" in got:
            told = self.table(got["done"], (*at, "done"), dict(BOUND_KEYS), ("check",))
            self.known(told.get("check"), (*at, "done", "check"))
            if ("at_least" in told) == ("at_most" in told):
                self.fault((*at, "done"), "done must have one of at_least and at_most, got "
                           + ("both" if "at_least" in told else "neither"))
            done = Bound(told.get("check", ""), told.get("at_least"), told.get("at_most"),
                         told.get("after", ""))
        hints = tuple(got.get("hints", ()))
        if len(hints) not in (0, RUNGS):
            self.fault((*at, "hints"), f"hints must be {RUNGS} (place, question, reason, what to try) or none, "
                       f"got {len(hints)}")  # fmt: skip
        return Step(got.get("text", ""), hints, done)

    def known(self, name: str | None, at: KeyPath) -> None:
        """A fault when there is no check of this name."""
        if name is not None and name not in CHECKS:
            self.fault(at, f"{at[-1]} must be one of {', '.join(sorted(CHECKS))}, got {name[:60]!r}")

    def limit(self, data: Any, at: KeyPath) -> Limit:
        """A check with its limits; merit is at least as much as passing."""
        got = self.table(data, at, dict(LIMIT_KEYS), ("name", "passes"))
        self.known(got.get("name"), (*at, "name"))
        passes = got.get("passes", math.nan)
        merit = got.get("merit", passes)
        one = CHECKS.get(got.get("name", ""))
        if one and math.isfinite(passes) and not one.reached(merit, passes):
            word = "least" if one.better == "high" else "most"
            self.fault((*at, "merit"), f"merit must be at {word} what passes, {passes:g}, got {merit:g}")
        return Limit(got.get("name", ""), passes, merit)

    def question(self, data: Any, at: KeyPath) -> Question:
        """A question with options, or a number with its range."""
        got = self.table(data, at, dict(QUESTION_KEYS), ("id", "text"))
        options = tuple(got.pop("options", ()))
        if bool(options) == ("low" in got or "high" in got):
            self.fault(at, "a question must have either options, or low and high, got "
                       + ("both" if options else "neither"))
        elif not options and not got.get("low", 0.0) < got.get("high", 0.0):
            self.fault((*at, "high"), f"high must be above low, {got.get('low', 0.0):g}, got {got.get('high', 0.0):g}")
        return Question(**{"id": "", "text": "", **got}, options=options)

    def seeds(self, data: Any) -> Seeds:
        """Seeds of the parts and of the trials."""
        got = self.table(data, ("seeds",), dict(SEEDS_KEYS))
        self.whole(got, ("seeds",), "help", "alone", "check")
        trials = got.pop("trials", [21, 40])
        if not (isinstance(trials, list) and len(trials) == 2 and all(type(n) is int and n >= 0 for n in trials)
                and trials[0] <= trials[1] < trials[0] + MOST_TRIALS):  # fmt: skip
            must = f"trials must be the first and the last of at most {MOST_TRIALS} seeds"
            self.fault(("seeds", "trials"), f"{must}, got {str(trials)[:60]}")
            trials = [21, 40]
        return Seeds(**{key: int(value) for key, value in got.items()}, trials=(trials[0], trials[1]))

    def solution(self, data: Any, at: KeyPath, keys: dict[str, Any]) -> Solution:
        """A way of working with its options."""
        must = tuple(key for key in keys if key != "options")
        got = self.table(data, at, dict(keys), must) if data is not None else {}
        way = got.get("way")
        if way is not None and way not in WAYS:
            self.fault((*at, "way"), f"way must be one of {', '.join(sorted(WAYS))}, got {way[:60]!r}")
        elif way is not None:
            for key, value in got.get("options", {}).items():
                told = WAYS[way].fault(key, value)
                if told:
                    self.fault((*at, "options", key), told)
        return Solution(got.get("way", ""), got.get("options", {}), got.get("fails", ""), got.get("reason", ""))


def _rows(got: dict[str, Any]) -> list[list[int]]:
    """Strokes end to end in rows over a rectangle, turned about its middle."""
    length, width = got["length_mm"], got["width_mm"]
    stroke, spacing = got.get("stroke_mm", 10.0), got.get("spacing_mm", 2.0)
    turn = math.radians(got.get("along_deg", 0.0))
    c, s = math.cos(turn), math.sin(turn)
    found = []
    half = 0.5 * math.hypot(length, width)
    for y in np.arange(-half + 0.5 * spacing, half, spacing):
        for x in np.arange(-half, half, stroke):
            middle = (x + 0.5 * stroke) * c - y * s, (x + 0.5 * stroke) * s + y * c
            if abs(middle[0]) <= 0.5 * length and abs(middle[1]) <= 0.5 * width:
                at = got["x_mm"] + 0.5 * length + middle[0], got["y_mm"] + 0.5 * width + middle[1]
                way = 0.5 * stroke * c, 0.5 * stroke * s
                found.append((at[0] - way[0], at[1] - way[1], at[0] + way[0], at[1] + way[1], got.get("push_n", 80.0)))
    data = strokes_as_data(np.array(found).reshape(-1, 5))
    return [list(one) for one in data]
