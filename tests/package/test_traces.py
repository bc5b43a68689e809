"""Nothing in the package tells on which machine it was built, or from where others' work came."""

from __future__ import annotations

import gzip
import io
import re
import socket
import subprocess
import sys
import zipfile
from pathlib import Path

from package.building import REPOSITORY, Built

SHORTEST = 4
"""Letters of a trace: shorter ones stand everywhere by chance."""


def traces(built: Built) -> set[str]:
    """Paths of this machine, its name, and the indexes that pip asks here."""
    said = subprocess.run(
        [sys.executable, "-m", "pip", "config", "list"], capture_output=True, text=True, check=True
    ).stdout
    hosts = set(re.findall(r"https?://(?:[^/@'\s]*@)?([^/:'\s]+)", said))
    folders = set(re.findall(r"(?:file://|find-links=')(/[^'\s]+)", said))
    places = {built.folder, built.folder.parent, REPOSITORY, Path(sys.prefix), Path(sys.executable)}
    ours = {str(path) for path in places}
    always = {"files.pythonhosted.org", "pypi.org/simple", "dist/making-", "--hash="}
    found = hosts | folders | ours | always | {socket.gethostname()}
    return {each for each in found if len(each) >= SHORTEST}


def plain(path: str, content: bytes) -> bytes:
    return gzip.decompress(content) if path.endswith(".gz") else content


def test_no_path_name_or_index_of_this_machine_is_in_it(built: Built) -> None:
    looked_for = traces(built)
    print(f"looked for: {sorted(looked_for)}")
    contents = {path: plain(path, content) for path, content in built.files.items()}
    contents |= {name: text.encode() for name, (_, text) in built.control_files.items()}
    contents |= {path.name: path.read_bytes() for path in (built.bill, built.licences)}
    with zipfile.ZipFile(io.BytesIO(built.wheel.read_bytes())) as wheel:
        contents |= {f"wheel:{name}": wheel.read(name) for name in wheel.namelist()}
    found = [
        (path, trace)
        for path, content in contents.items()
        for trace in looked_for
        if trace.encode() in content
    ]
    assert found == []


def test_nothing_is_installed_that_only_pip_would_leave(built: Built) -> None:
    """What pip writes of where it took a package from (PEP 610), and its cache of requests."""
    left = ("direct_url.json", "INSTALLER", "REQUESTED")
    assert [path for path in built.files if path.endswith(left)] == []
