"""Which key does what: places on the keyboard by scancode, changeable in a file of the user's, keys.json."""

import json
from pathlib import Path

import pygame

from sim.bench.lettering import LABEL, NAME, Ui
from sim.bench.widgets import Button, Label, Widget
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
}
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


def help_page(size: tuple[int, int], ui: Ui, keys: dict[str, str]) -> list[Widget]:
    """Every key and what it does, in columns."""
    pad = ui.px(32)
    made: list[Widget] = []
    head = Label(
        "help head",
        string="Keys: a station's key picks up its tool; Space, Enter or a click does it",
        size=NAME,
        bold=True,
    )
    head.rect = pygame.Rect(pad, ui.px(24), size[0] - 2 * pad, ui.px(30))
    back = Button("back", "Back", key="Esc")
    back.rect = pygame.Rect(pad, size[1] - ui.px(56), ui.px(160), ui.px(36))
    lines = [(sign_of(place), TOLD.get(action, action)) for place, action in keys.items()]
    lines += [
        ("1 – 6", "push; in Read 1 high, 2 medium, 3 low, 0 clears; in Roll the film"),
        ("arrows", "cursor 1 mm (Shift 5, Ctrl 0.2)"),
        ("Shift + drag", "a row; by keys: Shift + Space ends its first stroke"),
        ("wheel", "zoom; Shift: push"),
        ("Ctrl+Z, Ctrl+Y", "take back, do again"),
        ("Ctrl+Enter", "finish this face"),
        ("Ctrl+U", "units shown"),
        ("Ctrl + −", "size of the letters"),
        ("Ctrl+Q", "quit"),
    ]
    rows = max((size[1] - ui.px(140)) // ui.px(26), 1)
    columns = -(-len(lines) // rows)
    wide = (size[0] - 2 * pad) // columns
    for n, (key, words) in enumerate(lines):
        x, y = pad + (n // rows) * wide, ui.px(70) + (n % rows) * ui.px(26)
        for k, (string, left, width) in enumerate(((key, 0, ui.px(112)), (words, ui.px(116), wide - ui.px(128)))):
            cell = Label(
                f"key {n} {k}", string=ui.shortened(string, LABEL, width), size=LABEL, role="muted" if k else "text"
            )
            cell.rect = pygame.Rect(x + left, y, width, ui.px(24))
            made.append(cell)
    return [head, back, *made]
