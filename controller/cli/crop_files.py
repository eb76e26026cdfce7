"""Which crop files there are: the one that comes with it, and one's own. No command."""

from pathlib import Path

from controller.adapters.crop_file import load_crops
from controller.cli.paths import config_dir
from controller.trials.crops import Crop


def crops_of(own: Path | None) -> tuple[Crop, ...]:
    """Return all crops; one's own add, or stand in the place of the same.

    Raises:
        SettingsError: A file cannot be read, or has faults.
    """
    default = config_dir() / "crops.toml"
    return load_crops(default) if own is None else load_crops(default, own)
