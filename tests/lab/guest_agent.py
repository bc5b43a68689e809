"""Runs inside the guest: does what JSON lines on a virtio port ask, and reports in JSON lines.

It is a program by itself and imports nothing of the lab. Each request carries an ``id``,
which its answers repeat. Text holds bytes that are not UTF-8 as surrogate escapes.

============  ===========================  ====================================================
``do``        with                         answered by
============  ===========================  ====================================================
start         argv                         any number of stdout and stderr, then status
start_module  module, arguments, imports,  the same, from a fork of this very interpreter
              stdin
signal        target, number, group        done
kill_all                                   done
read          path                         text
write         path, text                   done
============  ===========================  ====================================================

What cannot be done is answered by ``errno`` and ``error``.
"""

from __future__ import annotations

import importlib
import io
import json
import os
import runpy
import selectors
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

Request = dict[str, Any]

CHUNK_BYTES = 65536
IGNORED_BY_PYTHON = (signal.SIGPIPE, signal.SIGXFSZ)
"""What is started here must not inherit that they are ignored."""


class Child:
    """A started command, seen from here: its process and the pipes it writes to."""

    def __init__(self, request: Request, process_id: int, stdout: int, stderr: int) -> None:
        self.request_id: int = request["id"]
        self.process_id = process_id
        self.ended = os.pidfd_open(process_id)
        self.pipes = {"stdout": stdout, "stderr": stderr}
        for fd in self.pipes.values():
            os.set_blocking(fd, False)

    def read(self, name: str) -> str:
        """What can be read from a pipe now; '' at its end or when it is empty."""
        try:
            return decode(os.read(self.pipes[name], CHUNK_BYTES))
        except BlockingIOError:
            return ""

    def close(self) -> int:
        """Reaps the process: its exit status, negative for a signal."""
        _, status = os.waitpid(self.process_id, 0)
        for fd in (*self.pipes.values(), self.ended):
            os.close(fd)
        return os.waitstatus_to_exitcode(status)


class Server:
    """Answers requests until the host hangs up."""

    def __init__(self, port: int) -> None:
        self._port = port
        self._selector = selectors.DefaultSelector()
        self._children: dict[int, Child] = {}
        self._partial = b""

    def serve(self) -> Request | None:
        """None when the host hung up; in a forked child, the request it is to carry out."""
        self._selector.register(self._port, selectors.EVENT_READ, self._read_requests)
        self._send(ready=True)
        while True:
            for key, _ in self._selector.select():
                if key.fileobj not in self._selector.get_map():
                    continue  # closed by an event before it in the same batch
                ending = key.data()
                if ending is not None:
                    return None if ending is HANG_UP else ending

    def _read_requests(self) -> Request | None:
        received = os.read(self._port, CHUNK_BYTES)
        if not received:
            return HANG_UP
        *lines, self._partial = (self._partial + received).split(b"\n")
        for line in lines:
            request: Request = json.loads(line)
            try:
                if self._do(request):
                    return request
            except (OSError, ImportError) as error:
                number = getattr(error, "errno", None)
                self._send(id=request["id"], errno=number, error=str(error))
        return None

    def _do(self, request: Request) -> bool:
        """True in a forked child only."""
        match request["do"]:
            case "start":
                return self._start(request, spawn)
            case "start_module":
                return self._start(request, fork)
            case "read":
                text = decode(Path(request["path"]).read_bytes())
                self._send(id=request["id"], text=text)
                return False
            case "write":
                write(Path(request["path"]), request["text"])
            case "signal":
                self._signal(**request)
            case "kill_all":
                for child in self._children.values():
                    os.killpg(child.process_id, signal.SIGKILL)
        self._send(id=request["id"], done=True)
        return False

    def _start(self, request: Request, how: Callable[[Request, int, int], int]) -> bool:
        (stdout, stdout_end), (stderr, stderr_end) = os.pipe(), os.pipe()
        process_id = how(request, stdout_end, stderr_end)
        if process_id == 0:
            self._selector.close()
            return True
        os.close(stdout_end)
        os.close(stderr_end)
        child = Child(request, process_id, stdout, stderr)
        self._children[child.request_id] = child
        for name, fd in child.pipes.items():
            self._selector.register(
                fd, selectors.EVENT_READ, lambda name=name, fd=fd: self._pump(child, name, fd)
            )
        self._selector.register(child.ended, selectors.EVENT_READ, lambda: self._end(child))
        return False

    def _pump(self, child: Child, name: str, fd: int) -> None:
        if text := child.read(name):
            self._send(id=child.request_id, **{name: text})
        else:
            self._selector.unregister(fd)

    def _end(self, child: Child) -> None:
        """Reports the rest and the status; a grandchild that holds the pipes is not awaited."""
        for name, fd in child.pipes.items():
            while text := child.read(name):
                self._send(id=child.request_id, **{name: text})
            if fd in self._selector.get_map():
                self._selector.unregister(fd)
        self._selector.unregister(child.ended)
        del self._children[child.request_id]
        self._send(id=child.request_id, status=child.close())

    def _signal(self, *, target: int, number: int, group: bool, **_: object) -> None:
        """A command that has ended already is left alone."""
        if child := self._children.get(target):
            (os.killpg if group else os.kill)(child.process_id, number)

    def _send(self, **answer: object) -> None:
        data = json.dumps(answer).encode() + b"\n"
        while data:
            data = data[os.write(self._port, data) :]


HANG_UP: Request = {}


def spawn(request: Request, stdout: int, stderr: int) -> int:
    """Starts a command; its process id."""
    argv = request["argv"]
    return os.posix_spawnp(
        argv[0],
        argv,
        os.environ,
        file_actions=[
            (os.POSIX_SPAWN_OPEN, 0, "/dev/null", os.O_RDONLY, 0),
            (os.POSIX_SPAWN_DUP2, stdout, 1),
            (os.POSIX_SPAWN_DUP2, stderr, 2),
        ],
        setpgroup=0,
        setsigdef=IGNORED_BY_PYTHON,
    )


def fork(request: Request, stdout: int, stderr: int) -> int:
    """Forks, with the modules named in ``imports`` already imported; 0 in the child."""
    for module in request["imports"]:
        importlib.import_module(module)
    process_id = os.fork()
    if process_id == 0:
        os.setpgid(0, 0)
        stdin = os.open(request["stdin"], os.O_RDWR)  # a pipe's first reader does not wait so
        for number, fd in enumerate((stdin, stdout, stderr)):
            os.dup2(fd, number)
    return process_id


def become(module: str, arguments: list[str]) -> None:
    """In the forked child: what ``python -m MODULE ARGUMENTS`` does from its start on."""
    os.closerange(3, 65536)
    sys.stdout = io.TextIOWrapper(io.BufferedWriter(io.FileIO(1, "w")), encoding="utf-8")
    sys.stderr = io.TextIOWrapper(
        io.BufferedWriter(io.FileIO(2, "w")),
        encoding="utf-8",
        errors="backslashreplace",
        line_buffering=True,
    )
    sys.argv[1:] = arguments
    sys.path[0] = os.getcwd()
    runpy.run_module(module, run_name="__main__", alter_sys=True)


def write(path: Path, text: str) -> None:
    """One write call, as files of the kernel want it; makes missing directories."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
    try:
        os.write(fd, text.encode(errors="surrogateescape"))
    finally:
        os.close(fd)


def decode(data: bytes) -> str:
    """Text that keeps any bytes."""
    return data.decode(errors="surrogateescape")


def open_port(name: str) -> int:
    """The virtio port of that name, by sysfs: there is no udev to make links to it."""
    for directory in Path("/sys/class/virtio-ports").iterdir():
        if (directory / "name").read_text().strip() == name:
            return os.open(f"/dev/{directory.name}", os.O_RDWR)
    raise LookupError(f"the guest has no virtio port '{name}'")


def main() -> None:
    """Serves the port; a forked child leaves the serving loop and becomes its module."""
    os.chdir(Path(__file__).resolve().parents[2])
    job = Server(open_port("lab-agent")).serve()
    if job is not None:
        become(job["module"], job["arguments"])


if __name__ == "__main__":
    main()
