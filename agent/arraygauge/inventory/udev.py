"""What udev knows of a block device, where there is a udev to ask.

udev adds what the kernel does not publish: the identity of an md array on older
kernels, serials of drives behind USB bridges. Everything works without it.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any

from arraygauge.inventory.tree import Tree
from arraygauge.inventory.values import DeviceNumber

Properties = Mapping[str, str]
AskUdev = Callable[[DeviceNumber], Properties]

_DATABASE = "/run/udev/data"
_ONE_AT_A_TIME = threading.Lock()
"""libudev lets any thread use a context, but not two at once."""


def no_udev(_number: DeviceNumber) -> Properties:
    """The answer where there is no udev: nothing known."""
    return {}


def open_udev(tree: Tree) -> AskUdev:
    """A way to ask the running machine's udev; of a captured tree, it knows nothing."""
    return ask_running_udev if tree.is_live and os.path.isdir(_DATABASE) else no_udev


def ask_running_udev(number: DeviceNumber) -> Properties:
    """The properties of one block device; empty whatever goes wrong.

    udev only adds to what the kernel says, so no failure of it is worth more than
    not having heard it: no libudev, a device it does not know or has just dropped.
    """
    if (loaded := _load()) is None:
        return {}
    pyudev, context = loaded
    try:
        with _ONE_AT_A_TIME:
            device = pyudev.Devices.from_device_number(context, "block", os.makedev(*number))
            return {str(key): str(value) for key, value in device.properties.items()}
    except Exception:
        return {}


@cache
def _load() -> tuple[Any, Any] | None:
    """pyudev and a context; None without libudev.

    Once, whatever comes of it: loading takes some 20 ms and starts ldconfig to find libudev.
    """
    try:
        import pyudev  # noqa: PLC0415 - only where udev is, and never for the layers above

        return pyudev, pyudev.Context()
    except Exception:
        return None
