"""The warmth of a bench whose media dry and whose surfaces breathe.

Water, films and evaporation are not linear. They are held as straight lines,
with the media as wet as they are, from one renewal to the next; between those
the networks are stepped exactly. Heat and water are booked, and balance. What
may live here: that. Its minutes are told from outside; no probes.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import cast

import numpy as np

from controller.core.plan import MatPlan, Plan, all_trays
from sim.assembled import Assembled
from sim.bench import MatNetwork, Standing, mat_form, tray_form
from sim.booked import Booked
from sim.joined import Joined
from sim.ledger import Ledger
from sim.media import WATER_J_M3K
from sim.options import WorldOptions
from sim.outside import covers, given, surfaces
from sim.thermal import Matrix, Vector
from sim.tops import Above, Tops, tops
from sim.vapour import LATENT_J_KG
from sim.warmth import Warmth, evaporation_mm
from sim.water import Water


class MoistWarmth(Warmth):
    """All that holds and passes on heat and water.

    Args:
        plan: The bench.
        options: Its physics.
        noise: What the mats' unevenness is drawn from.

    Raises:
        ValueError: A medium or a tray that is named is not there.
    """

    def __init__(
        self, plan: Plan, options: WorldOptions, noise: np.random.Generator
    ) -> None:
        self._options = options
        by_tray = evaporation_mm(
            plan, options.evaporation_mm, options.evaporation_by_tray
        )
        super().__init__(
            plan,
            options.start_temp_c,
            options.unevenness,
            noise,
            by_tray,
            options.layers,
        )
        self._booked = cast("Booked", self.heat)  # see _join
        trays = all_trays(plan)
        self._names = [tray.name for tray in trays]
        over = covers(self._names, options)
        self._water = Water(trays, options, by_tray, over)
        self._up_m = np.array([tray.depth_mm / 2000 / options.layers for tray in trays])
        places = [self._nodes(tray)[1] for tray in self._names]
        self._area_m2 = np.array([place.area_m2 for place in places])
        rims_m = np.array([place.rim_m for place in places])
        self._surfaces = surfaces(self._area_m2 / rims_m, over, options)
        self._given = given(over, options)
        self._room_c, self._minute = options.start_temp_c, 0
        self._amounts = self._given.at(0)
        self._books = Ledger()
        self._assembled: dict[str, Assembled] = {}
        for name in self._parts:
            self._take_form(name)
        self._capacity = {
            n: b.net.network.capacity for n, b in self.heat.blocks.items()
        }
        self._tops = self._tops_now(self._water.media()[0], None)
        self._renewed()
        self._books.carried_j = 0.0
        self._first_j = self._held_j()

    # ----------------------------------------------------------------- looking

    def gone_mm(self, tray: str) -> float:
        """Return how much water a tray lacks of what it holds when drained [mm]."""
        self._close()
        return float(self._water.gone_mm[self._names.index(tray)])

    def ledger(self) -> Ledger:
        """Return where heat and water came from and went until now."""
        self._close()
        kg = -float(self._area_m2 @ self._water.gone_mm)
        return replace(
            self._books, stored_j=self._held_j() - self._first_j, stored_kg=kg
        )

    # --------------------------------------------------------------- happening

    def enter(self, room_c: float, minute: int) -> None:
        """Let a minute begin, with the room as warm as that [°C]."""
        self._room_c, self._minute = room_c, minute
        self._amounts = self._given.at(minute)
        self.heat.set_room(room_c, self._amounts)

    def amounts(self, minute: int, count: int) -> Matrix:
        """Return what minutes from one on give, as the networks take it."""
        return self._given.over(minute, count)

    def renew(self) -> None:
        """Take up water, films and evaporation as they are now."""
        self._close()
        self._renewed()

    def dry(self, tray: str, left: float) -> None:
        """Leave a medium only this share of its usual water; 1.0: all of it."""
        self._close()
        number = self._names.index(tray)
        taken_mm = self._water.leave(number, left)
        self._books.drained_kg += float(self._area_m2[number]) * taken_mm
        self._renewed()

    def pour(self, tray: str, mm: float, temp_c: float) -> float:
        """Pour water over a tray: it mixes with each layer on its way down.

        The medium keeps what it lacks of its water when drained, each layer
        the same; the rest runs out below, as warm as the lowest layer is then.

        Args:
            tray: The tray.
            mm: How much [mm, which is litres per square metre].
            temp_c: How warm [°C].

        Returns:
            How warm it runs out [°C].
        """
        self._close()
        kept_mm = self._water.keep(self._names.index(tray), mm)
        name, nodes = self._nodes(tray)
        temps, capacity = self.heat.temps(name), self._capacity[name].copy()
        j_k_mm = nodes.area_m2 / 1000 * WATER_J_M3K
        self._books.poured_j += j_k_mm * mm * temp_c
        self._books.poured_kg += nodes.area_m2 * mm
        self._books.drained_kg += nodes.area_m2 * (mm - kept_mm)
        kept = kept_mm / len(nodes.layers) if self._options.drying else 0.0
        for node in reversed(nodes.layers):
            whole = capacity[node] * temps[node] + j_k_mm * mm * temp_c
            temps[node] = temp_c = whole / (capacity[node] + j_k_mm * mm)
            capacity[node] += j_k_mm * kept
            mm -= kept
        self._books.drained_j += float(j_k_mm * mm * temp_c)
        self._capacity[name] = capacity
        self.heat.set_temps(name, temps)
        self._renewed()
        return float(temp_c)

    def evaporate(self, tray: str, mm_per_day: float | None) -> None:
        """Let a tray lose so much water [mm/day]; None: as its medium does."""
        self._close()
        said_mm = np.nan if mm_per_day is None else mm_per_day
        self._water.said_mm[self._names.index(tray)] = said_mm
        self._renewed()

    def shine(self, tray: str, w_m2: float) -> None:
        """Let sun or a lamp give a tray so much besides [W/m²]."""
        self._given.besides[self._names.index(tray)] = w_m2
        self.enter(self._room_c, self._minute)
        self.renew()

    # ------------------------------------------------------------------- inner

    def _join(
        self, heated: Mapping[str, tuple[MatNetwork, Vector]], start_c: float
    ) -> Joined:
        return Booked(heated, start_c)

    def _stand(self, tray: str, standing: Standing) -> None:
        name = self._block_of[tray]
        self._close()
        self._standing[name] = standing
        self._take_form(name)
        self._renewed()

    def _take_up(self) -> None:
        """Nothing: what stands still elsewhere is renewed here."""

    def _take_form(self, name: str) -> None:
        """Take up how a part of the bench stands."""
        part, standing = self._parts[name], self._standing[name]
        made = (
            mat_form(part, standing, self._layers)
            if isinstance(part, MatPlan)
            else tray_form(part, standing, self._layers)
        )
        self._assembled[name] = Assembled(made, self._names)

    def _held_j(self) -> float:
        """Return the heat in all nodes, over 0 °C [J]."""
        held = (self._capacity[n] @ self.heat.temps(n) for n in self.heat.blocks)
        return float(sum(held))

    def _tops_now(self, w_mk: Vector, before: Tops | None) -> Tops:
        layer_c, water = np.zeros(len(self._names)), self._water
        for name, assembled in self._assembled.items():
            layer_c[assembled.trays] = self.heat.temps(name)[assembled.tops]
        light = self._amounts[: len(self._names)]
        above = Above(self._room_c, light, water.wet(), water.steady_w_m2())
        return tops(self._surfaces, w_mk / self._up_m, layer_c, before, above)

    def _renewed(self) -> None:
        """Take up water, films and evaporation as they are, and book anew."""
        w_mk, j_m3k = self._water.media()
        self._tops = self._tops_now(w_mk, self._tops)
        seen = tuple(self._area_m2 * part for part in self._tops.seen())
        nets = {}
        for name, assembled in self._assembled.items():
            network = assembled.network(w_mk, j_m3k, seen)
            change = self._capacity[name] - network.capacity
            self._books.carried_j += float(change @ self.heat.temps(name))
            self._capacity[name] = network.capacity
            block, made = self.heat.blocks[name], assembled.made
            block.steady_w = assembled.on_tops(seen[2])
            block.inputs_w = assembled.inputs_w(seen[3])
            nets[name] = replace(block.net, form=made.form, network=network)
        self.heat.renew(nets)
        self._booked.open()

    def _close(self) -> None:
        """Book what went on since the last time."""
        span, books = self._booked.closed(), self._books
        count = len(self._names)
        light, unmeasured = span.amounts_s[:count], span.amounts_s[count:]
        layer = np.zeros(count)
        for name, assembled in self._assembled.items():
            temps_k_s = span.temps_k_s[name]
            layer[assembled.trays] = temps_k_s[assembled.tops]
            over = temps_k_s - span.room_k_s
            books.lost_j += float(assembled.sides @ over)
        surface = self._tops.surface(layer, span.room_k_s, light, span.lasting_s)
        dry = self._tops.dry.at(surface, span.room_k_s, span.lasting_s)
        latent = self._tops.latent.at(surface, span.room_k_s, span.lasting_s)
        books.lost_j += float(self._area_m2 @ dry)
        books.latent_j += float(self._area_m2 @ latent)
        books.light_j += float(self._area_m2 @ light)
        books.unmeasured_j += float(unmeasured.sum())
        for name, on_s in span.on_s.items():
            books.heater_j += on_s * float(self.heat.blocks[name].full_w.sum())
        evaporated_mm = latent / LATENT_J_KG
        books.evaporated_kg += float(self._area_m2 @ evaporated_mm)
        dew_mm = self._water.evaporate(evaporated_mm)
        books.drained_kg += float(self._area_m2 @ dew_mm)
