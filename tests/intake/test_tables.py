"""Tables of points: every unit and separator that is meant, and one clear line for everything else."""

import os

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sim.errors import BadFile, ShopError
from sim.intake import tables
from sim.intake.tables import read_heights

GOOD = "x_mm,y_mm,z_um\n0,0,1\n10,0,2\n0,10,3.5\n"


@pytest.fixture
def write(tmp_path):
    def write(content):
        path = tmp_path / "face.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def columns(heights):
    return np.array([heights.x_mm, heights.y_mm, heights.z_um]).T


def test_points_come_in_mm_and_um_in_the_order_of_the_file(write):
    assert columns(read_heights(write(GOOD))).tolist() == [[0, 0, 1], [10, 0, 2], [0, 10, 3.5]]


@pytest.mark.parametrize(
    ("unit", "um"),
    [("nm", 0.001), ("um", 1), ("µm", 1), ("mm", 1000), ("cm", 1e4), ("m", 1e6), ("in", 25400), ("inch", 25400),
     ("thou", 25.4), ("mil", 25.4), ("tenths", 2.54), ("microinch", 0.0254), ("uin", 0.0254)],
)  # fmt: skip
def test_every_column_may_have_any_unit(write, unit, um):
    heights = read_heights(write(f"Z_{unit},note,Y_{unit},x_{unit}\n1,a,0,0\n2,b,0,4\n3,,5,0\n"))
    expected = np.array([[0, 0, 1], [4, 0, 2], [0, 5, 3]]) * [um / 1000, um / 1000, um]
    np.testing.assert_allclose(columns(heights), expected, rtol=1e-15)


@pytest.mark.parametrize("separator", [";", "\t"])
def test_a_decimal_comma_is_read_where_the_cells_are_parted_otherwise(write, separator):
    text = GOOD.replace(",", separator).replace("3.5", "3,5")
    assert read_heights(write(text)).z_um.tolist() == [1, 2, 3.5]


def test_a_decimal_comma_among_commas_is_refused_with_a_hint(write):
    with pytest.raises(
        BadFile, match=r"face\.csv:4: every row must have 3 cells.*got 4: a decimal comma needs ; or tab"
    ):
        read_heights(write(GOOD.replace("3.5", "3,5")))


@pytest.mark.parametrize(
    "dress",
    [
        lambda text: b"\xef\xbb\xbf" + text.encode(),
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: "# gauge 3\n\n" + text.replace("\n", "\n\n"),
        lambda text: text.replace(",", " , "),
        lambda text: text.replace("10", '"10"'),
        lambda text: text.rstrip(),
    ],
    ids=["byte order mark", "crlf", "cr", "comments and blank lines", "spaces", "quotes", "no last newline"],
)
def test_the_same_points_in_other_dress(write, dress):
    assert columns(read_heights(write(dress(GOOD)))).tolist() == [[0, 0, 1], [10, 0, 2], [0, 10, 3.5]]


@pytest.mark.parametrize(
    "cell", ["nan", "NaN", "inf", "-Infinity", "1e999", "", "abc", "1_0", "0x1A", "1 2", "--1", "١"]
)
def test_a_cell_that_is_no_finite_number_is_named_by_line_row_and_column(write, cell):
    with pytest.raises(
        BadFile, match=r"face\.csv:5: row 2 \(from 0\), column z_um: must be a finite number, got "
    ) as told:
        read_heights(write(GOOD.replace("x_mm", "# a comment\nx_mm").replace("3.5", cell)))
    assert str(told.value).endswith(repr(cell))


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("", "empty"),
        ("\n\n  \n", "empty"),
        ("0,0,1\n10,0,2\n0,10,3\n", "header must name x, y and z"),
        ("a,b\n1,2\n", "no x and no y and no z"),
        ("name = 'block'\nmass_kg = 4\ncentre_mm = [1, 2, 3]\n", "header must name x, y and z with units"),
        ("x,y,z\n0,0,1\n", "column x must name its unit"),
        ("x_mm,y_mm,z\n0,0,1\n", "column z must name its unit"),
        ("x_mm,y_mm,z_\n0,0,1\n", "column z must name its unit"),
        ("x_mm,y_mm,z_furlong\n0,0,1\n", "must be one of nm, um, mm.*got 'furlong'"),
        ("x_mm,y_mm,z_um,z_mm\n0,0,1,1\n", "one column for z is allowed, got z_um and z_mm"),
        ("x_mm,y_mm\n0,0\n", "no z in"),
        ("x_mm,y_mm,z_um\n", "at least 3 points are needed, got 0"),
        ("x_mm,y_mm,z_um\n0,0,1\n1,0,1\n", "at least 3 points are needed, got 2"),
        (GOOD + "1,2\n", ":5: every row must have 3 cells as in the header, got 2"),
        (GOOD + "1,2,3,4\n", ":5: every row must have 3 cells as in the header, got 4"),
        (GOOD + "1e7,2,3\n", ":5: row 3 .*column x_mm: must lie within 1,000,000 mm of 0, got '1e7'"),
        (b"\x89PNG\r\n\x1a\n\0\0", "binary"),
        (GOOD.encode("utf-16"), "binary"),
        (GOOD.encode() + b"\xff\n", ":5: must be text in UTF-8, got the byte 0xff"),
    ],
)
def test_a_file_of_another_kind_is_refused_with_what_is_wrong(write, content, words):
    with pytest.raises(BadFile, match=words) as told:
        read_heights(write(content))
    assert "\n" not in str(told.value)


def test_a_file_that_cannot_be_read_is_refused(tmp_path):
    with pytest.raises(BadFile, match="no such file"):
        read_heights(tmp_path / "none.csv")
    with pytest.raises(BadFile, match=r"folder|cannot be read"):
        read_heights(tmp_path)
    with pytest.raises(BadFile, match="cannot be read"):
        read_heights("a\0b")
    with pytest.raises(BadFile, match="cannot be read"):
        read_heights("a" * 5000)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything")
def test_a_locked_file_is_refused(write):
    path = write(GOOD)
    path.chmod(0)
    with pytest.raises(BadFile, match="cannot be read: Permission denied"):
        read_heights(path)


def test_a_huge_file_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "huge.csv"
    with open(path, "wb") as file:
        file.truncate(tables.MOST_BYTES + 1)  # sparse: takes no room
    with pytest.raises(BadFile, match="at most 200 MB are read, got 200 MB"):
        read_heights(path)


def test_too_many_rows_are_refused_with_the_limit(write, monkeypatch):
    monkeypatch.setattr(tables, "MOST_ROWS", 3)
    assert len(read_heights(write(GOOD))) == 3
    with pytest.raises(BadFile, match="at most 3 rows are read, got 4"):
        read_heights(write(GOOD + "1,2,3\n"))


def test_the_quick_way_and_the_slow_way_read_the_same_bits(write):
    rng = np.random.default_rng(1)
    rows = "".join(f"{x!r},{y!r},{z!r}\n" for x, y, z in rng.normal(size=(500, 3)).tolist())
    table = tables.read_table(write("x_mm,y_mm,z_um\n" + rows))
    assert (table.numbers([2, 0]) == table._numbers_one_by_one([2, 0])).all()


tableish = st.lists(
    st.sampled_from([b"x_mm", b"y_mm", b"z_um", b"x", b",", b";", b"\t", b"\n", b"\r\n", b"0", b"1", b"2.5", b"-3e2",
                     b"1e999", b"nan", b'"', b"#", b" ", b"\xff", b"\0", b"\xef\xbb\xbf", "µ\u2028\x0b".encode(),
                     b"x_mm,y_mm,z_um\n", b"0,0,1\n", b"10,0,2\n", b"0,10,3\n"]), max_size=40)  # fmt: skip


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    content=st.one_of(
        st.binary(max_size=200), tableish.map(b"".join), tableish.map(lambda p: GOOD.encode() + b"".join(p))
    )
)
def test_any_bytes_give_points_or_one_clear_line(write, content):
    path = write(content)
    try:
        heights = read_heights(path)
    except ShopError as error:
        line = str(error)
    else:
        line = ""
        assert len(heights) >= 3
        assert np.isfinite(columns(heights)).all()
    assert "\n" not in line
    assert len(line) < 600
