"""A server for tests, run on a thread, and plain requests to it over real sockets."""

from __future__ import annotations

import http.client
import json
import queue
import shutil
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import simlaunch
from house.source_tree import ROOT
from simlaunch.shaping.server import live

LONGEST = 120.0  # that anything here may take on a slow machine [s]


@dataclass(frozen=True)
class Page:
    """Where a server answers, and the folder of its scenario."""

    address: str
    folder: Path

    @property
    def port(self) -> int:
        return urlsplit(self.address).port or 0

    @property
    def secret(self) -> str:
        return urlsplit(self.address).path.strip("/")

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def ask(
        self, method: str, path: str, body: bytes | None = None, headers: Mapping[str, str] | None = None
    ) -> tuple[int, Mapping[str, str], bytes]:
        """Status, headers and content of one request; headers are those of the page unless given otherwise."""
        usual = {"Host": f"127.0.0.1:{self.port}"}
        if method == "POST":
            usual |= {"Origin": self.origin, "Content-Type": "application/json"}
        sent = {name: value for name, value in {**usual, **(headers or {})}.items() if value}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=LONGEST)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            if body is not None:
                sent.setdefault("Content-Length", str(len(body)))
            for name, value in sent.items():
                connection.putheader(name, value)
            connection.endheaders(body)
            answer = connection.getresponse()
            return answer.status, dict(answer.getheaders()), answer.read()
        finally:
            connection.close()

    def post(self, name: str, data: object) -> tuple[int, Any]:
        """Status and JSON of what the page would ask."""
        status, _, content = self.ask("POST", f"/{self.secret}/{name}", json.dumps(data).encode())
        return status, json.loads(content)

    def begin(self) -> dict[str, Any]:
        """What the page begins with."""
        found: dict[str, Any] = json.loads(self.ask("GET", f"/{self.secret}/begin")[2])
        return found

    def state(self, **more: object) -> dict[str, Any]:
        """The state that the page begins with, with some of it replaced."""
        begun = self.begin()
        return {"points": begun["points"], "against": begun["against"], "tests": [], **more}

    def line(self) -> http.client.HTTPConnection:
        """The line that an open page holds; letting it go is what closing the page does."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=LONGEST)
        connection.request("GET", f"/{self.secret}/open", headers={"Host": f"127.0.0.1:{self.port}"})
        connection.getresponse().read(7)
        return connection


def copied(folder: Path, name: str = "road-coupe.toml") -> Path:
    """A scenario of the repository with its files, in a folder of its own."""
    shutil.copytree(ROOT / "scenarios", folder, dirs_exist_ok=True)
    return folder / name


@contextmanager
def served(scenario: Path, **options: Any) -> Iterator[Page]:
    """A server for a scenario, and `more` beside it, which ends because its page is closed."""
    addresses: queue.Queue[str] = queue.Queue()
    names = [scenario.stem, *options.pop("more", ())]
    cars = {name: simlaunch.load(scenario.with_name(f"{name}.toml")) for name in names}
    loaded = cars if len(cars) > 1 else cars[scenario.stem]

    def run() -> None:
        live(loaded, browser=False, patience=0.4, announce=addresses.put, **options)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    page = Page(addresses.get(timeout=LONGEST), scenario.parent)
    line = page.line()
    try:
        yield page
    finally:
        line.close()
        thread.join(LONGEST)
        assert not thread.is_alive(), "the server outlives its page"
