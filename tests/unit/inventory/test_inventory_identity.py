"""A device's id outlives reboots and renames, and no two devices share one by accident."""

from __future__ import annotations

from arraygauge.inventory.hardware import Hardware, parse_unit_serial
from arraygauge.inventory.identity import (
    Identity,
    describe_place,
    identify_array,
    identify_drive,
    identify_loop,
    identify_mapped,
    identify_partition,
    separate_clones,
)


def hardware(
    model: str | None = None,
    serial: str | None = None,
    wwid: str | None = None,
    namespace: int | None = None,
) -> Hardware:
    return Hardware(model=model, serial=serial, wwid=wwid, namespace=namespace)


def drive(known: Hardware, **udev: str) -> Identity:
    return identify_drive(known, udev, "here")


def test_a_world_wide_name_comes_first_and_reads_the_same_from_kernel_and_udev() -> None:
    kernel = drive(hardware("M", "S", "naa.5000c500a1b2c3d4"))
    udev = drive(hardware("M", "S"), ID_WWN="0x5000c500a1b2c3d4")
    assert kernel == udev == Identity(stable_id="wwn-0x5000c500a1b2c3d4", source="wwn")


def test_nvme_names() -> None:
    assert drive(hardware(wwid="eui.0025385b71b0a1b2")).stable_id == "wwn-eui.0025385b71b0a1b2"
    assert drive(hardware(wwid="uuid.1c9f-aa")).source == "wwn"
    composed = drive(hardware("FLASH 2 TB", "F01", "nvme.1234-465-4c-00000001"))
    assert composed == Identity(stable_id="serial-FLASH_2_TB_F01", source="serial")


def test_a_filler_is_no_name() -> None:
    """Bridges that have no name of their own send one digit over and over."""
    assert drive(hardware("M", "S", "naa.0000000000000000")).source == "serial"
    assert drive(hardware("M", "S", "naa.5000000000000000")).source == "serial"
    assert drive(hardware("M", "S", "eui.0000000000000000")).source == "serial"


def test_a_serial_is_told_with_its_model_as_udev_does() -> None:
    """60-persistent-storage.rules and ata_id write MODEL_SERIAL, blanks as underscores."""
    identity = drive(hardware("QEMU HARDDISK", "SATA0002"))
    assert identity.stable_id == "serial-QEMU_HARDDISK_SATA0002"
    t10 = drive(hardware(wwid="t10.ATA QEMU HARDDISK SATA0002"))
    assert t10.source == "serial"
    assert drive(hardware(), ID_SERIAL="x").stable_id == "serial-x"


def test_namespaces_of_one_controller_differ() -> None:
    one, two = (drive(hardware("M", "S", namespace=number)) for number in (1, 2))
    assert (one.stable_id, two.stable_id) == ("serial-M_S", "serial-M_S_2")


def test_the_place_is_the_last_resort() -> None:
    assert drive(hardware()) == Identity(stable_id="path-here", source="path")


def test_a_place_keeps_only_what_the_board_fixes() -> None:
    """Numbers given in order of discovery (host, ata, virtio, nvme) may change at each boot."""
    sata = "pci0000:00/0000:00:1f.2/ata{0}/host{0}/target{0}:0:0/{0}:0:0:0/block/sd{1}"
    assert describe_place(sata.format(3, "a"), "1") == "0000:00:1f.2-ata-1-0:0:0"
    assert describe_place(sata.format(9, "q"), "1") == "0000:00:1f.2-ata-1-0:0:0"
    nvme = "pci0000:00/0000:00:1d.0/0000:01:00.0/nvme/nvme{0}/nvme{0}n1"
    assert describe_place(nvme.format(0), None) == describe_place(nvme.format(7), None)
    assert describe_place("pci0000:00/0000:00:02.0/virtio1/block/vda", None) == "0000:00:02.0"


def test_repeated_serials_give_way_to_the_place() -> None:
    clone = Identity(stable_id="serial-cage_1", source="serial")
    separated = separate_clones({"sda": (clone, "usb-1"), "sdb": (clone, "usb-2")})
    assert {each.stable_id for each in separated.values()} == {"path-usb-1", "path-usb-2"}


def test_one_drive_over_two_ports_stays_one() -> None:
    twice = Identity(stable_id="wwn-0x5000c500a1b2c3d4", source="wwn")
    separated = separate_clones({"sda": (twice, "port 1"), "sdb": (twice, "port 2")})
    assert set(separated.values()) == {twice}


def test_repeated_places_are_told_apart_by_name() -> None:
    place = Identity(stable_id="path-usb-1", source="path")
    separated = separate_clones({"sda": (place, "usb-1"), "sdb": (place, "usb-1")})
    assert {each.stable_id for each in separated.values()} == {"path-usb-1-sda", "path-usb-1-sdb"}


def test_a_partition_follows_its_disk_unless_the_disk_is_known_by_place_only() -> None:
    uevent = {"PARTUUID": "ABCD-1"}
    strong = Identity(stable_id="wwn-0x5", source="wwn")
    weak = Identity(stable_id="path-x", source="path")
    assert identify_partition(strong, 2, uevent).stable_id == "wwn-0x5-part2"
    assert identify_partition(weak, 2, uevent) == Identity(
        stable_id="partuuid-abcd-1", source="uuid"
    )
    assert identify_partition(weak, 2, {}).stable_id == "path-x-part2"


def test_an_array_s_uuid_reads_the_same_from_kernel_and_udev() -> None:
    kernel = identify_array("md0", "0badcafe-1111-2222-3333-444455556666\n")
    udev = identify_array("md127", "0badcafe:11112222:33334444:55556666")
    assert kernel == udev
    assert kernel.source == "uuid"


def test_an_array_without_superblock_goes_by_name() -> None:
    """Linux prints a UUID of zeros for it."""
    none = "00000000-0000-0000-0000-000000000000"
    assert identify_array("md0", none) == Identity(stable_id="name-md0", source="name")
    assert identify_array("md0", None).source == "name"


def test_mapped_and_loop_devices() -> None:
    assert identify_mapped("dm-3", "vg-lv", "LVM-x").stable_id == "dm-LVM-x"
    assert identify_mapped("dm-3", "vg-lv", None).stable_id == "name-vg-lv"
    assert identify_loop("loop4", "/srv/a.raw").stable_id == "file-/srv/a.raw"
    assert identify_loop("loop4", None).stable_id == "name-loop4"


def test_the_unit_serial_page() -> None:
    """SPC's page 80h: device type, page code, length in two bytes, then the serial."""
    assert parse_unit_serial(b"\x00\x80\x00\x08 SN12345junk") == "SN12345"
    assert parse_unit_serial(b"\x00\x83\x00\x08 SN12345") is None
    assert parse_unit_serial(b"\x00") is None
