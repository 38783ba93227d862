"""The page of keys lists every key of every page, and no other: it is held against the tables that answer to keys."""

import inspect
import re

import pygame
import pytest

from sim.bench import controls, drill_room, events, lesson_room
from sim.bench.events import Events
from sim.bench.key_page import ANYWHERE, FIXED, PLACE_OF, PLACES, TOGETHER, key_lines
from sim.bench.keys import CTRL, KEYS, TOLD, read_keys, sign_of
from sim.bench.script import begun
from sim.bench.signs import SIGNS


@pytest.fixture(autouse=True)
def _without_a_window(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")


@pytest.fixture
def keys(tmp_path):
    return read_keys(tmp_path / "none.json")


def named(place):
    """Names of the fixed keys that a place tells of."""
    return {name for _, names, _ in FIXED.get(place, ()) for name in names}


def names_in(*codes):
    """What pygame calls these keys, those of the number block by what they stand for."""
    pygame.display.init()
    return {pygame.key.name(code).strip("[]").replace("enter", "return") for code in codes}


def test_every_action_is_told_once_with_its_key(keys):
    assert set(TOLD) == set(KEYS)
    told = key_lines("bench", keys) + key_lines("everywhere", keys)
    words = " ".join(sign for sign, _ in told).split()
    assert [action for action, place in KEYS.items() if sign_of(place) not in words] == []
    said = " ".join(words_of for _, words_of in told)
    assert [action for action, words_of in TOLD.items() if words_of not in said] == []
    assert set(ANYWHERE) | {one for pair in TOGETHER for one in pair} <= set(KEYS)


def test_a_key_that_was_changed_is_told_as_it_is_now(tmp_path):
    (tmp_path / "keys.json").write_text('{"hone": "F5"}')
    lines = dict(key_lines("bench", read_keys(tmp_path / "keys.json")))
    assert lines["F5"] == TOLD["hone"]
    assert "H" not in lines


def test_every_key_with_ctrl_is_told_and_no_other(tmp_path, keys):
    player = begun({}, tmp_path)
    player.play([{"press": "door print"}])
    assert set(Events(player.bench).ctrl_acts()) == set(CTRL)
    signs = " ".join(sign for sign, _ in key_lines("everywhere", keys) if sign.startswith("Ctrl+"))
    assert all({"return": "Enter", "-": "−"}.get(key, key.upper()) in signs for key in CTRL)


def test_tab_and_the_keys_of_the_controls_are_told():
    wanted = {code for kind in (controls.Button, controls.Toggle, controls.Radio, controls.Slider)
              for code in kind.keys}  # fmt: skip
    paged = {"page up", "page down"}  # in the words beside Home and End
    assert names_in(pygame.K_TAB, pygame.K_ESCAPE, *wanted) - paged - {"up", "down"} <= named("everywhere")
    assert "PgUp" in " ".join(words for _, _, words in FIXED["everywhere"])


def test_the_keys_of_the_drills_are_told():
    tables = {*drill_room.ON, *drill_room.BEYOND, *drill_room.TURNS, *controls.FORWARD, *controls.DIGITS}
    source = inspect.getsource(drill_room.DrillRoom.key)
    tables |= {getattr(pygame, name) for name in re.findall(r"pygame\.(K_\w+)", source)}
    assert {one.replace("+", "=") for one in names_in(*tables, pygame.K_ESCAPE)} == named("drills")


def test_the_keys_of_the_lessons_are_told():
    assert {str(n) for n in range(1, len(lesson_room.DIGIT_PARTS) + 1)} <= named("lessons")
    assert {"space", "escape", "return", "up", "down"} <= named("lessons")


def test_the_keys_of_the_bench_that_are_no_actions_are_told():
    assert names_in(*events.ARROWS) | {str(n) for n in range(7)} <= named("bench")


@pytest.mark.parametrize("size", ((1280, 800), (1920, 1080)), ids=str)
def test_no_line_of_the_page_is_cut(tmp_path, size):
    player = begun({}, tmp_path, size)
    player.play([{"press": "door print"}, {"key": "F1"}])
    for n, place in enumerate(PLACES):
        player.play([{"press": "help place", "at": (n + 0.5) / len(PLACES)}])
        told = [w.string for w in player.bench.group.widgets if w.id.startswith("key ")]
        assert player.bench.help_at == place
        assert len(told) == 2 * len(key_lines(place, player.bench.keys))
        assert [one for one in told if one.endswith("…")] == []


@pytest.mark.parametrize(("page", "place"), [
    ([], "everywhere"), ([{"press": "door lessons"}], "lessons"), ([{"press": "door print"}], "bench"),
    ([{"press": "door lessons"}, {"press": "open lesson"}], "lessons"), ([{"press": "settings"}], None),
])  # fmt: skip
def test_f1_shows_the_keys_of_the_place_and_esc_goes_back_to_it(tmp_path, page, place):
    player = begun({}, tmp_path)
    player.play(page)
    before = player.bench.page
    player.play([{"key": "F1"}])
    if place is None:
        assert player.bench.page == before  # from a page that is gone back from, one goes back first
        return
    assert (player.bench.page, player.bench.help_at) == ("help", place)
    player.play([{"key": "ESCAPE"}])
    assert player.bench.page == before


def test_f1_answers_where_a_field_has_the_focus_too(tmp_path):
    player = begun({}, tmp_path)
    player.play([{"press": "door print"}, {"key": "M"}, {"press": "counted"}, {"type": "7"}, {"key": "F1"}])
    assert player.bench.page == "help"
    player.play([{"key": "ESCAPE"}])
    assert (player.bench.page, player.bench.desk.settings.counted) == ("bench", "7")


def test_every_page_but_those_that_are_left_again_has_a_place():
    assert set(lesson_room.PAGES) | {"bench", "finish", "drills"} == set(PLACE_OF)
    assert set(PLACE_OF.values()) < set(PLACES)


def test_the_signs_on_the_iron_are_told(keys):
    assert key_lines("signs", keys) == list(SIGNS)
    assert {"◇", "▲ 1", "1!"} <= {sign for sign, _ in SIGNS}
