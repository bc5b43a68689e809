"""What the package says: configuration, manual page, completions, bill of materials, licences."""

from __future__ import annotations

import gzip
import json
import re
import shutil
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import pytest
from pydantic import BaseModel

import arraygauge
from arraygauge.cli import main
from arraygauge.config import Configuration, load_configuration
from arraygauge.config.reference import configuration_reference
from package.building import CONFFILE, HOME, REPOSITORY, Built

MANUAL = "usr/share/man/man1/arraygauge.1.gz"
DOCUMENTS = "usr/share/doc/arraygauge"
COMPLETIONS = {
    "bash": "usr/share/bash-completion/completions/arraygauge",
    "zsh": "usr/share/zsh/vendor-completions/_arraygauge",
    "fish": "usr/share/fish/vendor_completions.d/arraygauge.fish",
}
DEFAULT = re.compile(r"^#(?=[\[a-z])", re.M)
"""By the file's own words: where '#' stands right before a key or section, that is the default."""
ONLY_TO_BUILD = {
    "editables",
    "hatchling",
    "packaging",
    "pathspec",
    "pluggy",
    "tomlkit",
    "trove-classifiers",
}
LOCKED = re.compile(r"^([a-z0-9-]+)==(\S+)(?: ;.*)? \\\n((?:    --hash=.*\n)+)", re.M)


def written(folder: Path, text: str) -> Path:
    path = folder / "config.toml"
    path.write_text(text)
    return path


def test_the_configuration_as_installed_changes_nothing(built: Built, tmp_path: Path) -> None:
    text = built.text(CONFFILE)
    assert all(not line or line.startswith("#") for line in text.splitlines())
    assert load_configuration(written(tmp_path, text)) == Configuration()


def test_every_default_in_the_configuration_is_the_default(built: Built, tmp_path: Path) -> None:
    text = DEFAULT.sub("", built.text(CONFFILE))
    assert {name: set(keys) for name, keys in tomllib.loads(text).items()} == {
        name: {key for key, value in section if value is not None}
        for name, section in Configuration()
        if isinstance(section, BaseModel)
    }
    assert load_configuration(written(tmp_path, text)) == Configuration()


def test_the_configuration_has_every_key_there_is(built: Built) -> None:
    lines = built.text(CONFFILE).splitlines()
    for section in configuration_reference():
        begin = next(n for n, line in enumerate(lines) if line.lstrip("# ") == section.header)
        here = lines[begin:]
        here = here[: here.index("")] if "" in here else here
        for key in section.keys:
            assert any(re.match(rf"#( *){key.name} =", line) for line in here), key.name


def every_command() -> Iterator[str]:
    """Their names after that of the program: 'check', 'incidents silence' and so on."""

    def below(group: click.Group, names: tuple[str, ...]) -> Iterator[str]:
        context = click.Context(group)
        for name in group.list_commands(context):
            command = group.get_command(context, name)
            yield " ".join((*names, name))
            if isinstance(command, click.Group):
                yield from below(command, (*names, name))

    return below(main, ())


def test_the_manual_page_has_every_command(built: Built) -> None:
    page = gzip.decompress(built.files[MANUAL]).decode()
    headings = re.findall(r"^\.SS (.*)$", page, re.M)
    assert [each.replace("\\-", "-") for each in headings] == list(every_command())
    assert f'"arraygauge {arraygauge.__version__}"' in page


@pytest.mark.parametrize(
    "formatter",
    [
        ("groff", "-man", "-Tutf8", "-Kutf8", "-ww", "-z"),
        ("man", "--warnings", "--encoding=UTF-8", "--local-file", "-"),
    ],
    ids=lambda words: words[0],
)
def test_whoever_formats_the_manual_page_has_nothing_to_say(
    built: Built, formatter: tuple[str, ...]
) -> None:
    if shutil.which(formatter[0]) is None:
        pytest.skip(f"{formatter[0]} is not installed here")
    page = gzip.decompress(built.files[MANUAL])
    done = subprocess.run(formatter, input=page, capture_output=True, check=True)
    assert done.stderr.decode() == ""


def test_there_is_a_completion_for_each_shell(built: Built) -> None:
    for path in COMPLETIONS.values():
        assert "_ARRAYGAUGE_COMPLETE" in built.text(path)


@pytest.mark.parametrize("shell", COMPLETIONS)
def test_completions_are_scripts_of_their_shell(built: Built, shell: str, tmp_path: Path) -> None:
    script = tmp_path / shell
    script.write_bytes(built.files[COMPLETIONS[shell]])
    if shell != "bash" and shutil.which(shell) is None:
        pytest.skip(f"{shell} is not installed here")
    subprocess.run([shell, "-n", str(script)], check=True)


@pytest.fixture(scope="module")
def bill(built: Built) -> dict[str, Any]:
    """The one that is installed, which is the one beside the package."""
    installed = gzip.decompress(built.files[f"{DOCUMENTS}/sbom.cdx.json.gz"])
    assert installed == built.bill.read_bytes()
    document: dict[str, Any] = json.loads(installed)
    return document


def locked(name: str) -> dict[str, tuple[str, set[str]]]:
    """Version and hashes of each package in a lock file, read here by other means."""
    text = (REPOSITORY / name).read_text()
    found = {
        each[1]: (each[2], set(re.findall("sha256:([0-9a-f]{64})", each[3])))
        for each in LOCKED.finditer(text)
    }
    assert len(found) == len(re.findall(r"^[a-z].*==", text, re.M))
    return found


def test_the_bill_has_what_cyclonedx_requires(bill: dict[str, Any]) -> None:
    """The JSON schema of CycloneDX 1.5 (https://cyclonedx.org/docs/1.5/json/), from memory."""
    assert (bill["bomFormat"], bill["specVersion"], bill["version"]) == ("CycloneDX", "1.5", 1)
    assert re.fullmatch(
        r"urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-[1-5][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}",
        bill["serialNumber"],
    )
    assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", bill["metadata"]["timestamp"])
    components = [bill["metadata"]["component"], *bill["components"]]
    references = [each["bom-ref"] for each in components]
    assert len(set(references)) == len(references)
    for each in components:
        assert each["type"] in {"application", "library"}
        assert each["name"]
        assert each["purl"] == f"pkg:pypi/{each['name']}@{each['version']}"
        [given] = each["hashes"]
        assert given["alg"] == "SHA-256"
        assert re.fullmatch("[0-9a-f]{64}", given["content"])
        [licence] = each["licenses"]
        assert licence.get("expression") or licence["license"]["name"]
    assert [each["ref"] for each in bill["dependencies"]] == references


def test_the_bill_names_each_locked_package_with_version_and_hash(bill: dict[str, Any]) -> None:
    core, all_of_them = locked("requirements.lock"), locked("requirements-dev.lock")
    named = {each["name"]: each for each in bill["components"]}
    assert named.keys() == (core.keys() - ONLY_TO_BUILD) | {"jeepney"}
    for name, each in named.items():
        version, hashes = all_of_them[name]
        assert each["version"] == version
        assert each["hashes"][0]["content"] in hashes


def test_the_bill_names_what_is_installed(built: Built, bill: dict[str, Any]) -> None:
    said = re.compile(rf"{HOME}/lib/[^/]+/site-packages/[^/]+\.dist-info/METADATA")
    installed = set()
    for path in filter(said.fullmatch, built.files):
        text = built.text(path)
        found = {key: re.search(rf"^{key}: (.+)$", text, re.M) for key in ("Name", "Version")}
        assert found["Name"]
        assert found["Version"]
        name = re.sub(r"[-_.]+", "-", found["Name"][1]).lower()
        installed.add((name, found["Version"][1]))
    components = [bill["metadata"]["component"], *bill["components"]]
    assert installed == {(each["name"], each["version"]) for each in components}


def test_the_bill_says_who_needs_what(bill: dict[str, Any]) -> None:
    """Of the program, what pyproject.toml asks for; of others, two that are well known."""
    project = tomllib.loads((REPOSITORY / "pyproject.toml").read_text())["project"]
    asked = [*project["dependencies"], *project["optional-dependencies"]["desktop"]]
    needs = {
        re.split("[/@]", each["ref"])[1]: {re.split("[/@]", ref)[1] for ref in each["dependsOn"]}
        for each in bill["dependencies"]
    }
    assert needs["arraygauge"] == {re.split("[<>=]", each)[0] for each in asked}
    assert needs["jinja2"] == {"markupsafe"}
    assert needs["rich"] == {"markdown-it-py", "pygments"}


def test_every_package_has_a_licence_and_its_text(built: Built, bill: dict[str, Any]) -> None:
    said = built.text(f"{DOCUMENTS}/copyright")
    listed = built.licences.read_text()
    assert listed in said
    for each in bill["components"]:
        name = re.escape(each["name"]).replace(r"\-", "[-_.]")
        version = re.escape(each["version"])
        assert re.search(rf"^{name} {version}: \S", listed, re.M | re.I), name
        texts = [
            content.decode()
            for path, content in built.files.items()
            if re.search(rf"/{name}-{version}\.dist-info/.*(LICEN|COPYING)", path, re.I)
        ]
        assert texts, name
        assert all(len(text) > 500 and text.rstrip() in said for text in texts), name
    assert listed.count("\n") == len(bill["components"])


def test_our_own_licence_is_named_with_its_text(built: Built) -> None:
    """Debian brings the text: Policy 12.5, from memory."""
    assert "/usr/share/common-licenses/Apache-2.0" in built.text(f"{DOCUMENTS}/copyright")
    assert "Apache-2.0" in (REPOSITORY / "pyproject.toml").read_text()
