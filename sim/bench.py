"""A bench as a thermal network: mats on foam, trays of medium, their edges.

Each tray is a stack of layers of medium over its part of the mat; what of the
mat no tray covers is one part more. What may live here: geometry and
coefficients, each with its source. No time.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from controller.core.plan import MatPlan, TrayPlan
from sim.form import Form, Material
from sim.media import medium
from sim.stack import (
    FILM_DOWN_M2K_W,
    FILM_SIDE_M2K_W,
    FILM_UP_M2K_W,
    LAYERS,
    TrayNodes,
    probe_weights,
    stacked,
)
from sim.thermal import Network, Vector
from sim.vapour import LATENT_J_KG

__all__ = [  # with what of a stack is needed wherever a bench is
    "FILM_DOWN_M2K_W",
    "FILM_SIDE_M2K_W",
    "FILM_UP_M2K_W",
    "LAYERS",
    "MatForm",
    "MatNetwork",
    "Standing",
    "TrayNodes",
    "evaporation_w_m2",
    "mat_form",
    "mat_network",
    "probe_weights",
    "tray_alone",
    "tray_form",
]

FOAM_M = 0.025
FOAM_W_MK = 0.035
"""Foam under the mat: its thickness is the invented bench's; the conductivity
is usual for polystyrene (from memory, insulation tables)."""

MAT_J_M2K = 4_500.0
"""Chosen: a flexible mat of 3 kg/m² and 1,500 J/kgK, as plastics are."""

SHELTERED = 0.3
"""Chosen: a side that faces a neighbouring tray loses this share."""

MAT_ACROSS_W_MK = 0.1
"""Chosen: heat that runs in the mat from under a tray to its uncovered part,
per metre of the tray's rim."""

COVERED = 0.9
"""Chosen: a tray is this share as long and wide as its place on the mat."""

DAY_S = 86_400


def evaporation_w_m2(mm_per_day: float) -> float:
    """Return the heat that evaporation takes [W/m²]; 1 mm is 1 kg/m²."""
    return mm_per_day * LATENT_J_KG / DAY_S


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
class MatForm:
    """One mat with its trays, whatever their media are just now.

    Attributes:
        form: The form of its network; each tray's medium is a material of it,
            by the tray's name.
        heat_share: Share of the mat's power that goes into each node [-].
        trays: By name.
        surface: Node where a surface probe lies: the part under the middle
            tray.
        top_m2: Area from which water evaporates, by node.
    """

    form: Form
    heat_share: Vector
    trays: dict[str, TrayNodes]
    surface: int
    top_m2: Vector


@dataclass(frozen=True, slots=True)
class MatNetwork(MatForm):
    """One mat with its trays, and their media as they are.

    Attributes:
        network: The network.
    """

    network: Network


def mat_network(
    mat: MatPlan,
    standing: Standing = USUAL,
    layers: int = LAYERS,
    *,
    foam_m: float = FOAM_M,
) -> MatNetwork:
    """Return the network of a mat and of all that stands on it, or beside it.

    Args:
        mat: The mat.
        standing: What is otherwise than usual.
        layers: How many each tray's medium has.
        foam_m: How thick the foam under the mat is [m]; 0: there is none.

    Raises:
        ValueError: A medium is not known, or two trays stand at one place.
    """
    made = mat_form(mat, standing, layers, foam_m=foam_m)
    return _with_media(made, mat.trays, standing)


def tray_alone(
    tray: TrayPlan, standing: Standing = USUAL, layers: int = LAYERS
) -> MatNetwork:
    """Return the network of a tray that stands on no mat, 0.3 m by 0.4 m."""
    return _with_media(tray_form(tray, standing, layers), (tray,), standing)


def mat_form(
    mat: MatPlan,
    standing: Standing = USUAL,
    layers: int = LAYERS,
    *,
    foam_m: float = FOAM_M,
) -> MatForm:
    """Return the form of a mat's network.

    Raises:
        ValueError: Two trays stand at one place.
    """
    _refuse_shared_places(mat)
    form = Form()
    whole_m2 = mat.length_mm * mat.width_mm / 1e6
    rows = max((tray.row for tray in mat.trays), default=1)
    columns = max((tray.column for tray in mat.trays), default=1)
    length_m = COVERED * mat.length_mm / 1000 / columns
    width_m = COVERED * mat.width_mm / 1000 / rows
    bare_m2 = whole_m2 - len(mat.trays) * length_m * width_m
    bare = _mat_part(form, bare_m2, foam_m)
    form.ground(bare, bare_m2 / FILM_UP_M2K_W)
    parts, trays = [(bare, bare_m2)], {}
    for tray in mat.trays:
        part = _mat_part(form, length_m * width_m, foam_m)
        parts.append((part, length_m * width_m))
        rim_m = 2 * (length_m + width_m)
        form.link(part, bare, MAT_ACROSS_W_MK * rim_m)
        sides_m = _open_sides_m(tray, (rows, columns), (length_m, width_m))
        lifted = tray.name in standing.lifted
        if lifted:
            form.ground(part, length_m * width_m / FILM_UP_M2K_W)
            sides_m = rim_m
        place = TrayNodes((), length_m * width_m, tray.depth_mm, part, rim_m)
        trays[tray.name] = stacked(
            form, tray.name, place, layers, sides_m=sides_m, lifted=lifted
        )
    heat_share = np.zeros(len(form.nodes))
    for part, area_m2 in parts:
        heat_share[part] = area_m2 / whole_m2
    middle = parts[1 + len(mat.trays) // 2][0] if mat.trays else bare
    return MatForm(form, heat_share, trays, middle, _top_m2(form, trays))


def tray_form(
    tray: TrayPlan, standing: Standing = USUAL, layers: int = LAYERS
) -> MatForm:
    """Return the form of the network of a tray on no mat, 0.3 m by 0.4 m."""
    form = Form()
    shelf = form.node(0.12 * MAT_J_M2K)
    form.ground(shelf, 0.12 / FILM_DOWN_M2K_W)
    place = TrayNodes((), 0.12, tray.depth_mm, shelf, 1.4)
    lifted = tray.name in standing.lifted
    nodes = stacked(form, tray.name, place, layers, sides_m=1.4, lifted=lifted)
    trays = {tray.name: nodes}
    count = len(form.nodes)
    return MatForm(form, np.zeros(count), trays, shelf, _top_m2(form, trays))


def _with_media(
    made: MatForm, trays: Sequence[TrayPlan], standing: Standing
) -> MatNetwork:
    materials = {}
    for tray in trays:
        stuff = medium(tray.medium)
        left = standing.water_left.get(tray.name, 1.0)
        stuff = replace(stuff, water=stuff.water * left)
        materials[tray.name] = Material(stuff.conductivity(), stuff.heat_capacity())
    network = made.form.network(materials)
    return MatNetwork(
        made.form, made.heat_share, made.trays, made.surface, made.top_m2, network
    )


def _top_m2(form: Form, trays: Mapping[str, TrayNodes]) -> Vector:
    top_m2 = np.zeros(len(form.nodes))
    for nodes in trays.values():
        top_m2[nodes.layers[-1]] = nodes.area_m2
    return top_m2


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


def _mat_part(form: Form, area_m2: float, foam_m: float) -> int:
    part = form.node(area_m2 * MAT_J_M2K)
    form.ground(part, area_m2 / (foam_m / FOAM_W_MK + FILM_DOWN_M2K_W))
    return part


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
