"""Recorded trials for lesson 16: what a sole costs on the model, scraped as it is or machined again first."""

import csv
import io
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np

import sim
from sim.hands.autopilot import follow_the_blue
from sim.hands.skill import HANDS
from sim.intake.drawing import read_part
from sim.model.part import PartShape
from sim.paths import assets
from sim.school.checks_reading import CUT, SCRAPE, Case
from sim.shop.commands import StoneFace, WipeFace
from sim.shop.job import JobStart
from sim.shop.partwork import RecutFace
from sim.shop.rounds import drive
from sim.shop.session import Session
from sim.shop.store import write_new
from sim.target import Target
from sim.units import S_PER_H

HAND = "skilled"
MOST_ROUNDS = 70
SPARE_UM = 45.0  # a cut goes so much deeper than the face is out, and reaches all of it
TRAM_UM_PER_100MM = {"in": 10.0, "out of": 100.0 * 100.0 / 150.0}
"""Head in tram: 0.02 mm over 200 mm; out of tram: 0.10 mm over 150 mm."""
BOW_UM = {10.0: 4.5, 12.0: 7.2, 15.0: 11.1, 25.0: 24.2, 45.0: 50.4, 60.0: 70.0}
"""Bow of a fly-cut sole by how far the whole face is then out of flat; computed, as the median of the trials' seeds."""
CASES = tuple(Case(um, tram) for um, tram in ((10.0, "in"), (12.0, "in"), (25.0, "in"), (45.0, "in"), (60.0, "in"),
                                              (10.0, "out of"), (15.0, "out of"), (25.0, "out of")))  # fmt: skip
COMMAND = (
    "python -c \"from sim.school.recorded import record_machine_again as record; record({path!r}, {seeds!r})\""
)


def sole(um: float) -> PartShape:
    """The sole of lesson 16 that is so far out of flat."""
    part = read_part(assets() / "parts" / "sole-a.toml")
    faces = tuple(replace(one, start=replace(one.start, bow_x_um=BOW_UM[um])) if one.name == "sole" else one
                  for one in part.faces)  # fmt: skip
    return replace(part, faces=faces)


def trial(case: Case, way: str, seed: int) -> tuple[float, float, bool]:
    """One sole done one way: hours until its target is met (or until the rounds are used up), um left, met or not."""
    session = Session.begin(JobStart(part=sole(case.um), seed=seed), copies_mb=0.0)
    if way == CUT:
        depth_um = float(10.0 * np.ceil(0.1 * (case.um + SPARE_UM)))
        session.do(RecutFace(depth_um=depth_um, tram_along_um_per_100mm=TRAM_UM_PER_100MM[case.tram]))
        session.do(StoneFace())
        session.do(WipeFace())
    driven = drive(session, follow_the_blue(HANDS[HAND]), Target(), rounds=MOST_ROUNDS)
    last = driven.rounds[-1]
    return session.job.clock_s / S_PER_H, last.bearing_flatness_um, driven.met_round is not None


def machine_again(cases: Iterable[Case], seeds: Iterable[int],
                  on_trial: Callable[[str], None] | None = None) -> list[dict[str, str]]:
    """Rows of the table: medians over the seeds of each case done each way."""
    rows, seeds = [], tuple(seeds)
    for case in cases:
        for way in (SCRAPE, CUT):
            found = np.array([trial(case, way, seed) for seed in seeds], dtype=np.float64)
            hours, left_um, _ = np.median(found, axis=0)
            rows.append({"case": case.title, "way": way, "hours": f"{hours:.2f}", "left_um": f"{left_um:.2f}",
                         "met_pct": f"{100.0 * found[:, 2].mean():.0f}"})  # fmt: skip
            if on_trial:
                on_trial(str(rows[-1]))
    return rows


def record_machine_again(path: str | Path, seeds: Iterable[int], on_trial: Callable[[str], None] | None = None) -> None:
    """Make the table of lesson 16 again: every case, both ways, on these seeds; a table that is there is replaced.

    Raises
    ------
    CannotWrite
        When it cannot be written.
    """
    seeds = tuple(seeds)
    rows = machine_again(CASES, seeds, on_trial)
    target, trams = Target(), TRAM_UM_PER_100MM
    told = (
        f"physics: {sim.PHYSICS}",
        f"seeds: {', '.join(map(str, seeds))}; hand: {HAND}",
        "Part: the sole of assets/parts/sole-a.toml, 160 x 110 mm, fly-cut, bowed to be out of flat as each case says.",
        f"Target: bearing flatness {target.bearing_flatness_um:g} um, {target.spots_mean:g} spots per square inch, "
        f"{target.spots_lowest:g} in the lowest, bearing {target.bearing_pct:g} %.",
        f"Cut: the case + {SPARE_UM:g} um deep, rounded up to 10; in tram {trams['in']:g} um in 100 mm, out of tram "
        f"{trams['out of']:.0f}; set-up and passes are in the hours.",
        f"hours: median on the shop clock until the target was met, or {MOST_ROUNDS} rounds were made; left_um: median "
        "bearing flatness then; met_pct: share that met it.",
        "Made by: " + COMMAND.format(path="lessons/trials/machine_again.csv", seeds=list(seeds)),
    )
    text = io.StringIO()
    text.write("".join(f"# {line}\n" for line in told))
    writer = csv.DictWriter(text, ("case", "way", "hours", "left_um", "met_pct"), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    write_new(Path(path), text.getvalue().encode("utf-8"), force=True)
