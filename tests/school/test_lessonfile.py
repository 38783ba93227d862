"""Lesson files: what is right is read as it stands, every fault is told with its line; every shipped one is sound."""

import random
import re

import pytest

from sim.errors import BadFile, BadFiles, BadParam
from sim.intake.keyed import FLAG, LIST, TABLE, TEXT, WORDS
from sim.paths import lessons
from sim.report.lesson_text import schema_lines
from sim.school import lessonfile
from sim.school.cautions import KEYS as CAUTIONS
from sim.school.checks import CHECKS
from sim.school.faults import FAULTS
from sim.school.lesson import PARTS
from sim.school.lessonfile import find_lesson, lesson_files, read_lesson
from sim.school.ways import WAYS

PAGE = (lessons() / "README.md").read_text(encoding="utf-8")
SMALL = re.search(r"```toml\n(.*?)```", PAGE, re.DOTALL)[1]
KINDS = {TEXT: "text", TABLE: "table", LIST: "list of tables", FLAG: "true or false", WORDS: "list of words"}


def written(tmp_path, text):
    path = tmp_path / "40-bracket.toml"
    path.write_text(text, encoding="utf-8")
    return path


def faults(tmp_path, text):
    path = written(tmp_path, text)
    with pytest.raises(BadFiles) as refused:
        read_lesson(path)
    return [fault.removeprefix(f"{path}:") for fault in refused.value.faults]


def line_of(text, needle):
    return text[: text.index(needle)].count("\n") + 1


def test_the_small_lesson_of_the_page_is_read(tmp_path):
    lesson = read_lesson(written(tmp_path, SMALL))
    assert (lesson.name, lesson.number, lesson.title) == ("40-bracket", 40, "A heavy film on the bracket")
    assert lesson.pieces[0].asked_um == 6.0
    assert lesson.pieces[0].start.face.bow_x_um == 12.0
    assert lesson.allowed.tools == ("roll", "spot", "wipe")
    assert [(one.check, one.passes, one.merit) for one in lesson.limits] == [("film_off_pct", 30.0, 20.0)]
    assert (lesson.wrong.fails, lesson.wrong.options) == ("film_off_pct", {"film_um": 1.0})


TEN = [
    ("number = 40", "number = 0", "number: must be in [1, 999], got 0"),
    ('cautions = ["rags"]', 'cautions = ["sparks"]', "cautions[1]: must be one of edge"),
    ("faults = [1]", "faults = [77]", "faults: must be a list of whole numbers from 1 to 25"),
    ("asked_um = 6.0", "asked_um = 6000.0", "piece[1].asked_um: must be in [0, 100] µm"),
    ('kind = "rough-milled"', 'kind = "chewed"', "piece[1].face.kind: must be one of true"),
    ('tools = ["roll"', 'tools = ["hammer"', "allowed.tools[1]: must be one of roll"),
    ('text = "Clean', 'done = { check = "shine", at_most = 1 }\ntext = "Clean', "step[1].done.check: must be one of"),
    ("merit = 20", "merit = 50", "check[1].merit: must be at most what passes, 30, got 50"),
    ("film_um = 1.0", "film_mm = 1.0", "wrong.options.film_mm: is no option of lay_films"),
    ('fails = "film_off_pct"', 'fails = "film_cv"', "wrong.fails: must be a check of this lesson: film_off_pct"),
]


def test_ten_faults_of_content_are_told_at_once_each_with_its_line(tmp_path):
    text = SMALL
    for old, new, _ in TEN:
        assert text.count(old) == 1
        text = text.replace(old, new)
    told = faults(tmp_path, text)
    assert len(told) == 10
    for fault, (_, new, words) in zip(told, TEN, strict=True):
        line, _, rest = fault.partition(": ")
        assert rest.startswith(words)
        assert int(line) == line_of(text, new.splitlines()[0])


def test_a_fault_of_syntax_is_told_alone_with_its_line(tmp_path):
    text = SMALL.replace("number = 40", "number = 0").replace("minutes = 5", "minutes = = 5")
    path = written(tmp_path, text)
    with pytest.raises(BadFile, match=rf"{re.escape(str(path))}:{line_of(text, 'minutes')}: must be TOML") as refused:
        read_lesson(path)
    assert not isinstance(refused.value, BadFiles)
    assert str(refused.value).endswith("must be TOML, got a value that is none: words stand in quotes")


@pytest.mark.parametrize(("old", "new", "words"), [
    ('way = "lay_films"\n\n', 'way = "by magic"\n\n', "model.way: must be one of at_the_hole"),
    ('name = "film_off_pct"', 'name = "film_of_pct"', "check[1].name: must be one of"),
    ('way = "lay_films"\n\n', 'way = "lay_films"\noptions = { hand = "third" }\n\n', "hand: must be one of skilled"),
    ('way = "lay_films"\n\n', 'way = "lay_films"\noptions = { hand = [1] }\n\n', "hand: must be one of skilled"),
    ('way = "lay_films"\n\n', 'way = "lay_films"\noptions = { wipe = 1 }\n\n', "wipe: must be of the kind of T"),
    ('way = "lay_films"\n\n', "\n\n", "model: way must be given"),
    ('[model]\nway = "lay_films"\n', "", "model must be given"),
    ("asked_um = 6.0", 'part = "gearbox"', "piece[1].part: must be one of bench-block, column"),
    ("asked_um = 6.0", 'part = "../stand.toml"', "piece[1].part: must be one of bench-block, column"),
    ("asked_um = 6.0", "worked = { rounds = 61 }", "piece[1].worked.rounds: must be in [1, 60]"),
    ("asked_um = 6.0", "worked = { rounds = 2.5 }", "piece[1].worked.rounds: must be a whole number"),
    ("asked_um = 6.0", 'before = [{ do = "Polish" }]', "piece[1].before[1]: do must be one of"),
    ("asked_um = 6.0", "before = [{ do = [1] }]", "piece[1].before[1]: do must be one of"),
    ("asked_um = 6.0", 'before = [{ do = "RollFilm", kg = 3.0 }]', "piece[1].before[1]: RollFilm takes weight_um"),
    ('text = "Clean', 'hints = ["Look."]\ntext = "Clean', "step[1].hints: must be 4 (place, question, reason"),
    ("merit = 20\n", 'merit = 20\n[[check]]\nname = "film_off_pct"\npasses = 3\n', "check[2].name: must stand once"),
    ("[model]", "[seeds]\ntrials = [40, 21]\n[model]", "seeds.trials: must be the first and the last"),
    ("[model]", '[[question]]\nid = "a"\ntext = "How?"\n[model]', "question[1]: a question must have either options"),
    ("[model]", '[[question]]\nid = "a"\ntext = "How?"\nlow = 2\nhigh = 1\n[model]', "question[1].high: must be above"),
    ('"wipe"]', '"wipe"]\norders = true', "allowed.orders: must stand beside the tool scrape"),
    ("asked_um = 6.0", 'part = "stand"\nscatter_mm = 2', "piece[1].scatter_mm: must stand beside face"),
    ("minutes = 5", "minutes = nan", "minutes: must be in [1, 600] min, got nan"),
    ("length_mm = 80.0", "length = 80.0", "units missing: length must be written length_mm"),
    ('goal = "Roll a', 'goal = "R"\nnote = "Roll a', "goal: must have 3 to 400 signs, got 1"),
])  # fmt: skip
def test_what_is_unknown_missing_or_out_of_range_is_told(tmp_path, old, new, words):
    assert SMALL.count(old) == 1
    assert any(words in fault for fault in faults(tmp_path, SMALL.replace(old, new)))


ODD = ("{}", '""', "-1e308", "true", "[[1], {a = 2}]", "1979-05-27")


def test_no_broken_file_ends_in_a_traceback(tmp_path):
    """Values of another kind in place of each, then signs taken out, doubled and changed: refused or read."""
    path = tmp_path / "40-bracket.toml"
    rng = random.Random(5)
    keys = re.findall(r"^(\w+) = (.*)$", SMALL, re.MULTILINE)
    texts = [SMALL.replace(f"{key} = {value}", f"{key} = {odd}") for key, value in keys for odd in ODD]
    for _ in range(80):
        at, wide = rng.randrange(len(SMALL)), rng.randrange(1, 30)
        texts.append(SMALL[:at] + rng.choice(("", "[", '"', "=", "\0", 2 * SMALL[at : at + wide])) + SMALL[at + wide :])
    told = []
    for text in texts:
        path.write_text(text, encoding="utf-8")
        try:
            read_lesson(path)
        except BadFile as error:
            told.append(str(error))
    assert len(told) > len(texts) // 2
    assert [one for one in told if not one.startswith(str(path))] == []


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"[[piece]]\n" * 40, b"title = 1\n", b"a" * 100_000])
def test_files_that_are_no_lessons_are_refused(tmp_path, content):
    path = tmp_path / "x.toml"
    path.write_bytes(content)
    with pytest.raises(BadFile, match=r"x\.toml"):
        read_lesson(path)


def test_a_lesson_is_found_by_name_number_or_file(tmp_path):
    first = lesson_files()[0]
    assert find_lesson(first.stem) == find_lesson("1") == find_lesson("01") == read_lesson(first)
    assert find_lesson(str(written(tmp_path, SMALL))).number == 40
    with pytest.raises(BadParam, match="01-lay-a-film"):
        find_lesson("00")
    with pytest.raises(BadFile, match="must be a lesson file that can be read"):
        find_lesson(str(tmp_path / "none.toml"))


# The page


def kind_words(meant):
    """Kind, unit and range as the page has them."""
    if meant is None:
        return "list of whole numbers"
    if isinstance(meant, str):
        return KINDS[meant]
    if isinstance(meant["allowed"][0], str):
        return f"one of {', '.join(meant['allowed'])}"
    low, high = (f"{v:,.0f}" if float(v).is_integer() else f"{v:g}" for v in meant["allowed"])
    return f"{low} to {high} {meant['unit']}".rstrip()


TABLES = ("KEYS", "PIECE_KEYS", "START", "PLATE", "WORKED_KEYS", "ROWS_KEYS", "ALLOWED_KEYS", "STEP_KEYS", "BOUND_KEYS",
          "LIMIT_KEYS", "QUESTION_KEYS", "SEEDS_KEYS", "WRONG_KEYS")  # fmt: skip


@pytest.mark.parametrize("table", TABLES)
def test_every_key_is_on_the_page_with_its_kind_unit_and_range(table):
    rows = [f"| `{key}` | {kind_words(meant)} |" for key, meant in getattr(lessonfile, table).items()]
    assert [row for row in rows if row not in PAGE] == []


def test_every_table_of_keys_is_looked_for_on_the_page():
    known = {name for name in vars(lessonfile) if name.endswith("KEYS")} | {"START", "PLATE"}
    assert known == {*TABLES, "MODEL_KEYS"}
    assert set(lessonfile.MODEL_KEYS) < set(lessonfile.WRONG_KEYS)


def test_every_check_and_way_is_on_the_page_as_it_describes_itself_and_no_other():
    block = PAGE[PAGE.index("\n## Checks") : PAGE.index("\n## Cautions")]
    told = schema_lines()
    assert sum(line.startswith("| `") for line in told) == len(CHECKS) + len(WAYS)
    assert block.split("\n")[1:-1] == told, "put what `flatwright lessons --schema` prints into lessons/README.md"


def test_cautions_faults_and_parts_are_on_the_page():
    assert [key for key in CAUTIONS if f"`{key}`" not in PAGE] == []
    assert [words for words in FAULTS.values() if words not in PAGE] == []
    assert {"help", "alone", "check"} == set(PARTS)


# Every shipped lesson


LONGEST = {"title": 40, "goal": 140, "belief": 90, "permission": 120, "reason": 140, "piece": 48, "step": 200,
           "hint": 140, "question": 120, "option": 24}  # fmt: skip
NAMES = {"I"}  # words that may be written large inside a sentence
LARGE = re.compile(r"(?<![.!?:] )(?<!^)\b[A-ZÄÖÜ]\w*")


def words_of(lesson):
    """Kind and text of everything that is read."""
    yield from (("title", lesson.title), ("goal", lesson.goal), ("belief", lesson.belief))
    yield from (("permission", lesson.permission), ("reason", lesson.wrong.reason))
    yield from (("piece", one.title) for one in lesson.pieces)
    for step in lesson.steps:
        yield from (("step", step.text), *(("hint", hint) for hint in step.hints))
    for question in lesson.questions:
        yield from (("question", question.text), *(("option", one) for one in question.options))


@pytest.mark.parametrize("path", lesson_files(), ids=lambda path: path.stem)
def test_a_shipped_lesson_is_sound_and_says_what_it_must(path):
    lesson = read_lesson(path)
    assert re.fullmatch(rf"{lesson.number:02d}-[a-z0-9-]+", lesson.name)
    assert set(lesson.faults) <= set(FAULTS)
    assert lesson.faults
    assert set(lesson.cautions) <= set(CAUTIONS)
    assert all(len(step.hints) in (0, 4) for step in lesson.steps)
    assert lesson.wrong.reason
    for kind, text in words_of(lesson):
        assert len(text) <= LONGEST[kind], f"{kind}: {text}"
        assert set(LARGE.findall(text)) <= NAMES, f"no names of persons, brands or shops: {text}"


def test_shipped_lessons_have_a_number_each():
    numbers = [read_lesson(path).number for path in lesson_files()]
    assert len(set(numbers)) == len(numbers)


def test_a_name_in_a_sentence_is_seen():
    assert LARGE.findall("Take the Acme blade. Then go on: Look.") == ["Acme"]
