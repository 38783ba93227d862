"""The drills in the window: pointer and keys say the same, truth comes after the answer, what was given is kept."""

import io
import json
import os
import sys
import time
from dataclasses import asdict, replace

import numpy as np
import pygame
import pytest

from sim import paths
from sim.bench.drills import in_signs
from sim.bench.palette import contrast
from sim.bench.script import begun, read_script
from sim.bench.shown import Shown, enlarged
from sim.bench.window import loop
from sim.books.record import Record
from sim.cli import main
from sim.errors import BadParam, CannotWrite
from sim.school import making
from sim.school.item import Item
from sim.school.kinds import make_item
from sim.school.making import AtOnce, InChild, serve
from sim.school.sitting import LINE
from sim.school.today import Wanted
from sim.school.view import CONDITIONS
from tests.bench.drill_items import FACTS, MINE, OTHERWISE, Handed, Hours, kept, made_up, seated

DOOR = {"press": "door minutes"}
BY_POINTER = {
    "highest": [{"click": 2}],
    "order": [{"click": 2}, {"click": 1}, {"click": 3}, {"press": "drill answer"}],
    "film": [{"press": "drill slide 0", "at": 0.5}, {"press": "drill pick 1 3"}, {"press": "drill answer"}],
    "form": [{"press": "drill pick 0 1"}],
    "count": [{"press": "drill slide 0"}, {"press": "drill slide 1"}, {"press": "drill answer"}],
    "direction": [{"drag": [[17.0, 12.0], [31.0, 20.083]]}, {"drag": [[31.0, 20.083], [17.0, 12.0]]},
                  {"press": "drill answer"}],
    "mark": [{"click": 1}, {"click": 2}, {"click": 3}, {"click": 3}, {"click": 10}, {"click": 12},
             {"press": "drill answer"}],
}  # fmt: skip
ENTER = {"key": "RETURN"}
BY_KEYS = {
    "highest": [{"key": "2"}],
    "order": [{"key": "2"}, {"key": "3"}, {"key": "BACKSPACE"}, {"key": "1"}, {"key": "3"}, ENTER],
    "film": [{"type": "2.2"}, ENTER, {"key": "4"}, ENTER],
    "form": [{"key": "2"}],
    "count": [{"type": "60"}, ENTER, {"type": "50 %"}, ENTER],
    "direction": [{"key": "RIGHT", "times": 6}, {"key": "RIGHT", "mod": "shift", "times": 6},
                  {"key": "LEFT", "mod": "shift"}, ENTER, {"key": "UP", "times": 3}, ENTER],
    "mark": [{"key": "1"}, {"key": "2"}, {"key": "0"}, {"key": "EQUALS"}, ENTER],
}  # fmt: skip
BY_TAB = {
    "highest": [{"key": "TAB", "times": 2}, {"key": "RIGHT"}, ENTER],
    "order": [{"key": "TAB", "times": 2}, {"key": "RIGHT"}, {"key": "SPACE"}, {"key": "LEFT"}, {"key": "SPACE"},
              {"key": "TAB", "times": 3}, {"key": "SPACE"}, {"key": "TAB"}, {"key": "SPACE"}],
    "form": [{"key": "TAB", "times": 3}, {"key": "SPACE"}],
}  # fmt: skip
QUICK = tuple(FACTS)


@pytest.fixture(autouse=True)
def _without_a_window(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")


def words_of(player):
    """Everything that the widgets of the page say, hints and reasons with it."""
    player.bench.lay_out()
    names = ("label", "string", "sub", "key", "hint", "reason", "text", "empty", "choices")
    return "\n".join(str(getattr(w, name, "")) for w in player.bench.group.widgets for name in names)


def what_counts(folder):
    """What the record has of the answers, but for when and how fast."""
    return [(a.kind, a.level, a.family, a.right, a.loss, a.chance, a.seed) for a in kept(folder)]


@pytest.mark.parametrize("kind", QUICK)
def test_pointer_and_keys_give_the_same_answer_of_every_form_to_the_record(tmp_path, kind):
    for name, steps in (("pointer", BY_POINTER), ("keys", BY_KEYS), ("tab", BY_TAB)):
        if kind not in steps:
            continue
        player = seated(tmp_path / name, kind)
        player.play([DOOR])
        item = player.bench.drilling.drills.item
        player.play(steps[kind])
        assert what_counts(tmp_path / name) == [
            (kind, 1, item.family, item.right(MINE[kind]), item.loss(MINE[kind]), item.chance_of(MINE[kind]), item.seed)
        ], name
        assert item.loss(MINE[kind]) > 0.0, "an answer that could not have been given by the truth itself"


HIDDEN = {"truth", "parts", "loss", "told", "why", "places", "right", "chance", "chance_of", "blind", "counts"}


class Sealed:
    """An item whose truth may be asked for only after it was opened."""

    def __init__(self, item: Item):
        self.item, self.open = item, False

    def __getattr__(self, name):
        assert self.open or name not in HIDDEN, f"{name} was looked at before the answer"
        return getattr(self.item, name)


@pytest.mark.parametrize("kind", QUICK)
def test_truth_is_nowhere_on_the_page_before_the_answer_and_told_at_once_after_it(tmp_path, kind):
    player = seated(tmp_path, kind, Handed(change=Sealed))
    player.play([DOOR])
    player.play(BY_POINTER[kind][:-1])  # all but what gives the answer
    item = player.bench.drilling.drills.item
    before = words_of(player)
    with pytest.raises(AssertionError, match="looked at before the answer"):
        item.told(MINE[kind])
    item.open = True
    told = item.told(MINE[kind])
    assert in_signs(told.sentence) not in before
    assert "Right" not in before.replace("the right", "")
    player.play(BY_POINTER[kind][-1:])
    after = words_of(player)
    assert in_signs(told.sentence) in after
    assert f"{'✓' if told.right else '✕'} {told.verdict}" in after
    assert all(part.words in after for part in item.parts(MINE[kind]))
    shown = next(w for w in player.bench.group.widgets if isinstance(w, Shown))
    assert (shown.lit, shown.edges) == (told.places_mm, told.edges_mm)


@pytest.mark.parametrize("kind", QUICK)
def test_two_items_that_differ_in_their_truth_alone_look_the_same_until_the_answer(tmp_path, kind):
    looks = {}
    for name, facts in (("one", FACTS), ("other", OTHERWISE)):
        player = seated(tmp_path / name, kind, Handed(facts))
        player.play([DOOR])
        before = pygame.surfarray.array3d(player.surface)
        player.play(BY_POINTER[kind])
        looks[name] = before, pygame.surfarray.array3d(player.surface)
    assert (looks["one"][0] == looks["other"][0]).all()
    assert (looks["one"][1] != looks["other"][1]).any()


def test_the_picture_before_the_answer_is_the_items_picture(tmp_path):
    item = make_item("highest", 3, 7)
    player = seated(tmp_path, "highest", Handed(change=lambda _: make_item("highest", 3, 7)))
    player.play([DOOR])
    shown = next(w for w in player.bench.group.widgets if isinstance(w, Shown))
    assert (shown.picture.rgb == item.pictures[0].rgb).all()
    high, wide = item.pictures[0].rgb.shape[:2]
    same = pygame.surfarray.array3d(enlarged(item.pictures[0], (wide, high)))
    assert (same.swapaxes(0, 1) == item.pictures[0].rgb).all()
    there = pygame.surfarray.array3d(player.surface.subsurface(shown.rect)).astype(int)
    drawn = pygame.surfarray.array3d(enlarged(item.pictures[0], shown.rect.size)).astype(int)
    differs = (there != drawn).any(axis=2)
    for _, _, box in shown.chips:
        near = box.move(-shown.rect.left, -shown.rect.top).inflate(90, 90)
        differs[max(near.left, 0) : near.right, max(near.top, 0) : near.bottom] = False
    assert not differs.any(), "beside the numbers of the places nothing is drawn over it"


def test_a_picture_made_larger_keeps_its_tones_and_its_places(tmp_path):
    wanted = Wanted("highest", 1, 5, CONDITIONS[0])
    flat = made_up(wanted, FACTS["highest"]).pictures[0]
    flat.rgb[:] = 131
    assert (pygame.surfarray.array3d(enlarged(flat, (280, 240))) == 131).all()
    flat.rgb[40:56, 28:40] = 60
    large = pygame.surfarray.array3d(enlarged(flat, (224, 192)))
    assert (large[60:76, 84:108] == 60).all()
    assert (large[:50] == 131).all()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")
def test_an_answer_is_on_the_record_when_the_window_is_killed_right_after_it(tmp_path):
    child = os.fork()
    if not child:
        player = seated(tmp_path, "highest")
        player.play([DOOR, {"key": "2"}])
        os.kill(os.getpid(), 9)
    assert os.waitpid(child, 0)[1] == 9
    assert [(a.kind, a.right) for a in kept(tmp_path)] == [("highest", False)]


def test_the_time_to_answer_is_that_from_the_picture_to_the_answer_and_waiting_is_not_of_the_five_minutes(tmp_path):
    hours, maker = Hours(), Handed()
    maker.late = True
    player = seated(tmp_path, "highest", maker, hours=hours)
    bench = player.bench
    player.play([DOOR])
    assert bench.drilling.drills.item is None
    hours.s += 60.0
    assert "5 min 00 s left" in words_of(player)
    maker.late = False
    assert bench.drilling.tick(bench.group)
    assert bench.drilling.drills.sat.remaining_s == 300.0
    hours.s += 3.25
    player.play([{"key": "1"}])
    bench.drilling.tick(bench.group)
    maker.late = True
    hours.s += 20.0  # told: this is the learner's own time
    player.play([ENTER])
    assert bench.drilling.drills.item is not None, "it was made while the answer was told"
    hours.s += 9.0
    player.play([{"key": "1"}, ENTER])
    assert [(a.seconds, a.within) for a in kept(tmp_path)] == [(3.25, True), (9.0, False)]
    assert bench.drilling.drills.sat.remaining_s == pytest.approx(300.0 - 32.25)


def test_enter_and_space_go_on_and_a_key_that_is_held_down_gives_no_second_answer(tmp_path):
    player = seated(tmp_path, "count")
    player.play([DOOR, {"type": "20"}, ENTER, {"type": "15"}])
    for _ in range(9):
        player.send(pygame.KEYDOWN, key=pygame.K_RETURN, mod=0, scancode=0, unicode="")
    drills = player.bench.drilling.drills
    assert (drills.shown, drills.told is None, len(kept(tmp_path))) == (1, False, 1)
    player.send(pygame.KEYUP, key=pygame.K_RETURN, mod=0, scancode=0)
    player.play([{"key": "SPACE"}])
    assert (drills.shown, drills.told) == (2, None)
    player.play([{"type": "20"}, ENTER, {"type": "15"}, ENTER, ENTER])
    assert (drills.shown, len(kept(tmp_path))) == (3, 2)


def test_what_is_no_number_is_said_and_not_kept_and_typed_units_are_understood(tmp_path):
    player = seated(tmp_path, "film")
    drills = (player.play([DOOR, {"type": "3,5"}, ENTER]), player.bench.drilling.drills)[1]
    assert "decimal point" in words_of(player)
    player.play([{"key": "BACKSPACE", "times": 3}, {"type": "30"}, ENTER])
    assert "0.5 to 10 µm, got 30" in words_of(player)
    assert drills.picked == [None, None]
    player.play([{"key": "BACKSPACE", "times": 2}, {"type": "0.1 thou"}, ENTER, ENTER])
    assert drills.picked[0] == pytest.approx(2.54)
    assert (drills.told, kept(tmp_path)) == (None, []), "half an answer is none"


def test_after_twentyfour_items_it_is_said_that_the_day_is_done_and_there_is_no_more(tmp_path):
    player = seated(tmp_path, ("highest", "form"))
    player.play([DOOR])
    drills = player.bench.drilling.drills
    for _ in range(24):
        assert not drills.ended
        player.send(pygame.KEYDOWN, key=pygame.K_1, mod=0, scancode=0, unicode="")
        player.send(pygame.KEYUP, key=pygame.K_1, mod=0, scancode=0)
        player.send(pygame.KEYDOWN, key=pygame.K_RETURN, mod=0, scancode=0, unicode="")
        player.send(pygame.KEYUP, key=pygame.K_RETURN, mod=0, scancode=0)
    assert drills.ended
    said = words_of(player)
    assert "Done for today: 24 items" in said
    assert LINE in said
    rows = {row.kind: row for row in drills.summary()}
    answers = kept(tmp_path)
    assert {k: (r.right, r.of) for k, r in rows.items()} == {
        k: (sum(a.right for a in answers if a.kind == k), sum(a.kind == k for a in answers)) for k in rows
    }
    assert sum(row.of for row in rows.values()) == 24
    assert f"{rows['highest'].right} of {rows['highest'].of}" in said
    player.play([ENTER])
    assert player.bench.page == "start"
    player.play([DOOR])
    assert "Done for today: 24 items" in words_of(player)
    player.play([{"key": "1"}, {"key": "ESCAPE"}])
    assert (player.bench.page, len(kept(tmp_path))) == ("start", 24)


def test_when_the_five_minutes_are_over_the_question_that_is_open_is_the_last(tmp_path):
    hours = Hours()
    player = seated(tmp_path, "highest", hours=hours)
    player.play([DOOR])
    assert "5 min 00 s left" in words_of(player)
    hours.s = 199.0
    assert "1 min 50 s left" in words_of(player)
    hours.s = 301.0
    assert "time is over: this last one still counts" in words_of(player)
    player.play([{"key": "1"}])
    assert words_of(player).count("time is over") == 1
    assert "still counts" not in words_of(player)
    player.play([ENTER])
    assert "The five minutes are over." in words_of(player)
    assert len(kept(tmp_path)) == 1


def test_esc_throws_a_direction_away_that_is_being_drawn_and_only_then_leaves(tmp_path):
    maker = Handed()
    player = seated(tmp_path, "direction", maker)
    player.play([DOOR])
    bench = player.bench
    shown = next(w for w in bench.group.widgets if isinstance(w, Shown))
    player.send(pygame.MOUSEBUTTONDOWN, pos=shown.rect.center, button=1, mod=0)
    player.send(pygame.KEYDOWN, key=pygame.K_ESCAPE, mod=0, scancode=0, unicode="")
    player.send(pygame.KEYUP, key=pygame.K_ESCAPE, mod=0, scancode=0)
    assert bench.page == "drills"
    player.send(pygame.MOUSEMOTION, pos=shown.rect.topleft, rel=(0, 0), buttons=(1, 0, 0), mod=0)
    player.send(pygame.MOUSEBUTTONUP, pos=shown.rect.center, button=1, mod=0)
    assert bench.drilling.drills.picked == [None, None]
    player.play([{"key": "ESCAPE"}])
    assert (bench.page, maker.closed, kept(tmp_path)) == ("start", True, [])


def test_an_answer_that_cannot_be_written_is_said_and_can_be_given_again(tmp_path, monkeypatch):
    player = seated(tmp_path, "highest")
    player.play([DOOR])

    def full(record, answer):
        raise CannotWrite("record.sqlite3: no space left on the disk")

    with monkeypatch.context() as patched:
        patched.setattr(Record, "add_answer", full)
        player.play([{"key": "2"}])
        assert "no space left" in words_of(player)
    assert kept(tmp_path) == []
    player.play([{"key": "1"}])
    assert [a.right for a in kept(tmp_path)] == [True]


def test_a_face_that_cannot_be_found_is_passed_over_and_after_three_it_is_said(tmp_path):
    class Barren(Handed):
        asked = 0

        def made(self):
            if self.wanted is not None:
                self.asked += 1
                if self.asked in self.fails:
                    raise BadParam("no marks on 24 coupons differ as level 1 asks")
            return super().made()

    maker = Barren()
    maker.fails = {1, 2}
    player = seated(tmp_path / "one", "highest", maker)
    player.play([DOOR, {"key": "1"}])
    assert len(kept(tmp_path / "one")) == 1
    maker = Barren()
    maker.fails = {2, 3, 4}
    player = seated(tmp_path / "two", "highest", maker)
    player.play([DOOR, {"key": "1"}])
    assert "✓ Right" in words_of(player), "what is true is told first"
    player.play([ENTER])
    assert "No further face could be drawn" in words_of(player)


# ---------------------------------------------------------------- who practises


def test_the_learner_is_switched_by_pointer_or_keys_and_answers_are_his(tmp_path):
    player = seated(tmp_path, "highest")
    bench = player.bench
    assert bench.drilling.learners() == (["learner"], 0)
    assert not (tmp_path / "record.sqlite3").exists(), "nothing is made before it is needed"
    for name in ("Anna", "Ben"):
        player.play([{"press": "new learner"}, {"type": name}, ENTER])
    assert bench.drilling.learners() == (["Anna", "Ben"], 1)
    player.play([DOOR, {"key": "1"}, {"key": "ESCAPE"}, {"press": "learner", "at": 0.2}])
    assert bench.drilling.learners() == (["Anna", "Ben"], 0)
    player.play([DOOR, {"key": "2"}, ENTER, {"key": "3"}, {"key": "ESCAPE"}])
    bench.quit()
    with Record.open(tmp_path) as record:
        assert record.current() == "Anna"
        assert [len(record.answers(learner=name)) for name in ("Anna", "Ben")] == [2, 1]
    again = seated(tmp_path, "highest")
    again.bench.lay_out()
    ids = [w.id for w in again.bench.group.order()]
    again.play([{"key": "TAB", "times": ids.index("learner") + 1}, {"key": "RIGHT"}])
    assert again.bench.drilling.learners() == (["Anna", "Ben"], 1)
    again.play([{"key": "TAB"}, {"type": "Cara"}, ENTER])
    assert again.bench.drilling.learners() == (["Anna", "Ben", "Cara"], 2)


def test_a_class_of_twenty_is_a_list_of_which_one_click_takes_a_name(tmp_path):
    with Record.open(tmp_path) as record:
        for n in range(20):
            record.switch(f"pupil {n:02d}")
    player = seated(tmp_path, "highest")
    player.bench.draw(player.surface)
    listing = next(w for w in player.bench.group.widgets if w.id == "learner")
    assert listing.rows[19] == "● pupil 19"
    player.send(pygame.MOUSEMOTION, pos=listing.rect.center, rel=(0, 0), buttons=(0, 0, 0), mod=0)
    player.send(pygame.MOUSEWHEEL, x=0, y=13)
    seen = next(w for w in player.bench.group.widgets if w.id == "learner")
    at = seen.first
    player._pressed((seen.rect.centerx, seen.rect.top + seen.rect.height // 4))
    assert player.bench.drilling.learners()[1] == at < 18
    assert player.bench.group.overlaps() == []


def test_a_name_that_is_not_allowed_is_said_and_a_record_that_cannot_be_read_shuts_no_other_door(tmp_path):
    player = seated(tmp_path / "one", "highest")
    player.play([{"press": "new learner"}, {"type": "x" * 61}, ENTER])
    assert "60" in words_of(player)
    assert player.bench.drilling.learners() == (["learner"], 0)
    folder = tmp_path / "two"
    folder.mkdir()
    (folder / "record.sqlite3").mkdir()
    player = seated(folder, "highest")
    player.play([DOOR])
    assert player.bench.page == "start"
    assert "record.sqlite3" in words_of(player)
    player.play([{"press": "door print"}])
    assert player.bench.page == "bench"
    spoilt = tmp_path / "three"
    spoilt.mkdir()
    (spoilt / "record.sqlite3").write_bytes(b"no record at all" * 100)
    player = seated(spoilt, "highest")
    player.bench.draw(player.surface)
    assert "record-damaged-" in words_of(player)
    player.play([DOOR, {"key": "1"}])
    assert len(kept(spoilt)) == 1


# ---------------------------------------------------------------- what is seen


SIZES = (((1280, 800), 1.5, "dark"), ((1024, 640), 1.0, "light"), ((800, 500), 1.0, "dark"))


def fits(player):
    """Faults of the page as it is laid out now."""
    group, size = player.bench.group, player.bench.size
    window = pygame.Rect(0, 0, *size)
    return [*group.overlaps(), *group.clipped(player.bench.ui),
            *(w.id for w in group.widgets if not window.contains(w.rect))]  # fmt: skip


@pytest.mark.parametrize("kind", QUICK)
def test_every_question_and_every_answer_fits_and_can_be_hit_and_read(tmp_path, kind):
    player = seated(tmp_path, kind, size=(1024, 640))
    bench = player.bench
    for steps in ([DOOR], BY_POINTER[kind]):
        player.play(steps)
        for size, scale, theme in SIZES:
            bench.prefer(replace(bench.prefs, scale=scale, theme=theme))
            player.play([{"resize": size}])
            assert fits(player) == [], size
            assert size[0] < 1024 or bench.group.targets_below(32) == [], size
            bench.ui.seen = []
            bench.draw(player.surface)
            seen, bench.ui.seen = bench.ui.seen, None
            assert [one.string for one in seen if contrast(one.colour, one.ground) < 4.5] == [], size
        player.play([{"resize": (1024, 640)}])


def test_numbers_stand_beside_their_places_and_cover_neither_each_other_nor_another_place(tmp_path):
    player = seated(tmp_path, "mark")
    player.play([DOOR])
    shown = next(w for w in player.bench.group.widgets if isinstance(w, Shown))
    boxes = [box for _, _, box in shown.chips]
    assert len(boxes) == 12
    assert all(shown.rect.contains(box) for box in boxes)
    assert not any(a.colliderect(b) for n, a in enumerate(boxes) for b in boxes[:n])
    assert not any(box.collidepoint(at) for box in boxes for _, at, _ in shown.chips)


# ---------------------------------------------------------------- who makes the items


WANTED = Wanted("highest", 2, 41, CONDITIONS[4])


def fetched(maker, within_s=20.0):
    late = time.monotonic() + within_s
    while time.monotonic() < late:
        item = maker.made()
        if item is not None:
            return item
        time.sleep(0.01)
    raise AssertionError("no item came")


def test_what_a_child_sends_is_put_together_to_the_same_item(tmp_path, monkeypatch):
    item = made_up(WANTED, FACTS["highest"])
    monkeypatch.setattr(making, "make_item", lambda *_: item)
    monkeypatch.setattr(making, "warm", lambda _: None)
    told = io.BytesIO()
    serve(io.BytesIO(json.dumps(asdict(WANTED)).encode() + b"\n"), told)
    (tmp_path / "told").write_bytes(told.getvalue())
    play = "import sys; sys.stdin.readline(); sys.stdout.buffer.write(open(sys.argv[1], 'rb').read())"
    maker = InChild((sys.executable, "-S", "-c", play, str(tmp_path / "told")))
    maker.ask(WANTED)
    got = fetched(maker)
    maker.close()
    assert (got.kind, got.level, got.seed, got.condition, got.facts) == ("highest", 2, 41, CONDITIONS[4], item.facts)
    assert (got.pictures[0].rgb == item.pictures[0].rgb).all()
    assert (got.pictures[0].plane == item.pictures[0].plane).all()
    assert got.pictures[0].caption == item.pictures[0].caption


@pytest.mark.parametrize("words", ["pass", "import sys; sys.stdin.readline(); print('{', flush=True)", None])
def test_a_child_that_has_gone_is_done_without(monkeypatch, words):
    monkeypatch.setattr(making, "make_item", lambda kind, level, seed, condition: made_up(WANTED, FACTS[kind]))
    maker = InChild((sys.executable, "-S", "-c", words) if words else ("/no/such/program",))
    for _ in range(2):
        maker.ask(WANTED)
        assert fetched(maker).facts == FACTS["highest"]
    maker.close()


def test_the_window_wakes_by_itself_when_the_next_face_is_made_and_draws_once_for_it(tmp_path):
    hours, maker, waits, drawn = Hours(), Handed(), [], []
    maker.late = True
    player = seated(tmp_path, "highest", maker, hours=hours)
    bench = player.bench
    bench.said("door minutes", True)

    def events(wait_s):
        waits.append(wait_s)
        hours.s += 0.1
        maker.late = len(waits) < 3
        return [pygame.event.Event(pygame.QUIT)] if len(waits) == 6 else []

    loop(bench, lambda: player.surface, events=events, flip=lambda: drawn.append(bench.drilling.drills.item),
         now_s=hours.seconds)  # fmt: skip
    assert [item is not None for item in drawn] == [False, True]
    assert all(wait_s <= 0.2 for wait_s in waits[:3]), "it looks again soon while it waits"
    assert all(2.0 < wait_s < 11.0 for wait_s in waits[3:]), "and then only for the clock on the page"


@pytest.mark.slow
def test_the_script_of_the_readme_plays_to_its_end(tmp_path):
    path = paths.assets() / "bench" / "drills.json"
    told = read_script(path)
    player = begun(told, tmp_path)
    player.shots = tmp_path
    player.play(told["steps"])
    assert player.bench.drilling.drills.ended
    answers = kept(tmp_path)
    assert [(kind, sum(a.kind == kind for a in answers)) for kind in dict.fromkeys(a.kind for a in answers)] == [
        ("highest", 5), ("mark", 5), ("form", 5), ("count", 5), ("film", 1)]  # fmt: skip
    assert all(a.within for a in answers), "as fast as the script says, not as fast as it is played"
    assert answers[0].when.startswith("2026-03-22T07:00:")


@pytest.mark.slow
def test_a_real_child_makes_the_items_that_are_made_here():
    maker, alone = InChild(), AtOnce()
    for kind in ("highest", "form", "mark"):
        wanted = Wanted(kind, 2, 77, CONDITIONS[7])
        maker.ask(wanted)
        alone.ask(wanted)
        there, here = fetched(maker, 300.0), alone.made()
        assert there.facts == here.facts
        assert all(np.array_equal(a.rgb, b.rgb) for a, b in zip(there.pictures, here.pictures, strict=True))
    maker.close()


def test_without_a_display_the_window_of_the_drills_is_refused_in_one_line(monkeypatch, capsys):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER"):
        monkeypatch.delenv(name, raising=False)
    assert main(["drill", "--window"]) == 2
    assert capsys.readouterr().err.startswith("flatwright: No window here.")
    assert main(["drill", "--window", "--json"]) == 2
    assert "--data-dir alone" in capsys.readouterr().err


def test_what_takes_long_is_made_ahead_by_a_second_child_once_and_ended_with_the_sitting(tmp_path):
    told = tmp_path / "asked"
    write = f"import sys; open({str(told)!r}, 'a').write(sys.stdin.readline())"
    maker = InChild(beside=(sys.executable, "-c", write))
    wanted = Wanted("next", 1, 5, CONDITIONS[0])
    for _ in range(3):
        maker.ahead(wanted)
        maker._second.wait(60.0)
    assert [Wanted(**json.loads(line)) for line in told.read_text().splitlines()] == [wanted]
    maker.close()
    maker = InChild(beside=(sys.executable, "-c", "import time; time.sleep(600)"))
    maker.ahead(wanted)
    child = maker._second
    maker.ahead(Wanted("next", 2, 6, CONDITIONS[0]))
    assert maker._second is child, "one at a time"
    maker.close()
    assert child.poll() is not None
    maker = InChild(beside=(str(tmp_path / "no such program"),))
    maker.ahead(wanted)
    maker.close()


def test_the_sitting_asks_for_the_slow_kind_ahead_once_its_lesson_is_passed(tmp_path):
    with Record.open(tmp_path) as record:
        record.end_attempt(record.begin_attempt("08-bear-all-over", "alone", 1), {}, True, False, 60.0)
    maker = Handed()
    player = seated(tmp_path, None, maker)
    player.play([DOOR])
    assert {one.kind for one in maker.aheads} == {"next"}
    maker = Handed()
    player = seated(tmp_path, ("highest", "order"), maker)
    player.play([DOOR])
    assert maker.aheads == []
