"""The target that reads configurations: settings, or one clear error."""

from pathlib import Path
from random import Random

from controller.adapters.settings import SettingsError, known_keys, load
from controller.core.plan_rules import problems
from tests.campaigns.fuzzing.folders import a_folder
from tests.campaigns.fuzzing.mutator import NUMBERS, Mutator
from tests.campaigns.fuzzing.target import Target

ROOT = Path(__file__).parents[3]

_SMALL = b"""[bench]
name = "b"
[[mat]]
name = "m"
power = "100 W"
area = "1.2 m x 0.53 m"
setpoint = "75 F"
[mat.relay]
topic = "r"
lease = true
[[tray]]
name = "t"
mat = "m"
[[probe]]
name = "p"
tray = "t"
topic = "p"
payload = "/a~1b/0"
"""
_TOLD = b"""
[[notify]]
name = "phone"
url = "https://hooks.example/t"
for = ["high", "link-down", "cleared"]
quiet = "22:00-07:00"
wakes = ["trip"]
cold_wakes = ["m"]
all_is_well = "08:00"
at_most = "6 per hour"
[[notify]]
url = "apprise:json://localhost"
"""
_KEYS = tuple(key.rsplit(".", 1)[1].encode() for key in known_keys())
_SAID = (
    *(
        b'"24 \xc2\xb0C"',
        b'"75 F"',
        b'"75 degF"',
        b'"-1 K"',
        b'"1 \xc2\xb0F"',
        b'"0 s"',
    ),
    *(b'"999999999999 d"', b'"10 min"', b'"1e400 s"', b'"nan K"', b'"100 W"', b'""'),
    *(b'"median"', b'"none"', b'"pid"', b'"on-off"', b'"by hand"', b'"embedded"'),
    *(b'"mqtts://[::1]:0"', b'"mqtt://u:p@h"', b'"\xf0\x9f\x98\x80"', b"[1, 2]", b"{}"),
    *(b"1979-05-27T07:32:00Z", b"07:32:00", b"0xdead", b"inf", b"nan", b"true"),
    *(b"\n[[mat]]\n", b"\n[mat.relay]\n", b"\n[mat.pid]\n", b"\n[[mat.step]]\n"),
    *(
        b'["high", "cleared"]',
        b'["whim"]',
        b'"22:00-22:00"',
        b'"24:00"',
        b'"0 per day"',
    ),
    *(b"\n[[probe]]\n", b"\n[[tray]]\n", b"\n[bench]\n", b"\n[api]\n", b"[", b"]]"),
    *(b"\n" + key + b" = " for key in _KEYS),
)
_TOML = (_SMALL, _SMALL + _TOLD, (ROOT / "config" / "bench.toml").read_bytes())
CONFIGURATIONS = Mutator(_TOML, (*_SAID, *NUMBERS), longest=250_000)
VALUES = Mutator([word.strip(b'"') for word in _SAID], NUMBERS, longest=200)
_VARIABLES = tuple(
    f"BOTTOMHEAT_{section}__{key}".upper()
    for section, key in (
        *(("bench", "name"), ("bench", "timezone"), ("bench", "scan")),
        *(("broker", "url"), ("broker", "username"), ("broker", "ca_file")),
        *(("log", "path"), ("log", "commit_every"), ("log", "on_failure")),
        *(("api", "host"), ("api", "port"), ("mat", "name"), ("bench", "nome")),
    )
)
Configured = tuple[bytes, dict[str, str]]


def _configured(rng: Random) -> Configured:
    environ = {}
    if rng.random() < 0.3:
        text = VALUES.made(rng).decode("utf-8", "surrogateescape")
        environ[rng.choice(_VARIABLES)] = text.replace("\0", "")
    if rng.random() < 0.4:
        return CONFIGURATIONS.made(rng), environ
    lines = rng.choice(_TOML).splitlines(keepends=True)
    for _ in range(1 + int(rng.expovariate(0.7))):
        _change_line(rng, lines)
    return b"".join(lines), environ


def _change_line(rng: Random, lines: list[bytes]) -> None:
    """Change a line so that what comes of it is most likely TOML still."""
    at = rng.randrange(len(lines))
    match rng.randrange(6):
        case 0:
            del lines[at]
        case 1:  # a table or a key again
            lines[at:at] = lines[(again := rng.randrange(len(lines))) : again + 5]
        case 2:  # another key
            key, equals, value = lines[at].partition(b" = ")
            lines[at] = rng.choice(_KEYS) + equals + value if equals else key
        case _:
            key, equals, _ = lines[at].partition(b" = ")
            value = rng.choice((rng.choice(_SAID), rng.choice(NUMBERS)))
            lines[at] = key + equals + value + b"\n" if equals else key
    if not lines:
        lines.append(b"[bench]\n")


def check_configuration(given: Configured) -> bool:
    """A configuration is settings whose plan keeps every rule, or one error."""
    content, environ = given
    with a_folder() as folder:
        path = folder / "bench.toml"
        path.write_bytes(content)
        try:
            found = load(path, environ)
        except SettingsError as error:
            assert 1 <= len(error.findings) == len(str(error).splitlines())
            return False
    assert problems(found.plan) == ()
    assert found.plan.scan_ms > 0
    return True


TARGETS = (Target("configuration", 30, _configured, check_configuration),)
