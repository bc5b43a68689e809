"""Each kernel error becomes the right outcome, in words that name device, path and remedy.

Which errors mean what: Linux block/blk-core.c, ``blk_errors``, and open(2), from memory.
"""

from __future__ import annotations

import errno

import pytest

from arraygauge.probe.reasons import explain, outcome_of
from arraygauge.probe.reply import Reply, Step
from arraygauge.probe.values import Outcome
from unit.probe.probe_requests import request

RAW = request("/dev/sdz", number=(8, 400))
FILE = request("/srv/own.random")


def reply(
    step: Step,
    number: int = 0,
    *,
    found: str = "",
    gone: bool = False,
    budget_spent: bool = False,
    bytes_read: int = 0,
) -> Reply:
    return Reply(
        step=step,
        number=number,
        offset=1048576,
        found=found,
        gone=gone,
        budget_spent=budget_spent,
        seconds=1.0,
        bytes_read=bytes_read,
        temperature=None,
        places=(),
        latency=None,
    )


@pytest.mark.parametrize("number", [errno.EACCES, errno.EPERM, errno.EINVAL, errno.EBUSY])
def test_a_device_that_may_not_be_opened_is_refused(number: int) -> None:
    assert outcome_of(reply(Step.OPEN, number)) is Outcome.REFUSED


@pytest.mark.parametrize("number", [errno.ENXIO, errno.ENODEV, errno.ENOENT])
@pytest.mark.parametrize("step", [Step.OPEN, Step.READ])
def test_a_device_that_is_gone_has_vanished(step: Step, number: int) -> None:
    assert outcome_of(reply(step, number)) is Outcome.VANISHED


def test_an_error_after_which_the_node_is_gone_means_it_was_unplugged() -> None:
    assert outcome_of(reply(Step.READ, errno.EIO, gone=True)) is Outcome.VANISHED


@pytest.mark.parametrize(
    "number",
    [
        errno.EIO,
        errno.ENODATA,
        errno.EREMOTEIO,
        errno.EILSEQ,
        errno.ETIMEDOUT,
        errno.ENOLINK,
        errno.EBADE,
    ],
)
@pytest.mark.parametrize("step", [Step.OPEN, Step.READ])
def test_what_the_drive_could_not_read_is_a_read_error(step: Step, number: int) -> None:
    assert outcome_of(reply(step, number)) is Outcome.READ_ERROR


def test_a_drive_too_hot_to_be_read_is_said_to_be_so() -> None:
    hot = reply(Step.HOT, found="71")
    assert outcome_of(hot) is Outcome.TOO_HOT
    assert explain(RAW, hot) == "sdz: 71 °C is too hot to be read; look to its cooling"


def test_misaligned_reads_are_refused_at_once_but_an_error_later_on() -> None:
    assert outcome_of(reply(Step.READ, errno.EINVAL)) is Outcome.REFUSED
    assert outcome_of(reply(Step.READ, errno.EINVAL, bytes_read=512)) is Outcome.READ_ERROR


def test_a_whole_burst_is_completed_or_ended_by_its_budget() -> None:
    assert outcome_of(reply(Step.DONE)) is Outcome.COMPLETED
    assert outcome_of(reply(Step.DONE, budget_spent=True)) is Outcome.BUDGET_SPENT
    assert explain(RAW, reply(Step.DONE)) is None


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (reply(Step.OPEN, errno.EACCES), "run as root, or add the user to group disk"),
        (reply(Step.OPEN, errno.EPERM), "measure it through a file"),
        (reply(Step.OPEN, errno.EINVAL), "no direct reads"),
        (reply(Step.OPEN, errno.ENOMEDIUM), "insert one"),
        (reply(Step.OPEN, errno.ENOENT), "cable and power"),
        (reply(Step.OPEN, errno.EMFILE), "Too many open files"),
        (reply(Step.CHECK, found="a block device 8:1, not 8:2"), "list the devices again"),
        (reply(Step.READ, errno.EIO, gone=True), "gone"),
        (reply(Step.READ, errno.EIO), "1 MiB at byte 1048576"),
        (reply(Step.READ, errno.ENODATA), "the medium could not be read there (ENODATA)"),
        (reply(Step.READ, errno.EINVAL), "multiple of its logical block"),
        (reply(Step.READ), "shrank"),
    ],
)
def test_the_sentence_names_device_path_and_remedy(said: Reply, words: str) -> None:
    sentence = explain(RAW, said)
    assert sentence is not None
    assert sentence.startswith("sdz: ")
    assert "/dev/sdz" in sentence
    assert words in sentence


@pytest.mark.parametrize("number", [errno.EACCES, errno.ENOENT, errno.EINVAL, errno.ELOOP])
def test_a_file_is_not_spoken_of_as_a_drive(number: int) -> None:
    sentence = explain(FILE, reply(Step.OPEN, number))
    assert sentence is not None
    assert "/srv/own.random" in sentence
    assert "cable" not in sentence
    assert "group disk" not in sentence


@pytest.mark.parametrize("number", sorted(errno.errorcode))
@pytest.mark.parametrize("step", [Step.OPEN, Step.READ])
def test_every_error_number_has_a_sentence(step: Step, number: int) -> None:
    sentence = explain(RAW, reply(step, number))
    assert sentence is not None
    assert errno.errorcode[number] in sentence
