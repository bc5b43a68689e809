"""Reading the machine for a command: answers, hangs, failures, and no process is left."""

from __future__ import annotations

import time
from contextlib import closing
from pathlib import Path

import pytest

from arraygauge.inventory.values import Host
from arraygauge.service.host_reader import HostReader, HostUnreadableError, host_reader
from arraygauge.service.inventory_process import InventoryProcess, LeftBehind
from unit.service.invented_process import ANSWERS, BABBLES, CRASHES, HANGS, command


def test_this_machine_is_read_as_often_as_asked() -> None:
    with host_reader() as hosts:
        first, second = hosts.read(), hosts.read()
    assert isinstance(first, Host)
    assert second.taken_at_seconds > first.taken_at_seconds


def test_no_module_is_taken_from_the_directory_it_is_started_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Which may be one where anybody can write, and the agent root's."""
    for name in ("json", "selectors", "pyudev"):
        (tmp_path / f"{name}.py").write_text(f"open({str(tmp_path / 'taken')!r}, 'w')")
    monkeypatch.chdir(tmp_path)
    with host_reader() as hosts:
        assert hosts.read().devices is not None
    assert not (tmp_path / "taken").exists()


def test_an_answer_in_pieces_is_put_together() -> None:
    slow = command("for byte in encode(HOST): put(bytes([byte])); time.sleep(0.001)")
    with closing(HostReader(slow)) as hosts:
        assert hosts.read().name == "invented"


def test_a_process_that_hangs_is_named_in_bounded_time_and_the_next_reading_is_new(
    tmp_path: Path,
) -> None:
    """The first process hangs, the next one answers."""
    mark = tmp_path / "mark"
    hangs_once = f"if not os.path.exists({str(mark)!r}): open({str(mark)!r}, 'w'); time.sleep(60)"
    with closing(HostReader(command(hangs_once, ANSWERS), deadline_seconds=1)) as hosts:
        began = time.monotonic()
        with pytest.raises(HostUnreadableError, match="hangs in the kernel") as caught:
            hosts.read()
        assert time.monotonic() - began < 2
        assert "look for a drive" in caught.value.remedy
        assert hosts.read().name == "invented"


def test_a_process_that_works_is_waited_for_longer_than_one_that_hangs() -> None:
    """As on a machine whose processor is slow or taken by others."""
    busy = "until = time.monotonic() + 1.0"
    works = "while time.monotonic() < until: pass"
    with closing(HostReader(command(busy, works, ANSWERS), deadline_seconds=0.5)) as hosts:
        assert hosts.read().name == "invented"


def test_a_process_that_works_and_never_answers_is_given_up() -> None:
    with closing(HostReader(command("while True: pass"), deadline_seconds=0.5)) as hosts:
        began = time.monotonic()
        with pytest.raises(HostUnreadableError, match="hangs in the kernel"):
            hosts.read()
        assert 1.4 < time.monotonic() - began < 3


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        (CRASHES, "a bug, invented for a test"),
        (BABBLES, "a frame begins with b'T'"),
        ("sys.exit(3)", "exit status 3"),
        ("os.close(1); time.sleep(60)", "it closed its output"),
    ],
)
def test_a_process_that_fails_is_reported_with_its_last_words(body: str, reason: str) -> None:
    with (
        closing(HostReader(command(body))) as hosts,
        pytest.raises(HostUnreadableError, match=reason),
    ):
        hosts.read()


def test_a_long_complaint_does_not_stop_it() -> None:
    """More than a pipe holds: pipe(7), 64 KiB. Only its end is kept."""
    wordy = "for _ in range(3): os.write(2, b'x' * 60000); tell(HOST); time.sleep(0.05)"
    with closing(HostReader(command(wordy))) as hosts:
        for _ in range(3):
            assert hosts.read().name == "invented"


class Unkillable(InventoryProcess):
    """As one that waits for a drive: SIGKILL does not end it."""

    def kill(self) -> bool:
        return False


def test_no_more_than_three_that_cannot_be_killed_are_sent_after_each_other() -> None:
    left = LeftBehind()
    processes = [Unkillable(command(HANGS)) for _ in range(3)]
    for process in processes:
        left.check()
        left.kill(process)
    with pytest.raises(HostUnreadableError, match=f"process {processes[0].pid}"):
        left.check()
    assert left.pids == tuple(process.pid for process in processes)
    for process in processes:
        InventoryProcess.kill(process)
    left.check()  # the kernel let go: another may be sent
    assert left.pids == ()
