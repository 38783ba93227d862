"""The whole cycle at the bench by mouse and by keyboard alone, without a window: real events, real acts, real files."""

import json
from dataclasses import replace

import numpy as np
import pygame
import pytest

from sim.bench.app import Bench
from sim.bench.events import Events
from sim.bench.kept import desk_path, opened
from sim.bench.script import Player, begun
from sim.bench.start import Prefs
from sim.errors import BadFile
from sim.shop.commands import RollFilm, Scrape, SpotFace, StoneFace, WipeFace
from sim.shop.logbook import fingerprint
from sim.shop.session import Session, replay

DRAGS = [[[6.0 + 4.0 * n, 12.0], [11.0 + 4.0 * n, 16.0]] for n in range(10)]
BY_MOUSE = [
    {"press": "door print"}, {"press": "do"}, {"press": "take spot"}, {"press": "do"}, {"click": [30.0, 20.0]},
    {"press": "do"}, {"click": [20.0, 20.0]}, {"click": [30.0, 22.0]}, {"press": "take scrape"},
    *({"drag": drag} for drag in DRAGS),
    {"drag": [[10.0, 26.0], [18.0, 26.0]], "shift": True}, {"point": [14.0, 34.1]}, {"click": [14.0, 34.1]},
    {"press": "take stone"}, {"press": "do"}, {"press": "take wipe"}, {"press": "do"},
    {"press": "take spot"}, {"press": "do"}, {"press": "do"},
]  # fmt: skip
BY_KEYS = [
    {"key": "TAB"}, {"key": "RETURN"},
    {"key": "Q"}, {"key": "2"}, {"key": "SPACE"}, {"key": "W"}, {"key": "SPACE"}, {"key": "SPACE"},
    {"key": "E"}, {"key": "N"}, {"key": "1"}, {"key": "N"}, {"key": "2", "mod": "shift"},
    {"key": "A"}, *({"key": k} for _ in range(3) for k in ("SPACE", "RIGHT", "RIGHT", "UP", "UP", "SPACE")),
    {"key": "RETURN"}, {"key": "C"}, {"key": "RETURN"},
    {"key": "S"}, {"key": "SPACE"}, {"key": "D"}, {"key": "SPACE"}, {"key": "W"}, {"key": "SPACE"}, {"key": "SPACE"},
]  # fmt: skip


@pytest.fixture
def player(tmp_path, monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")
    return begun({}, tmp_path)


def test_a_round_by_mouse_is_on_the_disk_stroke_by_stroke_and_the_next_print_differs_where_they_fell(player, tmp_path):
    player.play(BY_MOUSE[:6])
    first = player.bench.desk.session.job.face.blue_um.copy()
    player.play(BY_MOUSE[6:])
    desk = player.bench.desk
    path = desk.session.path
    wanted = fingerprint(desk.session.job)
    second = desk.session.job.face.blue_um.copy()
    player.bench.quit()
    again = Session.load(path)
    assert fingerprint(again.job) == wanted
    assert replay(path).ok
    kinds = [type(command) for command in again.commands]
    assert kinds[:2] == [RollFilm, SpotFace]
    assert kinds[-3:] == [StoneFace, WipeFace, SpotFace]
    strokes = [stroke for command in again.commands if isinstance(command, Scrape) for stroke in command.strokes]
    assert len(strokes) == 10 + 5, "ten drags, and a row of the first and four ghosts 2 mm apart"
    drawn = np.array(strokes[:10])[:, :4] / 100.0
    assert drawn == pytest.approx(np.array(DRAGS).reshape(10, 4), abs=0.07), "a pixel is 0.07 mm"
    before, after = (blue >= 0.2426 for blue in (first, second))
    cut = np.zeros_like(before)
    for x0, y0, x1, y1 in drawn:
        for t in np.linspace(0.0, 1.0, 30):
            cut[int((y0 + t * (y1 - y0)) / 0.25), int((x0 + t * (x1 - x0)) / 0.25)] = True
    assert (before & cut).sum() > 20, "strokes fell on blue"
    changed = before != after
    assert changed[cut & before].mean() > 2.0 * changed.mean()


def test_the_same_round_by_keyboard_alone(player):
    player.play(BY_KEYS)
    session = player.bench.desk.session
    kinds = [type(command).__name__ for command in session.commands]
    assert [k for k in kinds if k != "Scrape"] == ["RollFilm", "SpotFace", "StoneFace", "WipeFace", "SpotFace"]
    strokes = [s for command in session.commands if isinstance(command, Scrape) for s in command.strokes]
    assert len(strokes) == 3 + 1 + 1, "three by Space and arrows, one by Enter, one over the mark called high"
    assert player.bench.desk.dragged == [], "keys do not show the hand"
    path = session.path
    player.bench.quit()
    assert replay(path).ok


def test_what_lay_on_the_bench_is_there_again_after_it_was_closed(player, tmp_path):
    player.play(BY_MOUSE[:9])
    desk = player.bench.desk
    calls, hung, path = list(desk.calls), len(desk.hung), desk.session.path
    assert len(calls) == 2
    player.bench.quit()
    session = Session.load(path)
    again = opened(session)
    assert again.calls == calls
    assert len(again.hung) == hung == 1
    assert (again.hung[0].picture == desk.hung[0].picture).all()
    assert again.tool == "scrape"
    desk_path(path).write_text('{"settings": []}')
    bare = opened(session)
    assert bare.calls == []
    assert "could not be read" in session.notes[-1]


@pytest.mark.parametrize("cancel", ["escape", "right"])
def test_esc_or_the_right_button_during_a_drag_leaves_the_face_as_it_is(player, cancel):
    player.play([*BY_MOUSE[:6], {"press": "take scrape"}])
    job = player.bench.desk.session.job
    before, commands = fingerprint(job), len(player.bench.desk.session.commands)
    player.play([{"drag": DRAGS[0], "cancel": cancel}])
    assert fingerprint(player.bench.desk.session.job) == before
    assert len(player.bench.desk.session.commands) == commands
    player.play([{"drag": DRAGS[0]}])
    assert fingerprint(player.bench.desk.session.job) != before, "the same drag cuts when it is not thrown away"


@pytest.mark.parametrize("zoom", [0.5, 4.0])
def test_the_same_stroke_is_the_same_command_at_any_rate_and_zoom(tmp_path, zoom):
    seen = []
    for events, factor in ((2, 1.0), (12, 1.0), (500, 1.0), (2, zoom), (500, zoom)):
        folder = tmp_path / f"{events}-{factor}"
        player = begun({}, folder)
        player.play([*BY_MOUSE[:6], {"press": "take scrape"}])
        pane = player.bench.pane
        view = pane.view  # 10 px/mm at zoom 1: these places are whole pixels at 0.5 and at 4 as well
        pane.face_view, pane.zoomed = replace(view, px_per_mm=10.0 * factor, middle_mm=(30.0, 20.0)), True
        player.play([{"drag": [[26.0, 18.0], [33.2, 22.4]], "events": events}])
        session = player.bench.desk.session
        seen.append((session.commands[-1].strokes, session.job.face.height_um.tobytes()))
        player.bench.quit()
    assert all(one == seen[0] for one in seen)
    assert seen[0][0][0][:4] == (2600, 1800, 3320, 2240)


def test_a_coupons_round_takes_one_person_with_the_mouse_under_three_minutes(player, capsys):
    steps = [
        *BY_MOUSE[:6],
        *({"click": [5.0 + 5.0 * (n % 10), 8.0 + 8.0 * (n // 10)]} for n in range(20)),
        {"press": "take scrape"},
        *({"drag": drag} for drag in DRAGS),
        {"drag": DRAGS[0]},
        {"drag": DRAGS[1]},
    ]
    for take in (0.1, 0.5):  # over the high, then over the high and medium: all twenty were called high
        steps += [{"press": "take", "at": take}, {"press": "order"}, {"press": "lay"}]
    for angle in (0.3, 0.6, 0.8):
        steps += [
            {"press": "take", "at": 0.1},
            {"press": "angle_deg", "at": angle},
            {"press": "order"},
            {"press": "lay"},
        ]
    steps += BY_MOUSE[-7:]
    player.play(steps)
    job = player.bench.desk.session.job
    print(f"{player.seconds:.0f} s by hand, {job.strokes} strokes")
    assert job.strokes >= 100
    assert player.seconds < 180.0
    assert "s by hand" in capsys.readouterr().out


def test_orders_keep_to_calls_and_chalk_and_without_them_lay_nothing(player):
    player.play([*BY_MOUSE[:6], {"press": "take scrape"}, {"press": "order"}])
    desk = player.bench.desk
    assert desk.order == ()
    assert "No calls" in desk.told
    player.play([{"press": "take read"}, {"click": [20.0, 20.0]}, {"press": "take calls"}])
    assert len(desk.order) == 1
    player.play([{"key": "RETURN"}])
    stroke = np.array(desk.session.commands[-1].strokes[0][:4]) / 100.0
    hand = player.bench.hold.hand()
    middle = 0.5 * (stroke[:2] + stroke[2:])
    assert np.hypot(*(middle - (20.0, 20.0))) <= 3.0 * hand.sideways_mm + 0.1
    assert np.hypot(*(stroke[2:] - stroke[:2])) == pytest.approx(desk.settings.length_mm, rel=0.01)


def test_iron_comes_back_by_ctrl_z_in_free_practice_only(player):
    player.play([*BY_MOUSE[:6], {"press": "take scrape"}])
    desk = player.bench.desk
    before = fingerprint(desk.session.job)
    player.play([{"drag": DRAGS[0]}, {"key": "Z", "mod": "ctrl"}])
    assert fingerprint(desk.session.job) == before
    player.play([{"key": "Y", "mod": "ctrl"}])
    assert fingerprint(desk.session.job) != before
    desk.freedom = type(desk.freedom)(iron_back=False)
    after = fingerprint(desk.session.job)
    player.play([{"key": "Z", "mod": "ctrl"}])
    assert fingerprint(desk.session.job) == after
    assert "does not come back" in desk.told


def test_an_idle_bench_draws_nothing_and_a_pass_can_be_paused_and_stopped(tmp_path):
    bench = Bench(tmp_path, prefs=Prefs())
    surface = pygame.Surface((1280, 800))
    bench.draw(surface)
    assert not bench.dirty
    Events(bench).on(pygame.event.Event(pygame.ACTIVEEVENT, gain=0, state=0))
    bench.tick(5.0)
    assert not bench.dirty
    player = Player(bench, surface)
    player.play([*BY_MOUSE[:6], {"press": "take chalk"}, {"drag": [[10.0, 10.0], [40.0, 30.0]], "events": 40},
                 {"key": "F"}])  # fmt: skip
    desk, hold = bench.desk, bench.hold
    desk.add_chalk([(5.0, 5.0), (50.0, 5.0), (50.0, 35.0), (5.0, 35.0)])
    desk.take("scrape")
    desk.set(take="all in chalk")
    hold.show_order()
    count = len(desk.order)
    assert count > 60
    hold.lay_order()
    assert bench.tick(10.0)
    assert desk.passing.laid == 2
    hold.do()
    assert not bench.tick(11.0)
    hold.do()
    bench.tick(12.0)
    laid = desk.passing.laid
    hold.cancel()
    assert desk.passing is None
    assert desk.session.job.strokes == laid < count


def test_steps_that_are_none_are_refused_with_their_number(player):
    for steps, words in (([{"shout": 1}], "steps[0]"), ([{"press": "nowhere"}], "must be a widget"), ([3], "steps[0]"),
                         ([{"key": "NOKEY"}], "steps[0].key")):  # fmt: skip
        with pytest.raises(BadFile, match=words.replace("[", r"\[").replace("]", r"\]")):
            player.play(steps)


def test_the_keys_file_changes_keys_and_its_faults_are_told(tmp_path):
    (tmp_path / "keys.json").write_text(json.dumps({"take roll": "F2"}))
    bench = Bench(tmp_path, prefs=Prefs())
    assert bench.keys["F2"] == "take roll"
    assert "Q" not in bench.keys
    for told, words in (({"fly": "Q"}, "an action"), ({"hone": "Q"}, "for two"), ({"hone": "Qx"}, "place of a key")):
        (tmp_path / "keys.json").write_text(json.dumps(told))
        with pytest.raises(BadFile, match=words):
            Bench(tmp_path, prefs=Prefs())


def test_the_right_button_opens_a_menu_of_the_place_and_its_entries_act_there(player):
    player.play([*BY_MOUSE[:6], {"click": [20.0, 15.0], "button": 3}])
    desk = player.bench.desk
    assert player.bench.menu is not None
    player.play([{"press": "at call 2"}])
    assert [(c.x_mm, c.y_mm) for c in desk.calls] == [pytest.approx((20.0, 15.0), abs=0.1)]
    assert desk.calls[0].level == 2
    assert player.bench.menu is None
    player.play([{"click": [20.0, 15.0], "button": 3}, {"press": "at ring"}, {"key": "F10", "mod": "shift"}])
    assert len(desk.chalk) == 1
    assert player.bench.menu is not None
    player.play([{"key": "ESCAPE"}])
    assert player.bench.menu is None
    assert desk.tool == "read", "Esc shut the menu and nothing else"


def test_a_lesson_may_forbid_rows_orders_and_carrying_on(player):
    player.play([*BY_MOUSE[:6], {"click": [20.0, 15.0]}])
    desk = player.bench.desk
    desk.freedom = replace(desk.freedom, rows=False, orders=False, carry_on=False)
    player.play([{"press": "take calls"}])
    assert desk.order == ()
    assert "does not allow orders" in desk.told
    player.play([{"key": "K"}])
    assert desk.session.job.strokes == 0
    player.play([{"drag": DRAGS[0], "shift": True}])
    assert player.bench.hold.row is None
    assert desk.session.job.strokes == 1, "a drag with Shift is a stroke then"


def test_a_row_by_keys_alone(player):
    player.play(
        [*BY_MOUSE[:6], {"key": "A"}, {"key": "SPACE"}, {"key": "RIGHT", "times": 8}, {"key": "SPACE", "mod": "shift"}]
    )
    hold, desk = player.bench.hold, player.bench.desk
    assert hold.row is not None
    player.play([{"key": "UP", "times": 6}])
    assert len(desk.order) == 4, "the first, and three 2 mm apart"
    player.play([{"key": "SPACE"}])
    assert desk.session.job.strokes == 4
    assert hold.row is None


def test_the_view_goes_along_with_a_cursor_that_the_keys_move_out_of_it(player):
    player.play([*BY_MOUSE[:6], {"key": "A"}, {"zoom": 4.0}])
    pane, hold = player.bench.pane, player.bench.hold
    player.play([{"key": "RIGHT", "mod": "shift", "times": 6}])
    assert pane.view.covers(*pane.view.to_px(*hold.cursor_mm))


def test_no_sound_is_opened(player):
    player.play(BY_MOUSE[:6])
    assert pygame.mixer.get_init() is None


def test_two_presses_that_come_before_the_next_drawing_do_what_they_do_one_by_one(player):
    player.play(BY_MOUSE[:9])
    at = {}
    for tool in ("wipe", "stone"):
        player.play([{"press": f"take {tool}"}])
        at |= {(tool, w.id): w.rect.center for w in player.bench.group.widgets}
    assert at["wipe", "do"] != at["stone", "do"], "the button is elsewhere with the other tool in hand"
    player._pressed(at["stone", "take wipe"])
    player._pressed(at["wipe", "do"])
    assert isinstance(player.bench.desk.session.commands[-1], WipeFace)
