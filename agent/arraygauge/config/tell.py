"""The configuration's ways of telling: [journal], [[webhook]], [[notify]] and [telling]."""

from __future__ import annotations

import ipaddress
from typing import Annotated, Self
from urllib.parse import urlsplit

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    model_validator,
)

from arraygauge.judge.findings import Severity
from arraygauge.tell.incident_words import SEVERITY_WORDS


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


_BY_WORD = {word: severity for severity, word in SEVERITY_WORDS.items()}


def _severity(value: object) -> object:
    if isinstance(value, Severity):
        return value
    if not isinstance(value, str) or value not in _BY_WORD:
        raise ValueError(f"write one of {', '.join(_BY_WORD)}")
    return _BY_WORD[value]


SeverityWord = Annotated[
    Severity, BeforeValidator(_severity), PlainSerializer(lambda value: SEVERITY_WORDS[value])
]
"""'information', 'minor', 'major' or 'critical'."""


def _absolute(path: str) -> str:
    if not path.startswith("/"):
        raise ValueError("write an absolute path, beginning with '/'")
    return path


def _credential(name: str) -> str:
    if "/" in name or name in (".", ".."):
        raise ValueError("write the credential's name, which has no '/'")
    return name


FilePath = Annotated[str, AfterValidator(_absolute)]
CredentialName = Annotated[str, Field(min_length=1), AfterValidator(_credential)]
ChannelName = Annotated[str, Field(min_length=1, max_length=64)]


class JournalSection(_Section):
    """The system's journal, or standard error where there is none."""

    enabled: bool = True
    least_severity: SeverityWord = Severity.INFORMATION


class PostSection(_Section):
    """An address that gets JSON by POST.

    A secret goes into `secret_header`, after `secret_prefix`; it is read from `secret_file`, or
    is the credential `secret_credential` of the systemd unit.
    """

    url: Annotated[str, Field(min_length=1)]
    timeout_seconds: Annotated[float, Field(ge=0.5, le=60)] = 5.0
    secret_file: FilePath | None = None
    secret_credential: CredentialName | None = None
    secret_header: Annotated[str, Field(pattern=r"^[A-Za-z0-9-]+$")] = "Authorization"  # noqa: S105 -- a header's name, no secret
    secret_prefix: Annotated[str, Field(pattern=r"^[ -~]*$")] = "Bearer "  # noqa: S105
    authority_file: FilePath | None = None

    @model_validator(mode="after")
    def _can_be_posted_to(self) -> Self:
        parts = urlsplit(self.url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise ValueError("url must begin with http:// or https:// and a host")
        if parts.username is not None or parts.password is not None:
            raise ValueError("url must hold no password: use secret_file or secret_credential")
        if self.secret_file is not None and self.secret_credential is not None:
            raise ValueError("give secret_file or secret_credential, not both")
        has_secret = self.secret_file is not None or self.secret_credential is not None
        if has_secret and parts.scheme == "http" and not _is_here(parts.hostname):
            raise ValueError("a secret is sent over http:// to this machine only: use https://")
        return self


class WebhookSection(PostSection):
    """An address that gets each message. `name` must stay the same: messages still to be sent
    are kept under it; without one it is the address."""

    name: ChannelName | None = None
    least_severity: SeverityWord = Severity.MINOR

    @property
    def channel(self) -> str:
        return self.name or f"webhook {self.url}"


class NotifySection(_Section):
    """E-mail, chat and the like, by the extra 'notify'. The addresses, one a line, are in
    `urls_file` or in the credential `urls_credential`: they have passwords in them."""

    name: ChannelName
    least_severity: SeverityWord = Severity.MAJOR
    urls_file: FilePath | None = None
    urls_credential: CredentialName | None = None

    @model_validator(mode="after")
    def _has_addresses(self) -> Self:
        if (self.urls_file is None) == (self.urls_credential is None):
            raise ValueError("give either urls_file or urls_credential")
        return self


class TellingSection(_Section):
    """How long a message is tried before it is given up."""

    give_up_after_seconds: Annotated[float, Field(ge=60, le=30 * 86400)] = 3 * 86400.0


def refuse_same_names(
    webhooks: tuple[WebhookSection, ...], notifies: tuple[NotifySection, ...]
) -> None:
    """Raises ValueError where two channels have the same name."""
    names = ["journal", *(each.channel for each in webhooks), *(each.name for each in notifies)]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise ValueError(f"two ways of telling are named '{twice[0]}': give them other names")


def _is_here(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False
