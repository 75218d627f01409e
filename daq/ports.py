"""A serial port of this computer, as it is listed for a technician."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class SerialPort:
    """One port.

    Attributes
    ----------
    device
        What it is called now, such as ``/dev/ttyUSB0``; another number after replugging.
    stable
        A name that stays with the adapter; empty where the system gives none.
    description
        What the adapter says it is; empty where it says nothing.
    holder
        Who has it open, as far as it left its name; empty when nobody did.
    """

    device: str
    stable: str = ""
    description: str = ""
    holder: str = ""

    @property
    def resource(self) -> str:
        """The address for a station file, by the stable name where there is one."""
        return f"ASRL{self.stable or self.device}::INSTR"

    def __str__(self) -> str:
        words = [self.resource, self.description, f"held by {self.holder}" if self.holder else ""]
        return ", ".join(word for word in words if word)
