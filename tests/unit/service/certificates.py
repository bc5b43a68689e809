"""A certificate of this machine, its key and a password, made for one run of the tests."""

from __future__ import annotations

import subprocess
from pathlib import Path

from arraygauge.config.exposure import ExposureSection

PASSWORD = "invented, with ümlaut"
USERNAME = "prometheus"


def make_secrets(folder: Path) -> None:
    """cert.pem, key.pem and password, and another certificate and key."""
    (folder / "password").write_text(PASSWORD + "\n", encoding="utf-8")
    for name in ("", "other-"):
        command = (
            "openssl req -x509 -nodes -days 2 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1"
            f" -keyout {folder}/{name}key.pem -out {folder}/{name}cert.pem -subj /CN=invented"
            " -addext subjectAltName=IP:127.0.0.1"
        )
        subprocess.run(command.split(), check=True, capture_output=True)


def exposure(folder: Path, **changes: object) -> ExposureSection:
    """By those files, as far as not changed."""
    keys: dict[str, object] = {
        "certificate_file": f"{folder}/cert.pem",
        "key_file": f"{folder}/key.pem",
        "username": USERNAME,
        "password_file": f"{folder}/password",
    }
    return ExposureSection.model_validate({**keys, **changes})
