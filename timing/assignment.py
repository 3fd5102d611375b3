"""Jobs distributed over days at the highest total value, exactly.

The distribution is a flow: gate → job → owner on a day → day. Every arrow but the last carries one
unit, a day carries as many as it has places. The flow is built by successive shortest augmenting
paths with potentials (Ahuja, Magnanti & Orlin 1993, Network Flows, section 9.7), in whole numbers.
Each path adds one unit at the greatest gain, and gains never grow, so that the total is highest
when the next gain would not be positive.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush

START, END = 0, 1


@dataclass(frozen=True)
class Claim:
    """A job that wants one day.

    Parameters
    ----------
    owner : whose it is; an owner has one job a day at most.
    values : day → worth of the job on that day, a positive whole number; other days are no use.
    gate : of the jobs that share a gate one at most gets a day; None: no such bond.
    """

    owner: int
    values: Mapping[int, int]
    gate: int | None = None


@dataclass
class _Network:
    """Arrows in pairs: arrow ``i`` and its reverse ``i ^ 1``."""

    heads: list[int] = field(default_factory=list)
    room: list[int] = field(default_factory=list)
    costs: list[int] = field(default_factory=list)
    leaving: list[list[int]] = field(default_factory=lambda: [[], []])
    numbers: dict[tuple[str, object], int] = field(default_factory=dict)

    def node(self, sort: str, key: object) -> int:
        """Number of a node, made when it is first asked for."""
        if (sort, key) not in self.numbers:
            self.numbers[sort, key] = len(self.leaving)
            self.leaving.append([])
        return self.numbers[sort, key]

    def arrow(self, tail: int, head: int, room: int = 1, cost: int = 0) -> int:
        """Add an arrow and its reverse; returns its number."""
        number = len(self.heads)
        self.heads += [head, tail]
        self.room += [room, 0]
        self.costs += [cost, -cost]
        self.leaving[tail].append(number)
        self.leaving[head].append(number + 1)
        return number

    def cheapest_path(self, potentials: list[int]) -> tuple[int, list[int]] | None:
        """Cost and arrows of the cheapest path with room from start to end, or None.

        No arrow with room may have a negative cost once the potentials are taken in (Dijkstra);
        they are brought up to date so that this holds after the path is used.
        """
        far: list[float] = [float("inf")] * len(self.leaving)
        by: list[int] = [-1] * len(self.leaving)
        done = [False] * len(self.leaving)
        far[START] = 0
        ahead: list[tuple[float, int]] = [(0, START)]
        while ahead:
            reached, node = heappop(ahead)
            if done[node]:
                continue
            done[node] = True
            if node == END:
                break
            for number in self.leaving[node]:
                head = self.heads[number]
                if self.room[number] and not done[head]:
                    way = reached + self.costs[number] + potentials[node] - potentials[head]
                    if way < far[head]:
                        far[head], by[head] = way, number
                        heappush(ahead, (way, head))
        if not done[END]:
            return None
        for node, way in enumerate(far):
            potentials[node] += int(min(way, far[END]))
        path = []
        node = END
        while node != START:
            path.append(by[node])
            node = self.heads[by[node] ^ 1]
        return potentials[END] - potentials[START], path


def assign(claims: Sequence[Claim], places: int) -> list[int | None]:
    """The day of every claim, or None for one that gets none; the total value is the highest.

    Parameters
    ----------
    claims : the jobs.
    places : how many jobs a day holds.
    """
    net = _Network()
    top = max((value for claim in claims for value in claim.values.values()), default=0)
    entered: set[tuple[str, object]] = set()

    def once(sort: str, key: object, tail: int, head: int, room: int = 1) -> None:
        if (sort, key) not in entered:
            entered.add((sort, key))
            net.arrow(tail, head, room)

    arrows: list[dict[int, int]] = []
    for number, claim in enumerate(claims):
        job, origin = net.node("job", number), START
        if claim.gate is not None:
            origin = net.node("gate", claim.gate)
            once("gate", claim.gate, START, origin)
        net.arrow(origin, job)
        arrows.append({})
        for day, value in claim.values.items():
            visit, date = net.node("visit", (claim.owner, day)), net.node("day", day)
            arrows[-1][day] = net.arrow(job, visit, cost=top - value)
            once("visit", (claim.owner, day), visit, date)
            once("day", day, date, END, places)
    potentials = [0] * len(net.leaving)
    while (found := net.cheapest_path(potentials)) is not None and found[0] < top:
        for number in found[1]:
            net.room[number] -= 1
            net.room[number ^ 1] += 1
    return [
        next((day for day, number in by_day.items() if net.room[number] == 0), None)
        for by_day in arrows
    ]
