"""Each machine of tests/captured is read as a person who knows it would describe it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from arraygauge.inventory import Array, BlockDevice, Host, Link, LinkRate
from arraygauge.inventory.host import read_host
from captured.machines import NAMES, captured_udev, lay_out, read_facts

ABSENT = "absent"
"""How a facts file writes None."""


@pytest.fixture(scope="module", params=NAMES)
def machine(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Host, dict[str, Any]]:
    name = str(request.param)
    tree = lay_out(name, tmp_path_factory.mktemp(name))
    return read_host(tree, captured_udev(tree)), read_facts(name)


def plain(value: object) -> object:
    """A value as a facts file writes it."""
    if value is None:
        return ABSENT
    if isinstance(value, LinkRate):
        return [value.bits_per_second_per_lane, value.lanes]
    if isinstance(value, tuple):
        return [plain(each) for each in value]
    return value


def assert_facts(thing: object, facts: Mapping[str, object], where: str) -> None:
    for name, expected in facts.items():
        assert plain(getattr(thing, name)) == expected, f"{where}: {name}"


def test_nothing_that_is_there_counts_as_a_problem(machine: tuple[Host, dict[str, Any]]) -> None:
    host, facts = machine
    assert [problem.path for problem in host.problems] == facts["host"]["problems"]


def test_devices_are_as_known(machine: tuple[Host, dict[str, Any]]) -> None:
    host, facts = machine
    for name, known in facts.get("devices", {}).items():
        device = host.device(name)
        assert device is not None, name
        assert_device(device, dict(known))


def assert_device(device: BlockDevice, known: dict[str, Any]) -> None:
    if (links := known.pop("links", None)) is not None:
        assert [link_id.rsplit("/", 1)[-1] for link_id in device.link_ids] == links, device.name
    if (mounts := known.pop("mounts", None)) is not None:
        assert [mount.mount_point for mount in device.mounts] == mounts, device.name
    assert_facts(device, known, device.name)


def test_links_are_as_known(machine: tuple[Host, dict[str, Any]]) -> None:
    host, facts = machine
    for link_id, known in facts.get("links", {}).items():
        link = host.link(link_id)
        assert link is not None, link_id
        assert_link(link, dict(known))


def assert_link(link: Link, known: dict[str, Any]) -> None:
    if (parent := known.pop("parent", None)) is not None:
        assert plain(link.parent_id) == parent, link.link_id
    assert_facts(link, known, link.link_id)


def test_arrays_are_as_known(machine: tuple[Host, dict[str, Any]]) -> None:
    host, facts = machine
    assert {array.name for array in host.arrays} >= set(facts.get("arrays", {}))
    for array in host.arrays:
        known = facts.get("arrays", {}).get(array.name, {})
        assert_array(array, dict(known))


def assert_array(array: Array, known: dict[str, Any]) -> None:
    members = {member.name: member for member in array.members}
    for name, member_known in known.pop("members", {}).items():
        assert_facts(members[name], member_known, f"{array.name} {name}")
    assert_facts(array, known, array.name)


def test_every_link_a_device_names_is_listed_once(machine: tuple[Host, dict[str, Any]]) -> None:
    host, _ = machine
    ids = [link.link_id for link in host.links]
    assert len(ids) == len(set(ids))
    named = {link_id for device in host.devices for link_id in device.link_ids}
    assert named == set(ids)


def test_a_device_s_links_are_a_chain_of_parents(machine: tuple[Host, dict[str, Any]]) -> None:
    host, _ = machine
    for device in host.devices:
        links = [host.link(link_id) for link_id in device.link_ids]
        parents = [link.parent_id for link in links if link is not None]
        assert parents == [*device.link_ids[1:], None][: len(parents)]


def test_drives_have_ids_of_their_own(machine: tuple[Host, dict[str, Any]]) -> None:
    host, _ = machine
    ids = [device.stable_id for device in host.devices]
    assert len(ids) == len(set(ids))


def test_below_and_above_say_the_same(machine: tuple[Host, dict[str, Any]]) -> None:
    """Every device another one stands on knows it; an unplugged one is named but not there."""
    host, _ = machine
    for device in host.devices:
        for name in device.below:
            lower = host.device(name)
            assert lower is None or device.name in lower.above, (device.name, name)


def test_an_array_and_its_block_device_share_their_id(
    machine: tuple[Host, dict[str, Any]],
) -> None:
    host, _ = machine
    for array in host.arrays:
        device = host.device(array.name)
        assert device is not None
        assert device.stable_id == array.stable_id


def test_ids_do_not_depend_on_udev(
    machine: tuple[Host, dict[str, Any]], tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """A device keeps its history when the agent starts before udev."""
    host, _ = machine
    name = request.node.callspec.params["machine"]
    without = read_host(lay_out(name, tmp_path))
    assert {device.name: device.stable_id for device in without.devices} == {
        device.name: device.stable_id for device in host.devices
    }
