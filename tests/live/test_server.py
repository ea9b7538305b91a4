"""The server answers its own page alone, survives whatever is sent, and writes only new files beside the scenario."""

from __future__ import annotations

import asyncio
import json
import random
import signal
import socket
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from house.source_tree import ROOT
from live.pages import LONGEST, Page, copied, served
from simlaunch.errors import UsageError
from simlaunch.shaping.server import MOST_BYTES, live


def test_the_page_and_its_files_are_there_under_a_strict_policy(page: Page) -> None:
    for name, kind in (("", "text/html"), ("page.js", "text/javascript"), ("page.css", "text/css")):
        status, headers, content = page.ask("GET", f"/{page.secret}/{name}")
        assert (status, headers["content-type"]) == (200, f"{kind}; charset=utf-8")
        assert content
        policy = headers["content-security-policy"]
        assert policy.startswith("default-src 'none';")
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize(
    "host",
    ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "127.0.0.1.evil.example:{port}", "", "[::1]"],
)
def test_a_name_that_was_made_to_lead_here_is_refused(page: Page, host: str) -> None:
    """DNS rebinding: the request reaches this machine, but carries the name that the browser asked for."""
    named = {"Host": host.format(port=page.port)}
    status, _, content = page.ask("GET", f"/{page.secret}/begin", headers=named)
    assert status == 400
    assert b"points" not in content


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": ""},
        {"Sec-Fetch-Site": "cross-site"},
    ],
)
def test_another_origin_is_refused(page: Page, headers: dict[str, str]) -> None:
    body = json.dumps(page.state()).encode()
    assert page.ask("POST", f"/{page.secret}/quick", body, headers)[0] == 403


@pytest.mark.parametrize(
    "path", ["/", "/begin", "/{wrong}/begin", "/{half}/begin", "/{wrong}/../{secret}/begin", "//", "/%00/begin"]
)
def test_without_the_secret_nothing_is_there(page: Page, path: str) -> None:
    asked = path.format(wrong="A" * len(page.secret), half=page.secret[:-1], secret=page.secret)
    assert page.ask("GET", asked)[0] == 404


def test_it_listens_on_this_machine_alone(page: Page) -> None:
    """RFC 1122, 3.2.1.3: 127/8 is the loopback; the machine's other addresses must not answer."""
    others = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    for address in others - {"127.0.0.1"}:
        with socket.socket() as tried:
            tried.settimeout(2.0)
            assert tried.connect_ex((str(address), page.port)) != 0


@pytest.mark.parametrize(
    ("body", "headers", "status"),
    [
        (b"{" + b" " * MOST_BYTES + b"}", {}, 413),
        (b"", {}, 400),
        (b"{", {}, 400),
        (b"\xff\xfe", {}, 400),
        (b"[" * 50_000, {}, 400),
        (b"{}", {"Content-Type": "text/plain"}, 415),
        (b"{}", {"Content-Type": ""}, 415),
        (b"{}", {}, 422),
        (b"[]", {}, 422),
        (b'{"points": [[1, NaN]], "against": "peak"}', {}, 422),
        (b'{"points": [[1, 1e999]], "against": "peak"}', {}, 422),
        (b'{"points": [[1, true]], "against": "peak"}', {}, 422),
        (b'{"points": [], "against": "peak"}', {}, 422),
    ],
)
def test_a_body_that_does_not_do_is_refused(page: Page, body: bytes, headers: dict[str, str], status: int) -> None:
    found, _, content = page.ask("POST", f"/{page.secret}/quick", body, headers)
    assert found == status
    assert json.loads(content)["fault"]
    assert b"Traceback" not in content


def test_a_body_without_end_is_cut_off(page: Page) -> None:
    with socket.create_connection(("127.0.0.1", page.port), timeout=LONGEST) as line:
        head = (
            f"POST /{page.secret}/quick HTTP/1.1\r\nHost: 127.0.0.1:{page.port}\r\nOrigin: {page.origin}\r\n"
            "Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n"
        )
        line.sendall(head.encode())
        chunk = b"4000\r\n" + b" " * 0x4000 + b"\r\n"
        for _ in range(5):
            line.sendall(chunk)
        assert line.recv(100).startswith(b"HTTP/1.1 413")


@pytest.mark.parametrize(
    "change",
    [
        {"against": "nobody"},
        {"tests": ["no such test"]},
        {"values": {"mass": 1e9}},
        {"values": {"no such slider": 1}},
        {"taken": {"gear set": "nothing"}},
        {"taken": {"nothing": "short"}},
        {"points": [[1000, 100], [900, 200], [7000, 100]]},
        {"points": [[1000, 100], [3000, 200]]},
        {"points": [[1000, -5], [7000, 200]]},
    ],
)
def test_a_state_that_cannot_be_is_refused_in_words(page: Page, change: dict[str, Any]) -> None:
    status, answer = page.post("quick", page.state(**change))
    assert status == 422
    assert answer["fault"]
    assert "internal" not in answer["fault"]


@pytest.mark.parametrize(
    "name",
    [
        "../x",
        "/tmp/x",
        "..",
        "a/b",
        "a\\b",
        "x\0",
        "",
        ".hidden",
        "C:x",
        "x" * 100,
        "road-coupe",
        "a\nb",
        "~/x",
        "x.toml.csv",
    ],
)
@pytest.mark.parametrize("kind", ["save-curve", "save-scenario", "report"])
def test_a_name_that_leads_elsewhere_or_is_taken_writes_nothing(page: Page, name: str, kind: str) -> None:
    for ending in (".csv", ".html"):
        taken = page.folder / f"road-coupe{ending}"
        if not taken.exists():
            taken.write_text("mine", "utf-8")
    before = {path: path.read_bytes() for path in page.folder.rglob("*") if path.is_file()}
    status, answer = page.post(kind, {**page.state(), "name": name})
    assert status == 422, answer
    assert {path: path.read_bytes() for path in page.folder.rglob("*") if path.is_file()} == before
    assert not (page.folder.parent / "x.csv").exists()


def test_a_link_is_not_followed(page: Page, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere.csv"
    (page.folder / "linked.csv").symlink_to(elsewhere)
    assert page.post("save-curve", {**page.state(), "name": "linked"})[0] == 422
    assert not elsewhere.exists()


def _spoilt(draw: random.Random, sound: dict[str, Any]) -> bytes:
    """A message that was sound once."""
    junk: list[Any] = [
        None,
        True,
        -1,
        1e308,
        -1e-308,
        10**400,
        "",
        "peak",
        [],
        {},
        [[]],
        "\ud800",
        {"a": 1},
        "x" * 5000,
    ]
    kind = draw.randrange(3)
    data = json.loads(json.dumps(sound))
    if kind == 0:
        text = bytearray(json.dumps(data).encode())
        for _ in range(draw.randrange(1, 6)):
            text[draw.randrange(len(text))] = draw.randrange(256)
        return bytes(text)
    if kind == 1:
        data[draw.choice([*data, "more"])] = draw.choice(junk)
    else:
        points = data["points"]
        points[draw.randrange(len(points))] = [draw.choice([*junk, 3000, 5000.5]), draw.choice([*junk, 0, 20000, 1e5])]
        data["values"] = {draw.choice(["mass", "grip", "lag", "x"]): draw.choice([*junk, 100, 60])}
    return json.dumps(data).encode()


def test_a_thousand_random_messages_leave_no_traceback(page: Page, capfd: pytest.CaptureFixture[str]) -> None:
    draw, sound = random.Random(15), page.state(values={"grip": 100}, taken={"surface": "as described"})
    seen: dict[int, int] = {}
    for _ in range(1000):
        name = draw.choice(["quick"] * 6 + ["exact", "save-curve", "begin", "open", "nothing"])
        status, _, content = page.ask("POST", f"/{page.secret}/{name}", _spoilt(draw, sound))
        seen[status] = seen.get(status, 0) + 1
        assert status in (200, 400, 404, 405, 413, 422), (name, content[:300])
        assert b"Traceback" not in content
    assert seen[400] > 50
    assert seen[422] > 200
    assert page.post("quick", page.state())[0] == 200
    assert "Traceback" not in "".join(capfd.readouterr())


def test_it_ends_when_its_page_was_closed_for_a_while(tmp_path: Path) -> None:
    with served(copied(tmp_path)) as page:
        assert page.begin()["car"]
    with socket.socket() as tried:  # `served` has closed the page and waited for the end
        assert tried.connect_ex(("127.0.0.1", page.port)) != 0


def test_a_port_that_is_taken_is_named(page: Page) -> None:
    import simlaunch

    with pytest.raises(UsageError, match=f"port {page.port} cannot be used"):
        live(simlaunch.load(page.folder / "road-coupe.toml"), port=page.port, browser=False)


@pytest.mark.skipif(sys.platform == "win32", reason="signals as on Unix")
def test_the_command_prints_the_address_and_ends_with_ctrl_c() -> None:
    command = [sys.executable, "-m", "simlaunch", "live", str(ROOT / "scenarios" / "road-coupe.toml"), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as running:
        assert running.stdout is not None
        address = running.stdout.readline().strip()
        assert address.startswith("http://127.0.0.1:")
        assert Page(address, ROOT).begin()["goal"] == "1/4 mile"
        running.send_signal(signal.SIGINT)
        _, told = running.communicate(timeout=LONGEST)
    assert running.returncode == 130
    assert "Traceback" not in told
    assert "interrupted" in told


def test_a_running_loop_is_refused_before_anything_starts() -> None:
    import simlaunch

    scenario = simlaunch.load(ROOT / "scenarios" / "road-coupe.toml")

    async def called() -> None:
        live(scenario, browser=False)

    with pytest.raises(UsageError, match="call live from a script or a terminal"):
        asyncio.run(called())
