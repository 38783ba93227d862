"""Every page at three sizes, in both themes and larger letters: nothing clipped or overlapping, all of it to hit."""

from dataclasses import replace

import pygame
import pytest

from sim.bench.palette import contrast
from sim.bench.script import begun

SIZES = ((1280, 800), (1024, 640), (1920, 1080))
PRINTED = [{"press": "door print"}, {"press": "do"}, {"press": "take spot"}, {"press": "do"}]
LIFTED = [*PRINTED, {"press": "do"}]
CALLED = [*LIFTED, {"click": [20.0, 20.0]}, {"click": [40.0, 22.0]}, {"press": "take calls"}]
STAND = [{"press": "sample 2"}, {"key": "ESCAPE"}]
PAGES = {
    "start": [],
    "settings": [{"press": "settings"}],
    "files": [{"press": "door part"}],
    "help": [{"press": "door print"}, {"press": "help"}],
    "roller": [{"press": "door print"}],
    "plate": [{"press": "door print"}, {"press": "take spot"}],
    "on the plate": PRINTED,
    "read": LIFTED,
    "order": CALLED,
    "scraper": [*LIFTED, {"press": "take scrape"}],
    "stone": [*LIFTED, {"press": "take stone"}],
    "wipe": [*LIFTED, {"press": "take wipe"}],
    "indicator": [*LIFTED, {"key": "T"}],
    "hinge": [*LIFTED, {"key": "G"}, {"press": "do"}],
    "chalk": [*LIFTED, {"key": "F"}],
    "square": [*LIFTED, {"key": "M"}],
    "finish": [*LIFTED, {"press": "finish"}],
    "coach asked": [*LIFTED, {"press": "ask"}],
    "finish after calls": [*CALLED, {"key": "ESCAPE"}, {"press": "finish"}],
    "nothing in hand": [*LIFTED, {"key": "ESCAPE"}],
    "finish as": [*LIFTED, {"key": "ESCAPE"}, {"press": "other", "at": 0.9}],
    "files with rows": [*LIFTED, {"key": "O", "mod": "ctrl"}],
    "the stand": [*STAND],
    "finish its foot as": [*STAND, {"press": "other", "at": 0.9}],
    "its side": [*STAND, {"press": "face", "at": 0.9}, {"key": "W"}],
    "its indicator": [*STAND, {"press": "face", "at": 0.9}, {"key": "T"}, {"key": "SPACE"}],
    "its hinge": [*STAND, {"key": "G"}, {"key": "SPACE"}],
    "its finish": [*STAND, {"press": "face", "at": 0.5}, {"press": "finish"}],
}


@pytest.fixture(autouse=True)
def _without_a_window(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")


def shown(page, folder, size, **told):
    player = begun(told, folder, size)
    player.play(PAGES[page])
    return player


@pytest.mark.parametrize("page", PAGES)
def test_nothing_is_clipped_or_lies_on_something_else_and_all_can_be_hit(tmp_path, page):
    player = shown(page, tmp_path, SIZES[0])
    bench = player.bench
    for size in SIZES:
        player.play([{"resize": size}])
        assert bench.group.overlaps() == [], size
        assert bench.group.clipped(bench.ui) == [], size
        assert bench.group.targets_below(32) == [], size
        window = pygame.Rect(0, 0, *size)
        assert [w.id for w in bench.group.widgets if not window.contains(w.rect)] == [], size


@pytest.mark.parametrize("page", PAGES)
def test_larger_letters_and_smaller_windows_still_fit(tmp_path, page):
    player = shown(page, tmp_path, SIZES[0])
    bench = player.bench
    for size, scale in (((1920, 1200), 1.5), ((1280, 800), 1.5), ((800, 500), 1.0)):
        bench.prefer(replace(bench.prefs, scale=scale))
        player.play([{"resize": size}])
        assert bench.group.overlaps() == [], (size, scale)
        assert bench.group.clipped(bench.ui) == [], (size, scale)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_the_menu_lies_within_the_face_wherever_it_is_opened(tmp_path, size):
    player = shown("read", tmp_path, size)
    for place in ((1.0, 1.0), (59.0, 39.0), (30.0, 20.0)):
        player.play([{"click": list(place), "button": 3}])
        pane = player.bench.pane.rect
        entries = [w for w in player.bench.group.widgets if w.id.startswith("at ")]
        assert len(entries) == 6
        assert all(pane.contains(w.rect) for w in entries)
        player.play([{"key": "ESCAPE"}])


@pytest.mark.parametrize("page", PAGES)
def test_every_word_can_be_read_on_its_ground(tmp_path, page):
    player = shown(page, tmp_path, SIZES[0])
    bench = player.bench
    for theme in ("dark", "light"):
        bench.prefer(replace(bench.prefs, theme=theme))
        bench.ui.seen = []
        bench.draw(player.surface)
        words = [one for one in bench.ui.seen if one.string.strip()]
        assert len(words) >= 4
        faint = [
            (theme, one.string, round(contrast(one.colour, one.ground), 2))
            for one in words
            if contrast(one.colour, one.ground) < 4.5 and one.string not in "✓✕"
        ]
        assert faint == []
        bench.ui.seen = None


@pytest.mark.parametrize("page", PAGES)
def test_tab_comes_by_everything_that_can_be_pressed_once_and_back_to_the_first(tmp_path, page):
    player = shown(page, tmp_path, SIZES[0])
    group = player.bench.group
    met = []
    for _ in range(len(group.order()) + 1):
        player.play([{"key": "TAB"}])
        met.append(group.focus)
    pressable = {w.id for w in group.widgets if w.focusable and (w.enabled or w.reason)}
    assert len(met[:-1]) == len(set(met[:-1]))
    assert set(met) == pressable
    assert met[-1] == met[0]
