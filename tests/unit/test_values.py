"""Frozen values: what a dataclass that is frozen, slotted and made by keywords would do.

Held side by side with the standard library's own, declared in the same way.
"""

from __future__ import annotations

import copy
import pickle
from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, replace
from math import nan
from typing import Any

import pytest

from arraygauge.values import frozen


@frozen
class Drive:
    name: str
    bytes: int = 512
    links: tuple[int, ...] = ()
    notes: list[str] = field(default_factory=list)

    @property
    def kib(self) -> float:
        return self.bytes / 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class LibraryDrive:
    name: str
    bytes: int = 512
    links: tuple[int, ...] = ()
    notes: list[str] = field(default_factory=list)


@frozen
class Ranked(Drive):
    rank: int


@frozen
class Alone:
    member: Drive


@frozen
class Nothing:
    pass


@frozen
class Checked:
    least: int
    most: int

    def __post_init__(self) -> None:
        if self.least > self.most:
            raise ValueError("least is above most")

    def __repr__(self) -> str:
        return f"{self.least} to {self.most}"


ALDER: dict[str, Any] = {"name": "alder", "links": (1, 2), "notes": ["slow"]}


def test_it_is_shown_and_taken_apart_as_the_librarys_own() -> None:
    ours, theirs = Drive(**ALDER), LibraryDrive(**ALDER)
    assert repr(ours) == repr(theirs).removeprefix("Library")
    assert asdict(ours) == asdict(theirs)
    assert [each.name for each in fields(ours)] == [each.name for each in fields(theirs)]
    assert not hasattr(ours, "__dict__")
    assert ours.kib == 0.5


@pytest.mark.parametrize("given", [{}, {"name": "alder", "size": 1}, {"bytes": 1}])
def test_missing_and_unknown_fields_are_refused_in_the_same_words(given: dict[str, Any]) -> None:
    with pytest.raises(TypeError) as ours:
        Drive(**given)
    with pytest.raises(TypeError) as theirs:
        LibraryDrive(**given)
    assert str(ours.value) == str(theirs.value).replace("LibraryDrive", "Drive")


def test_fields_are_given_by_keyword_only() -> None:
    with pytest.raises(TypeError, match=r"takes 1 positional argument but 2 were given"):
        Drive("alder")  # type: ignore[call-arg]


def test_they_are_equal_and_hashed_by_their_fields_and_their_class() -> None:
    assert Alone(member=Drive(**ALDER)) == Alone(member=Drive(**ALDER))
    assert Drive(**ALDER) != Drive(**{**ALDER, "bytes": 4096})
    others: list[object] = [LibraryDrive(**ALDER), Ranked(**ALDER, rank=1), "alder"]
    assert Drive(**ALDER) not in others
    same = {Checked(least=1, most=2), Checked(least=1, most=2), Checked(least=1, most=3)}
    assert len(same) == 2
    assert hash(Nothing()) == hash(Nothing())
    assert Nothing() == Nothing()


def test_a_field_that_is_no_number_is_equal_to_itself_as_in_a_tuple() -> None:
    unknown: dict[str, Any] = {"name": "alder", "bytes": nan}
    assert LibraryDrive(**unknown) == LibraryDrive(**unknown)
    assert Drive(**unknown) == Drive(**unknown)


def test_nothing_of_it_can_be_changed() -> None:
    drive = Drive(**ALDER)
    with pytest.raises(FrozenInstanceError, match="cannot assign to field 'bytes'"):
        drive.bytes = 1  # type: ignore[misc]
    with pytest.raises(FrozenInstanceError, match="cannot delete field 'bytes'"):
        del drive.bytes
    with pytest.raises(FrozenInstanceError):
        drive.size = 1  # type: ignore[attr-defined]
    assert drive == Drive(**ALDER)


def test_each_has_its_own_of_what_is_made_anew() -> None:
    assert Drive(name="alder").notes is not Drive(name="alder").notes


def test_one_is_made_of_another() -> None:
    assert replace(Drive(**ALDER), bytes=4096) == Drive(**ALDER, bytes=4096)
    with pytest.raises(TypeError):
        replace(Drive(**ALDER), size=1)  # type: ignore[call-arg]


def test_a_class_may_add_fields_to_another_and_be_made_first() -> None:
    ranked = Ranked(name="birch", rank=3)
    assert (ranked.name, ranked.bytes, ranked.rank) == ("birch", 512, 3)
    assert repr(ranked) == "Ranked(name='birch', bytes=512, links=(), notes=[], rank=3)"


def test_what_a_class_says_itself_is_kept() -> None:
    assert repr(Checked(least=1, most=2)) == "1 to 2"
    with pytest.raises(ValueError, match="least is above most"):
        Checked(least=2, most=1)
    with pytest.raises(ValueError, match="least is above most"):
        replace(Checked(least=1, most=2), least=3)


@pytest.mark.parametrize("held", [Drive(**ALDER), Ranked(**ALDER, rank=1), Nothing()])
def test_it_goes_to_another_process_and_back(held: object) -> None:
    assert pickle.loads(pickle.dumps(held)) == held
    assert copy.deepcopy(held) == held
