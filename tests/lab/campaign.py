"""A guest to which faults happen, and what its kernel says of them: the fault campaign's stage.

Drives are named as in the machine's description. Who served each slot last is taken from the
kernel's md files after every step, apart from anything the agent says.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from lab.agent import CONFIG
from lab.command import Running
from lab.guest import Guest
from lab.machine import KIB, MIB, ArraySpec, Drive, Machine, Transport

MIRROR = ArraySpec(name="md0", level="raid1", members=("alder", "birch", "cedar"), chunk_bytes=0)
STRIPE = ArraySpec(name="md1", level="raid0", members=("fir", "gorse"), chunk_bytes=64 * KIB)
SPARES = ("dogwood", "elder")
SIZE_BYTES = 16 * MIB
RATE = 20_000_000
MACHINE = Machine(
    drives=tuple(
        Drive(name=name, transport=Transport.VIRTIO, bytes_per_second=RATE, size_bytes=SIZE_BYTES)
        for name in (*MIRROR.members, *SPARES, *STRIPE.members)
    ),
    arrays=(MIRROR, STRIPE),
)
WATCHING_ONLY = '[budget]\nquiet_hours = ["00:00-12:00", "12:00-24:00"]\n'
ADDRESS = "127.0.0.1/9847"
READ_INCIDENTS = (
    f"exec 3<>/dev/tcp/{ADDRESS} && "
    r"printf 'GET /incidents.json HTTP/1.0\r\nHost: 127.0.0.1\r\n\r\n' >&3 && "
    "sed '1,/^\\r$/d' <&3"
)
READ_MEMBERS = r"""
for array in md0 md1; do
  for member in /sys/block/$array/md/dev-*; do
    echo $array ${member##*/dev-} $(cat $member/slot) $(cat $member/state)
  done
done
"""
SETTLE_SECONDS = 20.0
REBUILD_SECONDS = 30.0
KNOWS_WHO_SERVES = (
    "import sqlite3; file = 'file:/var/lib/arraygauge/history.sqlite?mode=ro'; "
    "query = \"SELECT count(*) FROM remembered WHERE key = 'serving'\"; "
    "print(*sqlite3.connect(file, uri=True).execute(query).fetchone())"
)

Incidents = list[dict[str, Any]]
Slot = tuple[str, int]


@dataclass(kw_only=True)
class Stage:
    """One guest, its drives, and the agent that watches."""

    guest: Guest
    members: dict[tuple[str, str], str] = field(default_factory=dict)
    """Array and member, as md calls it, to the drive that was put there."""
    served: dict[Slot, str] = field(default_factory=dict)
    """Slot to the drive that served it last."""
    gone: set[str] = field(default_factory=set)
    """Drives that are unplugged."""
    stale: set[tuple[str, str]] = field(default_factory=set)
    """Members, as md calls them, whose device left: md knows nothing of it until it uses them."""
    hung: dict[str, Running] = field(default_factory=dict)
    """Drives that do not answer, with the read that waits for them."""
    answering_again: set[str] = field(default_factory=set)
    """Drives that hung a while ago."""
    agent: Running | None = None

    def __post_init__(self) -> None:
        for spec in (MIRROR, STRIPE):
            for drive in spec.members:
                self.members[spec.name, self.guest.device(drive)] = drive
        self.note()

    # The agent

    def start_agent(self) -> None:
        self.guest.write(CONFIG, WATCHING_ONLY)
        self.agent = self.guest.start_module("arraygauge", "--config", CONFIG, "run")
        self.agent.wait_for_output("metrics at", 60)

    def wait_for_first_look(self) -> None:
        """What was lost before the agent ever looked it cannot know by name."""
        deadline = time.monotonic() + SETTLE_SECONDS
        while self.guest.run(["python", "-c", KNOWS_WHO_SERVES]).stdout.strip() != "1":
            assert time.monotonic() < deadline, "the agent does not look"
            time.sleep(0.3)

    def kill_agent(self) -> None:
        """SIGKILL: what it was doing is left as it is."""
        if self.agent is not None:
            self.agent.kill()
            self.agent.wait(20)
            self.agent = None

    def incidents(self) -> Incidents:
        """All that the agent tells, open and over."""
        done = self.guest.run(["bash", "-c", READ_INCIDENTS]).checked()
        found: Incidents = json.loads(done.stdout)["incidents"]
        return found

    # What the kernel says

    def slots(self) -> Iterator[tuple[str, str, int, frozenset[str]]]:
        """Array, member, slot (-1: none) and states of every member of both arrays."""
        for line in self.guest.run(["bash", "-c", READ_MEMBERS]).stdout.splitlines():
            words = line.split()
            if len(words) == 4:
                array, member, slot, states = words
                number = -1 if slot == "none" else int(slot)
                yield array, member, number, frozenset(states.split(","))

    def note(self) -> set[Slot]:
        """The slots that are served now; remembers by whom."""
        now = {}
        for array, member, slot, states in self.slots():
            drive = self.members.get((array, member))
            whole = "in_sync" in states and "faulty" not in states
            there = (array, member) not in self.stale
            if slot >= 0 and whole and there and drive is not None:
                now[array, slot] = drive
        self.served |= now
        return set(now)

    def filled(self) -> frozenset[int]:
        """The mirror's slots that some member has, rebuilt or not."""
        return frozenset(slot for array, _, slot, _ in self.slots() if array == MIRROR.name)

    def let_go(self) -> list[str]:
        """The mirror's members that failed or left: those that are rebuilt are not."""
        found = [
            self.members.get((array, member))
            for array, member, _, states in self.slots()
            if array == MIRROR.name and ("faulty" in states or (array, member) in self.stale)
        ]
        return sorted(drive for drive in found if drive is not None)

    def rebuilding(self) -> bool:
        return self.guest.read(f"/sys/block/{MIRROR.name}/md/sync_action").strip() != "idle"

    def missed(self) -> dict[str, str]:
        """Drives whose loss an array suffers from, and what that means for it."""
        serving = self.note()
        missed: dict[str, str] = {}
        for spec in (MIRROR, STRIPE):
            slots = [(spec.name, number) for number in range(len(spec.members))]
            gone = [slot for slot in slots if slot not in serving]
            matter = self._matter(spec, len(slots) - len(gone))
            missed |= {self.served[slot]: matter for slot in gone}
        return missed

    @staticmethod
    def _matter(spec: ArraySpec, serving: int) -> str:
        if spec is STRIPE or serving == 0:
            return "data incomplete"
        return "no redundancy left" if serving == 1 else "less redundancy"

    # What happens to drives

    def member_of(self, drive: str) -> tuple[str, str] | None:
        """The array and the name under which md has a drive."""
        return next((key for key, value in self.members.items() if value == drive), None)

    def fail(self, drive: str) -> None:
        array, member = self._place(drive)
        self.guest.write(f"/sys/block/{array}/md/dev-{member}/state", "faulty")

    def remove(self, drive: str) -> None:
        """Takes a failed member out. md may need a moment to let go of it."""
        array, member = self._place(drive)
        path = f"/sys/block/{array}/md/dev-{member}/state"
        self.guest.run(
            f"while [ -e {path} ]; do echo remove 2>/dev/null > {path}; sleep 0.1; done"
        ).checked()
        del self.members[array, member]
        self.stale.discard((array, member))

    def add(self, drive: str, slot: int) -> None:
        """Puts a drive into a slot of the mirror and has md rebuild it (md.rst: new_dev, slot,
        sync_action)."""
        device, md = self.guest.device(drive), f"/sys/block/{MIRROR.name}/md"
        self.guest.write(f"{md}/new_dev", self.guest.read(f"/sys/block/{device}/dev"))
        self.members[MIRROR.name, device] = drive
        self.guest.write(f"{md}/dev-{device}/size", str(SIZE_BYTES // KIB))
        self.guest.write(f"{md}/dev-{device}/slot", str(slot))
        self.guest.write(f"{md}/sync_action", "recover")

    def wait_for_rebuild(self) -> None:
        deadline = time.monotonic() + REBUILD_SECONDS
        while self.rebuilding():
            assert time.monotonic() < deadline, "md does not end its rebuild"
            time.sleep(0.2)

    def unplug(self, drive: str, *, reserve_name: bool) -> None:
        self.guest.unplug(drive, reserve_name=reserve_name)
        self.gone.add(drive)
        if (place := self.member_of(drive)) is not None:
            self.stale.add(place)

    def replug(self, drive: str) -> None:
        """Under the old name or another; md does not take it back by itself."""
        self.guest.replug(drive)
        self.gone.discard(drive)

    def hang(self, drive: str) -> None:
        """Something reads the drive, which does not answer."""
        self.guest.hang(drive)
        path = f"/dev/{self.guest.device(drive)}"
        self.hung[drive] = self.guest.start(f"dd if={path} of=/dev/null bs=4k count=1 iflag=direct")

    def resume(self, drive: str) -> None:
        self.guest.resume(drive)
        self.hung.pop(drive).wait(30)
        self.answering_again.add(drive)

    def remake_stripe(self) -> None:
        """A stripe that lost a member is made anew, as after a restore: nothing else helps."""
        self.guest.stop(STRIPE.name)
        for key in [key for key in self.members if key[0] == STRIPE.name]:
            del self.members[key]
            self.stale.discard(key)
        self.guest.create(STRIPE)
        for drive in STRIPE.members:
            self.members[STRIPE.name, self.guest.device(drive)] = drive

    def _place(self, drive: str) -> tuple[str, str]:
        place = self.member_of(drive)
        assert place is not None, f"md does not have {drive}"
        return place
