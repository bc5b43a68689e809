"""`arraygauge trial` in a lab machine: running it, typing to it, and looking what it left."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from lab.command import Completed, Running
from lab.guest import Guest

TYPED = "/run/typed"
CONFIG = "/run/arraygauge/trial.toml"
STATE = "/var/lib/arraygauge"
QUESTION = "Type erase to go ahead"
QUICK = ("--level", "raid0", "--members", "2", "--chunk", "64 KiB", "--seconds", "0.5")
"""One option of two drives, and each of them alone."""
SHORT = (*QUICK, "--places", "2", "--depth", "4", "--transfer", "256 KiB", "--most", "16 MiB")
GONE_SECONDS = 30


@dataclass(frozen=True, slots=True)
class Talk:
    """A trial that runs, and its standard input."""

    guest: Guest
    running: Running

    def type(self, line: str) -> None:
        self.guest.run(f"echo '{line}' >{TYPED}").checked()

    def wait_for(self, words: str, seconds: float = 200) -> str:
        return self.running.wait_for_output(words, seconds)

    def end(self, seconds: float = 240) -> Completed:
        return self.running.wait(seconds)


def start(guest: Guest, *arguments: str) -> Talk:
    """A trial, asked for with these arguments; it waits for what is typed."""
    guest.run(f"rm -f {TYPED} && mkfifo {TYPED}").checked()
    guest.run(f"mkdir -p /run/arraygauge && touch {CONFIG}").checked()
    running = guest.start_module("arraygauge", "--config", CONFIG, "trial", *arguments, stdin=TYPED)
    return Talk(guest, running)


def held(
    guest: Guest, *arguments: str, typed: Sequence[str] = ("erase",), seconds: float = 240
) -> Completed:
    """A whole trial, with all answers typed in advance."""
    talk = start(guest, *arguments)
    keep = guest.start(f"exec 3<>{TYPED}; {_echo(typed)}; exec sleep inf")
    try:
        return talk.end(seconds)
    finally:
        keep.kill()


def _echo(lines: Sequence[str]) -> str:
    return "; ".join(f"echo '{line}' >&3" for line in lines) or ":"


def said(done: Completed) -> str:
    """What it told on standard error, on one line: tables are cut to the width there is."""
    return " ".join(done.stderr.split())


def arrays(guest: Guest) -> list[str]:
    """The md devices there are."""
    return guest.run("cd /sys/block && ls -d md* 2>/dev/null").stdout.split()


def wait_until_no_array(guest: Guest, seconds: float = GONE_SECONDS) -> None:
    """All gone, and every drive free, within so long."""
    deadline = time.monotonic() + seconds
    while arrays(guest) or guest.run("ls -A /sys/block/*/holders/ | grep md").stdout.strip():
        assert time.monotonic() < deadline, f"{arrays(guest)} left after {seconds} s"
        time.sleep(0.1)


def blank(guest: Guest, device: str) -> None:
    """Zeros all over the drive."""
    guest.run(f"dd if=/dev/zero of=/dev/{device} bs=1M oflag=direct 2>/dev/null; sync")


def poke(guest: Guest, device: str, offset: int, data: bytes) -> None:
    """Bytes at a place of the drive."""
    escaped = "".join(f"\\{byte:03o}" for byte in data)
    guest.run(
        f"printf '{escaped}' | dd of=/dev/{device} bs=1 seek={offset} conv=notrunc 2>/dev/null && "
        f"sync && blockdev --flushbufs /dev/{device}"
    ).checked()


def sum_of(guest: Guest, device: str, skip_mib: int = 0, count_mib: int | None = None) -> str:
    """SHA-256 of what the drive holds, or of a part of it, past the page cache."""
    count = f"count={count_mib}" if count_mib is not None else ""
    done = guest.run(
        f"dd if=/dev/{device} bs=1M iflag=direct skip={skip_mib} {count} 2>/dev/null | sha256sum"
    )
    return done.checked().stdout.split()[0]


def forget(guest: Guest) -> None:
    """No record of earlier trials."""
    guest.run(f"rm -f {STATE}/trials.jsonl {STATE}/trial.lock")


@contextmanager
def untouched(guest: Guest, devices: Sequence[str]) -> Iterator[None]:
    """These drives hold in the end what they held before, to the last byte."""
    before = {device: sum_of(guest, device) for device in devices}
    yield
    assert {device: sum_of(guest, device) for device in devices} == before
