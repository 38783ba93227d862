"""The window: opened, fed, drawn when something changed, closed; the first compile is a child's."""

import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pygame

from sim import paths
from sim.bench.app import KEEP_S, SIZE, STEP_S, Bench
from sim.bench.drill_room import DrillRoom
from sim.bench.events import Events
from sim.bench.lettering import NAME, Ui
from sim.bench.palette import THEMES
from sim.bench.start import read_prefs
from sim.errors import BadParam
from sim.kernels.warm import SEAL, cache_folder, warm
from sim.school.making import InChild

NO_WINDOW = ("offscreen", "dummy", "evdev", "KMSDRM")


def loop(
    bench: Bench,
    surface: Callable[[], pygame.Surface],
    *,
    events: Callable[[float | None], Iterable[Any]],
    flip: Callable[[], None],
    now_s: Callable[[], float] = time.monotonic,
    drawn: Callable[[], None] | None = None,
) -> None:
    """Events, acts, a drawing if something changed, sleep; until the bench is closed."""
    feed = Events(bench)
    while bench.running:
        if bench.dirty:
            bench.draw(surface(), now_s())
            flip()
            if drawn:
                drawn()
                drawn = None
        due = bench.group.due_s(now_s())
        busy = bench.busy()
        wait = STEP_S if busy else None if due is None else max(due - now_s(), 0.0) + 0.01
        look = bench.drilling.due_s() if bench.page == "drills" else None
        if look is not None:
            wait = look if wait is None else min(wait, look)
        if bench.desk is not None and bench.desk.unkept:
            wait = KEEP_S if wait is None else min(wait, KEEP_S)
        for event in events(wait):
            feed.on(event, now_s())
        if due is not None and now_s() >= due:
            bench.dirty = True
        bench.tick(now_s())


def wait_for(timeout_s: float | None) -> list[pygame.event.Event]:
    """Events that have come; sleeps until one does, or for so long."""
    first = pygame.event.wait() if timeout_s is None else pygame.event.wait(max(int(1000 * timeout_s), 1))
    return [first, *pygame.event.get()]


def open_window(args: Any) -> int:
    """Open the window and stay until it is closed."""
    pygame.display.init()
    pygame.font.init()
    if pygame.display.get_driver() in NO_WINDOW and not os.environ.get("SDL_VIDEODRIVER"):
        pygame.display.quit()
        raise BadParam(f"No window here: no display answers. {args.without}")
    folder = paths.data_dir(args.data_dir)
    prefs = read_prefs(folder / "bench.json")
    if args.ui_scale:
        prefs = replace(prefs, scale=args.ui_scale)
    if args.theme:
        prefs = replace(prefs, theme=args.theme)
    size = args.size or SIZE
    pygame.display.set_caption("flatwright: the bench")
    pygame.display.set_mode(size, pygame.RESIZABLE)
    pygame.key.set_repeat(350, 40)
    try:
        if not _warmed(Ui(THEMES[prefs.theme], prefs.scale)):
            return 0
        bench = Bench(folder, size, prefs=prefs, seed=args.seed, drilling=DrillRoom(folder, InChild))
        if args.drill:
            bench.said("door minutes", True)
        if args.target is not None and not bench.room.opens(args.target):
            bench.open_file(Path(args.target))
        loop(bench, the_surface, events=wait_for, flip=pygame.display.flip, drawn=_say_ready)
    finally:
        pygame.display.quit()
    return 0


def the_surface() -> pygame.Surface:
    """The window's surface as it is now: resizing makes a new one."""
    surface = pygame.display.get_surface()
    assert surface is not None  # there is a window
    return surface


def _say_ready() -> None:
    if os.environ.get("FLATWRIGHT_SAY_READY"):
        print("READY", flush=True)


CHILD = "from sim.kernels.warm import warm; warm(lambda done, total, name: print(done, total, flush=True))"


def _warmed(ui: Ui) -> bool:
    """Load the kernels; where they must be compiled first, a child process does it and the window stays awake.

    False when the window was closed meanwhile.
    """
    if not (cache_folder() / SEAL).is_file():
        child = subprocess.Popen([sys.executable, "-c", CHILD], stdout=subprocess.PIPE, text=True)
        told = ["0 1"]
        reader = threading.Thread(target=lambda: told.extend(child.stdout or ()), daemon=True)
        reader.start()
        while child.poll() is None:
            for event in wait_for(0.1):
                if event.type == pygame.QUIT:
                    child.terminate()
                    return False
            done, total = (int(n) for n in told[-1].split()[:2])
            _compiling(the_surface(), ui, done, total)
            pygame.display.flip()
    warm(lambda done, total, name: None)
    return True


def _compiling(surface: pygame.Surface, ui: Ui, done: int, total: int) -> None:
    """The page that is shown once, while the kernels are compiled."""
    surface.fill(ui.theme.background)
    box = surface.get_rect()
    ui.line(
        surface,
        box.move(0, -ui.px(40)),
        "Getting the computation ready, once, for some twenty seconds",
        NAME,
        align="centre",
    )
    bar = pygame.Rect(0, 0, ui.px(360), ui.px(12))
    bar.center = box.center
    ui.box(surface, bar, ui.theme.raised, ui.theme.line)
    surface.fill(ui.theme.accent, (bar.left, bar.top, round(bar.width * done / max(total, 1)), bar.height))
