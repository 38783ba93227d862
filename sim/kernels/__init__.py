"""The hot loops: plain arrays in and out, numba here and nowhere else.

No house imports and no validation: the layer above casts, checks and calls. Only + - * / and sqrt in the
loops, so that the bits are the same on every x86 machine and with the compiler off.
"""

from collections.abc import Callable
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
KERNELS: list[tuple[Any, Any]] = []


def kernel(signature: Any) -> Callable[[Callable[..., Any]], Any]:
    """Declare a kernel with its one signature, e.g. `@kernel(f8(R2, i8))`; `warm` compiles it."""

    def declare(function: Callable[..., Any]) -> Any:
        made = numba.njit(cache=True, error_model="numpy")(function)
        KERNELS.append((made, signature))
        return made

    return declare
