"""Cutters as other tables of the job name them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Annotated

from pydantic import PlainValidator, ValidationInfo, WithJsonSchema
from pydantic_core import PydanticCustomError

from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.job.keys import JobSource
from millprep.model.job.mistakes import Mistake, known, near, plain, quoted, wrong

KINDS: dict[str, type[Cutter]] = {"vee": Vee, "endmill": EndMill, "drill": Drill}
CUTTERS_ALLOWED = "a list of names defined as [cutters.NAME]"
CUTTER_ALLOWED = "a name defined as [cutters.NAME]"
_CUTTER_NAME = WithJsonSchema({"type": "string", "minLength": 1})


def named_cutter(*kinds: str) -> Callable[[object, ValidationInfo], object]:
    """Read a cutter of one of these kinds, which the job file gives by its name."""
    allowed = tuple(KINDS[kind] for kind in kinds)

    def read(value: object, info: ValidationInfo) -> object:
        cutter = value
        if not isinstance(value, Cutter):
            if not isinstance(value, str) or not isinstance(info.context, JobSource):
                raise PydanticCustomError("cutter_type", "no name")
            # a job without any has no cutters to look among
            cutters = known(info.context.job, "cutters") or ()
            cutter = _defined(value, {c.name: c for c in cutters})
        # a cutter whose kind is not known has a mistake of its own
        if type(cutter) is not Cutter and not isinstance(cutter, allowed):
            kind = next(kind for kind, table in KINDS.items() if type(cutter) is table)
            words = f"must be of kind {' or '.join(kinds)}; {plain(value)} is {kind}"
            raise PydanticCustomError("job-contradiction", "{words}", {"words": words})
        return cutter

    return read


def _defined(name: str, cutters: dict[str, Cutter]) -> Cutter:
    if name not in cutters:
        words = f"names a cutter that is not defined: {plain(name)}{near(name, cutters)}"
        words += f"; defined: {quoted(cutters) or 'none'}"
        raise PydanticCustomError("job-unknown-cutter", "{words}", {"words": words})
    return cutters[name]


Engraver = Annotated[Vee | EndMill, PlainValidator(named_cutter("vee", "endmill")), _CUTTER_NAME]
HoleMaker = Annotated[
    Drill | EndMill, PlainValidator(named_cutter("drill", "endmill")), _CUTTER_NAME
]
NamedDrill = Annotated[Drill, PlainValidator(named_cutter("drill")), _CUTTER_NAME]
NamedEndMill = Annotated[EndMill, PlainValidator(named_cutter("endmill")), _CUTTER_NAME]


def each_once(cutters: Sequence[Cutter]) -> Iterator[Mistake]:
    """A mistake for each cutter of a list that is in it already."""
    for i, cutter in enumerate(cutters):
        if any(cutter is other for other in cutters[:i]):
            words = f"names {plain(cutter.name)} a second time; once is enough"
            yield wrong(("cutters", i), words)
