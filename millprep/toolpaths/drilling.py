"""Holes: the drill or the end mill for each; slots are milled."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from millprep.model.blank import Blank, Placement, on_drawing
from millprep.model.board import Hole
from millprep.model.cut import Cut, HoleCut, Profile
from millprep.model.cutter import Cutter, Drill, EndMill
from millprep.model.finding import Finding, many
from millprep.model.job.setup import RegistrationPlan
from millprep.model.job.work import DrillingPlan
from millprep.model.milling_pass import RegistrationHole

REGISTRATION_FIT = 0.005
"""A drill serves a registration hole when its diameter is this near, mm."""

WIDE = 3.0
"""A hole this wide may be bored by the profile's end mill, mm: common practice, no source."""
PLAY = 0.8
"""An end mill that bores is no wider than this part of the hole, so that it winds down."""
OTHER_SIZE = 0.2
"""A drill farther from the diameter of a hole is one of another size, mm (common practice, no
source)."""

SLOT_FIT = 0.002
"""An end mill is as wide as a slot when it is wider by no more, mm: drawings round to that."""


def choose(diameter: float, cutters: Sequence[Cutter], tolerance: float) -> Cutter | None:
    """The drill nearest to a diameter within the tolerance, else the widest fitting end mill.

    Of two drills equally near, the larger: a pin that does not enter is the worse fault.
    """
    drills = [c for c in cutters if isinstance(c, Drill)]
    near = [c for c in drills if abs(c.diameter - diameter) <= tolerance + 1e-9]
    if near:
        return min(near, key=lambda c: (round(abs(c.diameter - diameter), 9), -c.diameter))
    mills = [c for c in cutters if isinstance(c, EndMill) and c.diameter < diameter]
    return max(mills, key=lambda c: c.diameter, default=None)


def choose_mill(width: float, cutters: Sequence[Cutter]) -> Cutter | None:
    """The widest end mill that is no wider than a slot."""
    mills = [c for c in cutters if isinstance(c, EndMill) and c.diameter <= width + SLOT_FIT]
    return max(mills, key=lambda c: c.diameter, default=None)


def depth_of(cutter: Cutter, blank: Blank, breakthrough: float) -> float:
    """Depth of the tip so that the full diameter leaves the blank by the breakthrough."""
    point = cutter.point if isinstance(cutter, Drill) else 0.0
    return blank.thickness + breakthrough + point


def bored_by_profile(hole: Hole | HoleCut, profile: EndMill) -> bool:
    """Whether the end mill that cuts the boards out can bore a hole as well."""
    return hole.end is None and hole.diameter >= max(WIDE, profile.diameter / PLAY) - 1e-9


def without_change(cuts: Sequence[Cut], profile: EndMill) -> tuple[Cut, ...]:
    """The cuts of a pass, without cutters that only bore what the profile's end mill can bore.

    That saves a change of cutters where the end mill cuts an edge in the pass anyway.
    """
    if not any(isinstance(cut, Profile) for cut in cuts):
        return tuple(cuts)
    needed = {
        cut.cutter
        for cut in cuts
        if not (isinstance(cut, HoleCut) and cut.work == "bore" and bored_by_profile(cut, profile))
    }
    return tuple(
        replace(cut, cutter=profile.name)
        if isinstance(cut, HoleCut) and cut.cutter not in needed
        else cut
        for cut in cuts
    )


def drill(
    placements: Sequence[Placement], blank: Blank, plan: DrillingPlan, profile: EndMill
) -> tuple[tuple[HoleCut, ...], tuple[Finding, ...]]:
    """Every hole of the boards on a blank with its cutter; findings for those with none.

    Wide holes that nothing else makes are bored by the end mill that cuts the boards out.
    """
    cutters = [*plan.cutters, *([plan.borer] if plan.borer else [])]
    cuts: list[HoleCut] = []
    findings: list[Finding] = []
    for placement in placements:
        unserved: dict[tuple[float, bool], list[Hole]] = {}
        for hole, there in zip(placement.board.holes, placement.holes, strict=True):
            if hole.end is None:
                cutter = choose(hole.diameter, cutters, plan.tolerance)
            else:
                cutter = choose_mill(hole.diameter, cutters)
            if cutter is None and bored_by_profile(hole, profile):
                cutter = profile
            if cutter is None:
                unserved.setdefault((hole.diameter, hole.end is None), []).append(hole)
                continue
            cuts.append(
                HoleCut(
                    at=there.at,
                    end=there.end,
                    diameter=cutter.diameter if isinstance(cutter, Drill) else hole.diameter,
                    cutter=cutter.name,
                    depth=depth_of(cutter, blank, plan.breakthrough),
                    work="drill" if isinstance(cutter, Drill) else "bore",
                    placement=placement.index,
                    hole=hole.id,
                    piece=hole.piece,
                )
            )
        findings += [
            (_no_drill if is_round else _no_mill)(placement, size, holes, plan)
            for (size, is_round), holes in unserved.items()
        ]
    findings += [*_too_deep(cuts, blank, plan), *_wide_tolerance(cuts, placements, blank, plan)]
    return tuple(cuts), tuple(findings)


def _no_drill(
    placement: Placement, diameter: float, holes: Sequence[Hole], plan: DrillingPlan
) -> Finding:
    drills = ", ".join(f"{c.diameter:g}" for c in plan.cutters if isinstance(c, Drill))
    return on_drawing(
        placement,
        "hole-without-drill",
        "stop",
        (
            f"No drill for {len(holes)} hole(s) of {diameter:.3f} mm: the job lists "
            f"{drills or 'none'} mm with a tolerance of {plan.tolerance:g} mm. Add a drill to "
            "[drilling] cutters, widen the tolerance, or name an end mill thinner than the "
            "hole as borer."
        ),
        holes[0].at,
    )


def _wide_tolerance(
    cuts: Sequence[HoleCut], placements: Sequence[Placement], blank: Blank, plan: DrillingPlan
) -> Iterator[Finding]:
    """A warning of a tolerance that lets holes take drills of another size."""
    if plan.tolerance <= OTHER_SIZE:
        return
    drawn = {(p.index, hole.id): hole.diameter for p in placements for hole in p.board.holes}
    off = [
        (abs(drawn[cut.placement, cut.hole] - cut.diameter), cut)
        for cut in cuts
        if cut.work == "drill" and cut.placement is not None
    ]
    wrong = [(by, cut) for by, cut in off if by > OTHER_SIZE]
    message = (
        f"[drilling] tolerance {plan.tolerance:g} lets a hole take a drill {plan.tolerance:g} mm "
        "too wide or too narrow"
    )
    if wrong:
        _, cut = max(wrong, key=lambda pair: pair[0])
        message += (
            f": {many(len(wrong), 'hole is', 'holes are')} off by more than {OTHER_SIZE:g} mm, the "
            f"most a hole of {drawn[cut.placement or 0, cut.hole]:.2f} mm drilled "
            f"{cut.diameter:.2f} mm"
        )
    yield Finding(
        code="drill-tolerance-wide",
        severity="warn",
        message=f"{message}. Set tolerance to 0.05 to 0.1, and add drills to [drilling] cutters "
        "or name a borer for the sizes that are missing.",
        frame="blank" if wrong else None,
        at=cut.at if wrong else None,
        blank=blank.number,
    )


def _no_mill(
    placement: Placement, width: float, slots: Sequence[Hole], plan: DrillingPlan
) -> Finding:
    cutters = [*plan.cutters, *([plan.borer] if plan.borer else [])]
    mills = ", ".join(sorted({f"{c.diameter:g}" for c in cutters if isinstance(c, EndMill)}))
    return on_drawing(
        placement,
        "slot-without-mill",
        "stop",
        (
            f"No end mill for {len(slots)} slot(s) {width:.3f} mm wide: those for holes are "
            f"{mills + ' mm' if mills else 'none'}. Name an end mill no wider than the slot as "
            "borer or among [drilling] cutters."
        ),
        slots[0].at,
    )


def _too_deep(cuts: Sequence[HoleCut], blank: Blank, plan: DrillingPlan) -> list[Finding]:
    """One finding for every cutter that would pass through the spoilboard."""
    deepest: dict[str, HoleCut] = {}
    for cut in cuts:
        if cut.cutter not in deepest:
            deepest[cut.cutter] = cut
    return [
        Finding(
            code="through-spoilboard",
            severity="stop",
            message=(
                f"{cut.cutter} goes {cut.depth:.3f} mm deep, but blank and spoilboard are only "
                f"{blank.thickness + plan.spoilboard:.3f} mm: it would cut the table. Use a "
                "thicker spoilboard or lower the breakthrough."
            ),
            frame="blank",
            at=cut.at,
            blank=blank.number,
        )
        for cut in deepest.values()
        if cut.depth > blank.thickness + plan.spoilboard
    ]


def register(
    holes: Sequence[RegistrationHole],
    blank: Blank,
    plan: RegistrationPlan,
    drilling: DrillingPlan,
) -> tuple[dict[int, list[HoleCut]], tuple[Finding, ...]]:
    """The cuts of registration holes by the pass that makes them."""
    by_pass: dict[int, list[HoleCut]] = {}
    missing: dict[tuple[float, bool], RegistrationHole] = {}
    for hole in holes:
        at, end = hole.ends
        # a registration hole needs its exact size
        if end is None:
            cutter = choose(hole.diameter, plan.cutters, REGISTRATION_FIT)
        else:
            cutter = choose_mill(hole.diameter, plan.cutters)
        if cutter is None:
            missing.setdefault((hole.diameter, end is None), hole)
            continue
        by_pass.setdefault(hole.drilled_in, []).append(
            HoleCut(
                at=at,
                end=end,
                diameter=hole.diameter,
                cutter=cutter.name,
                depth=depth_of(cutter, blank, drilling.breakthrough),
                work="register",
                placement=None,
                hole=hole.id,
            )
        )
    findings = [
        Finding(
            code="registration-without-cutter",
            severity="stop",
            message=(
                f"No cutter fits registration holes of {diameter:g} mm. Name a drill of that "
                "size or a thinner end mill in [registration] cutters."
                if is_round
                else f"No end mill fits the registration slots {diameter:g} mm wide. Name one in "
                '[registration] cutters, or set second_hole = "relieved pin" and relieve a pin.'
            ),
            frame="blank",
            at=hole.blank,
            blank=blank.number,
        )
        for (diameter, is_round), hole in missing.items()
    ]
    made = [cut for cuts in by_pass.values() for cut in cuts]
    return by_pass, (*findings, *_too_deep(made, blank, drilling))


def pin_cutter(plan: RegistrationPlan) -> tuple[Cutter | None, tuple[Finding, ...]]:
    """The cutter for the pin holes in the spoilboard, or why there is none."""
    cutter = choose(plan.pin, plan.cutters, REGISTRATION_FIT)
    if cutter is not None:
        return cutter, ()
    missing = Finding(
        code="pin-hole-without-cutter",
        severity="stop",
        message=(
            f"No cutter fits the {plan.pin:g} mm pin holes in the spoilboard. Name a drill "
            "of that size or a thinner end mill in [registration] cutters."
        ),
    )
    return None, (missing,)
