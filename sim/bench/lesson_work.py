"""What lessons have done aside: the page that says so meanwhile, and what comes after it."""

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Any

from sim.bench.aside import Aside, Progress, Stopped
from sim.bench.lesson_window import Window
from sim.errors import ShopError


class LessonWork(ABC):
    """The part of the room of lessons that waits for work done aside.

    Attributes
    ----------
    work : Aside or None
        What is done aside now.
    """

    def __init__(self, window: Window) -> None:
        self.window = window
        self.work: Aside | None = None
        self._then: Callable[[Any], None] = lambda result: None
        self._back_to: Callable[[], None] = self._back

    @abstractmethod
    def _back(self) -> None:
        """Go where one was before."""

    @abstractmethod
    def _failed(self, error: Exception) -> None:
        """Say what went wrong."""

    def aside(self, words: str, make: Callable[[Progress], Any], then: Callable[[Any], None],
              back: Callable[[], None] | None = None) -> None:  # fmt: skip
        """Do something aside, on a page that says so, then go on with its result; `back`: when it is stopped."""
        self.work, self._then, self._back_to = Aside(words, make), then, back or self._back
        self.window.show("working")

    def stop_work(self) -> None:
        """Stop what is done aside; the bench is as it was before."""
        if self.work is not None:
            self.work.stop()
            self.work = None
        self._back_to()

    def _come_back(self, work: Aside) -> None:
        """What was done aside has ended."""
        self.work = None
        try:
            self._then(work.result())
        except Stopped:
            self._back_to()
        except (ShopError, OSError) as error:
            self._back_to()
            self._failed(error)
