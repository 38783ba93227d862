"""Which key does what: places on the keyboard by scancode, changeable in a file of the user's, keys.json."""

import json
from pathlib import Path

import pygame

from sim.errors import BadFile, CannotWrite
from sim.shop.store import write_new

KEYS: dict[str, str] = {
    "take roll": "Q",
    "take spot": "W",
    "take read": "E",
    "take scrape": "A",
    "take stone": "S",
    "take wipe": "D",
    "take indicator": "T",
    "take hinge": "G",
    "take chalk": "F",
    "take square": "M",
    "hone": "H",
    "next blade": "B",
    "turn over": "J",
    "carry on": "K",
    "take calls": "C",
    "uncover": "U",
    "plate view": "P",
    "true size": "Y",
    "next style": "V",
    "cross": "R",
    "patch": "N",
    "push less": "Z",
    "push more": "X",
    "turn back": "COMMA",
    "turn on": "PERIOD",
    "lamp": "L",
    "lay over": "O",
    "ask": "I",
    "older print": "PAGEUP",
    "newer print": "PAGEDOWN",
    "whole": "HOME",
    "zoom in": "EQUALS",
    "zoom out": "MINUS",
    "help": "F1",
    "rub out": "BACKSPACE",
    "full screen": "F11",
    "do": "SPACE",
    "enter": "RETURN",
    "let go": "ESCAPE",
}
"""Actions and the keys that do them, by the place of the key on a keyboard of the English kind."""

TOLD = {
    "take roll": "Roll: the roller in the hand",
    "take spot": "Spot: the part, to be laid on the plate",
    "take read": "Read: the eye, to call marks",
    "take scrape": "Scrape: the scraper",
    "take stone": "Stone",
    "take wipe": "Wipe: the cloth",
    "take indicator": "Indicator",
    "take hinge": "Hinge: a finger to push with",
    "take chalk": "Chalk",
    "take square": "Square: the counting square",
    "take calls": "ghosts over my calls",
    "hone": "hone the blade",
    "carry on": "lay the order over all that is called",
    "uncover": "heights under the square",
    "plate view": "the plate beside the part",
    "turn back": "turn the direction 15 degrees back",
    "turn on": "turn the direction 15 degrees on",
    "do": "do what the tool does; begin and end a stroke",
    "enter": "one stroke at the cursor, or lay the ghosts",
    "let go": "let go: stroke, ghosts, pass, tool, in that order",
    "patch": "to the next patch of blue (Shift: the last)",
    "cross": "turn the direction by a right angle",
    "lamp": "hold and move, or arrows: the lamp",
    "lay over": "hold: the print that is chosen lies over the face",
    "turn over": "turn the part end for end",
    "next style": "outlines, hatching, plain",
    "true size": "the face as large as it is",
    "whole": "the whole face",
    "rub out": "clear the last call or chalk",
    "ask": "ask the coach; ask more",
    "next blade": "the next blade",
    "push less": "one push less (Alt: a quarter)",
    "push more": "one push more (Alt: a quarter)",
    "older print": "an older print over the face",
    "newer print": "a newer print",
    "zoom in": "nearer",
    "zoom out": "farther",
    "help": "this page",
    "full screen": "full screen",
}
"""What each action is, in words; every action of `KEYS` is here."""
CTRL = {
    "z": "take back (Shift: do again)", "y": "do again", "return": "finish this face", "s": "keep, and leave a copy",
    "c": "copy the figures as text", "p": "result sheet", "o": "open a file", "n": "a new practice: the start page",
    "w": "close: the start page", "u": "units shown", ",": "settings", "=": "larger letters", "+": "larger letters",
    "-": "smaller letters", "0": "letters as they were", "q": "quit",
}  # fmt: skip
"""Keys with Ctrl, or Cmd, and what they do."""
_PAIRS = dict(zip("QWEASD", "UIOJKL", strict=True))
MIRRORED = _PAIRS | {other: one for one, other in _PAIRS.items()}
"""The six stations under the right hand, and what lay there in their places."""
_PLACES = {value: name[6:] for name, value in vars(pygame).items() if name.startswith("KSCAN_")}
_SIGNS = {
    "COMMA": ",",
    "PERIOD": ".",
    "EQUALS": "+",
    "MINUS": "-",
    "PAGEUP": "PgUp",
    "PAGEDOWN": "PgDn",
    "SPACE": "Space",
    "RETURN": "Enter",
    "ESCAPE": "Esc",
    "BACKSPACE": "Backspace",
    "HOME": "Home",
}


def place_of(event: pygame.event.Event) -> str:
    """Name of the key's place, as in `KEYS`; by its letter where the event tells no scancode."""
    scancode = getattr(event, "scancode", 0)
    if scancode:
        return _PLACES.get(scancode, "")
    name = pygame.key.name(event.key).upper()
    return {",": "COMMA", ".": "PERIOD", "=": "EQUALS", "-": "MINUS", "PAGE UP": "PAGEUP", "PAGE DOWN": "PAGEDOWN"}.get(
        name, name
    )


def sign_of(place: str) -> str:
    """What to call a key."""
    return _SIGNS.get(place, place)


def read_keys(path: Path, left_hand: bool = False) -> dict[str, str]:
    """Place of each key and the action it does: ours, with what the file changes; mirrored for the left hand.

    Raises
    ------
    BadFile
        No JSON object, an unknown action or key, or one key for two actions.
    """
    keys = dict(KEYS)
    if path.is_file():
        try:
            told = json.loads(path.read_text("utf-8"))
        except (ValueError, OSError) as error:
            raise BadFile(f"{path}: must be a JSON object of actions and keys, got: {error}") from None
        if not isinstance(told, dict):
            raise BadFile(f"{path}: must be a JSON object of actions and keys")
        known = set(_PLACES.values())
        for action, place in told.items():
            if action not in KEYS:
                raise BadFile(f"{path}: an action must be one of {', '.join(KEYS)}, got {action[:40]!r}")
            if place not in known:
                raise BadFile(f"{path}: {action} must be the place of a key such as Q or F1, got {str(place)[:40]!r}")
            keys[action] = place
    places = list(keys.values())
    twice = sorted({place for place in places if places.count(place) > 1})
    if twice:
        raise BadFile(f"{path}: every key must do one thing, got {', '.join(twice)} for two")
    return {MIRRORED.get(place, place) if left_hand else place: action for action, place in keys.items()}


def written_keys(path: Path) -> str:
    """Write our keys to a file, to be changed there; an existing one is left alone. What is to be said of it."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            write_new(path, (json.dumps(KEYS, indent=1) + "\n").encode())
    except (CannotWrite, OSError) as error:
        return str(error)
    return f"Keys are in {path}; change them there."
