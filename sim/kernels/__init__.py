"""The hot loops: plain arrays in and out, numba here and nowhere else.

No validation: the layer above casts, checks and calls. Only + - * / and sqrt in the loops, so that the bits are
the same on every x86 machine and with the compiler off. Kernels import nothing of the house but each other; only
`warm`, which is no kernel, asks `sim.paths` for the cache folder.

A kernel called before `warm` compiles in memory for the arguments it meets. `warm` compiles or loads the declared
signature of every kernel and closes it, so call it first wherever time or bits matter.
"""

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba
from numba.core import types as nt

f8, i8, b1 = nt.float64, nt.int64, nt.boolean
R1, R2, R3 = (nt.Array(f8, n, "C", readonly=True) for n in (1, 2, 3))
W1, W2, W3 = (nt.Array(f8, n, "C") for n in (1, 2, 3))
RI1, RI2 = (nt.Array(i8, n, "C", readonly=True) for n in (1, 2))
WI1, WI2 = (nt.Array(i8, n, "C") for n in (1, 2))
RB1, RB2 = (nt.Array(b1, n, "C", readonly=True) for n in (1, 2))
WB2 = nt.Array(b1, 2, "C")


def sources() -> str:
    """Digest of every source of the room, where it lies included; numba's cache would miss an edit in another file."""
    room = Path(__file__).parent
    digest = hashlib.sha256(str(room).encode())
    for source in sorted(room.glob("*.py")):
        digest.update(f"\0{source.name}\0".encode() + source.read_bytes())
    return digest.hexdigest()


SOURCES = sources()  # as imported; `warm` keeps nothing when they have changed since
KERNELS: list[tuple[Any, Any]] = []


def kernel(signature: Any) -> Callable[[Callable[..., Any]], Any]:
    """Declare a kernel with its one signature, e.g. `@kernel(f8(R2, i8))`; `warm` compiles it.

    Caching is switched on by `warm`, which knows the folder.
    """

    def declare(function: Callable[..., Any]) -> Any:
        made = numba.njit(error_model="numpy")(function)
        KERNELS.append((made, signature))
        return made

    return declare
