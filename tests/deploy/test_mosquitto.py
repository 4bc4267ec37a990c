"""deploy/mosquitto on a real broker, included from a file like Debian's own: who gets in, and who may read and write what."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from brokers import Mosquitto, free_port, wait_for
from houses import SCHEDULE
from panelward.errors import EnvironmentFault
from panelward.link import Link, Message, request
from panelward.records import Broker

HERE = Path(__file__).parents[2] / "deploy" / "mosquitto"
# The lines of Debian 12's /etc/mosquitto/mosquitto.conf that say something, with folders of the test in them.
DEBIAN = "pid_file {folder}/pid\npersistence true\npersistence_location {folder}/store/\ninclude_dir {folder}/conf.d\n"


REFUSED = "refused 'panelward/test-van/sign-of-life' (Not authorized): nobody gets it by MQTT. Allow user 'phone' to write it"


def keys(out: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = ["bash", str(HERE / "keys.sh"), "--out", str(out), *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


class Secured:
    """The deployed broker on free ports."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.keys = folder / "keys"
        made = keys(self.keys, "--host", "127.0.0.1", "--host", "localhost")
        assert made.returncode == 0, made.stderr
        self.port, self.inner = free_port(), free_port()
        text = (HERE / "panelward.conf").read_text().replace("/etc/mosquitto/panelward", str(self.keys))
        for what, by in (("listener 8883", f"listener {self.port}"), ("listener 1883 ", f"listener {self.inner} ")):
            assert text.count(what) == 1
            text = text.replace(what, by)
        (folder / "conf.d").mkdir()
        (folder / "store").mkdir()
        (folder / "conf.d" / "panelward.conf").write_text(text)
        # As root it stays root here, for the folders of a test are closed; installed, keys.sh gives its files to its user.
        self.broker = Mosquitto(folder, port=self.port, whole=DEBIAN.format(folder=folder))

    def at(self, user: str, **other: object) -> Broker:
        """How this client reaches it from the network."""
        given: dict[str, object] = {
            "host": "127.0.0.1", "port": self.port, "tls": True, "username": user,
            "password_file": str(self.keys / "clients" / f"{user}.password"), "ca_file": str(self.keys / "ca.crt"),
            "cert_file": str(self.keys / "clients" / f"{user}.crt"), "key_file": str(self.keys / "clients" / f"{user}.key"),
        }  # fmt: skip
        return Broker(**(given | other))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def secured(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Secured]:
    made = Secured(tmp_path_factory.mktemp("secured"))
    made.broker.start()
    yield made
    made.broker.stop()


class Ear:
    def __init__(self, broker: Broker, client_id: str) -> None:
        self.got: list[Message] = []
        self.why: list[str] = []
        self.said: list[str] = []
        self.link = Link(
            broker,
            client_id=client_id,
            on_message=self.got.append,
            on_state=lambda _up, why: self.why.append(why),
            log=self.said.append,
            persistent=False,
        )

    @property
    def topics(self) -> list[str]:
        return [m.topic for m in self.got]

    def up(self, *filters: str) -> Ear:
        self.link.subscribe(tuple((each, 1) for each in filters))
        self.link.start()
        assert wait_for(lambda: self.link.connected, 20), (self.why, self.said)
        return self


@pytest.fixture
def ear() -> Iterator[Callable[..., Ear]]:
    made: list[Ear] = []

    def make(broker: Broker, client_id: str) -> Ear:
        made.append(Ear(broker, client_id))
        return made[-1]

    yield make
    for each in made:
        each.link.stop()


# What each may publish, and which of it each may read: the whole table, so that a line too many shows.
TOPICS: dict[str, dict[str, set[str]]] = {
    "van/D1/amps": {"writes": {"monitor"}, "reads": {"panelward", "door"}},
    "panelward/x/request/note": {"writes": {"panelward", "door"}, "reads": {"panelward"}},
    "panelward/reply/monitor-1": {"writes": {"panelward", "afar"}, "reads": {"monitor"}},
    "panelward/x/alarm/circuit/D1/dead": {"writes": {"panelward"}, "reads": {"door", "phone"}},
    "panelward/x/sign-of-life": {"writes": {"panelward"}, "reads": {"door", "phone", "afar"}},
    "panelward/x/request/acknowledge": {"writes": {"panelward", "door"}, "reads": {"panelward"}},
    "panelward/reply/door-1": {"writes": {"panelward", "afar"}, "reads": {"door"}},
    "panelward/x/afar/alarm/vehicle/x/link-lost": {"writes": {"afar"}, "reads": {"phone"}},
    "panelward/x/afar/sign-of-life": {"writes": {"afar"}, "reads": set()},
    "panelward/x/afar/request/acknowledge": {"writes": {"afar"}, "reads": {"afar"}},
    "elsewhere": {"writes": set(), "reads": set()},
}  # fmt: skip


def test_each_reads_and_writes_what_is_its_own_and_nothing_else(secured: Secured, ear: Callable[..., Ear]) -> None:
    users = ("monitor", "panelward", "door", "phone", "afar")
    ears = {user: ear(secured.at(user), f"{user}-1").up("#", "$SYS/#") for user in users}
    for user in users:
        for topic in TOPICS:
            ears[user].link.publish(topic, f"of {user}".encode())
    last = "van/last"  # a message behind all others: what has not come before it does not come
    time.sleep(0.3)
    ears["monitor"].link.publish(last, b"")
    assert wait_for(lambda: last in ears["panelward"].topics)
    for user in users:
        refused = set(ears[user].link.refused_topics)
        assert refused == {t for t, who in TOPICS.items() if user not in who["writes"]}, user
        assert all(f"Allow user '{user}' to write it in the broker's access list." in line for line in ears[user].said)
    # Who reads: each message by its sender. A door may not read what another asks for, nor a monitor anything.
    assert wait_for(lambda: "panelward/x/sign-of-life" in ears["phone"].topics)
    for user in users:
        came = {(m.topic, m.payload.decode()) for m in ears[user].got} - {(last, "")}
        wanted = {(t, f"of {w}") for t, who in TOPICS.items() if user in who["reads"] for w in who["writes"]}
        assert came == wanted, user


# paho drops the socket of a handshake that failed without closing it; the interpreter does so at once.
@pytest.mark.filterwarnings("ignore:unclosed <ssl.SSLSocket:ResourceWarning")
def test_a_wrong_password_a_stranger_and_nobody_are_refused_and_told_what_to_look_at(
    secured: Secured, tmp_path: Path, ear: Callable[..., Ear]
) -> None:
    wrong = tmp_path / "wrong"
    wrong.write_text("wrong\n")
    wrong.chmod(0o600)
    other = tmp_path / "other"
    assert keys(other, "--host", "127.0.0.1").returncode == 0
    strangers = {"cert_file": str(other / "clients/phone.crt"), "key_file": str(other / "clients/phone.key")}
    cases = {
        "wrong password": (secured.at("phone", password_file=str(wrong)), "check username and password_file in [broker]"),
        "unknown user": (secured.at("phone", username="nobody"), "check username and password_file in [broker]"),
        "no password": (secured.at("phone", username=None), "check username and password_file in [broker]"),
        "no certificate": (secured.at("phone", cert_file=None, key_file=None), "cert_file and key_file in [broker]"),
        "another authority's certificate": (secured.at("phone", **strangers), "it may not know the authority of cert_file"),
        "another authority trusted": (secured.at("phone", ca_file=str(other / "ca.crt")), "check ca_file in [broker]"),
        "another name": (secured.at("phone", host="127.0.0.2"), "check ca_file in [broker]"),
        "no TLS": (secured.at("phone", tls=False), "before it answered"),
    }
    met = {name: ear(broker, f"stranger-{n}") for n, (name, (broker, _)) in enumerate(cases.items())}
    for each in met.values():
        each.link.start()
    for name, each in met.items():
        assert wait_for(lambda each=each: any(each.why), 20), name
        assert not each.link.connected, name
        assert cases[name][1] in next(filter(None, each.why)), (name, each.why)
    # Their twin: the right one, at the same moment.
    ear(secured.at("phone"), "phone-2").up("panelward/#")


def test_the_bridge_tells_elsewhere_the_signs_of_life_and_nothing_else(
    secured: Secured, tmp_path: Path, ear: Callable[..., Ear]
) -> None:
    assert keys(secured.keys, "--client", "van", "--client", "afar").returncode == 0
    secured.broker.stop()
    secured.broker.start()  # it knows them from now on
    clients = secured.keys / "clients"
    bridge = (HERE / "bridge.conf").read_text()
    for what, by in (
        ("broker.example:8883", f"127.0.0.1:{secured.port}"),
        ("from-clients-van.password", (clients / "van.password").read_text().strip()),
        ("/etc/mosquitto/elsewhere/ca.crt", str(secured.keys / "ca.crt")),
        ("/etc/mosquitto/elsewhere/van.", str(clients / "van.")),
    ):
        assert what in bridge
        bridge = bridge.replace(what, by)
    aboard = Mosquitto(tmp_path, extra=f"allow_anonymous true\n{bridge}").start()
    try:
        sign = "panelward/test-van/sign-of-life"
        afar = ear(secured.at("afar"), "panelward-afar-test-van").up("panelward/#")
        van = ear(Broker(host="127.0.0.1", port=aboard.port), "van").up("panelward/#")
        end = time.monotonic() + 30
        while sign not in afar.topics and time.monotonic() < end:
            van.link.publish("panelward/test-van/alarm/circuit/D1/dead", b"x")
            van.link.publish(sign, b"{}", retain=True)
            time.sleep(0.2)
        assert set(afar.topics) == {sign}
        assert not [t for t in van.topics if "afar" in t]  # nothing comes back by it
    finally:
        aboard.stop()


def test_on_its_own_computer_the_watch_needs_its_password_only(secured: Secured, ear: Callable[..., Ear]) -> None:
    local = secured.at("panelward", port=secured.inner, tls=False)
    assert ear(local, "panelward-x").up("van/#").link.version == 5
    nobody = ear(Broker(host="127.0.0.1", port=secured.inner), "nobody")
    nobody.link.start()
    assert wait_for(lambda: any(nobody.why), 20)
    assert not nobody.link.connected


def test_a_request_that_the_access_list_refuses_says_so_at_once(secured: Secured) -> None:
    with pytest.raises(EnvironmentFault, match="Allow user 'phone' to write it"):
        request(secured.at("phone"), "panelward/x/request/drill", {"id": "1"}, timeout_s=60, client_id="asker")


def test_the_watch_says_whose_fault_it_is_and_a_command_gets_its_answer(secured: Secured, tmp_path: Path) -> None:
    """The daemon as a process: as itself all is well; as a phone it is told that it may not write its own topics."""
    for user in ("panelward", "phone"):
        broker = secured.at(user)
        lines = "\n".join(
            f'{key} = "{getattr(broker, key)}"' for key in ("username", "password_file", "ca_file", "cert_file", "key_file")
        )
        schedule = tmp_path / f"{user}.toml"
        schedule.write_text(SCHEDULE.format(port=secured.port, broker=f"tls = true\n{lines}"), encoding="utf-8")
        log = tmp_path / f"{user}.log"
        command = [sys.executable, "-m", "panelward", "watch", "--schedule", str(schedule), "--journal", str(tmp_path / user)]
        with log.open("wb") as out:
            daemon = subprocess.Popen(command, stdout=out, stderr=out, env=os.environ | {"PANELWARD_NOTIFY": ""})
        try:
            assert wait_for(lambda log=log: "connected" in log.read_text(), 30), log.read_text()
            if user == "panelward":
                ask = [sys.executable, "-m", "panelward", "presence", "aboard", "--schedule", str(schedule)]
                answer = subprocess.run(ask, capture_output=True, text=True, check=False)
                assert answer.returncode == 0, answer.stderr + log.read_text()
                assert "refused" not in log.read_text()
            else:
                assert wait_for(lambda log=log: REFUSED in log.read_text(), 20), log.read_text()
        finally:
            daemon.terminate()
            assert daemon.wait(20) == 0


def test_what_keys_makes_is_kept_closed_and_old_enough_for_a_clock_that_begins_in_1970(tmp_path: Path) -> None:
    out = tmp_path / "keys"
    missing = keys(out, "--client", "monitor")
    assert missing.returncode == 2
    assert "--host is missing" in missing.stderr
    assert keys(out, "--host", "panel.local", "--client", "monitor").returncode == 0
    before = {p: p.read_bytes() for p in out.rglob("*.[ckp][are][tys]*") if p.is_file()}
    assert len(before) >= 6
    # One more client, later: what was there stays, and the broker knows both.
    assert keys(out, "--client", "phone").returncode == 0
    assert {p: p.read_bytes() for p in before} == before
    assert re.findall(r"^(\w+):\$7\$", (out / "passwd").read_text(), re.M) == ["monitor", "phone"]
    assert not any(p.stat().st_mode & 0o077 for p in out.rglob("*") if p.suffix in (".key", ".password"))
    assert not (out / "passwd").stat().st_mode & 0o077
    # openssl's own judgement, at the second day of 1970, of today, and after the end.
    for at, good in ((86_400, True), (int(time.time()), True), (2_525_000_000, False)):
        asked = ["openssl", "verify", "-attime", str(at), "-CAfile", str(out / "ca.crt"), "-purpose", "sslclient"]
        done = subprocess.run([*asked, str(out / "clients" / "phone.crt")], capture_output=True, check=False)
        assert (done.returncode == 0) is good, at
    # A client's certificate is none for a server, and the other way round.
    for purpose, file in (("sslserver", "clients/phone.crt"), ("sslclient", "server.crt")):
        asked = ["openssl", "verify", "-CAfile", str(out / "ca.crt"), "-purpose", purpose, str(out / file)]
        assert subprocess.run(asked, capture_output=True, check=False).returncode != 0
    # Without its key the authority makes no more.
    shutil.move(out / "ca.key", tmp_path / "ca.key")
    assert "bring it back" in keys(out, "--client", "door").stderr
