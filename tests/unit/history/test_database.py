"""The file: opened by anyone, owned by one, set aside where it cannot be used."""

from __future__ import annotations

import os
import sqlite3
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from arraygauge.errors import OperatorError
from arraygauge.history import (
    History,
    HistoryError,
    HistoryProblem,
    Ledger,
    history_without_file,
    open_history,
    own_history,
)
from arraygauge.history.migrate import (
    APPLICATION_ID,
    Migration,
    migrate,
    migrations,
    statements_of,
    version_of,
)
from arraygauge.probe.budget import DAY_SECONDS, Charge
from unit.history.conftest import InventedClock


def value(path: Path, pragma: str) -> object:
    connection = sqlite3.connect(path)
    try:
        return connection.execute(f"PRAGMA {pragma}").fetchone()[0]
    finally:
        connection.close()


def asides(path: Path) -> list[Path]:
    return sorted(
        each
        for each in path.parent.iterdir()
        if each.name.startswith(path.name + ".") and not each.name.endswith(".lock")
    )


def test_a_new_history_is_made_with_its_directory(path: Path) -> None:
    with open_history(path) as history:
        assert history.notes == ()
        with history.reading() as connection:
            assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
            assert connection.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
            assert connection.execute("PRAGMA foreign_keys").fetchone() == (1,)
    assert value(path, "application_id") == APPLICATION_ID
    assert value(path, "user_version") == len(migrations())
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_a_history_is_found_again(path: Path, clock: InventedClock) -> None:
    with open_history(path) as first:
        Ledger(first, clock).reserve([Charge(device_id="a", read_bytes=3)])
    with open_history(path) as second:
        assert second.notes == ()
        assert len(Ledger(second, clock).spent_since("a", DAY_SECONDS)) == 1


@pytest.mark.parametrize(
    "damage",
    [
        lambda _: b"not a database at all, and longer than a header is" * 40,
        lambda content: content[:100] + os.urandom(len(content) - 100),
        lambda content: content[: len(content) // 2 + 100],
    ],
    ids=["other words", "garbage after the header", "cut short"],
)
def test_a_damaged_file_is_set_aside_whole_and_a_new_one_begun(
    path: Path, clock: InventedClock, damage: object
) -> None:
    with open_history(path) as history:
        ledger = Ledger(history, clock)
        for number in range(200):
            ledger.reserve([Charge(device_id=f"device {number}", read_bytes=1)])
    broken: bytes = damage(path.read_bytes())  # type: ignore[operator]
    path.write_bytes(broken)
    with open_history(path) as fresh:
        [note] = fresh.notes
        [aside] = [each for each in asides(path) if not each.name.endswith(("-wal", "-shm"))]
        assert str(path) in note
        assert str(aside) in note
        assert ".damaged-" in aside.name
        assert aside.read_bytes() == broken
        assert Ledger(fresh, clock).spent_since("device 1", DAY_SECONDS) == ()
    with open_history(path) as again:
        assert again.notes == ()


def test_a_second_damage_in_the_same_second_overwrites_nothing(path: Path) -> None:
    for number in range(3):
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(b"damaged %d " % number * 100)
        open_history(path).close()
    kept = {each.read_bytes()[:9] for each in asides(path)}
    assert kept == {b"damaged 0", b"damaged 1", b"damaged 2"}


def test_a_newer_file_is_set_aside_untouched(path: Path) -> None:
    open_history(path).close()
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA user_version = 9999")
    connection.execute("CREATE TABLE of_the_future (word TEXT)")
    connection.execute("INSERT INTO of_the_future VALUES ('kept')")
    connection.commit()
    connection.close()
    with open_history(path) as fresh:
        [note] = fresh.notes
    assert "newer version" in note
    [aside] = asides(path)
    kept = sqlite3.connect(aside)
    assert kept.execute("SELECT word FROM of_the_future").fetchone() == ("kept",)
    kept.close()


def test_another_program_s_database_is_set_aside_untouched(path: Path) -> None:
    path.parent.mkdir()
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE accounts (word TEXT)")
    connection.commit()
    connection.close()
    content = path.read_bytes()
    with open_history(path) as fresh:
        assert "written by another program" in fresh.notes[0]
    [aside] = asides(path)
    assert aside.read_bytes() == content


def test_a_file_another_process_owns_is_never_set_aside(path: Path) -> None:
    with own_history(path):
        path.write_bytes(b"damaged " * 100)
        with pytest.raises(HistoryError, match="owned by another arraygauge") as caught:
            open_history(path)
        assert caught.value.kind is HistoryProblem.DAMAGED
        assert asides(path) == []


def test_its_owner_sets_it_aside(path: Path) -> None:
    with own_history(path) as owner:
        path.write_bytes(b"damaged " * 100)
        open_history(path, owner).close()
        assert len(asides(path)) == 1


def test_there_is_one_owner_and_the_next_after_it(path: Path) -> None:
    first = own_history(path)
    with pytest.raises(OperatorError, match=f"process {os.getpid()}") as caught:
        own_history(path)
    assert "end that one first" in caught.value.remedy
    first.close()
    own_history(path).close()


def test_ownership_ends_with_its_process(path: Path) -> None:
    script = (
        "import sys, time\nfrom pathlib import Path\n"
        "from arraygauge.history import own_history\n"
        "owner = own_history(Path(sys.argv[1]))\nprint('owned', flush=True)\ntime.sleep(60)\n"
    )
    child = subprocess.Popen([sys.executable, "-c", script, str(path)], stdout=subprocess.PIPE)
    assert child.stdout is not None
    with child.stdout:
        assert child.stdout.readline() == b"owned\n"
        with pytest.raises(OperatorError, match=f"process {child.pid}"):
            own_history(path)
        child.kill()
        child.wait()
    own_history(path).close()


def test_anyone_may_use_an_owned_history(path: Path, clock: InventedClock) -> None:
    with (
        own_history(path) as owner,
        open_history(path, owner) as daemon,
        open_history(path) as check,
    ):
        Ledger(check, clock).reserve([Charge(device_id="a", read_bytes=3)])
        assert len(Ledger(daemon, clock).spent_since("a", DAY_SECONDS)) == 1


def test_a_directory_in_its_place_is_named_with_a_remedy(path: Path) -> None:
    path.mkdir(parents=True)
    with pytest.raises(HistoryError, match=str(path)) as caught:
        open_history(path)
    assert caught.value.kind is HistoryProblem.DENIED
    assert caught.value.remedy


def test_a_file_in_the_way_of_its_directory_is_named(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("in the way")
    with pytest.raises(HistoryError, match="not a directory") as caught:
        open_history(tmp_path / "state" / "history.sqlite")
    assert caught.value.kind is HistoryProblem.DENIED


@pytest.mark.parametrize("attempt", range(40))
def test_many_may_open_a_new_history_at_once(path: Path, attempt: int) -> None:
    """Again and again: one of sixteen once took what another was just making for foreign."""
    problems: list[BaseException] = []

    def opening() -> None:
        try:
            open_history(path).close()
        except BaseException as error:
            problems.append(error)

    threads = [threading.Thread(target=opening) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert problems == []
    assert value(path, "integrity_check") == "ok"


def test_migrations_are_numbered_without_gaps() -> None:
    assert [each.number for each in migrations()] == list(range(1, len(migrations()) + 1))


def test_a_history_of_every_older_version_is_brought_up_to_date() -> None:
    for version in range(len(migrations()) + 1):
        connection = sqlite3.connect(":memory:", isolation_level=None)
        migrate(connection, migrations()[:version])
        migrate(connection, migrations())
        assert version_of(connection) == len(migrations())
        connection.close()


def test_a_migration_that_fails_leaves_the_version_before() -> None:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection, migrations())
    failing = Migration(
        number=len(migrations()) + 1,
        statements=("CREATE TABLE half (word TEXT)", "INSERT INTO nowhere VALUES (1)"),
    )
    with pytest.raises(sqlite3.OperationalError):
        migrate(connection, (*migrations(), failing))
    assert version_of(connection) == len(migrations())
    names = {row[0] for row in connection.execute("SELECT name FROM sqlite_schema")}
    assert "half" not in names
    connection.close()


def test_a_script_is_taken_apart_at_its_semicolons() -> None:
    script = "-- why; not here\nCREATE TABLE a (b TEXT DEFAULT ';');\nSELECT\n 1;\n-- the end\n"
    assert len(list(statements_of(script))) == 2


def test_a_statement_without_its_end_is_refused() -> None:
    with pytest.raises(ValueError, match="not a whole statement"):
        list(statements_of("SELECT 1;\nSELECT 2\n"))


def test_a_bug_in_a_query_is_not_an_operator_s_mistake(path: Path) -> None:
    with (
        open_history(path) as history,
        pytest.raises(sqlite3.OperationalError),
        history.transaction() as connection,
    ):
        connection.execute("SELECT nonsense")


def insert_and_raise(history: History) -> None:
    with history.transaction() as connection:
        connection.execute("INSERT INTO device (stable_id) VALUES ('a')")
        raise RuntimeError


def test_a_transaction_that_raises_changes_nothing(path: Path) -> None:
    with open_history(path) as history:
        with pytest.raises(RuntimeError):
            insert_and_raise(history)
        with history.reading() as connection:
            assert connection.execute("SELECT count(*) FROM device").fetchone() == (0,)


def test_another_process_that_holds_the_file_is_named_busy(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("arraygauge.history.database.BUSY_SECONDS", 0.1)
    with open_history(path) as one, open_history(path) as other, one.transaction():
        with pytest.raises(HistoryError) as caught, other.transaction():
            pass
        assert caught.value.kind is HistoryProblem.BUSY


def test_going_on_without_a_file_needs_only_the_reason(path: Path) -> None:
    path.mkdir(parents=True)
    with pytest.raises(HistoryError) as caught:
        open_history(path)
    with history_without_file(caught.value) as history:
        assert str(path) in history.notes[0]
