"""The server behind the page: what it answers, how long it lives."""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from importlib.resources import files
from time import perf_counter
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Mount, Route
from starlette.types import ASGIApp

from simlaunch.analysis.log import LoggedRun
from simlaunch.analysis.logs import read_logs
from simlaunch.errors import SimlaunchError, UsageError, plain
from simlaunch.logged.same_conditions import SAME_DAY, Days
from simlaunch.output.layout import clean
from simlaunch.readers.log import LogOptions
from simlaunch.scenario.model import Scenario
from simlaunch.scenario.powertrain import Correction
from simlaunch.shaping import cars, further, saving
from simlaunch.shaping.answers import Answers
from simlaunch.shaping.gate import HOSTS, guarded
from simlaunch.shaping.states import Start, State, read_state
from simlaunch.units.spelling import system_named

MOST_BYTES = 64 * 1024
"""Longest body; a state with as many points as a curve may have takes a tenth of it."""

_PALETTE = files("simlaunch.reporting").joinpath("palette.css").read_bytes()  # both pages have one look
_SLOWEST_BODY = 10.0  # [s]
_SIGN_OF_LIFE = 10.0  # between signs of life on the line that an open page holds [s]
_LOOK = 0.2  # how often it is looked whether a page is open [s]
_BACK = 10  # steps by which slow studies stand behind the quick answers
_MOST_AT_ONCE = 64  # requests

Work = Callable[[Answers, State, str], dict[str, Any]]


def _stand_back() -> None:
    """Let quick answers go before this thread, where a system has such an order for threads."""
    if sys.platform == "linux":
        with contextlib.suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, threading.get_native_id(), _BACK)


class Refused(Exception):
    """A request that is not answered; carries the status."""

    def __init__(self, status: int, why: str) -> None:
        self.status = status
        super().__init__(why)


async def _body(request: Request) -> Any:
    """Parsed JSON of a bounded body."""
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        raise Refused(415, "send JSON")
    content = b""
    try:
        async with asyncio.timeout(_SLOWEST_BODY):
            async for chunk in request.stream():
                content += chunk
                if len(content) > MOST_BYTES:
                    raise Refused(413, "too long")
    except TimeoutError:
        raise Refused(408, "too slow") from None
    try:
        return json.loads(content)
    except (ValueError, RecursionError):
        raise Refused(400, "not JSON") from None


class Service:
    """What the page may ask, and who looks at it.

    Parameters
    ----------
    starts : mapping of str to Start
        What the page begins with, for each car by the name of its file.
    """

    def __init__(self, starts: Mapping[str, Start]) -> None:
        self.cars = {name: Answers(start) for name, start in starts.items()}
        self.open = 0
        self.seen = False
        self.ending = False
        self._quick = ThreadPoolExecutor(1, "quick")
        self._slow = ThreadPoolExecutor(2, "slow", _stand_back)
        self._work: dict[str, tuple[ThreadPoolExecutor, Work]] = {
            "quick": (self._quick, lambda car, state, _: car.quick(state)),
            "exact": (self._quick, lambda car, state, _: car.exact(state)),
            "why": (self._slow, lambda car, state, _: car.why(state)),
            "cars": (self._slow, lambda _, state, __: cars.on_every_car(self.cars, state)),
            "plateau": (self._slow, lambda car, state, _: further.highest_plateau(car.start, state)),
            "odds": (self._slow, lambda car, state, _: further.odds_of_pair(car.start, state)),
            "report": (self._slow, lambda car, state, name: further.write_report(car.start, state, name)),
            "save-curve": (
                self._quick, lambda car, state, name: _wrote(saving.save_curve(car.start, state, name).name),
            ),
            "save-scenario": (
                self._quick, lambda car, state, name: _wrote(saving.save_scenario(car.start, state, name).name),
            ),
        }  # fmt: skip

    def _car(self, name: object) -> Answers:
        """Answers of a car by its name; the first where none is named."""
        if name is None:
            return next(iter(self.cars.values()))
        if not isinstance(name, str) or name not in self.cars:
            raise UsageError("the page sent a car that is not there; reload it")
        return self.cars[name]

    def application(self, secret: str, port: int) -> ASGIApp:
        """The application, guarded.

        Parameters
        ----------
        secret : str
            First part of every path.
        port : int
            Port at which the server listens.

        Returns
        -------
        ASGI application
            For `uvicorn`.
        """
        routes = [
            Route("/", _file("page.html", "text/html")),
            Route("/page.js", _file("page.js", "text/javascript")),
            Route("/page.css", _file("page.css", "text/css", before=_PALETTE)),
            Route("/begin", self._begin),
            Route("/open", self._line),
            *(Route(f"/{name}", self._route(name), methods=["POST"]) for name in self._work),
        ]
        return guarded(Starlette(routes=[Mount(f"/{secret}", routes=routes)]), secret, port)

    def warm(self) -> None:
        """Have everything compiled and remembered that a first answer needs."""
        first = self._car(None)
        begun = first.begin()
        state = read_state({"points": begun["points"], "against": begun["against"], "tests": begun["shown_tests"]})
        first.quick(state)

    async def _begin(self, request: Request) -> Response:
        def begun() -> dict[str, Any]:
            named = request.query_params.get("car")
            names = [{"name": name, "shown": clean(name)} for name in self.cars]
            return {**self._car(named).begin(), "cars": names, "chosen_car": named or next(iter(self.cars))}

        return await self._answered(self._quick, begun)

    def _route(self, name: str) -> Callable[[Request], Any]:
        pool, work = self._work[name]

        async def answer(request: Request) -> Response:
            try:
                sent = await _body(request)
            except Refused as refusal:
                return JSONResponse({"fault": str(refusal)}, refusal.status)
            except ClientDisconnect:
                return Response(status_code=400)

            def worked() -> dict[str, Any]:
                named = sent.get("name", "") if isinstance(sent, dict) else ""
                if not isinstance(named, str):
                    raise UsageError("the page sent something else where a name belongs; reload it")
                car = self._car(sent.get("car") if isinstance(sent, dict) else None)
                return work(car, read_state(sent), named)

            return await self._answered(pool, worked)

        return answer

    async def _answered(self, pool: ThreadPoolExecutor, work: Callable[[], dict[str, Any]]) -> Response:
        try:
            begun = perf_counter()
            found = await asyncio.get_running_loop().run_in_executor(pool, work)
            spent = 1e3 * (perf_counter() - begun)
            return JSONResponse(found, headers={"server-timing": f"work;dur={spent:.2f}"})
        except SimlaunchError as error:
            return JSONResponse({"fault": str(error)}, 422)
        except Exception as error:  # noqa: BLE001  the last net: a page is never shown a traceback
            what = plain(f"{type(error).__name__}: {error}")[:200]
            return JSONResponse({"fault": f"internal error: {what}; please report this line with the scenario"}, 500)

    async def _line(self, request: Request) -> Response:
        """A line that an open page holds, so that the server notices when it is closed."""
        return StreamingResponse(self._signs_of_life(), media_type="text/event-stream")

    async def _signs_of_life(self) -> AsyncIterator[bytes]:
        self.open, self.seen = self.open + 1, True
        try:
            while not self.ending:
                yield b": here\n\n"
                await asyncio.sleep(_SIGN_OF_LIFE)
        finally:
            self.open -= 1

    async def wait_until_left(self, patience: float) -> None:
        """Wait until the page has been closed for a while; one that was never opened is waited for without end."""
        alone = 0.0
        while alone < patience:
            await asyncio.sleep(_LOOK)
            alone = 0.0 if self.open or not self.seen else alone + _LOOK
        self.ending = True

    def close(self) -> None:
        """Let go of the threads."""
        for pool in (self._quick, self._slow):
            pool.shutdown(wait=False, cancel_futures=True)


def _wrote(name: str) -> dict[str, Any]:
    return {"text": f"wrote {name}"}


def _file(name: str, kind: str, before: bytes = b"") -> Callable[[Request], Any]:
    """A file of the package, read once, behind something else."""
    content = before + files("simlaunch.shaping").joinpath(name).read_bytes()

    async def answer(request: Request) -> Response:
        return Response(content, media_type=f"{kind}; charset=utf-8")

    return answer


def _listening(port: int) -> socket.socket:
    """A socket that this machine alone can reach."""
    # Named TCP: asyncio turns Nagle's algorithm off for such sockets only; with it each answer waits 40 ms for an ACK.
    found = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":
            found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind((HOSTS[0], port))
    except OSError as error:
        found.close()
        raise UsageError(f"port {port} cannot be used ({error.strerror}); give another, or none") from None
    return found


def beginning(
    scenario: Scenario, curve: str | None, against: str | None, units: str, logs: tuple[LoggedRun, ...] = ()
) -> Start:
    """What the page begins with.

    Parameters
    ----------
    scenario : Scenario
        The scenario.
    curve : str or None
        Curve to shape from; None: the first.
    against : str or None
        Curve to set it against; None: the first other one, or the curve itself where there is no other.
    units : str
        System of units.
    logs : tuple of LoggedRun
        Logs that lie beside the launches.

    Returns
    -------
    Start
        Checked.

    Raises
    ------
    UsageError
        No curve or system of that name.
    """
    first = scenario.curve_names[0] if curve is None else curve
    others = [name for name in scenario.curve_names if name != first]
    second = (others or [first])[0] if against is None else against
    scenario.curve(second)
    return Start(scenario, scenario.curve(first), second, system_named(units), logs)


def beginnings(
    scenarios: Mapping[str, Scenario],
    curve: str | None,
    against: str | None,
    units: str,
    logs: Sequence[str | os.PathLike[str]] = (),
    options: LogOptions | None = None,
    days: Days = SAME_DAY,
) -> dict[str, Start]:
    """What the page begins with, for each of several cars.

    Parameters
    ----------
    scenarios : mapping of str to Scenario
        The cars by name, the first one first.
    curve, against : str or None
        Curves, on every car that has one of that name; the first car has to.
    units : str
        System of units.
    logs : sequence of path-like
        Logs that lie beside the launches of the first car.
    options : LogOptions, optional
        How they are read.
    days : Days
        What was different on their days.

    Returns
    -------
    dict of str to Start
        Checked.

    Raises
    ------
    UsageError
        No car, no curve or system of that name.
    InputError
        A log cannot be used.
    """
    if not scenarios:
        raise UsageError("no scenario is given; give one at least")
    read = read_logs(logs, options, days, next(iter(scenarios.values())))
    found: dict[str, Start] = {}
    for name, scenario in scenarios.items():
        first, known = not found, scenario.curve_names
        own, other = (each if first or each in known else None for each in (curve, against))
        found[name] = beginning(scenario, own, other, units, read if first else ())
    return found


def live(
    scenario: Scenario | Mapping[str, Scenario],
    *,
    logs: Sequence[str | os.PathLike[str]] = (),
    log_options: LogOptions | None = None,
    log_changes: Sequence[Mapping[str, object]] = (),
    to_correction: Correction | None = None,
    boosted: bool = False,
    curve: str | None = None,
    against: str | None = None,
    units: str = "metric",
    port: int = 0,
    browser: bool = True,
    patience: float = 30.0,
    announce: Callable[[str], None] = print,
) -> None:
    """Shape a curve by hand in a browser on this machine, until the page has been closed for a while.

    The call waits until then; Ctrl-C ends it. A notebook runs a loop of its own, in which the server cannot run: start
    it from a script or a terminal.

    Parameters
    ----------
    scenario : Scenario, or mapping of str to Scenario
        The scenario; what is saved goes into the folder of its file. Several by name: the page says on which of these
        cars the shaped curve wins, and shapes it on any of them.
    logs : sequence of path-like
        Measured launches of the car, of the first where there are several, which are laid beside the calculated ones.
    log_options : LogOptions, optional
        How they are read.
    log_changes : sequence of mapping of str to object
        For each log, what was different on its day, such as ``{"air.temperature": "4 degC"}``; all of them are then
        brought to the conditions of the scenario, as its file states them.
    to_correction : Correction, optional
        Formula that carries the torque of the logs along; left out, torque is not corrected.
    boosted : bool
        Whether the engine holds its own charge pressure, so that its factor is 1.
    curve : str, optional
        Curve to shape from; the first if left out.
    against : str, optional
        Curve to set it against at first; the first other one if left out.
    units : str
        System of units.
    port : int
        Port to listen at; 0: a free one.
    browser : bool
        Whether a browser is opened.
    patience : float
        How long the page may be closed before the server ends [s].
    announce : callable
        Takes the address once it answers.

    Raises
    ------
    UsageError
        No curve or system of that name, a port that cannot be used, or a call from within a running event loop.
    InputError
        A log cannot be used.
    """
    _refuse_running_loop()
    by_name = scenario if isinstance(scenario, Mapping) else {scenario.name: scenario}
    days = Days(log_changes, to_correction, boosted)
    service = Service(beginnings(by_name, curve, against, units, logs, log_options, days))
    listening = _listening(port)
    try:
        service.warm()
        asyncio.run(_served(service, listening, browser, patience, announce))
    finally:
        listening.close()
        service.close()


def _refuse_running_loop() -> None:
    try:
        asyncio.get_running_loop()
    except RuntimeError:  # none runs
        return
    raise UsageError("an event loop runs already, as in a notebook; call live from a script or a terminal")


async def _served(
    service: Service, listening: socket.socket, browser: bool, patience: float, announce: Callable[[str], None]
) -> None:
    secret, port = secrets.token_urlsafe(24), listening.getsockname()[1]
    config = uvicorn.Config(
        service.application(secret, port),
        log_config=None,
        log_level="critical",
        access_log=False,
        lifespan="off",
        loop="asyncio",
        http="h11",
        ws="none",
        proxy_headers=False,
        server_header=False,
        limit_concurrency=_MOST_AT_ONCE,
        timeout_graceful_shutdown=1,
    )
    server = uvicorn.Server(config)
    running = asyncio.create_task(server.serve(sockets=[listening]))
    while not (server.started or running.done()):
        await asyncio.sleep(0.01)
    address = f"http://{HOSTS[0]}:{port}/{secret}/"
    announce(address)
    if browser:
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
    leaving = asyncio.create_task(service.wait_until_left(patience))
    await asyncio.wait((running, leaving), return_when=asyncio.FIRST_COMPLETED)
    leaving.cancel()
    server.should_exit = True
    await running
