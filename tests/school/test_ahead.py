"""The part with help: the model's first rounds are done, and stand in the log as any other work does."""

from datetime import UTC, datetime

import pytest

from sim.school.attempt import begin_attempt, begun_piece
from sim.school.checks import judge
from sim.school.facts import gather, taken_over
from sim.school.keeping import open_attempt, resume, write_head
from sim.school.lesson import Lesson
from sim.school.lessonfile import find_lesson
from sim.school.ways import acts
from sim.shop.commands import SpotFace, WipeFace

AHEAD = {"8": 5, "9": 6, "11": 5, "13": 5}
LATER = [pytest.param(number, marks=pytest.mark.slow) for number in AHEAD if number != "8"]
quick_for_one = pytest.mark.parametrize("number", ["8", *LATER])


def begun(lesson: Lesson, part: str):
    return begun_piece(lesson.pieces[0], part, lesson.seeds.help)


def test_lessons_that_follow_the_blue_for_rounds_have_some_done_and_no_other_has():
    found = {str(n): find_lesson(str(n)).pieces[0].ahead for n in range(1, 18)}
    assert {number: one.rounds for number, one in found.items() if one} == AHEAD


@quick_for_one
def test_what_is_done_ahead_is_what_the_model_does_first(number):
    lesson = find_lesson(number)
    whole, helped = begun(lesson, "alone"), begun(lesson, "help")
    count = len(whole.commands)
    done = helped.commands[count:]
    assert helped.commands[:count] == whole.commands
    attempt = begin_attempt(lesson, "alone", lesson.seeds.help)
    model = acts(attempt, lesson.model)
    for _ in done:
        next(model)
    assert attempt.session.commands[count:] == done
    assert attempt.session.job.face.height_um.tobytes() == helped.job.face.height_um.tobytes()
    assert sum(isinstance(one, SpotFace) for one in done) == AHEAD[number]
    assert isinstance(done[-1], WipeFace)


@quick_for_one
def test_doing_nothing_more_does_not_reach_what_the_lesson_asks(number):
    lesson = find_lesson(number)
    judged = judge(lesson, gather(begin_attempt(lesson, "help", lesson.seeds.help)))
    assert not judged.passed
    assert judged.figures["rounds"] == 0
    assert judged.figures["strokes"] == 0


@pytest.mark.parametrize("part", ("help", "alone"))
def test_where_the_learner_took_over_is_found_in_a_log_of_other_rounds_too(part):
    lesson = find_lesson("13")
    piece, commands = lesson.pieces[0], begun(lesson, part).commands
    assert taken_over(piece, part, (*commands, SpotFace(10.0, 10.0), WipeFace())) == len(commands)
    assert taken_over(piece, part, commands[:-3]) == len(commands) - 3


def test_an_attempt_with_help_is_gone_on_with_where_the_learner_took_over(tmp_path):
    lesson = find_lesson("8")
    attempt = open_attempt(tmp_path, lesson, "help", lesson.seeds.help, now=datetime(2030, 1, 1, tzinfo=UTC))
    write_head(attempt, None)
    attempt.close()
    again = resume(attempt.folder, find_lesson)
    assert again.begun == attempt.begun == (len(begun(lesson, "help").commands),)
    assert again.session.job.round == AHEAD["8"]
    again.close()




@quick_for_one
def test_the_rest_of_the_model_reaches_what_the_lesson_asks(number):
    lesson = find_lesson(number)
    attempt, whole = (begin_attempt(lesson, part, lesson.seeds.help) for part in ("help", "alone"))
    for _ in acts(whole, lesson.model):
        pass
    for command in whole.session.commands[attempt.begun[0] :]:
        attempt.do(command)
    for one in whole.said:
        attempt.say(one.kind, **one.data)
    assert [row.sentence() for row in judge(lesson, gather(attempt)).rows if not row.passed] == []
