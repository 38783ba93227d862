"""Cautions by topic, in a sentence or two; local rules and licensed practice come before each of them."""

from functools import lru_cache

from sim.errors import BadFile, BadParam
from sim.intake.keyed import TEXT, Reading, read_toml, refuse
from sim.paths import assets

KEYS = ("edge", "rags", "lifting", "fly_cutter", "dust", "pause")
TITLES = {"edge": "Edges cut", "rags": "Oily rags", "lifting": "Iron is heavy", "fly_cutter": "Fly cutter",
          "dust": "Dust", "pause": "Pauses"}  # fmt: skip
"""What each is called on paper and on screen."""


def caution(key: str) -> str:
    """The caution of a topic, one or two sentences.

    Raises
    ------
    BadParam
        No such topic.
    BadFile, BadFiles
        The shipped file is damaged.
    """
    if key not in KEYS:
        raise BadParam(f"caution must be one of {', '.join(KEYS)}, got {str(key)[:60]!r}")
    return _cautions()[key]


@lru_cache(maxsize=1)
def _cautions() -> dict[str, str]:
    path = assets() / "cautions.toml"
    if not path.is_file():
        raise BadFile(f"{path}: the cautions are missing; install flatwright again")
    data, text = read_toml(path, "file of cautions")
    reading = Reading()
    found = reading.table(data, (), dict.fromkeys(KEYS, TEXT), KEYS)
    refuse(path, text, reading.faults)
    return {key: " ".join(words.split()) for key, words in found.items()}
