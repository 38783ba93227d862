"""Items made in a process of their own, so that a window stays awake: their facts come by as JSON, their pictures raw.

Figures that name no other origin are common practice, no source.
"""

import contextlib
import json
import queue
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import IO, Any, Protocol

import numpy as np

from sim.errors import BadParam, ShopError
from sim.kernels.warm import warm
from sim.school.item import Item
from sim.school.kinds import KINDS, make_item, whole_bank
from sim.school.today import Wanted
from sim.school.view import Picture

CHILD = "from sim.school.making import serve; serve()"
AHEAD = f"import os; getattr(os, 'nice', int)(10); {CHILD}"
GONE_S = 5.0  # how long a child has to end by itself


class Maker(Protocol):
    """Who makes items: one is asked for, and is there some time later."""

    def ask(self, wanted: Wanted) -> None:
        """Let it be made; what was asked for before and not fetched is dropped."""

    def made(self) -> Item | None:
        """What was asked for last, once; None while it is being made."""

    def ahead(self, wanted: Wanted) -> None:
        """This may come later and takes long: let it be made beside, if there is somebody for it."""

    def close(self) -> None:
        """Nothing more is wanted."""


class AtOnce:
    """Makes an item when it is fetched, in this process."""

    def __init__(self) -> None:
        self._wanted: Wanted | None = None

    def ask(self, wanted: Wanted) -> None:
        """Remember it."""
        self._wanted = wanted

    def made(self) -> Item | None:
        """The item, with its pictures; None when nothing was asked for.

        Raises
        ------
        ShopError
            When the iron that is there holds no such item.
        """
        wanted, self._wanted = self._wanted, None
        if wanted is None:
            return None
        item = make_item(wanted.kind, wanted.level, wanted.seed, wanted.condition)
        assert item.pictures  # drawn here and kept with it
        return item

    def ahead(self, wanted: Wanted) -> None:
        """There is nobody for it."""

    def close(self) -> None:
        """Nothing is held."""


class InChild:
    """Makes items in a child process, which is started by the first; what it cannot do is done here.

    Notes
    -----
    A thread waits at the pipe and puts whole answers in a queue; it touches nothing else. The same item comes out as
    from `make_item` here: facts are plain data, pictures follow from them. What is made ahead is a second child's, who
    steps back for the first one; its facts are then found in the cache.
    """

    def __init__(self, command: Sequence[str] = (sys.executable, "-c", CHILD),
                 beside: Sequence[str] = (sys.executable, "-c", AHEAD)) -> None:
        self._command, self._beside = tuple(command), tuple(beside)
        self._child: subprocess.Popen[bytes] | None = None
        self._second: subprocess.Popen[bytes] | None = None
        self._begun: set[Wanted] = set()
        self._told: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._wanted: Wanted | None = None
        self._alone = AtOnce()
        self._gone = False  # nothing more comes from the child: a pipe may still take what nobody reads

    def ask(self, wanted: Wanted) -> None:
        """Let the child make it."""
        self._wanted = wanted
        if self._gone:
            return
        try:
            if self._child is None:
                self._start()
            assert self._child is not None
            assert self._child.stdin is not None
            self._child.stdin.write(json.dumps(asdict(wanted)).encode() + b"\n")
            self._child.stdin.flush()
        except OSError:
            self._gone = True  # or there can be none

    def made(self) -> Item | None:
        """The item when the child has sent it; made here when the child has gone.

        Raises
        ------
        ShopError
            When the iron that is there holds no such item.
        """
        while self._wanted is not None:
            if self._gone:
                self._alone.ask(self._wanted)
                self._wanted = None
                return self._alone.made()
            try:
                told = self._told.get_nowait()
            except queue.Empty:
                return None
            if told is None:
                self._gone = True
            elif told["wanted"] == asdict(self._wanted):
                wanted, self._wanted = self._wanted, None
                return _put_together(wanted, told)
        return None

    def ahead(self, wanted: Wanted) -> None:
        """Let a second child make it, one at a time and each once; without one it is not made ahead."""
        if wanted in self._begun or (self._second is not None and self._second.poll() is None):
            return
        self._begun.add(wanted)
        with contextlib.suppress(OSError):
            self._second = subprocess.Popen(self._beside, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL,
                                            stderr=subprocess.DEVNULL)  # fmt: skip
            assert self._second.stdin is not None
            self._second.stdin.write(json.dumps(asdict(wanted)).encode() + b"\n")
            self._second.stdin.close()

    def close(self) -> None:
        """Let the children end; they are ended when they do not."""
        children, self._child, self._second = (self._child, self._second), None, None
        self._wanted, self._gone, self._begun = None, False, set()
        for child in children:
            if child is not None:
                _end(child)

    def _start(self) -> None:
        self._told = queue.Queue()
        self._child = subprocess.Popen(self._command, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                       stderr=subprocess.DEVNULL)  # fmt: skip
        assert self._child.stdout is not None
        threading.Thread(target=_listen, args=(self._child.stdout, self._told), daemon=True).start()


def _end(child: subprocess.Popen[bytes]) -> None:
    child.terminate()
    try:
        child.wait(GONE_S)
    except subprocess.TimeoutExpired:
        child.kill()
        child.wait()
    for pipe in (child.stdin, child.stdout):
        if pipe is not None:
            _shut(pipe)


def _shut(pipe: IO[bytes]) -> None:
    with contextlib.suppress(OSError):  # what was not yet read by a child that has gone
        pipe.close()


def _listen(pipe: IO[bytes], told: "queue.Queue[dict[str, Any] | None]") -> None:
    """Put every whole answer in the queue, and None when there will be no more."""
    try:
        for one in _answers(pipe):
            told.put(one)
    except (OSError, ValueError, KeyError):
        pass  # cut off in the middle: as if it had gone
    told.put(None)


def _answers(pipe: IO[bytes]) -> Iterator[dict[str, Any]]:
    while line := pipe.readline():
        head = json.loads(line)
        for one in head.get("pictures", ()):
            size = int(np.prod(one["shape"]))
            data = pipe.read(size)
            if len(data) != size:
                return
            one["rgb"] = data
        yield head


def _put_together(wanted: Wanted, told: dict[str, Any]) -> Item:
    """The item of an answer of the child."""
    if "error" in told:
        raise BadParam(told["error"])
    item = KINDS[wanted.kind][0](wanted.level, wanted.condition, wanted.seed, told["facts"], whole_bank())
    shown = tuple(
        Picture(np.frombuffer(one["rgb"], np.uint8).reshape(one["shape"]), one["px_per_mm"], one["caption"],
                np.array(one["plane"]))
        for one in told["pictures"])  # fmt: skip
    vars(item)["pictures"] = shown  # where `cached_property` keeps what `draw` gave
    return item


def serve(asked: IO[bytes] | None = None, told: IO[bytes] | None = None) -> None:
    """What the child does: for each line that asks, one line and the pictures' bytes; until there are no more lines."""
    asked, told = asked or sys.stdin.buffer, told or sys.stdout.buffer
    warm(lambda done, total, name: None)
    maker = AtOnce()
    for line in asked:
        wanted = Wanted(**json.loads(line))
        maker.ask(wanted)
        head: dict[str, Any] = {"wanted": asdict(wanted)}
        pictures: tuple[Picture, ...] = ()
        try:
            item = maker.made()
            assert item is not None
            pictures = item.pictures
            head |= {"facts": item.facts, "pictures": [
                {"shape": one.rgb.shape, "px_per_mm": one.px_per_mm, "caption": one.caption,
                 "plane": one.plane.tolist()} for one in pictures]}  # fmt: skip
        except ShopError as error:
            head["error"] = str(error)
        told.write(json.dumps(head).encode() + b"\n")
        for one in pictures:
            told.write(one.rgb.tobytes())
        told.flush()
