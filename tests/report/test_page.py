"""The report as a reader and a browser meet it."""

import dataclasses
import subprocess
import sys
import types

import numpy as np
import pytest

from sim.errors import CannotWrite
from sim.model.face import face_from_heights
from sim.model.marks import Marks
from sim.report.page import DemoReport, chosen_rounds, demo_page, save_readme_pictures, write_demo_report
from sim.target import Target
from tests.report.reading import Reader


def round_log(number, met=False):
    rng = np.random.default_rng(number)
    return types.SimpleNamespace(
        film_um=3.0 if number < 10 else 1.5, blade="rough" if number < 10 else "fine", push_n=250.0,
        round=number, strokes=500 * number, strokes_this_round=500, shop_hours=0.25 * number,
        bearing_flatness_um=30.0 / number, spots_mean=2.0 * number, spots_lowest=1.0 * number, spots_cv=0.3,
        bearing_pct=1.0 * number, met=met, picture=rng.integers(0, 256, (28, 40)).astype(np.uint8),
    )  # fmt: skip


@pytest.fixture(scope="module")
def demo():
    rng = np.random.default_rng(1)
    x = np.tile(np.arange(160.0), (112, 1))
    start = face_from_heights(1e-3 * (x - 80.0) ** 2 + rng.normal(0.0, 1.0, x.shape))
    end = face_from_heights(-20.0 + rng.normal(0.0, 1.0, x.shape))
    marked = end.height_um > -19.0
    return DemoReport(
        title="Foot", seed=7, hand="skilled", target=Target(), rounds=[round_log(n, n >= 14) for n in range(1, 16)],
        met_round=14, totals={"bearing_flatness_um": 2.0, "spots_mean": 30.0, "spots_lowest": 15.0, "bearing_pct": 15.0,
                              "removed_mm3": 321.0, "strokes_off_marks_pct": 4.5},
        start_face=start, end_face=end, marks=Marks(marked, end.scored, end.pitch_mm), lowest_at_mm=(14.0, 13.0),
    )  # fmt: skip


@pytest.fixture(scope="module")
def page(demo):
    return demo_page(demo)


@pytest.fixture
def no_charts(monkeypatch):
    monkeypatch.setattr("sim.report.figures.themed_svg", lambda draw, size_in, alt: "<svg></svg>")


def test_the_page_is_well_formed(page):
    read = Reader(page)
    assert not read.faults
    assert not read.open
    ids = [attrs["id"] for _, attrs in read.tags if "id" in attrs]
    assert len(ids) == len(set(ids)), "charts share an id: one would take the other's clip"


def test_the_page_asks_for_nothing_from_outside_and_runs_nothing(page):
    read = Reader(page)
    assert not {tag for tag, _ in read.tags} & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for _, attrs in read.tags:
        assert not [name for name in attrs if name.startswith("on")]
        for name in ("src", "href", "xlink:href"):
            assert attrs.get(name, "#").startswith(("data:image/png", "#"))
    assert "@import" not in page
    assert "url(http" not in page


def test_every_picture_is_told_in_words(page):
    read = Reader(page)
    told = [attrs.get("alt" if tag == "img" else "aria-label") for tag, attrs in read.tags if tag in ("img", "svg")]
    assert len(told) == 12 + 6 + 4  # prints, curves, face
    assert all(told)
    assert len(set(told)) == len(told)


def test_charts_take_their_colours_from_the_style_sheet(page):
    from sim.report.figures import VARIABLES

    body = page[page.index("<body>"):]
    assert not [colour for colour in VARIABLES if colour in body]
    assert "var(--rust)" in body


def test_the_page_tells_verdict_scorecard_and_every_round(page, demo):
    text = " ".join("".join(Reader(page).text).split())
    assert "Met in round 14 after 3.5 h." in text
    told = ("skilled", "4.5 % of the strokes", "321", "60 strokes a minute", "flatwright model", "linseed", "cobalt")
    assert not [words for words in told if words not in text]
    rows = page[page.index("<details>"): page.index("</details>")].count("<tr>")
    assert rows == len(demo.rounds) + 1


def test_each_print_names_its_film_and_the_stages_are_told_by_round(page):
    text = "".join(Reader(page).text)
    assert "Round 1 · film 3 µm · 0.2 h" in text
    assert "Round 15 · film 1.5 µm · 3.8 h" in text
    for which, what in (("1–9", "rough blade, film 3 µm"), ("10–15", "fine blade, film 1.5 µm")):
        assert f"<dt>Rounds {which}</dt><dd>{what}, push 250 N</dd>" in page


def test_no_spots_are_a_dash_in_the_tables_and_never_a_nan(demo):
    bare = demo.rounds[0]
    bare = types.SimpleNamespace(**{**vars(bare), "spots_mean": 0.0, "spots_cv": float("nan"), "blade": ""})
    bare.film_um = bare.push_n = float("nan")
    text = "".join(Reader(demo_page(dataclasses.replace(demo, rounds=[bare], met_round=None))).text)
    assert "Round 1 · 0.2 h" in text
    assert "–" in text[text.index("The one round"):]
    assert "nan" not in text.lower()


def test_a_face_that_is_not_done_says_what_is_missing(demo, no_charts):
    short = dataclasses.replace(demo, met_round=None, totals={**demo.totals, "spots_lowest": 3.0})
    text = "".join(Reader(demo_page(short)).text)
    assert "Not met in 15 rounds." in text
    assert "spots, lowest square 3 " in text
    assert "A ring marks" not in text


def test_what_a_user_names_cannot_become_markup(demo, no_charts):
    nasty = "<script>alert('1')</script> & \"co\" <!-- --> \udcff"
    page = demo_page(dataclasses.replace(demo, title=nasty, hand=nasty))
    read = Reader(page)
    assert not read.faults
    assert "script" not in {tag for tag, _ in read.tags}
    assert "".join(read.text).count(nasty) >= 2


def test_the_same_demo_makes_the_same_page(page, demo):
    assert demo_page(demo) == page


@pytest.mark.filterwarnings("error")
def test_a_single_round_makes_a_page(demo):
    one = dataclasses.replace(demo, rounds=demo.rounds[:1], met_round=None)
    assert not Reader(demo_page(one)).faults


def test_first_and_last_round_are_always_among_the_chosen():
    rounds = [round_log(n) for n in range(1, 41)]
    chosen = [log.round for log in chosen_rounds(rounds, 12)]
    assert (chosen[0], chosen[-1], len(set(chosen))) == (1, 40, 12)
    assert set(np.diff(chosen)) <= {3, 4}
    assert chosen_rounds(rounds[:3], 12) == rounds[:3]


def test_a_report_that_is_there_is_kept_unless_forced(tmp_path, demo, monkeypatch):
    monkeypatch.setattr("sim.report.page.demo_page", lambda _: "<!DOCTYPE html>µ\udcff")
    path = tmp_path / "deep" / "report.html"
    write_demo_report(path, demo)
    path.write_text("mine")
    with pytest.raises(CannotWrite, match="--force"):
        write_demo_report(path, demo)
    assert path.read_text() == "mine"
    write_demo_report(path, demo, force=True)
    assert path.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert [found.name for found in path.parent.iterdir()] == ["report.html"]


def test_a_folder_that_is_a_file_is_told_in_one_line(tmp_path, demo, monkeypatch):
    monkeypatch.setattr("sim.report.page.demo_page", lambda _: "")
    (tmp_path / "file").write_text("")
    with pytest.raises(CannotWrite, match=r"file/report\.html"):
        write_demo_report(tmp_path / "file" / "report.html", demo)


def test_the_pictures_of_the_readme_are_three_small_files(tmp_path, demo):
    paths = save_readme_pictures(demo, tmp_path)
    assert [path.name for path in paths] == ["prints.png", "curves.png", "heights.png"]
    for path in paths:
        assert path.read_bytes().startswith(b"\x89PNG")
        assert path.stat().st_size < 250_000
    with pytest.raises(CannotWrite):
        save_readme_pictures(demo, tmp_path)


def test_the_module_of_the_page_does_not_load_matplotlib():
    code = "import sys, sim.report.page; sys.exit('matplotlib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
