"""Kernels are compiled once, kept in a folder that fits them, and closed; nothing about the folder stops the work."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from sim import kernels

SIM = Path(kernels.__file__).parent.parent
KERNEL = '''"""Two kernels, the second calling the first."""

from sim.kernels import R1, W1, f8, i8, kernel, nt


@kernel(f8(f8, f8))
def scaled(value, by):
    return value * by


@kernel(nt.void(R1, f8, W1))
def scale(values, by, out):
    for i in range(values.shape[0]):
        out[i] = scaled(values[i], by)


@kernel(f8(i8))
def half(count):
    return count / 2.0
'''
PROGRAM = """
import json, sys
from sim.kernels.warm import warm
{before}
told = []
result = warm({progress})
{after}
from sim.kernels import KERNELS
misses = [sum(made.stats.cache_misses.values()) for made, _ in KERNELS if hasattr(made, "stats")]
print(json.dumps({{"compiled": result.compiled, "loaded": result.loaded, "folder": str(result.folder),
    "told": told, "misses": misses}}))
"""
LINES_OF_TROUBLE = ("cannot be used", "was damaged", "could not be used or filled")


@pytest.fixture
def room(tmp_path):
    """A copy of the package with three tiny kernels instead of the real ones."""
    (tmp_path / "sim" / "kernels").mkdir(parents=True)
    for name in ("__init__.py", "errors.py", "paths.py", "kernels/__init__.py", "kernels/warm.py"):
        shutil.copy(SIM / name, tmp_path / "sim" / name)
    (tmp_path / "sim" / "kernels" / "tiny.py").write_text(KERNEL)
    return tmp_path


def bound_by_permissions():
    """Before exec: give up root's right to write to read-only folders (PR_CAPBSET_DROP, CAP_DAC_OVERRIDE)."""
    import ctypes

    ctypes.CDLL(None).prctl(24, 1, 0, 0, 0)


def start(room, before="", after="", progress="", preexec_fn=None, **env):
    """Start a process that warms the copy."""
    setting = {name: value for name, value in os.environ.items() if not name.startswith("NUMBA_")}
    setting |= {"PYTHONPATH": str(room), "FLATWRIGHT_CACHE": str(room / "cache"), **env}
    program = PROGRAM.format(before=before, after=after, progress=progress)
    command, pipe = [sys.executable, "-c", program], subprocess.PIPE
    return subprocess.Popen(command, env=setting, stdout=pipe, stderr=pipe, text=True, cwd=room, preexec_fn=preexec_fn)


def finish(process):
    out, err = process.communicate(timeout=120)
    assert process.returncode == 0, err
    return SimpleNamespace(**json.loads(out), err=err)


def run(room, **options):
    return finish(start(room, **options))


def files(room):
    return sorted(path for path in (room / "cache").rglob("*.nb*"))


def test_the_first_start_compiles_with_progress_and_the_second_loads(room):
    tell = {"progress": "lambda *step: told.append(step)"}
    first = run(room, **tell)
    assert (first.compiled, first.loaded) == (3, 0)
    assert [tuple(step) for step in first.told] == [(0, 3, "scaled"), (1, 3, "scale"), (2, 3, "half")]
    again = run(room)
    assert (again.compiled, again.loaded, again.misses) == (0, 3, [0, 0, 0])
    assert again.err == ""
    assert Path(again.folder) == Path(first.folder)
    assert Path(first.folder).stat().st_mode & 0o777 == 0o700


@pytest.mark.slow
def test_an_edit_a_changed_bounds_check_or_another_processor_gets_a_folder_of_its_own(room):
    folders = [run(room).folder, run(room, NUMBA_BOUNDSCHECK="1").folder, run(room, NUMBA_CPU_NAME="generic").folder]
    (room / "sim" / "kernels" / "tiny.py").write_text(KERNEL.replace("value * by", "value * by + 1.0"))
    check = "import numpy as np; from sim.kernels.tiny import scale; z = np.zeros(2); scale(np.ones(2), 3, z)\n"
    edited = run(room, after=check + "assert z.tolist() == [4.0, 4.0]")
    folders.append(edited.folder)
    assert edited.compiled == 3
    assert len(set(folders)) == 4


def test_sources_edited_while_a_program_runs_do_not_poison_the_cache(room):
    edit = "import pathlib; p = pathlib.Path('sim/kernels/tiny.py'); p.write_text(p.read_text() + '# edited')"
    result = run(room, before="import sim.kernels.tiny; " + edit)
    assert (result.compiled, result.folder) == (3, "None")
    assert "edited while the program ran" in result.err
    assert not files(room)


@pytest.mark.parametrize("harm", ["garbage", pytest.param("gone", marks=pytest.mark.slow)])
def test_a_damaged_cache_is_deleted_made_again_and_said(room, harm):
    run(room)
    for path in files(room):
        if harm == "garbage":
            path.write_bytes(b"\x00garbage" * 50)
        elif path.suffix == ".nbc":
            path.unlink()
    result = run(room)
    assert (result.compiled, result.loaded) == (3, 0)
    assert sum("was damaged; deleted, compiling once more" in line for line in result.err.splitlines()) == 1
    assert files(room)


@pytest.mark.slow
def test_files_that_look_whole_but_cannot_be_loaded_are_deleted_and_done_without(room):
    run(room)
    forge = """
import sim.kernels.warm as w
for path in w.cache_folder().rglob('*.nbi'): path.write_bytes(b'not a pickle')
w._seal(w.cache_folder())"""
    result = run(room, before=forge)
    assert (result.compiled, result.folder) == (3, "None")
    assert "deleted, going on without it" in result.err
    assert not files(room)


def test_an_unfinished_cache_is_made_again_without_a_word_of_damage(room):
    run(room)
    next((room / "cache").rglob("sealed.json")).unlink()
    result = run(room)
    assert result.compiled == 3
    assert not any(trouble in result.err for trouble in LINES_OF_TROUBLE)


def test_where_nothing_can_be_written_the_kernels_compile_all_the_same(room):
    (room / "cache").write_text("a file in the way")
    result = run(room)
    assert (result.compiled, result.folder) == (3, "None")
    assert sum("cannot be used" in line for line in result.err.splitlines()) == 1


@pytest.mark.skipif(sys.platform != "linux", reason="takes root's right to write everywhere away, which is Linux only")
def test_in_a_read_only_place_the_kernels_compile_all_the_same(room):
    (room / "cache").mkdir(mode=0o500)
    result = finish(start(room, preexec_fn=bound_by_permissions))
    assert (result.compiled, result.folder) == (3, "None")
    assert "cannot be used (Permission denied)" in result.err


@pytest.mark.slow
def test_a_folder_unused_for_a_month_is_deleted(room):
    folder = Path(run(room).folder)
    old = folder.with_name("0" * 32)
    folder.rename(old)
    for path in (old, old / "sealed.json"):
        os.utime(path, (1e9, 1e9))
    assert run(room).compiled == 3
    assert not old.exists()


def test_two_processes_that_start_at_once_both_work_and_leave_a_whole_cache(room):
    started = [start(room) for _ in range(2)]
    results = [finish(process) for process in started]
    assert sorted(result.compiled for result in results) == [0, 3]
    assert run(room).loaded == 3


def test_with_the_compiler_off_kernels_are_plain_functions(room):
    check = "from sim.kernels.tiny import half; assert half(3) == 1.5 and type(half).__name__ == 'function'"
    result = run(room, after=check, NUMBA_DISABLE_JIT="1")
    assert (result.compiled, result.loaded) == (0, 0)
    assert not (room / "cache").exists()


def test_a_closed_kernel_converts_numbers_refuses_other_arrays_and_never_compiles_again(ready_kernels):
    if not hasattr(kernels.KERNELS[0][0], "signatures"):
        pytest.skip("the compiler is off")
    from sim.kernels.tiles import tile_maxima

    def highest(surface, size):
        out = np.zeros((2, 2))
        tile_maxima(surface, size, out)
        return out.tolist()

    surface = np.arange(64.0).reshape(8, 8)
    expected = [[27.0, 31.0], [59.0, 63.0]]
    frozen = surface.copy()
    frozen.setflags(write=False)
    assert highest(surface, 4) == highest(frozen, np.int32(4)) == highest(frozen, True + 3) == expected
    for wrong in (surface.astype(np.float32), np.zeros((16, 16))[::2, ::2], surface.astype(np.int64), surface.T):
        with pytest.raises(TypeError, match="No matching definition"):
            highest(wrong, 4)
    assert len(tile_maxima.signatures) == 1


def test_every_kernel_of_the_house_is_ready_for_exactly_its_declared_signature(ready_kernels):
    assert ready_kernels is not None, "some kernel does not compile: see the warning"
    for made, signature in kernels.KERNELS:
        if hasattr(made, "signatures"):
            assert made.nopython_signatures[0].args == signature.args, made.__name__
            assert len(made.signatures) == 1, made.__name__
            assert made.nopython_signatures[0].return_type == signature.return_type, made.__name__


def test_a_second_call_of_warm_has_nothing_to_do(ready_kernels):
    from sim.kernels.warm import warm

    assert warm() == warm()
    assert warm().compiled == warm().loaded == 0
