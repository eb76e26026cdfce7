"""A small configuration, written to bench.toml of an empty folder."""

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from controller.adapters.settings import Settings, SettingsError, load

SMALL = """\
[bench]
name = "small"

[[mat]]
name = "north"
power = "100 W"
area = "1.2 m x 0.53 m"
setpoint = "75 °F"
[mat.relay]
topic = "relay/north"
lease = true

[[tray]]
name = "N1"
mat = "north"

[[probe]]
name = "P1"
tray = "N1"
topic = "probe/P1"
"""

Load = Callable[..., Settings]
Complaints = Callable[..., list[str]]


@pytest.fixture
def small() -> str:
    return SMALL


@pytest.fixture
def loaded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Load:
    """Load a text as bench.toml of the working folder."""
    monkeypatch.chdir(tmp_path)

    def load_text(text: str, environ: Mapping[str, str] | None = None) -> Settings:
        path = Path("bench.toml")
        path.write_text(text, encoding="utf-8")
        return load(path, environ or {})

    return load_text


@pytest.fixture
def complaints(loaded: Load) -> Complaints:
    """Return the lines of the error that a text is refused with."""

    def lines_of(text: str, environ: Mapping[str, str] | None = None) -> list[str]:
        with pytest.raises(SettingsError) as caught:
            loaded(text, environ)
        return str(caught.value).splitlines()

    return lines_of
