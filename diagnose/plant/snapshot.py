"""What a simulation gives back: the state, lamps, alarms and trips of the machine and every reading a technician could take."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from diagnose.plant.controller import Trip
from diagnose.plant.instruments import Taken

Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """state: cooling, pump-only, powered, standing or isolated: how the machine stands now. steadiness: steady, pull-down,
    cycling, starting. running: compressors on now. trips: in order of time, alarms: their words, first first. hold: what keeps
    it from running when nothing tripped ("" = it runs). lamps: name -> word.

    readings: by machine state; those of "cooling" are there as soon as cooling ran at all: of a circuit that tripped they are
    from the moment of the trip. balance: numbers for the examiner (SI), never for the trainee. notes: what was simplified.
    """

    state: str
    steadiness: str
    running: tuple[str, ...]
    trips: tuple[Trip, ...]
    alarms: tuple[str, ...]
    hold: str
    lamps: dict[str, str]
    readings: dict[str, dict[Key, Taken]]
    balance: dict[str, float]
    notes: tuple[str, ...]

    @property
    def now(self) -> dict[Key, Taken]:
        """Readings of the machine as it stands."""
        return self.readings.get(self.state, {})

    def taken(self, quantity: str, place: str = "unit", state: str = "") -> Taken | None:
        """One reading, in a state (default: as it stands, else the last run)."""
        if state:
            return self.readings.get(state, {}).get((quantity, place))
        for name in (self.state, "cooling", "pump-only", "powered", "standing"):
            found = self.readings.get(name, {}).get((quantity, place))
            if found is not None:
                return found
        return None

    def all_readings(self) -> Iterator[tuple[str, Taken]]:
        """Every reading with the state it belongs to."""
        for state, table in self.readings.items():
            for one in table.values():
                yield state, one
