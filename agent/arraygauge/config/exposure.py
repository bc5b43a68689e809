"""The configuration's [exposure]: who may scrape from another machine, and over what."""

from __future__ import annotations

import ipaddress
from typing import Annotated, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from arraygauge.config.tell import CredentialName, FilePath


class ExposureSection(BaseModel):
    """TLS by a certificate and its key, and a name with a password that scrapers must give.

    Key and password are secrets: each is a file, or a credential of the systemd unit.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)

    certificate_file: FilePath
    key_file: FilePath | None = None
    key_credential: CredentialName | None = None
    username: Annotated[str, Field(pattern=r"^[^:\x00-\x1f\x7f]+$")]
    password_file: FilePath | None = None
    password_credential: CredentialName | None = None

    @model_validator(mode="after")
    def _has_both_secrets(self) -> Self:
        if (self.key_file is None) == (self.key_credential is None):
            raise ValueError("give either key_file or key_credential")
        if (self.password_file is None) == (self.password_credential is None):
            raise ValueError("give either password_file or password_credential")
        return self


def refuse_open_address(listen_address: str, exposure: ExposureSection | None) -> None:
    """Raises ValueError for an address that other machines reach, with nothing to keep them
    out: serial numbers and a machine's troubles are nobody's but its owner's."""
    if exposure is not None or listen_address == "localhost":
        return
    try:
        here = ipaddress.ip_address(listen_address).is_loopback
    except ValueError:
        here = False
    if not here:
        raise ValueError(
            f"run.listen_address {listen_address} is reached by other machines: add [exposure], "
            "or listen on 127.0.0.1"
        )
