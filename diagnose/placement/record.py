"""A placement as it is kept: the machine, the site, and what was done in order. Plain data; the same file for every desk."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from diagnose.case import Machine
from knowledge.models import Qualification
from knowledge.placement import SITE
from shared.errors import ChillerError, ManyProblems, ReadingError, shorten
from shared.quantities import QUANTITIES
from shared.units import parse, parse_reading

FORMAT = 1
LARGEST = 2_000_000


class PlacementError(ManyProblems):
    """What is wrong with a placement file, one line each."""


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Taken(_Part):
    """A reading taken at a step. value: as typed, three for phases; place: "" = the only one there is.

    at: its own moment where it was read before the rest of its entry ("" = with the rest).
    """

    quantity: str
    value: str | tuple[str, ...]
    place: str = ""
    at: str = ""


class Done(_Part):
    """One thing that happened. outcome "not-right" opens a call; "left" = left out, with its reason in note."""

    step: str
    outcome: Literal["done", "not-right", "left"] = "done"
    at: str = ""
    by: str = ""
    note: str = ""
    readings: tuple[Taken, ...] = ()
    site: dict[str, str] = {}


class Placement(_Part):
    """A placement. qualified: of the person who does it; site: figures known when it was opened."""

    format: Literal[1] = 1
    name: str = ""
    machine: Machine = Field(default_factory=Machine)
    qualified: tuple[Qualification, ...] = ()
    context: tuple[str, ...] = ()
    site: dict[str, str] = {}
    entries: tuple[Done, ...] = ()


def site_problem(key: str, value: str) -> str:
    """What is wrong with a figure of the site, "" if nothing."""
    if key not in SITE:
        return f"no such figure of the site; given: '{shorten(key)}'; allowed: {', '.join(SITE)}"
    try:
        parse(value, SITE[key][1])
    except ReadingError as error:
        return error.line()
    return ""


def entry_problems(entry: Done) -> list[str]:
    """What is wrong with the moment and the readings of an entry, one line each."""
    out = []
    for at in dict.fromkeys((entry.at, *(one.at for one in entry.readings))):
        try:
            if at:
                datetime.fromisoformat(at)
        except ValueError:
            out.append(
                f"at; given: '{shorten(at)}'; allowed: a moment such as 2026-06-01T10:00; correct it or leave it out"
            )
    for one in entry.readings:
        if one.quantity not in QUANTITIES:
            out.append(f"no such quantity; given: '{shorten(one.quantity)}'; allowed: a quantity of the fixed list")
            continue
        try:
            parse_reading(one.quantity, one.value)
        except ReadingError as error:
            out.append(error.line())
    return out


def read_placement(path: Path) -> Placement:
    """The placement of a file. Raises PlacementError."""
    try:
        if path.stat().st_size > LARGEST:
            raise PlacementError("the file is no placement", [f"{path.name}: larger than {LARGEST // 1_000_000} MB"])
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, ValueError, RecursionError) as error:
        told = getattr(error, "strerror", None) or str(error)
        line = f"{path.name}: cannot be read; given: '{shorten(told)}'; allowed: a placement file; check the path"
        raise PlacementError("the placement cannot be read", [line]) from None
    return placement_of(data, path.name)


def placement_of(data: Any, where: str = "placement") -> Placement:
    """A placement from data of unknown origin. Raises PlacementError with every problem."""
    try:
        made = Placement.model_validate(data)
    except ValidationError as error:
        lines = [
            f"{where}: {'.'.join(str(p) for p in one['loc']) or 'file'}: {shorten(one['msg'], 160)}"
            for one in error.errors(include_url=False)[:12]
        ]
        raise PlacementError("this is no placement", lines) from None
    figures = [("site", made.site), *((f"entries.{n}.site", e.site) for n, e in enumerate(made.entries))]
    problems = [
        f"{where}: {at}.{key}: {problem}"
        for at, site in figures
        for key, value in site.items()
        if (problem := site_problem(key, value))
    ]
    for n, entry in enumerate(made.entries):
        problems += [f"{where}: entries.{n}: {problem}" for problem in entry_problems(entry)]
    if problems:
        raise PlacementError("this is no placement", problems)
    return made


def write_placement(path: Path, placement: Placement) -> None:
    """Keep a placement; the file is replaced whole or not at all. Raises ChillerError."""
    text = json.dumps(
        placement.model_dump(mode="json", exclude_defaults=True) | {"format": FORMAT}, ensure_ascii=False, indent=1
    )
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text + "\n", encoding="utf-8")
        part.replace(path)
    except OSError as error:
        raise ChillerError(
            "placement cannot be written",
            given=str(path),
            allowed="a file in a folder that exists",
            do=shorten(error.strerror),
        ) from None
