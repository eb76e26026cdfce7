"""The grower of the shown season: sticks, waters, looks, moves and ends, and tells.

Everything goes through the API, when it happens and not before, so that a forecast
knows what its day knew. What may live here: that agenda.
"""

import contextlib
import io
import json
from datetime import UTC, datetime

from controller.cli import main as bottomheat
from controller.cli.simulate import FIRST_MINUTE
from controller.core.units import DAY_MS
from sim.watering import moments, read
from tests.campaigns.showing.bench import BEGIN_MS, WATERS, Api
from tests.campaigns.showing.plants import (
    ARMS,
    BATCHES,
    GOOSE,
    NEVER,
    SEED,
    TRIAL_BASE_C,
    TRIAL_DAY,
)

_SOME = 8
_MOST_LOOKED = 0.7
"""Where so many of those looked at have roots, all are lifted and leave the heat."""


def stamp(utc_ms):
    """Return a moment as the API takes it."""
    at = datetime.fromtimestamp(utc_ms / 1000, UTC)
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")


def commanded(words):
    """Run a command as a user does; return what it printed, and its exit status."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        code = bottomheat([str(word) for word in words])
    return out.getvalue(), code


class Grower:
    """Goes through the season, and tells what was done and seen.

    Attributes:
        plants: What was stuck, by code; single pots of the trial too.
        told: How many things were told of the API.
        trial: The number of the trial.
        trial_words: What the plan of the trial said.
    """

    def __init__(self, log, population, days, pace, seed, pots=12):
        """Be ready for a season.

        Args:
            log: The season log, at rest.
            population: Where plants come from.
            days: How long the season is [d].
            pace: How many days of the plants pass in one of the bench.
            seed: Of the trial's plan.
            pots: Single pots of the trial in each of two trays of one mat.
        """
        self.log, self._population, self._seed = log, population, seed
        self._day_ms, self._pots = DAY_MS / pace, pots
        self._end_day = days * pace
        self.plants, self.told, self.trial, self.trial_words = {}, 0, "", ""
        self._api = Api(log)
        self._agenda = []
        self._number = 0

    def ms(self, day):
        """Return when a day of the plants begins [ms], on a full minute."""
        return BEGIN_MS + round(day * self._day_ms / 60_000) * 60_000

    def go_through(self, foretell_days, foretell):
        """Do all that the agenda has, in order.

        Args:
            foretell_days: On which days it is foretold.
            foretell: Called with the moment [ms], while nobody writes the log.
        """
        for stuck in BATCHES:
            if stuck.day < self._end_day - 4:
                self._on(stuck.day, lambda day, stuck=stuck: self._stick(stuck, day))
        self._on(TRIAL_DAY, self._trial)
        self._water()
        for day in foretell_days:
            self._on(day, lambda day: self._aside(foretell, day))
        self._on(self._end_day - 0.5, self._finish)
        while self._agenda:
            self._agenda.sort()
            day, _, act = self._agenda.pop(0)
            self._api.at(self.ms(day))
            act(day)
        self._api.__exit__()

    def _on(self, day, act):
        if day <= self._end_day - 0.5:
            self._number += 1
            self._agenda.append((day, self._number, act))

    def _aside(self, act, day):
        """Let somebody else have the log for a while."""
        self._api.__exit__()
        try:
            act(self.ms(day))
        finally:
            self._api = Api(self.log)

    def tell(self, path, body, method="POST"):
        """Tell the API something; return its answer."""
        self.told += 1
        return self._api.ask(method, path, body)

    # --------------------------------------------------------------------- sticking

    def _stick(self, stuck, day):
        body = {"crop": stuck.crop, "kind": stuck.kind, "cultivar": stuck.cultivar}
        body |= {"count": stuck.count, "tray": stuck.tray, "medium": stuck.medium}
        body |= {"wanted": stuck.count // 3, "stuck_at": stamp(self.ms(day))}
        body |= {"source": "invented", "text": "invented, for the shown season"}
        code = self.tell("/v1/batches", body)["code"]
        self.plants[code] = self._population.plants(code, stuck, self.ms(day))
        every = 2.0 if stuck.kind == SEED else 7.0
        self._on(day + every, lambda at: self._look(code, at, every))

    def _trial(self, day):
        self._aside(self._plan_and_stick, day)
        units = self._api.ask("GET", f"/v1/trials/{self.trial}")["trial"]["units"]
        told = [(u["batch"], u["name"], u["tray"], u["arm"]) for u in units]
        for one in self._population.pots(told, self.ms(day)):
            self.plants[one.code] = one
            self._on(day + 7, lambda at, code=one.code: self._look_pot(code, at))

    def _plan_and_stick(self, utc_ms):
        log, at = ["--log", self.log], stamp(utc_ms)
        words = ["trial", "plan", "--arms", *ARMS, "--pots"]
        words += [
            f"N1={self._pots}",
            f"N3={self._pots}",
            "--base",
            TRIAL_BASE_C,
            "--to",
            at,
        ]
        words += ["--title", "gooseberry in two media (invented)", "--store"]
        words += ["--seed", self._seed, *log]
        self.trial_words, _ = commanded(words)
        listed, _ = commanded(["trial", "list", "--json", *log])
        self.trial = str(json.loads(listed)["trials"][0]["id"])
        words = [
            "trial",
            "stick",
            self.trial,
            GOOSE,
            "--kind",
            "hardwood",
            "--stuck",
            at,
        ]
        words += ["--cultivar", "Hollow Lane", "--base", TRIAL_BASE_C]
        commanded([*words, "--text", "invented, for the shown season", *log])
        self.told += 1 + 2 * self._pots

    # ---------------------------------------------------------------------- looking

    def _look(self, code, day, every):
        one = self.plants[code]
        seed = one.stuck.kind == SEED
        count = len(one.roots)
        rooted = self._tell_look(code, day, count if seed else min(_SOME, count))
        looked = count if seed else min(_SOME, count)
        before = one.seen.get("rooted", 0)
        one.seen["rooted"] = rooted
        done = rooted >= _MOST_LOOKED * looked
        if seed:
            done = rooted == before and rooted >= count / 2
        if done:
            self._off_the_heat(code, day)
        else:
            self._on(day + every, lambda at: self._look(code, at, every))

    def _tell_look(self, code, day, some):
        """Look at some and tell; return how many of them had roots, or were up."""
        one, at_ms = self.plants[code], self.ms(day)
        heat = one.path.at(at_ms)
        which = self._population.sample(one, some)
        rooted = sum(one.roots[n] <= heat for n in which)
        leafed = sum(one.leafs[n] <= heat for n in which)
        body = {"at": stamp(at_ms), "looked_at": some, "who": "the invented grower"}
        if one.stuck.kind == SEED:
            body |= {"how": "tops-only", "tops": {"leafed": rooted}}
        else:
            callus = sum(one.roots[n] / 2 <= heat < one.roots[n] < NEVER for n in which)
            none = some - rooted - callus
            body["how"] = "lifted"
            body["base"] = {"roots": rooted, "callus": callus, "none": none}
            body["tops"] = {"leafed": leafed, "dormant": some - leafed}
        self.tell(f"/v1/batches/{code}/looks", body)
        return rooted

    def _look_pot(self, code, day):
        one = self.plants[code]
        if self._tell_look(code, day, 1):
            self._move_off(code, day)
            self._on(day + 5, lambda at: self._close(code, at, 1))
        else:
            self._on(day + 7, lambda at: self._look_pot(code, at))
        one.seen["last"] = self.ms(day)

    # ----------------------------------------------------------------- moves and ends

    def _off_the_heat(self, code, day):
        one = self.plants[code]
        at = day + 0.02
        self._api.at(self.ms(at))
        rooted = self._tell_look(code, at, len(one.roots))
        self._move_off(code, at)
        if rooted and one.stuck.kind != SEED:
            self._on(day + 4, lambda then: self._pot(code, then, rooted))
        self._on(day + 6, lambda then: self._close(code, then, rooted))

    def _move_off(self, code, day):
        where = {"at": stamp(self.ms(day)), "tray": ""}
        self.tell(f"/v1/batches/{code}/move", {**where, "place": "cool frame"})
        self.plants[code].seen["off"] = self.ms(day)

    def _pot(self, code, day, count):
        body = {"at": stamp(self.ms(day)), "stage": "potted", "count": count}
        self.tell(f"/v1/batches/{code}/stages", {**body, "root_score": 3})

    def _close(self, code, day, rooted):
        body = {"at": stamp(self.ms(day)), "rooted": rooted}
        body["outcome"] = "weaned" if rooted else "failed"
        self.tell(f"/v1/batches/{code}/close", body)
        self.plants[code].seen["closed"] = rooted

    def _finish(self, day):
        """End what is open: all are lifted, and counted."""
        for code, one in self.plants.items():
            if "closed" in one.seen:
                continue
            rooted = one.rooted_by(self.ms(day))
            if "off" not in one.seen:
                rooted = self._tell_look(code, day, len(one.roots))
            else:
                rooted = one.rooted_by(one.seen["off"])
            self._close(code, day, rooted)

    # ------------------------------------------------------------------------- events

    def _water(self):
        """Tell of waterings, when the simulated bench has them."""
        minutes = round(self._end_day * self._day_ms / 60_000)
        schedule = tuple(map(read, WATERS))
        for minute, watering in moments(schedule, minutes, FIRST_MINUTE):
            at_ms = BEGIN_MS + minute * 60_000
            said = f"{watering.mm:g} mm of {watering.temp_c:g} °C; invented"
            body = {"kind": "watered", "trays": list(watering.trays), "text": said}
            body |= {"at": stamp(at_ms), "who": "the invented grower"}
            day = minute * 60_000 / self._day_ms
            self._on(day, lambda _, body=body: self.tell("/v1/events", body))
        covers = (("cover-on", 1.1), ("cover-off", 14.0))
        for kind, day in covers:
            body = {"kind": kind, "trays": ["S1", "S2"], "at": stamp(self.ms(day))}
            self._on(day, lambda _, body=body: self.tell("/v1/events", body))
