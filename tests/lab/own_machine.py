"""The machine on which the lab's own tools are proved: drives at a speed each, and odd ones."""

from __future__ import annotations

from lab.machine import MIB, BadRange, Drive, Machine, Mapped, Transport

RATE = 20_000_000
FAST_RATE = 200_000_000
FAST = ("f0", "f1", "f2", "f3")
"""Of the kinds that QEMU serves fast enough to hold the rate with all at once."""
BAD = BadRange(start_bytes=64 * MIB, length_bytes=MIB)
PIECE_BYTES = 8 * MIB

MACHINE = Machine(
    drives=(
        Drive(
            name="half",
            transport=Transport.NVME,
            bytes_per_second=RATE,
            mapped=Mapped(share=0.5, piece_bytes=PIECE_BYTES),
        ),
        *(
            Drive(
                name=f"{transport}-bad",
                transport=transport,
                bytes_per_second=RATE,
                size_bytes=128 * MIB,
                bad_range=BAD,
            )
            for transport in Transport
        ),
        *(
            Drive(
                name=name,
                transport=transport,
                bytes_per_second=FAST_RATE,
                block_bytes=512 if name != "f1" else 4096,
            )
            for name, transport in zip(FAST, (Transport.VIRTIO, Transport.NVME) * 2, strict=True)
        ),
    ),
)
