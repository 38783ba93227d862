"""The widgets of the bench: focus, pointer and keys, what they draw, and what a layout test may ask of them."""

import os

import pytest

os.environ.setdefault("SDL_VIDEODRIVER", "dummy")
pygame = pytest.importorskip("pygame")

from sim.bench.lettering import GOAL  # noqa: E402
from sim.bench.palette import DARK, LIGHT, contrast  # noqa: E402
from sim.bench.widgets import (  # noqa: E402
    Button,
    Field,
    Group,
    Label,
    Listing,
    Radio,
    Slider,
    Thumb,
    Toggle,
    Ui,
)

Rect = pygame.Rect
STATIONS = (
    ("Roll", "Q", "4 µm"), ("Spot", "W", "lifted"), ("Read", "E", "14 calls"), ("Scrape", "A", "in hand"),
    ("Stone", "S", "not yet"), ("Wipe", "D", "not yet"),
)  # fmt: skip
INSTRUMENTS = (("Indicator", "T"), ("Hinge", "G"), ("Chalk", "F"), ("Square", "M"))


@pytest.fixture(autouse=True, scope="module")
def letters():
    pygame.display.init()
    pygame.font.init()
    yield
    pygame.font.quit()
    pygame.display.quit()


def press(key, mod=0):
    return pygame.event.Event(pygame.KEYDOWN, key=key, mod=mod)


def typed(text):
    return pygame.event.Event(pygame.TEXTINPUT, text=text)


def moved(pos):
    return pygame.event.Event(pygame.MOUSEMOTION, pos=pos, rel=(0, 0), buttons=(0, 0, 0))


def down(pos, button=1):
    return pygame.event.Event(pygame.MOUSEBUTTONDOWN, pos=pos, button=button)


def up(pos, button=1):
    return pygame.event.Event(pygame.MOUSEBUTTONUP, pos=pos, button=button)


def click(group, pos):
    return group.events(down(pos)) + group.events(up(pos))


def tray(scale=1.0, wide=116, high=64, pitch=132):
    def at(*numbers):
        return Rect(*(round(n * scale) for n in numbers))

    stations = [
        Button(name, name, key, sub, done=name in ("Roll", "Spot", "Read"), in_hand=name == "Scrape",
               next=name == "Stone", rect=at(16 + i * pitch, 654, wide, high))
        for i, (name, key, sub) in enumerate(STATIONS)
    ]  # fmt: skip
    return stations + [
        Button(name, name, key, rect=at(820 + i * 115, 654, 107, high)) for i, (name, key) in enumerate(INSTRUMENTS)
    ]


def one_of_each(enabled=True):
    no = {"enabled": enabled, "reason": "" if enabled else "This lesson does not allow it yet."}
    picture = pygame.Surface((80, 55))
    return [
        Button("button", "Take my calls", rect=Rect(10, 10, 150, 36), **no),
        Toggle("toggle", "Outlines of marks", rect=Rect(10, 60, 200, 36), **no),
        Radio("radio", list("123456"), 2, rect=Rect(10, 110, 268, 36), **no),
        Slider("slider", "Row", 2.0, (0.5, 6.0), 0.5, rect=Rect(10, 160, 268, 44), **no),
        Field("field", "9", unit="%", rect=Rect(10, 220, 120, 36), **no),
        Listing("listing", ["a", "b", "c", "d"], 0, 3, rect=Rect(10, 270, 200, 96), **no),
        Thumb("thumb", picture, "print 7", rect=Rect(300, 10, 96, 84), **no),
    ]


def a_page():
    widgets = [*tray(), *one_of_each(), Label("goal", "Read one square", role="muted", rect=Rect(300, 120, 200, 24))]
    for i, other in enumerate(one_of_each(enabled=False)):
        other.id, other.area = f"no {i}", 1
        other.rect = other.rect.move(500, 0)
        widgets.append(other)
    return widgets


def test_tab_goes_in_reading_order_and_round_again():
    a, b, c, d = (Button(n, n, rect=Rect(*xy, 40, 32)) for n, xy in
                  (("right", (60, 4)), ("left", (10, 0)), ("below", (10, 50)), ("first", (500, 300))))  # fmt: skip
    a.area = b.area = c.area = 1
    group, seen = Group([a, b, c, d]), []
    for _ in range(5):
        group.events(press(pygame.K_TAB))
        seen.append(group.focus)
    assert seen == ["first", "left", "right", "below", "first"]
    group.events(press(pygame.K_TAB, pygame.KMOD_SHIFT))
    assert group.focus == "below"


def test_tab_reaches_what_is_not_enabled_only_if_it_says_why():
    group = Group([Button("a", "a"), Button("b", "b", enabled=False), Button("c", "c", enabled=False, reason="dull")])
    assert [w.id for w in group.order()] == ["a", "c"]


def test_each_widget_acts_by_mouse():
    group = Group(one_of_each())
    assert click(group, (50, 20)) == [("button", True)]
    assert click(group, (50, 70)) == [("toggle", True)]
    assert click(group, (270, 120)) == [("radio", 5)]
    assert group.events(down((270, 180))) == [("slider", 6.0)]
    assert group.events(moved((-50, 180))) == [("slider", 0.5)]
    group.events(up((-50, 180)))
    assert click(group, (50, 320)) == [("listing", 1)]
    assert click(group, (320, 30)) == [("thumb", True)]


@pytest.mark.parametrize(
    "name, keys, answer",
    [
        ("button", [pygame.K_SPACE], True), ("button", [pygame.K_RETURN], True), ("toggle", [pygame.K_SPACE], True),
        ("radio", [pygame.K_RIGHT], 3), ("radio", [pygame.K_HOME], 0), ("slider", [pygame.K_LEFT], 1.5),
        ("slider", [pygame.K_UP], 2.5), ("listing", [pygame.K_DOWN, pygame.K_DOWN, pygame.K_RETURN], 2),
        ("thumb", [pygame.K_RETURN], True), ("field", [pygame.K_RETURN], "9"),
    ],
)  # fmt: skip
def test_each_widget_acts_by_key(name, keys, answer):
    group = Group(one_of_each())
    group.focus_on(name)
    assert [said for key in keys for said in group.events(press(key))] == [(name, answer)]


def test_a_release_outside_does_nothing():
    group = Group(one_of_each())
    for pos in ((50, 20), (50, 70), (270, 120), (50, 320), (320, 30)):
        assert group.events(down(pos)) == []
        assert group.events(up((700, 500))) == []
        assert group.events(up(pos)) == [], "the press is over"


def test_escape_ends_a_press_and_the_other_buttons_never_press():
    group = Group(one_of_each())
    group.events(down((50, 20)))
    group.events(press(pygame.K_ESCAPE))
    assert group.events(up((50, 20))) == []
    assert group.events(down((50, 20), 3)) + group.events(up((50, 20), 3)) == []


def test_what_is_not_enabled_never_acts():
    group = Group(one_of_each(enabled=False))
    before = [getattr(w, "value", None) for w in group.widgets]
    for widget in group.widgets:
        assert click(group, widget.rect.center) == []
        group.focus_on(widget.id)
        for key in (pygame.K_SPACE, pygame.K_RETURN, pygame.K_RIGHT, pygame.K_DOWN, pygame.K_END):
            assert group.events(press(key)) == []
        assert group.events(typed("7")) == []
    assert [getattr(w, "value", None) for w in group.widgets] == before
    assert group.widgets[4].text == "9"


def test_space_and_arrows_are_the_tools_unless_a_widget_has_the_focus():
    group = Group(one_of_each())
    assert not group.takes(press(pygame.K_SPACE))
    click(group, (50, 20))
    assert not group.takes(press(pygame.K_SPACE)), "a click on a button leaves the keys with the tool"
    group.focus_on("button")
    assert group.takes(press(pygame.K_SPACE))
    assert not group.takes(press(pygame.K_q))
    group.focus_on("field")
    assert group.takes(press(pygame.K_q))
    group.events(press(pygame.K_ESCAPE))
    assert group.focus is None
    assert group.takes(down((50, 20)))
    assert not group.takes(down((700, 500)))


def test_typing_replaces_what_tab_has_marked_and_escape_takes_it_back():
    field = Field("count", "9", rect=Rect(0, 0, 100, 36))
    group = Group([field])
    group.events(press(pygame.K_TAB))
    for letter in "12":
        group.events(typed(letter))
    assert field.text == "12"
    assert group.events(press(pygame.K_RETURN)) == [("count", "12")]
    group.events(press(pygame.K_END))
    group.events(press(pygame.K_BACKSPACE))
    assert field.text == "1"
    assert group.events(press(pygame.K_ESCAPE)) == []
    assert field.text == "12"


def test_a_field_tells_its_change_when_the_focus_leaves_and_pastes_in_one_line(monkeypatch):
    monkeypatch.setattr("sim.bench.entries.clipboard", lambda: "a\nb")
    field = Field("name", "x", rect=Rect(0, 0, 100, 36))
    group = Group([field, Button("b", "b", rect=Rect(0, 50, 50, 32))])
    click(group, (10, 10))
    group.events(press(pygame.K_v, pygame.KMOD_CTRL))
    assert field.text == "xa b"
    assert group.events(press(pygame.K_TAB)) == [("name", "xa b")]


def test_a_long_text_in_a_field_stays_in_its_box_with_the_caret_seen():
    field = Field("name", "a rather long name of a copy of a job", rect=Rect(0, 0, 120, 36))
    group = Group([field])
    group.focus_on("name", by_key=False)
    assert group.clipped(Ui(DARK)) == []


def test_a_list_scrolls_to_its_mark_and_by_the_wheel():
    listing = Listing("jobs", [str(i) for i in range(20)], 0, 5, rect=Rect(0, 0, 200, 160))
    group = Group([listing])
    group.focus_on("jobs")
    group.events(press(pygame.K_END))
    assert listing.first == 15
    group.events(moved((10, 10)))
    group.events(pygame.event.Event(pygame.MOUSEWHEEL, x=0, y=3))
    assert listing.first == 12
    assert click(group, (10, 10)) == [("jobs", 12)]


def test_focus_and_press_outlive_new_widgets_of_the_same_id():
    group = Group(one_of_each())
    group.focus_on("radio")
    group.events(down((50, 20)))
    group.focus_on("radio")
    group.widgets = one_of_each()
    assert group.events(up((50, 20))) == [("button", True)]
    assert group.focus == "radio"


def test_the_reason_comes_half_a_second_after_the_pointer_rests():
    def picture(now_s):
        surface = pygame.Surface((400, 200))
        group.draw(surface, ui, now_s)
        return pygame.image.tobytes(surface, "RGB")

    stone = Button("a", "Stone", rect=Rect(100, 100, 90, 36), enabled=False, reason="In lesson 6.")
    ui, group = Ui(DARK), Group([stone])
    nothing = picture(0.0)
    group.events(moved((120, 110)), 10.0)
    assert group.due_s(10.0) == pytest.approx(10.5)
    assert picture(10.4) == nothing
    ui.seen = []
    assert picture(10.6) != nothing
    assert "In lesson 6." in [d.string for d in ui.seen]
    assert group.due_s(10.6) is None


@pytest.mark.parametrize("theme", [DARK, LIGHT], ids=["dark", "light"])
def test_every_text_can_be_read_on_what_lies_under_it(theme):
    ui, surface = Ui(theme), pygame.Surface((1280, 800))
    group = Group(a_page())
    ui.seen = []
    for focus in [None, *(w.id for w in group.order())]:  # each in focus, each under the pointer, each pressed
        group.focus_on(focus)
        place = (0, 799) if focus is None else next(w for w in group.widgets if w.id == focus).rect.center
        for now_s, event in ((0.0, moved(place)), (1.0, down(place)), (1.0, moved((0, 799)))):
            surface.fill(theme.panel)
            group.events(event, now_s)
            group.draw(surface, ui, 1.0)
        group.events(up((0, 799)))
    assert len({d.string for d in ui.seen}) > 30
    assert min((contrast(d.colour, d.ground), d.string) for d in ui.seen) >= (4.5, "")


def test_no_target_is_small_and_a_small_one_is_named():
    assert Group(a_page()).targets_below(32) == []
    narrow = Radio("push", list("123456"), rect=Rect(0, 0, 120, 36))
    assert Group([narrow]).targets_below(32) == ["push: 20 x 36 px"] * 6


@pytest.mark.parametrize("scale", [1.0, 1.25, 1.5])
def test_the_labels_of_the_tray_have_room(scale):
    group = Group(tray(scale))
    assert len(group.widgets) == 10
    assert group.clipped(Ui(DARK, scale)) == []
    assert group.overlaps() == []


def test_the_labels_of_the_tray_have_room_in_the_small_window():
    assert Group(tray(wide=92, high=52, pitch=100)[:6]).clipped(Ui(DARK)) == []


def test_faults_of_a_layout_are_named():
    group = Group([
        Button("a", "Finish this face", rect=Rect(0, 0, 60, 36)), Label("b", "two\nlines", rect=Rect(50, 0, 50, 20)),
        Button("c", "Indicator", "T", "x", rect=Rect(200, 0, 108, 64)),
    ])  # fmt: skip
    assert group.overlaps() == ["a lies on b"]
    assert group.clipped(Ui(LIGHT)) == [
        "a: 'Finish this face' is cut short", "b: 'lines' reaches outside", "c: 'Indicator' runs into 'T'",
    ]  # fmt: skip


def test_letters_are_as_wide_as_the_grid_reckons():
    goal = "Take only the marks that stand highest; leave the rest alone"
    assert Ui(DARK).font(GOAL, bold=True).size(goal)[0] == pytest.approx(576, abs=20)


@pytest.mark.parametrize("theme", [DARK, LIGHT], ids=["dark", "light"])
def test_no_pixel_of_a_widget_is_blue(theme):
    surface = pygame.Surface((1280, 800))
    surface.fill(theme.panel)
    Group(a_page()).draw(surface, Ui(theme))
    pixels = pygame.surfarray.array3d(surface).astype(int)
    assert (pixels[..., 2] - pixels[..., :2].max(axis=-1)).max() <= 12, "line and raised are greys; nothing is bluer"


def test_drawing_forty_widgets(benchmark):
    ui, surface, group = Ui(DARK), pygame.Surface((1280, 800)), Group(a_page() + tray() + tray())
    assert len(group.widgets) >= 40
    benchmark(group.draw, surface, ui, 1.0)
    if benchmark.enabled:
        assert benchmark.stats.stats.median <= 0.002


def test_a_panel_that_was_kept_looks_as_one_that_is_drawn_anew_after_every_change():
    ui = Ui(DARK)
    rect = pygame.Rect(0, 0, 400, 200)

    def made(label, done=False):
        button = Button("a", label, done=done, area=1)
        button.rect = pygame.Rect(20, 20, 160, 60)
        return [button]

    kept = Group([])
    surface, fresh = pygame.Surface((400, 200)), pygame.Surface((400, 200))
    done = ("two", True)
    steps = ((("one",), None), (("one",), None), (("two",), None), (done, None), (done, (50, 50)), (done, (300, 150)))
    for widgets, moved in steps:
        kept.widgets = made(*widgets)
        new = Group(made(*widgets))
        for group, sheet in ((kept, surface), (new, fresh)):
            if moved:
                group.events(pygame.event.Event(pygame.MOUSEMOTION, pos=moved, rel=(0, 0), buttons=(0, 0, 0)))
            sheet.fill((1, 2, 3))
            group.draw(sheet, ui, 0.0, {1: rect})
        assert surface.get_buffer().raw == fresh.get_buffer().raw
