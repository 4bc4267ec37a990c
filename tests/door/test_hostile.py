"""A client that means no good: slow headers, huge bodies, forged requests, guessed sessions, path tricks."""

from __future__ import annotations

import base64
import json
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from tests.door.served import Served, alarm_object, present_row, schedule_text, served, write_journal

PASSWORD = "bolt cutters 9"


@pytest.fixture(scope="module")
def door(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Bound to this computer: no login. Nobody answers requests, as there is no broker."""
    folder = tmp_path_factory.mktemp("alone")
    (folder / "s.toml").write_text(schedule_text(["Freezer"]))
    (folder / "secret.txt").write_text("nobody may read this")
    write_journal(folder / "j.sqlite", present_row(["Freezer"]), [alarm_object("D1", "Look at Freezer.")])
    with served(folder, folder / "s.toml", folder / "j.sqlite") as found:
        yield found


@pytest.fixture(scope="module")
def guarded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """With a password."""
    from panelward.door.guard import hashed

    folder = tmp_path_factory.mktemp("guarded")
    (folder / "s.toml").write_text(schedule_text(["Freezer"]))
    (folder / "password").write_text(hashed(PASSWORD) + "\n")
    (folder / "password").chmod(0o600)
    write_journal(folder / "j.sqlite", present_row(["Freezer"]), [alarm_object("D1", "Look at Freezer.")])
    with served(folder, folder / "s.toml", folder / "j.sqlite", "--password-file", str(folder / "password")) as found:
        yield found


@pytest.mark.parametrize(
    "path",
    [
        "/static/../../s.toml", "/static/..%2f..%2fs.toml", "/static/%2e%2e/%2e%2e/app.py", "/static//etc/passwd",
        "/../secret.txt", "/alarm/../../secret.txt", "/alarm/%00", "/way/%2e%2e%2f%2e%2e", "/%ff%fe", "/a/../../x",
        "/static/door.css/../../plan.py", "/static/door.css%00.html",
    ],
)  # fmt: skip
def test_no_path_leads_out(door: Served, path: str) -> None:
    answer = door.client().get(path)
    assert answer.status in (400, 404), answer.text[:200]
    for leaked in ("nobody may read", "root:", "Traceback", "import ", "site-packages", "panelward.door"):
        assert leaked not in answer.text


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:8460", "localhost.evil.example", "", "127.0.0.1.evil.example", "10.0.0.9"]
)
def test_a_name_that_is_not_ours_reads_nothing(door: Served, host: str) -> None:
    """A foreign page whose name is pointed at this computer (DNS rebinding) says its own name in Host."""
    answer = door.client(host=host or " ").get("/")
    assert answer.status in (400, 421)
    assert "Freezer" not in answer.text


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1:8460", "LOCALHOST:1", "[::1]:8460"])
def test_its_own_names_are_taken(door: Served, host: str) -> None:
    assert door.client(host=host).get("/").status == 200


def test_a_form_from_elsewhere_is_refused(door: Served) -> None:
    client = door.client()
    csrf = client.get("/").csrf()
    path = f"/alarm/{alarm_object('D1', '')['id']}/seen"
    assert client.post(path, {"csrf": csrf, "sequence": "1"}, Sec_Fetch_Site="cross-site").status == 403
    assert client.post(path, {"csrf": csrf, "sequence": "1"}, Sec_Fetch_Site="same-site").status == 403
    assert client.post(path, {"csrf": csrf, "sequence": "1"}, Origin="http://evil.example").status == 403
    assert client.post(path, {"csrf": csrf, "sequence": "1"}, Origin="null").status == 403
    assert client.post(path, {"csrf": "guess", "sequence": "1"}).status == 403
    assert client.post(path, {"sequence": "1"}).status == 403
    assert door.client().post(path, {"csrf": csrf, "sequence": "1"}).status == 403, "another session's token"
    honest = client.post(path, {"csrf": csrf, "sequence": "1"}, Sec_Fetch_Site="same-origin")
    assert honest.status == 303
    assert "could not be asked" in client.follow(honest).text  # no broker here: it got so far


def test_a_changing_address_is_never_a_get(door: Served) -> None:
    for path in ("/note", "/working", "/presence", "/who", "/logout", "/alarm/x/seen"):
        assert door.client().get(path).status in (404, 405)


def test_too_much_is_refused(door: Served) -> None:
    client = door.client()
    assert client.ask("POST", "/note", b"x" * 20_000).status == 413
    assert client.ask("POST", "/note", b"", Content_Length="99999999999").status == 413
    assert client.get("/?" + "x" * 5000).status == 414
    assert client.get("/", X_Long="y" * 40_000).status in (400, 431)
    assert client.ask("PUT", "/").status == 405
    csrf = client.get("/behind").csrf()
    fields = "&".join(f"a{n}=1" for n in range(500)).encode()
    assert (
        client.ask(
            "POST", "/note", b"csrf=" + csrf.encode() + b"&" + fields, Content_Type="application/x-www-form-urlencoded"
        ).status
        == 400
    )


def _raw(door: Served, sent: bytes, wait_s: float = 15.0) -> bytes:
    parts = urlsplit(door.url)
    with socket.create_connection((parts.hostname, parts.port), timeout=wait_s) as peer:
        peer.sendall(sent)
        found = b""
        try:
            while piece := peer.recv(65536):
                found += piece
        except (TimeoutError, ConnectionResetError):
            pass
    return found


def test_a_body_without_a_length_is_counted(door: Served) -> None:
    """Chunked: the size is not said before."""
    chunks = b"1000\r\n" + b"z" * 4096 + b"\r\n"
    head = b"POST /note HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n"
    assert _raw(door, head + chunks * 8 + b"0\r\n\r\n").startswith(b"HTTP/1.1 413")


@pytest.mark.parametrize(
    "sent",
    [
        b"GET / HTTP/1.1\r\nHost: localhost\r\nX: " + b"\x00\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + b"\x00" * 200,
        b"GET http://evil.example/ HTTP/1.1\r\nHost: localhost\r\n\r\n"[:0] + b"GARBAGE\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"POST /note HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\nContent-Length: 6\r\n\r\nhello",
        b"POST /note HTTP/1.1\r\nHost: localhost\r\nContent-Length: -1\r\n\r\n",
    ],
)
def test_what_is_no_request(door: Served, sent: bytes) -> None:
    answer = _raw(door, sent)
    assert answer == b"" or answer.split()[1] in (b"400", b"413", b"421")
    assert b"Traceback" not in answer
    assert door.client().get("/").status == 200


def test_slow_clients_hold_nothing(door: Served) -> None:
    """Forty that never finish their headers: the page answers others meanwhile, and lets them go."""
    parts = urlsplit(door.url)
    peers = [socket.create_connection((parts.hostname, parts.port), timeout=30) for _ in range(40)]
    try:
        for peer in peers:
            peer.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n")
        assert door.client().get("/").status == 200
        end_s = time.monotonic() + 25
        for peer in peers[:3]:
            while time.monotonic() < end_s:
                try:
                    peer.sendall(b"X: y\r\n")  # a byte now and then does not keep it alive
                    peer.settimeout(0.5)
                    if peer.recv(1) == b"":
                        break
                except TimeoutError:
                    continue
                except OSError:
                    break
            else:
                pytest.fail("a client that never finished its headers was still there after 25 s")
    finally:
        for peer in peers:
            peer.close()


def test_headers_of_every_answer(door: Served) -> None:
    for path in ("/", "/static/door.css", "/nothing", "/login"):
        headers = door.client().get(path).headers
        assert headers["content-security-policy"].startswith("default-src 'none'")
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"
        assert "server" not in headers
    cookie = door.client().get("/").headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie


def test_no_page_has_anything_inline_that_the_policy_forbids(door: Served) -> None:
    for path in ("/", "/behind", "/alarms", "/messages", "/unseen", "/login"):
        text = door.client().get(path).text
        assert "<script>" not in text
        assert "<style" not in text
        assert " style=" not in text
        assert " onclick" not in text
        assert "http://" not in text.replace('xmlns="http://www.w3.org', "")


def test_a_change_needs_the_password(guarded: Served) -> None:
    client = guarded.client()
    first = client.get("/")
    assert "Look at Freezer." in first.text, "reading needs none"
    path = f"/alarm/{alarm_object('D1', '')['id']}/seen"
    turned = client.post(path, {"csrf": first.csrf(), "sequence": "1"})
    assert turned.headers["location"].startswith("/login")
    assert "not the password" in client.follow(client.post("/login", {"csrf": first.csrf(), "password": "wrong one"})).text
    inside = client.post("/login", {"csrf": first.csrf(), "password": PASSWORD, "then": "//evil.example/"})
    assert inside.headers["location"] == "/", "it does not send people elsewhere"
    fresh = client.get("/")
    assert fresh.csrf() != first.csrf(), "what was known before the login is of no use after it"
    asked = client.post(path, {"csrf": fresh.csrf(), "sequence": "1"})
    assert asked.headers["location"] == "/"
    assert "could not be asked" in client.follow(asked).text
    client.post("/logout", {"csrf": client.get("/").csrf()})
    assert client.post(path, {"csrf": client.get("/").csrf(), "sequence": "1"}).headers["location"].startswith("/login")


def test_guessed_sessions_are_no_sessions(guarded: Served) -> None:
    path = f"/alarm/{alarm_object('D1', '')['id']}/seen"
    for guess in (
        base64.b64encode(json.dumps({"csrf": "a", "in": "0" * 16}).encode()).decode() + ".aaaa.bbbb",
        "a" * 4000,
        "..",
        "",
    ):
        client = guarded.client(cookies={"panelward": guess})
        assert client.post(path, {"csrf": "a", "sequence": "1"}).status == 403


def test_guessing_the_password_is_slow(guarded: Served) -> None:
    client = guarded.client()
    csrf = client.get("/").csrf()
    found = [client.post("/login", {"csrf": csrf, "password": f"guess {n}"}).status for n in range(12)]
    assert 429 in found
    assert found.count(303) <= 6


@pytest.mark.parametrize("mode", [0o644, 0o640])
def test_a_password_that_others_can_read_is_refused(tmp_path: Path, mode: int) -> None:
    from panelward.door.guard import hashed, password_line
    from panelward.errors import EnvironmentFault

    (tmp_path / "p").write_text(hashed(PASSWORD))
    (tmp_path / "p").chmod(mode)
    with pytest.raises(EnvironmentFault, match="chmod 600"):
        password_line(str(tmp_path / "p"))


def test_a_flood_of_requests_is_told_to_wait(tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text(schedule_text(["Freezer"]))
    write_journal(tmp_path / "j.sqlite", present_row(["Freezer"]))
    with served(tmp_path, tmp_path / "s.toml", tmp_path / "j.sqlite") as door:
        client = door.client()
        found = [client.get("/static/door.css").status for _ in range(400)]
        assert 429 in found
        assert found[0] == 200
