"""A test message goes once through every way of telling, and each says what came of it."""

from __future__ import annotations

from arraygauge.config.tell import JournalSection, NotifySection, WebhookSection
from arraygauge.judge.findings import Severity
from arraygauge.service.channels import try_ways, ways_of
from arraygauge.tell.incident_json import message_document
from arraygauge.tell.incident_words import IncidentWords
from unit.service.loopback_hook import failing, hooked

WORDS = IncidentWords(
    headline="A test", seen="", reason="A reason.", meaning="Nothing.", steps=(), cautions=()
)


def test_one_that_fails_is_named_and_the_others_are_tried_all_the_same() -> None:
    message = message_document("invented", 0.0, Severity.INFORMATION, WORDS)
    with hooked(failing) as bad, hooked() as good:
        ways = ways_of(
            JournalSection(enabled=False),
            [WebhookSection(url=bad.url, name="bad"), WebhookSection(url=good.url, name="good")],
            [NotifySection(name="mail", urls_file="/nonexistent/urls")],
        )
        first, second, third = try_ways(ways, message)
    assert (first.channel, second.channel, third.channel) == ("bad", "good", "mail")
    assert "status 503" in (first.error or "")
    assert second.error is None
    assert third.error is not None
    assert good.received == [message]
    assert good.received[0]["test"] is True
