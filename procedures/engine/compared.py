"""What is shown of the reference values while a run goes on; it decides nothing.

A point has a reference value for each state in which it was read: its normal one, with the
quadrature line in, at the wide alarm. The state of a measurement is told by its label, as the
history tells it. While a control is turned nothing says the state: it is that in which the point
was read before, unless something was put away from normal since then, which makes another state;
that one is told by the verdict on what was captured.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

from daq.log.entry import Body
from daq.measurement import Measurement
from daq.reading import BALANCED_DDM, predominance
from procedures.history.model import Parameter, Value
from procedures.history.parameters import parameter_of, parameter_of_result, value_of
from procedures.history.references import Difference, Reference, ReferenceSet
from procedures.judge import Result
from procedures.record.figures import toward, with_uncertainty
from procedures.record.model import Measured
from procedures.record.steps import label_of


@dataclass(frozen=True, slots=True)
class _ReadAs:
    """Of what parameter a measurement is, and what was open (`Bench.hazards`) when it was taken.

    The parameter is None where the history follows none, as on a traverse.
    """

    parameter: Parameter | None
    open: frozenset[str]


@dataclass
class Compared:
    """The measurements of one run beside the reference values that were in force as it began.

    Attributes
    ----------
    standing
        The set in force; None before the first was fixed.
    hazards
        What is open at this moment, by key; the bench's own, looked at and never changed.
    """

    standing: ReferenceSet | None
    hazards: Collection[str]
    _read: dict[Measurement, _ReadAs] = field(default_factory=dict)

    def measured(self, key: str, label: str, measurement: Measurement) -> str:
        """Take a measurement under its step and label; return its difference in words.

        The words are empty where there is no reference value to compare with.
        """
        if self.standing is None:
            return ""
        return self._known(parameter_of(Measured(key, label, measurement)), measurement)

    def captured(self, before: Measurement, after: Measurement) -> str:
        """Take what was captured after a control was turned; return its difference in words."""
        parameter = self._parameter_from(before)
        return "" if parameter is None else self._known(parameter, after)

    def judged(self, key: str, request: Body, judged: Measurement | Result, utc_ns: int) -> str:
        """Return the difference of a computed result, or of a capture whose state is told only now.

        Parameters
        ----------
        key, request
            Of the verdict, as it is journalled.
        utc_ns
            Now.
        """
        if self.standing is None:
            return ""
        if isinstance(judged, Result):
            value = Value(judged.value, judged.u, utc_ns)
            return self._words(parameter_of_result(key, request), value)
        if judged in self._read:
            return ""
        label = label_of(str(request["title"]), judged.point)
        return self.measured(key, label, judged)

    def reference_from(self, before: Measurement) -> Reference | None:
        """Return what to show while the point of `before` is turned; None without a reference."""
        parameter = self._parameter_from(before)
        return None if parameter is None or self.standing is None else self.standing.of(parameter)

    def _parameter_from(self, before: Measurement) -> Parameter | None:
        was = self._read.get(before)
        return was.parameter if was is not None and was.open == frozenset(self.hazards) else None

    def _known(self, parameter: Parameter | None, measurement: Measurement) -> str:
        self._read[measurement] = _ReadAs(parameter, frozenset(self.hazards))
        return self._words(parameter, value_of(measurement))

    def _words(self, parameter: Parameter | None, value: Value) -> str:
        if parameter is None or self.standing is None:
            return ""
        less = self.standing.less(parameter, value)
        return "" if less is None else difference_words(parameter, value, less)


def difference_words(parameter: Parameter, value: Value, less: Difference) -> str:
    """Return a value beside its reference as it is said at the terminal, in plain signs.

    ``'course width' reads 0.1549 ± 0.0012, 150 Hz predominates; reference 0.1553 (version 1),
    differs by -0.0004 ± 0.0017, toward 90 Hz.``
    """
    quantity, reference = parameter.quantity, less.reference
    reads = f"{with_uncertainty(quantity, value.value, value.u)} {parameter.printed_unit}".strip()
    known = with_uncertainty(quantity, reference.value, reference.u).partition(" ±")[0]
    if quantity == "ddm":
        reads = f"{reads}, {predominance(value.value, null=BALANCED_DDM)}"
    differs = ", ".join(part for part in (str(less), toward(quantity, less.value)) if part)
    words = (
        f"'{parameter.name}' reads {reads}; reference {known} (version {less.version}), "
        f"differs by {differs}."
    )
    # A terminal that cannot print the minus sign would show the opposite of a difference.
    return words.replace("\N{MINUS SIGN}", "-")
