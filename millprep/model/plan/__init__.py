"""What the job asks for, as values: every default already filled in, every name resolved."""

from millprep.model.plan.blank import BlankPlan
from millprep.model.plan.board import BoardPlan, FurtherDrawing, NetPlan, PlacePlan, WireLink
from millprep.model.plan.drawing import CopperMode, DrawnFrom, LayerRoles, Selection, Unit
from millprep.model.plan.job import JobPlan
from millprep.model.plan.registration import ProbePlan, RegistrationPlan
from millprep.model.plan.rules import Column, Level, RulesPlan, SocketPin
from millprep.model.plan.work import (
    ClearingPlan,
    Course,
    Direction,
    DrillingPlan,
    Floating,
    IsolationPlan,
    ProfilePlan,
)

__all__ = [
    "BlankPlan",
    "BoardPlan",
    "ClearingPlan",
    "Column",
    "CopperMode",
    "Course",
    "Direction",
    "DrawnFrom",
    "DrillingPlan",
    "Floating",
    "FurtherDrawing",
    "IsolationPlan",
    "JobPlan",
    "LayerRoles",
    "Level",
    "NetPlan",
    "PlacePlan",
    "ProbePlan",
    "ProfilePlan",
    "RegistrationPlan",
    "RulesPlan",
    "Selection",
    "SocketPin",
    "Unit",
    "WireLink",
]
