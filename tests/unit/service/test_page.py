"""The page as it is served: for reading only, made once for each change, from what is known."""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from arraygauge.history import History, open_history
from arraygauge.inventory.values import Array, Host, Level, SyncAction
from arraygauge.judge import Grounds, Status, assess_array
from arraygauge.service.page import FRESH_SECONDS, POLICY, Page
from arraygauge.service.page_known import PageKnowledge
from arraygauge.tell.page.inputs import Known
from arraygauge.tell.page.render import static_prefix
from invented import array, host, measured, member
from unit.history.test_trend import add_incidents


@pytest.fixture
def history(tmp_path: Path) -> Iterator[History]:
    with open_history(tmp_path / "history.sqlite") as opened:
        yield opened


class Scene:
    def __init__(self, history: History) -> None:
        self.now = 0.0
        self.knowledge = PageKnowledge("edit1", history)
        self.page = Page(self.knowledge, lambda: self.now)

    def ask(self, path: str = "/", method: str = "GET", **more: str) -> tuple[str, Any, bytes]:
        said: list[Any] = []
        environment = {"REQUEST_METHOD": method, "PATH_INFO": path, **more}
        body = b"".join(self.page(environment, lambda *given: said.extend(given)))  # type: ignore[arg-type]
        return said[0], dict(said[1]), body


@pytest.fixture
def scene(history: History) -> Scene:
    made = Scene(history)
    made.knowledge.see_status(passed(), Grounds())
    return made


def machine(**changes: Any) -> Host:
    return host([mirror(**changes)])


def mirror(**changes: Any) -> Array:
    return array(Level.RAID1, [member("sda", 0), member("sdb", 1)], **changes)


def passed(rate: float = 100e6) -> Status:
    there = machine()
    [held] = there.arrays
    attempts = {name: measured(name, 100e6) for name in ("sda", "sdb")}
    verdict = assess_array(there, held, {**attempts, "md0": measured("md0", rate)}, Grounds())
    return Status(host=there, arrays=(verdict,), devices=(), seconds=1.0)


@pytest.mark.parametrize("path", ["/", "/array/md0", "/nothing", f"{static_prefix()}/page.js"])
def test_every_answer_forbids_what_a_page_of_ours_never_needs(scene: Scene, path: str) -> None:
    _, headers, _ = scene.ask(path)
    assert headers["Content-Security-Policy"] == POLICY
    assert "unsafe" not in POLICY
    assert POLICY.startswith("default-src 'none'")
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "no-referrer"


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "PATCH", "OPTIONS"])
def test_it_is_for_reading_only(scene: Scene, method: str) -> None:
    status, headers, body = scene.ask("/", method)
    assert (status, headers["Allow"], body) == ("405 Method Not Allowed", "GET, HEAD", b"")


def test_head_is_get_without_its_body(scene: Scene) -> None:
    status, headers, body = scene.ask("/", "HEAD")
    assert (status, body) == ("200 OK", b"")
    assert int(headers["Content-Length"]) == len(scene.ask("/")[2])


@pytest.mark.parametrize(
    "path", ["/array/md9", "/array/", "/array/md0/x", "/../etc/passwd", "/static/old/page.js"]
)
def test_what_is_not_there_is_said_to_be_not_there(scene: Scene, path: str) -> None:
    status, _, body = scene.ask(path)
    assert status == "404 Not Found"
    assert b"There is no such page" in body


def test_an_array_is_found_by_a_name_with_any_letters(history: History) -> None:
    """PEP 3333: a path comes as its bytes, one letter each."""
    scene = Scene(history)
    scene.knowledge.see_host(machine(name="md<ü"))
    status, _, body = scene.ask("/array/md<ü".encode().decode("latin-1"))
    assert status == "200 OK"
    assert "<h1>md&lt;ü</h1>".encode() in body


@pytest.mark.parametrize("query", ["period=year", "period=nonsense", "period=", "", "%ff=&&&=="])
def test_any_period_that_is_asked_for_gives_one_that_is_known(scene: Scene, query: str) -> None:
    status, _, body = scene.ask("/array/md0", QUERY_STRING=query)
    assert status == "200 OK"
    assert (b"Not measured in the last year" in body) == ("year" in query)


def test_it_is_sent_compressed_to_whoever_reads_that(scene: Scene) -> None:
    plain = scene.ask("/")[2]
    _, headers, body = scene.ask("/", HTTP_ACCEPT_ENCODING="br, gzip")
    assert headers["Content-Encoding"] == "gzip"
    assert gzip.decompress(body) == plain


def test_an_answer_is_kept_until_something_changes_or_it_is_old(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = []
    real = scene.knowledge.known

    def known() -> Known:
        made.append(1)
        return real()

    monkeypatch.setattr(scene.knowledge, "known", known)
    scene.ask("/")
    scene.ask("/")
    assert len(made) == 1
    scene.knowledge.see_status(passed(50e6), Grounds())
    assert b"Slower than it should be" in scene.ask("/")[2]
    assert len(made) == 2
    scene.now += FRESH_SECONDS
    scene.ask("/")
    assert len(made) == 3


def test_a_revision_is_another_once_a_page_would_show_something_else(
    scene: Scene, history: History
) -> None:
    knowledge = scene.knowledge
    before = knowledge.revision()
    knowledge.see_host(machine())
    assert knowledge.revision() == before, "the same machine, seen later"
    changes = {"sync_action": SyncAction.RESYNC, "sync_total_bytes": 10**6}
    knowledge.see_host(machine(**changes, sync_done_bytes=1))
    syncing = knowledge.revision()
    assert syncing != before
    knowledge.see_host(machine(**changes, sync_done_bytes=2))
    assert knowledge.revision() == syncing, "not a per cent further"
    knowledge.see_host(machine(**changes, sync_done_bytes=10**5))
    assert knowledge.revision() != syncing


def test_an_older_look_does_not_take_the_place_of_a_newer(history: History) -> None:
    knowledge = PageKnowledge("edit1", history)
    knowledge.see_host(replace(machine(name="md1"), taken_at_seconds=2.0))
    knowledge.see_host(replace(machine(name="md0"), taken_at_seconds=1.0))
    assert [each.name for each in knowledge.known().arrays] == ["md1"]


def test_ten_thousand_incidents_are_counted_and_a_few_shown(history: History) -> None:
    add_incidents(history, 10_000, closed=False)
    knowledge = PageKnowledge("edit1", history, clock=lambda: 1e11)
    knowledge.see_status(passed(), Grounds())
    body = Page(knowledge).answer("/", "week", zipped=False).body
    assert b"9980 more incidents are not shown." in body
    assert len(body) <= 300_000


def test_a_history_that_cannot_be_read_is_told_of_and_the_rest_is_shown(
    scene: Scene, tmp_path: Path
) -> None:
    (tmp_path / "history.sqlite").unlink()
    for path in ("/", "/array/md0"):
        status, _, body = scene.ask(path)
        assert status == "200 OK"
        assert b"history.sqlite" in body
        assert b"As expected" in body
