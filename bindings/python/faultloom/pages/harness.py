"""What is drawn of a vehicle: parts and plugs as tiles with terminals, wires between them."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from typing import Any

from faultloom.pages.marks import Marks
from faultloom.pages.symbols import Kinds, inner_elements, whole_kind
from faultloom.pages.text import clean


@dataclass(frozen=True, slots=True)
class WireEnd:
    """One end of a wire at a terminal."""

    wire: str
    end: str


@dataclass(slots=True)
class Terminal:
    """A terminal of a tile.

    Attributes:
        name: In full, PART.terminal.
        label: What is written at it.
        ends: Wires that end there, in order.
    """

    name: str
    label: str
    ends: list[WireEnd] = field(default_factory=list)


@dataclass(slots=True)
class Tile:
    """A part or a connector.

    Attributes:
        id: Of the part or connector.
        zone: Id of the place where it is, "" if the document names none.
        elements: Symbol and two terminals each; None: too much for symbols, a box.
        kind: What its kind goes back to, "" for a connector.
        pins: Terminals of each pin of a connector, by component.
    """

    id: str
    title: str
    zone: str
    terminals: list[Terminal]
    elements: list[tuple[str, str, str]] | None
    kind: str = ""
    pins: dict[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Wire:
    """A wire of the harness; `start` and `stop` are terminals."""

    id: str
    start: str
    stop: str
    loom: str
    thick: bool


@dataclass(slots=True)
class Harness:
    """Tiles by zone in the document's order, and the wires between them."""

    zones: dict[str, list[Tile]]
    wires: list[Wire]

    @property
    def tiles(self) -> list[Tile]:
        """All of them, zone by zone."""
        return [tile for tiles in self.zones.values() for tile in tiles]


def natural(name: str) -> list[tuple[int, int, str]]:
    """A key that sorts W2 before W10."""
    pieces = re.findall(r"[0-9]+|[^0-9]+", name)
    return [(0, int(p), "") if p.isascii() and p.isdigit() else (1, 0, p) for p in pieces]


def read_harness(vehicle: Mapping[str, Any], kinds: Kinds, shown: Collection[str] = ()) -> Harness:
    """The harness of a vehicle document that was checked.

    Args:
        vehicle: The document.
        kinds: The part kinds it uses.
        shown: Parts, pins (X1-3) and wires to show, with what a shown wire ends at; everything if
            empty.

    Complexity: linear in the document but for sorting.
    """
    wires = [
        Wire(name, wire["from"], wire["to"], wire.get("loom", ""), wire.get("class") == "power")
        for name, wire in vehicle.get("wires", {}).items()
        if not shown or name in shown
    ]
    wires.sort(key=lambda wire: natural(wire.id))
    ends: dict[str, list[WireEnd]] = {}
    for wire in wires:
        ends.setdefault(wire.start, []).append(WireEnd(wire.id, "from"))
        ends.setdefault(wire.stop, []).append(WireEnd(wire.id, "to"))
    touched = {terminal.rpartition(".")[0] for terminal in ends}
    wanted = None if not shown else touched | set(shown)
    tiles = [
        tile
        for tile in (*_parts(vehicle, kinds, ends, wanted), *_connectors(vehicle, ends, wanted))
        if tile.terminals
    ]
    zones: dict[str, list[Tile]] = {zone: [] for zone in vehicle.get("zones", {})}
    for tile in sorted(tiles, key=lambda tile: natural(tile.id)):
        zones.setdefault(tile.zone, []).append(tile)
    ordered = {zone: _along_wires(tiles, wires) for zone, tiles in zones.items() if tiles}
    return Harness(ordered, wires)


def _parts(
    vehicle: Mapping[str, Any],
    kinds: Kinds,
    ends: Mapping[str, list[WireEnd]],
    wanted: Collection[str] | None,
) -> list[Tile]:
    tiles = []
    for name, part in vehicle.get("parts", {}).items():
        if wanted is not None and name not in wanted:
            continue
        root, whole = whole_kind(kinds, part["kind"])
        terminals = [
            Terminal(f"{name}.{t}", clean(t), ends.get(f"{name}.{t}", []))
            for t in whole.get("terminals", [])
        ]
        title = clean(part.get("title") or whole.get("title", ""))
        elements = inner_elements(kinds, part["kind"], part.get("parameters", {}))
        tiles.append(Tile(name, title, part.get("zone", ""), terminals, elements, root))
    return tiles


def _connectors(
    vehicle: Mapping[str, Any],
    ends: Mapping[str, list[WireEnd]],
    wanted: Collection[str] | None,
) -> list[Tile]:
    tiles = []
    for name, connector in vehicle.get("connectors", {}).items():
        tile = Tile(name, clean(connector.get("title", "")), connector.get("zone", ""), [], [])
        for pin in connector.get("pins", []):
            contact = f"{name}-{pin}"
            if wanted is not None and contact not in wanted:
                continue
            sides = (f"{contact}.plug", f"{contact}.socket")
            for side in sides:
                label = f"{clean(pin)} {side.rpartition('.')[2]}"
                tile.terminals.append(Terminal(side, label, ends.get(side, [])))
            tile.pins[contact] = sides
        tile.elements = [("mated", "", "")] * len(tile.pins)
        tiles.append(tile)
    return tiles


def _along_wires(tiles: list[Tile], wires: list[Wire]) -> list[Tile]:
    """Tiles in an order in which neighbors are joined by wires where that is possible."""
    home = {terminal.name: tile.id for tile in tiles for terminal in tile.terminals}
    joined: dict[str, list[str]] = {tile.id: [] for tile in tiles}
    for wire in wires:
        first, second = home.get(wire.start), home.get(wire.stop)
        if first and second and first != second:
            joined[first].append(second)
            joined[second].append(first)
    by_id = {tile.id: tile for tile in tiles}
    order: list[Tile] = []
    waiting = [tile.id for tile in reversed(tiles)]
    seen: set[str] = set()
    while waiting:
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        order.append(by_id[name])
        waiting += [other for other in reversed(joined[name]) if other not in seen]
    return order


def suspected_part(
    vehicle: Mapping[str, Any], marks: Marks, *, least: float = 0.02, most: int = 8
) -> set[str]:
    """What a drawing of the suspects shows: the leading ones, what was probed, wires between these.

    Args:
        vehicle: The document.
        marks: Of the job.
        least: Suspects less probable than this are left out [1].
        most: How many suspects at most.

    Returns:
        Ids of parts, pins and wires; empty if nothing is suspected or was measured.
    """
    leading = [name for name, share in marks.leading() if share >= least][:most]
    named = {*leading, *marks.notes}
    wires = {name for name in named if name in vehicle.get("wires", {})}
    parts = named - wires
    parts |= {terminal.rpartition(".")[0] for terminal in marks.probed}
    for name, wire in vehicle.get("wires", {}).items():
        if all(wire[end].rpartition(".")[0] in parts for end in ("from", "to")):
            wires.add(name)
    return {p for p in parts | wires if p}
