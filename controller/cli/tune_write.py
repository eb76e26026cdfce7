"""Settings that were found, as lines of a configuration, and written to one.

What may live here: what of a file changes, how that is shown, and writing it
whole or not at all. What is written was read again and held to the rules by the
very code of `check`.
"""

import difflib
import os
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from controller.adapters.exchange.whole_file import check_free, whole_file
from controller.adapters.settings import Settings, SettingsError, load
from controller.adapters.settings.editing import EditError, edited
from controller.cli.asked import as_toml
from controller.cli.prices import AskedError
from controller.core.plan import MatPlan, StepPlan
from sim.tuning.changes import changes


@dataclass(frozen=True, slots=True)
class Configured:
    """A configuration, and the mat in it.

    Attributes:
        path: The file.
        text: Its content.
        settings: What it says.
        mat: The mat as it says it.
    """

    path: Path
    text: str
    settings: Settings
    mat: MatPlan

    @property
    def fahrenheit(self) -> bool:
        """Whether its writer writes setpoints in °F."""
        said = self.settings.written.get(f"mat {self.mat.name}: setpoint", "")
        unit = said or self.settings.display_unit
        return unit.endswith("F")


def configured(path: Path, mat: str) -> Configured:
    """Return a configuration with the mat of a name.

    Raises:
        AskedError: It has no such mat.
        SettingsError: It cannot be used.
    """
    settings = load(path, os.environ)
    known = {one.name: one for one in settings.plan.mats}
    if mat not in known:
        there = ", ".join(known) or "none"
        raise AskedError(f"--config {path}: it has no mat {mat}; there are: {there}")
    text = path.read_bytes().decode("utf-8")
    return Configured(path, text, settings, known[mat])


def lines_of(own: MatPlan, wanted: MatPlan, *, fahrenheit: bool) -> list[str]:
    """Return the settings that differ, as lines of a file.

    Those of the PID stand under the head of their own table, last.
    """
    found = as_toml(changes(own, wanted), fahrenheit=fahrenheit)
    plain = {key: said for key, said in found.items() if not key.startswith("pid.")}
    pid = {key[4:]: said for key, said in found.items() if key.startswith("pid.")}
    lines = list(_lines(plain))
    if pid:
        gone = all(said is None for said in pid.values())
        lines.append("# [mat.pid] goes" if gone else "[mat.pid]")
        lines += [] if gone else _lines(pid)
    return lines


def _lines(found: dict[str, str | None]) -> Iterator[str]:
    for key, said in found.items():
        yield f"# {key} goes" if said is None else f"{key} = {said}"


def changed_text(configuration: Configured, wanted: MatPlan) -> str:
    """Return a configuration's text with the settings of a mat changed.

    Raises:
        AskedError: The file cannot be edited safely; the message says why.
    """
    own = configuration.mat
    found = as_toml(changes(own, wanted), fahrenheit=configuration.fahrenheit)
    try:
        return edited(configuration.text, own.name, found)
    except EditError as error:
        raise AskedError(f"{configuration.path}: {error}") from None


def patch(configuration: Configured, text: str, to: Path | None) -> list[str]:
    """Return what changes, line by line, in the unified form of patches."""
    before = configuration.text.splitlines()
    names = str(configuration.path), str(to or configuration.path)
    return list(
        difflib.unified_diff(before, text.splitlines(), *names, n=1, lineterm="")
    )


def write(
    configuration: Configured, text: str, wanted: MatPlan, to: Path, *, overwrite: bool
) -> Settings:
    """Write a configuration, once it was read again and says what it shall.

    Raises:
        AskedError: It would not say what it shall.
        ExchangeError: The file is there already, or cannot be written.
    """
    check_free(to, overwrite=overwrite)
    with whole_file(to) as building:
        building.write_bytes(text.encode("utf-8"))
        try:
            settings = load(building, os.environ)
        except SettingsError as error:
            raise AskedError(
                f"{to} is not written, for it would be refused:\n{error}"
            ) from None
        mats = (mat for mat in settings.plan.mats if mat.name == wanted.name)
        if not _alike(next(mats), _moved(configuration.mat, wanted)):
            raise AskedError(
                f"{to} is not written, for {configuration.path} says something else"
                f" of mat {wanted.name} that its log does not: change it by hand"
            )
    return settings


def _moved(own: MatPlan, wanted: MatPlan) -> MatPlan:
    """Return a mat of a configuration with what was found for that of a log."""
    return replace(
        own,
        policy=wanted.policy,
        programme=own.programme if len(own.programme) > 1 else wanted.programme,
        driven_by=wanted.driven_by,
        driving_tray=wanted.driving_tray,
        min_on_ms=wanted.min_on_ms,
        min_off_ms=wanted.min_off_ms,
        ramp_mk_per_h=wanted.ramp_mk_per_h,
    )


def _alike(one: MatPlan, other: MatPlan) -> bool:
    return replace(one, programme=_plain(one)) == replace(
        other, programme=_plain(other)
    )


def _plain(mat: MatPlan) -> tuple[StepPlan, ...]:
    return tuple(replace(step, title="") for step in mat.programme)
