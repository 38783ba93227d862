"""The widgets of a page together: pointer, keys, focus and hover text, and what a test of the layout asks."""

from collections.abc import Iterable, Mapping
from itertools import combinations

import pygame

from sim.bench.controls import Button, Label, Radio, Said, Slider, Toggle, Widget
from sim.bench.entries import Field, Listing, Thumb
from sim.bench.lettering import LABEL, LINE_HEIGHT, Drawn, Ui

__all__ = [
    "Button", "Drawn", "Field", "Group", "Label", "Listing", "Radio", "Said", "Slider", "Thumb", "Toggle",
    "Ui", "Widget",
]  # fmt: skip
HOVER_S = 0.5


class Group:
    """Widgets that share pointer and focus.

    `widgets` may be replaced at any time: focus, press and hover are kept by id. The focus comes by Tab, and by a
    click where one types or chooses rows; a click anywhere else lets it go, so that Space and the arrows are the
    tool's again.

    Parameters
    ----------
    widgets : iterable of Widget
        Drawn in this order.
    """

    def __init__(self, widgets: Iterable[Widget]) -> None:
        self.widgets = list(widgets)
        self.focus: str | None = None
        self.dirty = True
        """Something may look different from what was last drawn."""
        self._pressed: str | None = None
        self._hovered: str | None = None
        self._since_s = 0.0
        self._by_key = False
        self._touched: str | None = None  # Tab goes on from here
        self._refused: str | None = None  # was pressed and is not enabled: its reason is told until the pointer leaves
        self._sheets: dict[int, tuple[object, pygame.Surface]] = {}

    def renew(self, widgets: Iterable[Widget]) -> None:
        """Take other widgets in the place of these; what is being typed, and the mark in a list, stay."""
        before, made = {w.id: w for w in self.widgets}, list(widgets)
        for n, widget in enumerate(made):
            old = before.get(widget.id)
            if isinstance(old, Field) and isinstance(widget, Field) and widget.id == self.focus:
                old.rect = widget.rect
                made[n] = old
            elif isinstance(old, Listing) and isinstance(widget, Listing) and old.rows == widget.rows:
                widget.value, widget.first = old.value, old.first
        self.widgets = made

    def order(self) -> list[Widget]:
        """What Tab reaches, in reading order: areas, rows from the top, left to right.

        What is not enabled is reached only if it can say why.
        """
        rest = sorted(
            (w for w in self.widgets if w.focusable and (w.enabled or w.reason)),
            key=lambda w: (w.area, w.rect.top, w.rect.left),
        )
        ordered: list[Widget] = []
        while rest:
            first = rest[0]
            row = [w for w in rest if w is first or (w.area == first.area and w.rect.centery < first.rect.bottom)]
            ordered += sorted(row, key=lambda w: w.rect.left)
            rest = [w for w in rest if w not in row]
        return ordered

    def takes(self, event: pygame.event.Event) -> bool:
        """Whether the event belongs to the widgets, so that the tool in hand must not have it too."""
        focused = self._named(self.focus)
        if event.type in (pygame.MOUSEBUTTONDOWN, pygame.MOUSEBUTTONUP, pygame.MOUSEMOTION):
            return self._pressed is not None or self._at(event.pos) is not None
        if event.type == pygame.MOUSEWHEEL:
            return isinstance(self._named(self._hovered), Listing)
        if event.type == pygame.KEYDOWN:
            if _is_tab(event):
                return True
            return focused is not None and (event.key == pygame.K_ESCAPE or focused.wants(event))
        return event.type == pygame.TEXTINPUT and isinstance(focused, Field)

    def events(self, event: pygame.event.Event, now_s: float = 0.0) -> Said:
        """Answer an event; `now_s` for the hover text."""
        if event.type == pygame.MOUSEMOTION:
            under = self._at(event.pos)
            id = under.id if under else None
            if id != self._hovered:
                self._hovered, self._since_s, self._refused, self.dirty = id, now_s, None, True
            return self._give(self._pressed, event)
        if event.type == pygame.MOUSEBUTTONDOWN and event.button == 1:
            return self._press(event)
        if event.type == pygame.MOUSEBUTTONUP and event.button == 1:
            pressed, self._pressed = self._pressed, None
            return self._give(pressed, event)
        if event.type == pygame.MOUSEWHEEL:
            return self._give(self._hovered, event)
        if event.type == pygame.KEYDOWN:
            return self._key(event)
        return self._give(self.focus, event) if event.type == pygame.TEXTINPUT else []

    def focus_on(self, id: str | None, by_key: bool = True, take_back: bool = False) -> Said:
        """Move the focus; what the widget that it leaves has to say."""
        left, self.focus, self._by_key, self.dirty = self._named(self.focus), id, by_key, True
        if left is not None and left.id == id:
            return []
        said = left.leave(take_back) if left else []
        entered = self._named(id)
        if entered is not None:
            entered.enter(by_key)
            self._touched = id
        return said

    def draw(self, surface: pygame.Surface, ui: Ui, now_s: float = 0.0,
             sheets: Mapping[int, pygame.Rect] | None = None) -> None:
        """Draw all, then the ring of the focus, then the hover text.

        Parameters
        ----------
        sheets : mapping of area to rect, optional
            Areas that lie on a panel of their own: each is drawn again only when something on it has changed.
        """
        for widget in self.widgets:
            widget.hovered = widget.id == self._hovered and self._pressed in (None, widget.id)
            widget.pressed = widget.id == self._pressed
            widget.focused = widget.id == self.focus
        sheets = sheets or {}
        for area, rect in sheets.items():
            self._draw_sheet(surface, ui, area, rect, now_s)
        for widget in self.widgets:
            if widget.area not in sheets:
                widget.draw(surface, ui, now_s)
        focused = self._named(self.focus)
        if focused is not None and (self._by_key or focused.keeps_focus):
            ui.ring(surface, focused.rect, focused.radius)
        told = self._told(now_s)
        if told is not None:
            _hover_text(surface, ui, told.rect, told.told())
        self.dirty = False

    def _draw_sheet(self, surface: pygame.Surface, ui: Ui, area: int, rect: pygame.Rect, now_s: float) -> None:
        mine = [widget for widget in self.widgets if widget.area == area]
        looks = ui.theme.name, ui.scale, tuple(rect), [(type(w), list(vars(w).values())) for w in mine]
        moving = any(w.focused and isinstance(w, Field) for w in mine)
        kept = self._sheets.get(area)
        if kept is None or moving or ui.seen is not None or kept[0] != looks:
            surface.fill(ui.theme.panel, rect)
            pygame.draw.rect(surface, ui.theme.background, rect, 1)
            for widget in mine:
                widget.draw(surface, ui, now_s)
            self._sheets[area] = looks, surface.subsurface(rect.clip(surface.get_rect())).copy()
        else:
            surface.blit(kept[1], rect)

    def due_s(self, now_s: float) -> float | None:
        """When the next change by time alone is to be drawn: a hover text comes; None for never."""
        hovered, comes_s = self._named(self._hovered), self._since_s + HOVER_S
        return comes_s if hovered is not None and hovered.told() and comes_s > now_s else None

    def near(self, ids: Iterable[str]) -> bool:
        """Whether the pointer or the focus is on one of these."""
        return any(one in (self._hovered, self.focus) for one in ids)

    def overlaps(self) -> list[str]:
        """Pairs of widgets that lie on one another."""
        lying = [w for w in self.widgets if not w.floats]
        return [f"{a.id} lies on {b.id}" for a, b in combinations(lying, 2) if a.rect.colliderect(b.rect)]

    def clipped(self, ui: Ui) -> list[str]:
        """Text that is cut short, reaches outside its widget, or runs into other text of it."""
        right, bottom = (max(ends) for ends in zip((1, 1), *(w.rect.bottomright for w in self.widgets), strict=True))
        sheet = pygame.Surface((right, bottom))
        faults: list[str] = []
        before = ui.seen
        for widget in self.widgets:
            ui.seen = []
            widget.draw(sheet, ui)
            seen, inside = ui.seen, widget.rect.contains
            faults += [f"{widget.id}: {d.string!r} is cut short" for d in seen if d.cut]
            faults += [f"{widget.id}: {d.string!r} reaches outside" for d in seen if not inside(d.rect)]
            faults += [f"{widget.id}: {a.string!r} runs into {b.string!r}" for a, b in combinations(seen, 2)
                       if a.rect.colliderect(b.rect)]  # fmt: skip
        ui.seen = before
        return faults

    def targets_below(self, px: int) -> list[str]:
        """What is too small to hit well."""
        return [f"{w.id}: {t.width} x {t.height} px" for w in self.widgets for t in w.targets()
                if min(t.size) < px]  # fmt: skip

    def _named(self, id: str | None) -> Widget | None:
        return next((w for w in self.widgets if w.id == id), None)

    def _at(self, pos: tuple[int, int]) -> Widget | None:
        return next((w for w in reversed(self.widgets) if w.focusable and w.rect.collidepoint(pos)), None)

    def _give(self, id: str | None, event: pygame.event.Event) -> Said:
        widget = self._named(id)
        if widget is None:
            return []
        self.dirty = True
        widget.pressed = id == self._pressed
        return widget.on(event)

    def _press(self, event: pygame.event.Event) -> Said:
        under = self._at(event.pos)
        usable = under is not None and under.enabled
        said = self.focus_on(under.id if under and usable and under.keeps_focus else None, by_key=False)
        self._pressed = under.id if under and usable else None
        self._refused = under.id if under and not usable else None
        self._touched = under.id if under else None
        return said + self._give(self._pressed, event)

    def _key(self, event: pygame.event.Event) -> Said:
        if _is_tab(event):
            return self._step(-1 if event.mod & pygame.KMOD_SHIFT else 1)
        if event.key == pygame.K_ESCAPE:
            self._pressed = None
            return self.focus_on(None, take_back=True)
        if self.focus is not None:
            self._by_key = True
        return self._give(self.focus, event)

    def _step(self, way: int) -> Said:
        ids = [w.id for w in self.order()]
        if not ids:
            return []
        start = self.focus or self._touched
        if start in ids:
            return self.focus_on(ids[(ids.index(start) + way) % len(ids)])
        return self.focus_on(ids[0 if way > 0 else -1])

    def _told(self, now_s: float) -> Widget | None:
        """The widget whose hover text is to be seen: rested on; not enabled, and pressed or in focus."""
        hovered, focused = self._named(self._hovered), self._named(self.focus)
        refused = self._named(self._refused)
        if refused is not None and not refused.enabled and refused.reason:
            return refused
        rested = self._pressed is None and now_s - self._since_s >= HOVER_S
        if hovered is not None and rested and hovered.told():
            return hovered
        return focused if focused is not None and not focused.enabled and focused.reason else None


def _is_tab(event: pygame.event.Event) -> bool:
    return event.key == pygame.K_TAB and not event.mod & (pygame.KMOD_CTRL | pygame.KMOD_ALT | pygame.KMOD_META)


def _hover_text(surface: pygame.Surface, ui: Ui, by: pygame.Rect, string: str) -> None:
    """Above the widget, or below it where there is no room; always within the surface."""
    lines, pad = ui.wrapped(string, LABEL, ui.px(320)), ui.px(8)
    wide = max(ui.font(LABEL).size(line)[0] for line in lines)
    box = pygame.Rect(0, 0, wide + 2 * pad, round(len(lines) * LINE_HEIGHT * ui.px(LABEL)) + 2 * pad)
    box.midbottom = by.centerx, by.top - ui.px(8)
    if box.top < 0:
        box.midtop = by.centerx, by.bottom + ui.px(8)
    box.clamp_ip(surface.get_rect())
    ui.box(surface, box, ui.theme.raised, ui.theme.line)
    ui.text(surface, (box.left + pad, box.top + pad), string, LABEL, width=ui.px(320), wrap=True)
