"""Secrets come from files or from systemd's credentials, never from the configuration itself."""

from __future__ import annotations

import os
from pathlib import Path

MOST_BYTES = 64 * 1024


class SecretError(Exception):
    """The secret cannot be read; the message says where it was looked for and why."""


def read_secret(file: str | None, credential: str | None) -> str:
    """The text of the file, or of the credential systemd gave this service under that name
    (systemd.exec(5), LoadCredential=), without white space around it. Raises SecretError."""
    if credential is not None:
        directory = os.environ.get("CREDENTIALS_DIRECTORY")
        if directory is None:
            raise SecretError(
                f"credential '{credential}': systemd gave this process no credentials; name it "
                "in the unit with LoadCredential="
            )
        path = Path(directory) / credential
    else:
        path = Path(file or "")
    try:
        with path.open("rb") as opened:
            content = opened.read(MOST_BYTES + 1)
        text = content.decode("utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise SecretError(f"{path}: {error}") from error
    if not text or len(content) > MOST_BYTES:
        raise SecretError(f"{path}: it is empty, or longer than a secret is")
    return text
