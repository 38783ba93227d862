"""The house keeps its order: who may import whom, how long things are, what every public name must say."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parent.parent

# Rooms from left to right, modules in order: a module imports only from what comes before it.
ROOMS = {
    "": "errors units params target paths",
    "kernels": "tiles touch cut ink stoning islands overlap grain warm",
    "model": "face start heights part plate film blade marks",
    "intake": "tables levels surfaces photo keyed soundness drawing",
    "seat": "rigid compliant stance hinge",
    "process": "bluing machining recut stroke stone heat",
    "measure": "flatness lay orient spots gauge grades verdict",
    "shop": "luck job sight commands partwork store starts logbook checkpoint session rounds",
    "hands": "skill lanes bands autopilot strategy own stand worked",
    "trials": "trial stats ledger executor comparison plan",
    "books": "rows recordfile shopcards moving record standing shoplog",
    "school": "cautions faults calls seen evidence remark print_rules stroke_rules finish coach view bank item "
    "kinds_marks kind_false kinds_prints kinds_faces kind_next kinds replies readers "
    "sitting today making lesson attempt facts check checks_reading recorded checks_iron checks way ways_reading "
    "ways_iron ways lessonfile trials play aloud steps turns keeping parts classbook resultfile classroom result cards "
    "exercises",
    "report": "tables figures recut part piece page part_page progress lesson_text class_page compare_words "
    "compare_tables compare_figures compare_asked compare_page map paper cards_page sheet_parts sheet",
    "bench": "palette viewport iron gestures hand_today pieces back desk other_hand practice kept hold lettering "
    "controls entries widgets uncovered coach_line panels inhand signs pane keys key_page start files read_back finish "
    "aside watching lesson_desk lesson_strip lesson_pages lesson_board lesson_window lesson_work lesson_room "
    "drills shown drillpage drill_room "
    "openings app events window script",
    "cli": "bench demo seat measure flycut part bands cards model replay pack drill lessons lesson record class "
    "compare",
}
ORDER = [f"{room}.{name}".lstrip(".") for room, names in ROOMS.items() for name in ("__init__", *names.split())]
ONLY_IN = {"numba": "kernels", "matplotlib": "report", "pygame": "bench"}
FORBIDDEN_MODULES = {"pickle", "cPickle", "marshal", "shelve", "dill"}
FORBIDDEN_CALLS = {"eval", "exec", "compile", "__import__"}
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".gitignore", "sim", "assets", "lessons", "tests", ".ci",
}  # fmt: skip
BANNED_NAMES = {"utils", "helpers", "common", "core", "manager"}

MODULES = sorted((TOP / "sim").rglob("*.py"))
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}
FUNCTION = ast.FunctionDef | ast.AsyncFunctionDef
every_module = pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(TOP)))
every_module_but_kernels = pytest.mark.parametrize(
    "path", [path for path in MODULES if path.parent.name != "kernels"], ids=lambda path: str(path.relative_to(TOP))
)  # kernels take plain arrays; numba knows no keyword-only arguments


def name_of(path: Path) -> str:
    """`room.module`, or `module` at the top, or `__init__` for the package itself."""
    return ".".join(path.relative_to(TOP / "sim").with_suffix("").parts)


def imported(path: Path) -> list[tuple[int, str]]:
    """Line and full name of every module imported anywhere in the file; `from sim.room import x` may name a module."""
    found = []
    for node in ast.walk(TREES[path]):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: imports are written in full"
            found += [(node.lineno, f"{node.module}.{alias.name}") for alias in node.names]
    return found


def module_meant(full: str) -> str | None:
    """Name in ORDER of the house module that a dotted import reaches; None for other packages and `sim` itself."""
    parts = full.split(".")
    if parts[0] != "sim":
        return None
    for end in range(len(parts), 1, -1):
        inside = TOP.joinpath("sim", *parts[1:end])
        if inside.with_suffix(".py").is_file():
            return ".".join(parts[1:end])
        if inside.is_dir():
            return ".".join([*parts[1:end], "__init__"])
    return None


def faults(path: Path) -> list[str]:
    """Imports of what does not come before this module in ORDER."""
    here = ORDER.index(name_of(path))
    return [
        f"{path}:{line}: {meant} does not come before {name_of(path)}"
        for line, full in imported(path)
        if (meant := module_meant(full)) is not None and meant != name_of(path) and ORDER.index(meant) > here
    ]


@every_module
def test_every_module_has_its_place_in_the_order(path):
    assert name_of(path) in ORDER, "enter it in ROOMS at the top of tests/test_house.py"
    assert not BANNED_NAMES & set(name_of(path).split("."))
    assert (path.parent / "__init__.py").is_file(), "a room without __init__.py is not found by `flatwright model`"


@every_module
def test_a_module_imports_only_from_what_comes_before_it(path):
    assert not faults(path)


@every_module
def test_kernels_import_nothing_of_the_house_but_each_other(path):
    if name_of(path).startswith("kernels.") and name_of(path) != "kernels.warm":
        meant = {module_meant(full) for _, full in imported(path)} - {None}
        assert {name.split(".")[0] for name in meant} <= {"kernels"}


def test_an_import_to_the_right_is_seen(monkeypatch):
    path = TOP / "sim" / "errors.py"
    wrong = "from sim import paths\nfrom sim.cli import model\nimport sim.kernels.warm"
    monkeypatch.setitem(TREES, path, ast.parse(wrong))
    assert [fault.split(": ")[1].split()[0] for fault in faults(path)] == ["paths", "cli.model", "kernels.warm"]


@every_module
def test_each_heavy_package_stays_in_its_room(path):
    packages = {full.split(".")[0] for _, full in imported(path)}
    for package in packages & set(ONLY_IN):
        assert name_of(path).split(".")[0] == ONLY_IN[package], f"{package} only in sim/{ONLY_IN[package]}"


@every_module
def test_nothing_runs_or_unpickles_what_it_was_given(path):
    assert not FORBIDDEN_MODULES & {full.split(".")[0] for _, full in imported(path)}
    calls = [node for node in ast.walk(TREES[path]) if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)]
    assert not [f"{path}:{call.lineno}" for call in calls if call.func.id in FORBIDDEN_CALLS]
    allowed = [word for call in ast.walk(TREES[path]) if isinstance(call, ast.Call)
               for word in call.keywords if word.arg == "allow_pickle"]  # fmt: skip
    assert all(isinstance(word.value, ast.Constant) and word.value.value is False for word in allowed)


def code_lines(function: FUNCTION) -> int:
    """Lines from `def` to the end that are neither docstring, comment nor blank."""
    body = function.body
    told = ast.get_docstring(function, clean=False) is not None
    skipped = range(body[0].lineno, body[0].end_lineno + 1) if told else range(0)
    return sum(1 for line in LINES[function] if line not in skipped)


LINES = {}
for _path, _tree in TREES.items():
    _text = _path.read_text(encoding="utf-8").split("\n")
    for _node in ast.walk(_tree):
        if isinstance(_node, FUNCTION):
            _span = range(_node.lineno, _node.end_lineno + 1)
            LINES[_node] = [n for n in _span if _text[n - 1].strip() and not _text[n - 1].lstrip().startswith("#")]


@every_module
def test_modules_and_functions_stay_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 500
    functions = [node for node in ast.walk(TREES[path]) if isinstance(node, FUNCTION)]
    assert not [f"{node.name}: {code_lines(node)} code lines" for node in functions if code_lines(node) > 60]


@every_module_but_kernels
def test_functions_take_at_most_five_positional_arguments(path):
    over = []
    for node in ast.walk(TREES[path]):
        if isinstance(node, FUNCTION):
            names = [a.arg for a in (*node.args.posonlyargs, *node.args.args) if a.arg not in ("self", "cls")]
            over += [f"{node.name}: {len(names)}"] if len(names) > 5 else []
    assert not over


@every_module
def test_every_public_name_says_what_it_is(path):
    tree = TREES[path]
    assert ast.get_docstring(tree), "the module says what it is for"
    public = [node for node in tree.body if isinstance(node, (ast.ClassDef, *FUNCTION.__args__))]
    public += [inner for node in public if isinstance(node, ast.ClassDef) and not node.name.startswith("_")
               for inner in node.body if isinstance(inner, FUNCTION)]  # fmt: skip
    overrides = {"problems", "warnings", "act", "takes_s", "bites"}  # of Command
    told_by_the_root = overrides if path.stem in ("commands", "partwork") else set()
    silent = [node.name for node in public if not node.name.startswith("_") and not ast.get_docstring(node)]
    assert not set(silent) - told_by_the_root


def test_the_top_level_holds_only_what_the_house_names():
    listed = subprocess.run(["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    assert {name.split("/")[0] for name in listed.stdout.splitlines()} <= TOP_LEVEL
    for name in ("assets", "lessons"):
        assert (TOP / name / "README.md").is_file()


def test_the_readme_begins_with_the_two_commands_of_one_line_each():
    blocks = re.findall(r"^```\w*\n(.*?)^```", (TOP / "README.md").read_text(encoding="utf-8"), re.S | re.M)
    first, second = (block.splitlines() for block in blocks[:2])
    assert len(first) == len(second) == 1
    assert first[0].endswith("/flatwright demo")
    assert "pytest" in second[0]
    assert "[dev]" in second[0]
