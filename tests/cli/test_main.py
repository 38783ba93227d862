"""The command line: light until it works, one line for what a user can mend, the traceback for what is our fault."""

import argparse
import os
import subprocess
import sys
from types import ModuleType

import pytest

import sim
from sim import cli
from sim.errors import BadFile, CannotWrite

LOADED = """
import sys
from sim.cli import main
try:
    code = main(sys.argv[1:])
except SystemExit as end:
    code = end.code
heavy = {"numpy", "scipy", "numba", "pygame", "matplotlib", "rich"} & set(sys.modules)
print("HEAVY", sorted(heavy), "CODE", code)
"""
HARD = "import sys; from sim.cli import main; sys.exit(main(sys.argv[1:]))"


@pytest.fixture
def command(monkeypatch):
    """Stands in for every command; what it does is set by the test."""
    made = ModuleType("stand-in")
    made.NAME, made.HELP, made.run = "model", "stands in", lambda args: 0
    made.add_arguments = lambda parser: parser.add_argument("--depth-um", type=float, default=3.0)
    monkeypatch.setattr(cli, "COMMANDS", ("model",))
    monkeypatch.setattr(cli, "DEFAULT", "model")
    monkeypatch.setattr(cli.importlib, "import_module", lambda name: made)
    return made


def raises(error):
    def run(args: argparse.Namespace) -> int:
        raise error

    return run


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["model", "--help"], ["model", "--jsn"]])
def test_help_version_and_refusals_load_nothing_heavy(words):
    done = subprocess.run([sys.executable, "-c", LOADED, *words], capture_output=True, text=True, check=True)
    assert "HEAVY [] CODE " + ("2" if "--jsn" in words else "0") in done.stdout


def test_the_help_lists_every_command_and_the_version_tells_the_physics(capsys):
    with pytest.raises(SystemExit) as ended:
        cli.main(["--help"])
    assert ended.value.code == 0
    told = capsys.readouterr().out
    assert all(f"\n    {name} " in told for name in cli.COMMANDS)
    with pytest.raises(SystemExit):
        cli.main(["--version"])
    assert capsys.readouterr().out == f"flatwright {sim.__version__} (physics {sim.PHYSICS})\n"


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_every_command_keeps_the_form_that_the_table_expects(name):
    module = cli.importlib.import_module(f"sim.cli.{name}")
    assert name == module.NAME
    assert module.HELP.endswith(".")
    module.add_arguments(argparse.ArgumentParser(prog=name))
    assert callable(module.run)


@pytest.mark.parametrize("words, name", [
    ("part:", "FILE must name a file"), ("part:--out:", "--out must name a folder"),
    ("demo:--part:", "--part must name a file"), ("demo:--out:", "--out must name a folder"),
    ("bands:", "READINGS must name a file"), ("bands:x:--datum:", "--datum must name a file"),
    ("bands:x:--out:", "--out must name a folder"), ("replay:", "FILE must name a file"),
    ("pack:", "JOB must name a file"), ("pack:x:--out:", "--out must name a file"),
    ("seat::--load-at:1,2", "FILE must name a file"), ("flycut:--out:", "--out must name a folder"),
    ("measure:", "FILE must name a file"), ("measure:x:--datum:", "--datum must name a file"),
    ("record:--out:", "--out must name a folder"), ("record:--take-in:", "--take-in must name a file"),
    ("class:", "ASSIGNMENT.toml or FOLDER must name a file"), ("class:x:--out:", "--out must name a folder"),
    ("measure:x:--out:", "--out must name a folder"), ("measure:--levels::--foot:4in", "--levels must name a file"),
])  # fmt: skip
def test_an_empty_name_is_refused_by_every_command_in_the_same_words(words, name, capsys, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert cli.main(words.split(":")) == 2
    assert capsys.readouterr() == ("", f"flatwright: {name}, got ''\n")
    assert not list(tmp_path.iterdir())


def test_nothing_at_all_runs_the_default_command(command, monkeypatch):
    seen = []
    command.run = lambda args: seen.append(args.depth_um) or 0
    monkeypatch.setattr(sys, "argv", ["flatwright"])
    assert cli.main() == 0
    assert seen == [3.0]


@pytest.mark.parametrize(
    "words, said",
    [
        (["modle"], "invalid choice: 'modle'"),
        (["--model"], "an option must come after its command, got --model first: flatwright model --model"),
        (["model", "--depth-um", "deep"], "argument --depth-um: invalid float value: 'deep'"),
        (["model", "--depth", "3"], "unrecognized arguments: --depth 3 (see `flatwright model --help`)"),
        (["model", "--depth-um"], "argument --depth-um: expected one argument"),
        (["model", "extra"], "unrecognized arguments: extra"),
    ],
)
def test_a_wrong_word_on_the_line_is_one_line_and_2(command, capsys, words, said):
    assert cli.main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("flatwright: ")
    assert said in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("error", [BadFile("points.csv: row 3,\ncolumn z_um: got 'x'"), CannotWrite("out: is a file")])
def test_what_a_user_can_mend_is_one_line_and_2(command, capsys, error):
    command.run = raises(error)
    assert cli.main(["model"]) == 2
    out, err = capsys.readouterr()
    assert (out, err) == ("", f"flatwright: {' '.join(str(error).split())}\n")


def test_an_interrupt_is_one_line_and_130(command, capsys):
    command.run = raises(KeyboardInterrupt())
    assert cli.main(["model"]) == 130
    assert capsys.readouterr().err == "flatwright: stopped\n"


@pytest.mark.parametrize("error", [ValueError("ours"), OSError("ours"), ZeroDivisionError("ours")])
def test_a_fault_of_ours_keeps_its_traceback(command, error):
    command.run = raises(error)
    with pytest.raises(type(error), match="ours"):
        cli.main(["model"])


def test_a_reader_that_goes_away_ends_the_run_quietly():
    read, write = os.pipe()
    os.close(read)
    command = [sys.executable, "-c", HARD, "model", "--json"]
    done = subprocess.run(command, stdout=write, stderr=subprocess.PIPE, check=False)
    os.close(write)
    assert (done.returncode, done.stderr) == (141, b"")


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs an output that is always full")
@pytest.mark.parametrize("words", [("model",), ("model", "--json")])
def test_an_output_that_is_full_is_one_line_and_2(words):
    with open("/dev/full", "w", encoding="utf-8") as full:
        done = subprocess.run([sys.executable, "-c", HARD, *words], stdout=full, stderr=subprocess.PIPE, check=False)
    assert done.returncode == 2
    assert done.stderr.startswith(b"flatwright: the output must be written, got: ")
    assert done.stderr.count(b"\n") == 1


def test_a_terminal_that_knows_ascii_only_gets_plain_letters():
    env = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = subprocess.run([sys.executable, "-c", HARD, "model"], capture_output=True, env=env, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
    assert done.stdout.isascii()
    assert b"depth" in done.stdout
    assert b"um" in done.stdout


def test_a_run_without_any_output_does_its_work():
    inner = f"subprocess.call([sys.executable, '-c', {HARD!r}, 'model'])"
    words = [sys.executable, "-c", f"import os, subprocess, sys; os.close(1); sys.exit({inner})"]
    done = subprocess.run(words, stderr=subprocess.PIPE, check=False)
    assert (done.returncode, done.stderr) == (0, b"")
