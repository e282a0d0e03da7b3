"""A case: everything answered, measured and done so far in one call, in order, with its own clock.

The file format is documented in docs of the README and as JSON Schema (`python -m diagnose schema case`). A case is text
only; `diagnose.case_check` says whether it holds together with the cards.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, field_validator, model_validator

CASE_FORMAT = 1
MOST_PARTS, MOST_POINTS = 40, 200  # circuits of a machine, parts of a circuit, points of a curve; no machine comes near
#: what is done where nothing is wrong; no cause card has it as its remedy
EXPLAINED = "explain-normal"
Short = Annotated[str, StringConstraints(strip_whitespace=True, max_length=200)]
Long = Annotated[str, StringConstraints(max_length=4000)]
YesNo = Literal["yes", "no"]
State = Literal["isolated", "standing", "powered", "pump-only", "cooling"]
Steadiness = Literal["steady", "pull-down", "cycling", "starting"]


class Model(BaseModel):
    """Strict base of case files: unknown keys are errors."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class CircuitTopology(Model):
    """Compressors and fans that belong to one circuit, by id."""

    compressors: Annotated[tuple[Short, ...], Field(max_length=MOST_PARTS)] = ()
    fans: Annotated[tuple[Short, ...], Field(max_length=MOST_PARTS)] = ()


class Machine(Model):
    """Nameplate, curves and card values of the machine; anything may be missing. Values are text with units.

    circuits: a count, or {A: {compressors: [A1, A2], fans: [1, 2]}}. drop_curve: pairs [flow, drop] of the evaporator.
    card: healthy readings of this machine by quantity name, and `condenser_split`, `superheat`, `subcooling`, `approach`,
    `fluid_split`, `pump_rise` as differences. pump_shutoff_rise, pump_design_rise: pressure rise at no flow and at design.
    low_points: every drain and low point of the fluid side, as the plate lists them, with semicolons between.
    """

    name: Short = ""
    serial: Short = ""
    refrigerant: Short = ""
    capacity: Short = ""
    voltage: Short = ""
    frequency: Short = ""
    fluid: Literal["water", "ethylene-glycol", "propylene-glycol"] | None = None
    glycol_percent: Short = ""
    glycol_basis: Literal["volume", "mass"] = "volume"
    altitude: Short = ""
    tank_at: Literal["unit-suction", "load", "discharge", "unknown"] = "unknown"
    expansion: Literal["thermostatic", "electronic", "orifice"] | None = None
    coil: Literal["tube-fin", "microchannel"] | None = None
    supply: Literal["generator", "utility"] | None = None
    pump_in_use: Literal["onboard", "site"] | None = None
    pump_drive: YesNo | None = None
    fan_drive: YesNo | None = None
    receiver: YesNo | None = None
    circuits: int | Annotated[dict[str, CircuitTopology], Field(max_length=MOST_PARTS)] | None = None
    compressors: int | None = None
    fans: int | None = None
    pumps: tuple[Literal["onboard", "site"], ...] = ()
    low_points: Long = ""
    design_flow: Short = ""
    design_drop: Short = ""
    drop_curve: Annotated[tuple[tuple[Short, Short], ...], Field(max_length=MOST_POINTS)] = ()
    strainer_clean_drop: Short = ""
    strainer_clean_flow: Short = ""
    pump_shutoff_rise: Short = ""
    pump_design_rise: Short = ""
    pump_plate_current: Short = ""
    compressor_plate_current: Short = ""
    fan_plate_current: Short = ""
    low_pressure_cutout: Short = ""
    high_pressure_cutout: Short = ""
    set_point: Short = ""
    design_entering: Short = ""
    max_entering: Short = ""
    loop_volume: Short = ""
    monitor_limit: Short = ""
    card: dict[str, Short] = {}

    @field_validator("drop_curve", mode="before")
    @classmethod
    def _pairs(cls, value: Any) -> Any:
        return [tuple(pair) for pair in value] if isinstance(value, (list, tuple)) else value


class Entry(Model):
    """One thing that happened in the call, in order. Exactly one of check, quantity, action, finding, note.

    check+answer: a check was done, the answer is one of its ids or "cannot-tell". quantity+value: a reading was given
    ("118 psig", a list of three for phases). action: a remedy was done (outcome: did it cure), or the set-up was changed
    (outcome: is the trouble gone, moved, unchanged; "undone" once it was put back).
    finding+word: an already graded finding (sign-only tables). at: clock of `now`, or minutes before it.
    source: today's reading, or a reference from card, last-visit or shift-log. who: what the person saw, or what somebody
    says. condition: a tag such as "welders off" that sets this reading apart. again: a check was looked at once more with nothing
    changed meanwhile, so both answers count; without it a later answer takes the place of the earlier one.
    """

    id: Short = ""
    check: Short = ""
    answer: Short = ""
    quantity: Short = ""
    value: Short | tuple[Short, ...] = ""
    action: Short = ""
    outcome: Literal["", "cured", "not-cured", "better", "gone", "moved", "unchanged", "undone"] = ""
    finding: Short = ""
    word: Short = ""
    note: Long = ""
    place: Short = ""
    at: Short = ""
    state: State | None = None
    steadiness: Steadiness | None = None
    condition: Short = ""
    instrument: Short = ""
    sure: Literal["sure", "think-so", "guess"] = "sure"
    who: Literal["saw", "customer-says"] = "saw"
    source: Literal["today", "card", "last-visit", "shift-log"] = "today"
    by: Short = ""
    predicted: Short = ""
    again: bool = False

    @model_validator(mode="after")
    def _one_thing(self) -> Entry:
        given = [k for k in ("check", "quantity", "action", "finding") if getattr(self, k)]
        if len(given) > 1:
            raise ValueError(f"one entry is one thing; this one has {' and '.join(given)}")
        if not given and not self.note:
            raise ValueError("an entry is one of check+answer, quantity+value, action, finding+word, note")
        if self.again and not self.check:
            raise ValueError("again belongs to a check that was looked at once more")
        if self.check and not self.answer:
            raise ValueError("a check entry has an answer (or answer: cannot-tell)")
        if self.quantity and not self.value:
            raise ValueError("a reading entry has a value")
        if self.finding and not self.word:
            raise ValueError("a finding entry has a word")
        return self


class Case(Model):
    """One call. role and qualified describe the person AT THE MACHINE and alone gate what may be asked.

    words: the caller's own words, kept and searched for stop words, never weighed. context: ids of contexts.cards.
    now: clock of the newest moment (ISO date and time), only used to place `at`.
    """

    format: int = CASE_FORMAT
    id: Short = ""
    complaint: Short
    words: Long = ""
    role: Literal["customer", "agent", "technician"] = "technician"
    qualified: tuple[Literal["electrical", "refrigerant", "height"], ...] = ()
    machine: Machine = Machine()
    context: tuple[Short, ...] = ()
    now: Short = ""
    entries: tuple[Entry, ...] = Field(default=(), max_length=2000)
