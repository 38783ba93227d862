"""What is said while working comes from what a shop shows: a bench that cannot look at the heights says the same."""

import numpy as np
import pytest

from sim.bench.inhand import preview
from sim.bench.script import begun
from sim.process.stroke import Iron
from sim.shop.job import Job
from tests.bench.test_layout import PAGES

HIDDEN = {"height_um", "burr_um", "chips", "scored", "warm_k"}
WORKING = sorted(one for one in PAGES if "finish" not in one)


class Blind:
    """A face of which only the blue, the outline and the size can be seen."""

    def __init__(self, face) -> None:
        self._face = face

    def __getattr__(self, name):
        assert name not in HIDDEN, f"{name} was looked at"
        return getattr(self._face, name)


@pytest.fixture(autouse=True)
def _without_a_window(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")


def said(bench):
    """Everything that the widgets of a page tell, hints and reasons with it."""
    bench.lay_out()
    words = ("label", "string", "sub", "hint", "reason", "text", "caption", "enabled")
    return [(w.id, *(str(getattr(w, name, "")) for name in words)) for w in bench.group.widgets]


@pytest.mark.parametrize("page", WORKING)
def test_no_label_hint_or_reason_looks_at_the_heights(tmp_path, monkeypatch, page):
    bench = begun({}, tmp_path).bench
    player = begun({}, tmp_path)
    player.play(PAGES[page])
    bench = player.bench
    seen = said(bench)
    monkeypatch.setattr(Job, "face", property(lambda job: Blind(job.part.faces[job.in_hand])))
    assert said(bench) == seen
    assert any(len(one) > 1 for one in seen)


def test_the_blind_face_is_blind(tmp_path, monkeypatch):
    player = begun({}, tmp_path)
    player.play(PAGES["read"])
    monkeypatch.setattr(Job, "face", property(lambda job: Blind(job.part.faces[job.in_hand])))
    with pytest.raises(AssertionError, match="height_um was looked at"):
        player.bench.finish()
    assert player.bench.desk.sight.marked.any()


def test_the_preview_of_the_cut_knows_blade_push_and_edge_and_nothing_else(tmp_path):
    """Design page, computed: R 60, 70 and 95 N balance at 3.4 and 5.0 um; R 90, 150 N at 6.7; R 120, 250 N at 10.

    What is taken is less by the least chip, 0.3 of an edge of 4 um, as a stroke on flat iron shows (test_stroke.py).
    """
    for blade, push_n, depth_um in (
        ("fine", 70.0, 3.4),
        ("fine", 95.0, 5.0),
        ("semi", 150.0, 6.7),
        ("rough", 250.0, 10.0),
    ):
        depth, wide = preview(blade, push_n, Iron().honed_um)
        assert depth + 0.3 * 4.0 == pytest.approx(depth_um, rel=0.03)
        assert wide > 0.5
    shown = []
    for seed in (1, 2):
        player = begun({"seed": seed}, tmp_path / str(seed))
        player.play([{"press": "door print"}, {"press": "take scrape"}])
        for at in ((5.0, 5.0), (50.0, 30.0)):
            player.play([{"point": list(at)}])
            shown.append(next(one for one in said(player.bench) if one[0] == "cut"))
    assert len(set(shown)) == 1, "the same on any face, and anywhere on it"


def test_an_uncovered_square_is_counted_and_shuts_when_it_is_moved(tmp_path):
    player = begun({}, tmp_path)
    player.play([*PAGES["read"], {"press": "uncover"}])
    desk = player.bench.desk
    assert (desk.uncovered, desk.bared) == (1, True)
    box = player.bench.pane.view
    x, y = (round(v) for v in box.to_px(desk.settings.square_x_mm + 12.7, desk.settings.square_y_mm + 12.7))
    inside = np.array(player.surface.get_at((x, y))[:3], int)
    player.play([{"click": [15.0, 15.0]}])
    assert (desk.uncovered, desk.bared) == (1, False)
    assert (np.array(player.surface.get_at((x, y))[:3], int) != inside).any()
    player.bench.desk.freedom = type(desk.freedom)(uncover=False)
    player.play([{"key": "U"}])
    assert (desk.uncovered, desk.bared) == (1, False)
    assert "Heights stay covered" in desk.told
