"""Trials that are over soon: coupons on a small plate; files of strategies that go wrong."""

import json
from dataclasses import asdict, replace
from textwrap import dedent

import pytest

from sim.model.plate import PlateMake
from sim.model.start import COUPON
from sim.shop.job import JobStart
from sim.trials.trial import Trial

PLATE = PlateMake(length_mm=120.0, width_mm=100.0)


def coupon_trial(strategy="break-up-late", seed=1, *, rounds=2, hand="skilled", **rest):
    """A trial of a small coupon, coarse, that no two rounds meet the target of."""
    start = JobStart(replace(COUPON, length_mm=40.0, width_mm=30.0, pitch_mm=0.5), PLATE, seed=seed)
    return Trial(strategy, rest.pop("options", ()), hand, start, rounds=rounds, **rest)


def bits(outcomes):
    """Outcomes as text that is equal where they are, bit for bit; NaN is NaN, and no time of a machine is in it."""
    return [json.dumps(asdict(replace(one, seconds=0.0))) for one in outcomes]


HEAD = dedent('''\
    import os, signal, sys, time
    from pathlib import Path

    from sim.hands.strategy import begin, go_on, strategy
    from sim.shop.commands import RollFilm, Scrape, SpotFace, WipeFace
    ''')  # fmt: skip
BODY_LINE = HEAD.count("\n") + 7  # the first line of a body


def own_text(body, name="mine"):
    """A file that registers one strategy; of two prints, the body comes between them."""
    text = HEAD + dedent(f'''
        @strategy("{name}")
        def mine(hand):
            """Mine: goes wrong after the first print."""
            sight = yield WipeFace()
            sight = yield RollFilm(); sight = yield SpotFace(); sight = yield WipeFace()
        ''') + "".join(f"    {line}\n" for line in dedent(body).strip().splitlines())
    return text + "    yield from go_on(sight, hand)\n"


@pytest.fixture
def own(tmp_path):
    def write(body, name="mine"):
        path = tmp_path / "own.py"
        path.write_text(own_text(body, name))
        return str(path)

    return write


@pytest.fixture(autouse=True)
def _strategies(strategies_as_before):
    """Whatever a test registers goes again."""
