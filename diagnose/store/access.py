"""Who may see which call, and which desks a sign-in opens.

A sign-in role opens desks. It never changes what may be asked at the machine: that follows from the person at the
machine and what that person is qualified for, which the call itself says.

A call belongs to everybody who signs in to this store, with two limits. A call opened by somebody of a team is seen by that
team only. Somebody who works the telephone sees the calls that began on the telephone (somebody of the site stood at the
machine), also after they were handed over. The keeper sees everything. Opened on one's own machine, without sign-in,
there are no limits: whoever uses that machine can read the file anyway.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Role = Literal["technician", "telephone", "trainer", "keeper"]
Desk = Literal["field", "telephone", "training", "machines", "keeping"]
ROLES: tuple[Role, ...] = get_args(Role)
# "training" is the trainer's side; exercises are open to everybody
DESKS: dict[Role, tuple[Desk, ...]] = {
    "technician": ("field", "machines"),
    "telephone": ("telephone",),
    "trainer": ("field", "telephone", "training", "machines"),
    "keeper": ("field", "telephone", "training", "machines", "keeping"),
}


@dataclass(frozen=True, slots=True)
class Person:
    """Whoever uses the desks. name: of the sign-in, "" on one's own machine; shown: as it stands in the record."""

    name: str
    shown: str
    role: Role
    team: str = ""

    @property
    def desks(self) -> tuple[Desk, ...]:
        """Desks this person may open."""
        return DESKS[self.role]

    @property
    def signed_in(self) -> bool:
        """Whether the name was proved; on one's own machine nobody signs in."""
        return bool(self.name)


# whoever sits at this machine, when nothing is served to others
AT_HOME = Person("", "", "keeper")


@dataclass(frozen=True, slots=True)
class Sight:
    """What limits the calls a person sees. team: None = of all teams; desk: "" = begun at any desk."""

    team: str | None = None
    desk: str = ""


def sight(person: Person) -> Sight:
    """The limits for a person.

    >>> sight(Person("ann", "Ann", "telephone", "north"))
    Sight(team='north', desk='telephone')
    """
    if person.role == "keeper":
        return Sight()
    return Sight(person.team, "telephone" if person.role == "telephone" else "")


def may_see(person: Person, team: str, desk: str) -> bool:
    """Whether a person may see a call of this team that began at this desk.

    >>> may_see(Person("ann", "Ann", "technician", "north"), "south", "field")
    False
    """
    limits = sight(person)
    return (limits.team is None or team in ("", limits.team)) and limits.desk in ("", desk)
