"""A whole evening of setup in milliseconds, with a bench that answers as wood would."""

import asyncio
import os
import re
import signal
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from controller.adapters.access import TokenFile, tokens_beside
from controller.adapters.access.token_file import found_in
from controller.adapters.settings import load
from controller.cli import main, setup
from controller.cli import person as person_module
from controller.cli.check import worries
from controller.cli.entrance import access_of
from controller.cli.person import LeftError, attended
from controller.cli.settling import bench as bench_steps
from controller.cli.settling import system as system_module
from controller.cli.settling.answers import Answers, AnswersError, loaded, saved
from controller.cli.settling.login import login_link
from controller.cli.settling.mat_test import SILENT_MS
from controller.cli.settling.stage import LaterError, Stage
from controller.cli.settling.system import Board
from controller.ports import May
from tests.cli.people import JumpingClock, Scripted

ROOM_MC, HAND_MC, CUP_MC = 18_000, 33_000, 21_000
NAMES = {"28-000000000001": "N1", "28-000000000002": "N2", "28-000000000003": "mat"}
ERRORS_MK = dict(zip(NAMES, (300, 0, -250), strict=True))


@dataclass
class Wood:
    """A bench: probes with a warmth, an error, and a relay.

    Attributes:
        clock: Its time.
        said: What each probe said.
        mute: The probe that says nothing while the mat heats.
        every_ms: How often each probe speaks.
    """

    clock: JumpingClock
    warm_mc: dict[str, float] = field(default_factory=dict)
    around_mc: dict[str, float] = field(default_factory=dict)
    said: dict[str, list[tuple[int, int]]] = field(default_factory=dict)
    until_ms: int = 0
    ons: int = 0
    dead: bool = False
    mute: str = ""
    every_ms: int = 1_000

    def __post_init__(self) -> None:
        self.warm_mc = dict.fromkeys(NAMES, ROOM_MC)
        self.around_mc = dict.fromkeys(NAMES, ROOM_MC)

    def heated(self) -> bool:
        return self.clock.now().run_ms < self.until_ms and not self.dead

    def pass_on(self, ms: int) -> None:
        for address in NAMES:
            slow_ms, towards = 40_000, self.around_mc[address]
            if address.endswith("3") and self.heated():
                slow_ms, towards = 900_000, ROOM_MC + 12_000
            here = self.warm_mc[address]
            self.warm_mc[address] = here + (towards - here) * min(ms / slow_ms, 1)

    # Implements stage.Senses.
    async def listen(self, for_ms: int) -> None:
        end_ms = self.clock.now().run_ms + for_ms
        while self.clock.now().run_ms < end_ms:
            now_ms = self.clock.now().run_ms
            await self.clock.sleep_until(min(now_ms + 1_000, end_ms))
            self.pass_on(1_000)
            if self.clock.now().run_ms % self.every_ms >= 1_000:
                continue
            for address, milli in self.warm_mc.items():
                if address == self.mute and self.ons > 10:
                    continue
                heard = round(milli + ERRORS_MK[address])
                said = self.said.setdefault(address, [])
                said.append((self.clock.now().run_ms, heard))

    def values(self) -> dict[str, int]:
        return {address: said[-1][1] for address, said in self.said.items()}

    def samples(self, address: str) -> list[tuple[int, int]]:
        return self.said.get(address, [])

    # Implements relay_trial.Hand.
    async def on(self) -> None:
        self.ons += 1
        self.until_ms = self.clock.now().run_ms + 5_000

    async def off(self) -> None:
        self.until_ms = 0

    async def reported(self, *, energised: bool, within_ms: int) -> None:
        return None


class Grower(Scripted):
    """Somebody who does what is asked: warms a probe, stirs a cup."""

    def __init__(self, wood: Wood, *answers) -> None:
        super().__init__(*answers)
        self._wood = wood
        self._order = list(NAMES)

    def tell(self, text: str) -> None:
        super().tell(text)
        if "in your fist" in text and self._order:
            self._wood.around_mc = dict.fromkeys(NAMES, ROOM_MC)
            self._wood.around_mc[self._order.pop(0)] = HAND_MC

    async def ask(self, question: str, usual: str = "") -> str:
        if "one cup of water" in question:
            self._wood.around_mc = dict.fromkeys(NAMES, CUP_MC)
        named = re.search(r"Its name \((\S+)\)", question)
        if named:
            return NAMES[named[1]]
        return await super().ask(question, usual)


ANSWERS = (
    ("bench be called", "lean-to"),
    ("wired to this board", "y"),
    ("How many heat mats", "1"),
    ("Mat 1: its name", "north"),
    ("1, 2, 3 or 4", "1"),
    ("How many trays", "2"),
    ("T2: which medium", "bark-sand"),
    ("compare two media", "y"),
    ("for a moment", "y"),
    ("Did it click", "y"),
    ("Test mat north now", "y"),
    ("root zones on mat north", "22 °C"),
    ("Are these all", "y"),
)


class Folder(Board):
    """A board that is a folder, and has a name that no socket needs to tell."""

    def name(self) -> str:
        return "192.0.2.7"


def no_login(*, operate: bool) -> str:
    raise AssertionError("nobody asked for a login")


@dataclass
class Evening:
    """All that an evening needs; the board is a folder."""

    root: Path
    answers: tuple = ANSWERS

    def __post_init__(self) -> None:
        (self.root / "sys/bus/w1/devices").mkdir(parents=True, exist_ok=True)
        self.clock = JumpingClock()
        self.wood = Wood(self.clock)
        self.file = self.root / setup.ANSWERS
        self.begin()

    def begin(self, *answers) -> None:
        found = loaded(self.file)
        self.person = Grower(self.wood, *answers, *self.answers)
        self.stage = Stage(
            answers=found,
            keep=lambda: saved(found, self.file),
            person=self.person,
            clock=self.clock,
            system=Folder(self.root, self.person.tell),
            senses=self.opened,
            hand=lambda _: self.opened(),
            random=bytes,
        )

    @asynccontextmanager
    async def opened(self):
        yield self.wood

    async def go(self, **words) -> None:
        await setup.evening(self.stage, words.pop("login", no_login), **words)

    def config(self) -> Path:
        return self.root / "etc/bottomheat/bench.toml"


@pytest.fixture
def evening(tmp_path) -> Evening:
    return Evening(tmp_path)


async def test_an_evening_ends_with_a_configuration_that_check_accepts(evening):
    await evening.go()
    settings = load(evening.config(), {})
    (mat,) = settings.plan.mats
    assert (mat.name, mat.programme[0].setpoint_mc) == ("north", 22_000)
    wires = {wire.probe: wire.one_wire for wire in settings.wiring.probes}
    assert wires == {name: address for address, name in NAMES.items()}
    assert [tray.name for tray in mat.trays] == ["T1", "T2"]
    assert len(mat.surface) == 1
    assert not any("CANNOT" in worry for worry in worries(settings))
    said = "\n".join(evening.person.told)
    assert "Mat north: well" in said
    assert not evening.wood.heated()


async def test_what_an_evening_leaves_on_the_board(evening):
    await evening.go()
    unit = evening.root / "etc/systemd/system/bottomheat.service"
    assert "bottomheat run --config /etc/bottomheat/bench.toml" in unit.read_text()
    password = evening.root / "etc/bottomheat/broker-password"
    assert password.stat().st_mode & 0o777 == 0o600
    acl = (evening.root / "etc/mosquitto/bottomheat.acl").read_text()
    assert "user relay-north\ntopic read lean-to/relay/north\n" in acl
    secret = password.read_text().strip()
    for file in (evening.file, evening.config()):
        assert secret not in file.read_text()
    card = "\n".join(evening.person.told)
    assert "|  name      relay-north" in card
    assert "the same address always: boards look for it at 192.0.2.7" in card


async def test_the_cup_takes_each_probes_own_error_away(evening):
    await evening.go()
    probes = loaded(evening.file).probes
    offsets = {one.name: one.offset_k for one in probes}
    assert offsets["N1"] == pytest.approx(-0.3, abs=0.03)
    assert offsets["N2"] == pytest.approx(0.0, abs=0.03)
    assert offsets["mat"] == pytest.approx(0.25, abs=0.03)


@pytest.mark.parametrize("stop_at", ["one cup", "Did it click", "Where is N2"])
async def test_an_evening_that_was_interrupted_goes_on_where_it_was(evening, stop_at):
    def leave(question: str) -> None:
        if stop_at in question:
            raise EOFError

    evening.person.during = leave
    with pytest.raises(EOFError):
        await evening.go()
    assert not evening.wood.heated()
    done = loaded(evening.file).done
    evening.begin()
    await evening.go()
    assert "Going on after: " + ", ".join(done) in evening.person.told
    asked = "\n".join(evening.person.asked)
    assert "bench be called" not in asked
    assert load(evening.config(), {}).plan.mats[0].name == "north"


async def test_probes_that_speak_once_a_minute_are_told_apart_too(evening):
    """A fist that is closed before the first word would warm nothing any more."""
    evening.wood.every_ms = 60_000
    begun = evening.stage.senses

    @asynccontextmanager
    async def anew():
        evening.wood.said.clear()  # as a new connection hears nothing of before
        async with begun() as senses:
            yield senses

    evening.stage.senses = anew
    await evening.go()
    told = "\n".join(evening.person.told)
    assert "Lay them all down. Waiting for 28-" in told
    assert "none has moved enough" not in told


async def test_heat_ends_where_the_test_of_a_mat_is_interrupted(evening):
    going = asyncio.create_task(evening.go())

    def leave(_: int) -> None:  # as Ctrl-C does
        if evening.wood.ons > 100:
            going.cancel()

    evening.clock.passed = leave
    with pytest.raises(asyncio.CancelledError):
        await going
    assert evening.wood.ons > 100
    assert evening.wood.until_ms == 0


async def test_a_mat_that_does_not_warm_is_told(evening):
    evening.wood.dead = True
    await evening.go()
    told = "\n".join(evening.person.told)
    assert "Mat north: NOT WELL: only 0.0 K warmer" in told
    assert evening.wood.until_ms == 0


@pytest.mark.parametrize(
    ("mute", "why"),
    [
        ("28-000000000001", "N1 fell silent"),
        ("28-000000000003", "its surface probe fell silent"),
    ],
)
async def test_no_mat_is_heated_on_without_a_word_of_a_probe(evening, mute, why):
    evening.wood.mute = mute
    await evening.go()
    assert f"Mat north: NOT WELL: {why}" in "\n".join(evening.person.told)
    assert evening.wood.until_ms == 0
    silent_for_ms = evening.wood.ons * 2_000  # "on" is said every two seconds
    assert silent_for_ms == pytest.approx(SILENT_MS, abs=60_000)


async def test_a_root_zone_that_gets_warm_ends_the_test_of_a_mat(evening):
    def warmed(_: int) -> None:
        if evening.wood.ons > 30:
            evening.wood.warm_mc["28-000000000002"] = 30_500
            evening.wood.around_mc["28-000000000002"] = 30_500

    evening.clock.passed = warmed
    await evening.go()
    assert "NOT WELL: N2 reached 30.5 °C: ended" in "\n".join(evening.person.told)
    assert evening.wood.until_ms == 0
    assert evening.wood.ons < 60


async def test_nothing_is_heated_by_one_who_says_no(tmp_path):
    answers = [pair for pair in ANSWERS if pair[0] != "for a moment"]
    answers += [("for a moment", "n")]
    answers = [p if p[0] != "Test mat north now" else (p[0], "n") for p in answers]
    evening = Evening(tmp_path, tuple(answers))
    await evening.go()
    assert evening.wood.ons == 0
    assert evening.config().exists()


async def test_a_bench_may_begin_by_being_watched(tmp_path):
    answers = tuple(p if p[0] != "1, 2, 3 or 4" else (p[0], "4") for p in ANSWERS)
    evening = Evening(tmp_path, answers)
    await evening.go()
    (mat,) = load(evening.config(), {}).plan.mats
    assert mat.relay is None
    assert evening.wood.ons == 0
    conf = (tmp_path / "etc/mosquitto/conf.d/bottomheat.conf").read_text()
    assert "listener 1883 127.0.0.1" in conf  # nobody else has to come in


async def test_a_service_that_drives_pins_may(tmp_path):
    """As root a pin clicks all the same; the service is nobody in particular."""
    answers = tuple(p if p[0] != "1, 2, 3 or 4" else (p[0], "3") for p in ANSWERS)
    evening = Evening(tmp_path, answers)
    await evening.go()
    assert (tmp_path / "etc/systemd/system/bottomheat.service.d/pins.conf").exists()
    rules = tmp_path / "etc/udev/rules.d/70-bottomheat-pins.rules"
    assert 'GROUP="gpio"' in rules.read_text()
    told = "\n".join(evening.person.told)
    made, given = told.index("systemd-sysusers"), told.index("udevadm trigger")
    assert made < given < told.index("systemctl restart bottomheat")


async def test_a_missing_overlay_is_told_and_the_evening_resumed_after_it(tmp_path):
    evening = Evening(tmp_path)
    (tmp_path / "sys/bus/w1/devices").rmdir()
    config = tmp_path / "boot/firmware/config.txt"
    config.parent.mkdir(parents=True)
    config.write_text("# a board\ndtparam=audio=on\n")
    with pytest.raises(LaterError, match="dtoverlay=w1-gpio"):
        await evening.go()
    config.write_text(config.read_text() + "dtoverlay=w1-gpio,gpiopin=4  # probes\n")
    evening.begin()
    with pytest.raises(LaterError, match="pull-up"):
        await evening.go()
    (tmp_path / "sys/bus/w1/devices").mkdir()
    evening.begin()
    await evening.go()
    assert evening.config().exists()


async def test_a_step_can_be_gone_back_to(evening):
    await evening.go()
    evening.begin(("root zones on mat north", "24 °C"))
    await evening.go(again="setpoints")
    setpoint = load(evening.config(), {}).plan.mats[0].programme[0].setpoint_mc
    assert setpoint == 24_000
    kept = evening.config().with_name("bench.toml.before-setup")
    assert "22 °C" in kept.read_text()


async def test_answers_that_make_no_bench_are_told_and_nothing_is_written(tmp_path):
    """All probes in the room: a mat with a relay that nobody watches."""
    evening = Evening(tmp_path, (("Where is", "room"), *ANSWERS))
    with pytest.raises(LaterError, match="make no bench"):
        await evening.go()
    assert not evening.config().exists()


async def test_a_phone_is_let_in_only_after_its_risk_was_told(evening):
    log = evening.root / "var/lib/bottomheat/season.db"

    def login(*, operate: bool) -> str:
        return login_link(log, "192.0.2.7", evening.clock, operate=operate)

    evening.begin(("from your phone", "y"), ("all the same", "n"))
    await evening.go(login=login)
    assert TokenFile(tokens_beside(log)).load() is None
    told = "\n".join(evening.person.told)
    assert "take the token off the air" in told
    assert "ssh -L 8000" in told
    assert load(evening.config(), {}).api.host == "127.0.0.1"
    for _ in range(2):  # a second one takes the place of the first
        evening.begin(("from your phone", "y"), ("all the same", "y"))
        await evening.go(login=login, again="phone")
    (token,) = TokenFile(tokens_beside(log)).load()
    assert (token.name, token.may) == ("phone", May.READ)
    secret = re.search(r"#token=(\S+)", "\n".join(evening.person.told))
    assert secret is not None
    assert found_in([token], secret[1]) == token
    assert secret[1] not in evening.file.read_text()
    settings = load(evening.config(), {})
    assert settings.api.host == "0.0.0.0"  # noqa: S104
    access_of(replace(settings, log=replace(settings.log, path=log)), print)


def test_a_file_of_answers_that_is_none_is_refused(tmp_path):
    file = tmp_path / "setup.json"
    for text in ("[]", "{", '{"done": 5}', '{"mats": 5}', '{"probes": [{"name": 1}]}'):
        file.write_text(text)
        with pytest.raises(AnswersError, match="delete it"):
            loaded(file)
    assert loaded(tmp_path / "none.json") == Answers()


def test_steps_are_named_once():
    assert len(setup.STEPS) == len(set(setup.STEPS)) == len(setup._steps(no_login))
    assert bench_steps.OVERLAY == "dtoverlay=w1-gpio"


async def test_two_relays_on_one_board_have_one_card(tmp_path):
    """A board enters the broker once, under one name."""
    two = (("How many heat mats", "2"), ("T2: on which mat", "south"))
    more = (
        ("Mat 2: its name", "south"),
        ("on the same board as the relay of north", "north"),
        ("other boards", "1"),
    )
    evening = Evening(tmp_path, (*two, *ANSWERS, *more))
    await evening.go()
    acl = (tmp_path / "etc/mosquitto/bottomheat.acl").read_text()
    assert (
        "user relay-north\n"
        "topic read lean-to/relay/north\ntopic write lean-to/relay/north/state\n"
        "topic read lean-to/relay/south\ntopic write lean-to/relay/south/state\n"
    ) in acl
    names = (tmp_path / "etc/mosquitto/bottomheat.passwd").read_text().splitlines()
    assert [line.split(":")[0] for line in names] == [
        "bottomheat",
        "relay-north",
        "node-1",
    ]
    told = "\n".join(evening.person.told)
    (card,) = re.findall(
        r"Card for the relay of mat north and south.*?\+--", told, re.DOTALL
    )
    assert "hears     lean-to/relay/south\n" in card


REFUSED = (
    ("Mat 2: its name", ["north", "south"], "another one has that name"),
    ("south: 1, 2, 3 or 4", ["5", "2"], "1, 2, 3 or 4"),
    (
        "south: topic of its commands",
        ["lean-to/node-1/relay", "lean-to/relay-north/x", "lean-to/relay/north", "s"],
        "one of them could switch this relay",
    ),
    (
        "south: topic on which",
        ["s", "lean-to/relay/north", "s/+", "t"],
        "another topic",
    ),
    ("south: its word for off", ["ON", "OFF"], "that is its word for on"),
    ("same board as the relay", ["south", "-"], "one of: north, -"),
    ("Tray 2: its name", ["T1", "T2"], "another one has that name"),
)


async def test_what_no_bench_could_be_made_of_is_refused_at_once(tmp_path):
    """Not an hour later, when the configuration is written."""
    said = tuple((part, answers) for part, answers, _ in REFUSED)
    two = (("How many heat mats", "2"), ("T2: on which mat", "south"))
    evening = Evening(tmp_path, (*two, *ANSWERS, *said))
    await evening.go()
    told = "\n".join(evening.person.told)
    assert [why for _, _, why in REFUSED if why not in told] == []
    assert "the relay of mat north has that" in told
    mats = loaded(evening.file).mats
    assert [(m.name, m.relay, m.command, m.says) for m in mats] == [
        ("north", "lease", "lean-to/relay/north", "lean-to/relay/north/state"),
        ("south", "plain", "s", "t"),
    ]
    assert mats[1].card == ""


async def test_whoever_goes_back_to_the_names_gives_them_anew(evening):
    await evening.go()
    evening.begin()
    await evening.go(again="names")
    told = "\n".join(evening.person.told)
    assert told.count("in your fist") == len(NAMES) - 1
    assert f"{list(NAMES)[-1]} is left" in told


async def test_a_mat_is_handed_over_without_naming_probes_anew(evening):
    """Nor is the cup filled again: probes and what is known of them stay."""
    await evening.go()
    before = loaded(evening.file).probes
    evening.begin()
    await evening.go(again="mats")
    after = loaded(evening.file).probes
    assert [(p.name, p.offset_k) for p in after] == [
        (p.name, p.offset_k) for p in before
    ]
    assert not any("in your fist" in one for one in evening.person.told)
    assert "These have their names: N1, N2, mat (else: --again names)" in (
        evening.person.told
    )


@dataclass
class Services:
    """A board in earnest whose service manager is played.

    Attributes:
        runs: Whether the controller runs.
        obeys: Whether commands go.
        ran: What was run.
    """

    runs: bool = True
    obeys: bool = True
    ran: list[tuple[str, ...]] = field(default_factory=list)

    def board(self, root: Path, tell) -> Board:
        services = self

        class Played(Folder):
            in_earnest = True

            def run(self, *words: str) -> bool:
                services.ran.append(words)
                what, who = words[1], words[-1]
                if what == "is-active":
                    return services.runs
                if who == "bottomheat" and what in {"stop", "restart"}:
                    services.runs = what == "restart" and services.obeys
                return services.obeys

        return Played(root, tell)


def typed(monkeypatch, root: Path, services: Services, *answers, **steps):
    """Type bottomheat setup; return its exit status and what it told."""
    person = Scripted(*answers)

    def interrupted(question: str) -> None:
        if any(said == "^C" and part in question for part, said in answers):
            raise KeyboardInterrupt

    person.during = interrupted
    monkeypatch.setattr(person_module, "Terminal", lambda: person)
    monkeypatch.setattr(system_module, "Board", services.board)
    words = [word for which, step in steps.items() for word in (f"--{which}", step)]
    return main(["setup", "--root", str(root), *words]), "\n".join(person.told)


@pytest.fixture
async def all_done(evening) -> Path:
    await evening.go()
    return evening.root


def test_where_all_is_done_a_controller_is_left_alone(all_done, monkeypatch):
    services = Services()
    code, told = typed(monkeypatch, all_done, services)
    assert (code, services.ran) == (0, [])
    assert "--again who, one-wire" in told


STARTED = "To start it: sudo systemctl start bottomheat"


@pytest.mark.parametrize(
    ("answer", "code", "runs"), [("y", 0, True), ("n", 0, False), ("^C", 130, False)]
)
def test_a_bench_is_not_left_without_its_controller_in_silence(
    all_done, monkeypatch, answer, code, runs
):
    """It is stopped first, since two would command the same relays."""
    services, start = Services(), ("Start the controller", answer)
    found, told = typed(monkeypatch, all_done, services, start, again="service")
    assert (found, services.runs) == (code, runs)
    assert services.ran[1] == ("systemctl", "stop", "bottomheat")
    assert (STARTED in told) is not runs


@pytest.fixture
def hangups_heard():
    """Whoever runs these tests may ignore them (nohup)."""
    before = signal.signal(signal.SIGHUP, signal.SIG_DFL)
    yield
    signal.signal(signal.SIGHUP, before)


@pytest.mark.usefixtures("hangups_heard")
@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGTERM])
async def test_where_the_terminal_is_closed_heat_ends(evening, number):
    """A pin would stay as it is where the process just ended."""

    def leave(_: int) -> None:
        if evening.wood.ons == 100:
            os.kill(os.getpid(), number)

    evening.clock.passed = leave
    with pytest.raises(LeftError):
        await attended(evening.go())
    assert 100 <= evening.wood.ons < 110
    assert evening.wood.until_ms == 0


@pytest.mark.usefixtures("hangups_heard")
def test_whoever_closes_the_terminal_is_told_like_one_who_interrupts(
    all_done, monkeypatch
):
    async def left(*_: object, **__: object) -> None:
        os.kill(os.getpid(), signal.SIGHUP)
        await asyncio.Event().wait()

    monkeypatch.setattr(setup, "evening", left)
    code, told = typed(monkeypatch, all_done, Services(), again="click")
    assert (code, STARTED in told) == (130, True)


def test_a_controller_that_does_not_start_is_told(all_done, monkeypatch):
    code, told = typed(monkeypatch, all_done, Services(obeys=False), again="service")
    assert code == 1
    assert "journalctl -u bottomheat" in told
    assert "Look at it" not in told


def test_a_step_by_itself_goes_by_the_answers_of_an_evening_that_was(
    all_done, monkeypatch, tmp_path_factory
):
    """On a new board: new passwords, the unit, and nothing else is asked."""
    new, services = tmp_path_factory.mktemp("new"), Services(runs=False)
    kept = new / setup.ANSWERS
    kept.parent.mkdir(parents=True)
    kept.write_bytes((all_done / setup.ANSWERS).read_bytes())
    enter, start = ("own page", ""), ("Start the controller", "y")
    code, told = typed(monkeypatch, new, services, enter, only="broker")
    assert (code, "Card for the relay of mat north" in told) == (0, True)
    code, _ = typed(monkeypatch, new, services, start, only="service")
    assert (code, services.runs) == (0, True)
    user = services.ran.index(("systemd-sysusers", "/etc/sysusers.d/bottomheat.conf"))
    chown = services.ran.index(("chown", "-R", "bottomheat:", "/var/lib/bottomheat"))
    assert user < chown < services.ran.index(("systemctl", "restart", "bottomheat"))
    assert (new / "etc/bottomheat/broker-password").exists()
    assert kept.read_bytes() == (all_done / setup.ANSWERS).read_bytes()


def test_a_step_by_itself_wants_the_answers_that_it_goes_by(tmp_path, monkeypatch):
    code, told = typed(monkeypatch, tmp_path, Services(), only="broker")
    assert code == 1
    assert "needs what who, one-wire, mats ask" in told
    assert not (tmp_path / "etc").exists()


def test_in_a_folder_no_controller_is_looked_for(all_done):
    told: list[str] = []
    with setup._controller_away(Board(all_done, told.append), told.append):
        pass
    assert told == []
