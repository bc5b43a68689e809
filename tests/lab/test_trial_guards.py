"""Every guard of `arraygauge trial`, and somebody who tries to get past it.

What a refusal must leave alone is looked at to the last byte: a drive in use, and all others.
ARRAYGAUGE_LAB_WHOLE=1 tries all of them, else two.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from lab.command import Completed
from lab.filesystems import add_files, checksums, mounted
from lab.guest import Guest
from lab.machine import MIB, ArraySpec, Contents, Drive, Machine, Transport
from lab.signatures import MARKS, Mark
from lab.trial_bench import (
    QUESTION,
    SHORT,
    STATE,
    arrays,
    blank,
    forget,
    held,
    poke,
    said,
    start,
    sum_of,
    untouched,
    wait_until_no_array,
)
from lab.whole import WHOLE, only_whole

SIZE = 32 * MIB
RATE = 200_000_000
MACHINE = Machine(
    drives=(
        *(
            Drive(
                name=name,
                transport=transport,
                bytes_per_second=RATE,
                size_bytes=SIZE,
                contents=Contents.BLANK,
            )
            for name, transport in (("spare", Transport.VIRTIO), ("subject", Transport.VIRTIO))
        ),
        Drive(name="witness", transport=Transport.NVME, bytes_per_second=RATE, size_bytes=SIZE),
    ),
)
SPARE, SUBJECT = "serial-spare", "serial-subject"
REFUSED = 2
AS_NOBODY = """
import os, sys
import arraygauge.cli.trial
from arraygauge.cli import main
os.environ["XDG_CONFIG_HOME"] = "/tmp/no-configuration"
os.setuid(65534)
main(["trial", *sys.argv[1:]])
"""
"""Once all is imported: the tests' interpreter may lie where nobody else may read."""
WRONG = (("spare", "erase"), ("subjec", "erase"), ("erase",), ("subject", "yes"))
"""What is typed where the serial number of 'subject' and then a word are asked for."""


@pytest.fixture
def guest(boot_lab: Callable[[Machine], Guest]) -> Iterator[Guest]:
    """Two blank drives and one that holds something; none of it was ever in a trial."""
    guest = boot_lab(MACHINE)
    forget(guest)
    for name in ("spare", "subject"):
        blank(guest, guest.device(name))
    yield guest
    assert arrays(guest) == []


def refused(guest: Guest, done: Completed, *words: str) -> None:
    """Ended as refused, said why, made no array and kept no record of a trial."""
    assert done.status == REFUSED, (done.status, done.stderr)
    for each in words:
        assert each in said(done), done.stderr
    assert arrays(guest) == []
    assert guest.run(f"cat {STATE}/trials.jsonl 2>/dev/null").stdout == ""


@only_whole
def test_two_blank_drives_are_measured_and_their_ends_and_all_others_left_alone(
    guest: Guest,
) -> None:
    subject, witness = guest.device("subject"), guest.device("witness")
    with untouched(guest, [witness]):
        ends = [(0, 1), (SIZE // MIB - 1, 1)]
        zeros = sum_of(guest, subject, 0, 1)
        done = held(guest, *SHORT, SPARE, SUBJECT)
        assert done.status == 0, done.stderr
        assert [sum_of(guest, subject, *end) for end in ends] == [zeros, zeros]
        assert sum_of(guest, subject) != sum_of(guest, guest.device("witness"))
    assert "blank at all" in said(done)
    assert "of 100 writes of the whole drive (no endurance is declared)" in said(done)
    # What it wrote is known again, and asks for no serial number.
    again = held(guest, *SHORT, "--anew", SPARE, SUBJECT)
    assert again.status == 0, again.stderr
    assert "what an earlier trial wrote" in said(again)
    # Without its record nothing tells that data from anybody else's.
    forget(guest)
    refused(guest, held(guest, *SHORT, SPARE, SUBJECT), "is not its serial number")


@only_whole
@pytest.mark.parametrize("mark", MARKS, ids=lambda mark: mark.name)
def test_a_known_signature_is_refused_whatever_is_typed(guest: Guest, mark: Mark) -> None:
    device = guest.device("subject")
    poke(guest, device, mark.where(SIZE), mark.data)
    with untouched(guest, [device, guest.device("spare")]):
        done = held(guest, *SHORT, SPARE, SUBJECT, typed=("subject", "erase"))
        refused(guest, done, SUBJECT, mark.name)


@only_whole
def test_a_filesystem_is_refused_mounted_or_not(guest: Guest) -> None:
    device = guest.device("subject")
    with mounted(guest, device) as directory:
        add_files(guest, directory, count=4)
        before = checksums(guest, directory)
        refused(guest, held(guest, *SHORT, SPARE, SUBJECT), f"{directory} is mounted from {device}")
        assert checksums(guest, directory) == before
    with untouched(guest, [device]):
        refused(guest, held(guest, *SHORT, SPARE, SUBJECT), "ext4")


@only_whole
def test_a_mount_that_only_another_namespace_sees_is_refused(guest: Guest) -> None:
    device = guest.device("subject")
    with mounted(guest, device) as directory:
        hidden = guest.start(
            f"exec unshare -m sh -c 'mkdir -p /run/hidden && mount /dev/{device} /run/hidden && "
            "echo mounted && exec sleep inf'"
        )
        hidden.wait_for_output("mounted")
        guest.run(f"umount {directory}").checked()
        refused(guest, held(guest, *SHORT, SPARE, SUBJECT), "something else holds it exclusively")
        hidden.kill()
        guest.run(f"mount /dev/{device} {directory}").checked()


@only_whole
def test_the_drive_the_system_runs_from_is_refused(guest: Guest) -> None:
    """The agent, started from a root that lies on the drive."""
    device = guest.device("subject")
    with mounted(guest, device) as root:
        guest.run(
            f"cd {root} && for d in bin lib lib64 usr etc work proc sys dev var run opt root; do "
            f"[ -e /$d ] && mkdir -p $d && mount --rbind /$d $d; done; true"
        )
        done = guest.run(
            f"echo erase | chroot {root} arraygauge trial {' '.join(map(_quoted, SHORT))} "
            f"{SPARE} {SUBJECT}"
        )
        guest.run(
            f"for m in $(tac /proc/mounts | cut -d' ' -f2 | grep ^{root}/); do umount -l $m; done"
        )
        refused(guest, done, f"the running system is on it: / is mounted from {device}")


def _quoted(word: str) -> str:
    return f"'{word}'"


@only_whole
def test_swap_is_refused(guest: Guest) -> None:
    device = guest.device("subject")
    guest.run(f"mkswap /dev/{device} && swapon /dev/{device}").checked()
    try:
        refused(guest, held(guest, *SHORT, SPARE, SUBJECT), f"the kernel swaps to {device}")
    finally:
        guest.run(f"swapoff /dev/{device}").checked()
    refused(guest, held(guest, *SHORT, SPARE, SUBJECT), "swap")


@only_whole
def test_a_partition_is_refused_and_is_no_drive_itself(guest: Guest) -> None:
    device = guest.device("subject")
    guest.run(f"addpart /dev/{device} 1 2048 8192").checked()
    try:
        refused(guest, held(guest, *SHORT, SPARE, SUBJECT), f"it has a partition, {device}1")
        part = f"{SUBJECT}-part1"
        refused(guest, held(guest, *SHORT, SPARE, part), part, "no whole drive but a partition")
    finally:
        guest.run(f"delpart /dev/{device} 1").checked()


@only_whole
def test_what_something_is_built_on_is_refused(guest: Guest) -> None:
    device = guest.device("subject")
    guest.run(
        f"echo '0 8192 linear /dev/{device} 2048' | dmsetup create --noudevsync lab-map"
    ).checked()
    try:
        refused(guest, held(guest, *SHORT, SPARE, SUBJECT), "dm-0 is built on it")
    finally:
        guest.run("dmsetup remove --noudevsync lab-map").checked()
    guest.create(ArraySpec(name="md7", level="raid0", members=("subject",), chunk_bytes=65536))
    try:
        done = held(guest, *SHORT, SPARE, SUBJECT)
        assert done.status == REFUSED
        assert "it is a member of the array md7" in said(done)
        assert arrays(guest) == ["md7"]
    finally:
        guest.stop("md7")


def test_stored_data_of_no_known_kind_asks_for_the_serial_number(guest: Guest) -> None:
    device = guest.device("subject")
    guest.run(f"dd if=/dev/urandom of=/dev/{device} bs=1M seek=11 count=1 oflag=direct").checked()
    with untouched(guest, [device, guest.device("spare")]):
        for typed in WRONG if WHOLE else WRONG[:1]:
            done = held(guest, *SHORT, SPARE, SUBJECT, typed=typed)
            refused(guest, done, "DATA, at byte 11")
    done = held(guest, *SHORT, SPARE, SUBJECT, typed=("subject", "erase"))
    assert done.status == 0, done.stderr


@only_whole
def test_only_stable_ids_name_drives_and_each_only_once(guest: Guest) -> None:
    device = guest.device("subject")
    with untouched(guest, [device]):
        for name in (device, f"/dev/{device}", "subject"):
            refused(guest, held(guest, *SHORT, SPARE, name), f"by its stable id: {SUBJECT}")
        refused(guest, held(guest, *SHORT, SPARE, "serial-*"), "no device of this machine has")
        refused(guest, held(guest, *SHORT, SPARE, SPARE), "is named twice")
        refused(guest, held(guest, *SHORT), "no drive was named", SPARE)
        refused(guest, held(guest, *SHORT, SPARE, SUBJECT, "name-loop0"), "no whole drive")


@only_whole
def test_only_root_may_and_only_with_libblkid(guest: Guest) -> None:
    done = guest.run(["python", "-c", AS_NOBODY, *SHORT, SPARE, SUBJECT])
    refused(guest, done, "only root may")
    library = guest.run("ldconfig -p | sed -n 's/.*libblkid.so.1.*=> //p'").stdout.split()[0]
    guest.run(f"touch /run/none && busybox mount -o bind /run/none $(realpath {library})").checked()
    try:
        done = held(guest, *SHORT, SPARE, SUBJECT)
        assert done.status == 1, done.stderr
        assert "package libblkid1" in said(done)
    finally:
        guest.run(f"busybox umount $(realpath {library})").checked()  # umount(8) uses it


@contextmanager
def asked(guest: Guest, *, then: str) -> Iterator[None]:
    """A trial that has looked at its drives and asks; what the block does comes in between."""
    device = guest.device("subject")
    talk = start(guest, *SHORT, SPARE, SUBJECT)
    talk.wait_for(QUESTION)
    yield
    before = sum_of(guest, device)
    talk.type("erase")
    done = talk.end()
    assert done.status in (REFUSED, 5), (done.status, done.stderr)
    assert then in said(done), done.stderr
    assert sum_of(guest, device) == before
    wait_until_no_array(guest)


@only_whole
def test_whoever_takes_the_drive_after_it_was_looked_at_keeps_it(guest: Guest) -> None:
    device = guest.device("subject")
    hold = "import os, time; os.open('/dev/{}', os.O_RDONLY | os.O_EXCL); print('held', flush=True)"
    with asked(guest, then="(python3) has it open"):
        holder = guest.start(["python3", "-c", hold.format(device) + "; time.sleep(600)"])
        holder.wait_for_output("held")
    holder.kill()


def test_whoever_writes_to_the_drive_after_it_was_looked_at_keeps_what_they_wrote(
    guest: Guest,
) -> None:
    device = guest.device("subject")
    with asked(guest, then="something wrote to it after it had been looked at"):
        guest.run(
            f"dd if=/dev/urandom of=/dev/{device} bs=4k count=1 seek=3000 oflag=direct"
        ).checked()


@only_whole
def test_a_program_that_shares_the_drive_is_seen(guest: Guest) -> None:
    device = guest.device("subject")
    reader = guest.start(f"exec 3</dev/{device}; echo open; exec sleep inf")
    reader.wait_for_output("open")
    refused(guest, held(guest, *SHORT, SPARE, SUBJECT), "(sleep) has it open")
    reader.kill()
