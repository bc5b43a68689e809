"""The package installed on a fresh Debian 12, and the program used there by anybody."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

import arraygauge
from package.building import CONFFILE, Built
from package.chroot import Chroot

HOSTILE = "/tmp/hostile"
TRAPS = ("click", "json", "arraygauge", "sitecustomize", "usercustomize", "pydantic")
SURROUNDINGS = {
    "PYTHONPATH": HOSTILE,
    "PYTHONSTARTUP": f"{HOSTILE}/click.py",
    "PYTHONINSPECT": "1",
    "PYTHONUSERBASE": HOSTILE,
}


@pytest.fixture(scope="module")
def installed(debian: Callable[[], Chroot], built: Built) -> Chroot:
    """With a folder full of modules that end whichever program imports them."""
    chroot = debian()
    chroot.install(built)
    for name in TRAPS:
        text = f"raise SystemExit('{name} was taken from the folder it was started in')\n"
        chroot.write(f"{HOSTILE}/{name}.py", text)
    return chroot


def test_dpkg_is_content(installed: Chroot) -> None:
    state = installed.done("dpkg-query", "--show", "--showformat", "${Status}", "arraygauge")
    assert state == "install ok installed"
    assert installed.done("dpkg", "--verify", "arraygauge") == ""
    assert installed.done("dpkg", "--audit") == ""


def test_nothing_is_enabled_by_itself(installed: Chroot) -> None:
    said = installed.run("systemctl", "is-enabled", "arraygauge.service")
    assert said.output.strip() == "disabled"


@pytest.mark.parametrize("user", ["root", "nobody"])
@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("--version", arraygauge.__version__),
        ("--help", "accept-baseline"),
        ("check --help", "--regardless"),
        ("config check", ""),
        ("config reference", "[budget]"),
        ("footage", "ProRes"),
        ("inventory", "arrays"),
        ("inventory --json", '"arrays"'),
    ],
)
def test_it_runs_whatever_stands_in_the_folder_it_is_started_in(
    installed: Chroot, words: str, expected: str, user: str
) -> None:
    said = installed.run(
        "arraygauge", *words.split(), user=user, folder=HOSTILE, surroundings=SURROUNDINGS
    )
    assert said.status == 0, said
    assert said.errors == ""
    assert expected in said.output


def test_the_traps_do_catch_a_python_that_looks_there(installed: Chroot) -> None:
    """Else the test before would hold nothing."""
    said = installed.run("python3", "-c", "import click", folder=HOSTILE)
    assert "taken from the folder" in said.errors


def test_root_s_configuration_is_the_installed_one_and_right(installed: Chroot) -> None:
    said = installed.run("arraygauge", "config", "check")
    assert said.output == f"/{CONFFILE}: no mistake\n"


def test_each_other_user_has_one_of_their_own(installed: Chroot) -> None:
    said = installed.run("arraygauge", "config", "check", user="nobody")
    assert said.output.startswith("/home/nobody/.config/arraygauge/config.toml: there is none")


@pytest.mark.parametrize("user", ["root", "nobody"])
def test_what_it_cannot_see_is_said_and_no_traceback(installed: Chroot, user: str) -> None:
    """Without /proc and /sys, as worst case of a machine that shows nothing."""
    said = installed.run("arraygauge", "inventory", user=user, kernel=False)
    assert said.status == 0
    assert "could not read /proc/self/mountinfo: No such file or directory" in said.output
    assert "Traceback" not in said.output + said.errors
    document = json.loads(
        installed.run("arraygauge", "inventory", "--json", user=user, kernel=False).output
    )
    assert document["arrays"] == []


@pytest.mark.parametrize("user", ["root", "nobody"])
def test_a_history_that_is_not_there_is_a_message_with_a_remedy(
    installed: Chroot, user: str
) -> None:
    said = installed.run("arraygauge", "history", user=user)
    assert said.status == 2
    assert "nothing was measured yet" in said.errors
    assert "remedy: " in said.errors
    assert "Traceback" not in said.errors


def test_bash_completes_by_the_installed_program(installed: Chroot) -> None:
    script = (
        "source /usr/share/bash-completion/completions/arraygauge; "
        "COMP_WORDS=(arraygauge inc); COMP_CWORD=1; "
        "_arraygauge_completion arraygauge inc arraygauge; echo ${COMPREPLY[@]}"
    )
    assert installed.done("bash", "-c", script).strip() == "incidents"


def test_the_desktop_s_part_has_what_it_needs(installed: Chroot) -> None:
    """Without a session bus it says so, and not that a package is missing."""
    said = installed.run("arraygauge", "companion", user="nobody")
    assert said.status in (1, 2)
    assert "jeepney" not in said.errors
    assert "Traceback" not in said.errors
    assert "remedy: " in said.errors
