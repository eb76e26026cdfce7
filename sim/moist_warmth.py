"""The warmth of a bench whose media dry and whose surfaces breathe.

Water, films and evaporation are not linear. They are held as straight lines,
with media of one wetness, from one renewal to the next; between those the
networks are stepped exactly. Heat and water are booked, and balance. What
may live here: that. Its minutes are told from outside; no probes.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import cast

import numpy as np

from controller.core.plan import MatPlan, Plan, all_trays
from sim.assembled import Assembled
from sim.bench import MatForm, MatNetwork, Standing, mat_form, tray_form
from sim.booked import Booked
from sim.holds import Holds
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
from sim.watering import Pour, Watered


class MoistWarmth(Warmth):
    """All that holds and passes on heat and water.

    Args:
        plan: The bench.
        options: Its physics.
        room_c: The room in the beginning [°C].
        noise: What the mats' unevenness is drawn from.

    Raises:
        ValueError: A medium or a tray that is named is not there.
    """

    def __init__(
        self,
        plan: Plan,
        options: WorldOptions,
        room_c: float,
        noise: np.random.Generator,
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
        depth_mm = np.array([tray.depth_mm for tray in trays], dtype=float)
        self._up_m = depth_mm / 2000 / options.layers
        places = [self._nodes(tray)[1] for tray in self._names]
        self._area_m2 = np.array([place.area_m2 for place in places])
        rims_m = np.array([place.rim_m for place in places])
        self._surfaces = surfaces(self._area_m2 / rims_m, over, options)
        self._given = given(over, options)
        self._room_c, self._minute = room_c, 0
        self._amounts = self._given.at(0)
        self._books = Ledger()
        self._holds = Holds(options, depth_mm)
        self._at_tops: Matrix = np.zeros((0, 0))
        self._assembled = self._assemble()
        self._capacity = np.zeros(len(self.heat.modes))
        for block in self.heat.blocks.values():
            self._capacity[block.where] = block.network.capacity
        self._tops = self._dry_tops()
        self._renewed()
        self._books.carried_j = 0.0
        self._first_j = self._held_j()

    # ----------------------------------------------------------------- looking

    def gone_mm(self, tray: str) -> float:
        """Return how much water a tray lacks of what it holds when drained [mm]."""
        self._close()
        return max(0.0, float(self._water.gone_mm[self._names.index(tray)]))

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

    def let_pass(self, modes: Matrix, rooms_c: Vector, amounts: Matrix) -> int:
        """Let the next ends of holds pass, as long as lines are good.

        Args:
            modes: How warm all is: ends by modes.
            rooms_c: The room at each end [°C].
            amounts: What is given at each: ends by amounts.

        Returns:
            How many have passed; see_to is for the one after them.
        """
        if self._holds.over:
            return 0
        rooms, trays = rooms_c[:, np.newaxis], len(self._names)
        layer, light = modes @ self._at_tops, amounts[:, :trays]
        surface = self._tops.surface(layer, rooms, light)
        gone_mm = self._holds.gone_mm(self._tops.latent.at(surface, rooms))
        at_mm = self._water.held_mm - self._water.left_mm + gone_mm
        wet, steady = self._water.wet(at_mm), self._water.steady_w_m2(at_mm)
        true = self._surfaces.fluxes(surface, rooms, wet, steady)
        off_k = self._tops.off_k(surface, rooms, true)
        return self._holds.let_pass(off_k, gone_mm)

    def see_to(self) -> bool:
        """At the end of a hold, draw lines anew that are good no longer.

        Returns:
            Whether that was so.
        """
        now = self.heat.modes[np.newaxis], np.array([self._room_c])
        if self.let_pass(*now, self._amounts[np.newaxis]):
            return False
        self.renew()
        return True

    def dry(self, tray: str, left: float) -> None:
        """Leave a medium only this share of its usual water; 1.0: all of it."""
        self._close()
        number = self._names.index(tray)
        taken_mm = self._water.leave(number, left)
        self._books.drained_kg += float(self._area_m2[number]) * taken_mm
        self._renewed()

    def pour(self, pours: Iterable[Pour], at_ms: int) -> list[Watered]:
        """Pour water over trays, and draw lines anew for all of them at once."""
        self._close()
        found = super().pour(pours, at_ms)
        self._renewed()
        return found

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
        trays = sum(len(net.trays) for net, _ in heated.values())
        return Booked(heated, start_c, inputs=2 * trays)

    def _poured(self, tray: str, mm: float, temp_c: float) -> tuple[float, float]:
        kept_mm = self._water.keep(self._names.index(tray), mm)
        name, nodes = self._nodes(tray)
        temps, where = self.heat.temps(name), self.heat.blocks[name].where
        self._capacity = self._capacity.copy()
        capacity = self._capacity[where]
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
        self.heat.set_temps(name, temps)
        return kept_mm, float(temp_c)

    def _stand(self, tray: str, standing: Standing) -> None:
        name = self._block_of[tray]
        self._close()
        self._standing[name] = standing
        self.heat.blocks[name].made = self._form(name)
        self._assembled = self._assemble()
        self._renewed()

    def _take_up(self) -> None:
        """Nothing: what stands still elsewhere is renewed here."""

    def _form(self, name: str) -> MatForm:
        """Return how a part of the bench stands."""
        part, standing = self._parts[name], self._standing[name]
        if isinstance(part, MatPlan):
            return mat_form(part, standing, self._layers)
        return tray_form(part, standing, self._layers)

    def _assemble(self) -> Assembled:
        """Take up how all parts of the bench stand."""
        parts = {name: block.made for name, block in self.heat.blocks.items()}
        found = Assembled(parts, self._names)
        self.heat.inputs_w[len(self._names) :] = found.in_layers()
        return found

    def _held_j(self) -> float:
        """Return the heat in all nodes, over 0 °C [J]."""
        return float(self._capacity @ self.heat.all_temps())

    def _renewed(self) -> None:
        """Draw lines, and take up media, as they are now; begin to book anew."""
        dew_mm = self._water.drain()
        self._books.drained_kg += float(self._area_m2 @ dew_mm)
        made, heat, temps = self._assembled, self.heat, self.heat.all_temps()
        w_mk, j_m3k = self._drawn(temps[made.tops])
        seen = [self._area_m2 * part for part in self._tops.seen()]
        lost, warmed, steady, lit = seen
        networks = made.networks(w_mk, j_m3k, lost, warmed)
        self._books.carried_j += float((self._capacity - made.capacity) @ temps)
        self._capacity = made.capacity
        heat.steady_w[:] = made.on_tops(steady)
        heat.inputs_w[np.arange(len(lit)), made.tops] = lit
        heat.renew(networks)
        self._at_tops = heat.looks(made.at_tops)
        self._holds.begin(self._water.left_mm)
        self._booked.open()

    def _dry_tops(self) -> Tops:
        """Return lines to begin with: as if nothing evaporated."""
        layer_c, none = self.heat.all_temps()[self._assembled.tops], 0.0 * self._up_m
        light = self._amounts[: len(none)]
        above = Above(self._room_c, light, wet=none, given_w_m2=none)
        up = self._water.media(none)[0] / self._up_m
        return tops(self._surfaces, up, layer_c, layer_c, above)

    def _drawn(self, layer_c: Vector) -> tuple[Vector, Vector]:
        """Draw lines; return conductivity and heat capacity of media with them.

        They are right for the water amid the next holds, and let no more go
        until they are drawn anew than there is.
        """
        water, light = self._water, self._amounts[: len(self._names)]
        surface_c = self._tops.surface(layer_c, self._room_c, light)
        latent = self._tops.latent.at(surface_c, self._room_c)
        near_mm = water.held_mm - water.left_mm + self._holds.ahead_mm(latent)
        w_mk, j_m3k = water.media(near_mm)
        up, wet = w_mk / self._up_m, water.wet(near_mm)
        above = Above(self._room_c, light, wet, water.steady_w_m2(near_mm))
        self._tops = tops(self._surfaces, up, layer_c, surface_c, above)
        surface_c = self._tops.surface(layer_c, self._room_c, light)
        latent = self._tops.latent.at(surface_c, self._room_c)
        most = self._holds.most_of(latent, water.left_mm)
        if (wet * most < wet).any():
            above = above._replace(wet=wet * np.minimum(1.0, most))
            self._tops = tops(self._surfaces, up, layer_c, surface_c, above)
        return w_mk, j_m3k

    def _close(self) -> None:
        """Book what went on since the last time."""
        span, books = self._booked.closed(), self._books
        count = len(self._names)
        light, unmeasured = span.amounts_s[:count], span.amounts_s[count:]
        layer = span.temps_k_s[self._assembled.tops]
        over = span.temps_k_s - span.room_k_s
        books.lost_j += float(self._assembled.sides @ over)
        surface = self._tops.surface(layer, span.room_k_s, light, span.lasting_s)
        dry = self._tops.dry.at(surface, span.room_k_s, span.lasting_s)
        latent = self._tops.latent.at(surface, span.room_k_s, span.lasting_s)
        books.lost_j += float(self._area_m2 @ dry)
        books.latent_j += float(self._area_m2 @ latent)
        books.light_j += float(self._area_m2 @ light)
        books.unmeasured_j += float(unmeasured.sum())
        for name, on_s in span.on_s.items():
            full_w = self.heat.full_w[self.heat.blocks[name].where]
            books.heater_j += on_s * float(full_w.sum())
        evaporated_mm = latent / LATENT_J_KG
        books.evaporated_kg += float(self._area_m2 @ evaporated_mm)
        self._water.evaporate(evaporated_mm)
