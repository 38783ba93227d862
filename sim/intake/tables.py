"""Tables of measured points: a CSV whose header names x, y and z, each with its unit."""

import re
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from sim.errors import BadFile
from sim.model.heights import Heights
from sim.units import UM_PER_INCH, UM_PER_MICROINCH, UM_PER_MM, UM_PER_TENTH

MOST_BYTES = 200_000_000
MOST_ROWS = 2_000_000
LARGEST_MM = 1e6  # one kilometre: beyond it a column has the wrong unit
UM_PER = {
    "nm": 1e-3,
    "um": 1.0,
    "mm": UM_PER_MM,
    "cm": 1e4,
    "m": 1e6,
    "in": UM_PER_INCH,
    "inch": UM_PER_INCH,
    "thou": UM_PER_INCH / 1000,
    "mil": UM_PER_INCH / 1000,
    "tenths": UM_PER_TENTH,
    "tenth": UM_PER_TENTH,
    "microinch": UM_PER_MICROINCH,
    "uin": UM_PER_MICROINCH,
}
UNITS = ", ".join(UM_PER)
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
COORDINATE = re.compile(r"([xyz])(?:_(.*))?", re.DOTALL)


@dataclass(frozen=True)
class Table:
    """A table of text cells, cut into lines but not yet into numbers.

    Attributes
    ----------
    path : str
    names : tuple of str
        The header, lower case.
    lines : list of str
        Rows below the header, without blank lines and `#` lines.
    line_numbers : list of int
        Where each row stands in the file, from 1.
    separator : str
        `,`, `;` or a tab; with the last two a decimal comma is allowed.
    """

    path: str
    names: tuple[str, ...]
    lines: list[str]
    line_numbers: list[int]
    separator: str

    def refuse(self, row: int, column: int, message: str) -> NoReturn:
        """Say what is wrong in one cell: file and line, row from 0, column by name."""
        where = f"{self.path}:{self.line_numbers[row]}: row {row} (from 0), column {self.names[column]}"
        raise BadFile(f"{where}: {message}")

    def refuse_ragged(self) -> None:
        """Raise BadFile for the first row with more or fewer cells than the header; after the header is known right."""
        for line, number in zip(self.lines, self.line_numbers, strict=True):
            cells = line.count(self.separator) + 1
            if cells != len(self.names):
                hint = ": a decimal comma needs ; or tab between the cells" if self.separator == "," else ""
                raise BadFile(f"{self.path}:{number}: every row must have {len(self.names)} cells as in the header, "
                              f"got {cells}{hint}")  # fmt: skip

    def numbers(self, columns: list[int]) -> NDArray[np.float64]:
        """The finite numbers of these columns, shape (rows, columns).

        Raises
        ------
        BadFile
            Naming the first row and column that does not hold a finite number.
        """
        if not self.lines:
            return np.empty((0, len(columns)))
        lines = self.lines if self.separator == "," else [line.replace(",", ".") for line in self.lines]
        try:
            values = np.loadtxt(lines, delimiter=self.separator, usecols=columns, comments=None, ndmin=2)
        except ValueError:
            return self._numbers_one_by_one(columns)
        return values if np.isfinite(values).all() else self._numbers_one_by_one(columns)

    def _numbers_one_by_one(self, columns: list[int]) -> NDArray[np.float64]:
        """The slow way, taken when the quick one stumbled: it knows where it is."""
        values = np.empty((len(self.lines), len(columns)))
        for row in range(len(self.lines)):
            cells = self.cells(row)
            for k, column in enumerate(columns):
                text = cells[column] if self.separator == "," else cells[column].replace(",", ".")
                value = float(text) if NUMBER.fullmatch(text) else np.nan
                if not np.isfinite(value):
                    self.refuse(row, column, f"must be a finite number, got {_shown(cells[column])}")
                values[row, k] = value
        return values

    def cells(self, row: int) -> list[str]:
        """The stripped cells of one row."""
        return [_bare(cell) for cell in self.lines[row].split(self.separator)]


def read_table(path: str | Path) -> Table:
    """Read a text table with a header line; `refuse_ragged` looks at its rows.

    Raises
    ------
    BadFile
        If the file is missing, unreadable, a folder, too large, not UTF-8 text or empty.
    """
    text = _read_text(path).replace("\r\n", "\n").replace("\r", "\n")
    lines, numbers = [], []
    for number, line in enumerate(text.split("\n"), start=1):
        if line.strip() and not line.startswith("#"):
            lines.append(line)
            numbers.append(number)
    if not lines:
        raise BadFile(f"{path}: must hold a header line and rows, got an empty file")
    if len(lines) - 1 > MOST_ROWS:
        raise BadFile(f"{path}: at most {MOST_ROWS:,} rows are read, got {len(lines) - 1:,}")
    head = lines[0]
    separator = next((mark for mark in ("\t", ";") if mark in head), ",")
    names = tuple(_bare(name).lower() for name in head.split(separator))
    return Table(str(path), names, lines[1:], numbers[1:], separator)


def read_heights(path: str | Path) -> Heights:
    """Read measured points from a table whose header names x, y and z, each with its unit.

    Parameters
    ----------
    path : str or Path
        UTF-8 text; cells parted by `,`, `;` or tabs. Headings such as `x_mm,y_mm,z_um`, in any order and
        any mix of the units in `UM_PER`; other columns are ignored. Blank lines and lines beginning with
        `#` are skipped.

    Returns
    -------
    Heights
        In the order of the file: point 0 is the first row below the header.

    Raises
    ------
    BadFile
        As `read_table`; and for a heading without a unit or with an unknown one, rows that are not all as long as
        the header, a cell that is not a finite number, a value beyond 1 km, or fewer than three points.
    """
    table = read_table(path)
    found = _coordinates(table)
    table.refuse_ragged()
    if len(table.lines) < 3:
        raise BadFile(f"{path}: at least 3 points are needed, got {len(table.lines)}")
    columns = [found[axis][0] for axis in "xyz"]
    values = table.numbers(columns)
    um = np.array([UM_PER[found[axis][1]] for axis in "xyz"])
    far = np.abs(values) * (um / UM_PER_MM) > LARGEST_MM
    if far.any():
        row, k = (int(i) for i in np.argwhere(far)[0])
        got = _shown(table.cells(row)[columns[k]])
        table.refuse(row, columns[k], f"must lie within {LARGEST_MM:,.0f} mm of 0, got {got}")
    return Heights(values[:, 0] * (um[0] / UM_PER_MM), values[:, 1] * (um[1] / UM_PER_MM), values[:, 2] * um[2])


def _coordinates(table: Table) -> dict[str, tuple[int, str]]:
    """Column and unit of x, y and z."""
    found: dict[str, tuple[int, str]] = {}
    for column, name in enumerate(table.names):
        parts = COORDINATE.fullmatch(name)
        if not parts:
            continue
        axis, unit = parts[1], (parts[2] or "").replace("µ", "u").replace("μ", "u")
        if not unit:
            raise BadFile(
                f"{table.path}: column {axis} must name its unit, such as {axis}_mm (allowed: {UNITS}), got {name!r}"
            )
        if unit not in UM_PER:
            raise BadFile(f"{table.path}: the unit of column {_shown(name)} must be one of {UNITS}, got {_shown(unit)}")
        if axis in found:
            both = f"{table.names[found[axis][0]]} and {name}"
            raise BadFile(f"{table.path}: one column for {axis} is allowed, got {both}")
        found[axis] = (column, unit)
    missing = [axis for axis in "xyz" if axis not in found]
    if missing:
        raise BadFile(
            f"{table.path}: the header must name x, y and z with units, such as x_mm,y_mm,z_um; "
            f"no {' and no '.join(missing)} in {_shown(', '.join(table.names))}"
        )
    return found


def _read_text(path: str | Path) -> str:
    """The whole file as text, or one clear line."""
    try:
        size = Path(path).stat().st_size
        if size <= MOST_BYTES:
            with open(path, "rb") as file:
                data = file.read(MOST_BYTES + 1)
            size = len(data)
    except FileNotFoundError:
        raise BadFile(f"{path}: no such file") from None
    except IsADirectoryError:
        raise BadFile(f"{path}: must be a file, got a folder") from None
    except (OSError, ValueError) as error:
        raise BadFile(f"{path!s}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if size > MOST_BYTES:
        raise BadFile(f"{path}: at most {MOST_BYTES // 1_000_000} MB are read, got {size / 1e6:.0f} MB")
    if b"\0" in data:
        raise BadFile(f"{path}: must be a text file in UTF-8, got a binary file")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise BadFile(f"{path}:{line}: must be text in UTF-8, got the byte 0x{data[error.start]:02x}") from None


def _bare(cell: str) -> str:
    return cell.strip().strip('"').strip()


def _shown(text: str) -> str:
    """A cell as it is quoted in a message: on one line, never long."""
    return repr(text if len(text) <= 60 else text[:60] + "...")
