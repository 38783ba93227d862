"""Items of the drills without iron: real kinds with facts and pictures made up, handed out to the window's page."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pygame

from sim.bench.app import Bench
from sim.bench.drill_room import DrillRoom
from sim.bench.script import Player
from sim.bench.start import Prefs
from sim.books.record import Record
from sim.school.kinds import KINDS
from sim.school.view import Picture

MORNING = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)
SPOT = [[20.0, 18.0], [29.0, 22.0], [25.0, 11.0]]
DOTS = [[16.0 + 6.0 * (n % 4), 10.0 + 7.0 * (n // 4)] for n in range(12)]
WHAT = ["mark", "burr", "mark", "lint", "mark", "stain", "mark", "old blue", "mark", "burr", "stain", "mark"]
FACTS = {
    "highest": {"points_mm": SPOT, "height_um": [4.0, 1.5, 3.1], "dark": [0.4, 0.8, 0.6], "paler": [0.3, 0.0, 0.1]},
    "order": {"points_mm": SPOT, "height_um": [4.0, 1.5, 3.1], "dark": [0.4, 0.8, 0.6], "paler": [0.3, 0.0, 0.1]},
    "film": {"film_um": 6.0, "way_mm": 20.0, "hidden_um": [0.2, 1.5, 2.5, 1.0]},
    "form": {"form": "hollow", "amplitude_um": 6.0, "pivot_share": 0.01, "blue_pct": [[2.0, 40.0, 38.0, 42.0]] * 2},
    "count": {"spots": 24, "bearing_pct": 18.0, "confusion": 0.5, "specks": 12,
              "others": [[12, 9.0], [30, 25.0], [20, 14.0]],
              "edges_mm": [[20.0, 12.0, 24.0, 12.0], [24.0, 12.0, 24.0, 15.0], [20.0, 15.0, 24.0, 15.0],
                           [20.0, 12.0, 20.0, 15.0]]},
    "direction": {"turns_deg": [40.0, 120.0], "ripple_um": [0.5, 0.4, 0.3, 0.2, 0.1, 0.2] * 2},
    "mark": {"points_mm": DOTS, "what": WHAT, "stake_um": [3.0] * 12},
}
"""Of each kind; the truth: 0; 0, 2, 1; 6 um and thinner; hollow; 24 and 18 %; 120 degrees and step 4; six of twelve."""
OTHERWISE = {
    "highest": {"height_um": [1.5, 4.0, 3.1]}, "order": {"height_um": [1.5, 4.0, 3.1]},
    "film": {"film_um": 2.0, "hidden_um": [1.0, 0.2, 2.5, 1.5]}, "form": {"form": "crowned"},
    "count": {"spots": 12, "bearing_pct": 40.0}, "direction": {"turns_deg": [120.0, 40.0], "ripple_um": [0.3] * 12},
    "mark": {"what": WHAT[::-1]},
}
"""The same questions and pictures with another truth."""
MINE = {"highest": 1, "order": [1, 0, 2], "film": [2.2, 3], "form": 1, "count": [60.0, 50.0], "direction": [30.0, 2],
        "mark": [0, 1, 9, 11]}  # fmt: skip
"""One answer to each."""


def made_up(wanted, facts):
    """An item as it is wanted, with these facts; its pictures are noise."""
    item = KINDS[wanted.kind][0](wanted.level, wanted.condition, wanted.seed, facts, None)
    rng = np.random.default_rng(3)
    plane = np.array([[4.0, 0.0, -48.0], [0.0, -4.0, 112.0], [0.0, 0.0, 1.0]])
    shown = [Picture(rng.integers(90, 200, (96, 112, 3), np.uint8), 4.0, f"print {n + 1}", plane)
             for n in range(2 if wanted.kind == "form" else 1)]  # fmt: skip
    vars(item)["pictures"] = tuple(shown)
    return item


class Handed:
    """Hands out made-up items; `late` keeps them back until it is False."""

    def __init__(self, facts=FACTS, change=lambda item: item):
        self.facts, self.change, self.late, self.closed = facts, change, False, False
        self.wanted, self.aheads = None, []

    def ahead(self, wanted):
        self.aheads.append(wanted)

    def ask(self, wanted):
        self.wanted = wanted

    def made(self):
        if self.late or self.wanted is None:
            return None
        wanted, self.wanted = self.wanted, None
        return self.change(made_up(wanted, FACTS[wanted.kind] | self.facts.get(wanted.kind, {})))

    def close(self):
        self.closed = True


class Hours:
    """Both clocks, moved by hand."""

    def __init__(self):
        self.s = 0.0

    def seconds(self):
        return 1000.0 + self.s

    def now(self):
        return MORNING + timedelta(seconds=self.s)


def seated(folder, kind, maker=None, *, hours=None, size=(1024, 640), **prefs):
    """A player on a bench at the start page whose drills are of this kind."""
    pygame.display.init()
    pygame.font.init()
    maker, hours = maker or Handed(), hours or Hours()
    kinds = (kind,) if isinstance(kind, str) else kind  # None: by the record
    drilling = DrillRoom(folder, lambda: maker, clock=hours.seconds, now=hours.now, kinds=kinds)
    return Player(Bench(folder, size, prefs=Prefs(**prefs), drilling=drilling), pygame.Surface(size))


def kept(folder):
    """What the record of a folder has, read anew."""
    with Record.open(folder) as record:
        return record.answers()
