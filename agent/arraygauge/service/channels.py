"""The ways of telling that the configuration names, and a test of each."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator

from arraygauge.config.tell import JournalSection, NotifySection, PostSection, WebhookSection
from arraygauge.history import Channel
from arraygauge.tell.journal import Journal
from arraygauge.tell.notify import Notify
from arraygauge.tell.sender import Message, Sender, SendingError
from arraygauge.tell.webhook import Webhook
from arraygauge.values import frozen


@frozen
class Way:
    """A channel, as records know it, and who sends to it."""

    channel: Channel
    sender: Sender


def ways_of(
    journal: JournalSection,
    webhooks: Iterable[WebhookSection],
    notifies: Iterable[NotifySection],
) -> Iterator[Way]:
    """The journal first: it takes no time."""
    if journal.enabled:
        sender: Sender = Journal()
        yield Way(
            channel=Channel(name=sender.name, least_severity=journal.least_severity), sender=sender
        )
    for webhook in webhooks:
        sender = post_to(webhook, webhook.channel)
        yield Way(
            channel=Channel(name=sender.name, least_severity=webhook.least_severity), sender=sender
        )
    for notify in notifies:
        sender = Notify(
            name=notify.name,
            urls_file=notify.urls_file,
            urls_credential=notify.urls_credential,
        )
        yield Way(
            channel=Channel(name=sender.name, least_severity=notify.least_severity), sender=sender
        )


def post_to(section: PostSection, name: str) -> Webhook:
    """Whoever posts to the section's address."""
    return Webhook(
        name=name,
        url=section.url,
        timeout_seconds=section.timeout_seconds,
        secret_file=section.secret_file,
        secret_credential=section.secret_credential,
        secret_header=section.secret_header,
        secret_prefix=section.secret_prefix,
        authority_file=section.authority_file,
    )


@frozen
class Trial:
    """What came of one test message; ``error`` is None where it arrived."""

    channel: str
    seconds: float
    error: str | None


def try_ways(ways: Iterable[Way], message: Message) -> Iterator[Trial]:
    """Send one message through each, once, one after the other."""
    for way in ways:
        began = time.monotonic()
        error = None
        try:
            way.sender.send(message)
        except SendingError as failed:
            error = failed.why
        yield Trial(channel=way.channel.name, seconds=time.monotonic() - began, error=error)
