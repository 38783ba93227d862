"""Files of the bench: jobs to go on with, parts to begin, copies; and the plain list that they are picked from."""

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

import pygame

from sim.bench.desk import Desk
from sim.bench.kept import desk_path, keep_beside
from sim.bench.lettering import LABEL, Ui
from sim.bench.panels import Stack
from sim.bench.start import worked_on
from sim.bench.widgets import Button, Listing, Widget
from sim.errors import BadFile, CannotWrite, ShopError
from sim.intake.drawing import read_part
from sim.shop.job import JobStart
from sim.shop.session import Session
from sim.shop.store import checkpoint_path

MOST_FILES = 200
LATER = "is not built yet on the bench"
KINDS = {
    ".csv": f"practising on measured readings {LATER}; flatwright measure and flatwright bands take them today",
    ".png": f"reading photographs {LATER}",
    ".jpg": f"reading photographs {LATER}",
    ".jpeg": f"reading photographs {LATER}",
}
FOLDER_SIGNS = 48


def free_path(folder: Path, name: str, kind: str = ".job") -> Path:
    """A name that no file has yet: NAME-1.job and so on."""
    number = 1
    while (folder / f"{name}-{number}{kind}").exists():
        number += 1
    return folder / f"{name}-{number}{kind}"


def begun(folder: Path, name: str, start: JobStart) -> Session:
    """A new job, logged in the folder of jobs.

    Raises
    ------
    BadParam, CannotWrite
        A start that cannot be made; a folder that cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotWrite(f"{folder}: jobs cannot be kept here: {error.strerror}") from None
    return Session.begin(start, free_path(folder, name))


def session_of(path: Path, folder: Path, seed: int) -> Session:
    """What a file holds: a job to go on with, or a part to begin on.

    Raises
    ------
    BadFile, BadFiles, BadParam, CannotWrite
        What is wrong with it; what cannot be opened yet.
    """
    if path.suffix.lower() in KINDS:
        raise BadFile(f"{path.name}: {KINDS[path.suffix.lower()]}")
    if path.suffix.lower() == ".toml":
        part = read_part(path)
        return begun(folder, part.name.replace(" ", "-"), JobStart(part=part, seed=seed))
    session = Session.load(path)
    if session.path is None:  # a packed job: goes on under a name of its own
        folder.mkdir(parents=True, exist_ok=True)
        session.save(free_path(folder, path.stem.removesuffix(".job")))
    return session


def is_lesson(path: Path) -> bool:
    """Whether a file looks like a lesson and not like a part: told by its content."""
    try:
        text = path.read_text("utf-8")
    except (OSError, ValueError):
        return False
    return path.suffix == ".toml" and "[[step]]" in text and "[model]" in text


def saved_copy(desk: Desk) -> str:
    """Leave a copy of a job under another name; what is to be said of it."""
    path = desk.session.path
    if path is None:
        return "This job has no file."
    try:
        copy = free_path(path.parent, f"{path.stem}-copy")
        desk.session.save(copy)
        keep_beside(desk, copy)
    except ShopError as error:
        return str(error)
    return f"Every act is saved as it is done, in {path.name}. A copy as it is now: {copy.name}"


def forget(job: Path) -> None:
    """Take away the files of a job in which nothing was done."""
    for path in (job, checkpoint_path(job), desk_path(job)):
        with suppress(OSError):
            path.unlink(missing_ok=True)


def found_files(*folders: Path) -> list[Path]:
    """Jobs and parts in these folders, the newest first."""
    found: dict[Path, float] = {}
    for folder in folders:
        for kind in ("*.job", "*.toml", "*.zip"):
            try:
                found |= {one.absolute(): one.stat().st_mtime for one in folder.glob(kind) if one.is_file()}
            except OSError:
                continue
    known = [one for one in found if one.name != "pyproject.toml"]
    return sorted(known, key=lambda one: -found[one])[:MOST_FILES]


def _folder(path: Path) -> str:
    """Where a file lies: its last folders, where the whole is long."""
    whole = str(path.parent)
    return whole if len(whole) <= FOLDER_SIGNS else f"…{whole[1 - FOLDER_SIGNS :]}"


def files_page(size: tuple[int, int], ui: Ui, files: Sequence[Path], note: str) -> list[Widget]:
    """A plain list to pick from."""
    width = min(size[0] - ui.px(64), ui.px(900))
    stack = Stack(pygame.Rect((size[0] - width) // 2, ui.px(32), width, 10), ui, area=1)
    stack.label("Open a part or a job", 26, "text", bold=True)
    stack.label("Drop a file on the window, or pick one of these: jobs kept here, and parts and jobs of this folder.")
    rows = [f"{one.name}     {worked_on(one)}     {_folder(one)}" for one in files]
    shown = max((size[1] - ui.px(260)) // ui.px(36), 3)
    empty = "Nothing here yet. A part is one TOML file; assets/parts/README.md says how to write one."
    stack.add(Listing("file", rows, value=0 if rows else -1, shown=shown, empty=empty), 36 * shown)
    stack.beside([Button("open first", "Open", enabled=bool(rows), reason="There is nothing to open."),
                  Button("back", "Back", key="Esc")])  # fmt: skip
    if note:
        stack.label(note, LABEL, "not_reached")
    return stack.made
