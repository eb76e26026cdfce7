"""An invented season, shown with its truth: what was foretold, found and reported.

    ./dev shown-season --out FOLDER [--days 60] [--seed 1]

The demo bench is simulated for a season (scans of 60 s; the very core). Plants are
drawn on it, each cutting with the thermal time at which it truly roots in the true
root zone of its tray: around what config/crops.toml says, as wide as the forecast
takes crops, cultivars, batches and cuttings to differ, by nobody's measurement. An
invented grower then tells the API, day after day, what a grower would: batches, a
trial of two media by the planner's shuffle, waterings, looks at some or all, moves
off the heat, ends. On a dozen days the forecast is worked out from what was told by
then. At the end stand, beside the truth: windows, the trial's verdict, varieties,
and the season report.

FOLDER gets season.db, season.forecast.json, season.html, foretold.svg, trial.svg and
season.txt. What is printed follows from the seed alone. Exit 1 when less than half
of the windows of 90 % held what was true.
"""

import argparse
import re
import sys
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from controller.cli.crop_files import crops_of
from controller.cli.output import table
from controller.cli.paths import config_dir
from controller.core.units import DAY_MS
from tests.campaigns.showing import pictures
from tests.campaigns.showing.bench import BEGIN_MS, simulate
from tests.campaigns.showing.grower import Grower, commanded
from tests.campaigns.showing.plants import ARMS, FASTER, TRIAL_DAY, Population
from tests.campaigns.showing.windows import foretell

FORETELL_DAYS = (4, 7, 10, 14, 21, 25, 28, 35, 42, 49, 56)
LEAST = 0.5
"""Chosen, loose: a season is a dozen batches of six crops, drawn once."""


def main(words: list[str] | None = None) -> int:
    """Run the campaign."""
    parser = argparse.ArgumentParser(
        prog="./dev shown-season",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--days", type=float, default=60.0, help="of the bench (60)")
    parser.add_argument("--seed", type=int, default=1, help="of all draws (1)")
    parser.add_argument("--out", type=Path, required=True, help="a new folder")
    parser.add_argument(
        "--pace",
        type=float,
        default=1.0,
        help="plants that need so many times less warmth: a season in few days (1)",
    )
    parser.add_argument("--pots", type=int, default=12, help="in two trays each (12)")
    parser.add_argument(
        "--foretell",
        nargs="+",
        type=float,
        metavar="DAY",
        default=FORETELL_DAYS,
        help="on which days of the plants (a dozen)",
    )
    args = parser.parse_args(words)
    if not 20 <= args.days * args.pace <= 120:
        parser.error("--days times --pace must be from 20 to 120")
    if args.out.exists() and any(args.out.iterdir()):
        parser.error(f"--out {args.out}: is there already; name a new folder")
    args.out.mkdir(parents=True, exist_ok=True)
    season = Season(args)
    season.go_through()
    text = "\n".join(season.told())
    (args.out / "season.txt").write_text(text + "\n", encoding="utf-8")
    print(text)
    held = [one for one in season.scored() if one[2] != "out"]
    return 0 if len(held) >= LEAST * len(season.scored()) else 1


class Season:
    """The season, from the bench to what is told of it."""

    def __init__(self, args):
        """Simulate the bench and draw its plants."""
        self.args, self.log = args, args.out / "season.db"
        self.end_ms = BEGIN_MS + round(args.days * DAY_MS)
        self.crops = _paced(args.out, args.pace)
        hours = simulate(self.log, args.days, args.seed)
        population = Population(args.seed, crops_of(self.crops), hours)
        self.grower = Grower(
            self.log, population, args.days, args.pace, 1000 + args.seed, args.pots
        )
        self.windows = []

    def go_through(self):
        """Let the grower live through it, foretelling on the way."""

        def today(at_ms):
            self.windows += foretell(self.log, self.crops, at_ms)

        self.grower.go_through(self.args.foretell, today)

    @property
    def batches(self):
        """The batches that are no pots of the trial."""
        return [one for one in self.grower.plants.values() if not one.unit]

    @property
    def pots(self):
        """Those that are."""
        return [one for one in self.grower.plants.values() if one.unit]

    def scored(self, *, pots=False):
        """Return each window of a batch whose truth is known, held against it.

        Args:
            pots: Of single pots of the trial instead.
        """
        found = []
        for window in self.windows:
            one = self.grower.plants[window.code]
            if bool(one.unit) == pots and one.half_ms is not None:
                found.append((one, window, window.within(one.half_ms)))
        return found

    # --------------------------------------------------------------------------- told

    def told(self):
        """Yield what came of it, for people; draw pictures, write the report."""
        args, out = self.args, self.args.out
        yield (
            f"An invented season, seed {args.seed}: {args.days:g} days of the simulated"
            " demo bench,"
        )
        yield (
            f"{len(self.batches)} batches and a trial of {len(self.pots)} pots,"
            f" {self.grower.told} things told over the API. No plant was grown."
        )
        yield ""
        yield from self._truth()
        yield from self._windows()
        yield from self._trial()
        yield "\nVarieties, as the records have them (invented)\n"
        yield commanded(["varieties", "--log", self.log])[0].rstrip()
        page = out / "season.html"
        commanded(["report", self.log, "--out", page, "--price", "0.30 per kWh"])
        drawn = pictures.windows(self.batches, self.windows, self.end_ms)
        (out / "foretold.svg").write_text(drawn, encoding="utf-8")
        stuck_ms = self.grower.ms(TRIAL_DAY)
        last_ms = max(one.seen.get("last", stuck_ms) for one in self.pots) + DAY_MS
        drawn = pictures.trial(self.pots, stuck_ms, last_ms)
        (out / "trial.svg").write_text(drawn, encoding="utf-8")

    def _truth(self):
        head = ("batch", "crop", "cultivar", "tray", "stuck", "true half", "needs")
        rows = [
            (
                *(one.code, one.stuck.crop, one.stuck.cultivar, one.stuck.tray),
                f"day {one.stuck.day:g}",
                "none" if one.half_ms is None else _date(one.half_ms),
                "" if one.half is None else f"{one.half:,.0f} K·h",
                f"{sum(at < float('inf') for at in one.roots)} of {len(one.roots)}",
                str(one.seen.get("closed", "")),
            )
            for one in self.batches
        ]
        yield "The truth, drawn; and how many the grower counted in the end\n"
        yield table((*head, "root in truth", "counted"), rows)

    def _windows(self):
        days = [
            d for d in self.args.foretell if any(self._on(w, d) for w in self.windows)
        ]
        rows = []
        for one in self.batches:
            own = [w for w in self.windows if w.code == one.code]
            if own and one.half_ms is not None:
                cells = [self._cell(one, own, day) for day in days]
                name = f"{one.code} {one.stuck.cultivar}"
                rows.append((name, f"day {self._day(one.half_ms):.1f}", *cells))
        yield "\nForetold on a day: how many days late the median was, and the"
        yield "narrowest window that held what was true (50 or 90 %, or out)\n"
        yield table(("batch", "true half", *(f"day {day:g}" for day in days)), rows)
        yield ""
        # One that is late is foretold more often: hence the first ones alone, too.
        for names, scored in (
            ("batches", self.scored()),
            ("single pots", self.scored(pots=True)),
        ):
            first = {}
            for one, _, within in scored:
                first.setdefault(one.code, within)
            yield _score(f"Of {names}", [within for _, _, within in scored])
            yield _score(f"Of first ones of {names}", list(first.values()))

    def _day(self, utc_ms):
        return (utc_ms - BEGIN_MS) * self.args.pace / DAY_MS

    def _on(self, window, day):
        return window.at_ms == self.grower.ms(day)

    def _cell(self, one, own, day):
        for window in own:
            if self._on(window, day):
                off = window.off_days(one.half_ms)
                late = "far" if off is None else f"{off * self.args.pace:+.1f}"
                return f"{late} ({window.within(one.half_ms)})"
        return ""

    def _compare(self):
        return ["trial", "compare", self.grower.trial, "--log", self.log]

    def _trial(self):
        yield "\nThe trial, planned (invented)\n"
        yield self.grower.trial_words.rstrip()
        yield "\nThe trial, compared\n"
        yield commanded(self._compare())[0].rstrip()
        yield (
            f"\nIn truth {ARMS[0]} was {FASTER:g} times as fast in thermal time, and"
            " either has the same chance to root."
        )


def _score(name, found):
    if not found:
        return f"{name}: no window."
    held, half = sum(w != "out" for w in found), found.count("50")
    return (
        f"{name}: {held} of {len(found)} windows of 90 % held what was true"
        f" ({held / len(found):.0%}), {half} of 50 % ({half / len(found):.0%})."
    )


def _date(utc_ms):
    return datetime.fromtimestamp(utc_ms / 1000, UTC).strftime("%Y-%m-%d")


def _paced(folder, pace):
    """Return a crop file whose crops need less warmth; None: as they are."""
    if pace == 1:
        return None
    text = (config_dir() / "crops.toml").read_text(encoding="utf-8")
    path = folder / "crops.toml"
    less = re.sub(
        r'"([\d.]+) K·h"', lambda one: f'"{float(one[1]) / pace:.3f} K·h"', text
    )
    path.write_text(less, encoding="utf-8")
    return path


if __name__ == "__main__":
    sys.exit(main())
