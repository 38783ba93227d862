"""A person's own file of strategies: registered once, or not at all and with a line that says why."""

import sys
from textwrap import dedent

import pytest

from sim.errors import BadFile
from sim.hands.own import load_own
from sim.hands.strategy import STRATEGIES

HEAD = "from sim.hands.strategy import strategy, begin, go_on\n"
MINE = HEAD + dedent('''
    print("I ran")

    @strategy("mine")
    def mine(hand):
        """Mine: as the demo does."""
        sight = yield from begin()
        yield from go_on(sight, hand)
    ''')


pytestmark = pytest.mark.usefixtures("strategies_as_before")


@pytest.fixture
def own(tmp_path):
    def write(text, name="own.py"):
        path = tmp_path / name
        path.write_text(text)
        return path

    return write


def test_it_is_registered_under_its_name_and_run_once_though_asked_for_twice(own, capsys, tmp_path):
    path = own(MINE)
    assert load_own(path) == load_own(path) == load_own(own(MINE, "copy.py")) == ["mine"]
    assert capsys.readouterr().out == "I ran\n"
    assert STRATEGIES["mine"].doc == "Mine: as the demo does."
    assert sorted(one.name for one in tmp_path.iterdir()) == ["copy.py", "own.py"], "nothing is left beside it"


def test_a_file_that_was_edited_is_run_as_it_now_stands(own):
    """Same length, same second: no compiled copy of the one before is taken."""
    with pytest.raises(BadFile, match="name mine is taken already"):
        load_own(own(MINE)), load_own(own(MINE.replace("demo", "doge")))
    assert STRATEGIES["mine"].doc == "Mine: as the demo does."
    del STRATEGIES["mine"]
    load_own(own(MINE.replace("demo", "does")))
    assert STRATEGIES["mine"].doc == "Mine: as the does does."


FAULTS = {
    "taken": (HEAD + MINE.replace('"mine"', '"bands"').replace(HEAD, ""), r"own\.py:5: .*the name bands is taken"),
    "syntax": (HEAD + "def mine(hand:\n    pass\n", r"own\.py:2: it does not run: SyntaxError: '\(' was never closed"),
    "raises": (HEAD + "\n\n1 / 0\n", r"own\.py:4: it does not run: ZeroDivisionError: division by zero"),
    "deep": (HEAD + "def f():\n    return [][1]\n\nf()\n", r"own\.py:3: it does not run: IndexError"),
    "none": (HEAD, r"own\.py: it must register a strategy with @strategy\(.a-name.\), got none"),
    "leaves": (HEAD + "import sys\nsys.exit(3)\n", r"own\.py:3: it does not run: SystemExit: 3"),
    "missing": (HEAD + "import no_such_thing\n", r"own\.py:2: .*ModuleNotFoundError: No module named 'no_such_thing'"),
    "bytes": (HEAD + "\0", r"own\.py:\d+: it does not run: (SyntaxError|ValueError): .*null bytes"),
    "lines": (HEAD + "raise ValueError('two\\nlines')\n", r"own\.py:2: it does not run: ValueError: two lines"),
    "no doc": (HEAD + "@strategy('mine')\ndef mine(hand):\n    yield\n", r"own\.py:2: .*got no doc line"),
    "half": (MINE + "\n1 / 0\n", r"own\.py:11: it does not run: ZeroDivisionError"),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_what_is_wrong_with_it_is_told_with_its_line_and_nothing_is_registered(own, fault):
    text, words = FAULTS[fault]
    before, modules = dict(STRATEGIES), set(sys.modules)
    for _ in range(2):  # the second time too
        with pytest.raises(BadFile, match=words) as told:
            load_own(own(text))
        assert "\n" not in str(told.value)
    assert before == STRATEGIES
    assert not {name for name in set(sys.modules) - modules if name.startswith("own_")}


def test_the_line_is_told_for_a_path_that_is_relative_too(own, tmp_path, monkeypatch):
    own(HEAD + "\n\n1 / 0\n")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(BadFile, match=r"^own\.py:4: it does not run"):
        load_own("own.py")


def test_what_is_no_file_of_python_is_refused(own, tmp_path):
    with pytest.raises(BadFile, match=r"gone\.py: a Python file .* is wanted: No such file"):
        load_own(tmp_path / "gone.py")
    with pytest.raises(BadFile, match="is wanted: Is a directory"):
        load_own(tmp_path)
    with pytest.raises(BadFile, match=r"own\.job: the name of a file of strategies must end in \.py"):
        load_own(own(MINE, "own.job"))
