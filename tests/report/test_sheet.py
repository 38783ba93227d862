"""The result sheet: one page whatever was done, each figure on the right side of its limit, nothing of a name runs."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from sim.errors import BadParam
from sim.report.sheet import Sheet, picture_room, sheet_html, sheet_paper, write_sheet
from sim.report.sheet_parts import places, sheet_blocks
from sim.school.checks import Judged, Row, judge
from sim.school.facts import gather
from sim.school.lesson import Limit, Question
from sim.shop.commands import SpotFace
from tests.school.handed_in import LESSON, PIECE, few_acts

WHEN = "2026-03-04T10:40:30Z"
LIMITS = (Limit("top_down_um", 1.5, 2.0), Limit("strokes_off_blue_pct", 15.0, 8.0), Limit("removed_mm3", 5.0, 2.0))
HOSTILE = "</title><script>alert(1)</script> & \"x\" 'y'"


@pytest.fixture(scope="module")
def made():
    """The sheet of two prints, calls and two strokes."""
    attempt = few_acts()
    asked = (Question("form", "What form has it?", ("even", "hollow")),)
    attempt.lesson = replace(LESSON, limits=LIMITS, questions=asked)
    facts = gather(attempt)
    return Sheet("Ada", WHEN, judge(attempt.lesson, facts), facts)


@pytest.fixture(scope="module")
def longest(made):
    """As much as a sheet can have to say."""
    asked = tuple(Question(f"q{n}", "What is it? " * 7) for n in range(6))
    title = "A title as long as a teacher will ever write it, and then some words more"
    lesson = replace(made.facts.lesson, title=title, goal="Words of a goal. " * 15, questions=asked)
    facts = replace(made.facts, lesson=lesson, called=made.facts.called * 15)
    row = replace(made.judged.rows[0], doc="A figure that takes many words to be told, for it is of many things")
    judged = replace(made.judged, rows=(row,) * 10, faults={n: n for n in range(1, 26)})
    return Sheet("Bartholomäus Ignatius Hinterstoißer-Vandenbroucke the elder", WHEN, judged, facts)


class Words(HTMLParser):
    """Tags and words of a page."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.words, self.sources = [], [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.sources += [value for name, value in attrs if name in ("src", "href")]

    def handle_data(self, data):
        self.words.append(data)


def test_the_sheet_tells_who_what_and_how_it_came_out(made):
    words = " ".join(Words(sheet_html(made, "a4")).words)
    assert "Lesson 10: Only the hardest" in words
    assert "alone · seed 7 · 2026-03-04" in words
    assert made.verdict == ("Not there yet", "2 of 3 figures short of what passes", False)
    assert "Not there yet" in words
    assert f"Round 4: {made.facts.called[0].score.sentence()}" in words
    assert "What form has it? hollow" in words
    done = r"2 rounds and 2 strokes in \d+ min on the shop clock, 0\.\d mm³ of iron taken; 1 hint, heights covered"
    assert re.search(done, words)
    assert "First print, round 4, film 3 µm" in words
    assert "Last print, round 5, film 1.5 µm" in words
    assert "Made on a model of iron, blue and blade, not at a real plate" in words
    assert [text.get_text() for text in sheet_paper(made, "a4").figure.texts].count("Ada") == 1


def test_the_answer_says_what_was_reached(made):
    def answer(part="alone", **judged):
        facts = replace(made.facts, part=part)
        return Sheet("Ada", WHEN, replace(made.judged, **judged), facts).verdict[0]

    assert answer(passed=True) == "Passed"
    assert answer(passed=True, merit=True, part="check") == "Passed with merit"
    assert answer(passed=True, part="help") == "Reached, with help"


def test_faults_are_told_by_name_the_most_frequent_first(made):
    sheet = Sheet("Ada", WHEN, replace(made.judged, faults={20: 1, 2: 5}), made.facts)
    _, right = sheet_blocks(sheet)
    assert right[0][1][0] == "Dark rings taken for high, pale centres left: 5 times."
    assert right[0][1][1] == "The same spot twice in a round: once."
    silent = replace(made.facts.lesson, questions=())
    nothing = replace(made.facts, lesson=silent, remarks=[], called=[], printed=[])
    left, right = sheet_blocks(Sheet("Ada", WHEN, replace(made.judged, faults={}), nothing))
    assert left == [("Calls", ["There was no print to call."])]
    assert right[0][1] == ["Nothing else stood out in prints and strokes."], "it did not pass"
    passed = replace(made.judged, faults={}, passed=True)
    assert sheet_blocks(Sheet("Ada", WHEN, passed, nothing))[1][0][1] == ["No fault was seen in prints and strokes."]


def test_where_nothing_was_printed_the_print_that_was_there_to_be_read_is_shown(made):
    none = replace(made.facts, printed=[], begun=made.facts.ended)
    assert Sheet("Ada", WHEN, made.judged, none).prints == [], "old blue in pockets is no print"
    piece = replace(PIECE, before=(SpotFace(30.0, 30.0),), title="coupon")
    read = replace(none, lesson=replace(made.facts.lesson, pieces=(piece,)))
    ((words, marks),) = Sheet("Ada", WHEN, made.judged, read).prints
    assert words == "Print to be read, coupon"
    assert (marks.marked == made.facts.printed[-1].marks.marked).all()


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_whatever_there_is_to_say_stays_on_one_page_and_nothing_lies_on_another(made, longest, paper):
    for sheet in (made, longest, Sheet("Ada", WHEN, made.judged, replace(made.facts, printed=[]))):
        page, room = sheet_paper(sheet, paper), picture_room(sheet, paper)
        down = {text.get_text(): page.size_mm[1] * (1.0 - text.get_position()[1]) for text in page.figure.texts}
        charts = [(1.0 - axes.get_position().y1, 1.0 - axes.get_position().y0) for axes in page.figure.axes]
        pictures = [page.size_mm[1] * end for _, end in charts[1:]]
        assert max(pictures) < down["Calls, said in iron"] - 3.0
        words = [at for text, at in down.items() if at > down["Calls, said in iron"]]
        foot = next(at for text, at in down.items() if text.startswith("Made on a model"))
        assert max(words) < page.size_mm[1] - page.margin_mm
        assert max(at for at in words if at < foot) < room.low


def test_no_word_of_a_file_is_taken_for_html(made):
    asked = (Question("form", HOSTILE),)
    lesson = replace(made.facts.lesson, title=HOSTILE, goal=HOSTILE, name=HOSTILE, questions=asked)
    facts = replace(made.facts, lesson=lesson, answers={(0, "form"): HOSTILE})
    row = replace(made.judged.rows[0], doc=HOSTILE, unit=HOSTILE)
    page = sheet_html(Sheet(HOSTILE, WHEN, replace(made.judged, rows=(row,)), facts), "a4")
    found = Words(page)
    assert "script" not in found.tags
    assert sum(HOSTILE in words for words in found.words) >= 5
    assert all(source.startswith("data:image/png;base64,") for source in found.sources)
    assert "default-src 'none'" in page


def row(value, better, passes, merit):
    got = (value >= passes) if better == "high" else (value <= passes)
    return Row("x", "x", "um", better, value, passes, merit, got, False)


@pytest.mark.parametrize("better, passes, merit, worse, best", [
    ("low", 3.0, 2.0, 4.0, 0.0), ("high", 12.0, 16.0, 11.0, 40.0), ("low", 0.0, 0.0, 1.0, 0.0),
    ("high", 0.0, 0.0, -1.0, 5.0), ("high", -2.0, -1.0, -3.0, 9.0),
])  # fmt: skip
def test_right_of_the_line_is_what_passes_whichever_way_is_better(better, passes, merit, worse, best):
    at, tick = places(row(passes, better, passes, merit))
    assert at == 0.5
    assert 0.5 <= tick <= 1.0
    assert 0.0 <= places(row(worse, better, passes, merit))[0] < 0.5
    assert 0.5 <= places(row(best, better, passes, merit))[0] <= 1.0
    assert places(row(float("nan"), better, passes, merit))[0] is None
    assert places(row(float("inf"), better, passes, merit))[0] == (better == "high")


@pytest.mark.slow
def test_a_sheet_is_written_once_and_the_same_each_time(made, tmp_path):
    for name in ("a.pdf", "b.pdf", "a.html"):
        write_sheet(tmp_path / name, made, "letter")
    data = (tmp_path / "a.pdf").read_bytes()
    assert data.startswith(b"%PDF")
    assert len(re.findall(rb"/Type /Page\b", data)) == 1
    assert data == (tmp_path / "b.pdf").read_bytes()
    assert "size:letter" in (tmp_path / "a.html").read_text(encoding="utf-8")
    with pytest.raises(OSError, match="is there already"):
        write_sheet(tmp_path / "a.pdf", made)
    write_sheet(tmp_path / "a.html", made, force=True)
    assert "size:A4" in (tmp_path / "a.html").read_text(encoding="utf-8")
    with pytest.raises(BadParam, match=r"must be named NAME\.pdf or NAME\.html"):
        write_sheet(tmp_path / "a.txt", made)
    with pytest.raises(BadParam, match="paper must be one of a4, letter"):
        write_sheet(tmp_path / "c.pdf", made, "a3")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.html", "a.pdf", "b.pdf"]


def test_a_figure_of_which_there_is_nothing_is_a_dash(made):
    nothing = replace(made.judged.rows[0], value=float("nan"), passed=False)
    words = Words(sheet_html(Sheet("Ada", WHEN, Judged({}, (nothing,), False, False, {}), made.facts), "a4")).words
    assert "–" in words
