"""Crops from a TOML file: checked, every value with its source, or refused in words.

    [[crop]]
    name = "poinsettia"
    from = "cuttings"
    curve = "broken-stick"
    base = { value = "21 °C", source = "…" }
    …

What may live here: from such a file to crops.
"""

import math
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from controller.adapters.settings import Finding, SettingsError
from controller.adapters.settings.findings import shown, unknown
from controller.adapters.settings.quantities import temperature
from controller.adapters.settings.source import read_file
from controller.records.batches import BatchKind
from controller.trials.crops import GUESS, Crop, joined
from controller.trials.response_curves import Beta, BrokenStick, Curve, Linear

_CURVES = {
    "linear": ("base",),
    "broken-stick": ("base", "optimum", "ceiling"),
    "beta": ("base", "optimum", "ceiling"),
}
_MAY = {"linear": ("upper",)}
_VALUES = ("base", "upper", "optimum", "ceiling", "needs", "spread", "share")
_KEYS = ("name", "also", "from", "kinds", "curve", *_VALUES)
_MORE = {"needs": ("low", "high"), "share": ("weight",)}
_SOURCE_ASK = f'say where it comes from: source = "…", or source = "{GUESS}"'
_LONGEST_NAME = 120


def load_crops(*paths: Path) -> tuple[Crop, ...]:
    """Return the crops of files; a later one adds, or puts its own in place.

    Raises:
        SettingsError: A file cannot be read, or anything in it is wrong; its text
            has one line for each thing.
    """
    crops: tuple[Crop, ...] = ()
    for path in paths:
        crops = joined(crops, _crops(path))
    return crops


def _crops(path: Path) -> list[Crop]:
    data = read_file(path)
    source = str(path)
    findings = [
        Finding(f"[{key}]", None, unknown(key, ("crop",)), source)
        for key in data
        if key != "crop"
    ]
    items = data.get("crop", [])
    if not isinstance(items, list) or not all(isinstance(one, dict) for one in items):
        findings.append(
            Finding("crop", None, "write [[crop]] before the keys of each", source)
        )
        items = []
    crops: list[Crop] = []
    for number, item in enumerate(items, 1):
        crop, wrong = _Item(item, number).read()
        findings += [Finding(w.where, w.found, w.allowed, source) for w in wrong]
        if crop is not None:
            crops.append(crop)
    findings += _twice(crops, source)
    if findings:
        raise SettingsError(findings)
    return crops


def _twice(crops: list[Crop], source: str) -> Iterator[Finding]:
    seen = set()
    for crop in crops:
        if crop.key in seen:
            allowed = "told twice, of the same kinds; once is enough"
            yield Finding(f"crop {crop.name}", None, allowed, source)
        seen.add(crop.key)


class _Item:
    """One [[crop]]."""

    def __init__(self, item: Mapping[str, object], number: int) -> None:
        self._item = item
        self._wrong: list[Finding] = []
        name = item.get("name")
        self._at = (
            f"crop {name if isinstance(name, str) and name else f'number {number}'}"
        )
        self._sources: dict[str, str] = {}

    def read(self) -> tuple[Crop | None, list[Finding]]:
        """Return the crop, or what is wrong with it."""
        for key in self._item:
            if key not in _KEYS:
                self._fault(key, self._item[key], unknown(key, _KEYS))
        crop = self._crop()
        return (None if self._wrong else crop), self._wrong

    def _crop(self) -> Crop | None:
        name = self._text("name", 'give it a name, such as "gooseberry"')
        origin = self._choice("from", ("cuttings", "seed"))
        curve = self._curve(self._choice("curve", tuple(_CURVES)))
        needs, spread, share = (
            self._table(key) for key in ("needs", "spread", "share")
        )
        numbers = {
            "needs": self._number("needs", needs, "value"),
            "low": self._number("needs", needs, "low"),
            "high": self._number("needs", needs, "high"),
            "spread": self._number("spread", spread, "value"),
            "share": self._number("share", share, "value"),
            "weight": self._number("share", share, "weight"),
        }
        also, kinds = self._names("also"), self._kinds()
        if self._wrong or curve is None:
            return None
        try:
            return Crop(
                name=name,
                also=also,
                seed=origin == "seed",
                kinds=kinds,
                curve=curve,
                sources=self._sources,
                **numbers,
            )
        except ValueError as error:
            self._wrong.append(Finding(self._at, None, str(error)))
            return None

    def _curve(self, kind: str) -> Curve | None:
        if kind not in _CURVES:
            return None
        wanted, may = _CURVES[kind], _MAY.get(kind, ())
        for key in ("base", "upper", "optimum", "ceiling"):
            if key in self._item and key not in (*wanted, *may):
                allowed = f"a curve {kind} has {', '.join((*wanted, *may))} only"
                self._fault(key, self._item[key], allowed)
        temps = {key: self._temp(key) for key in wanted}
        upper = self._temp("upper") if "upper" in self._item and may else None
        if self._wrong:
            return None
        try:
            if kind == "linear":
                return Linear(temps["base"], upper)
            shape = BrokenStick if kind == "broken-stick" else Beta
            return shape(temps["base"], temps["optimum"], temps["ceiling"])
        except ValueError as error:
            self._wrong.append(Finding(f"{self._at}: curve", None, str(error)))
            return None

    # ------------------------------------------------------------------ single keys

    def _fault(self, key: str, found: object, allowed: str) -> None:
        what = None if found is None else shown(found)
        self._wrong.append(Finding(f"{self._at}: {key}", what, allowed))

    def _text(self, key: str, ask: str) -> str:
        value = self._item.get(key)
        if not _is_name(value):
            self._fault(key, value, ask)
        return value.strip() if isinstance(value, str) else ""

    def _choice(self, key: str, known: tuple[str, ...]) -> str:
        value = self._item.get(key)
        if value not in known:
            self._fault(
                key,
                value,
                f"write {' or '.join(f'{chr(34)}{k}{chr(34)}' for k in known)}",
            )
        return value if isinstance(value, str) else ""

    def _names(self, key: str) -> tuple[str, ...]:
        value = self._item.get(key, [])
        if not isinstance(value, list) or not all(map(_is_name, value)):
            self._fault(key, value, 'write names in brackets, such as ["gooseberry"]')
            return ()
        return tuple(value)

    def _kinds(self) -> tuple[str, ...]:
        known = [kind.value for kind in BatchKind if kind is not BatchKind.SEED]
        found = self._names("kinds")
        for kind in found:
            if kind not in known:
                self._fault("kinds", kind, unknown(kind, known))
        if found and self._item.get("from") == "seed":
            self._fault("kinds", None, "seed has none; leave it out")
        return found

    def _table(self, key: str) -> Mapping[str, object]:
        """Return the table of a value, its source noted."""
        value = self._item.get(key)
        if not isinstance(value, dict):
            self._fault(key, value, f"write {{ value = …, source = … }}; {_SOURCE_ASK}")
            return {}
        for inner in value:
            allowed = ("value", "source", *_MORE.get(key, ()))
            if inner not in allowed:
                self._fault(f"{key}.{inner}", value[inner], unknown(inner, allowed))
        source = value.get("source")
        if not isinstance(source, str) or not source.strip():
            self._fault(f"{key}.source", source, _SOURCE_ASK)
        else:
            self._sources[key] = " ".join(source.split())
        return value

    def _temp(self, key: str) -> float:
        value = self._table(key)
        try:
            return temperature(value.get("value")).milli / 1000 if value else math.nan
        except ValueError as error:
            self._fault(f"{key}.value", value.get("value"), str(error))
            return math.nan

    def _number(self, key: str, table: Mapping[str, object], inner: str) -> float:
        """Return a plain number; degree-hours and shares may bear their unit."""
        if not table:
            return math.nan
        read, ask = _UNITS.get((key, inner), (_plain, "write a plain number"))
        try:
            return read(table.get(inner))
        except ValueError:
            self._fault(f"{key}.{inner}", table.get(inner), ask)
            return math.nan


def _is_name(value: object) -> bool:
    return (
        isinstance(value, str)
        and 0 < len(value.strip()) <= _LONGEST_NAME
        and value.isprintable()
    )


def _plain(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(value)  # noqa: TRY004 (one kind of fault for all readers)
    if not 0 < value < 1e9:  # noqa: PLR2004  # nothing here is so large
        raise ValueError(value)
    return float(value)


def _with(unit: str, divisor: float = 1.0) -> Callable[[object], float]:
    def read(value: object) -> float:
        if not isinstance(value, str) or not value.endswith(unit):
            raise ValueError(value)
        try:
            number = float(value.removesuffix(unit).replace(",", ""))
        except ValueError:
            raise ValueError(value) from None
        return _plain(number) / divisor

    return read


_HOURS = (_with("K·h"), 'write degree-hours with their unit, such as "2200 K·h"')
_UNITS: Mapping[tuple[str, str], tuple[Callable[[object], float], str]] = {
    ("needs", "value"): _HOURS,
    ("needs", "low"): _HOURS,
    ("needs", "high"): _HOURS,
    ("share", "value"): (_with("%", 100.0), 'write a share such as "70 %"'),
    ("share", "weight"): (_plain, "write of how many cuttings it is worth, such as 6"),
    ("spread", "value"): (_plain, "write a factor above 1, such as 1.25"),
}
