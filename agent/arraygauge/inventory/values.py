"""What is there, as frozen values: the snapshot every later layer works from.

Conventions: sizes and offsets in bytes, rates in bytes or bits per second as the
name says, times in seconds. ``None`` means the kernel does not offer the value
(or it could not be read: see ``Host.problems``); zero means the kernel said zero.
Words (level, array_state, sync_action, member states) are the kernel's own,
Documentation/admin-guide/md.rst; a word this program does not know becomes
``UNKNOWN`` and the text stays beside it.
"""

from __future__ import annotations

from enum import StrEnum

from arraygauge.inventory.problems import ReadProblem
from arraygauge.inventory.transport import Transport
from arraygauge.values import frozen

DeviceNumber = tuple[int, int]
"""Major and minor number."""


class DeviceKind(StrEnum):
    """What a block device is, so that drives are told apart from the rest."""

    DRIVE = "drive"
    PARTITION = "partition"
    ARRAY = "array"
    MAPPED = "mapped"
    LOOP = "loop"
    RAM = "ram"
    COMPRESSED_RAM = "compressed ram"
    OPTICAL = "optical"
    NETWORK = "network"
    HIDDEN_PATH = "hidden path"
    UNKNOWN = "unknown"


class LinkKind(StrEnum):
    """What a link is; decides its encoding and overhead in theory."""

    SATA = "SATA"
    SAS = "SAS"
    PCIE = "PCIe"
    USB = "USB"
    VIRTIO = "virtio"
    UPLINK = "uplink"


class Level(StrEnum):
    """md level, the kernel's words."""

    LINEAR = "linear"
    RAID0 = "raid0"
    RAID1 = "raid1"
    RAID4 = "raid4"
    RAID5 = "raid5"
    RAID6 = "raid6"
    RAID10 = "raid10"
    UNKNOWN = "unknown"


class ArrayState(StrEnum):
    """md/array_state, the kernel's words."""

    CLEAR = "clear"
    INACTIVE = "inactive"
    SUSPENDED = "suspended"
    READONLY = "readonly"
    READ_AUTO = "read-auto"
    CLEAN = "clean"
    ACTIVE = "active"
    WRITE_PENDING = "write-pending"
    ACTIVE_IDLE = "active-idle"
    BROKEN = "broken"
    UNKNOWN = "unknown"


class SyncAction(StrEnum):
    """md/sync_action, the kernel's words."""

    IDLE = "idle"
    RESYNC = "resync"
    RECOVER = "recover"
    CHECK = "check"
    REPAIR = "repair"
    RESHAPE = "reshape"
    FROZEN = "frozen"
    UNKNOWN = "unknown"


class MemberState(StrEnum):
    """One word of md/dev-X/state, the kernel's words."""

    FAULTY = "faulty"
    IN_SYNC = "in_sync"
    JOURNAL = "journal"
    WRITE_MOSTLY = "write_mostly"
    BLOCKED = "blocked"
    SPARE = "spare"
    WRITE_ERROR = "write_error"
    WANT_REPLACEMENT = "want_replacement"
    REPLACEMENT = "replacement"
    EXTERNAL_BBL = "external_bbl"
    FAILFAST = "failfast"
    UNKNOWN = "unknown"


@frozen
class LinkRate:
    """Signalling rate before encoding: what the link trained to, or could."""

    bits_per_second_per_lane: int
    lanes: int


@frozen
class Link:
    """One hop between a drive and the CPU; shared when several devices pass it.

    ``link_id`` is the sysfs path below /sys/devices (stable within a boot), or
    the configured name of a declared uplink. ``parent_id`` is the next hop
    toward the CPU, None at the root.
    """

    link_id: str
    kind: LinkKind
    name: str
    negotiated: LinkRate | None
    maximum: LinkRate | None
    parent_id: str | None


@frozen
class Mount:
    """One line of /proc/self/mountinfo, proc(5)."""

    device_number: DeviceNumber
    mount_point: str
    root: str
    filesystem: str
    source: str
    options: tuple[str, ...]

    @property
    def read_only(self) -> bool:
        return "ro" in self.options


@frozen
class BlockDevice:
    """One entry of /sys/class/block.

    ``stable_id`` survives reboots and renames where the device offers a WWN, a
    serial or at least a fixed place; ``stable_id_source`` says which ("wwn",
    "serial", "path", "uuid", "name").
    ``rotational`` is None where the kernel's word is not to be trusted: virtio
    and USB bridges report 1 whatever is behind them.
    ``link_ids`` runs from the device up to the CPU.
    ``below`` are the devices this one is made of (slaves; a partition's disk),
    ``above`` those made of it (holders; a disk's partitions).
    """

    name: str
    node: str
    number: DeviceNumber
    kind: DeviceKind
    stable_id: str
    stable_id_source: str
    model: str | None
    serial: str | None
    size_bytes: int | None
    logical_block_bytes: int | None
    physical_block_bytes: int | None
    optimal_io_bytes: int | None
    dma_alignment_bytes: int | None
    rotational: bool | None
    read_only: bool
    removable: bool
    scheduler: str | None
    transport: Transport
    link_ids: tuple[str, ...]
    disk: str | None
    below: tuple[str, ...]
    above: tuple[str, ...]
    mapped_name: str | None
    mapped_uuid: str | None
    backing_file: str | None
    mounts: tuple[Mount, ...]
    sequence: int | None
    """/sys/block/X/diskseq: changes when a name is reused for another disk."""
    temperature_file: str | None
    """The drive's own sensor, for ``parse_temperature``; reading it may wait for the drive."""
    asleep: bool
    """The kernel has put the disk to sleep (runtime power management): a read would wake it."""


@frozen
class Member:
    """One md/dev-X directory.

    ``present`` is False when the block device behind it is gone from sysfs,
    which md itself may not have noticed (raid0 and linear never do while idle).
    """

    name: str
    present: bool
    slot: int | None
    states: tuple[MemberState, ...]
    state_text: str | None
    errors: int | None
    data_offset_bytes: int | None
    size_bytes: int | None
    bad_block_ranges: int | None

    @property
    def serving(self) -> bool:
        """Holds current data, is there, and has not failed."""
        return (
            self.present
            and self.slot is not None
            and MemberState.IN_SYNC in self.states
            and MemberState.FAULTY not in self.states
        )

    @property
    def awaits_data(self) -> bool:
        """Holds a slot and is there, but its data is not current: a recovery fills it
        (Documentation/admin-guide/md.rst, dev-XXX/state: spare)."""
        return (
            self.present
            and self.slot is not None
            and not {MemberState.IN_SYNC, MemberState.FAULTY} & set(self.states)
        )


@frozen
class Array:
    """One md array, from /sys/block/mdX/md and /proc/mdstat."""

    name: str
    stable_id: str
    level: Level
    level_text: str | None
    layout: int | None
    chunk_bytes: int | None
    raid_disks: int | None
    state: ArrayState
    state_text: str | None
    degraded: int | None
    """Slots the kernel counts as missing; None for raid0 and linear, which have no count."""
    sync_action: SyncAction | None
    """None for raid0 and linear, which cannot sync."""
    sync_done_bytes: int | None
    sync_total_bytes: int | None
    sync_bytes_per_second: int | None
    sync_delayed: bool
    mismatch_bytes: int | None
    metadata_version: str | None
    component_bytes: int | None
    size_bytes: int | None
    bitmap: str | None
    stripe_cache_entries: int | None
    worker_threads: int | None
    members: tuple[Member, ...]
    mdstat_broken: bool
    """/proc/mdstat says 'broken' (kernel 6.12 and newer)."""

    @property
    def running(self) -> bool:
        return self.state not in (ArrayState.CLEAR, ArrayState.INACTIVE, ArrayState.UNKNOWN)

    def member_in_slot(self, slot: int) -> Member | None:
        """The member holding the slot; the serving one if a replacement shares it."""
        held = [member for member in self.members if member.slot == slot]
        serving = [member for member in held if member.serving]
        return next(iter(serving or held), None)

    @property
    def missing_slots(self) -> tuple[int, ...]:
        """Slots with no member that serves current data."""
        slots = range(self.raid_disks or 0)
        return tuple(
            slot
            for slot in slots
            if (member := self.member_in_slot(slot)) is None or not member.serving
        )


@frozen
class Host:
    """Everything inventory saw at one moment; a snapshot, never mutated."""

    name: str
    boot_id: str | None
    kernel: str | None
    taken_at_seconds: float
    devices: tuple[BlockDevice, ...]
    arrays: tuple[Array, ...]
    links: tuple[Link, ...]
    problems: tuple[ReadProblem, ...]

    def device(self, name: str) -> BlockDevice | None:
        return next((device for device in self.devices if device.name == name), None)

    def array(self, name: str) -> Array | None:
        return next((array for array in self.arrays if array.name == name), None)

    def link(self, link_id: str) -> Link | None:
        return next((link for link in self.links if link.link_id == link_id), None)
