"""What every probing process does first: tie its life to its parent's, and take the request."""

from __future__ import annotations

import ctypes
import json
import mmap
import os
import signal
import sys
from types import SimpleNamespace

_PR_SET_PDEATHSIG = 1  # prctl(2)


def receive() -> tuple[SimpleNamespace, memoryview] | None:
    """The request on standard input, and the words of memory shared with the parent.

    From here on the kernel kills this process when the thread that started it ends. None
    when that thread ended before it could be watched.
    """
    if ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, ctypes.c_ulong(signal.SIGKILL), 0, 0, 0) != 0:
        sys.exit("prctl(PR_SET_PDEATHSIG) was refused")
    request = SimpleNamespace(**json.loads(sys.stdin.readline()))
    if os.getppid() != request.parent:
        return None
    return request, memoryview(mmap.mmap(request.progress, 8 * request.words)).cast("Q")
