"""Once a session: kernels ready, and the oracles that are missing said out loud."""

import importlib.util
import os
import sys
import warnings

import pytest

for pool in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(pool, "1")  # before numpy is loaded: figures of one core, and no fight over two


@pytest.fixture(scope="session", autouse=True)
def ready_kernels():
    """A kernel that does not compile fails its own tests and tests/kernels/test_warm.py, not all the others."""
    from sim.kernels.warm import warm

    try:
        return warm()
    except Exception as error:
        warnings.warn(f"the kernels are not ready: {error}", stacklevel=1)
        return None


def pytest_collection_modifyitems(items):
    for item in items:
        for mark in item.iter_markers("oracle"):
            missing = [name for name in mark.args if importlib.util.find_spec(name) is None]
            if missing:
                item.add_marker(pytest.mark.skip(reason=f"needs the extra `oracles`: no {', '.join(missing)}"))


@pytest.fixture
def strategies_as_before():
    """Whatever a test registers goes again."""
    from sim.hands.strategy import STRATEGIES

    before, modules = dict(STRATEGIES), set(sys.modules)
    yield
    STRATEGIES.clear()
    STRATEGIES.update(before)
    for name in set(sys.modules) - modules:
        if name.startswith("own_"):
            del sys.modules[name]
