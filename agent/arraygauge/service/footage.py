"""How many streams an array carries, for `arraygauge footage`: measured now, as a check is."""

from __future__ import annotations

from dataclasses import replace

from arraygauge.config import Configuration
from arraygauge.config.footage import FootageSection
from arraygauge.errors import OperatorError, UnknownDeviceError
from arraygauge.judge import ArrayVerdict
from arraygauge.service.grounds import array_called
from arraygauge.service.probing import Progress
from arraygauge.service.survey import Surveyor


def carried_by(
    surveyor: Surveyor, name: str, asked: FootageSection | None, progress: Progress
) -> ArrayVerdict:
    """A pass over that array, judged by what is ``asked`` for, or else by what is declared.

    Raises UnknownDeviceError for no such array, OperatorError where nothing is declared for it.
    """
    host = surveyor.hosts.read()
    array = array_called(host, name)
    if array is None:
        known = ", ".join(each.name for each in host.arrays) or "none"
        raise UnknownDeviceError(f"{name}: this machine has no such array", f"it has {known}")
    wanted = surveyor.configuration.footage if asked is None else (asked,)
    here = tuple(each for each in wanted if array_called(host, each.array) == array)
    if not here:
        raise OperatorError(
            f"{name}: the configuration declares no footage for it",
            "give --codec, --raster and --rate, or --megabits, or declare it as [[footage]]",
        )
    asking = replace(surveyor, configuration=_with(surveyor.configuration, here))
    [verdict] = asking.survey((array.name,), progress).arrays
    return verdict


def _with(configuration: Configuration, footage: tuple[FootageSection, ...]) -> Configuration:
    return configuration.model_copy(update={"footage": footage})
