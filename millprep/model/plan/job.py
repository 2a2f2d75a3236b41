"""The whole job."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path as File

from millprep.geometry.path import Point
from millprep.model.blank import Clamp
from millprep.model.cutter import Cutter
from millprep.model.machine import Machine
from millprep.model.plan.blank import BlankPlan
from millprep.model.plan.board import BoardPlan, FurtherDrawing
from millprep.model.plan.registration import RegistrationPlan
from millprep.model.plan.rules import RulesPlan
from millprep.model.plan.work import ClearingPlan, DrillingPlan, IsolationPlan, ProfilePlan


@dataclass(frozen=True, slots=True)
class JobPlan:
    """The whole job.

    Attributes:
        file: the job file, as given.
        origin: machine coordinates of the blank's low corner in its first pass.
        touch: where z is zeroed, machine coordinates; None lets the tool choose.
        clamps: in machine coordinates.
        tape: True when the blank is held by tape and no clamps are needed.
        turn: whether a blank too long for the travel is turned by half a turn, not moved along.
        layout: a stored layout whose places are kept.
    """

    file: File
    name: str
    boards: tuple[BoardPlan, ...]
    blanks: tuple[BlankPlan, ...]
    machine: Machine
    origin: Point
    touch: Point | None
    clamps: tuple[Clamp, ...]
    tape: bool
    isolation: IsolationPlan
    drilling: DrillingPlan
    profile: ProfilePlan
    registration: RegistrationPlan
    cutters: tuple[Cutter, ...]
    turn: bool = False
    rules: RulesPlan = field(default_factory=RulesPlan)
    clearing: ClearingPlan | None = None
    layout: FurtherDrawing | None = None
