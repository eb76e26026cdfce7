"""The last steps: the phone, the configuration, and every start of the board."""

import sys
import tempfile
from pathlib import Path
from typing import Protocol

from controller.cli.paths import config_dir
from controller.cli.person import yes
from controller.cli.settling.config_text import config_text
from controller.cli.settling.stage import LaterError, Stage

CONFIG = "/etc/bottomheat/bench.toml"
STATE = "/var/lib/bottomheat"
UNITS = "/etc/systemd/system"
PIN_RULES = "/etc/udev/rules.d/70-bottomheat-pins.rules"
PINS_AGAIN = (
    ("udevadm", "control", "--reload"),
    ("udevadm", "trigger", "--settle", "--subsystem-match=gpio"),
)
"""What gives pins that are there already to their group."""

PROGRAM = "/opt/bottomheat/bin/bottomheat"

PLAIN_AT_HOME = (
    "What plain HTTP at home risks: whoever is in your network, guests and their"
    " phones too, can listen in and take the token off the air. With a token that may"
    " only look they see your bench; one that may operate lets them change setpoints,"
    " within the limits, which no token can change. Never forward its port to the"
    " internet; TLS ([api] tls_cert) or a VPN of your own closes this."
)


class Login(Protocol):
    """Makes a token for a phone, and returns the address that logs in with it."""

    def __call__(self, *, operate: bool) -> str:
        """Make one that may look, or operate, too."""
        ...


async def phone(stage: Stage, login: Login) -> None:
    """Ask whether the page is looked at from a phone, and make that possible."""
    person = stage.person
    question = "Do you want to look at the bench from your phone at home?"
    stage.answers.phone = await yes(person, question, "n") is True
    if not stage.answers.phone:
        return
    person.tell(PLAIN_AT_HOME)
    if await yes(person, "Do it all the same?", "n") is not True:
        stage.answers.phone = False
        person.tell(
            "Then the page stays on the board. From a computer of yours:"
            f" ssh -L 8000:127.0.0.1:8000 {stage.system.name()}, and open"
            " http://127.0.0.1:8000/"
        )
        return
    operate = await yes(person, "May the phone change setpoints, too?", "n")
    address = login(operate=operate is True)
    person.tell(qr(address))
    person.tell(
        f"Hold the phone's camera before it, or type: {address}\nIt is shown this once."
        " From now on commands on this board want a token, too: sudo bottomheat token"
        f" add board --may operate --config {CONFIG} makes one; keep it in a file that"
        " only you can read, and give it to them as --token-file FILE"
    )


def qr(text: str) -> str:
    """Return a QR code (ISO/IEC 18004) for a terminal, two rows of it to a line."""
    import segno

    rows = [list(row) for row in segno.make(text, error="m").matrix_iter(border=2)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    # Light on dark is what most terminals are: light modules are drawn.
    marks = {(0, 0): "█", (0, 1): "▀", (1, 0): "▄", (1, 1): " "}
    return "\n".join(
        "".join(marks[bool(up), bool(down)] for up, down in zip(a, b, strict=True))
        for a, b in zip(rows[::2], rows[1::2], strict=True)
    )


async def written(stage: Stage) -> None:
    """Hold the configuration to the rules of check, then give it its name."""
    from controller.adapters.settings import SettingsError, load

    host = "0.0.0.0" if stage.answers.phone else "127.0.0.1"  # noqa: S104 - asked for
    text = config_text(stage.answers, host, stage.port)
    with tempfile.TemporaryDirectory() as folder:
        draft = Path(folder) / "bench.toml"
        draft.write_text(text, encoding="utf-8")
        try:
            load(draft, {})
        except SettingsError as error:
            told = str(error).replace(str(draft), "bench.toml")
            raise LaterError(
                f"These answers make no bench yet:\n{told}\nAnswer anew what they are"
                " about: bottomheat setup --again mats, or --again places"
            ) from error
    there = stage.system.write(CONFIG, text, 0o644)
    stage.person.tell(f"Written: {there}")


async def service(stage: Stage) -> None:
    """Have the board run the daemon at every start, if the person wants it."""
    question = "Start the controller now, and whenever this board starts?"
    if await yes(stage.person, question, "y") is not True:
        return
    system, folder = stage.system, config_dir() / "systemd"
    program = str(Path(sys.prefix) / "bin" / "bottomheat")
    unit = (folder / "bottomheat.service").read_text(encoding="utf-8")
    system.write(f"{UNITS}/bottomheat.service", unit.replace(PROGRAM, program), 0o644)
    pinned = any(mat.relay == "pin" for mat in stage.answers.mats)
    if pinned:
        pins = (folder / "pins.conf").read_text(encoding="utf-8")
        system.write(f"{UNITS}/bottomheat.service.d/pins.conf", pins, 0o644)
        rules = (folder / "bottomheat-pins.rules").read_text(encoding="utf-8")
        system.write(PIN_RULES, rules, 0o644)
    user = (folder / "bottomheat.sysusers").read_text(encoding="utf-8")
    system.write("/etc/sysusers.d/bottomheat.conf", user, 0o644)
    for words in (
        ("systemd-sysusers", "/etc/sysusers.d/bottomheat.conf"),
        # What root put there, a backup of another board maybe, is the daemon's now.
        ("chown", "-R", "bottomheat:", STATE),
        *(PINS_AGAIN if pinned else ()),
        ("systemctl", "daemon-reload"),
        ("systemctl", "enable", "bottomheat"),
        ("systemctl", "restart", "bottomheat"),
    ):
        if not system.run(*words):
            raise LaterError(
                f"That did not go: {' '.join(words)}. What the controller says:"
                " journalctl -u bottomheat. Then run setup again"
            )
    stage.person.tell(
        f"Look at it: {program} trays. See that all of it is well, with somebody at"
        f" the bench: sudo systemctl stop bottomheat; sudo {program} check {CONFIG}"
        " --live --with-heat; sudo systemctl start bottomheat"
    )
