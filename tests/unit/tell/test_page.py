"""The page: what a card says, what is left out, and that nothing given gets in as markup."""

from __future__ import annotations

import re
from base64 import b64encode
from dataclasses import replace
from hashlib import sha256
from html.parser import HTMLParser

import pytest

from arraygauge.history.trend import SizedRate
from arraygauge.inventory.values import Host, Level, Link, LinkKind, LinkRate
from arraygauge.judge import Grounds
from arraygauge.tell.page.array_page import array_page
from arraygauge.tell.page.gauge import gauge
from arraygauge.tell.page.inputs import (
    MOST_DRIVES,
    MOST_INCIDENTS,
    MOST_MEMBERS,
    Known,
    Spans,
)
from arraygauge.tell.page.overview import card_of, overview
from arraygauge.tell.page.render import page_html, style_source
from arraygauge.tell.page.topology import topology_of
from arraygauge.tell.page.values import Fact, Tone
from arraygauge.theory import Board
from arraygauge.theory.paths import Uplink
from invented import FAILED, array, drive, host, member
from unit.tell.page_scene import (
    GOOD,
    HOSTILE,
    hostile_known,
    known_of,
    past,
    raid5,
    span,
)


def test_an_array_as_it_should_be_says_so_with_its_bottleneck() -> None:
    page = overview(known_of(host([raid5("sda", "sdb", "sdc")]), GOOD))
    [card] = page.cards
    assert (card.standing.tone, card.standing.words) == (Tone.FINE, "As expected")
    assert page.summary.words == "The array does what it should."
    facts = {fact.term: fact.words for fact in card.facts}
    assert facts["Expected"] == "300 MB/s"
    assert facts["Bottleneck"].startswith("member sd")
    assert facts["Redundancy"].startswith("whole: 3 of 3 members serve")


def test_a_slow_member_is_marked_in_words_and_comes_first() -> None:
    rates = {**GOOD, "sdb": 50e6, "md0": 100e6}
    page = overview(known_of(host([raid5("sda", "sdb", "sdc")]), rates))
    [card] = page.cards
    assert (card.standing.tone, card.standing.words) == (Tone.WARNING, "Slower than it should be")
    assert "sdb reads 50.0 MB/s where 100 MB/s is expected of it" in card.sentence
    assert Fact(term="Bottleneck", words="member sdb, measured 50.0 MB/s") in card.facts
    assert [row.name for row in card.members.rows if row.odd] == ["sdb"]
    assert "sdb" in card.members.picture
    assert page.summary.words == "md0 needs you when there is time."


def test_the_latest_look_counts_for_health_and_the_latest_pass_for_pace() -> None:
    whole = host([raid5("sda", "sdb", "sdc")])
    degraded = array(
        Level.RAID5,
        [member("sda", 0), member("sdb", 1), member("sdc", **FAILED)],
        raid_disks=3,
        degraded=1,
    )
    known = replace(known_of(whole, GOOD), host=host([degraded], whole.devices[:3]))
    card = card_of(known, known.arrays[0])
    assert (card.standing.tone, card.standing.words) == (Tone.CRITICAL, "No redundancy left")
    assert overview(known).summary.words == "md0 needs you now."
    assert {fact.term: fact.words for fact in card.facts}["Measured"].startswith("300 MB/s")


def test_before_the_first_look_and_the_first_pass_the_page_says_so() -> None:
    nothing = overview(Known(machine="edit1"))
    assert nothing.summary.words == "Nothing is known yet: the first look is made."
    seen = overview(Known(machine="edit1", host=host([raid5("sda", "sdb", "sdc")])))
    assert seen.cards[0].standing.words == "Not measured"
    assert seen.cards[0].sentence == "Not measured yet."
    assert b"Not measured yet" in page_html(seen)


def test_an_incident_stands_on_its_arrays_card_and_one_that_is_over_asks_for_nothing() -> None:
    machine = host([raid5("sda", "sdb", "sdc")])
    spans = Spans(found=[span(), span(2, closed_at_seconds=2000.0, headline="Over: x")], total=2)
    page = overview(known_of(machine, GOOD, incidents=spans))
    assert page.cards[0].incident is not None
    assert page.cards[0].incident.headline == "sda slows md0 down"
    first, second = page.incidents.items
    assert (first.standing.words, first.reason, first.steps) == (
        "major",
        "It reads half.",
        ("Look.",),
    )
    assert (second.standing.words, second.standing.tone, second.headline) == (
        "over, was major",
        Tone.FINE,
        "x",
    )


def test_an_incident_told_by_another_version_is_shown_by_its_headline() -> None:
    for document in ("", "[]", '{"words": 3}', '{"words": {"steps": "no list"}}'):
        spans = Spans(found=[span(document=document)], total=1)
        [item] = overview(Known(machine="edit1", incidents=spans)).incidents.items
        assert (item.headline, item.reason, item.steps) == ("sda slows md0 down", "", ())


def test_the_gauge_says_what_it_shows() -> None:
    assert "md0: measured 50.0 MB/s, expected 100 MB/s" in gauge("md0", 50e6, (100e6, 100e6))
    assert "expected 20.0 MB/s to 40.0 MB/s" in gauge("md0", 30e6, (20e6, 40e6))
    assert "not measured, expected" in gauge("md0", None, (20e6, 40e6))
    assert gauge("md0", None, None) == ""


@pytest.mark.parametrize("rate", [1.0, 999e6, 1e6, 123e9])
def test_a_rate_of_any_size_is_on_the_gauge(rate: float) -> None:
    """Its stem stands on the ruler, short of its right end."""
    found = re.search(r'gauge-stem" d="M([0-9.]+) ', gauge("md0", rate, None))
    assert found is not None
    assert 200 < float(found[1]) < 628


def tree() -> tuple[Host, Grounds]:
    """Two drives behind one PCIe link, one behind another, both behind a declared uplink."""
    rate = LinkRate(bits_per_second_per_lane=8_000_000_000, lanes=1)
    links = [
        Link(
            link_id=name,
            kind=LinkKind.PCIE,
            name=name,
            negotiated=rate,
            maximum=rate,
            parent_id=None,
        )
        for name in ("left", "right")
    ]
    drives = [
        drive(name, link_ids=(link,))
        for name, link in (("sda", "left"), ("sdb", "left"), ("sdc", "right"))
    ]
    uplink = Uplink(
        name="chipset", devices=("sd*",), read_bytes_per_second=200e6, write_bytes_per_second=200e6
    )
    return host([raid5("sda", "sdb", "sdc")], drives, links), Grounds(
        board=Board(uplinks=(uplink,))
    )


def test_the_way_to_the_processor_shows_the_wall() -> None:
    machine, grounds = tree()
    known = known_of(machine, {**GOOD, "md0": 190e6}, grounds=grounds)
    picture, left_out = topology_of(known, machine.arrays[0])
    parents = {node.name: node.parent_key for node in picture.nodes}
    keys = {node.name: node.key for node in picture.nodes}
    assert parents["processor"] is None
    assert parents["chipset"] == keys["processor"]
    assert parents["left"] == parents["right"] == keys["chipset"]
    assert parents["sda"] == parents["sdb"] == keys["left"]
    assert parents["sdc"] == keys["right"]
    walls = {node.name: node.used_share for node in picture.nodes if node.wall}
    assert walls == {"chipset": pytest.approx(0.95)}
    assert left_out == 0


def test_an_arrays_page_has_its_past_and_its_curve() -> None:
    known = known_of(host([raid5("sda", "sdb", "sdc")]), GOOD)
    sized = SizedRate(transfer_bytes=2**20, queue_depth=8, at_seconds=0.0, bytes_per_second=200e6)
    page = array_page(known, known.arrays[0], past(curve=(sized,)))
    plates = {plate.key: plate for plate in page.plates}
    assert plates["past"].reading.startswith("3 measurements in the last week.")
    assert plates["past"].table.rows[0][1:] == ("195 MB/s", "190 MB/s", "200 MB/s", "200 MB/s")
    curve = {row[0]: row[1:] for row in plates["curve"].table.rows}
    assert curve["1 MiB"][0] == "200 MB/s"
    assert curve["16 KiB"] == ("not measured", "300 MB/s")
    assert [each.word for each in page.periods if each.current] == ["week"]


def test_what_was_never_measured_is_not_drawn() -> None:
    known = Known(machine="edit1", host=host([raid5("sda", "sdb", "sdc")]))
    page = array_page(known, known.arrays[0], past(stretches=(), coarse=()))
    plates = {plate.key: plate for plate in page.plates}
    assert plates["past"].picture is None
    assert plates["curve"].picture is None
    html = page_html(page).decode()
    assert "Not measured in the last week." in html
    assert "too little is known of the members to predict it" in html


class Markup(HTMLParser):
    """Every tag and attribute of a page."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.ids: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(tag, name) for name, _ in attrs]
        self.ids += [value or "" for name, value in attrs if name == "id"]


def test_a_hostile_inventory_gets_no_markup_in_and_is_cut_to_size() -> None:
    """200 members, 10,000 incidents, and names, models, serials and words full of markup."""
    known = hostile_known(200, 10_000)
    held = known.arrays[0]
    first = overview(known)
    second = array_page(known, held, past(incidents=known.incidents))
    tame = Markup(page_html(overview(known_of(host([raid5("sda", "sdb", "sdc")]), GOOD))).decode())
    for html in (page_html(first).decode(), page_html(second).decode()):
        found = Markup(html)
        assert found.tags.count("script") == 1, "its own"
        assert not {"img", "b"} & set(found.tags)
        assert not [name for _, name in found.attributes if name.startswith("on")]
        assert not [name for _, name in found.attributes if name == "style"]
        assert len(html.encode()) <= 300_000
        assert f"{10_000 - MOST_INCIDENTS} more incidents are not shown." in html
        assert f"{200 - MOST_MEMBERS} more members not shown." in html
        assert f"{200 - MOST_DRIVES} more drives not shown." in html
    assert tame.tags.count("script") == 1
    assert f"sd7{HOSTILE}" == first.cards[0].members.rows[0].name, "the odd one is not left out"


def test_no_page_has_a_script_in_it_nor_any_style_but_the_one_allowed_and_ids_are_unique() -> None:
    """The content security policy forbids them: https://www.w3.org/TR/CSP3/."""
    known = known_of(host([raid5("sda", "sdb", "sdc")]), GOOD)
    for page in (overview(known), array_page(known, known.arrays[0], past())):
        document = page_html(page).decode()
        inside = document.partition("<style>")[2].partition("</style>")[0]
        digest = b64encode(sha256(inside.encode()).digest()).decode()
        assert style_source() == f"'sha256-{digest}'"
        found = Markup(document)
        assert found.tags.count("style") == 1
        assert ("script", "src") in found.attributes
        assert "style" not in {name for _, name in found.attributes}
        assert len(found.ids) == len(set(found.ids))
