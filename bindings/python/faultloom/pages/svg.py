"""A laid out harness as SVG."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from xml.etree import ElementTree

from faultloom._words import percent
from faultloom.pages import layout as lay
from faultloom.pages.harness import read_harness, suspected_part
from faultloom.pages.layout import Cell, Layout, Placed
from faultloom.pages.marks import STEPS, Marks, step_of
from faultloom.pages.style import STYLE
from faultloom.pages.symbols import Kinds, strokes
from faultloom.pages.text import clean, fit, rounded, width

WIDTH = 1240.0
NARROW = 720.0
_HEAD = 44.0
_LEGEND_LINE = 18.0
_CASES = (0, 3.2, 3.8, 4.4, 5.0, 5.6)

_Node = ElementTree.Element


def harness_drawing(
    vehicle: Mapping[str, Any],
    kinds: Kinds,
    marks: Marks | None = None,
    *,
    heading: str = "",
    note: str = "",
    suspects_only: bool = False,
    styled: bool = True,
) -> str:
    """Draws the harness of a vehicle as SVG.

    Args:
        vehicle: Vehicle document, checked.
        kinds: Member "kinds" of the kinds document.
        marks: Suspects and entries to mark.
        heading: What stands above; the vehicle's title if "".
        note: A line below the heading.
        suspects_only: Only what is suspected, what was measured, and the wires between, on a
            narrower page.
        styled: With colors of its own; False inside a page that has `style.STYLE`.

    Returns:
        The same text for the same arguments; no reference to anything outside. With
        `suspects_only` "" if there is nothing to show.
    """
    marks = marks or Marks()
    shown = suspected_part(vehicle, marks) if suspects_only else set()
    harness = read_harness(vehicle, kinds, shown)
    if suspects_only and (not shown or not harness.zones):
        return ""
    wide = NARROW if suspects_only else WIDTH
    drawn = lay.lay_out(harness, marks, wide, _HEAD if heading or note else lay.MARGIN)
    return _Drawing(vehicle, marks, drawn).text(heading, note, styled=styled)


class _Drawing:
    """The tree of one drawing as it grows; what is added later lies on top."""

    def __init__(self, vehicle: Mapping[str, Any], marks: Marks, layout: Layout) -> None:
        self.vehicle, self.marks, self.layout = vehicle, marks, layout
        self.looms = {
            loom: chr(ord("A") + k) if k < 26 else f"A{k}"
            for k, loom in enumerate(dict.fromkeys(b.loom for b in layout.bundles))
        }
        self.root = ElementTree.Element(
            "svg", {"xmlns": "http://www.w3.org/2000/svg", "class": "hd", "role": "img"}
        )

    def text(self, heading: str, note: str, *, styled: bool) -> str:
        """The whole drawing."""
        root = self.root
        title = clean(heading) or clean(self.vehicle.get("title") or self.vehicle["id"])
        ElementTree.SubElement(root, "title").text = f"Harness drawing: {title}"
        if styled:
            ElementTree.SubElement(root, "style").text = STYLE
        sheet = self.add(root, "rect", "sheet", x="0", y="0")
        room = self.layout.width - 2 * lay.MARGIN
        if heading or note:
            self.write(root, lay.MARGIN, 20, heading, "title", most=room, size=14, bold=True)
            self.write(root, lay.MARGIN, 35, note, "soft", most=room)
        self._areas()
        self._bundles()
        self._wires()
        self._loom_labels()
        for placed in self.layout.placed:
            self._tile(placed)
        height = self._legend(self.layout.height)
        for node in (root, sheet):
            node.set("width", rounded(self.layout.width))
            node.set("height", rounded(height))
        root.set("viewBox", f"0 0 {rounded(self.layout.width)} {rounded(height)}")
        return ElementTree.tostring(root, encoding="unicode") + "\n"

    # -- pieces ------------------------------------------------------------------------------------

    def add(self, parent: _Node, name: str, css: str, **attributes: str) -> _Node:
        """An element below another."""
        return ElementTree.SubElement(parent, name, {"class": css, **attributes})

    def box(self, parent: _Node, css: str, *sides: float) -> _Node:
        """A rectangle: x, y, width, height."""
        named = zip(("x", "y", "width", "height"), map(rounded, sides), strict=True)
        return self.add(parent, "rect", css, **dict(named))

    def write(
        self,
        parent: _Node,
        x: float,
        y: float,
        text: str,
        css: str = "",
        *,
        anchor: str = "start",
        most: float | None = None,
        size: float = lay.TEXT_SIZE,
        bold: bool = False,
        full: str = "",
    ) -> None:
        """A line of text, cut to `most`; what was cut is in its title."""
        whole = clean(text)
        line = whole if most is None else fit(whole, most, size, bold=bold)
        if not line:
            return
        at = {"x": rounded(x), "y": rounded(y), "text-anchor": anchor}
        node = self.add(parent, "text", css, **at)
        node.text = line
        whole = clean(full) or whole
        if whole != line:
            ElementTree.SubElement(node, "title").text = whole

    # -- ground ------------------------------------------------------------------------------------

    def _areas(self) -> None:
        zones = self.vehicle.get("zones", {})
        for area in self.layout.areas:
            group = self.add(self.root, "g", "zone")
            self.box(group, "area", area.x, area.y, area.width, area.height)
            name = zones.get(area.zone, {}).get("title", area.zone) or "No place given"
            self.write(
                group,
                area.x + lay.TILE_GAP,
                area.y + 14,
                name,
                "name",
                most=area.width - 2 * lay.TILE_GAP,
                size=lay.TITLE_SIZE,
                bold=True,
            )

    def _bundles(self) -> None:
        ground = self.add(self.root, "g", "bundles")
        for bundle in self.layout.bundles:
            self.box(ground, "loom", bundle.x, bundle.y, bundle.width, bundle.height)

    def _loom_labels(self) -> None:
        """In the trunk, along each loom."""
        looms = self.vehicle.get("looms", {})
        group = self.add(self.root, "g", "loom-labels")
        for bundle in (b for b in self.layout.bundles if b.in_trunk):
            title = looms.get(bundle.loom, {}).get("title", bundle.loom) or "Not in a loom"
            letter = self.looms[bundle.loom]
            room = bundle.label_high - bundle.label_low - 12
            whole = f"{letter}  {clean(title)}"
            line = fit(whole, room, lay.TEXT_SIZE, bold=True)
            line = line if len(line) > len(letter) + 4 else fit(letter, room, lay.TEXT_SIZE)
            if not line:
                continue
            x, y = bundle.x + lay.LABEL_LANE - 4, bundle.label_high - 6
            turn = f"rotate(-90 {rounded(x)} {rounded(y)})"
            node = self.add(group, "text", "strong", x=rounded(x), y=rounded(y), transform=turn)
            node.text = line
            ElementTree.SubElement(node, "title").text = whole

    def _wires(self) -> None:
        plain = self.add(self.root, "g", "wires")
        hot = self.add(self.root, "g", "suspected-wires")
        for route in self.layout.routes:
            share = self.marks.shares.get(route.wire.id, 0)
            step = step_of(share)
            path = "M" + "L".join(f"{rounded(x)} {rounded(y)}" for x, y in route.points)
            group = self.add(hot if step else plain, "g", "w")
            if step:
                case = _CASES[step] + route.wire.thick
                casing = self.add(group, "path", "case", d=path)
                casing.set("stroke-width", rounded(case))
                self.add(group, "path", f"hot h{step}", d=path).set(
                    "stroke-width", rounded(case - 1.6)
                )
            else:
                self.add(group, "path", "wire thick" if route.wire.thick else "wire", d=path)
            said = f"{clean(route.wire.id)}: {clean(route.wire.start)} to {clean(route.wire.stop)}"
            ElementTree.SubElement(group, "title").text = (
                f"{said}, {percent(share)}" if step else said
            )

    # -- tiles -------------------------------------------------------------------------------------

    def _tile(self, placed: Placed) -> None:
        tile = placed.tile
        group = self.add(self.root, "g", "part")
        self.box(group, "tile", placed.x, placed.y, placed.width, placed.height)
        x, y = placed.x + lay.PAD, placed.y + 13
        room = placed.width - 2 * lay.PAD
        share = self.marks.share(tile.id)
        if share:
            wide = width(share, lay.TITLE_SIZE, bold=True) + 6
            self._badge(group, placed.x + placed.width - wide - 2, placed.y + 2, wide, tile.id)
            room -= wide
        self.write(group, x, y, tile.id, "name", most=room, size=lay.TITLE_SIZE, bold=True)
        room = placed.width - 2 * lay.PAD
        self.write(group, x, y + lay.LINE, tile.title, "soft", most=room)
        for k, note in enumerate(placed.notes):
            full = "; ".join(self.marks.notes[tile.id])
            at = y + lay.LINE * (k + 2)
            self.write(
                group, x, at, note, "probe", most=room, full=full if note == "\u2026" else ""
            )
        self._symbols(group, placed)
        for cell in placed.cells:
            self._cell(group, placed, cell)

    def _badge(self, group: _Node, x: float, y: float, wide: float, suspect: str) -> None:
        step = step_of(self.marks.shares.get(suspect, 0))
        self.box(group, f"f{step} edge", x, y, wide, 14)
        css = f"name {'on12' if step < 4 else 'on45'}"
        share = self.marks.share(suspect)
        self.write(group, x + wide / 2, y + 11, share, css, anchor="middle")

    def _symbols(self, group: _Node, placed: Placed) -> None:
        bottom = placed.terminals_y
        if placed.tile.elements is None:
            top = placed.y + placed.head + 4
            self.box(group, "box", placed.x + 8, top, placed.width - 16, bottom - top - 8)
            said = placed.tile.title or placed.tile.id
            middle = placed.x + placed.width / 2
            self.write(
                group, middle, (top + bottom) / 2, said, anchor="middle", most=placed.width - 24
            )
            for cell in placed.cells:
                self._lead(group, cell.middle, bottom - 8, bottom)
            return
        heights: dict[float, list[float]] = {}
        for symbol, low, high, middle, level, flipped in placed.spans:
            y = bottom - lay.PAD - lay.LEVEL * (level + 0.5)
            data, letter, place = strokes(symbol, middle, y, flipped=flipped)
            self.add(group, "path", "sym", d=data, transform=place)
            self.write(group, middle, y + 3, letter, "strong letter", anchor="middle")
            for end, side in ((low, middle - 14), (high, middle + 14)):
                heights.setdefault(end, []).append(y)
                line = f"M{rounded(end)} {rounded(y)}H{rounded(side)}"
                self.add(group, "path", "lead", d=line)
        for x, ys in heights.items():
            self._lead(group, x, min(ys), bottom)
            for y in ys:
                if y > min(ys):
                    self.add(group, "circle", "dot", cx=rounded(x), cy=rounded(y), r="1.8")
        if not placed.spans:
            for cell in placed.cells:
                self._stud(group, placed, cell.middle, bottom)

    def _lead(self, group: _Node, x: float, top: float, bottom: float) -> None:
        self.add(group, "path", "lead", d=f"M{rounded(x)} {rounded(top)}V{rounded(bottom)}")

    def _stud(self, group: _Node, placed: Placed, x: float, bottom: float) -> None:
        y = bottom - lay.PAD - lay.LEVEL / 2
        if placed.tile.kind == "frame":
            data = "M0 -8V0M-9 0H9M-9 0L-13 7M0 0L-4 7M9 0L5 7"
            at = f"translate({rounded(x)} {rounded(y)})"
            self.add(group, "path", "sym", d=data, transform=at)
            return
        self._lead(group, x, y, bottom)
        css = "dot" if len(placed.cells) == 1 else "sym"
        self.add(group, "circle", css, cx=rounded(x), cy=rounded(y), r="4")

    def _cell(self, group: _Node, placed: Placed, cell: Cell) -> None:
        top = placed.terminals_y
        height = placed.y + placed.height - top
        self.box(group, "cell", cell.x, top, cell.width, height)
        pin = cell.terminal.name.rpartition(".")[0]
        if pin in placed.tile.pins and cell.terminal.name == placed.tile.pins[pin][0]:
            self._pin(group, placed, pin)
        y = top + 10
        full = cell.terminal.label
        self.write(group, cell.middle, y, cell.label, "strong", anchor="middle", full=full)
        for k, tag in enumerate(cell.tags):
            y = top + 10 + lay.LINE * (k + 1)
            self.write(group, cell.middle, y, tag, "probe", anchor="middle", full=cell.full_tags)
        last = placed.y + placed.height - 5
        for slot in cell.slots:
            for k, line in enumerate(slot.lines):
                y = last - lay.LINE * (placed.slot_lines - 1 - k)
                hot = k == 1 and self.marks.share(slot.wire)
                css = "strong" if hot else "probe" if k else ""
                self.write(group, slot.x, y, line, css, anchor="middle", full=slot.full[k])

    def _pin(self, group: _Node, placed: Placed, pin: str) -> None:
        """The probability of a connector's pin, above its contact."""
        share = self.marks.share(pin)
        if not share:
            return
        first, second = (
            next(c for c in placed.cells if c.terminal.name == side)
            for side in placed.tile.pins[pin]
        )
        wide = width(share, lay.TITLE_SIZE, bold=True) + 6
        middle = (first.middle + second.middle) / 2
        self._badge(group, middle - wide / 2, placed.y + placed.head - 9, wide, pin)

    def _outside(self) -> list[str]:
        """Suspicion without a place on the drawing: controls left wrong, nothing, anything else."""
        controls = self.vehicle.get("controls", {})
        left_wrong = [
            (f"{clean(controls[name].get('title') or name)} ({clean(name)}) set wrong", share)
            for name, share in self.marks.leading()
            if name in controls
        ]
        rows = [*left_wrong, *self.marks.outside]
        return [f"{text}: {percent(share)}" for text, share in rows if step_of(share)]

    # -- legend ------------------------------------------------------------------------------------

    def _legend(self, top: float) -> float:
        """What colors, letters and marks mean; returns where the page ends."""
        group = self.add(self.root, "g", "legend")
        looms = self.vehicle.get("looms", {})
        items: list[tuple[int, str]] = []
        if any(step_of(share) for share in self.marks.shares.values()):
            items.append((0, "Probability that it is broken:"))
            ends = (*STEPS[1:], 1.0)
            items += [
                (k + 1, f"{100 * low:.0f} to {100 * high:.0f} %")
                for k, (low, high) in enumerate(zip(STEPS, ends, strict=True))
            ]
        items += [(0, text) for text in self._outside()]
        if self.marks.probed:
            items.append((0, "e1 + red probe, \u2212 black probe, of entry e1"))
        for loom, letter in self.looms.items():
            if loom:
                title = clean(looms.get(loom, {}).get("title", loom))
                items.append((0, f"{letter}  {title}"))
        x, y = lay.MARGIN, top + 6
        right = self.layout.width - lay.MARGIN
        for step, text in items:
            swatch = 20 if step else 0
            wide = swatch + width(text, lay.TEXT_SIZE) + 16
            if x > lay.MARGIN and x + wide > right:
                x, y = lay.MARGIN, y + _LEGEND_LINE
            if step:
                self.box(group, f"f{step} edge", x, y, 15, 10)
            self.write(group, x + swatch, y + 8.5, text, most=right - x - swatch)
            x += wide
        return y + _LEGEND_LINE + (6 if items else 0)
