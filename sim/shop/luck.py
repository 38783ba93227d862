"""Luck: exact random access, so that one more stroke or look does not shift anything that comes later."""

import numpy as np

KINDS = ("start", "plate", "film", "chips", "hand", "style", "plan", "gauge", "machine")


def luck(seed: int, kind: str, round_: int = 0, number: int = 0) -> np.random.Generator:
    """Generator for one draw: Philox with key (seed, kind) and counter (0, 0, round, number)."""
    key = np.array([seed, KINDS.index(kind)], dtype=np.uint64)
    counter = np.array([0, 0, round_, number], dtype=np.uint64)
    return np.random.Generator(np.random.Philox(key=key, counter=counter))
