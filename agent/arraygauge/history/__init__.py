"""What it did before: one SQLite file that survives kills, full disks and newer versions."""

from arraygauge.history.database import History, history_without_file, open_history
from arraygauge.history.incident_rows import Words
from arraygauge.history.inventory_changes import InventoryChange, inventory_changes
from arraygauge.history.ledger import Ledger, Token
from arraygauge.history.measurements import MeasurementRecord, Measurements, records_of
from arraygauge.history.memory import Memory
from arraygauge.history.moment import Clock, Moment, system_clock
from arraygauge.history.outbox import Delivery, Outbox, Sent
from arraygauge.history.ownership import Ownership, own_history
from arraygauge.history.pen import Pen
from arraygauge.history.problems import HistoryError, HistoryProblem
from arraygauge.history.records import Channel, Records

__all__ = [
    "Channel",
    "Clock",
    "Delivery",
    "History",
    "HistoryError",
    "HistoryProblem",
    "InventoryChange",
    "Ledger",
    "MeasurementRecord",
    "Measurements",
    "Memory",
    "Moment",
    "Outbox",
    "Ownership",
    "Pen",
    "Records",
    "Sent",
    "Token",
    "Words",
    "history_without_file",
    "inventory_changes",
    "open_history",
    "own_history",
    "records_of",
    "system_clock",
]
