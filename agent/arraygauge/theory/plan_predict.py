"""What an option would give: the same model as for an array that runs, on paper."""

from __future__ import annotations

from dataclasses import dataclass, replace

from arraygauge.theory.capacity import capacity
from arraygauge.theory.expect import ArrayModel, expect, member_resource
from arraygauge.theory.network import Network
from arraygauge.theory.paths import Board, parity_arithmetic
from arraygauge.theory.plan_values import Asked, Option, Prediction, Supply
from arraygauge.theory.prospects import prospects
from arraygauge.theory.rebuild import SyncBand
from arraygauge.theory.redundancy import Survivable


def predict(supply: Supply, option: Option, asked: Asked | None = None) -> Prediction:
    """Raises KeyError for a member the supply does not have, ValueError for an array md could
    not run."""
    return Predictor(supply, asked or Asked()).predict(option)


def model_of(supply: Supply, option: Option) -> ArrayModel:
    """The option in the model's terms, whole and idle. KeyError as ``predict``."""
    drives = [supply.drive(name) for name in option.members]
    turning = {drive.rotational for drive in drives}
    geometry = option.geometry(seeks=turning.pop() if len(turning) == 1 else None)
    sizes = tuple(drive.size_bytes for drive in drives)
    if len(set(sizes)) > 1:
        geometry = replace(geometry, member_bytes=sizes)
    names = set(option.members)
    links = [
        replace(link, members=tuple(name for name in link.members if name in names))
        for link in supply.links
        if names.intersection(link.members)
    ]
    board = Board(
        parity_bytes_per_second=supply.parity_bytes_per_second,
        parity_source=supply.parity_source,
    )
    network = Network(
        members=tuple(member_resource(drive.name, drive.rate) for drive in drives),
        shared=tuple(links),
        parity=parity_arithmetic(board, geometry.parity),
    )
    return ArrayModel(geometry=geometry, network=network)


@dataclass(frozen=True, slots=True)
class _Common:
    """What no chunk size changes: the model but for its chunk, sizes, failures, a rebuild."""

    model: ArrayModel
    sizes: tuple[int, ...]
    survives: Survivable
    rebuild: SyncBand | None


class Predictor:
    """Predictions for one supply and work."""

    def __init__(self, supply: Supply, asked: Asked) -> None:
        self._supply = supply
        self._asked = asked
        self._known: dict[tuple[object, ...], _Common] = {}

    def predict(self, option: Option) -> Prediction:
        """As the function of that name."""
        common = self._common(option)
        geometry = replace(common.model.geometry, chunk_bytes=option.chunk_bytes)
        model = replace(common.model, geometry=geometry)
        read, write = expect(model, self._asked.read), expect(model, self._asked.write)
        if read is None or write is None:
            raise ValueError(f"md could not run {option.name} of {option.width}")
        return Prediction(
            option=option,
            capacity=capacity(geometry, common.sizes),
            survives=common.survives,
            read=read,
            write=write,
            rebuild=common.rebuild,
        )

    def _common(self, option: Option) -> _Common:
        key = (option.level, option.layout, option.members)
        if key not in self._known:
            model = model_of(self._supply, option)
            sizes = tuple(self._supply.drive(name).size_bytes for name in option.members)
            outlook = prospects(model, sizes)
            self._known[key] = _Common(model, sizes, outlook.survivable, outlook.rebuild)
        return self._known[key]
