"""A bench as a thermal network: mats on foam, trays of medium, their edges.

Each tray is a stack of three layers of medium over its part of the mat; what
of the mat no tray covers is one part more. What may live here: geometry and
coefficients, each with its source. No time.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from controller.core.plan import MatPlan, TrayPlan
from sim.media import medium
from sim.thermal import Network, NetworkBuilder, Vector

FILM_UP_M2K_W = 0.10
FILM_SIDE_M2K_W = 0.13
FILM_DOWN_M2K_W = 0.17
"""Internal surface resistances for heat flowing up, sideways and down:
ISO 6946."""

FOAM_M = 0.025
FOAM_W_MK = 0.035
"""Foam under the mat: its thickness is the invented bench's; the conductivity
is usual for polystyrene (from memory, insulation tables)."""

MAT_J_M2K = 4_500.0
"""Chosen: a flexible mat of 3 kg/m² and 1,500 J/kgK, as plastics are."""

CONTACT_M2K_W = 0.02
"""Chosen: tray bottom and the thin air gaps under it."""

EDGE_M2K_W = 0.10
"""Chosen: from a layer's edge zone to the outside of the tray's wall: 30 mm of
moist medium of 0.3 W/mK."""

SHELTERED = 0.3
"""Chosen: a side that faces a neighbouring tray loses this share."""

MAT_ACROSS_W_MK = 0.1
"""Chosen: heat that runs in the mat from under a tray to its uncovered part,
per metre of the tray's rim."""

COVERED = 0.9
"""Chosen: a tray is this share as long and wide as its place on the mat."""

LAYERS = 3

LATENT_J_KG = 2.45e6
"""Latent heat of vaporisation, FAO-56."""

DAY_S = 86_400


def evaporation_w_m2(mm_per_day: float) -> float:
    """Return the heat that evaporation takes [W/m²]; 1 mm is 1 kg/m²."""
    return mm_per_day * LATENT_J_KG / DAY_S


@dataclass(frozen=True, slots=True)
class TrayNodes:
    """Where a tray is in the network.

    Attributes:
        layers: Nodes from the bottom up.
        area_m2: Its footprint.
        depth_mm: Depth of its medium.
        under: The part of the mat, or the shelf, below it.
    """

    layers: tuple[int, ...]
    area_m2: float
    depth_mm: int
    under: int


@dataclass(frozen=True, slots=True)
class Standing:
    """What is otherwise on a mat than usual; the nodes are the same.

    Attributes:
        lifted: Trays that stand beside the mat: it is bare under them, and they
            lose heat on every side.
        water_left: By tray, the share that is left of the medium's water [-].
    """

    lifted: frozenset[str] = frozenset()
    water_left: Mapping[str, float] = field(default_factory=dict)


USUAL = Standing()


@dataclass(frozen=True, slots=True)
class MatNetwork:
    """One mat with its trays.

    Attributes:
        network: The network.
        heat_share: Share of the mat's power that goes into each node [-].
        trays: By name.
        surface: Node where a surface probe lies: the part under the middle
            tray.
        top_m2: Area from which water evaporates, by node.
    """

    network: Network
    heat_share: Vector
    trays: dict[str, TrayNodes]
    surface: int
    top_m2: Vector


def mat_network(mat: MatPlan, standing: Standing = USUAL) -> MatNetwork:
    """Return the network of a mat and of all that stands on it, or beside it.

    Raises:
        ValueError: A medium is not known, or two trays stand at one place.
    """
    _refuse_shared_places(mat)
    builder = NetworkBuilder()
    whole_m2 = mat.length_mm * mat.width_mm / 1e6
    rows = max((tray.row for tray in mat.trays), default=1)
    columns = max((tray.column for tray in mat.trays), default=1)
    length_m = COVERED * mat.length_mm / 1000 / columns
    width_m = COVERED * mat.width_mm / 1000 / rows
    bare_m2 = whole_m2 - len(mat.trays) * length_m * width_m
    bare = _mat_part(builder, bare_m2)
    builder.ground(bare, bare_m2 / FILM_UP_M2K_W)
    parts, trays = [(bare, bare_m2)], {}
    for tray in mat.trays:
        part = _mat_part(builder, length_m * width_m)
        parts.append((part, length_m * width_m))
        rim_m = 2 * (length_m + width_m)
        builder.link(part, bare, MAT_ACROSS_W_MK * rim_m)
        sides_m = _open_sides_m(tray, (rows, columns), (length_m, width_m))
        if tray.name in standing.lifted:
            builder.ground(part, length_m * width_m / FILM_UP_M2K_W)
            sides_m = rim_m
        trays[tray.name] = _stack(
            builder, tray, part, length_m * width_m, sides_m, standing
        )
    heat_share = np.zeros(len(builder.capacities))
    for part, area_m2 in parts:
        heat_share[part] = area_m2 / whole_m2
    top_m2 = np.zeros(len(builder.capacities))
    for nodes in trays.values():
        top_m2[nodes.layers[-1]] = nodes.area_m2
    middle = parts[1 + len(mat.trays) // 2][0] if mat.trays else bare
    return MatNetwork(builder.build(), heat_share, trays, middle, top_m2)


def _refuse_shared_places(mat: MatPlan) -> None:
    taken: dict[tuple[int, int], str] = {}
    for tray in mat.trays:
        other = taken.setdefault((tray.row, tray.column), tray.name)
        if other != tray.name:
            message = (
                f"tray {tray.name}: place = [{tray.row}, {tray.column}]: tray {other}"
                f" stands there on mat {mat.name}; the simulated bench needs a row"
                " and a column for each"
            )
            raise ValueError(message)


def tray_alone(tray: TrayPlan, standing: Standing = USUAL) -> MatNetwork:
    """Return the network of a tray that stands on no mat, 0.3 m by 0.4 m."""
    builder = NetworkBuilder()
    shelf = builder.node(0.12 * MAT_J_M2K)
    builder.ground(shelf, 0.12 / FILM_DOWN_M2K_W)
    nodes = _stack(builder, tray, shelf, 0.12, 1.4, standing)
    top_m2 = np.zeros(len(builder.capacities))
    top_m2[nodes.layers[-1]] = nodes.area_m2
    return MatNetwork(
        builder.build(), np.zeros(len(top_m2)), {tray.name: nodes}, shelf, top_m2
    )


def probe_weights(nodes: TrayNodes, depth_mm: int | None, count: int) -> Vector:
    """Return the weights of nodes that give the temperature at a depth.

    Between the middles of two layers the temperature runs straight; above the
    topmost and below the lowest middle it is that layer's.

    Args:
        nodes: The tray.
        depth_mm: Depth below the surface [mm]; None: halfway down.
        count: Number of nodes in the network.
    """
    depth = nodes.depth_mm / 2 if depth_mm is None else depth_mm
    height = min(1.0, max(0.0, 1.0 - depth / nodes.depth_mm)) * LAYERS - 0.5
    low = min(LAYERS - 1, max(0, int(height)))
    high = min(LAYERS - 1, low + 1)
    share = min(1.0, max(0.0, height - low)) if high > low else 0.0
    weights = np.zeros(count)
    weights[nodes.layers[low]] += 1.0 - share
    weights[nodes.layers[high]] += share
    return weights


def _mat_part(builder: NetworkBuilder, area_m2: float) -> int:
    part = builder.node(area_m2 * MAT_J_M2K)
    builder.ground(part, area_m2 / (FOAM_M / FOAM_W_MK + FILM_DOWN_M2K_W))
    return part


def _stack(
    builder: NetworkBuilder,
    tray: TrayPlan,
    part: int,
    area_m2: float,
    sides_m: float,
    standing: Standing,
) -> TrayNodes:
    """Add a tray's layers over a part of the mat, and its losses."""
    stuff = medium(tray.medium)
    left = standing.water_left.get(tray.name, 1.0)
    stuff = replace(stuff, water=stuff.water * left)
    thick_m = tray.depth_mm / 1000 / LAYERS
    half = thick_m / 2 / stuff.conductivity()
    below, resistance = part, CONTACT_M2K_W + half
    layers: list[int] = []
    for _ in range(LAYERS):
        layer = builder.node(area_m2 * thick_m * stuff.heat_capacity())
        if layers or tray.name not in standing.lifted:
            builder.link(below, layer, area_m2 / resistance)
        else:
            builder.ground(layer, area_m2 / (resistance + FILM_DOWN_M2K_W))
        side_m2 = sides_m * thick_m
        builder.ground(layer, side_m2 / (EDGE_M2K_W + FILM_SIDE_M2K_W))
        layers.append(layer)
        below, resistance = layer, 2 * half
    builder.ground(below, area_m2 / (half + FILM_UP_M2K_W))
    return TrayNodes(tuple(layers), area_m2, tray.depth_mm, part)


def _open_sides_m(
    tray: TrayPlan, grid: tuple[int, int], sizes_m: tuple[float, float]
) -> float:
    """Return the length of a tray's rim that loses heat, weighted by shelter."""
    rows, columns = grid
    length_m, width_m = sizes_m
    short = [tray.column == 1, tray.column == columns]
    long = [tray.row == 1, tray.row == rows]
    open_m = sum(width_m if out else SHELTERED * width_m for out in short)
    return open_m + sum(length_m if out else SHELTERED * length_m for out in long)
