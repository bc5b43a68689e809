"""Which files a command opens, seen by the kernel's own tracing of system calls.

strace(1) writes one file per thread, so that no call is split over two lines. A call made
through an io_uring is not a system call and not seen: ``rings`` says whether there was any.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from lab.command import Completed, Running
from lab.guest import Guest
from lab.host import LabError

CALLS = "open,openat,openat2,creat,open_by_handle_at,io_uring_setup"
WRITING = frozenset({"O_WRONLY", "O_RDWR", "O_CREAT", "O_TRUNC", "O_APPEND"})
"""Flags of an open that could change what it opens; see open(2)."""
FLUSH_SECONDS = 10

# 4711:openat(AT_FDCWD</work>, "/dev/vda", O_RDONLY|O_DIRECT) = 5</dev/vda>
_CALL = re.compile(
    r"(?P<thread>\d+):(?P<call>\w+)\("
    r'(?:(?:AT_FDCWD|-?\d+)(?:<(?P<base>[^>]*)>)?, )?"(?P<path>[^"]*)"'
    r"(?P<rest>.*)"
)
_OPENED = re.compile(r"= \d+<(?P<path>[^>]*)>")
_FLAG = re.compile(r"\bO_[A-Z]+")
_ERROR = re.compile(r"= -1 (?P<name>E[A-Z]+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """One call that opens a file.

    ``path`` is the file's own name where it was opened, links followed; else the name asked
    for. ``error`` is the kernel's word when it refused, None when it did not or when the
    command ended within the call.
    """

    thread_id: int
    path: str
    flags: frozenset[str]
    error: str | None

    @property
    def for_writing(self) -> bool:
        """Whether it was asked for in a way that could change something."""
        return bool(self.flags & WRITING)


class Traced:
    """A command running under the tracer; ``start_traced`` makes it."""

    def __init__(self, guest: Guest, running: Running, directory: str) -> None:
        self._guest = guest
        self.running = running
        """The command itself: a signal reaches it and not the tracer."""
        self._directory = directory

    def wait(self, timeout_seconds: float = 60) -> Completed:
        """The ended command, once the tracer has written all down as well."""
        done = self.running.wait(timeout_seconds)
        deadline = time.monotonic() + FLUSH_SECONDS
        while self._guest.run("pgrep -x strace").status == 0:
            if time.monotonic() > deadline:
                raise LabError("a process the command left behind is still being traced")
            time.sleep(0.05)
        return done

    def opens(self, below: str = "/dev") -> list[Open]:
        """Every open of a path below, by the command and its children, refused ones too."""
        opens = (parse_open(line) for line in self._lines())
        return [made for made in opens if made and PurePosixPath(made.path).is_relative_to(below)]

    def rings(self) -> int:
        """How many io_urings were set up."""
        return sum(":io_uring_setup(" in line for line in self._lines())

    def _lines(self) -> Iterator[str]:
        found = self._guest.run(f"cd {self._directory} && grep -rH . . | sed 's/^[^0-9]*//'")
        yield from found.checked().stdout.splitlines()


def start_traced(guest: Guest, command: Sequence[str]) -> Traced:
    """Starts a command whose opens are written down, its threads' and children's too.

    Only these calls stop it, by a filter in the kernel; the tracer is its grandchild, so that
    status and signals are the command's own.
    """
    directory = guest.run("mktemp -d /run/traced.XXXXXX").checked().stdout.strip()
    tracer = ["strace", "-D", "-ff", "-qq", "-y", "--seccomp-bpf", "-e", f"trace={CALLS}"]
    running = guest.start([*tracer, "-e", "signal=none", "-o", f"{directory}/of", "--", *command])
    return Traced(guest, running, directory)


def traced_opens(guest: Guest, *command: str, timeout_seconds: float = 60) -> list[Open]:
    """Every open below /dev of a command that is run to its end, whatever its status."""
    traced = start_traced(guest, command)
    traced.wait(timeout_seconds)
    return traced.opens()


def parse_open(line: str) -> Open | None:
    """One line of a trace with the thread's number before it; None for another call."""
    call = _CALL.match(line)
    if call is None:
        return None
    rest = call["rest"]
    opened, error = _OPENED.search(rest), _ERROR.search(rest)
    path = opened["path"] if opened else str(PurePosixPath(call["base"] or "/") / call["path"])
    return Open(
        thread_id=int(call["thread"]),
        path=path,
        flags=frozenset(_FLAG.findall(rest)) | ({"O_CREAT"} if call["call"] == "creat" else set()),
        error=error["name"] if error else None,
    )
