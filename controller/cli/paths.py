"""Where the files that ship with bottomheat lie."""

from importlib import resources
from pathlib import Path


def config_dir() -> Path:
    """Return the folder of the demo bench, defaults, guides and service units.

    A wheel carries the top folder config/ inside the package, as _config; in a
    clone, installed or not, it stays beside the package.
    """
    package = Path(str(resources.files("controller")))
    inside = package / "_config"
    return inside if inside.is_dir() else package.parent / "config"
