"""Layers of a medium one over the other, in a tray or as a column of ground.

What may live here: how layers are stacked and what is lost at their faces, and
where between them one looks. No mats, no benches.
"""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from sim.form import Form, Material, Volume, Way
from sim.thermal import Network, Vector

FILM_UP_M2K_W = 0.10
FILM_SIDE_M2K_W = 0.13
FILM_DOWN_M2K_W = 0.17
"""Internal surface resistances for heat flowing up, sideways and down:
ISO 6946."""

CONTACT_M2K_W = 0.02
"""Chosen: tray bottom and the thin air gaps under it."""

EDGE_M2K_W = 0.10
"""Chosen: from a layer's edge zone to the outside of the tray's wall: 30 mm of
moist medium of 0.3 W/mK."""

LAYERS = 3
"""Chosen: layers of a tray's medium, where nobody asks for more."""


@dataclass(frozen=True, slots=True)
class TrayNodes:
    """Where a tray is in the network.

    Attributes:
        layers: Nodes from the bottom up.
        area_m2: Its footprint.
        depth_mm: Depth of its medium.
        under: The part of the mat, or the shelf, below it.
        rim_m: Length of its rim.
    """

    layers: tuple[int, ...]
    area_m2: float
    depth_mm: int
    under: int
    rim_m: float = 0.0


def stacked(
    form: Form,
    tray: str,
    place: TrayNodes,
    count: int,
    *,
    sides_m: float,
    lifted: bool = False,
) -> TrayNodes:
    """Add a tray's layers over a part of the mat, and its losses.

    Args:
        form: Where they are added.
        tray: Its name, which is that of its material.
        place: Where it stands; its layers come of this.
        count: How many layers.
        sides_m: Length of its rim that loses heat [m].
        lifted: It stands beside what is below it.

    Returns:
        The place with its layers.
    """
    area_m2 = place.area_m2
    thick_m = place.depth_mm / 1000 / count
    layers: list[int] = []
    for _ in range(count):
        layer = form.node(Volume(area_m2 * thick_m, tray))
        if layers:
            form.link(layers[-1], layer, Way(area_m2, tray, thick_m))
        elif lifted:
            down = Way(area_m2, tray, thick_m / 2, CONTACT_M2K_W, FILM_DOWN_M2K_W)
            form.ground(layer, down)
        else:
            up = Way(area_m2, tray, thick_m / 2, CONTACT_M2K_W)
            form.link(place.under, layer, up)
        form.ground(layer, sides_m * thick_m / (EDGE_M2K_W + FILM_SIDE_M2K_W))
        layers.append(layer)
    form.top(layers[-1], Way(area_m2, tray, thick_m / 2, after_m2k_w=FILM_UP_M2K_W))
    return replace(place, layers=tuple(layers))


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
    layers = len(nodes.layers)
    height = min(1.0, max(0.0, 1.0 - depth / nodes.depth_mm)) * layers - 0.5
    low = min(layers - 1, max(0, int(height)))
    high = min(layers - 1, low + 1)
    share = min(1.0, max(0.0, height - low)) if high > low else 0.0
    weights = np.zeros(count)
    weights[nodes.layers[low]] += 1.0 - share
    weights[nodes.layers[high]] += share
    return weights


def column(
    material: Material, depth_m: float, layers: int, film_m2k_w: float = 0.0
) -> Network:
    """Return a column of 1 m² of ground that gives heat off through its top alone.

    Its nodes are the middles of its layers, from the bottom up. What it gives
    heat to is as warm as the surroundings of the network: without a film, that
    is the temperature of the surface itself.

    Args:
        material: What it is made of.
        depth_m: How deep it is; nothing passes through its foot.
        layers: How many it is cut into.
        film_m2k_w: Resistance between its surface and the surroundings.
    """
    form, thick_m = Form(), depth_m / layers
    nodes = [form.node(Volume(thick_m, "ground")) for _ in range(layers)]
    for one, other in pairwise(nodes):
        form.link(one, other, Way(1.0, "ground", thick_m))
    form.top(nodes[-1], Way(1.0, "ground", thick_m / 2, after_m2k_w=film_m2k_w))
    return form.network({"ground": material})
