"""What links carry, against published rates. MB/s decimal, each direction."""

import pytest

from arraygauge.inventory.values import LinkKind, LinkRate
from arraygauge.theory import Direction
from arraygauge.theory.links import data_bytes_per_second, payload_bytes_per_second


def rate(gigabits: float, lanes: int = 1) -> LinkRate:
    return LinkRate(bits_per_second_per_lane=round(gigabits * 1e9), lanes=lanes)


@pytest.mark.parametrize(
    ("kind", "gigabits", "lanes", "megabytes"),
    [
        # SATA and SAS: 8b/10b, Serial ATA revision 3 and SAS-3 payload rates.
        (LinkKind.SATA, 1.5, 1, 150),
        (LinkKind.SATA, 3.0, 1, 300),
        (LinkKind.SATA, 6.0, 1, 600),
        (LinkKind.SAS, 12.0, 1, 1200),
        # SAS-4: 128b/150b at 22.5 Gb/s, arithmetic.
        (LinkKind.SAS, 22.5, 1, 2400),
        # USB 3.2: 8b/10b at 5 Gb/s, 128b/132b at 10 Gb/s a lane, arithmetic.
        (LinkKind.USB, 5.0, 1, 500),
        (LinkKind.USB, 10.0, 1, 1212.1),
        (LinkKind.USB, 10.0, 2, 2424.2),
        # PCIe: kernel macro PCIE_SPEED2MBS_ENC, drivers/pci/pci.h.
        (LinkKind.PCIE, 2.5, 1, 250),
        (LinkKind.PCIE, 5.0, 4, 2000),
        (LinkKind.PCIE, 8.0, 1, 984.615),
        (LinkKind.PCIE, 8.0, 4, 3938.46),
        (LinkKind.PCIE, 16.0, 4, 7876.92),
        (LinkKind.PCIE, 32.0, 4, 15753.8),
        # PCIe 6 flits: 242 of 256 bytes.
        (LinkKind.PCIE, 64.0, 1, 7562.5),
    ],
)
def test_payload_rate_after_encoding(
    kind: LinkKind, gigabits: float, lanes: int, megabytes: float
) -> None:
    assert payload_bytes_per_second(kind, rate(gigabits, lanes)) / 1e6 == pytest.approx(
        megabytes, rel=1e-4
    )


@pytest.mark.parametrize(
    ("gigatransfers", "lanes", "payload", "device_to_host", "host_to_device"),
    [
        # Derived from the public model of Neugebauer et al., SIGCOMM 2018.
        (5, 4, 128, 1463, 1502),
        (8, 4, 256, 3322, 3370),
        (16, 4, 256, 6645, 6741),
        (8, 8, 256, 6615, 6711),
    ],
)
def test_pcie_data_rate_pays_for_packets_and_acknowledgements(
    gigatransfers: float, lanes: int, payload: int, device_to_host: float, host_to_device: float
) -> None:
    link = rate(gigatransfers, lanes)
    read = data_bytes_per_second(LinkKind.PCIE, link, Direction.READ, payload)
    write = data_bytes_per_second(LinkKind.PCIE, link, Direction.WRITE, payload)
    assert read / 1e6 == pytest.approx(device_to_host, abs=1)
    assert write / 1e6 == pytest.approx(host_to_device, abs=1)


def test_pcie_model_lies_within_six_per_cent_of_a_published_measurement() -> None:
    """Intel AN 690 section 1.6.5, 8 GT/s x 8, 256-byte payload: 7.1 GB/s writes by the
    device, 7.0 GB/s read completions, measured."""
    link = rate(8, 8)
    assert data_bytes_per_second(LinkKind.PCIE, link, Direction.READ) == pytest.approx(
        7.1e9, rel=0.07
    )
    assert data_bytes_per_second(LinkKind.PCIE, link, Direction.WRITE) == pytest.approx(
        7.0e9, rel=0.06
    )
