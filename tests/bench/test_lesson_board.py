"""The page of a lesson, who practises, and the part with help whose first rounds are done."""

import pytest

from sim.bench.lesson_board import asked_words, start_words
from sim.bench.palette import THEMES
from sim.bench.script import begun
from sim.books.record import Record
from sim.school.lessonfile import find_lesson, lesson_files, read_lesson

SIZES = ((1280, 800), (1920, 1080), (1024, 640))
LESSONS = [read_lesson(path) for path in lesson_files()]


@pytest.fixture(autouse=True)
def _without_a_window(monkeypatch):
    monkeypatch.setenv("SDL_VIDEODRIVER", "dummy")


def words(player):
    player.bench.lay_out()
    return " ".join(getattr(w, "string", "") + getattr(w, "sub", "") for w in player.bench.group.widgets)


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("scale", (1.0, 1.5))
def test_no_page_of_a_lesson_is_clipped_or_lies_on_something_else(tmp_path, size, scale):
    for theme in THEMES:
        player = begun({"theme": theme, "scale": scale}, tmp_path, size)
        for lesson in LESSONS:
            player.bench.room.choose(lesson)
            player.play([])
            player.bench.draw(player.surface)
            group = player.bench.group
            assert group.overlaps() == [], lesson.name
            assert group.clipped(player.bench.ui) == [], lesson.name
            window = player.surface.get_rect()
            assert [w.id for w in group.widgets if not window.contains(w.rect)] == [], lesson.name


@pytest.mark.parametrize("size", SIZES[:2], ids=str)
def test_every_step_and_everything_that_is_asked_stands_on_the_page(tmp_path, size):
    player = begun({}, tmp_path, size)
    for lesson in LESSONS:
        player.bench.room.choose(lesson)
        told = words(player)
        assert start_words(lesson) in told
        assert [step.text for step in lesson.steps if step.text not in told] == []
        assert [one.check for one in lesson.limits if asked_words(one) not in told] == []


def test_a_figure_is_asked_in_words_with_its_unit():
    bear, stand = find_lesson("8"), find_lesson("17")
    assert asked_words(bear.limits[1]).endswith("the worst piece: at most 7.5 µm, with merit 3.6")
    assert asked_words(bear.limits[0]).endswith("at least 6 fields")
    assert asked_words(stand.limits[0]).endswith("not met: none")
    assert start_words(bear) == "It begins with a milled coupon, crowned by 18 µm; you have 9 rounds."


def test_who_practises_is_told_on_every_page_of_a_lesson_and_on_the_bench_and_is_changed_by_one_click(tmp_path):
    with Record.open(tmp_path) as record:
        record.switch("Ann")
        record.switch("Ben")
    player = begun({}, tmp_path)
    assert player.bench.practising() == "Ben"
    player.bench.lay_out()
    names = next(w for w in player.bench.group.widgets if w.id == "learner")
    player.play([{"press": "learner", "at": (list(names.choices).index("Ann") + 0.5) / len(names.choices)}])
    assert player.bench.practising() == "Ann"
    for step in ({"press": "door lessons"}, {"press": "open lesson"}, {"press": "part free"}):
        player.play([step])
        assert "Ann" in words(player), step
    player.play([{"key": "W", "mod": "ctrl"}])
    player.bench.room.choose(find_lesson("4"))
    player.play([{"press": "part alone"}])
    assert "Ann" in words(player)


def test_while_one_watches_the_film_that_was_asked_for_stands_above_the_face(tmp_path):
    player = begun({"start": {"lesson": "1", "part": "watch"}}, tmp_path)
    titles = {piece.title for piece in find_lesson("1").pieces}
    player.bench.lay_out()
    head = next(w for w in player.bench.group.widgets if w.id == "step head").string
    assert any(title in head for title in titles)
    assert "µm" in head


def test_with_help_the_first_rounds_are_done_and_their_prints_hang_on_the_wall(tmp_path):
    player = begun({"start": {"lesson": "8"}}, tmp_path)
    assert "5 rounds of the model are done, the last are yours" in words(player)
    player.play([{"press": "part help"}])
    desk, at = player.bench.desk, player.bench.room.at
    assert [one.round for one in desk.hung] == [1, 2, 3, 4, 5]
    assert desk.session.job.round == 5
    assert at.attempt.begun == (len(desk.session.commands),)
    assert desk.told == "Rounds 1 to 5 of this face were done by the model; the prints hang on the left. " \
                        "The last rounds are yours."  # fmt: skip
    player.play([{"key": "Q"}, {"key": "3"}, {"press": "do"}, {"key": "W"}, {"press": "do"}, {"press": "do"}])
    assert [one.round for one in desk.hung] == [1, 2, 3, 4, 5, 6]
    folder = at.attempt.folder
    player.play([{"key": "W", "mod": "ctrl"}, {"press": "go on attempt"}])
    assert player.bench.room.at.attempt.folder == folder
    assert [one.round for one in player.bench.desk.hung] == [1, 2, 3, 4, 5, 6]


def test_alone_and_while_one_watches_nothing_is_done_ahead(tmp_path):
    for part in ("alone", "watch"):
        player = begun({"start": {"lesson": "8", "part": part}}, tmp_path / part)
        assert player.bench.desk.session.job.round == 0
        assert player.bench.desk.hung == []
