"""Sizes on the command line."""

from __future__ import annotations

import click

from arraygauge.units import SECTOR_BYTES, parse_bytes

MOST_TRANSFER_BYTES = 2**30


def transfer_size(ctx: click.Context, param: click.Parameter, value: str) -> int:
    """A number of bytes, or text such as '64 KiB'."""
    try:
        size = parse_bytes(value)
    except ValueError as error:
        raise click.BadParameter(str(error)) from error
    if size < SECTOR_BYTES or size % SECTOR_BYTES or size > MOST_TRANSFER_BYTES:
        raise click.BadParameter(
            f"a transfer is a whole number of {SECTOR_BYTES}-byte sectors, at most 1 GiB"
        )
    return size


transfer_option = click.option(
    "--transfer",
    callback=transfer_size,
    metavar="SIZE",
    default="1 MiB",
    show_default=True,
    help="Transfer size.",
)
