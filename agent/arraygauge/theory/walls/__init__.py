"""Finding which members share a ceiling, from rates measured alone and together."""

from arraygauge.theory.walls.infer import Inference, Run, infer_walls, run_cost
from arraygauge.theory.walls.values import Wall

__all__ = ["Inference", "Run", "Wall", "infer_walls", "run_cost"]
