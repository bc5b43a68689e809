"""Upgraded, removed, purged: a person's work is kept as long as asked for, and nothing after."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable
from contextlib import closing

import pytest

from arraygauge.history.migrate import migrate, migrations, version_of
from package.building import CONFFILE, HOME, Built, newer_version
from package.chroot import Chroot

HISTORY = "/var/lib/arraygauge/history.sqlite"
OLDER = 2
"""Of the history: the first version that has measurements."""
DEVICE = "serial-kept"
CHANGE = "[run]\ninterval_seconds = 5000\n"
LOGS = {
    "var/lib/dpkg/status",
    "var/lib/dpkg/status-old",
    "var/log/dpkg.log",
}
"""What dpkg keeps of all it ever did."""


def older_history(chroot: Chroot) -> None:
    """As an older version of the program would have left it: by the migrations up to that one,
    with one measurement of an invented drive."""
    path = chroot.path(HISTORY)
    path.parent.mkdir(mode=0o700, exist_ok=True)
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        migrate(connection, migrations()[:OLDER])
        connection.execute("INSERT INTO device VALUES (1, ?)", (DEVICE,))
        words = ("read-sequential-1048576-16", "sdx", "settled", "as expected")
        connection.executemany("INSERT INTO word VALUES (?, ?)", enumerate(words, 1))
        connection.execute(
            "INSERT INTO measurement (device, workload, started_at_seconds, name, outcome, bytes,"
            " seconds, rate_bytes_per_second, pace)"
            " VALUES (1, 1, ?, 2, 3, 300000000, 2.5, 1.2e8, 4)",
            (time.time() - 3600,),
        )
        assert version_of(connection) == OLDER


def history_version(chroot: Chroot) -> int:
    with closing(sqlite3.connect(chroot.path(HISTORY))) as connection:
        return version_of(connection)


def changed_by_a_person(chroot: Chroot) -> str:
    """The text of the configuration from then on."""
    path = chroot.path(CONFFILE)
    text = path.read_text() + CHANGE
    path.write_text(text)
    return text


@pytest.fixture(scope="module")
def upgraded(debian: Callable[[], Chroot], built: Built, newer: Built) -> Chroot:
    """With a changed configuration and an older history, as an unattended upgrade does it."""
    chroot = debian()
    chroot.install(built)
    changed_by_a_person(chroot)
    older_history(chroot)
    chroot.install(newer, "--force-confdef", "--force-confold")
    return chroot


def test_an_upgrade_brings_the_newer_program_and_leaves_nothing_of_the_older(
    upgraded: Chroot, newer: Built
) -> None:
    assert newer_version() in upgraded.done("arraygauge", "--version")
    there = {path for path in upgraded.everything() if path.startswith(f"{HOME}/")}
    assert there == {path for path in newer.members if path.startswith(f"{HOME}/")}


def test_an_upgrade_keeps_the_configuration_that_a_person_changed(upgraded: Chroot) -> None:
    text = upgraded.path(CONFFILE).read_text()
    assert text.endswith(CHANGE)
    assert "A later one." not in text
    assert "A later one." in upgraded.path(f"{CONFFILE}.dpkg-dist").read_text()
    said = upgraded.done("arraygauge", "config", "check")
    assert said == f"/{CONFFILE}: no mistake\n"


def test_an_upgrade_replaces_a_configuration_that_nobody_changed(
    debian: Callable[[], Chroot], built: Built, newer: Built
) -> None:
    chroot = debian()
    chroot.install(built)
    chroot.install(newer)
    assert "A later one." in chroot.path(CONFFILE).read_text()


def test_an_upgrade_keeps_an_older_history_and_brings_it_up_to_date(upgraded: Chroot) -> None:
    assert DEVICE in upgraded.done("arraygauge", "history", "sdx", "--json")
    assert "120 MB/s" in upgraded.done("arraygauge", "history", "sdx")
    assert history_version(upgraded) == len(migrations()) > OLDER
    before = [name for name in upgraded.everything() if "history.sqlite." in name]
    assert not [name for name in before if not name.endswith(".lock")], "set aside, not kept"


def test_removal_keeps_configuration_and_history_and_nothing_else(
    debian: Callable[[], Chroot], built: Built
) -> None:
    chroot = debian()
    before = chroot.everything()
    chroot.install(built)
    text = changed_by_a_person(chroot)
    older_history(chroot)
    assert DEVICE in chroot.done("arraygauge", "history", "sdx", "--json")
    chroot.done("dpkg", "--remove", "arraygauge")
    added = chroot.everything().keys() - before.keys()
    kept = {f"/{path}" for path in added if not path.startswith("var/lib/dpkg/info/arraygauge.")}
    assert kept - {HISTORY, f"{HISTORY}-wal", f"{HISTORY}-shm", f"{HISTORY}.lock"} == {
        "/etc/arraygauge",
        f"/{CONFFILE}",
        "/var/lib/arraygauge",
    }
    chroot.install(built)
    assert chroot.path(CONFFILE).read_text() == text
    assert DEVICE in chroot.done("arraygauge", "history", "sdx", "--json")


def test_a_purge_leaves_nothing(debian: Callable[[], Chroot], built: Built, newer: Built) -> None:
    """After an upgrade, and after use: by root, by the service, which keeps its state below
    /var/lib/private (systemd.exec(5), DynamicUser=), and by somebody else."""
    chroot = debian()
    chroot.path("var/lib/private").mkdir(mode=0o700, exist_ok=True)
    before = chroot.everything()
    chroot.install(built)
    chroot.path("var/lib/private/arraygauge").mkdir(mode=0o700)
    chroot.path("var/lib/arraygauge").symlink_to("private/arraygauge")
    older_history(chroot)
    chroot.done("systemctl", "enable", "arraygauge.service")
    chroot.done("systemctl", "--global", "enable", "arraygauge-companion.service")
    changed_by_a_person(chroot)
    chroot.write("etc/arraygauge/hook.secret", "invented")
    for user in ("root", "nobody"):
        for words in ("history", "inventory", "config check", "companion", "check --help"):
            chroot.run("arraygauge", *words.split(), user=user)
    chroot.install(newer, "--force-confold")
    chroot.run("arraygauge", "history")
    chroot.done("dpkg", "--purge", "arraygauge")
    after = chroot.everything()
    assert {
        path for path in before.keys() | after.keys() if before.get(path) != after.get(path)
    } <= LOGS
    assert "arraygauge" not in chroot.path("var/lib/dpkg/status").read_text()
