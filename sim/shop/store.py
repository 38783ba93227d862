"""Files of a job: written whole or not at all, read up to a limit, packed in one zip to mail."""

import io
import os
import re
import zipfile
from pathlib import Path

from sim.errors import BadFile, CannotWrite
from sim.shop.commands import shown

MOST_BYTES = 200_000_000  # a log, or a packed job; a log of 40 rounds has 0.3 MB
MOST_CHECKPOINT_BYTES = 1_000_000_000


def write_new(path: Path, data: bytes, force: bool = False) -> None:
    """Write a file whole or not at all: under a passing name, to the disk, then in its place.

    Raises
    ------
    CannotWrite
        When it is there already (unless `force`) or cannot be written; nothing is left behind.
    """
    fresh = Path(f"{path}.{os.getpid()}.new")
    try:
        if path.exists() and not force:
            raise CannotWrite(f"{path}: is there already and is not overwritten without --force")
        try:
            with open(fresh, "xb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            os.replace(fresh, path)
        finally:
            fresh.unlink(missing_ok=True)
    except CannotWrite:
        raise
    except (OSError, ValueError) as error:
        raise CannotWrite(f"{path}: cannot be written: {getattr(error, 'strerror', None) or error}") from None


def read_limited(path: Path, most_bytes: int) -> bytes:
    """All bytes of a file.

    Raises
    ------
    BadFile
        Missing, a folder, unreadable, or larger than the limit, which is said.
    """
    try:
        if path.is_dir():
            raise BadFile(f"{path}: must be a file, got a folder")
        if not path.exists():
            raise BadFile(f"{path}: no such file")
        if not path.is_file():
            raise BadFile(f"{path}: must be a plain file, got a device or pipe")
        with open(path, "rb") as file:
            data = file.read(most_bytes + 1)
            size = os.fstat(file.fileno()).st_size
    except (OSError, ValueError) as error:
        if isinstance(error, BadFile):
            raise
        raise BadFile(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if len(data) > most_bytes:
        raise BadFile(f"{path}: at most {most_bytes // 1_000_000} MB are read, got {size / 1e6:.0f} MB")
    return data


def checkpoint_path(path: Path) -> Path:
    """Where the checkpoint of a job file lies: NAME.job.npz."""
    return Path(f"{path}.npz")


def packed(name: str, log: bytes, checkpoint: bytes) -> bytes:
    """One zip of a log and its checkpoint, under the name NAME.job."""
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w", zipfile.ZIP_DEFLATED, compresslevel=4) as zipped:
        for one, data in ((name, log), (f"{name}.npz", checkpoint)):
            zipped.writestr(zipfile.ZipInfo(one), data, zipfile.ZIP_DEFLATED)  # no date: equal jobs, equal zips
    return box.getvalue()


def unpacked(data: bytes, path: Path) -> tuple[bytes, bytes | None]:
    """Log and checkpoint of a packed job; nothing goes to the disk, and no size that it claims is believed.

    Raises
    ------
    BadFile
        When it holds anything but NAME.job and NAME.job.npz, is damaged, or is larger than the limits.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            names = sorted(box.namelist())
            name = names[0] if names else ""
            plain = re.fullmatch(r"[^/\\:\0]+\.job", name) is not None and not name.startswith("..")
            if not plain or names[1:] not in ([], [f"{name}.npz"]):
                held = shown(", ".join(names))
                raise BadFile(f"{path}: a packed job must hold NAME.job and NAME.job.npz alone, got {held}")
            limits = (MOST_BYTES, MOST_CHECKPOINT_BYTES)
            parts = [_unzipped(box, one, most, path) for one, most in zip(names, limits, strict=False)]
    except BadFile:
        raise
    except Exception as error:  # zipfile raises some ten kinds on damaged or odd archives
        raise BadFile(f"{path}: must be a packed job, got a zip that cannot be read: {shown(str(error))}") from None
    return parts[0], parts[1] if len(parts) > 1 else None


def _unzipped(box: zipfile.ZipFile, name: str, most_bytes: int, path: Path) -> bytes:
    with box.open(name) as member:
        data = member.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise BadFile(f"{path}: {name} in it may have at most {most_bytes // 1_000_000} MB")
    return data
