"""Long work beside the window: in a thread of its own, with how far it is, so that the window stays awake."""

import threading
from collections.abc import Callable
from typing import Any

Progress = Callable[[int, int], None]


class Stopped(Exception):
    """Raised inside work that is not wanted any more, where it tells how far it is."""


class Aside:
    """Work that goes on aside.

    Parameters
    ----------
    words : str
        What is being done, for the page that is shown meanwhile.
    make : function of a progress function
        What it returns is the result.

    Attributes
    ----------
    share : float
        How far it is, 0 to 1; 0 while that is not known.
    """

    def __init__(self, words: str, make: Callable[[Progress], Any]) -> None:
        self.words, self.share = words, 0.0
        self._make, self._result = make, None
        self._error: BaseException | None = None
        self._stop = False
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def done(self) -> bool:
        """Whether it has come to its end."""
        return not self._thread.is_alive()

    def result(self) -> Any:
        """What it came to; waits for it, and raises what it raised."""
        self._thread.join()
        if self._error is not None:
            raise self._error
        return self._result

    def stop(self) -> None:
        """Let it end at the next step; its result is a `Stopped`."""
        self._stop = True

    def _run(self) -> None:
        try:
            self._result = self._make(self._told)
        except BaseException as error:
            self._error = error  # raised again where the result is asked for

    def _told(self, done: int, total: int) -> None:
        if self._stop:
            raise Stopped
        self.share = done / max(total, 1)
