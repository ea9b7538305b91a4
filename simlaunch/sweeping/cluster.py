"""Launches on several machines, through a Dask cluster that the user has set up."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Iterable
from importlib import import_module
from queue import Empty, SimpleQueue
from typing import Any

from simlaunch.errors import SimlaunchError, UsageError
from simlaunch.sweeping.backends import Chunks, Finished, pumped
from simlaunch.sweeping.chunk import Spec, Stopped, calculate, maker
from simlaunch.units.gate import quoted

_LOOK = 0.1  # time between two looks at whether to stop [s]
_ANSWER = 20.0  # time in which a cluster has to answer [s]
_ADDRESS = re.compile(r"(?:(?P<protocol>[a-z]+)://)?(?P<host>\[[0-9a-fA-F:]+\]|[^:/\[\]]+):(?P<port>\d{1,5})")


def check_address(address: str, *, trust_network: bool) -> None:
    """Refuse an address over which others on the network could read results or send code.

    Parameters
    ----------
    address : str
        Such as ``tls://host:8786`` or ``tcp://127.0.0.1:8786``.
    trust_network : bool
        Whether the network on the way is trusted.

    Raises
    ------
    UsageError
        It is no address, or one beyond this machine without TLS on a network that is not trusted.
    """
    match = _ADDRESS.fullmatch(address)
    protocol = (match["protocol"] or "tcp") if match else ""
    if match is None or protocol not in ("tcp", "tls"):
        raise UsageError(f"--cluster {quoted(address)} is not an address; write one such as tls://host:8786")
    if protocol == "tcp" and not _is_loopback(match["host"].strip("[]")) and not trust_network:
        raise UsageError(
            f"--cluster {quoted(address)}: others on that network could run code here; use a tls:// address, or "
            "give --trust-network if you trust everyone on it"
        )


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _check_certificate(distributed: Any, address: str) -> None:
    """Refuse a TLS address for which the settings of Dask hold no certificate that can be used."""
    how = "set distributed.comm.tls (ca-file, client.cert, client.key) in the settings of Dask, or its environment"
    try:
        ready = distributed.Security().get_connection_args("client")["ssl_context"] is not None
    except OSError as error:
        raise UsageError(f"--cluster {quoted(address)}: the certificate cannot be used ({error}); {how}") from None
    if not ready:
        raise UsageError(f"--cluster {quoted(address)} needs a certificate; {how}")


class Cluster:
    """A Dask cluster. Another worker takes over the chunk of a worker that dies.

    Parameters
    ----------
    address : str
        Where its scheduler is.
    trust_network : bool
        Whether the network on the way is trusted.

    Raises
    ------
    UsageError
        The address is not to be trusted, or a certificate or the package is missing.
    SimlaunchError
        The cluster does not answer, has no workers, or has workers of another version.
    """

    def __init__(self, address: str, *, trust_network: bool = False) -> None:
        check_address(address, trust_network=trust_network)
        try:
            distributed: Any = import_module("distributed")
        except ImportError:
            raise UsageError('--cluster needs a package: install it with pip install "simlaunch[cluster]"') from None
        if address.startswith("tls://"):
            _check_certificate(distributed, address)
        try:
            self._client: Any = distributed.Client(address, timeout=_ANSWER, set_as_default=False)
        except (OSError, TimeoutError) as error:
            raise SimlaunchError(f"the cluster at {address} does not answer ({type(error).__name__})") from None
        self._check_workers()

    @property
    def workers(self) -> int:
        """Threads of all workers together."""
        return max(1, sum(map(int, self._client.nthreads().values())))

    def _check_workers(self) -> None:
        try:
            made_by: dict[str, str] = self._client.run(maker)
        except Exception as error:  # noqa: BLE001  whatever a worker raises is passed on as it is
            raise SimlaunchError(
                f"a worker of the cluster cannot load simlaunch ({type(error).__name__}: {error})"
            ) from None
        if not made_by:
            raise SimlaunchError("the cluster has no workers; start some")
        strange = {name: made for name, made in made_by.items() if made != maker()}
        if strange:
            name, made = next(iter(strange.items()))
            raise SimlaunchError(
                f"{len(strange)} of {len(made_by)} workers differ: {name} has simlaunch {made}, this process "
                f"{maker()}; install the same version on the same kind of processor everywhere"
            )

    def results(self, spec: Spec, chunks: Chunks, stopped: Stopped) -> Finished:
        """Chunks as they are finished."""
        pool = _DaskPool(self._client, spec)
        try:
            yield from pumped(pool, chunks, self.workers, stopped)
        finally:
            pool.forget()

    def close(self) -> None:
        """Leave the cluster."""
        self._client.close()


class _DaskPool:
    """Futures of a cluster; the cluster itself gives the chunk of a lost worker to another one."""

    def __init__(self, client: Any, spec: Spec) -> None:
        self._client = client
        self._spec = spec
        self._out: set[Any] = set()
        self._done: SimpleQueue[Any] = SimpleQueue()
        self.lost: tuple[type[BaseException], ...] = (import_module("distributed.scheduler").KilledWorker,)

    def give(self, first: int, last: int) -> Any:
        future = self._client.submit(calculate, self._spec, first, last, pure=False)
        self._out.add(future)
        future.add_done_callback(self._done.put)
        return future

    def wait(self, futures: Iterable[Any]) -> set[Any]:
        try:
            future = self._done.get(timeout=_LOOK)
        except Empty:
            return set()
        self._out.discard(future)
        return {future} & set(futures)  # one that was given up is not waited for any more

    def revive(self) -> None:
        self.forget()

    def forget(self) -> None:
        self._client.cancel(list(self._out))
        self._out.clear()
