"""Where everything of a harness drawing goes. Lengths in units of the drawing.

Zones lie below one another, in each the tiles in rows. Below a row runs a channel: wires leave a
tile at its bottom, each in a place of its own, and run along a track of the channel. Wires to
another row go through the trunk at the left edge. Tracks and lanes are shared by wires that do
not meet (left-edge algorithm of channel routing) and sorted by loom, so that a loom is a bundle
of parallel lines. Nothing is placed where something else is, so nothing has to be moved out of
the way afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from faultloom.pages.harness import Harness, Terminal, Tile, Wire
from faultloom.pages.marks import Marks
from faultloom.pages.text import clean, fit, width, wrapped

MARGIN = 14.0
TITLE_SIZE = 11.0
TEXT_SIZE = 8.5
LINE = 11.0  # line distance
PAD = 5.0
HEAD = 3 * LINE + PAD  # title, name, notes of a tile
LEVEL = 24.0  # of symbols above one another
TRACK = 6.0
LANE = 6.0
BUNDLE_GAP = 9.0
LABEL_LANE = 13.0
ZONE_HEAD = 20.0
TILE_GAP = 14.0
_LEAST_CELL = 34.0
_MOST_TEXT = 96.0
_MOST_TAG_LINES = 4
_MOST_NOTES = 3
_TRIES = 4
_CLEAR = 6.0  # between wires on one track


@dataclass(slots=True)
class Slot:
    """Place of a wire's end; `lines` are written above the point where the wire leaves."""

    wire: str
    x: float
    lines: list[str]
    full: list[str]


@dataclass(slots=True)
class Cell:
    """A terminal with what is written at it, from `x` on and `width` wide."""

    terminal: Terminal
    x: float
    width: float
    label: str
    tags: list[str]
    full_tags: str
    slots: list[Slot] = field(default_factory=list)

    @property
    def middle(self) -> float:
        """Where the symbols' leads come down."""
        return self.x + self.width / 2


@dataclass(slots=True)
class Placed:
    """A tile in its place.

    Attributes:
        spans: Its symbols: name, left and right terminal, middle, level, whether turned round.
    """

    tile: Tile
    cells: list[Cell]
    width: float
    levels: int
    notes: list[str]
    spans: list[tuple[str, float, float, float, int, bool]] = field(default_factory=list)
    x: float = 0
    y: float = 0
    height: float = 0
    head: float = HEAD
    tag_lines: int = 0
    slot_lines: int = 0

    @property
    def terminals_y(self) -> float:
        """Where the symbols end and the cells begin."""
        return self.y + self.head + LEVEL * self.levels + PAD

    def move(self, x: float) -> None:
        """Puts its left edge at `x`."""
        by = x - self.x
        self.x = x
        for cell in self.cells:
            cell.x += by
            for slot in cell.slots:
                slot.x += by
        self.spans = [(s, a + by, b + by, m + by, level, f) for s, a, b, m, level, f in self.spans]


@dataclass(slots=True)
class Area:
    """A zone."""

    zone: str
    x: float
    y: float
    width: float
    height: float


@dataclass(slots=True)
class Bundle:
    """A loom's part of a channel or of the trunk; there its label has the room between two y."""

    loom: str
    x: float
    y: float
    width: float
    height: float
    in_trunk: bool
    label_low: float = 0
    label_high: float = 0


@dataclass(slots=True)
class Route:
    """A wire's way, corner by corner."""

    wire: Wire
    points: list[tuple[float, float]]


@dataclass(slots=True)
class Layout:
    """A drawing before it is drawn."""

    width: float
    height: float
    placed: list[Placed]
    areas: list[Area]
    bundles: list[Bundle]
    routes: list[Route]


@dataclass(slots=True)
class _Row:
    tiles: list[Placed]
    channel_y: float = 0
    tracks: dict[str, float] = field(default_factory=dict)  # y by wire, for a loom's bundle too


@dataclass(slots=True)
class _Run:
    """A straight piece that needs a track or lane."""

    wire: Wire
    low: float
    high: float


# -- tiles -----------------------------------------------------------------------------------------


def place_tile(tile: Tile, marks: Marks) -> Placed:
    """A tile with its left edge at 0, as wide as what is written in it."""
    cells: list[Cell] = []
    x = 0.0
    for terminal in tile.terminals:
        cell = _cell(terminal, marks, x)
        cells.append(cell)
        x += cell.width
    notes = marks.notes.get(tile.id, [])
    head = max(
        width(clean(tile.id), TITLE_SIZE, bold=True)
        + 14
        + width(marks.share(tile.id), TITLE_SIZE, bold=True),
        min(_MOST_TEXT, width(tile.title, TEXT_SIZE)),
        max((min(_MOST_TEXT, width(note, TEXT_SIZE)) for note in notes), default=0),
    )
    wide = max(x, head + 2 * PAD)
    spread = (wide - x) / max(1, len(cells))
    for place, cell in enumerate(cells):
        _widen(cell, spread * place, spread)
    spans, levels = _spans(tile, cells, wide)
    shown = notes if len(notes) <= _MOST_NOTES else [*notes[: _MOST_NOTES - 1], "\u2026"]
    placed = Placed(tile, cells, wide, levels, shown, spans)
    placed.tag_lines = max(len(cell.tags) for cell in cells)
    placed.slot_lines = max((len(s.lines) for c in cells for s in c.slots), default=0)
    return placed


def _cell(terminal: Terminal, marks: Marks, x: float) -> Cell:
    slots = []
    for end in terminal.ends:
        full = [clean(end.wire), *filter(None, [marks.share(end.wire)])]
        if end.end == "from":
            full += marks.notes.get(end.wire, [])[:_MOST_NOTES]
        slots.append(Slot(end.wire, 0, [fit(t, _MOST_TEXT, TEXT_SIZE) for t in full], full))
    tags, full_tags = _tags(terminal.name, marks)
    label = fit(terminal.label, _MOST_TEXT, TEXT_SIZE)
    slot_widths = [
        max(22, *(width(line, TEXT_SIZE) for line in slot.lines)) + PAD for slot in slots
    ]
    texts = max([width(label, TEXT_SIZE, bold=True), *(width(tag, TEXT_SIZE) for tag in tags)])
    wide = max(_LEAST_CELL, texts + 2 * PAD, sum(slot_widths) + PAD)
    cell = Cell(terminal, x, wide, label, tags, full_tags, slots)
    left = x + (wide - sum(slot_widths)) / 2
    for slot, slot_width in zip(slots, slot_widths, strict=True):
        slot.x = left + slot_width / 2
        left += slot_width
    return cell


def _widen(cell: Cell, by: float, more: float) -> None:
    cell.x += by
    cell.width += more
    for slot in cell.slots:
        slot.x += by + more / 2


def _tags(terminal: str, marks: Marks) -> tuple[list[str], str]:
    """Readings at a terminal in lines: each red one, then all black ones together."""
    probes = marks.probed.get(terminal, [])
    red = [f"{p.entry} + {p.value}".strip() for p in probes if p.sign == "+"]
    black = [p.entry for p in probes if p.sign == "-"]
    lines = [fit(line, _MOST_TEXT, TEXT_SIZE) for line in red]
    if len(lines) > _MOST_TAG_LINES - 1:
        rest = len(lines) - _MOST_TAG_LINES + 2
        lines = [*lines[: _MOST_TAG_LINES - 2], f"+{rest} readings"]
    if black:
        lines += wrapped(["\u2212", *black], _MOST_TEXT / 1.6, TEXT_SIZE, 2)
    return lines, "; ".join([*red, *(f"{entry} \u2212" for entry in black)])


def _spans(
    tile: Tile, cells: list[Cell], wide: float
) -> tuple[list[tuple[str, float, float, float, int, bool]], int]:
    """Symbols between terminals, short ones below long ones so that leads do not cross symbols."""
    if tile.elements is None:
        return [], 2
    middles = {cell.terminal.name.rpartition(".")[2]: cell.middle for cell in cells}
    pairs: list[tuple[str, float, float]] = []
    if tile.pins:
        by_name = {cell.terminal.name: cell.middle for cell in cells}
        pairs = [("mated", by_name[a], by_name[b]) for a, b in tile.pins.values()]
    else:
        pairs = [(s, middles[a], middles[b]) for s, a, b in tile.elements if {a, b} <= {*middles}]
    if not pairs:
        return [], 0 if wide < 0 else 1
    columns = sorted(middles.values()) if not tile.pins else []
    taken: list[list[tuple[float, float]]] = []
    spans = []
    for symbol, a, b in sorted(pairs, key=lambda p: (abs(p[1] - p[2]), min(p[1], p[2]), p[0])):
        low, high = min(a, b), max(a, b)
        level = next(
            (k for k, row in enumerate(taken) if all(high < u or low > v for u, v in row)),
            len(taken),
        )
        if level == len(taken):
            taken.append([])
        taken[level].append((low, high))
        spans.append((symbol, low, high, _free_middle(low, high, columns), level, a > b))
    return spans, len(taken)


def _free_middle(low: float, high: float, columns: list[float]) -> float:
    """Where between two terminals a symbol is clear of the leads of those between them."""
    stops = [low, *(c for c in columns if low < c < high), high]
    gaps = [(a + b) / 2 for a, b in pairwise(stops)]
    center = (low + high) / 2
    return min(gaps, key=lambda gap: (abs(gap - center), gap))


# -- rows, channels, trunk -------------------------------------------------------------------------


def lay_out(harness: Harness, marks: Marks, wanted_width: float, top: float) -> Layout:
    """Puts a harness on a page.

    Args:
        harness: What to draw.
        marks: What is written beside names.
        wanted_width: Of the page; it gets wider if a tile is.
        top: Where to begin below what stands above.

    Complexity: n log n in wires and tiles, but for tracks: wires times tracks of a loom.
    """
    room, closest = _trunk_room(harness), 0.0
    # The room for the trunk depends on the rows, and these on what the trunk leaves of the width.
    for _ in range(_TRIES):
        layout, used = _laid_out(harness, marks, wanted_width, top, MARGIN + room)
        if used <= MARGIN + room:
            best, closest = layout, room
        if used == MARGIN + room or closest == used - MARGIN:
            break
        room = used - MARGIN
    return best


def _laid_out(
    harness: Harness, marks: Marks, wanted_width: float, top: float, left: float
) -> tuple[Layout, float]:
    """A layout with the zones from `left` on, and where its trunk ends."""
    placed = {z: [place_tile(t, marks) for t in tiles] for z, tiles in harness.zones.items()}
    everything = [tile for tiles in placed.values() for tile in tiles]
    widest = max((tile.width for tile in everything), default=0)
    page = max(wanted_width, left + widest + 2 * TILE_GAP + MARGIN)
    room = page - left - MARGIN - 2 * TILE_GAP
    rows = {z: _rows(tiles, left + TILE_GAP, room) for z, tiles in placed.items()}
    slots = _slots(rows)
    trunk, bundles, channels = _tracks(harness.wires, rows, slots)
    areas, y = _stack(rows, left, page, top)
    routes = _routes(harness.wires, slots, trunk)
    for loom, low, high, row in channels:
        first, last = row.tracks[f"{loom}/first"], row.tracks[f"{loom}/last"]
        bundles.append(Bundle(loom, low - 3, first - 3, high - low + 6, last - first + 6, False))
    _cut_trunk(bundles, routes)
    used = max((b.x + b.width for b in bundles if b.in_trunk), default=MARGIN) + BUNDLE_GAP
    return Layout(page, y, everything, areas, bundles, routes), used


def _rows(tiles: list[Placed], left: float, room: float) -> list[_Row]:
    rows: list[_Row] = []
    x = 0.0
    for tile in tiles:
        if not rows or x + tile.width > left + room:
            rows.append(_Row([]))
            x = left
        tile.move(x)
        rows[-1].tiles.append(tile)
        x += tile.width + TILE_GAP
    return rows


_Slots = dict[str, list[tuple[_Row, Placed, Slot]]]


def _slots(rows: dict[str, list[_Row]]) -> _Slots:
    found: _Slots = {}
    for row in (row for zone in rows.values() for row in zone):
        for tile in row.tiles:
            for slot in (slot for cell in tile.cells for slot in cell.slots):
                found.setdefault(slot.wire, []).append((row, tile, slot))
    return found


def _trunk_room(harness: Harness) -> float:
    """Room for the trunk if all wires went through it and none shared a lane."""
    looms: dict[str, int] = {}
    for wire in harness.wires:
        looms[wire.loom] = looms.get(wire.loom, 0) + 1
    return sum(LABEL_LANE + BUNDLE_GAP + LANE * count for count in looms.values()) + BUNDLE_GAP


def _packed(runs: list[_Run]) -> list[list[_Run]]:
    """Runs on as few tracks as the left-edge algorithm needs."""
    tracks: list[list[_Run]] = []
    for run in sorted(runs, key=lambda r: (r.low, r.high, r.wire.id)):
        free = next((t for t in tracks if t[-1].high + _CLEAR <= run.low), None)
        if free is None:
            tracks.append([run])
        else:
            free.append(run)
    return tracks


_Channel = tuple[str, float, float, _Row]


def _tracks(
    wires: list[Wire], rows: dict[str, list[_Row]], slots: _Slots
) -> tuple[dict[str, float], list[Bundle], list[_Channel]]:
    """Lanes of the trunk by wire, its bundles, and the bundles of all channels.

    The y of a track is counted from the channel's top until `_stack` knows where that is.
    """
    order = [row for zone in rows.values() for row in zone]
    place = {id(row): k for k, row in enumerate(order)}
    looms = sorted({wire.loom for wire in wires})
    trunk: dict[str, float] = {}
    bundles = []
    x = MARGIN
    for loom in looms:
        runs = []
        for wire in (w for w in wires if w.loom == loom):
            at = sorted(place[id(row)] for row, _, _ in slots[wire.id])
            if at[0] != at[-1]:
                # Half a row clear, so that wires that share a lane never touch.
                runs.append(_Run(wire, at[0] * 100, at[-1] * 100 + 50))
        if not runs:
            continue
        lanes = _packed(runs)
        for k, lane in enumerate(lanes):
            for run in lane:
                trunk[run.wire.id] = x + LABEL_LANE + LANE * (k + 0.5)
        wide = LABEL_LANE + LANE * len(lanes)
        bundles.append(Bundle(loom, x, 0, wide, 0, True))
        x += wide + BUNDLE_GAP
    channels = [
        channel for row in order for channel in _row_tracks(row, wires, slots, trunk, looms)
    ]
    return trunk, bundles, channels


def _row_tracks(
    row: _Row, wires: list[Wire], slots: _Slots, trunk: dict[str, float], looms: list[str]
) -> list[_Channel]:
    channels = []
    y = TILE_GAP / 2
    for loom in looms:
        runs = []
        for wire in (w for w in wires if w.loom == loom):
            xs = [slot.x for there, _, slot in slots[wire.id] if there is row]
            if xs:
                xs += [trunk[wire.id]] if wire.id in trunk else []
                runs.append(_Run(wire, min(xs), max(xs)))
        if not runs:
            continue
        tracks = _packed(runs)
        row.tracks[f"{loom}/first"] = y
        for track in tracks:
            for run in track:
                row.tracks[run.wire.id] = y
            row.tracks[f"{loom}/last"] = y
            y += TRACK
        low, high = min(r.low for r in runs), max(r.high for r in runs)
        channels.append((loom, low, high, row))
        y += BUNDLE_GAP
    row.tracks["/end"] = y
    return channels


def _stack(
    rows: dict[str, list[_Row]], left: float, page: float, top: float
) -> tuple[list[Area], float]:
    """Gives every row and channel its height, from the top down."""
    areas = []
    y = top
    for zone, there in rows.items():
        start = y
        y += ZONE_HEAD
        for row in there:
            levels = max(tile.levels for tile in row.tiles)
            notes = max(len(tile.notes) for tile in row.tiles)
            tags = max(tile.tag_lines for tile in row.tiles)
            lines = max(tile.slot_lines for tile in row.tiles)
            text = LINE * (1 + tags + lines) + 2 * PAD + 4
            head = HEAD + LINE * max(0, notes - 1)
            height = head + LEVEL * levels + PAD + text
            for tile in row.tiles:
                tile.y, tile.height, tile.head = y, height, head
                tile.levels, tile.tag_lines, tile.slot_lines = levels, tags, lines
            row.channel_y = y + height
            row.tracks = {wire: row.channel_y + at for wire, at in row.tracks.items()}
            y = row.tracks["/end"] + TILE_GAP / 2
        areas.append(Area(zone, left, start, page - left - MARGIN, y - start))
        y += TILE_GAP
    return areas, y


def _routes(wires: list[Wire], slots: _Slots, trunk: dict[str, float]) -> list[Route]:
    routes = []
    for wire in wires:
        ends = slots[wire.id]
        points: list[tuple[float, float]] = []
        for k, (row, tile, slot) in enumerate(ends[:2]):
            leg = [(slot.x, tile.y + tile.height), (slot.x, row.tracks[wire.id])]
            if wire.id in trunk:
                leg.append((trunk[wire.id], row.tracks[wire.id]))
            points += leg if k == 0 else reversed(leg)
        routes.append(Route(wire, points))
    return routes


def _cut_trunk(bundles: list[Bundle], routes: list[Route]) -> None:
    """Makes each bundle of the trunk as long as its wires."""
    for bundle in bundles:
        if not bundle.in_trunk:
            continue
        ys = [
            y
            for route in routes
            if route.wire.loom == bundle.loom
            for x, y in route.points
            if bundle.x <= x <= bundle.x + bundle.width
        ]
        bundle.y, bundle.height = min(ys) - 4, max(ys) - min(ys) + 8
        _find_label(bundle, routes)


def _find_label(bundle: Bundle, routes: list[Route]) -> None:
    """The longest piece of a bundle's label lane that no wire crosses."""
    crossed = {bundle.y, bundle.y + bundle.height}
    for route in routes:
        for (x, y), (next_x, next_y) in pairwise(route.points):
            if y == next_y and min(x, next_x) < bundle.x + LABEL_LANE and max(x, next_x) > bundle.x:
                crossed.add(y)
    at = sorted(y for y in crossed if bundle.y <= y <= bundle.y + bundle.height)
    pairs = list(pairwise(at))
    bundle.label_low, bundle.label_high = max(pairs, key=lambda p: (p[1] - p[0], -p[0]))
