"""Link rates are what the kernel's files say; a link not known is None, a drive asleep stays so."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arraygauge.inventory import Transport, links_pcie, links_sas, links_sata, links_usb
from arraygauge.inventory.ata_identify import parse_identify
from arraygauge.inventory.links import LinkTable
from arraygauge.inventory.transport import transport_of
from arraygauge.inventory.tree import Reader, Tree
from captured.machines import lay_out


def test_pcie_speeds() -> None:
    """drivers/pci/probe.c, pci_speed_string."""
    assert links_pcie.parse_speed("2.5 GT/s PCIe") == 2_500_000_000
    assert links_pcie.parse_speed("64.0 GT/s PCIe\n") == 64_000_000_000
    assert links_pcie.parse_speed("8 GT/s") == 8_000_000_000  # older kernels; from memory
    assert links_pcie.parse_speed("Unknown") is None
    assert links_pcie.parse_speed("Unknown speed") is None  # older kernels; from memory


def test_pcie_width_of_a_link_that_is_down_or_not_known() -> None:
    assert [links_pcie.parse_width(text) for text in ("4", "0", "255")] == [4, None, None]


def test_sata_speeds() -> None:
    """drivers/ata/libata-core.c, sata_spd_string."""
    assert links_sata.parse_speed("6.0 Gbps") == 6_000_000_000
    assert links_sata.parse_speed("1.5 Gbps") == 1_500_000_000
    assert links_sata.parse_speed("<unknown>") is None


def test_sas_rates() -> None:
    """drivers/scsi/scsi_transport_sas.c, sas_linkspeed_names."""
    assert links_sas.parse_linkrate("22.5 Gbit") == 22_500_000_000
    for text in ("Unknown", "Phy disabled", "Link Rate failed", "Spin-up hold"):
        assert links_sas.parse_linkrate(text) is None


def test_usb_speeds() -> None:
    """drivers/usb/core/sysfs.c, speed_show."""
    assert links_usb.parse_speed("1.5") == 1_500_000
    assert links_usb.parse_speed("20000") == 20_000_000_000
    assert links_usb.parse_speed("unknown") is None


@pytest.mark.parametrize(
    "parse",
    [
        links_pcie.parse_speed,
        links_pcie.parse_width,
        links_sata.parse_speed,
        links_sas.parse_linkrate,
        links_usb.parse_speed,
        parse_identify,
    ],
)
@given(text=st.text())
def test_any_text_is_parsed_or_refused(parse: Callable[[str], object], text: str) -> None:
    with suppress(ValueError):
        parse(text)


@pytest.mark.parametrize(
    ("capability", "rate"),
    [(0x000E, 6_000_000_000), (0x0006, 3_000_000_000), (0x0002, 1_500_000_000)],
)
def test_a_drive_s_fastest_generation_is_the_highest_bit_of_word_76(
    capability: int, rate: int
) -> None:
    """Bits 1, 2, 3 of word 76; bit numbers from memory, word number from the kernel's ata.h."""
    words = ["0000"] * 256
    words[76] = f"{capability:04x}"
    assert parse_identify(" ".join(words)).fastest_bits_per_second == rate
    words[76] = "ffff"
    assert parse_identify(" ".join(words)).fastest_bits_per_second is None


@pytest.mark.parametrize(
    ("path", "transport"),
    [
        ("pci0000:00/0000:00:1f.2/ata1/host0/target0:0:0/0:0:0:0/block/sda", Transport.SATA),
        ("0000:01:00.0/host0/port-0:0/end_device-0:0/target0:0:0/0:0:0:0/block/sda", Transport.SAS),
        ("0000:00:14.0/usb2/2-1/2-1:1.0/host1/target1:0:0/1:0:0:0/block/sdb", Transport.USB),
        ("pci0000:00/0000:00:1d.0/0000:01:00.0/nvme/nvme0/nvme0n1", Transport.NVME),
        ("pci0000:00/0000:00:1d.0/0000:01:00.0/nvme/nvme0/nvme0n1/nvme0n1p2", Transport.NVME),
        ("virtual/nvme-subsystem/nvme-subsys0/nvme0n1", Transport.NVME),
        ("pci0000:00/0000:00:02.0/virtio1/block/vda", Transport.VIRTIO),
        ("pci0000:00/0000:00:02.0/virtio1/host0/target0:0:0/0:0:0:0/block/sda", Transport.VIRTIO),
        ("pci0000:00/0000:00:03.0/host0/target0:2:0/0:2:0:0/block/sda", Transport.SCSI),
        ("platform/soc/mmc0/mmc0:0001/block/mmcblk0", Transport.UNKNOWN),
        ("virtual/block/md0", Transport.UNKNOWN),
    ],
)
def test_the_transport_is_read_off_the_path(path: str, transport: Transport) -> None:
    assert transport_of(path) is transport


def test_a_suspended_function_s_link_files_are_not_opened(tmp_path: Path) -> None:
    """Newer kernels wake the function to answer."""
    reader = Reader(lay_out("handwritten_pcie", tmp_path))
    opened: list[str] = []
    read = reader.text

    def watch(path: str, *, expected: bool = False) -> str | None:
        opened.append(path)
        return read(path, expected=expected)

    reader.text = watch  # type: ignore[method-assign]
    LinkTable(reader).trace("pci0000:00/0000:00:1d.4/0000:07:00.0/nvme/nvme3/nvme3n1")
    assert opened
    assert all(path.endswith("power/runtime_status") for path in opened)
    assert reader.problems == []


def test_each_shared_link_is_read_once(tmp_path: Path) -> None:
    table = LinkTable(Reader(lay_out("handwritten_pcie", tmp_path)))
    switch = "pci0000:00/0000:00:1b.0/0000:02:00.0"
    one = table.trace(f"{switch}/0000:03:00.0/0000:04:00.0/nvme/nvme0/nvme0n1")
    other = table.trace(f"{switch}/0000:03:01.0/0000:05:00.0/nvme/nvme1/nvme1n1")
    assert one[-2:] == other[-2:] == (switch, "pci0000:00/0000:00:1b.0")
    assert len(table.links) == 6


def test_a_device_on_no_bus_has_no_links() -> None:
    assert LinkTable(Reader(Tree(root=Path("/nonexistent")))).trace("virtual/block/md0") == ()
