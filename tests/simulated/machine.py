"""Drives and the links before them: what an operation goes through, from issue to completion."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from random import Random
from typing import Protocol

from simpy import Environment, Event

from simulated.cases import Case, Link, Passage, Way
from simulated.drives import Operation, Server, Steps, costs_of, watch
from simulated.sharing import Flow, fair_rates


class Machine(Protocol):
    """Carries operations."""

    def move(self, operation: Operation) -> Event:
        """Fires when the operation is complete."""


def machine_of(env: Environment, case: Case, random: Random) -> Machine:
    if case.links and case.passage is Passage.THROUGH:
        return FlowingMachine(env, case, random)
    return RelayMachine(env, case, random)


class _Wire:
    """A link as servers: one each way, or one for both."""

    def __init__(self, env: Environment, link: Link) -> None:
        self.slots = link.slots
        self._rates = {Way.READ: link.read, Way.WRITE: link.write}
        one = Server(env)
        self._servers = {Way.READ: one, Way.WRITE: Server(env) if link.full_duplex else one}

    def carry(self, operation: Operation) -> Event:
        seconds = operation.length / self._rates[operation.way]
        return self._servers[operation.way].serve(seconds)


class RelayMachine:
    """Each operation passes drive and links whole, one after the other."""

    def __init__(self, env: Environment, case: Case, random: Random) -> None:
        self._env = env
        self._drives = case.drives
        self._costs = costs_of(case, random)
        self._servers = tuple(Server(env) for _ in case.drives)
        self._wires = tuple(_Wire(env, link) for link in case.links)

    def move(self, operation: Operation) -> Event:
        wires = [wire for wire in self._wires if operation.slot in wire.slots]
        if not wires:
            return self._serve(operation)
        return self._env.process(self._pass(operation, wires))

    def _serve(self, operation: Operation) -> Event:
        slot = operation.slot
        seconds = sum(self._costs[slot].seconds(operation, self._servers[slot].idle_seconds))
        return self._servers[slot].serve(seconds, self._drives[slot].latency_seconds)

    def _pass(self, operation: Operation, wires: list[_Wire]) -> Steps:
        if operation.way is Way.READ:
            yield self._serve(operation)
        for wire in wires:
            yield wire.carry(operation)
        if operation.way is Way.WRITE:
            yield self._serve(operation)


@dataclass(slots=True)
class _Queue:
    """One drive's operations; the first is being served."""

    waiting: deque[tuple[Operation, Event]] = field(default_factory=deque)
    freed_at: float = 0.0


class FlowingMachine:
    """The bytes of an operation pass the links while the drive moves them; drives that meet
    in a full link are slowed fairly, and each serves its next operation that much later."""

    def __init__(self, env: Environment, case: Case, random: Random) -> None:
        self._env = env
        self._case = case
        self._costs = costs_of(case, random)
        self._queues = tuple(_Queue() for _ in case.drives)
        self._flows: dict[int, Flow] = {}
        self._settled_at = 0.0
        self._plans = 0

    def move(self, operation: Operation) -> Event:
        done = self._env.event()
        queue = self._queues[operation.slot]
        queue.waiting.append((operation, done))
        if len(queue.waiting) == 1:
            self._begin(operation)
        return done

    def _begin(self, operation: Operation) -> None:
        idle = self._env.now - self._queues[operation.slot].freed_at
        reaching, moving = self._costs[operation.slot].seconds(operation, idle)
        flow = Flow(operation.way, operation.length, operation.length / moving)
        if reaching:
            watch(self._env.timeout(reaching), lambda _: self._flow(operation.slot, flow))
        else:
            self._flow(operation.slot, flow)

    def _flow(self, slot: int, flow: Flow) -> None:
        self._settle()
        self._flows[slot] = flow
        self._plan()

    def _settle(self) -> None:
        """Moves every flow to the present."""
        elapsed = self._env.now - self._settled_at
        self._settled_at = self._env.now
        for flow in self._flows.values():
            flow.left -= flow.rate * elapsed

    def _plan(self) -> None:
        """Shares the links anew and waits for the first flow to end; older plans lapse."""
        self._plans += 1
        plan = self._plans
        if self._flows:
            fair_rates(self._flows, self._case.links)
            soonest = min(flow.left / flow.rate for flow in self._flows.values())
            wake = self._env.timeout(max(0.0, soonest))
            watch(wake, lambda _: self._end() if plan == self._plans else None)

    def _end(self) -> None:
        self._settle()
        ended = [slot for slot, flow in self._flows.items() if flow.left < flow.rate * 1e-12 + 1e-3]
        for slot in ended:
            del self._flows[slot]
        for slot in ended:
            self._complete(slot)
        self._plan()

    def _complete(self, slot: int) -> None:
        waiting = self._queues[slot].waiting
        self._queues[slot].freed_at = self._env.now
        _, done = waiting.popleft()
        latency = self._case.drives[slot].latency_seconds
        if latency:
            watch(self._env.timeout(latency), lambda _: done.succeed())
        else:
            done.succeed()
        if waiting:
            self._begin(waiting[0][0])
