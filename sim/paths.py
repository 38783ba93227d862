"""Where things lie: the project's own data, the user's data and what can be worked out again."""

import os
from pathlib import Path

from platformdirs import user_cache_path, user_data_path

from sim.errors import BadFile

_PACKAGE = Path(__file__).resolve().parent


def lessons() -> Path:
    """Folder of the lesson files: the checkout's, else the copy in the installed package."""
    return _own("lessons")


def assets() -> Path:
    """Folder of parts, fonts, palettes and icons: the checkout's, else the copy in the installed package."""
    return _own("assets")


def data_dir(chosen: str | None = None) -> Path:
    """Folder of what the user keeps (jobs, record). It is not made here.

    Parameters
    ----------
    chosen : str, optional
        The option `--data-dir`; else the environment's FLATWRIGHT_DATA; else the system's usual place.
    """
    named = chosen or os.environ.get("FLATWRIGHT_DATA")
    return Path(named).expanduser() if named else user_data_path("flatwright", appauthor=False)


def cache_dir() -> Path:
    """Folder of what can be worked out again: compiled kernels, worked faces. It is not made here.

    The environment's FLATWRIGHT_CACHE, else the system's usual place.
    """
    named = os.environ.get("FLATWRIGHT_CACHE")
    return Path(named).expanduser() if named else user_cache_path("flatwright", appauthor=False)


def _own(name: str) -> Path:
    """The checkout comes first: an editable install would otherwise read a stale copy."""
    checkout = _PACKAGE.parent
    if (checkout / "pyproject.toml").is_file() and (checkout / name).is_dir():
        return checkout / name
    installed = _PACKAGE / "_data" / name
    if not installed.is_dir():
        raise BadFile(f"{installed}: the folder {name}/ of flatwright is missing; install flatwright again")
    return installed
