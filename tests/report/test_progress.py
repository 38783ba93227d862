"""The page of a learner: practice beside check, skill within a level, names as words and never as markup."""

import re
from dataclasses import replace

import pytest
from matplotlib.figure import Figure

from sim.books.record import Answer, Attempt
from sim.books.standing import EMPTY, Progress, groups
from sim.errors import CannotWrite
from sim.report.progress import draw_levels, draw_skill, figure_words, progress_page, write_progress

GIVEN = Answer("highest", 3, "f", False, True, 4.0, True, 0.0, 2.0, 0.0, None, 1, "2026-03-04T10:20:30Z", "a")
TRIED = Attempt(1, "Ada", "crown", "alone", 1, 9, "2026-03-04T10:00:00Z", "2026-03-04T11:00:00Z", True, True, 600.0,
                {"flat_um": 2.0, "skill": float("nan")})  # fmt: skip
MIXED = [replace(GIVEN, level=3 + n // 20, held_out=n % 4 == 0, loss=0.5) for n in range(40)]


@pytest.fixture(scope="module")
def page():
    return progress_page(Progress("Ada", [TRIED, replace(TRIED, lesson="hollow", ended=None)], MIXED))


def test_the_page_tells_lessons_and_drills(page):
    words = re.sub(r"<[^>]+>", " ", page)
    assert "1 of 2 lessons that were begun passed, 1 with merit. 40 answers in drills." in words
    assert re.search(r"crown\s+merit\s+1\s+0\s+10\s+2026-03-04\s+flat 2 µm", words)
    assert re.search(r"hollow\s+tried\s+1\s+1", words)
    assert re.search(r"highest\s+30\s+4\s+75\s+10\s+4\s+3 more answers", words)
    assert page.count("<svg") == 3
    for title in ("Level", "Skill within each level, practice", "Skill within each level, check"):
        assert f"<figcaption>{title}</figcaption>" in page
    assert "highest: Skill within each level, practice: level 3 75, level 4 75" in page


@pytest.mark.parametrize("name, words", [
    ("flat_um", "flat 2.5 µm"), ("removed_mm3", "removed 2.5 mm³"), ("off_blue_pct", "off blue 2.5 %"),
    ("film_cv", "film cv 2.5"), ("rounds", "rounds 2.5"), ("um", "um 2.5"),
])  # fmt: skip
def test_a_figure_is_told_in_words_with_its_unit(name, words):
    assert figure_words(name, 2.5) == words


def test_the_page_needs_no_network_and_no_script(page):
    assert "<script" not in page
    assert not re.findall(r"(?:src|href)=(?!['\"]?(?:data:|#))", page)
    assert "default-src 'none'" in page
    assert ", seed" not in page.split("<footer>")[1]


def test_names_are_words_and_never_markup():
    hostile = "<img src=x onerror=alert(1)>"
    page = progress_page(Progress(hostile, [replace(TRIED, lesson=hostile, figures={hostile: 1.0}, begun=hostile)],
                                  [replace(GIVEN, kind=hostile)] * 9))  # fmt: skip
    assert "<img" not in page
    assert "&lt;img src=x onerror=alert(1)&gt;" in page


def test_a_learner_without_anything_is_told_where_the_first_lesson_appears():
    assert EMPTY in progress_page(Progress("Ada", [], []))
    assert EMPTY in progress_page(Progress("Ada", [replace(TRIED, ended=None)], []))
    assert EMPTY not in progress_page(Progress("Ada", [TRIED], []))


def test_skill_is_drawn_a_line_a_level_with_the_level_at_each_point():
    chart = Figure().subplots()
    points = groups(MIXED)
    draw_skill(chart, [one for one in points if not one.held_out], 40, False)
    assert [list(line.get_ydata()) for line in chart.lines[1:]] == [[75.0], [75.0]]
    assert [text.get_text() for text in chart.texts] == ["a blind answer", "3", "4"]
    assert chart.get_xlim()[1] >= 40


def test_skill_far_below_blind_stays_on_the_chart():
    chart = Figure().subplots()
    draw_skill(chart, groups([replace(GIVEN, loss=40.0)] * 8), 8, True)
    assert list(chart.lines[1].get_ydata()) == [chart.get_ylim()[0]]


def test_before_the_first_point_the_chart_says_when_it_begins():
    chart = Figure().subplots()
    draw_skill(chart, [], 3, True)
    assert "begins after 8 answers" in chart.texts[-1].get_text()


def test_levels_of_practice_and_check_lie_over_the_same_answers():
    chart = Figure().subplots()
    draw_levels(chart, MIXED)
    practice, check = chart.lines
    assert list(check.get_xdata()) == list(range(1, 41, 4))
    assert sorted([*practice.get_xdata(), *check.get_xdata()]) == list(range(1, 41))
    assert [text.get_text() for text in chart.texts] == ["practice, now 4", "check, now 4"]


def test_a_page_that_is_there_is_kept(tmp_path):
    path = tmp_path / "progress.html"
    write_progress(path, Progress("Ada", [], []))
    with pytest.raises(CannotWrite, match="is there already"):
        write_progress(path, Progress("Bea", [], []))
    assert "Progress of Ada" in path.read_text(encoding="utf-8")
    write_progress(path, Progress("Bea", [], []), force=True)
    assert "Progress of Bea" in path.read_text(encoding="utf-8")
