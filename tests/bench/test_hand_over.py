"""Hand over, and a part of several faces at the bench: the indicator, the hinge, the angle plate."""

import numpy as np
import pytest

from sim.bench import other_hand
from sim.bench.gestures import is_inside
from sim.bench.script import begun
from sim.shop.commands import Scrape, SpotFace, WipeFace
from sim.shop.partwork import SpotUpright, SweepFace
from sim.shop.rounds import is_done


@pytest.fixture
def player(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    return begun({"start": {"sample": 0}}, tmp_path)


def test_a_trained_hand_works_its_rounds_and_hangs_its_prints(player):
    desk = player.bench.desk
    player.play([{"key": "ESCAPE"}, {"press": "hand over 1"}])
    assert desk.handed is None
    assert "Chalk an area" in desk.told, "it never chooses marks by itself"
    assert desk.session.job.round == 0
    desk.add_chalk(((0.0, 0.0), (60.0, 0.0), (60.0, 40.0), (0.0, 40.0)))
    player.play([{"press": "hand over 1"}])
    assert desk.handed is None
    assert (desk.session.job.round, len(desk.hung)) == (1, 1)
    assert desk.session.job.strokes > 20
    assert desk.dragged == []


def test_a_trained_hand_keeps_to_the_chalk_and_lets_go_at_esc(player):
    desk = player.bench.desk
    outline = ((30.0, 0.0), (60.0, 0.0), (60.0, 40.0), (30.0, 40.0))
    desk.add_chalk(outline)
    player.play([{"key": "ESCAPE"}])
    player.bench.said("hand over 3", True)
    for _ in range(8):
        player.bench.tick(0.0)
    player.bench.hold.cancel()
    assert desk.handed is None
    strokes = [s for c in desk.session.commands if isinstance(c, Scrape) for s in c.strokes]
    assert strokes
    assert all(is_inside((0.005 * (s[0] + s[2]), 0.005 * (s[1] + s[3])), outline) for s in strokes)


def test_the_side_of_the_stand_is_printed_against_the_angle_plate_and_read_both_ways(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    player = begun({"start": {"sample": 2}}, tmp_path)
    bench = player.bench
    assert not bench.desk.upright_allowed()
    player.play([{"key": "ESCAPE"}, {"press": "face", "at": 0.9}])
    assert bench.desk.session.job.in_hand == "side"
    player.play(
        [{"key": "Q"}, {"press": "on", "at": 0.9}, {"key": "SPACE"}, {"key": "W"}, {"key": "SPACE"}, {"key": "SPACE"}]
    )
    assert isinstance(bench.desk.session.commands[-1], SpotUpright)
    assert bench.desk.session.job.face.blue_um.max() > 0.2
    player.play([{"key": "T"}, {"press": "do"}, {"press": "sweep turned"}])
    reading = bench.desk.sight.readings[1]
    assert isinstance(bench.desk.session.commands[-1], SweepFace)
    assert reading.both_ways
    player.play([{"key": "Q"}, {"press": "on", "at": 0.1}])
    assert bench.desk.plate is bench.desk.session.job.plate


def test_the_hinge_tells_both_ends_and_the_indicator_needs_another_face(player):
    player.play([{"key": "G"}, {"key": "SPACE"}])
    assert player.bench.desk.turned is not None
    assert any("Pushed at the right" in str(getattr(w, "string", "")) for w in player.bench.group.widgets)
    player.play([{"key": "T"}, {"drag": [[10.0, 10.0], [40.0, 10.0]]}])
    assert "needs a datum" in player.bench.desk.told


def test_a_print_is_made_where_the_part_was_dragged_and_turned_end_for_end(player):
    desk = player.bench.desk
    x, y = desk.settings.x_mm, desk.settings.y_mm
    player.play([{"key": "SPACE"}, {"key": "W"}, {"drag": [[100.0, 80.0], [120.0, 70.0]]}])
    player.play([{"key": name} for name in ("RIGHT", "J", "SPACE", "SPACE")])
    made = desk.session.commands[-1]
    assert isinstance(made, SpotFace)
    assert (made.x_mm, made.y_mm) == pytest.approx((x + 20.0 + 1.0, y - 10.0), abs=0.4)
    assert made.turn_deg == 180.0
    assert np.isfinite(desk.session.job.face.blue_um).all()


def test_the_rub_goes_across_and_a_hand_presses_when_it_is_set_so(player):
    player.play([{"key": "SPACE"}, {"key": "W"}, {"press": "rub", "at": 0.9}, {"press": "press_n"}, {"press": "do"}])
    player.play([{"press": "do"}])
    made = player.bench.desk.session.commands[-1]
    assert made.along == (0.0, 1.0)
    assert made.hands == ((30.0, 20.0, 40.0),)


def test_a_click_on_the_face_stops_the_trained_hand_and_cuts_nothing(player):
    player.bench.desk.add_chalk(((0.0, 0.0), (60.0, 0.0), (60.0, 40.0), (0.0, 40.0)))
    player.play([{"key": "ESCAPE"}])
    player.bench.said("hand over 3", True)
    for _ in range(3):
        player.bench.tick(0.0)
    player.bench.desk.tool = "scrape"
    before = player.bench.desk.session.job.strokes
    player.bench.hold.press(20.0, 20.0)
    player.bench.hold.release(30.0, 20.0)
    assert player.bench.desk.handed is None
    assert player.bench.desk.session.job.strokes == before


def test_a_trained_hand_goes_over_marks_that_were_called_high_and_over_no_others(player):
    player.play([*({"key": k} for k in ("SPACE", "W", "SPACE", "SPACE")), {"click": [24.0, 20.0]}, {"key": "1"},
                 {"click": [50.0, 35.0]}, {"key": "3"}, {"key": "ESCAPE"}, {"press": "hand over 1"}])  # fmt: skip
    strokes = [s for c in player.bench.desk.session.commands if isinstance(c, Scrape) for s in c.strokes]
    assert strokes
    middles = np.array([(0.005 * (s[0] + s[2]), 0.005 * (s[1] + s[3])) for s in strokes])
    assert np.hypot(*(middles - (24.0, 20.0)).T).max() <= 6.1


def test_a_face_is_finished_as_a_strategy_would_on_a_copy_and_ones_own_stays(player):
    bench = player.bench
    own = bench.desk.session.path
    player.play([{"key": "D"}, {"key": "SPACE"}, {"key": "ESCAPE"}, {"press": "other", "at": 0.9},
                 {"press": "strategy before"}])  # fmt: skip
    assert bench.desk.settings.strategy == "break-up-early"
    player.play([{"press": "strategy next"}])
    assert bench.desk.settings.strategy == "break-up-late"
    player.play([{"press": "finish as"}])
    desk = bench.desk
    assert desk.session.path.name == f"{own.stem}-as-break-up-late-1.job"
    assert desk.told.startswith("Done as break-up-late does it, in round ")
    assert desk.handed is None
    assert is_done(desk.session.job)
    assert len(desk.hung) == desk.session.job.round > 5
    player.play([{"key": "RETURN", "mod": "ctrl"}])
    assert bench.page == "finish"
    assert bench.done.met
    words = [getattr(w, "string", "") for w in bench.group.widgets]
    assert "you" not in words
    assert any("A copy of your job, worked as break-up-late" in one for one in words)
    bench.open_file(own)
    assert bench.desk.session.commands == (WipeFace(),)


def test_whoever_finishes_a_face_can_be_stopped_at_any_act(player):
    player.play([{"key": "ESCAPE"}])
    player.bench.said("finish as", True)
    for _ in range(9):
        player.bench.tick(0.0)
    done = player.bench.desk.session.commands
    player.bench.hold.cancel()
    assert player.bench.tick(0.0) is False
    assert player.bench.desk.session.commands == done
    assert len(done) == 9


def test_the_end_of_the_goal_is_told_when_it_is_not_met(player, monkeypatch):
    monkeypatch.setattr(other_hand, "MOST_ROUNDS", 1)
    player.play([{"key": "ESCAPE"}, {"press": "other", "at": 0.9}, {"press": "finish as"}])
    assert "Given up as break-up-late does it, in round 1" in player.bench.desk.told


def test_a_lesson_is_not_finished_by_another(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    player = begun({"start": {"lesson": "17", "part": "alone"}}, tmp_path)
    player.play([{"key": "ESCAPE"}, {"press": "other", "at": 0.9}])
    widget = next(w for w in player.bench.group.widgets if w.id == "finish as")
    assert not widget.enabled
    assert "free practice" in widget.reason
