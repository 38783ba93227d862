"""What lessons need of the window that shows them."""

from pathlib import Path
from typing import Any, Protocol

from sim.bench.desk import Desk
from sim.bench.lettering import Ui
from sim.bench.practice import Practice
from sim.bench.read_back import ReadBack
from sim.bench.uncovered import Uncovered
from sim.shop.session import Session


class Window(Protocol):
    """What the room needs of the bench."""

    folder: Path
    jobs: Path
    size: tuple[int, int]
    ui: Ui
    page: str
    note: str
    dirty: bool
    desk: Desk | None
    done: Uncovered | None
    back: ReadBack
    group: Any
    prefs: Any

    def show(self, page: str) -> None:
        """Turn to a page."""

    def close(self) -> None:
        """Keep and let go of what is open."""

    def sit(self, desk: Desk, practice: Practice) -> None:
        """Have a desk before one."""

    def take_up(self, session: Session) -> None:
        """Lay a job of free practice on the bench."""

    def practising(self) -> str:
        """The name of who practises."""

    def to_start(self) -> None:
        """Go to the start page."""
