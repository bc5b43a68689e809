"""Commands that stand for the inventory's process and misbehave as told."""

from __future__ import annotations

import sys

_BEGIN = """
import os, sys, time
from arraygauge.inventory.events import EventKind, KernelEvent
from arraygauge.inventory.frames import encode
from arraygauge.inventory.values import Host
HOST = Host(name="invented", boot_id=None, kernel=None, taken_at_seconds=0.0, devices=(),
            arrays=(), links=(), problems=())
def event(action, kind=EventKind.MD, subject="md0"):
    tell(KernelEvent(kind=kind, subject=subject, action=action))
def tell(value):
    put(encode(value))
def put(content):
    while content:
        content = content[os.write(1, content):]
for line in sys.stdin:
    asked = line.strip()
"""


def command(*body: str) -> tuple[str, ...]:
    """A process that runs these lines for each request, whose word is ``asked``."""
    return (sys.executable, "-c", _BEGIN + "".join(f"    {line}\n" for line in body))


ANSWERS = "if asked == 'host': tell(HOST)"
HANGS = "if asked == 'host': time.sleep(60)"
CRASHES = "if asked == 'host': sys.exit('a bug, invented for a test')"
BABBLES = "if asked == 'host': put(b'Traceback')"
