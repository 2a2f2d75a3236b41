"""A survey: what a drawing holds, and which layers may play which role.

Guesses rest on the geometry and on what the file says of itself, never on layer names.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from millprep.drawing import kinds, selection, unit
from millprep.drawing.dxf import opening
from millprep.drawing.dxf.entities import walk
from millprep.drawing.gather import Walked
from millprep.drawing.gerber.marks import open_file
from millprep.drawing.kinds import Kind
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.mark import Curve, Fill, Mark, Round, Stroke, Unread
from millprep.drawing.marks.neighbours import TooMuchError
from millprep.drawing.survey.candidates import Candidate
from millprep.drawing.survey.guess import Guess, guess
from millprep.drawing.survey.layer_facts import Box, LayerFacts, joined
from millprep.drawing.unit import UnitReading
from millprep.model.finding import Refusal
from millprep.model.job.layers import LayerRoles, Selection, Unit


@dataclass(frozen=True, slots=True)
class SurveyedLayer:
    """One layer.

    Attributes:
        name: as the file spells it.
        kinds: entity kind and count, most frequent first; content of inserts counts on
            the layer it is drawn on, named "LINE in insert".
        box: (x0, y0, x1, y1) of what is drawn, working unit; None when nothing has a shape.
        hidden: whether the file freezes the layer or switches it off.
        candidates: what it may be, the likeliest first.
        distinctions: for each key of a selection the values found and how many shapes have them.
        marks: everything with a shape, working unit, for pictures.
        words: number of texts.
        rounds: its circles of no width, working unit.
        part_names: those of its texts that look like names of parts.
    """

    name: str
    kinds: tuple[tuple[str, int], ...]
    box: Box | None
    hidden: bool
    candidates: tuple[Candidate, ...]
    distinctions: tuple[tuple[str, tuple[tuple[str, int], ...]], ...]
    marks: tuple[Curve | Stroke | Fill, ...]
    words: int
    rounds: tuple[Round, ...]
    part_names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Survey:
    """What a drawing holds. The working unit is mm where the unit is known, else the drawing's.

    Attributes:
        kind: of file; a Gerber or drill file has one layer, called by the file's name.
        function: what such a file says of itself, `("Copper", "L2", "Bot")`.
        version: of the format, as the file says ("AC1027").
        entities: number in the model space.
        layers: those with something drawn on them, by name.
        box: of everything, working unit.
        unit: name of the unit: the file's, or the one that was given; None when nobody says.
        unit_mm: its length.
        stated: whether the file itself states it.
        hint: what $MEASUREMENT hints at, which is wrong at times.
        units: what each likely unit makes of the board.
        unit_words: the same in words.
        roles: the guess, None where geometry does not settle the copper; a role without
            layers is not settled.
        edge: the layer that draws the board's edge, where there is just one.
        needs_mode, needs_width: copper layers whose mode, or whose track width, the job has to say.
        close_gaps: gaps to close in the outline, working unit; 0 for none.
        doubts: why there is no guess, or what is to be looked at in it.
        unread: what could not be read, as sentences.
        repairs: what was changed to open a damaged file, each with its name.
        selections: those that take the region that was given; the layers are called by them.
        mixed: why the only layer cannot be read as copper; "" where it can.
        walked: the DXF drawing and its marks, where nothing was mended.
    """

    kind: Kind
    function: tuple[str, ...]
    version: str
    entities: int
    layers: tuple[SurveyedLayer, ...]
    box: Box | None
    unit: str | None
    unit_mm: float | None
    stated: bool
    hint: str | None
    units: tuple[UnitReading, ...]
    unit_words: str
    roles: LayerRoles | None
    edge: tuple[str, ...]
    needs_mode: tuple[str, ...]
    needs_width: tuple[str, ...]
    close_gaps: float
    doubts: tuple[str, ...]
    unread: tuple[str, ...]
    repairs: tuple[str, ...] = ()
    selections: tuple[Selection, ...] = ()
    mixed: str = ""
    walked: Walked | None = None

    @property
    def per_mm(self) -> float:
        """Drawing units to one working unit."""
        return 1.0 / self.unit_mm if self.unit_mm else 1.0


def survey_file(
    file: Path,
    unit_given: Unit | None = None,
    repair: bool = False,
    region: Box | None = None,
    split: Sequence[selection.Key] = (),
) -> Survey:
    """Survey a DXF, Gerber or drill file.

    Args:
        file: the drawing.
        unit_given: its unit, for one that states none.
        repair: whether a file that does not open as it is may be mended.
        region: only what lies wholly within this rectangle, drawing coordinates in mm.
        split: what parts the shapes of a layer into selections; it takes no Gerber or drill file.

    Raises:
        Refusal: exit code 3, when the file is missing, damaged, of another kind or another unit.
    """
    ledger = Ledger(None, file.name)
    content = opening.content_of(file, ledger)
    kind = kinds.kind_of(content)
    if kind in ("Gerber", "drill"):
        held = _fabrication(content, kind, file.name, unit_given, ledger)
    else:
        held = _dxf(file, content, unit_given, repair, ledger)
    scale = held.scale
    if (region is not None or "edge" in split) and scale is None:
        words = f"{file.name} does not say its unit, so a region in mm cannot be taken from it"
        ledger.stop("drawing-no-unit", words, "say the unit of this drawing too")
    ledger.refuse_if_stopped()
    marks = _all(held.marks, ledger)
    layers, unread, selections = _walked(marks, region, split, ledger)
    if kind == "DXF" and all(layer.box is None for layer in layers) and not unread:
        counts = sum((layer.kinds for layer in layers), Counter[str]())
        shown = ", ".join(f"{n} {what}" for what, n in counts.most_common(6))
        ledger.stop(
            "drawing-empty",
            f"{file.name} holds no line and no area: {shown}",
            "export the layers that draw the board",
        )
        ledger.refuse_if_stopped()
    try:
        guessed = guess(layers, in_mm=scale is not None)
    except TooMuchError as fault:
        raise _too_much(fault, ledger) from None
    box = joined([layer.box for layer in layers])
    per_mm = 1.0 / scale if scale else 1.0
    extent, diameters = _measured(layers, guessed, box)
    size = (extent[0] * per_mm, extent[1] * per_mm)
    drills = [diameter * per_mm for diameter in diameters]
    return Survey(
        kind=kind or "DXF",
        function=held.function,
        version=held.version,
        entities=held.count,
        layers=tuple(_layer(layer, guessed, layer.name in held.hidden) for layer in layers),
        box=box,
        unit=held.unit or unit_given,
        unit_mm=scale,
        stated=held.unit is not None,
        hint=held.hint,
        units=unit.readings(size, drills),
        unit_words=unit.sizes(size, drills),
        roles=guessed.roles,
        edge=guessed.edge,
        needs_mode=tuple(guessed.needs_mode),
        needs_width=tuple(guessed.needs_width),
        close_gaps=guessed.close_gaps,
        doubts=tuple(guessed.doubts) if kind == "DXF" else (),
        unread=(
            *(f"{n} × {words}" for words, n in sorted(unread.items())),
            *(() if repair else held.changes),
        ),
        repairs=held.changes if repair else (),
        selections=selections,
        mixed=guessed.mixed if kind == "DXF" else "",
        walked=None if repair or held.opened is None else Walked(held.opened, scale, marks),
    )


@dataclass(frozen=True, slots=True)
class _Held:
    """What a file of any kind holds: `marks` in mm where `scale` is known."""

    version: str
    count: int
    marks: Iterable[Mark]
    unit: str | None
    scale: float | None
    hint: str | None = None
    hidden: frozenset[str] = frozenset()
    changes: tuple[str, ...] = ()
    function: tuple[str, ...] = ()
    opened: opening.Drawing | None = None


def _dxf(
    file: Path, content: bytes, unit_given: Unit | None, repair: bool, ledger: Ledger
) -> _Held:
    drawing = opening.load(file, content, ledger, repair)
    doc = drawing.doc
    entities = list(doc.modelspace())
    if not entities:
        ledger.stop(
            "drawing-empty",
            f"the model space of {file.name} holds no entities",
            "export the board's layers into the model space",
        )
    said = unit.of_file(drawing)
    scale = unit.scale(drawing, unit_given, ledger)
    ledger.refuse_if_stopped()
    return _Held(
        str(doc.dxfversion),
        len(entities),
        walk(entities, scale or 1.0, lambda _: True),
        said[0] if said else None,
        scale,
        unit.measurement(drawing),
        frozenset(str(la.dxf.name) for la in doc.layers if la.is_off() or la.is_frozen()),
        tuple(str(change) for change in drawing.changes),
        opened=drawing,
    )


def _fabrication(
    content: bytes, kind: Kind, name: str, unit_given: Unit | None, ledger: Ledger
) -> _Held:
    held = open_file(content, kind, name, ("--unit", unit_given, None), ledger)
    ledger.refuse_if_stopped()
    says = f" ({', '.join(held.function)})" if held.function else ""
    known = held.unit or unit_given
    sized = [m for m in held.marks if isinstance(m, Fill) or m.widths.any()]
    # where anything has a size, what has none draws nothing
    marks: tuple[Mark, ...] = (*(sized or held.marks), *held.noted)
    scale = None if known is None else unit.MM[known]
    return _Held(f"{kind} file{says}", held.count, marks, held.unit, scale, function=held.function)


def _all(marks: Iterable[Mark], ledger: Ledger) -> list[Mark]:
    try:
        return list(marks)
    except TooMuchError as fault:
        raise _too_much(fault, ledger) from None


def _walked(
    marks: list[Mark], region: Box | None, split: Sequence[selection.Key], ledger: Ledger
) -> tuple[list[LayerFacts], Counter[str], tuple[Selection, ...]]:
    """Facts of every layer, by name, what could not be read, and selections that take a region."""
    layers: dict[str, LayerFacts] = {}
    unread: Counter[str] = Counter()
    selections: tuple[Selection, ...] = ()
    try:
        if region is not None or split:
            marks, selections = _selected(marks, region, split)
        for mark in marks:
            layer = layers.setdefault(mark.source.layer, LayerFacts(mark.source.layer))
            layer.add(mark)
            if isinstance(mark, Unread):
                unread[f"layer {mark.source.layer!r}, {mark.source.kind}: {mark.reason}"] += 1
        for layer in layers.values():
            layer.close()
    except TooMuchError as fault:
        raise _too_much(fault, ledger) from None
    return sorted(layers.values(), key=lambda la: la.name), unread, selections


def _too_much(fault: TooMuchError, ledger: Ledger) -> Refusal:
    """What refuses a drawing that this reader will not work on."""
    ledger.stop("drawing-too-large", str(fault), "export only the layers of the board")
    return Refusal(ledger.take(), exit_code=3)


def _selected(
    marks: list[Mark], region: Box | None, split: Sequence[selection.Key]
) -> tuple[list[Mark], tuple[Selection, ...]]:
    """The marks within a region, on layers called by the selections that take them."""
    wanted = selection.selections_by(marks, region, split)
    made = selection.select(marks, wanted)
    kept = [mark for mark in made.marks if region is None or mark.source.drawn_on is not None]
    taken = zip(wanted, made.taken, strict=True)
    return kept, tuple(chosen for chosen, count in taken if count)


def _layer(layer: LayerFacts, guessed: Guess, hidden: bool) -> SurveyedLayer:
    return SurveyedLayer(
        layer.name,
        tuple(sorted(layer.kinds.items(), key=lambda kv: (-kv[1], kv[0]))),
        layer.box,
        hidden,
        tuple(guessed.candidates.get(layer.name, [])),
        tuple(
            (key, tuple(sorted(counts.items(), key=lambda kv: (-kv[1], kv[0]))))
            for key, counts in layer.distinctions.items()
            if counts
        ),
        tuple(layer.marks),
        layer.words,
        tuple(layer.rounds),
        tuple(layer.part_names),
    )


def _measured(
    layers: Sequence[LayerFacts], guessed: Guess, box: Box | None
) -> tuple[tuple[float, float], list[float]]:
    """Extent of the board and diameters of its holes, as far as roles are settled."""
    by_name = {layer.name: layer for layer in layers}
    roles = guessed.roles
    edge = box
    if roles is not None:
        edge = joined([by_name[name].box for name in roles.outline or roles.copper])
    diameters: list[float] = []
    only = {
        name for name, some in guessed.candidates.items() if any(c.role == "holes" for c in some)
    }
    for name, candidates in guessed.candidates.items():
        if name in (roles.holes if roles is not None else only or guessed.candidates):
            some = next((c.drills for c in candidates if c.drills), ())
            diameters += [diameter for diameter, n in some for _ in range(n)]
    size = (edge[2] - edge[0], edge[3] - edge[1]) if edge else (0.0, 0.0)
    return size, diameters
