"""What was spent is kept whole for two days and by the day after that, however long `run` runs."""

from __future__ import annotations

from pathlib import Path

from arraygauge.config import Configuration
from arraygauge.history import open_history
from arraygauge.inventory.values import Host
from arraygauge.probe.budget import DAY_SECONDS, HOUR_SECONDS, Charge
from arraygauge.probe.runner import Prober
from arraygauge.probe.sampling import Sampler
from arraygauge.probe.stop import StopToken
from arraygauge.service.host_reader import HostReader
from arraygauge.service.probing import Manner
from arraygauge.service.survey import Surveyor
from invented import host
from unit.service.write_scene import Clock, purse_over


class Empty(HostReader):
    """A machine without a drive."""

    def read(self) -> Host:
        return host([])


def test_a_pass_rolls_up_what_was_spent_days_ago(tmp_path: Path) -> None:
    clock = Clock()
    with purse_over(open_history(tmp_path / "history.sqlite"), clock) as purse:
        for _ in range(24):
            purse.ledger.reserve([Charge(device_id="a", read_bytes=5, busy_seconds=0.0)])
            clock.seconds += HOUR_SECONDS
        clock.seconds += 4 * DAY_SECONDS
        Surveyor(
            hosts=Empty(),
            sampler=Sampler(Prober(StopToken())),
            purse=purse,
            configuration=Configuration(),
            state_directory=tmp_path,
            manner=Manner.SCHEDULED,
        ).survey()
        spent = purse.ledger.spent_since("a", 10 * DAY_SECONDS)
        assert len(spent) <= 2
        assert sum(each.read_bytes for each in spent) == 24 * 5
