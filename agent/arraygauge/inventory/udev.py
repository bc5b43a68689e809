"""What udev knows of a block device, where there is a udev to ask.

udev adds what the kernel does not publish: the identity of an md array, serials of
drives behind USB bridges. Everything works without it.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping

from arraygauge.inventory.tree import Tree
from arraygauge.inventory.values import DeviceNumber

Properties = Mapping[str, str]
AskUdev = Callable[[DeviceNumber], Properties]

_DATABASE = "/run/udev/data"


def no_udev(_number: DeviceNumber) -> Properties:
    """The answer where there is no udev: nothing known."""
    return {}


def open_udev(tree: Tree) -> AskUdev:
    """A way to ask the running machine's udev; of a captured tree, it knows nothing.

    pyudev is loaded only here: it needs libudev, which not every machine has, and
    whatever goes wrong with it only means that udev is not heard.
    """
    if not tree.is_live or not os.path.isdir(_DATABASE):
        return no_udev
    try:
        import pyudev  # noqa: PLC0415 - optional at run time, see above

        context = pyudev.Context()
    except Exception:
        return no_udev

    def ask(number: DeviceNumber) -> Properties:
        try:
            device = pyudev.Devices.from_device_number(context, "block", os.makedev(*number))
            return dict(device.properties)
        except Exception:  # a device udev does not know, or has just dropped
            return {}

    return ask
