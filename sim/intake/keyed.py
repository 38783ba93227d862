"""TOML files read whole: tables of known keys, every fault kept with its path, each path with its line."""

import re
import tomllib
from pathlib import Path
from typing import Any

from sim.errors import BadFile, BadFiles, BadParam
from sim.params import check_param
from sim.units import shown_unit

MOST_BYTES = 5_000_000
REACH_MM = (-10_000.0, 10_000.0)
TEXT, VECTOR, TABLE, LIST, FLAG = "text", "three numbers", "a table", "a list of tables", "true or false"
WORDS = "a list of words"
UNITS = ("_mm", "_um", "_kg", "_k", "_pct")
HEADER = re.compile(r"\s*(\[\[?)\s*([\w\"'.\s-]+?)\s*\]")
KEY = re.compile(r"\s*([\w\"'.-]+(?:\s*\.\s*[\w\"'-]+)*)\s*=")
OPEN, TWICE, BACKSLASH = "quotes that are not closed", "a key that stands twice", "one backslash in quotes: write two"
REASONS = {
    "Expected '='": "a key without = and a value", "Invalid statement": "a line that is no key = value and no [table]",
    "Invalid value": "a value that is none: words stand in quotes", "Expected newline or end": "more behind a value",
    "Cannot overwrite": TWICE, "Duplicate": TWICE, "Cannot declare": "a table that stands twice",
    "Cannot redefine": "a table that stands twice", "Cannot mutate": "a table that is added to after it was closed",
    "Unclosed array": "a list without its ]", "Unclosed inline table": "a table in { without its }",
    "Expected ']": "the name of a table without its ]", "Invalid initial character for a key": "a key that is no word",
    "Unterminated": OPEN, "Illegal character": OPEN, "Invalid control character": OPEN,
    "Unescaped": BACKSLASH, "Invalid \\": BACKSLASH,
    "Expecting value": "no value where one must stand", "Expecting ','": "no comma between two values",
    "Expecting property name": "no key in double quotes where one must stand",
    "Expecting ':'": "a key without : and a value",
    "Extra data": "more behind the end", "Illegal trailing comma": "a comma too many",
    "numbers must be finite": "NaN or Infinity: numbers must be finite", "'utf-8'": "a byte that is not UTF-8 text",
}  # fmt: skip
"""What is wrong with a text of TOML or JSON, in plain words, by how its reader's message begins."""
KeyPath = tuple[str | int, ...]
Fault = tuple[KeyPath, str]


def read_toml(path: Path, kind: str) -> tuple[dict[str, Any], str]:
    """What a TOML file holds, and its text.

    Parameters
    ----------
    kind : str
        What it should be, in words, for the message: "part file".

    Raises
    ------
    BadFile
        If the file cannot be read, is too large, or is not TOML; a fault of syntax is told alone, with its line.
    """
    text = _text(path, kind)
    try:
        return tomllib.loads(text), text
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise BadFile(f"{path}:{syntax_line(text, error)}: must be TOML, got {syntax_reason(error)}") from None


def syntax_line(text: str, error: Exception) -> int:
    """The line of a fault of syntax; the last one where its reader does not tell."""
    found = re.search(r"\bline (\d+)", str(error))
    return int(found[1]) if found else text.count("\n") + 1


def syntax_reason(error: Exception) -> str:
    """Why a text cannot be read as TOML or JSON, in plain words."""
    if isinstance(error, RecursionError):
        return "brackets too deep in each other"
    told = (words for begins, words in REASONS.items() if str(error).startswith(begins))
    return next(told, "signs that mean nothing here")


def refuse(path: str | Path, text: str, faults: list[Fault]) -> None:
    """Raise BadFiles with every fault as `file:line: path.to.key: what, allowed, got`, in the order of the file."""
    if faults:
        lines = key_lines(text)
        placed = sorted((_line(lines, at), n, at, told) for n, (at, told) in enumerate(faults))
        raise BadFiles([f"{path}:{line}: {_told(at, told)}" for line, _, at, told in placed])


def path_text(path: KeyPath, first: str = "") -> str:
    """A path as a person reads it, lists counted from 1: faces[2].frame.along; `first` goes before it."""
    words = [f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in path]
    return first + "".join(words)[1:] if words else ""


def key_lines(text: str) -> dict[KeyPath, int]:
    """Line of every key and table of a TOML text, by path; what stands in an inline table has the line of its table."""
    lines: dict[KeyPath, int] = {}
    table: KeyPath = ()
    count: dict[KeyPath, int] = {}
    quoted = False
    for number, line in enumerate(text.splitlines(), start=1):
        inside, quoted = quoted, quoted ^ bool((line.count('"""') + line.count("'''")) % 2)
        header, key = HEADER.match(line), KEY.match(line)
        if inside or not (header or key):
            continue
        if key:
            lines.setdefault((*table, *_words(key[1])), number)
        elif header:
            table = ()
            words = _words(header[2])
            for n, word in enumerate(words):
                table = (*table, word)
                if header[1] == "[[" and n == len(words) - 1:
                    count[table] = count.get(table, -1) + 1
                table = (*table, count[table]) if table in count else table
            lines.setdefault(table, number)
    return lines


class Reading:
    """One reading of a file: keeps every fault on the way, and which values are lost by them.

    A kind of value is one of the words at the top of this module, the metadata of a `param`, or None for anything.
    """

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.lost: set[KeyPath] = set()

    def table(self, data: Any, at: KeyPath, keys: dict[str, Any], must: tuple[str, ...] = ()) -> dict[str, Any]:
        """The values of a table that are right; every other one is a fault."""
        got: dict[str, Any] = {}
        unitless = set()
        for key, value in data.items():
            if key not in keys:
                meant = _meant(key, keys)
                unitless |= set(meant)
                told = f"must be one of {', '.join(keys)}, got {key!r}"
                if meant:
                    wrong = "another unit" if "_" in key and not meant[0].startswith(f"{key}_") else "units missing"
                    told = f"{wrong}: {key} must be written {' or '.join(meant)}"
                self.faults.append(((*at, key), told))
            elif (fault := _fault(key, value, keys[key])) is not None:
                self.faults.append(((*at, key), fault))
                self.lost.add((*at, key))
            else:
                got[key] = _plain(value, keys[key])
        for key in must:
            if key not in data:
                self.lost.add((*at, key))
                self.faults += [] if key in unitless else [(at, f"{key} must be given, got nothing")]
        return got


def _meant(key: str, keys: dict[str, Any]) -> list[str]:
    """Keys with a unit that a key without one, or with another, may stand for: mass and mass_lb for mass_kg."""
    stem = key.rpartition("_")[0]
    return [one for one, meant in keys.items() if meant not in (TEXT, TABLE, LIST)
            and (one.startswith(f"{key}_") or (one.endswith(UNITS) and one.rpartition("_")[0] == stem))]  # fmt: skip


def _fault(key: str, value: Any, meant: Any) -> str | None:
    """What is wrong with one value, or None."""
    right = {
        TEXT: lambda: isinstance(value, str) and len(value) <= 10_000,
        FLAG: lambda: isinstance(value, bool),
        TABLE: lambda: isinstance(value, dict),
        WORDS: lambda: isinstance(value, list) and all(isinstance(one, str) and len(one) <= 1000 for one in value),
        LIST: lambda: isinstance(value, list) and all(isinstance(one, dict) for one in value),
        VECTOR: lambda: (isinstance(value, list) and len(value) == 3 and all(
            type(v) in (int, float) and REACH_MM[0] <= v <= REACH_MM[1] for v in value)),
    }  # fmt: skip
    if isinstance(meant, str):
        within = f" from {REACH_MM[0]:g} to {REACH_MM[1]:g}" if meant == VECTOR else ""
        return None if right[meant]() else f"{key} must be {meant}{within}, got {str(value)[:60]}"
    if meant is None:
        return None
    if isinstance(value, str) and not isinstance(meant["allowed"][0], str):
        low, high = meant["allowed"]
        within = f"[{low:g}, {high:g}] {shown_unit(meant['unit'])}".rstrip()
        return f"{key} must be a number without quotes in {within}, got {value[:60]!r}"
    try:
        check_param(key, value, meant)
    except (BadParam, OverflowError, TypeError) as error:
        return str(error)[:300]
    return None


def _plain(value: Any, meant: Any) -> Any:
    if meant == VECTOR:
        return tuple(float(v) for v in value)
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _told(at: KeyPath, told: str) -> str:
    """A fault behind its path, whose last key is not said again."""
    return f"{path_text(at)}: {told.removeprefix(f'{at[-1]} ')}" if at else told


def _line(lines: dict[KeyPath, int], at: KeyPath) -> int:
    """Line of a path, or of the nearest table or key around it."""
    for end in range(len(at), 0, -1):
        if at[:end] in lines:
            return lines[at[:end]]
    return 1


def _words(dotted: str) -> KeyPath:
    return tuple(word.strip().strip("\"'") for word in dotted.split("."))


def _text(path: Path, kind: str) -> str:
    """The whole file as text."""
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", error)
        raise BadFile(f"{path}: must be a {kind} that can be read, got: {why}") from None
    if len(raw) > MOST_BYTES:
        raise BadFile(f"{path}: must be at most {MOST_BYTES:,} bytes, got more")
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise BadFile(f"{path}:{line}: must be UTF-8 text, got another byte") from None
