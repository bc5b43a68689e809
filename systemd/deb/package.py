"""Builds dist/: `package.py wheel` the wheel, `package.py deb` the Debian package as well.

README.md beside this says what is decided here and why.
"""

from __future__ import annotations

import gzip
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from email.utils import format_datetime
from pathlib import Path

from bill import bill, copyright_text, licences
from click.shell_completion import get_completion_class
from conffile import commented_configuration
from locked import packaged
from manual import manual
from wheels import Wheel, built, compile_all, examined, fetched, unpack

from arraygauge.cli import main as commands

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
DIST = ROOT / "dist"
INTERPRETER = "/usr/bin/python3"
HOME = "usr/lib/arraygauge"
CONFFILE = "etc/arraygauge/config.toml"
COMPLETIONS = {
    "bash": "usr/share/bash-completion/completions/arraygauge",
    "zsh": "usr/share/zsh/vendor-completions/_arraygauge",
    "fish": "usr/share/fish/vendor_completions.d/arraygauge.fish",
}


def output(*words: str) -> str:
    done = subprocess.run(words, cwd=ROOT, check=True, stdout=subprocess.PIPE, text=True)
    return done.stdout.strip()


def last_change() -> int:
    """Seconds since 1970 that everything built is dated with."""
    given = os.environ.get("SOURCE_DATE_EPOCH")
    if not given:
        try:
            given = output("git", "log", "-1", "--format=%ct")
        except (OSError, subprocess.CalledProcessError):
            raise SystemExit("no commit here to date this with: set SOURCE_DATE_EPOCH") from None
    return int(given)


def put(path: Path, content: str | bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode() if isinstance(content, str) else content)


def zipped(text: str) -> bytes:
    """As `gzip -n -9`: without a name and a date."""
    return gzip.compress(text.encode(), compresslevel=9, mtime=0)


def build_deb(work: Path, made: Path, epoch: int) -> Path:
    agent = examined(built(ROOT, made, epoch))
    locked = packaged(ROOT)
    python = output(INTERPRETER, "-c", "import sys; print('%d.%d' % sys.version_info[:2])")
    architecture = output("dpkg", "--print-architecture")
    version = f"{agent.version}-1+py{python}"
    downloads, stage = work / "wheels", work / "stage"
    downloads.mkdir()
    others = [examined(path) for path in fetched(locked, INTERPRETER, downloads)]
    sbom = bill(agent, others, locked, epoch)
    put(made / f"arraygauge-{agent.version}.cdx.json", sbom)
    put(made / f"arraygauge-{agent.version}.licences.txt", licences(others))
    lay_environment(stage, [agent, *others], python)
    lay_files(stage, epoch)
    lay_documents(stage, version, others, sbom, epoch)
    lay_control(stage, version, architecture, python)
    settle(stage, epoch)
    package = made / f"arraygauge_{version}_{architecture}.deb"
    how = ["--root-owner-group", "--threads-max=1", "-Zxz"]
    subprocess.run(
        ["dpkg-deb", *how, "--build", stage, package],
        env={**os.environ, "SOURCE_DATE_EPOCH": str(epoch)},
        stdout=subprocess.DEVNULL,
        check=True,
    )
    return package


def lay_environment(stage: Path, wheels: list[Wheel], python: str) -> None:
    """A virtual environment at the place it will have, without pip: what makes it one is a line
    that names where the interpreter is, and a link to it."""
    home = stage / HOME
    put(home / "pyvenv.cfg", "home = /usr/bin\ninclude-system-site-packages = false\n")
    (home / "bin").mkdir()
    (home / "bin" / "python3").symlink_to(f"../../../bin/python{python}")
    site_packages = home / "lib" / f"python{python}" / "site-packages"
    for wheel in wheels:
        unpack(wheel, site_packages)
    compile_all(site_packages, stage, INTERPRETER)


def lay_files(stage: Path, epoch: int) -> None:
    put(stage / "usr/bin/arraygauge", (HERE / "launcher").read_bytes())
    for kind, unit in (("system", "arraygauge"), ("user", "arraygauge-companion")):
        unit_file = HERE.parent / f"{unit}.service"
        put(stage / "usr/lib/systemd" / kind / unit_file.name, unit_file.read_bytes())
    put(stage / CONFFILE, commented_configuration())
    put(stage / "usr/share/man/man1/arraygauge.1.gz", zipped(manual(epoch)))
    for shell, place in COMPLETIONS.items():
        completion = get_completion_class(shell)
        if completion is None:
            raise SystemExit(f"no completion for {shell}")
        put(stage / place, completion(commands, {}, "arraygauge", "_ARRAYGAUGE_COMPLETE").source())


def lay_documents(stage: Path, version: str, others: list[Wheel], sbom: str, epoch: int) -> None:
    documents = stage / "usr/share/doc/arraygauge"
    date = format_datetime(datetime.fromtimestamp(epoch, UTC))
    entry = (
        f"arraygauge ({version}) unstable; urgency=medium\n\n  * changelog.gz says what is new.\n\n"
        f" -- The arraygauge authors <authors@arraygauge.invalid>  {date}\n"
    )
    put(documents / "changelog.Debian.gz", zipped(entry))
    put(documents / "changelog.gz", zipped((ROOT / "CHANGELOG.md").read_text(encoding="utf-8")))
    put(documents / "copyright", copyright_text(others))
    put(documents / "README.Debian", (HERE / "README.Debian").read_bytes())
    put(documents / "README.md.gz", zipped((ROOT / "README.md").read_text(encoding="utf-8")))
    put(documents / "sbom.cdx.json.gz", zipped(sbom))


def lay_control(stage: Path, version: str, architecture: str, python: str) -> None:
    files = sorted(path for path in stage.rglob("*") if path.is_file() and not path.is_symlink())
    kibibytes = sum(-(-path.stat().st_size // 1024) for path in files)
    conffile = stage / CONFFILE
    major, minor = map(int, python.split("."))
    control = (HERE / "control").read_text(encoding="utf-8")
    for name, value in {
        "version": version,
        "architecture": architecture,
        "installed_kibibytes": str(kibibytes),
        "python": python,
        "next_python": f"{major}.{minor + 1}",
    }.items():
        control = control.replace(f"@{name}@", value)
    sums = [
        f"{hashlib.md5(path.read_bytes(), usedforsecurity=False).hexdigest()}  "
        f"{path.relative_to(stage)}\n"
        for path in files
        if path != conffile  # whose sum dpkg keeps by itself
    ]
    put(stage / "DEBIAN/control", control)
    put(stage / "DEBIAN/conffiles", f"/{CONFFILE}\n")
    put(stage / "DEBIAN/md5sums", "".join(sums))
    for script in ("postinst", "prerm", "postrm"):
        put(stage / "DEBIAN" / script, (HERE / script).read_bytes())


def settle(stage: Path, epoch: int) -> None:
    """Modes and dates that owe nothing to who builds it, and when."""
    programs = [stage / "usr/bin/arraygauge"]
    programs += [stage / "DEBIAN" / script for script in ("postinst", "prerm", "postrm")]
    for path in [stage, *stage.rglob("*")]:
        if not path.is_symlink():
            path.chmod(0o755 if path.is_dir() or path in programs else 0o644)
        os.utime(path, (epoch, epoch), follow_symlinks=False)


def main() -> None:
    what = sys.argv[1:]
    if what not in (["wheel"], ["deb"]):
        raise SystemExit("say 'wheel' or 'deb'")
    if what == ["deb"] and not (shutil.which("dpkg-deb") and Path(INTERPRETER).exists()):
        raise SystemExit("a Debian package is built on Debian, with its python3 installed")
    DIST.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="making-", dir=DIST) as folder:
        work, made = Path(folder), Path(folder, "made")
        made.mkdir()
        epoch = last_change()
        wanted = build_deb(work, made, epoch) if what == ["deb"] else built(ROOT, made, epoch)
        size = wanted.stat().st_size
        hand_over(made)
    print(f"dist/{wanted.name}: {size} bytes")


def hand_over(made: Path) -> None:
    """Each file whole or not at all, as others may read or build here as well; older ones go."""
    for new in made.iterdir():
        new.replace(DIST / new.name)
        for old in DIST.glob(f"arraygauge[-_]*{new.suffix}"):
            if old.name != new.name:
                old.unlink(missing_ok=True)


if __name__ == "__main__":
    main()
