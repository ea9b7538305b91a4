"""The record of a run: what happened over time, simulated or logged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from simlaunch.choices import chosen
from simlaunch.errors import UsageError
from simlaunch.simulation.events import Event, EventKind

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Trace:
    """Channels over a common time, SI units, time zero where the car is let go.

    Parameters
    ----------
    time : ndarray, shape (n,)
        Time, never falling; two samples share a time where something jumps [s].
    channels : mapping of str to ndarray, shape (n,)
        Values by name, SI units. A log has only some of the names that a simulated launch has.
    events : tuple of Event
        What happened, in order.
    """

    time: Array
    channels: Mapping[str, Array]
    events: tuple[Event, ...] = field(default=())

    def __getitem__(self, name: str) -> Array:
        """Values of one channel.

        Raises
        ------
        UsageError
            The trace has no such channel.
        """
        try:
            return self.channels[name]
        except KeyError:
            raise UsageError(f"no channel {name!r} in this trace; it has {', '.join(sorted(self.channels))}") from None

    def __contains__(self, name: object) -> bool:
        """Whether the trace has a channel of this name."""
        return name in self.channels

    def times(self, kind: EventKind | str) -> list[float]:
        """When something happened, such as "shift begins".

        Parameters
        ----------
        kind : EventKind or str
            What: a member, or its words.

        Returns
        -------
        list of float
            Times in order; none where it never happened [s].

        Raises
        ------
        UsageError
            No kind of event of that name.
        """
        wanted = chosen(EventKind, kind, "event")
        return [event.time for event in self.events if event.kind is wanted]
