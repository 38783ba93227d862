"""The coach on the bench in free practice: what he has seen, when he speaks, what is lit, and what waits for Finish."""

import numpy as np
import pytest

from sim.bench.coach_line import lit
from sim.bench.script import begun
from sim.model.marks import Marks
from sim.school.calls import call_score, seat_plane
from sim.school.coach import Coach
from sim.school.remark import Found, Rule
from sim.school.seen import Seen
from sim.shop.job import Job
from sim.shop.session import Session
from tests.bench.test_layout import CALLED, LIFTED, SIZES
from tests.bench.test_no_leak import Blind, said

RUNGS = ("Look at the upper left corner.", "It came back in three prints. What would make it do that?",
         "The pale centres were left each time.",
         "Take the pale ones first, a few strokes, and print again.")  # fmt: skip
STROKE = {"drag": [[18.0, 18.0], [24.0, 22.0]]}
ROUND = [{"press": "take scrape"}, STROKE, {"press": "take wipe"}, {"press": "do"}]


@pytest.fixture
def player(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    return begun({}, tmp_path)


def always(rounds):
    return Found(1.0, True, 1.0, RUNGS, ((20.0, 30.0),), (rounds[-1].number,))


def with_rule(player):
    player.bench.practice.coach = Coach([Rule("always", 2, always, at_once=True)])


def line_of(player):
    player.bench.lay_out()
    return {w.id: w for w in player.bench.group.widgets}


def test_every_act_is_seen_and_what_is_taken_back_is_forgotten(player):
    player.play([*LIFTED, *ROUND])
    practice, session = player.bench.practice, player.bench.desk.session
    alone = Seen()
    again = Session.begin(session.job.start)
    for command in session.commands:
        again.do(command)
        alone.note(command, again)
    assert practice.seen.commands == len(session.commands) == 4
    assert (practice.seen.rounds[0].dark == alone.rounds[0].dark).all()
    assert practice.seen.rounds[0].strokes.shape == (1, 5)
    player.play([{"key": "Z", "mod": "ctrl"}, {"key": "Z", "mod": "ctrl"}])
    assert practice.seen.commands == len(session.commands) == 2
    assert practice.seen.rounds[0].strokes.shape == (0, 5)
    player.play([{"key": "Y", "mod": "ctrl"}])
    assert practice.seen.rounds[0].strokes.shape == (1, 5)


def test_a_trained_hand_is_watched_too(player):
    player.play([{"press": "door print"}, {"work": 1}])
    practice = player.bench.practice
    assert practice.seen.commands == len(player.bench.desk.session.commands) > 3
    assert len(practice.seen.rounds) == 1


def test_in_free_practice_the_coach_speaks_when_asked_and_climbs_from_place_to_what_to_try(player):
    player.play(LIFTED)
    with_rule(player)
    player.play(ROUND)
    assert "remark" not in line_of(player), "not asked, he is quiet"
    told = []
    for step in ({"press": "ask"}, {"key": "I"}, {"press": "remark"}, {"press": "ask"}):
        player.play([step])
        told.append(line_of(player)["remark"].string)
    assert tuple(told) == RUNGS
    ask = line_of(player)["ask"]
    assert (ask.enabled, ask.reason) == (False, "That was all of it.")
    kinds = [(one.kind, one.data.get("rung")) for one in player.bench.practice.attempt.said]
    assert kinds == [("coach", n) for n in range(4)]


def test_on_a_print_that_was_just_lifted_he_speaks_of_the_round_before(player):
    player.play(LIFTED)
    with_rule(player)
    player.play([*ROUND, *LIFTED[1:], {"press": "ask"}])
    assert player.bench.practice.shown.rounds == (1,)
    player.play(ROUND)
    assert "remark" in line_of(player), "while one works by it, it stays"
    player.play([*LIFTED[1:], *ROUND])
    assert "remark" not in line_of(player), "the strokes of the next round clear it"


def test_asked_before_a_round_is_made_he_says_what_he_goes_by(player):
    player.play([{"press": "door print"}, {"press": "ask"}])
    assert "make a round first" in line_of(player)["answered"].string
    player.play([{"press": "do"}])
    assert "answered" not in line_of(player), "the next act clears it"
    assert "Film of" in line_of(player)["told"].string


def test_the_evidence_is_lit_while_the_line_is_pointed_at_or_pinned(player):
    player.play(LIFTED)
    with_rule(player)
    player.play([*ROUND, {"press": "ask"}])
    bench = player.bench
    x, y = (round(v) for v in bench.pane.view.to_px(20.0, 30.0))

    def ring():
        return np.array([player.surface.get_at((x + dx, y))[:3] for dx in range(11, 17)])

    assert lit(bench.group, bench.practice) == ((20.0, 30.0),), "the pointer is on the button"
    shown = ring()
    player.play([{"point": [50.0, 5.0]}])
    assert lit(bench.group, bench.practice) == ()
    assert (ring() != shown).any()
    player.play([{"press": "show me"}, {"point": [50.0, 5.0]}])
    assert lit(bench.group, bench.practice) == ((20.0, 30.0),), "it stays"
    assert (ring() == shown).all()


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_a_remark_of_the_longest_kind_fits_the_line(tmp_path, monkeypatch, size):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    player = begun({}, tmp_path, size)
    player.play(LIFTED)
    long = "Twenty-three of your last forty strokes began where the print of this round does not show any of it"[:96]
    assert len(long) == 96
    rule = Rule("long", 2, lambda rounds: Found(1.0, True, 1.0, (long,) * 4, ((20.0, 30.0),), (1, 2, 3)), at_once=True)
    player.bench.practice.coach = Coach([rule])
    player.play([*ROUND, {"press": "ask"}])
    assert line_of(player)["remark"].string == long
    assert player.bench.group.clipped(player.bench.ui) == []
    assert player.bench.group.overlaps() == []
    assert player.bench.group.targets_below(32) == []


def test_no_word_of_the_coach_on_the_bench_looks_at_the_heights(player, monkeypatch):
    player.play(LIFTED)
    with_rule(player)
    player.play([*ROUND, {"press": "ask"}])
    monkeypatch.setattr(Job, "face", property(lambda job: Blind(job.part.faces[job.in_hand])))
    before = said(player.bench)
    player.bench.practice.drop()
    player.bench.practice.coach = Coach()
    player.bench.practice.ask(player.bench.desk)
    assert [one for one in before if one[0] == "remark"]
    assert said(player.bench) != before, "asked anew, with all his rules, he looks at prints and strokes alone"


def test_calls_are_noted_as_they_are_made_and_come_back_with_the_job(player, tmp_path):
    player.play([*CALLED[:-1]])
    practice, path = player.bench.practice, player.bench.desk.session.path
    (lamp, first, second) = practice.attempt.said
    assert (lamp.kind, first.kind, second.kind) == ("lamp", "calls", "calls")
    assert [len(one.data["calls"]) for one in (first, second)] == [1, 2]
    assert {one.after for one in practice.attempt.said} == {2}
    player.play([{"press": "take scrape"}, STROKE])
    player.bench.to_start()
    player.bench.open_file(path)
    assert [one.data for one in player.bench.practice.attempt.said] == [one.data for one in (lamp, first, second)]
    assert player.bench.practice.seen.commands == 0
    player.bench.practice.catch_up()
    assert len(player.bench.practice.seen.rounds[0].calls) == 2
    player.play([{"key": "Z", "mod": "ctrl"}])
    assert len(player.bench.desk.session.commands) == 3, "what was cut before it was closed stays"


def test_what_was_expected_is_told_against_the_print_and_from_the_print_alone(player):
    player.play([*LIFTED[:-1], {"click": [30.0, 20.0]}, {"press": "do"}])
    seen = player.bench.practice.seen.rounds[-1]
    rows, cols = (np.arange(n) * 0.25 + 0.125 for n in seen.iron.shape)
    near = (cols[None, :] - 30.0) ** 2 + (rows[:, None] - 20.0) ** 2 <= 16.0
    share, over = (100.0 * seen.marked[where].mean() for where in (near, seen.iron))
    told = line_of(player)["answered"].string
    assert told == f"Round your diamond {share:.0f} % is blue, over the face {over:.0f} %."
    player.play([{"press": "take spot"}, {"press": "do"}, {"press": "expect", "at": 0.9}, {"press": "do"}])
    assert line_of(player)["answered"].string.startswith("You expected fewer marks: ")
    player.play([{"press": "take spot"}, {"press": "do"}, {"press": "do"}])
    assert "answered" not in line_of(player), "nothing was said before it"


def test_a_count_is_of_one_place_and_is_noted_with_it(player):
    player.play([*LIFTED, {"key": "M"}, {"click": [20.0, 20.0]}])
    player.play([{"press": "counted"}, {"type": "9"}, {"key": "RETURN"}])
    (count,) = [one for one in player.bench.practice.attempt.said if one.kind == "count"]
    assert count.data == {"x_mm": pytest.approx(7.3, abs=0.1), "y_mm": pytest.approx(7.3, abs=0.1), "spots": 9.0}
    player.play([{"click": [40.0, 20.0]}])
    assert player.bench.desk.settings.counted == ""


def test_finish_tells_the_calls_in_iron_and_only_then(player):
    player.play([*LIFTED, {"press": "take read"}])
    desk = player.bench.desk
    rows, cols = np.nonzero(desk.sight.marked)
    order = np.argsort(cols)
    for level, k in ((1, order[0]), (2, order[len(order) // 2]), (3, order[-1])):
        desk.call(0.25 * cols[k] + 0.125, 0.25 * rows[k] + 0.125, level, sure=level == 1)
    player.bench.heard()
    face = desk.session.job.face
    seen_um = desk.session.job.start.material.blue.seen_um
    marks = Marks((face.blue_um >= seen_um) & face.iron, face.iron, face.pitch_mm)
    wanted = call_score(desk.calls, marks, face.height_um, seat_plane(face))
    assert wanted.called >= 2
    words = [w for one in said(player.bench) for w in one]
    assert not any("stood" in one for one in words)
    player.play([*ROUND, {"press": "finish"}])
    told = [w.string for w in player.bench.group.widgets if w.id.startswith("reading")]
    assert told[0] == f"Print 1: {wanted.sentence()}", "of the iron as it was, not as it was cut since"
    assert any("0.4 µm" in one for one in told)
    assert any(one.startswith("You said sure 1 time") for one in told)
