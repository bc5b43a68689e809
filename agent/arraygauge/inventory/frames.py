"""How the inventory's process speaks with the agent: lines in, frames out.

A frame is one byte that says what it is, the length of its content in 8 bytes,
little-endian, and the content: the pickled value.
"""

from __future__ import annotations

import pickle

from arraygauge.inventory.events import KernelEvent
from arraygauge.inventory.values import Host

HOST_REQUEST = b"host"
"""A line of this is answered by one frame with the Host."""
ARRAYS_REQUEST = b"arrays"
"""The same, but only the arrays are read anew, and devices that are gone left out."""
WATCH_REQUEST = b"watch"
"""After a line of this comes a frame for every event."""
MOST_CONTENT_BYTES = 64 << 20
"""A thousand devices take about 1 MB: what claims more than this is no frame of ours."""

_LENGTH_BYTES = 8
_HEAD_BYTES = 1 + _LENGTH_BYTES
_TYPES: dict[bytes, type[Host | KernelEvent]] = {b"H": Host, b"E": KernelEvent}
_TAGS = {content: tag for tag, content in _TYPES.items()}


class FrameError(Exception):
    """What came is no frame; nothing after it can be understood."""


def encode(value: Host | KernelEvent) -> bytes:
    """The value as one frame."""
    content = pickle.dumps(value)
    return _TAGS[type(value)] + len(content).to_bytes(_LENGTH_BYTES, "little") + content


class Frames:
    """Puts frames together from pieces of any length."""

    def __init__(self) -> None:
        self._got = bytearray()

    def feed(self, piece: bytes) -> list[Host | KernelEvent]:
        """The values completed by this piece, in order. Raises FrameError."""
        self._got += piece
        values = []
        while (end := self._end_of_first()) is not None:
            values.append(_decode(bytes(self._got[:1]), bytes(self._got[_HEAD_BYTES:end])))
            del self._got[:end]
        return values

    def _end_of_first(self) -> int | None:
        """Where the first frame ends; None while it is not all there."""
        if self._got and bytes(self._got[:1]) not in _TYPES:
            raise FrameError(f"a frame begins with {bytes(self._got[:1])!r}")
        if len(self._got) < _HEAD_BYTES:
            return None
        length = int.from_bytes(self._got[1:_HEAD_BYTES], "little")
        if length > MOST_CONTENT_BYTES:
            raise FrameError(f"a frame claims {length} bytes")
        end = _HEAD_BYTES + length
        return end if len(self._got) >= end else None


def _decode(tag: bytes, content: bytes) -> Host | KernelEvent:
    try:
        value = pickle.loads(content)  # noqa: S301 (written by our own process)
    except Exception as error:  # a broken pickle raises whatever it likes
        raise FrameError(f"a frame cannot be unpacked: {error}") from error
    if not isinstance(value, _TYPES[tag]):
        raise FrameError(f"a frame {tag!r} holds a {type(value).__name__}")
    return value
