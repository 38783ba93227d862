"""What is done is kept, whatever happens to the file, the disk or the process."""

import errno
import json
import math
import resource
import subprocess
import sys
from dataclasses import asdict, replace

import pytest

from sim.errors import BadFile, CannotWrite
from sim.trials.ledger import ASKED, TOLD, Ledger, outcome_from, table
from sim.trials.trial import Outcome

ASK = {"physics": 13, "ways": (("bands", (("x", 1.0),)),), "runs": 3}
NAN = math.nan


def outcome(seed=1, **rest):
    figures = {"met": True, "hours": 0.1 + 0.2, "rounds": 12, "strokes": 3456, "off_marks": 7, "removed_mm3": 1e-17,
               "bearing_flatness_um": 2.5, "spots_mean": 21.0, "curve": ((0.5, 1.0, NAN, math.inf, 3.0),) * 2,
               "seconds": 1.25}  # fmt: skip
    return Outcome("bands:x=1", rest.pop("varied", NAN), seed, **{**figures, **rest})


def text(outcomes):
    return [json.dumps(asdict(one)) for one in outcomes]


@pytest.fixture
def kept(tmp_path):
    """A folder with three outcomes."""
    ledger = Ledger(tmp_path / "out", ASK)
    for seed in (1, 2, 3):
        ledger.add(outcome(seed))
    ledger.close()
    return tmp_path / "out"


# ---------------------------------------------------------------- going on


def test_it_is_gone_on_with_where_it_was_left(kept):
    ledger = Ledger(kept, ASK, resume=True)
    assert list(ledger.outcomes) == [("bands:x=1", 0.0, seed) for seed in (1, 2, 3)]
    assert text(ledger.outcomes.values()) == text(map(outcome, (1, 2, 3))), "NaN and infinity too, bit for bit"
    assert not ledger.notes
    ledger.add(outcome(4))
    ledger.close()
    assert len(Ledger(kept, ASK, resume=True).outcomes) == 4


def test_resume_on_a_new_folder_begins(tmp_path):
    Ledger(tmp_path / "a" / "b", ASK, resume=True).close()
    assert json.loads((tmp_path / "a" / "b" / ASKED).read_text())["runs"] == 3


@pytest.mark.parametrize("torn", [b'{"strategy": "ba', b'{"strategy": "bands"}', b"\xff\xfe\n", b"[]\n", b"{}\n",
                                  b"7\n", b'{"strategy": 1}\n'])
def test_a_last_line_that_is_torn_or_no_outcome_is_cut_off_and_told(kept, torn):
    whole = (kept / TOLD).read_bytes()
    (kept / TOLD).write_bytes(whole + torn)
    ledger = Ledger(kept, ASK, resume=True)
    assert ledger.notes == [f"{kept / TOLD}:4: this line is damaged; it and what follows are worked again"]
    assert len(ledger.outcomes) == 3
    assert (kept / TOLD).read_bytes() == whole
    ledger.add(outcome(4))
    assert len((kept / TOLD).read_bytes().splitlines()) == 4


def test_a_last_line_without_its_end_is_not_counted(kept):
    whole = (kept / TOLD).read_bytes()
    (kept / TOLD).write_bytes(whole[:-1])
    ledger = Ledger(kept, ASK, resume=True)
    assert len(ledger.outcomes) == 2
    ledger.add(outcome(3))
    assert (kept / TOLD).read_bytes() == whole


@pytest.mark.parametrize("change", [("met", 1), ("seed", 2.0), ("strokes", True), ("hours", "x"), ("curve", [["x"]]),
                                    ("curve", 3), ("fault", None), ("strategy", 5)])
def test_a_damaged_line_in_the_middle_ends_what_counts(kept, change):
    lines = (kept / TOLD).read_bytes().splitlines(keepends=True)
    data = {**json.loads(lines[1]), change[0]: change[1]}
    (kept / TOLD).write_bytes(lines[0] + json.dumps(data).encode() + b"\n" + lines[2])
    ledger = Ledger(kept, ASK, resume=True)
    assert [key[2] for key in ledger.outcomes] == [1]
    assert ledger.notes[0].startswith(f"{kept / TOLD}:2: this line is damaged")
    assert (kept / TOLD).read_bytes() == lines[0]


def test_a_whole_number_that_stands_for_hours_is_taken():
    data = {**json.loads(json.dumps(asdict(outcome()))), "hours": 3}
    assert type(outcome_from(data).hours) is float


@pytest.mark.parametrize(("key", "value"), [("runs", 4), ("physics", 14), ("ways", ())])
def test_other_settings_are_refused_and_named(kept, key, value):
    before = (kept / TOLD).read_bytes()
    with pytest.raises(BadFile, match=rf"{ASKED}: is another comparison, its {key} differs: name another folder"):
        Ledger(kept, {**ASK, key: value}, resume=True)
    assert (kept / TOLD).read_bytes() == before


@pytest.mark.parametrize("what", [b"", b"{", b"[]", b'"x"', b"{}"])
def test_settings_that_are_damaged_are_refused(kept, what):
    (kept / ASKED).write_bytes(what)
    with pytest.raises(BadFile, match=ASKED):
        Ledger(kept, ASK, resume=True)


def test_a_folder_that_holds_a_comparison_is_not_begun_in(kept):
    with pytest.raises(CannotWrite, match="is there already: name another folder with --out, or go on by --resume"):
        Ledger(kept, ASK)
    (kept / ASKED).unlink()
    with pytest.raises(CannotWrite, match=f"{TOLD} is there already"):
        Ledger(kept, ASK)
    with pytest.raises(BadFile, match=f"{ASKED}: no such file"):
        Ledger(kept, ASK, resume=True)


def test_a_folder_in_use_is_not_gone_on_with(kept):
    first = Ledger(kept, ASK, resume=True)
    with pytest.raises(CannotWrite, match=f"{TOLD}: another comparison is writing it"):
        Ledger(kept, ASK, resume=True)
    first.close()
    Ledger(kept, ASK, resume=True).close()


def test_a_folder_that_cannot_be_made_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotWrite, match="a folder for the comparison cannot be made"):
        Ledger(tmp_path / "file" / "out", ASK)


# ---------------------------------------------------------------- a disk that is full


class Full:
    """A file on a disk with room for so many bytes: it takes what fits, and says no word until nothing does."""

    def __init__(self, file, room):
        self.file, self.room = file, room

    def write(self, data):
        if not self.room:
            raise OSError(errno.ENOSPC, "No space left on device")
        took = self.file.write(data[: self.room])
        self.room -= took
        return took

    def __getattr__(self, name):
        return getattr(self.file, name)


@pytest.mark.parametrize("room", [0, 1, 200])
def test_on_a_full_disk_what_was_kept_stands_and_no_half_line_is_left(kept, room):
    whole = (kept / TOLD).read_bytes()
    ledger = Ledger(kept, ASK, resume=True)
    ledger._file = Full(ledger._file, room)
    for _ in range(2):  # the second time too: nothing but whole lines
        with pytest.raises(CannotWrite, match=rf"{TOLD}: cannot be written: No space left .*; 3 trials are kept"):
            ledger.add(outcome(4))
        assert (kept / TOLD).read_bytes() == whole
    assert ("bands:x=1", 0.0, 4) not in ledger.outcomes
    ledger._file = ledger._file.file  # room was made
    ledger.add(outcome(4))
    ledger.close()
    assert len(Ledger(kept, ASK, resume=True).outcomes) == 4


def test_the_system_itself_stops_a_file_in_the_middle_of_a_line(kept):
    """A limit on the size of files: the kernel takes a part of the line, then refuses."""
    whole = (kept / TOLD).read_bytes()
    limit = len(whole) + 100
    code = ("import sys; from pathlib import Path; from sim.errors import CannotWrite\n"
            "from tests.trials.test_ledger import ASK, Ledger, outcome\n"
            "ledger = Ledger(Path(sys.argv[1]), ASK, resume=True)\n"
            "try:\n    ledger.add(outcome(4))\nexcept CannotWrite as error:\n    print(error)\n")  # fmt: skip
    done = subprocess.run([sys.executable, "-c", code, str(kept)], capture_output=True, text=True, check=True,
                          preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit)))  # fmt: skip
    assert "cannot be written: File too large; 3 trials are kept" in done.stdout
    assert (kept / TOLD).read_bytes() == whole


def test_a_file_that_cannot_be_opened_is_told(kept):
    (kept / TOLD).unlink()
    (kept / TOLD).mkdir()
    with pytest.raises(CannotWrite, match=f"{TOLD}: cannot be written: Is a directory"):
        Ledger(kept, ASK, resume=True)


# ---------------------------------------------------------------- the table


def test_the_table_is_the_same_bytes_whatever_the_machine_took():
    rows = [outcome(1), outcome(2, met=False, varied=20.0, fault='own.py:3: says "no", twice', hours=1e100)]
    assert table(rows) == (
        "strategy,varied,seed,met,hours,rounds,strokes,off_marks,removed_mm3,bearing_flatness_um,spots_mean,"
        "spots_lowest,bearing_pct,against_um,fault\n"
        "bands:x=1,,1,1,0.30000000000000004,12,3456,7,1e-17,2.5,21.0,,,,\n"
        'bands:x=1,20.0,2,0,1e+100,12,3456,7,1e-17,2.5,21.0,,,,"own.py:3: says ""no"", twice"\n'
    )
    assert table([replace(row, seconds=99.0) for row in rows]) == table(rows)
    assert table([]).count("\n") == 1
