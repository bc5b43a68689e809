"""What an operator can put right, said as a message and a remedy.

Everything else that goes wrong on one device is a value (a ``ReadProblem``, an
``Outcome``), so that one bad drive never hides the others.
"""

from __future__ import annotations


class OperatorError(Exception):
    """A mistake the person running the command can mend.

    ``message`` names the device, file or key; ``remedy`` says what to do next.
    """

    def __init__(self, message: str, remedy: str) -> None:
        super().__init__(message)
        self.message = message
        self.remedy = remedy


class ConfigurationError(OperatorError):
    """The configuration file cannot be used as written."""


class UnknownDeviceError(OperatorError):
    """A device or array was named that this machine does not have."""


class MachineTroubleError(OperatorError):
    """No mistake of the person, but a state of the machine that keeps a command from its work."""
