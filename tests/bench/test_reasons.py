"""Whatever is closed says why: under the resting pointer, at the focus, and at once when it is pressed."""

import pygame
import pytest

from sim.bench.pieces import TOOLS
from sim.bench.script import begun

CASES = [("4", "alone"), ("8", "help"), *(pytest.param(number, part, marks=pytest.mark.slow) for number in ("1", "12")
                                         for part in ("help", "alone"))]  # fmt: skip


@pytest.fixture(autouse=True)
def _without_a_window(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")


def told(player, now_s):
    """Words on the window now."""
    bench = player.bench
    bench.ui.seen = []
    bench.draw(player.surface, now_s)
    words = " ".join(one.string for one in bench.ui.seen)
    bench.ui.seen = None
    return words


def closed(player):
    player.bench.lay_out()
    return [w for w in player.bench.group.widgets if not w.enabled]


def says_why(player, known=()):
    """Every closed control of the page by pointer, by press and by Tab; which there were. `known`: were looked at."""
    found = [one for one in closed(player) if (one.id, one.reason) not in known]
    for widget in found:
        assert len(widget.reason) > 8, widget.id
        first = " ".join(widget.reason.split()[:3])
        at = widget.rect.center
        player.send(pygame.MOUSEMOTION, pos=(1, 1), rel=(0, 0), buttons=(0, 0, 0), mod=0)
        before = told(player, 0.0).count(first)
        player.send(pygame.MOUSEMOTION, pos=at, rel=(0, 0), buttons=(0, 0, 0), mod=0)
        assert told(player, 1.0).count(first) == before + 1, f"{widget.id}: rested on"
        player.send(pygame.MOUSEMOTION, pos=(1, 1), rel=(0, 0), buttons=(0, 0, 0), mod=0)
        player.send(pygame.MOUSEMOTION, pos=at, rel=(0, 0), buttons=(0, 0, 0), mod=0)
        player.send(pygame.MOUSEBUTTONDOWN, pos=at, button=1, mod=0)
        player.send(pygame.MOUSEBUTTONUP, pos=at, button=1, mod=0)
        assert told(player, 0.0).count(first) == before + 1, f"{widget.id}: pressed"
        player.send(pygame.MOUSEMOTION, pos=(1, 1), rel=(0, 0), buttons=(0, 0, 0), mod=0)
        assert told(player, 0.0).count(first) == before, f"{widget.id}: left"
        assert widget.id in [one.id for one in player.bench.group.order()]
        player.bench.group.focus_on(widget.id)
        assert told(player, 0.0).count(first) == before + 1, f"{widget.id}: in focus"
        player.bench.group.focus_on(None)
    return {(one.id, one.reason) for one in found}


@pytest.mark.parametrize(("number", "part"), CASES)
def test_every_tool_of_a_lesson_says_why_it_is_closed_and_what_of_it_is(tmp_path, number, part):
    player = begun({"start": {"lesson": number, "part": part}}, tmp_path)
    met = set()
    for tool in (None, *TOOLS):
        desk = player.bench.desk
        desk.tool = tool if tool not in desk.closed else desk.tool
        met |= says_why(player, met)
    assert met


def test_in_free_practice_too(tmp_path):
    player = begun({}, tmp_path)
    player.play([{"press": "door print"}])
    met = set()
    for tool in (None, *TOOLS):
        player.bench.desk.tool = tool
        met |= says_why(player, met)
    assert len(met) >= 3  # no calls, no chalk twice


def test_pages_of_lessons_say_why_a_part_is_closed(tmp_path):
    player = begun({"start": {"lesson": "1"}}, tmp_path)
    assert len(says_why(player)) == 1


def test_hand_over_tells_its_reason_without_being_pointed_at(tmp_path):
    player = begun({"start": {"lesson": "1", "part": "alone"}}, tmp_path)
    player.play([{"key": "ESCAPE"}])
    assert [w.id for w in closed(player) if w.id.startswith("hand over")] == ["hand over 1", "hand over 3"]
    assert "your own hand" in told(player, 0.0)


def test_a_row_that_is_not_allowed_says_so(tmp_path):
    player = begun({"start": {"lesson": "4", "part": "alone"}}, tmp_path)
    player.play([{"key": "A"}, {"drag": [[20.0, 20.0], [28.0, 20.0]], "shift": True}])
    assert player.bench.desk.told == "This lesson does not allow rows: one stroke was cut."
