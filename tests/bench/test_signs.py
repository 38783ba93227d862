"""Signs on the face: a call can be read whatever lies on it, and what a sign means stands at the foot of the face."""

import pygame
import pytest

from sim.bench.palette import CALL_FILL, WRITTEN
from sim.bench.script import begun
from sim.bench.signs import CALLS_TOLD, EXPECTED_TOLD, RING_TOLD, legend

LAID = [{"press": "door print"}, {"press": "do"}, {"press": "take spot"}, {"press": "do"}]
PLACE = [30.0, 20.0]


@pytest.fixture(autouse=True)
def _without_a_window(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")


def strokes_of(player, place):
    """Where a call and its digit have their own dark and light colours, beside a place: {pixel: colour}."""
    player.bench.draw(player.surface)
    x, y = (round(v) for v in player.bench.pane.view.to_px(*place))
    return {(dx, dy): colour for dx in range(-8, 40) for dy in range(-8, 9)
            if (colour := tuple(player.surface.get_at((x + dx, y + dy)))[:3]) in (WRITTEN, CALL_FILL)}  # fmt: skip


@pytest.mark.parametrize("cover", ("expected", "pointer", "keys"))
def test_nothing_covers_a_call_or_its_digit(tmp_path, cover):
    with_it, without = (begun({}, tmp_path / name) for name in ("with", "without"))
    for player in (with_it, without):
        told = [{"click": PLACE}] if cover == "expected" and player is with_it else []
        player.play([*LAID, *told, {"press": "do"}, {"press": "plate view"}, {"click": PLACE},
                     {"key": "1", "mod": "shift"}, {"point": [5.0, 5.0]}])  # fmt: skip
    if cover == "pointer":
        with_it.play([{"point": PLACE}])
    elif cover == "keys":
        for player in (with_it, without):
            player.play([{"key": "M"}, {"point": [5.0, 5.0]}])
            player.bench.desk.set(square_x_mm=0.0, square_y_mm=0.0)
        with_it.bench.hold.cursor_mm, with_it.bench.hold.by_key = tuple(PLACE), True
    clean, covered = strokes_of(without, PLACE), strokes_of(with_it, PLACE)
    letters = {at: colour for at, colour in clean.items() if at[0] > 10 and colour == WRITTEN}
    sign = {at: colour for at, colour in clean.items() if abs(at[0]) <= 3 and colour == CALL_FILL}
    assert len(letters) > 15
    assert len(sign) > 15
    assert {at: covered.get(at) for at in letters | sign} == letters | sign
    assert pygame.image.tobytes(with_it.surface, "RGB") != pygame.image.tobytes(without.surface, "RGB")


def test_the_digit_is_drawn_after_all_that_could_lie_on_it(tmp_path, monkeypatch):
    from sim.bench import pane

    order = []
    for name in ("expected", "pointed", "coach_ring", "call_sign", "call_word", "blade_end", "ghost", "cross"):
        one = getattr(pane, name)
        monkeypatch.setattr(pane, name, lambda *a, one=one, name=name, **k: (order.append(name), one(*a, **k)))
    player = begun({}, tmp_path)
    player.play([*LAID, {"click": PLACE}, {"press": "do"}, {"click": PLACE}, {"key": "1", "mod": "shift"}])
    player.bench.desk.lit_mm = (tuple(PLACE),)
    order.clear()
    player.bench.pane.draw(player.surface, player.bench.ui, player.bench.hold)
    assert {"expected", "coach_ring", "call_sign"} <= set(order)
    assert order[-1] == "call_word"


def test_no_tool_lies_over_the_face_before_pointer_or_keys_were_on_it(tmp_path, monkeypatch):
    drawn = []
    player = begun({}, tmp_path)
    player.play([{"press": "door print"}])
    monkeypatch.setattr(pygame.draw, "rect", lambda *a, **k: drawn.append(a[2]))
    for tool in ("roll", "read", "stone", "wipe", "chalk"):
        player.bench.desk.tool = tool
        player.bench.pane._draw_tool(player.surface, player.bench.ui, player.bench.pane.view, player.bench.hold)
    assert drawn == []
    player.bench.hold.move(30.0, 20.0)
    player.bench.pane._draw_tool(player.surface, player.bench.ui, player.bench.pane.view, player.bench.hold)
    assert len(drawn) == 2


def test_what_lies_on_the_face_is_told_at_its_foot_and_nothing_else(tmp_path):
    player = begun({}, tmp_path)
    player.play(LAID)
    desk = player.bench.desk
    assert legend(desk) == []
    player.play([{"click": PLACE}])
    assert [words for _, words in legend(desk)] == [EXPECTED_TOLD]
    player.play([{"press": "do"}, {"click": PLACE}])
    desk.lit_mm = (tuple(PLACE),)
    assert [words for _, words in legend(desk)] == [EXPECTED_TOLD, RING_TOLD, CALLS_TOLD]
    desk.lit_mm = ()
    player.bench.ui.seen = []
    player.bench.draw(player.surface)
    assert EXPECTED_TOLD in [one.string for one in player.bench.ui.seen]
    player.play([{"key": "A"}])
    assert [words for _, words in legend(desk)] == [CALLS_TOLD]
