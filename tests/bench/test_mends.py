"""What once went wrong at the bench: acts that outlived their tool, things that were lost on the way back and forth."""

import json
import math
from dataclasses import replace

import numpy as np
import pygame
import pytest

from sim.bench.gestures import PIECE
from sim.bench.kept import desk_path, opened
from sim.bench.pieces import Settings
from sim.bench.script import begun
from sim.shop.commands import Scrape, strokes_as_data
from sim.shop.logbook import fingerprint
from sim.shop.session import Session
from tests.bench.test_cycle import DRAGS
from tests.bench.test_layout import LIFTED


@pytest.fixture
def player(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    monkeypatch.chdir(tmp_path)
    return begun({}, tmp_path)


def test_opening_the_job_that_is_open_changes_nothing_and_it_can_be_worked_on(player):
    player.play(
        [*LIFTED, {"key": "O", "mod": "ctrl"}, {"press": "open first"}, {"press": "take scrape"}, {"drag": DRAGS[0]}]
    )
    assert player.bench.desk.session.job.strokes == 1


def test_calls_come_back_one_by_one_and_go_forth_one_by_one(player):
    player.play([*LIFTED, {"click": [10.0, 10.0]}, {"click": [20.0, 20.0]}, {"click": [30.0, 30.0]}])
    desk = player.bench.desk
    player.play([{"key": "Z", "mod": "ctrl", "times": 3}])
    assert desk.calls == []
    player.play([{"key": "Y", "mod": "ctrl", "times": 3}])
    assert len(desk.calls) == 3


def test_a_print_taken_back_and_made_again_hangs_as_before_with_its_calls(player):
    player.play([*LIFTED, {"click": [10.0, 10.0]}, {"key": "W"}, {"key": "SPACE"}, {"key": "SPACE"}])
    desk = player.bench.desk
    assert (len(desk.hung), desk.calls) == (2, [])
    player.play([{"key": "Z", "mod": "ctrl"}])
    assert (len(desk.hung), len(desk.calls)) == (1, 1)
    player.play([{"key": "Y", "mod": "ctrl"}])
    assert (len(desk.hung), desk.calls) == (2, [])
    player.play([{"key": "Z", "mod": "ctrl"}])
    assert (len(desk.hung), len(desk.calls)) == (1, 1)


def test_strokes_that_were_taken_back_do_not_show_the_hand(player):
    player.play([*LIFTED, {"press": "take scrape"}])
    for drag in (*DRAGS, *DRAGS[:2]):
        player.play([{"drag": drag}, {"key": "Z", "mod": "ctrl"}])
    assert player.bench.desk.session.job.strokes == 0
    assert not player.bench.hold.hand().measured
    assert "scrape" not in player.bench.desk.done


def test_where_iron_does_not_come_back_the_calls_of_this_print_still_do(player):
    player.play([*LIFTED, {"click": [10.0, 10.0]}, {"press": "take scrape"}, {"drag": DRAGS[0]}])
    desk = player.bench.desk
    desk.freedom = type(desk.freedom)(iron_back=False)
    player.play([{"key": "Z", "mod": "ctrl"}])
    assert (desk.calls, desk.session.job.strokes) == ([], 1)


@pytest.mark.parametrize("way", ["another tool", "another page", "a new print"])
def test_a_gesture_ends_with_its_tool_its_page_and_its_print(player, way):
    player.play([*LIFTED, {"press": "take scrape"}, {"key": "SPACE"}, {"key": "RIGHT", "times": 6}])
    hold, desk = player.bench.hold, player.bench.desk
    assert hold.key is not None
    player.play({"another tool": [{"key": "D"}], "another page": [{"key": "F1"}, {"key": "ESCAPE"}],
                 "a new print": [{"key": "W"}, {"key": "SPACE"}, {"key": "SPACE"}]}[way])  # fmt: skip
    assert hold.key is None
    player.play([{"key": "A"}, {"key": "SPACE"}, {"key": "ESCAPE"}])
    assert desk.session.job.strokes == 0


def test_a_drag_is_dropped_when_the_tool_changes_under_it(player):
    player.play([*LIFTED, {"press": "take scrape"}])
    a, b = ((400, 300), (460, 330))
    player.send(pygame.MOUSEBUTTONDOWN, pos=a, button=1, mod=0)
    player.send(pygame.MOUSEMOTION, pos=b, rel=(0, 0), buttons=(1, 0, 0), mod=0)
    player.play([{"key": "D"}])
    player.send(pygame.MOUSEBUTTONUP, pos=b, button=1, mod=0)
    assert player.bench.desk.session.job.strokes == 0
    player.play([{"key": "RETURN", "mod": "ctrl"}, {"press": "back"}])
    assert player.bench.page == "bench", "the pointer is its own again on every page"


def test_a_part_that_lies_on_the_plate_cannot_be_scraped_or_turned(player):
    player.play([{"press": "door print"}, {"key": "SPACE"}, {"key": "W"}, {"key": "SPACE"}, {"key": "J"}])
    desk = player.bench.desk
    assert desk.laid
    assert desk.settings.turn_deg == 0.0
    player.play([{"key": "A"}])
    assert not desk.laid
    assert "without lifting a print" in desk.told


def test_a_key_that_is_held_down_does_its_act_once(player):
    player.play([*LIFTED, {"key": "S"}])
    before = player.bench.desk.session.job.clock_s
    for _ in range(5):
        player.send(pygame.KEYDOWN, key=pygame.K_SPACE, mod=0, scancode=0, unicode="")
    player.send(pygame.KEYUP, key=pygame.K_SPACE, mod=0, scancode=0)
    assert player.bench.desk.session.job.clock_s == before + 60.0
    player.play([{"key": "SPACE"}])
    assert player.bench.desk.session.job.clock_s == before + 120.0


def test_a_click_that_shuts_the_menu_does_nothing_else_and_its_entries_act_where_it_was_opened(player):
    player.play([*LIFTED, {"press": "take scrape"}, {"click": [20.0, 15.0], "button": 3}, {"click": [45.0, 30.0]}])
    assert player.bench.menu is None
    assert player.bench.desk.session.job.strokes == 0
    player.play([{"click": [20.0, 15.0], "button": 3}, {"point": [40.0, 35.0]}, {"press": "at call 1"}])
    assert player.bench.desk.calls[0][:2] == pytest.approx((20.0, 15.0), abs=0.1)


def test_turning_the_part_stops_the_trained_hand_and_a_pass(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    player = begun({"start": {"sample": 2}}, tmp_path)
    bench = player.bench
    player.play([{"key": "ESCAPE"}])
    bench.desk.add_chalk(((0.0, 0.0), (160.0, 0.0), (160.0, 110.0), (0.0, 110.0)))
    bench.said("hand over 3", True)
    assert bench.desk.handed is not None
    for n in range(6):
        bench.tick(float(n))
    bench.said("face", 1)
    for n in range(6, 12):
        bench.tick(float(n))
    assert bench.desk.handed is None
    assert bench.desk.session.job.cuts["top"] == 0


def test_what_was_typed_is_taken_when_the_pointer_goes_elsewhere_and_the_mark_of_a_list_stays(player, tmp_path):
    player.play([*LIFTED, {"key": "M"}, {"press": "counted"}, {"type": "9"}, {"click": [20.0, 20.0]}])
    assert player.bench.desk.settings.counted == "9"
    (tmp_path / "a.toml").write_text("x = 1\n")
    (tmp_path / "b.toml").write_text("x = 1\n")
    player.bench.show_files()
    player.bench.draw(player.surface)
    player.play([{"press": "file", "at": 0.5}])
    player.play([{"key": "TAB"}, {"key": "HOME"}])
    listing = next(w for w in player.bench.group.widgets if w.id == "file")
    listing.value = 1
    player.bench.draw(player.surface)
    assert next(w for w in player.bench.group.widgets if w.id == "file").value == 1


SPOILT = (
    {"dragged": [[1, 2, 3, 4]]},
    {"calls": [[1, 2, 7, False]]},
    {"settings": {"take": "x"}},
    {"settings": {"spacing_mm": 0.0}},
    {"hung": [{"face": 1}]},
)


@pytest.mark.parametrize("spoilt", SPOILT)
def test_what_lies_beside_a_job_is_set_aside_when_it_is_damaged(player, spoilt):
    player.play(LIFTED)
    path = player.bench.desk.session.path
    player.bench.quit()
    told = json.loads(desk_path(path).read_text())
    told |= {k: {**told[k], **v} if isinstance(v, dict) else v for k, v in spoilt.items()}
    desk_path(path).write_text(json.dumps(told))
    session = Session.load(path)
    desk = opened(session)
    assert desk.calls == []
    assert "the job itself is whole" in session.notes[-1]
    assert desk_path(path).with_suffix(".damaged").is_file()


def test_finish_judges_the_tolerances_of_the_drawing_too_and_counts_how_often_the_whole_was_seen(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    player = begun({"start": {"sample": 2}}, tmp_path)
    player.play([{"key": "ESCAPE"}, {"press": "face", "at": 0.5}, {"press": "finish"}])
    assert any(row[0].startswith("Parallelism to foot") and row[3] is False for row in player.bench.done.rows)
    player.play([{"key": "ESCAPE"}, {"press": "finish"}])
    assert any("seen 1 time before" in str(getattr(w, "string", "")) for w in player.bench.group.widgets)


def test_a_film_taken_back_and_rolled_thinner_is_seen_thinner(player):
    player.play([{"press": "door print"}, {"press": "film", "at": 0.9}, {"key": "SPACE"}, {"key": "W"}])
    pane = player.bench.pane
    heavy = pane._film(mirrored=False).copy()
    player.play(
        [{"key": "Z", "mod": "ctrl"}, {"key": "Q"}, {"press": "film", "at": 0.1}, {"key": "SPACE"}, {"key": "W"}]
    )
    assert (pane._film(mirrored=False) != heavy).any()


def test_the_desk_is_written_down_some_time_after_it_has_changed(player):
    player.play([*LIFTED, {"click": [20.0, 20.0]}])
    path = player.bench.desk.session.path
    player.bench.tick(1e6)
    assert len(opened(Session.load(path)).calls) == 1
    assert fingerprint(Session.load(path).job) == fingerprint(player.bench.desk.session.job)


@pytest.mark.parametrize("count", [1, 49, 50, 51, 230])
def test_a_pass_is_commands_of_at_most_fifty_strokes_all_of_them_in_order_with_the_stated_hand(player, count):
    player.play([*LIFTED, {"press": "take scrape"}])
    desk = player.bench.desk
    desk.freedom = replace(desk.freedom, hand="beginner")
    n = np.arange(count)
    strokes = np.column_stack([5.0 + 0.1 * n, 10.0 + 0.05 * n, 12.0 + 0.1 * n, 14.0 + 0.05 * n, 50.0 + 0.1 * n])
    desk.begin_pass(strokes)
    while desk.passing is not None:
        desk.step_pass()
    made = [c for c in desk.session.commands if isinstance(c, Scrape)]
    assert all(1 <= len(c.strokes) <= PIECE for c in made)
    assert len(made) == math.ceil(count / PIECE)
    assert sum((c.strokes for c in made), ()) == strokes_as_data(strokes)
    assert {(c.blade, c.care, c.pace_per_min) for c in made} == {("fine", 0.5, 40.0)}


def test_no_strokes_are_no_pass(player):
    player.play([*LIFTED, {"press": "take scrape"}])
    player.bench.desk.begin_pass(np.zeros((0, 5)))
    assert player.bench.desk.passing is None


def test_quarter_steps_lie_between_the_pushes_and_end_at_the_ends():
    s = Settings(push=3)
    s.push_by(1, quarter=True)
    assert s.push_n == pytest.approx(95.0 + 0.25 * (150.0 - 95.0))
    s.push_by(-2, quarter=True)
    assert s.push_n == pytest.approx(95.0 - 0.25 * (95.0 - 70.0))
    for _ in range(40):
        s.push_by(1, quarter=True)
    assert (s.push, s.quarter, s.push_n) == (6, 0, 450.0)
    s.push_by(-9)
    assert (s.push, s.push_n, s.blade) == (1, 50.0, "split")


@pytest.mark.parametrize("steps", [
    [{"key": "M"}, {"press": "counted"}, {"type": "7"}, {"key": "RETURN"}],
    [{"key": "E"}, {"click": [20.0, 20.0]}],
], ids=("a count", "a call"))  # fmt: skip
def test_what_is_called_or_counted_before_the_first_print_is_said_and_nothing_breaks(player, steps):
    player.play([{"press": "door print"}, *steps])
    assert [one.kind for one in player.bench.practice.attempt.said if one.kind != "lamp"] == \
        [{"M": "count", "E": "calls"}[steps[0]["key"]]]  # fmt: skip
    assert player.bench.practice.seen.rounds == []
