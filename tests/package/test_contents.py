"""What is in the package: where, whose, how large, and that it fits the files that control it."""

from __future__ import annotations

import hashlib
import re
import stat
import subprocess
from pathlib import Path

import pytest

import arraygauge
from package.building import CONFFILE, HOME, INTERPRETER, REPOSITORY, Built

WHEEL_BYTES = 1_000_000
INSTALLED_BYTES = 60_000_000
BLOCK_BYTES = 4096
PLACES = (
    f"{HOME}/",
    "usr/share/doc/arraygauge/",
)
SINGLE_FILES = {
    CONFFILE,
    "usr/bin/arraygauge",
    "usr/lib/systemd/system/arraygauge.service",
    "usr/lib/systemd/user/arraygauge-companion.service",
    "usr/share/bash-completion/completions/arraygauge",
    "usr/share/fish/vendor_completions.d/arraygauge.fish",
    "usr/share/man/man1/arraygauge.1.gz",
    "usr/share/zsh/vendor-completions/_arraygauge",
}
SCRIPTS = {"postinst", "prerm", "postrm"}
# Debian's packages of the shared libraries that compiled modules ask for, from memory.
LIBRARIES = {
    **dict.fromkeys(
        ("libc.so.6", "libdl.so.2", "libm.so.6", "libpthread.so.0", "librt.so.1"), "libc6"
    ),
    "libgcc_s.so.1": "libgcc-s1",
}
LOADER = re.compile(r"linux-vdso|ld-linux")
PROGRAMS = {"/bin/kill": "procps"}


@pytest.fixture(scope="module")
def python() -> tuple[int, int]:
    """Of Debian's interpreter here."""
    script = "import sys; print(*sys.version_info[:2])"
    said = subprocess.run([INTERPRETER, "-c", script], capture_output=True, check=True).stdout
    major, minor = map(int, said.split())
    return major, minor


def test_the_wheel_is_small(built: Built) -> None:
    size = built.wheel.stat().st_size
    print(f"wheel: {size} bytes")
    assert size <= WHEEL_BYTES


def test_what_is_installed_is_small_with_all_it_needs(built: Built) -> None:
    """As a filesystem with blocks of 4 KiB takes it."""
    blocks = sum(-(-len(content) // BLOCK_BYTES) for content in built.files.values())
    print(f"package: {built.package.stat().st_size} bytes, installed {blocks * BLOCK_BYTES} bytes")
    assert blocks * BLOCK_BYTES <= INSTALLED_BYTES


def test_its_fields_say_what_it_is(built: Built, python: tuple[int, int]) -> None:
    """Fields by Debian Policy, chapter 5, from memory."""
    fields = built.fields
    major, minor = python
    assert fields["Package"] == "arraygauge"
    assert fields["Version"] == f"{arraygauge.__version__}-1+py{major}.{minor}"
    architecture = subprocess.run(["dpkg", "--print-architecture"], capture_output=True, check=True)
    assert fields["Architecture"] == architecture.stdout.decode().strip()
    assert re.fullmatch(r".+ <\S+@\S+>", fields["Maintainer"])
    assert fields["Section"] == "admin"
    assert fields["Priority"] == "optional"
    assert 0 < len(fields["Description"]) < 80
    assert built.package.name == f"arraygauge_{fields['Version']}_{fields['Architecture']}.deb"
    kibibytes = sum(-(-len(content) // 1024) for content in built.files.values())
    assert int(fields["Installed-Size"]) == kibibytes


def test_it_depends_on_one_minor_version_of_python(built: Built, python: tuple[int, int]) -> None:
    major, minor = python
    depends = built.fields["Depends"].split(", ")
    assert f"python3 (>= {major}.{minor})" in depends
    assert f"python3 (<< {major}.{minor + 1})" in depends


def test_it_depends_on_whatever_its_compiled_modules_load(built: Built, tmp_path: Path) -> None:
    modules = {name: text for name, text in built.files.items() if re.search(r"\.so(\.|$)", name)}
    assert modules
    depends = built.fields["Depends"].split(", ")
    for number, content in enumerate(modules.values()):
        module = tmp_path / f"{number}.so"
        module.write_bytes(content)
        said = subprocess.run(["ldd", module], capture_output=True, text=True, check=True).stdout
        for library in (line.split()[0] for line in said.splitlines()):
            assert LOADER.search(library) or LIBRARIES[library] in depends, library


def test_it_depends_on_whatever_its_units_start(built: Built) -> None:
    depends = built.fields["Depends"].split(", ")
    for unit in (name for name in built.files if name.endswith(".service")):
        started = re.findall(r"^Exec\w+=(\S+)", built.text(unit), re.M)
        assert started
        for program in started:
            assert program.removeprefix("/") in built.files or PROGRAMS[program] in depends


def test_every_file_is_root_s_and_only_root_may_write_it(built: Built) -> None:
    programs = {"usr/bin/arraygauge"}
    for path, member in built.members.items():
        assert (member.uid, member.gid, member.uname, member.gname) == (0, 0, "root", "root"), path
        assert member.isfile() or member.isdir() or member.issym(), path
        if not member.issym():
            mode = 0o755 if member.isdir() or path in programs else 0o644
            assert stat.S_IMODE(member.mode) == mode, path


def test_nothing_lies_outside_of_the_expected_places(built: Built) -> None:
    outside = {path for path in built.files if not path.startswith(PLACES)}
    assert outside == SINGLE_FILES
    for path, member in built.members.items():
        if member.isdir():
            inside = f"{path}/".startswith(PLACES)
            assert inside or any(file.startswith(f"{path}/") for file in built.files), path


def test_the_only_link_is_the_interpreter(built: Built, python: tuple[int, int]) -> None:
    """As a virtual environment has it: to Debian's, of the version the modules are compiled for."""
    links = {path: member.linkname for path, member in built.members.items() if member.issym()}
    version = "{}.{}".format(*python)
    assert links == {f"{HOME}/bin/python3": f"../../../bin/python{version}"}


def test_the_sums_are_those_of_the_files(built: Built) -> None:
    """All but the configuration, whose sum dpkg keeps by itself."""
    assert sorted(built.control_files["md5sums"][1].splitlines()) == sorted(
        f"{hashlib.md5(content, usedforsecurity=False).hexdigest()}  {path}"
        for path, content in built.files.items()
        if path != CONFFILE
    )


def test_the_configuration_is_the_person_s(built: Built) -> None:
    assert built.control_files["conffiles"][1] == f"/{CONFFILE}\n"


def test_its_scripts_can_be_run_and_read(built: Built) -> None:
    scripts = {name: said for name, said in built.control_files.items() if name in SCRIPTS}
    assert scripts.keys() == SCRIPTS
    for name, (mode, text) in scripts.items():
        assert stat.S_IMODE(mode) == 0o755, name
        assert text.startswith("#!/bin/sh\nset -e\n"), name
        subprocess.run(["sh", "-n"], input=text, text=True, check=True)


def test_the_units_are_those_of_the_repository(built: Built) -> None:
    for kind, name in (("system", "arraygauge"), ("user", "arraygauge-companion")):
        source = (REPOSITORY / f"systemd/{name}.service").read_text()
        assert built.text(f"usr/lib/systemd/{kind}/{name}.service") == source


def test_all_of_the_program_is_there_and_compiled(built: Built) -> None:
    """Byte code that is taken unchecked, so that nothing is ever written beside a module: its
    second word is 1 for that (PEP 552)."""
    modules = {path for path in built.files if path.endswith(".py")}
    ours = {
        str(path.relative_to(built.folder / "agent"))
        for path in (built.folder / "agent/arraygauge").rglob("*.py")
    }
    assert ours <= {path.partition("site-packages/")[2] for path in modules}
    for path in modules:
        folder, _, name = path.rpartition("/")
        [code] = [
            content
            for other, content in built.files.items()
            if other.startswith(f"{folder}/__pycache__/{name.removesuffix('.py')}.cpython-")
        ]
        assert code[4:8] == b"\x01\0\0\0", path
        assert f"/{path}".encode() in code, path
