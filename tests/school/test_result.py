"""Result files: what is written comes back, one changed byte is found, and a new seal does not help an edited file."""

import io
import json
import warnings
import zipfile
from dataclasses import replace

import pytest

import sim
from sim.errors import BadFile, BadParam
from sim.report.sheet import Sheet, picture_room, sheet_paper
from sim.school import result, resultfile
from sim.school.attempt import begin_attempt, said_data
from sim.school.checks import judge as judge_by_checks
from sim.school.facts import gather
from sim.school.lesson import Allowed
from sim.school.lessonfile import lesson_files, read_lesson
from sim.school.result import check_result
from sim.school.resultfile import read_result, sealed, write_result, zipped
from sim.school.ways import work
from sim.shop.commands import RollFilm, Scrape
from sim.shop.session import Session
from tests.school.handed_in import LESSON, Judged, few_acts, find, judge


@pytest.fixture(scope="module")
def handed(tmp_path_factory):
    """An attempt, what was judged, and its file."""
    attempt = few_acts()
    judged = judge(LESSON, gather(attempt))
    path = tmp_path_factory.mktemp("in") / "ada.result"
    write_result(path, attempt, "Ada", judged, begun="2026-03-04T10:20:30Z", ended="2026-03-04T10:40:30Z")
    return attempt, judged, path


def checked(path, find=find, judge=judge):
    return check_result(path, find, judge)


def made_again(handed, tmp_path, change=lambda told: None, logs=None):
    """The file with something changed in what it tells, or with other logs, under a new seal."""
    told = json.loads(members(handed[2])["attempt.json"])
    change(told)
    path = tmp_path / "again.result"
    logs = [session.log() for session in handed[0].sessions] if logs is None else logs
    path.write_bytes(sealed(zipped(json.dumps(told).encode(), LESSON.name, logs)))
    return path


def members(path):
    with zipfile.ZipFile(path) as box:
        return {name: box.read(name) for name in box.namelist()}


def test_what_was_written_comes_back_and_is_genuine(handed):
    attempt, judged, path = handed
    told = read_result(path)
    assert told.sealed
    assert (told.learner, told.lesson, told.part, told.seed) == ("Ada", LESSON.name, "alone", 7)
    assert (told.begun, told.hints, told.uncovered) == ("2026-03-04T10:20:30Z", 1, 0)
    assert said_data(told.said) == said_data(attempt.said)
    assert told.logs[0].count(b"SpotFace") == 5
    found = checked(path)
    assert (found.state, found.why) == ("genuine", "")
    assert found.figures["removed_mm3"] == judged.figures["removed_mm3"] > 0.0
    assert found.faults == {20: 2}
    assert (found.passed, found.merit, found.hints) == (True, False, 1)


def test_the_job_in_a_result_is_a_job_file_like_any_other(handed, tmp_path):
    attempt, _, path = handed
    (tmp_path / "mine.job").write_bytes(members(path)["only-the-hardest-1.job"])
    assert Session.load(tmp_path / "mine.job").commands == attempt.session.commands


def test_an_old_result_is_not_written_over_and_nothing_is_left_behind(handed, tmp_path):
    attempt, judged, _ = handed
    path = tmp_path / "ada.result"
    path.write_text("mine")
    with pytest.raises(OSError, match="is there already"):
        write_result(path, attempt, "Ada", judged)
    assert path.read_text() == "mine"
    write_result(path, attempt, "Ada", judged, force=True)
    assert checked(path).state == "genuine"
    with pytest.raises(BadParam, match="learner's name"):
        write_result(tmp_path / "b.result", attempt, " ", judged)
    assert [one.name for one in tmp_path.iterdir()] == ["ada.result"]


def test_one_changed_byte_anywhere_is_found(handed, tmp_path):
    data = handed[2].read_bytes()
    path = tmp_path / "bent.result"
    heads = [at + n for sign in (b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06") for at in places(data, sign)
             for n in range(60)]  # fmt: skip
    states = {"edited": 0, "damaged": 0, f"{path}: damaged: bytes of it were lost or changed after it was written": 0}
    for at in sorted({*range(0, len(data), 41), *heads, *range(len(data) - 90, len(data))} & set(range(len(data)))):
        for bit in (1, 32, 128):
            path.write_bytes(data[:at] + bytes([data[at] ^ bit]) + data[at + 1 :])
            try:
                found = checked(path)
                assert (found.learner, found.lesson) == ("Ada", LESSON.name) or found.state == "edited"
                state = found.state
            except BadFile as error:
                state = str(error)
            states[state] += 1
    assert min(states.values()) > 50, "there is no fourth answer: any other is a KeyError"
    for cut, state in ((data[:-1], "edited"), (data[: len(data) // 2], "damaged"), (data + b"\n", "edited"),
                       (b"\n" + data, "edited")):  # fmt: skip
        path.write_bytes(cut)
        assert checked(path).state == state


def test_a_damaged_file_still_tells_whose_it_is_where_that_can_be_read(handed, tmp_path):
    data, path = handed[2].read_bytes(), tmp_path / "bent.result"
    log = data.index(b"only-the-hardest-1.job") + 200
    path.write_bytes(data[:log] + bytes([data[log] ^ 1]) + data[log + 1 :])
    found = checked(path)
    assert (found.learner, found.lesson, found.part, found.seed) == ("Ada", LESSON.name, "alone", 7)
    assert (found.state, found.why) == ("damaged", "bytes of it were lost or changed after it was written")
    told = data.index(b"attempt.json") + 200
    path.write_bytes(data[:told] + bytes([data[told] ^ 1]) + data[told + 1 :])
    with pytest.raises(BadFile, match=r"bent\.result: damaged: bytes of it"):
        checked(path)


def places(data, sign):
    at = data.find(sign)
    while at >= 0:
        yield at
        at = data.find(sign, at + 1)


@pytest.mark.parametrize("change, why", [
    (lambda told: told["figures"].update(removed_mm3=99.0), "removed_mm3 is told as 99, run again it comes to"),
    (lambda told: told["figures"].pop("top_um"), "top_um is told as nan"),
    (lambda told: told["figures"].update(more=1.0), "more is told as 1, run again it comes to nan"),
    (lambda told: told.update(merit=True), "merit is told as yes, judged again it is not so"),
    (lambda told: told.update(passed=False), "passed is told as no"),
    (lambda told: told.update(faults={}), "other faults"),
    (lambda told: told.update(seed=8), "piece 1 does not start from the lesson's for seed 8, alone"),
    (lambda told: told.update(part="check"), "does not start from the lesson's for seed 7, check"),
    (lambda told: told.update(hints=0), "0 hints and 0 times uncovered are told, among what was said are 1 and 0"),
    (lambda told: told["said"][1].update(calls="xyz"), "what was said cannot be judged"),
    (lambda told: told["said"][1].update(piece=3), "of a piece that the lesson does not have"),
])  # fmt: skip
def test_an_edited_result_under_a_new_seal_is_found_when_it_is_run_again(handed, tmp_path, change, why):
    found = checked(made_again(handed, tmp_path, change))
    assert found.state == "edited"
    assert why in found.why


def test_a_figure_may_differ_in_its_last_bits_and_versions_that_differ_are_told(handed, tmp_path):
    removed = handed[1].figures["removed_mm3"]
    near = made_again(handed, tmp_path, lambda told: told["figures"].update(removed_mm3=removed * (1.0 + 1e-9)))
    assert checked(near).state == "genuine"

    def elsewhere(told):
        told["figures"]["removed_mm3"] = removed * (1.0 + 1e-4)
        told["versions"]["numpy"] = "0.1"

    assert "(it was made with numpy 0.1, here " in checked(made_again(handed, tmp_path, elsewhere)).why


def test_a_job_that_is_not_the_lessons_is_found(handed, tmp_path):
    start = handed[0].session.job.start

    def log_of(*commands, begin=start):
        session = Session.begin(begin)
        for command in commands:
            session.do(command)
        return session.log()

    whole = handed[0].session.commands
    told = {
        "the work before it is another": log_of(*whole[1:]),
        "does not start from the lesson's": log_of(begin=replace(start, seed=3)),
        "is cut short or damaged": handed[0].session.log()[:-9],
        "does not end in the face that was logged": handed[0].session.log().rsplit(b"\n", 2)[0] + b"\n",
        "removed_mm3 is told as": log_of(*whole, Scrape("fine", ((500, 500, 900, 500, 900),))),
    }
    for why, log in told.items():
        found = checked(made_again(handed, tmp_path, logs=[log]))
        assert (found.state, why in found.why) == ("edited", True), found.why
    found = checked(made_again(handed, tmp_path, logs=[log_of(), log_of()]))
    assert (found.state, found.why) == ("edited", "it has 2 logs, the lesson has 1 pieces")


def test_an_act_that_the_lesson_does_not_allow_is_found(handed):
    def stricter(name):
        return replace(LESSON, allowed=Allowed(tools=("roll", "spot", "wipe")))

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(result, "lesson_sha256", lambda lesson: read_result(handed[2]).lesson_sha256)
        found = checked(handed[2], find=stricter)
    assert (found.state, found.why) == ("edited", "piece 1, act 2: This lesson does not allow the scraper.")


def test_a_lesson_that_was_changed_is_told_and_counts_where_it_comes_to_the_same(handed):
    renamed = checked(handed[2], find=lambda name: replace(LESSON, title="Another title"))
    assert (renamed.state, "by today's it comes to the same" in renamed.why) == ("genuine", True)
    harder = checked(handed[2], judge=lambda *_: Judged({"rounds": 3.0}), find=lambda name: replace(LESSON, number=9))
    assert (harder.state, harder.why.startswith("the lesson is another here")) == ("other lesson", True)

    def none(name):
        raise BadParam("lesson must be one of others")

    gone = checked(handed[2], find=none)
    assert (gone.state, gone.why) == ("other lesson", "lesson must be one of others")


def test_a_lesson_file_is_the_same_whatever_its_line_ends_and_another_when_a_word_changes(tmp_path):
    path = tmp_path / "lesson.toml"
    lesson = replace(LESSON, path=path)
    digests = []
    for text in (b"a = 1\n", b"a = 1\r\n", b"a = 2\n"):
        path.write_bytes(text)
        digests.append(result.lesson_sha256(lesson))
    assert digests[0] == digests[1] != digests[2]


def test_a_result_of_another_model_is_not_run_and_one_that_only_says_so_is_edited(handed, tmp_path, monkeypatch):
    assert checked(made_again(handed, tmp_path, lambda told: told.update(physics=sim.PHYSICS + 1))).state == "edited"
    monkeypatch.setattr(sim, "PHYSICS", sim.PHYSICS + 1)
    found = checked(handed[2])
    assert (found.state, found.why) == ("other physics", f"made with physics {sim.PHYSICS - 1}, here {sim.PHYSICS}")


@pytest.mark.parametrize("change, why", [
    (lambda told: told.pop("seed"), "must have format, version"),
    (lambda told: told.update(version=2), "version 1, got another format"),
    (lambda told: told.update(seed=-1), "seed must be a whole number"),
    (lambda told: told.update(seed="x" * 9999), "seed must be a whole number"),
    (lambda told: told.update(learner="\x1b[31m"), "learner's name"),
    (lambda told: told.update(part="exam"), "part must be one of"),
    (lambda told: told.update(passed=1), "passed must be true or false"),
    (lambda told: told.update(begun=[]), "begun must be a time"),
    (lambda told: told.update(figures={"x": "y"}), "figures.x must be a number or null"),
    (lambda told: told.update(figures={"x": 10**400}), "figures.x must be a number or null"),
    (lambda told: told.update(faults={"zwei": 1}), "faults must be numbers"),
    (lambda told: told.update(hints=10**9), "hints must be a whole number"),
    (lambda told: told.update(said=[{"say": "nothing"}]), "said[0] must hold"),
    (lambda told: told.update(lesson_sha256="f00"), "64 hexadecimal digits"),
])  # fmt: skip
def test_a_value_that_cannot_be_is_one_line_with_its_name(handed, tmp_path, change, why):
    with pytest.raises(BadFile) as told:
        read_result(made_again(handed, tmp_path, change))
    assert why in str(told.value)
    assert str(told.value).count("\n") == 0
    assert len(str(told.value)) < 600


def box_of(*parts, **how):
    made = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(made, "w", **how) as box:
        warnings.simplefilter("ignore")  # of a name that comes twice
        for name, data in parts:
            box.writestr(name, data)
    return made.getvalue()


TOLD = ("attempt.json", "{}")
JOB = ("a-1.job", "")


@pytest.mark.parametrize("data, why", [
    (b"", "got another kind of file"), (b"PK\x03\x04 and so on", "got another kind of file"),
    (box_of(TOLD), "alone, got 'attempt.json'"), (box_of(JOB), "alone, got 'a-1.job'"),
    (box_of(TOLD, JOB, ("../a-2.job", "")), "alone, got"), (box_of(TOLD, JOB, ("/etc/a-2.job", "")), "alone, got"),
    (box_of(TOLD, JOB, ("a-3.job", "")), "alone, got"), (box_of(TOLD, *[JOB] * 2), "alone, got"),
    (box_of(TOLD, JOB, ("more.txt", "")), "alone, got"),
    (box_of(TOLD, *((f"a-{n}.job", "") for n in range(1, 22))), "alone, got"),
    (box_of(TOLD, JOB, compression=zipfile.ZIP_LZMA), "must be stored or deflated"),
    (box_of(("attempt.json", " " * 5_000_001), JOB, compression=zipfile.ZIP_DEFLATED), "may have at most 5 MB"),
    (box_of(("attempt.json", "[" * 100_000), JOB), "must be JSON"), (box_of(TOLD, JOB), "another format or version"),
    (box_of(("attempt.json", '{"a": NaN}'), JOB), "must be JSON"),
    (box_of(("attempt.json", b"\xff"), JOB), "must be JSON"),
])  # fmt: skip
def test_what_is_no_result_file_is_refused_in_one_line(tmp_path, data, why):
    (tmp_path / "x.result").write_bytes(data)
    with pytest.raises(BadFile, match=why):
        read_result(tmp_path / "x.result")


def test_a_log_that_unpacks_to_more_than_the_limit_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(resultfile, "MOST_LOG_BYTES", 1_000_000)
    bomb = box_of(TOLD, ("a-1.job", b"\0" * 3_000_000), compression=zipfile.ZIP_DEFLATED)
    assert len(bomb) < 10_000
    (tmp_path / "x.result").write_bytes(bomb)
    with pytest.raises(BadFile, match=r"a-1\.job in it may have at most 1 MB"):
        read_result(tmp_path / "x.result")


def test_logs_that_are_small_alone_and_not_together_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(resultfile, "MOST_LOG_BYTES", 1_000_000)
    logs = [(f"a-{n}.job", b"\0" * 600_000) for n in (1, 2)]
    (tmp_path / "x.result").write_bytes(box_of(TOLD, *logs, compression=zipfile.ZIP_DEFLATED))
    with pytest.raises(BadFile, match=r"a-2\.job in it may have at most 0\.4 MB"):
        read_result(tmp_path / "x.result")


def test_more_acts_than_anyone_makes_are_not_run(handed, tmp_path, monkeypatch):
    monkeypatch.setattr(result, "MOST_COMMANDS", 5)
    session = Session.begin(handed[0].session.job.start)
    for _ in range(6):
        session.do(RollFilm(2.0))
    found = checked(made_again(handed, tmp_path, logs=[session.log()]))
    assert (found.state, "at most 5 acts" in found.why) == ("edited", True)


@pytest.mark.slow
@pytest.mark.parametrize("path", lesson_files(), ids=lambda path: path.stem)
@pytest.mark.parametrize("part", ["alone", "check"])
def test_every_lesson_handed_in_is_genuine_and_fits_its_sheet(path, part, tmp_path):
    lesson = read_lesson(path)
    attempt = work(begin_attempt(lesson, part, getattr(lesson.seeds, part)), lesson.model)
    facts = gather(attempt)
    judged = judge_by_checks(lesson, facts)
    write_result(tmp_path / "ada.result", attempt, "Ada", judged)
    found = check_result(tmp_path / "ada.result")
    assert (found.state, found.why) == ("genuine", "")
    assert found.passed == judged.passed
    sheet = Sheet("Ada", "2026-03-04T10:20:30Z", judged, facts)
    for paper in ("a4", "letter"):
        room = picture_room(sheet, paper)
        lowest = min(text.get_position()[1] for text in sheet_paper(sheet, paper).figure.texts)
        assert lowest > 0.02
        assert room.high > 20.0
