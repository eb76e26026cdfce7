"""Where settings come from: one TOML file, and the environment.

What may live here: reading and the outer shape. What the keys mean is in tables.
"""

import tomllib
from collections.abc import Mapping
from pathlib import Path

from controller.adapters.settings.findings import Finding, SettingsError, unknown
from controller.adapters.settings.tables import (
    IN_ENVIRONMENT,
    PREFIX,
    SECTIONS,
    TABLES,
)

ENVIRONMENT = "environment"

_LARGEST_FILE = 200_000
"""Chosen: a bench of a thousand probes takes half of it [bytes]."""

TOKEN_VARIABLE = "BOTTOMHEAT_TOKEN"  # noqa: S105 - its name, not a secret
"""No setting: commands that ask a bench find their token there."""

_NESTED = "__"


def read_file(path: Path) -> dict[str, object]:
    """Return the file's content.

    Raises:
        SettingsError: It cannot be read, or is not TOML.
    """
    content = _content(path)
    try:
        # The mark that some editors put before UTF-8 text is no part of it.
        text = content.decode("utf-8-sig")
        return tomllib.loads(text.replace("\r\n", "\n"))
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        problem = f"line {line}: not UTF-8 text; save the file as UTF-8"
    except RecursionError:
        problem = "nested too deeply; write tables and arrays one inside another"
    except tomllib.TOMLDecodeError as error:
        problem = f"not TOML: {error}"
    except ValueError as error:  # a number of too many digits
        problem = f"not a setting: {error}"
    raise SettingsError([Finding(str(path), None, problem)])


def _content(path: Path) -> bytes:
    try:
        if not path.is_file():
            problem = "not a file; name a TOML file" if path.exists() else _no_file()
        else:
            with path.open("rb") as file:
                content = file.read(_LARGEST_FILE + 1)
            if len(content) <= _LARGEST_FILE:
                return content
            problem = f"larger than {_LARGEST_FILE} bytes; no bench needs that"
    except OSError as error:
        problem = f"cannot be read: {error.strerror}"
    raise SettingsError([Finding(str(path), None, problem)])


def _no_file() -> str:
    return "no such file; name a TOML file that exists"


def well_shaped(
    data: Mapping[str, object], source: str
) -> tuple[dict[str, object], list[Finding]]:
    """Return the tables that are known, and what else was found at the top."""
    shaped: dict[str, object] = {
        name: {} if name in SECTIONS else [] for name in TABLES
    }
    findings = []
    for key, value in data.items():
        allowed = _shape_problem(key, value)
        if allowed is None:
            shaped[key] = value
        else:
            place = f"[[{key}]]" if isinstance(value, list) else f"[{key}]"
            findings.append(Finding(place, None, allowed, source))
    return shaped, findings


def _shape_problem(key: str, value: object) -> str | None:
    if key not in TABLES:
        return unknown(key, TABLES)
    if key in SECTIONS and not isinstance(value, dict):
        return f"there is one of it; write [{key}] and its keys below"
    if key not in SECTIONS and not isinstance(value, list):
        return f"there may be several; write [[{key}]] before the keys of each"
    return None


def known_environment(
    environ: Mapping[str, str],
) -> tuple[dict[str, str], list[Finding]]:
    """Return the variables that set something, and what is wrong with others."""
    known, findings = {}, []
    for name in sorted(environ):
        if not name.upper().startswith(PREFIX) or name == TOKEN_VARIABLE:
            continue
        allowed = _variable_problem(name)
        if allowed is None:
            known[name] = environ[name]
        else:
            findings.append(Finding(name, None, allowed, ENVIRONMENT))
    return known, findings


def variable(section: str, key: str) -> str:
    """Return the name of the variable that sets a key."""
    return f"{PREFIX}{section}{_NESTED}{key}".upper()


def _variable_problem(name: str) -> str | None:
    section = name.removeprefix(PREFIX).split(_NESTED)[0].lower()
    if section in TABLES and section not in IN_ENVIRONMENT:
        return "mats, trays, probes, notify and crops are set in the file only"
    sections = [section] if section in IN_ENVIRONMENT else IN_ENVIRONMENT
    names = [variable(s, key) for s in sections for key in TABLES[s].model_fields]
    if name.upper() in names:
        return None if name in names else f"write it in capitals: {name.upper()}"
    endings = [known.removeprefix(PREFIX) for known in names]
    return f"after {PREFIX}: {unknown(name.removeprefix(PREFIX), endings)}"
