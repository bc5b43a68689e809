"""Sizes on the command line, and options that several commands have."""

from __future__ import annotations

import click

from arraygauge.units import SECTOR_BYTES, parse_bytes

MOST_TRANSFER_BYTES = 2**30


def bytes_of(value: str) -> int:
    """A number of bytes, or text such as '64 KiB'. Raises BadParameter."""
    try:
        return parse_bytes(value)
    except ValueError as error:
        raise click.BadParameter(str(error)) from error


def _transfer_size(ctx: click.Context, param: click.Parameter, value: str) -> int:
    size = bytes_of(value)
    if size < SECTOR_BYTES or size % SECTOR_BYTES or size > MOST_TRANSFER_BYTES:
        raise click.BadParameter(
            f"a transfer is a whole number of {SECTOR_BYTES}-byte sectors, at most 1 GiB"
        )
    return size


transfer_option = click.option(
    "--transfer",
    callback=_transfer_size,
    metavar="SIZE",
    default="1 MiB",
    show_default=True,
    help="Transfer size.",
)
members_option = click.option(
    "--members",
    type=click.IntRange(2, 64),
    multiple=True,
    help="Only so many drives in an array; may be given again. Default: from 2 to all.",
)
depth_option = click.option(
    "--depth", type=click.IntRange(1, 256), default=16, show_default=True, help="In flight."
)
