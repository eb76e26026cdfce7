"""Settings: a TOML file and the environment make a plan and its wiring.

Everything wrong is told at once, one line each: file, place, what stands there
and what is allowed.
"""

from controller.adapters.settings.api_table import api_of
from controller.adapters.settings.findings import Finding, SettingsError
from controller.adapters.settings.load import load
from controller.adapters.settings.tables import known_keys
from controller.adapters.settings.values import ApiSettings, LogSettings, Settings

__all__ = [
    "ApiSettings",
    "Finding",
    "LogSettings",
    "Settings",
    "SettingsError",
    "api_of",
    "known_keys",
    "load",
]
