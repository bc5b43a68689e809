"""Runs in the guest: asks the agent for what it serves again and again, and times each answer.

Arguments: seconds between two rounds, then the paths. Each path has a thread of its own, so
that one that hangs hides none of the others. Prints a JSON line for each answer, until it is
killed: ``path``, ``asked`` by the guest's CLOCK_MONOTONIC, ``seconds`` until the whole answer
was there, ``status`` (None: none came within ``PATIENCE_SECONDS``). Where one takes longer than
``SLOW_SECONDS``, ``waits`` tells of each thread of each process of the agent what it waits for
in the kernel (proc(5), /proc/PID/task/TID/wchan).
"""

from __future__ import annotations

import json
import sys
import threading
import time
from contextlib import suppress
from http.client import HTTPConnection, HTTPException
from pathlib import Path

PORT = 9847
PATIENCE_SECONDS, SLOW_SECONDS = 30.0, 2.0


def waits() -> list[str]:
    """Process, thread and where it sleeps, of all interpreters but this one."""
    found = []
    for task in Path("/proc").glob("[0-9]*/task/[0-9]*"):
        with suppress(OSError):
            command = (task / "cmdline").read_bytes().replace(b"\0", b" ").decode()[:80]
            if "python" in command and "page_poller" not in command:
                name = f"{task.parts[2]}/{task.name} {(task / 'comm').read_text().strip()}"
                found.append(f"{name} {(task / 'wchan').read_text()} {command}")
    return found


def answer(path: str) -> int | None:
    """The status; the body is read to its end."""
    connection = HTTPConnection("127.0.0.1", PORT, timeout=PATIENCE_SECONDS)
    try:
        connection.request("GET", path)
        response = connection.getresponse()
        response.read()
    except (OSError, HTTPException):
        return None
    finally:
        connection.close()
    return response.status


def poll(path: str, pause: float) -> None:
    """Until killed."""
    while True:
        seen: list[str] = []
        watcher = threading.Timer(SLOW_SECONDS, lambda seen=seen: seen.extend(waits()))
        asked = time.monotonic()
        watcher.start()
        status = answer(path)
        seconds = time.monotonic() - asked
        watcher.cancel()
        told = {"path": path, "asked": asked, "seconds": seconds, "status": status, "waits": seen}
        print(json.dumps(told), flush=True)
        time.sleep(pause)


def main() -> None:
    """All paths at a time."""
    pause, *paths = sys.argv[1:]
    threads = [threading.Thread(target=poll, args=(path, float(pause))) for path in paths]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


if __name__ == "__main__":
    main()
