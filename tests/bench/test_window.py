"""The real window on a virtual screen, moved by a real pointer: what is on the disk is what the same gestures give."""

import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pygame
import pytest

from sim.bench.script import Player, begun
from sim.shop.commands import Scrape
from sim.shop.logbook import fingerprint, read_job_file
from sim.shop.session import Session, replay
from tests.bench.test_cycle import BY_MOUSE

TOP = Path(__file__).resolve().parents[2]
RUN = [sys.executable, "-c", "import sys; from sim.cli import main; sys.exit(main(sys.argv[1:]))", "bench"]
missing = [name for name in ("Xvfb", "xdotool") if shutil.which(name) is None]
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(bool(missing), reason=f"not installed: {', '.join(missing)}"),
]
KEYS = {"return": "Return", "escape": "Escape", "space": "space"}


@pytest.fixture
def screen():
    """A virtual screen of 1280 x 800 on a free display."""
    reading, writing = os.pipe()
    server = subprocess.Popen(["Xvfb", "-displayfd", str(writing), "-screen", "0", "1280x800x24", "-nolisten", "tcp"],
                              pass_fds=(writing,), stderr=subprocess.DEVNULL)  # fmt: skip
    os.close(writing)
    with os.fdopen(reading) as told:
        display = f":{told.readline().strip()}"
    yield display
    server.terminate()
    server.wait(10)


class Window:
    """The program in its own process, and a hand on its pointer and keys."""

    def __init__(self, display: str, folder: Path, *words: str) -> None:
        self.env = {**os.environ, "DISPLAY": display, "SDL_VIDEODRIVER": "x11", "SDL_AUDIODRIVER": "dummy",
                    "FLATWRIGHT_SAY_READY": "1", "PYTHONPATH": str(TOP)}  # fmt: skip
        self.process = subprocess.Popen([*RUN, *words, "--data-dir", str(folder)], env=self.env, stdout=subprocess.PIPE,
                                        text=True, cwd=TOP)  # fmt: skip
        lines = iter(self.process.stdout.readline, "")
        assert any(line.strip() == "READY" for line in lines), "it never drew a frame"
        found = self.xdo("search", "--sync", "--pid", str(self.process.pid)).split()
        self.xdo("windowfocus", found[-1])

    def xdo(self, *words: str) -> str:
        """One act of the pointer or the keys."""
        done = subprocess.run(["xdotool", *words], env=self.env, check=True, capture_output=True, text=True, timeout=20)
        return done.stdout

    def quit(self) -> None:
        """Ctrl+Q, and wait until it has gone."""
        self.xdo("key", "ctrl+q")
        assert self.process.wait(20) == 0


class Twin(Player):
    """Plays a script on a bench without a window, and with the pointer in the window as well."""

    window: Window | None = None

    def send(self, kind: int, **more) -> None:
        """One event, on both."""
        super().send(kind, **more)
        if self.window is None:
            return
        at = [str(n) for n in more.get("pos", ())]
        shift = bool(more.get("mod", 0) & pygame.KMOD_SHIFT)
        if kind == pygame.MOUSEMOTION:
            self.window.xdo("mousemove", *at)
        elif kind == pygame.MOUSEBUTTONDOWN:
            self.window.xdo(
                "mousemove", *at, *(("keydown", "shift") if shift else ()), "mousedown", str(more["button"])
            )
        elif kind == pygame.MOUSEBUTTONUP:
            self.window.xdo("mousemove", *at, "mouseup", str(more["button"]), *(("keyup", "shift") if shift else ()))
        elif kind == pygame.KEYDOWN:
            name = pygame.key.name(more["key"])
            self.window.xdo("key", KEYS.get(name, name))

    def _settle(self) -> None:
        super()._settle()
        if self.window is None or self.bench.desk is None:
            return
        ours = self.bench.desk.session
        theirs = self.folder / "jobs" / ours.path.name
        late = time.monotonic() + 20.0
        strokes = sum(len(c.strokes) for c in ours.commands if isinstance(c, Scrape))
        while time.monotonic() < late:  # a pass is laid while one watches
            if theirs.is_file():
                book, _ = read_job_file(theirs)
                if sum(len(c.strokes) for c in book.commands if isinstance(c, Scrape)) == strokes and [
                    type(c) for c in book.commands if not isinstance(c, Scrape)
                ] == [type(c) for c in ours.commands if not isinstance(c, Scrape)]:
                    return
            time.sleep(0.05)
        raise AssertionError("the window did not do what the bench without a window did")


def test_a_round_in_the_window_is_on_the_disk_and_the_second_print_differs_where_it_was_cut(screen, tmp_path):
    shadow, folder = tmp_path / "shadow", tmp_path / "window"
    player = begun({}, shadow)
    twin = Twin(player.bench, player.surface)
    twin.folder = folder
    twin.bench.draw(twin.surface)
    window = twin.window = Window(screen, folder)
    try:
        twin.play(BY_MOUSE[:6])
        first = twin.bench.desk.session.job.face.blue_um.copy()
        twin.play(BY_MOUSE[6:])
        window.xdo("key", "ctrl+s")
        window.quit()
    finally:
        window.process.kill()
    job = next((folder / "jobs").glob("*.job"))
    theirs, ours = Session.load(job), twin.bench.desk.session
    assert fingerprint(theirs.job) == fingerprint(ours.job), "the same gestures, the same face, bit for bit"
    assert replay(job).ok
    strokes = [s for c in theirs.commands if isinstance(c, Scrape) for s in c.strokes]
    assert strokes == [s for c in ours.commands if isinstance(c, Scrape) for s in c.strokes]
    assert len(strokes) == 15
    changed = (first >= 0.2426) != (theirs.job.face.blue_um >= 0.2426)
    assert changed.any()
    before = fingerprint(theirs.job)
    theirs.close()
    again = Window(screen, folder, str(job))
    try:
        again.quit()
    finally:
        again.process.kill()
    assert fingerprint(Session.load(job).job) == before, "opening and closing changes nothing"


def test_without_a_display_one_line_says_what_works_without_one(tmp_path):
    env = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER")}
    done = subprocess.run([*RUN, "--data-dir", str(tmp_path)], env={**env, "PYTHONPATH": str(TOP)}, capture_output=True,
                          text=True, cwd=TOP, timeout=60)  # fmt: skip
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr.count("\n") == 1
    assert "No window here" in done.stderr
    assert "demo" in done.stderr


def test_the_first_compile_is_done_by_a_child_and_the_window_comes_up_after_it(screen, tmp_path, monkeypatch):
    monkeypatch.setenv("FLATWRIGHT_CACHE", str(tmp_path / "cache"))
    window = Window(screen, tmp_path / "data")
    try:
        assert [path.name for path in (tmp_path / "cache").rglob("sealed.json")] == ["sealed.json"]
        window.quit()
    finally:
        window.process.kill()
