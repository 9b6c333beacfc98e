"""A line before servers: first come, first served, at machines that differ in pace."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush
from typing import Generic, TypeVar

__all__ = ["Line", "through"]

T = TypeVar("T")


@dataclass(slots=True)
class Line(Generic[T]):
    """Who waits, and until when each server is busy. rates, work a server does in an hour."""

    rates: Sequence[float]
    busy: list[bool] = field(default_factory=list)
    waits: deque[tuple[T, float]] = field(default_factory=deque)

    def __post_init__(self) -> None:
        self.busy = [False] * len(self.rates)

    def join(self, who: T, work: float) -> None:
        """Stand at the end."""
        self.waits.append((who, work))

    def idle(self) -> int | None:
        """The quickest server that is idle."""
        free = [k for k, b in enumerate(self.busy) if not b]
        return max(free, key=lambda k: (self.rates[k], -k), default=None)

    def start(self, may: Callable[[T, float], bool]) -> list[tuple[T, int, float]]:
        """Begin what may begin, in order; who may not stays where it stands.

        may, asked of each in turn with the hours it would take. Returns: (who, server, hours).
        """
        begun: list[tuple[T, int, float]] = []
        passed: list[tuple[T, float]] = []
        while self.waits and (server := self.idle()) is not None:
            who, work = self.waits.popleft()
            hours = work / self.rates[server]
            if may(who, hours):
                self.busy[server] = True
                begun.append((who, server, hours))
            else:
                passed.append((who, work))
        self.waits.extendleft(reversed(passed))
        return begun

    def end(self, server: int) -> None:
        """A server is done."""
        self.busy[server] = False


def through(arrivals: Sequence[float], work: Sequence[float], rates: Sequence[float]) -> list[float]:
    """Hours that each waits before it is served.

    Args: arrivals, rising [h]; work of each; rates [work an hour] of the servers. Returns: [h]. Valid range:
    any. Source: the line itself; held against the formulas of M/M/c, M/D/1 and M/G/1 in the tests.

    >>> through([0.0, 0.0, 0.5], [1.0, 1.0, 1.0], [1.0])
    [0.0, 1.0, 1.5]
    """
    line: Line[int] = Line(rates)
    waited, events = [0.0] * len(arrivals), [(t, 0, k, -1) for k, t in enumerate(arrivals)]
    events.reverse()
    ends: list[tuple[float, int]] = []
    while events or ends:
        if events and (not ends or events[-1][0] < ends[0][0]):
            now, _o, who, _s = events.pop()
            line.join(who, work[who])
        else:
            now, server = heappop(ends)
            line.end(server)
        for who, server, hours in line.start(lambda _w, _h: True):
            waited[who] = now - arrivals[who]
            heappush(ends, (now + hours, server))
    return waited
