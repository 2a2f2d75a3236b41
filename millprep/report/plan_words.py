"""The words of the plan to print, all in one place so that they can be translated.

`{name}` stands for what is filled in. Numbers come in as text and keep their point whatever the
language; names of files, commands and keys are no words.
"""

from __future__ import annotations

WORDS = {
    # the head of the plan
    "set": "Set",
    "set.made_from": "made from set {set} with readings taken at the machine",
    "set.goes_on": "goes on where a cutter broke, from set {set}",
    "set.machine": "machine: {machine}",
    "set.time": "running time about {time}, without set-up and cutter changes",
    "set.same": "Every program of this set carries the same set id in its head. Do not mix sets.",
    "set.id": "set {set}",
    "details.print": "Print the details too",
    "details.what": "all findings, joins, all checks with a meter, voltage and current, inputs",
    # cautions
    "caution": "Before you start",
    "caution.dust": "Dust.",
    "caution.dust.words": "Cut glass-fibre laminate is harmful dust: it irritates eyes, skin, "
    "nose and throat, and the resin can sensitise skin. Extract at the cutter and wear a "
    "respirator. Clean with a vacuum or wet, never with compressed air.",
    "caution.spindle": "Rotating spindle, flying chips.",
    "caution.spindle.words": "Eye protection on, guard closed, no gloves, sleeves or hair near "
    "the spindle. Hands off until it stands still. Know where the stop is.",
    "caution.volts": "Lethal voltages.",
    "caution.volts.words": "Valve circuits run at hundreds of volts, and capacitors keep their "
    "charge after the power is off. Discharge and measure before you touch. Keep live parts "
    "covered.",
    "caution.power": "Before any power is on:",
    "caution.power.words": "deburr, brush and wash the board, look along every gap, and measure "
    "between neighbouring pieces of copper.",
    "caution.codes": "Local codes and licensed practice come first,",
    "caution.codes.words": "before anything on this sheet. Where a standard applies, the "
    "standard itself decides.",
    # findings
    "findings": "Findings",
    "findings.decide": "Decide before you cut",
    "findings.more": "{count} more to decide stand in the details.",
    "findings.number": "No.",
    "findings.weight": "Weight",
    "findings.what": "What, and what to do",
    "findings.where": "Where",
    "findings.show": "show",
    "weight.stop": "STOP",
    "weight.warn": "Decide",
    "weight.note": "Note",
    "where.board": "board {board}",
    "where.copy": "board {board}, copy {copy}",
    "where.blank": "blank {blank}",
    "where.pass": "pass {nth}",
    "where.frame.drawing": "{place} in the drawing",
    "where.frame.blank": "{place} on the blank",
    "where.frame.machine": "{place} on the machine",
    "where.line": "{file}, line {line}",
    # a run that is refused
    "refused": "Refused: {job}, set {set}.",
    "refused.one": "1 finding stops this job. No program was written.",
    "refused.more": "{count} findings stop this job. No program was written.",
    "refused.where": "Where: {where}.",
    "refused.picture": "Picture: {file}",
    # what is needed, and the order of work
    "need": "What you need",
    "need.blank": "Blank",
    "need.size": "Size, X × Y",
    "need.thick": "Thickness",
    "need.boards": "Boards on it",
    "need.size.of": "{x} × {y} mm",
    "need.thick.of": "{thick} mm with {copper} mm of copper",
    "need.board": "{count} × {board}",
    "need.cutter": "Cutter",
    "need.what": "What it is",
    "need.shank": "Shank, mm",
    "need.edge": "Edge, m/min",
    "need.chip": "Chip, µm",
    "order": "Order of work",
    "order.pass": "Blank {blank}, pass {nth} of {last}",
    "order.bed": "The bed, once",
    "order.after": "When all passes are done",
    "time.unknown": "not known",
    # the bed
    "bed": "The bed, once, before the first pass",
    "bed.off": "Blank off. These programs cut into the bed itself.",
    "bed.xy": "X and Y: set the zero as for the first pass, and keep it from now on: the pins and "
    "every pass depend on it.",
    "bed.z": "Z: touch off on {what} at {place}, again after every change of cutter.",
    # programs
    "run": "Run in this order (about {time})",
    "run.folder": "The files lie in {folder}.",
    "run.by_hand": "The spindle is switched by hand: each program stops and asks for it before "
    "the cutter meets the work.",
    "run.depths": "Depths are below the copper's surface. Rapid moves stay {clearance} mm or more "
    "above it.",
    "run.dry": "The dry run goes around it all {height} mm up: nothing may be in its way, and "
    "the blank must lie under all of it.",
    "run.done": "Done",
    "run.program": "Program",
    "run.work": "Work",
    "run.cutter": "Cutter",
    "run.depth": "Depth, mm",
    "run.spindle": "Spindle, rpm",
    "run.feed": "Feed / plunge, mm/min",
    "run.time": "Time",
    "run.change": "put in: {cutter}",
    "run.off": "off",
    "run.part": "{file}, lines {first} to {last}",
    "run.tool": "T{number}: {cutter}",
    "run.pause": "One file holds several cutters. Before each next one the spindle is stopped, the "
    "program goes up to Z {above} over the place where Z is zeroed, stops, and says which cutter "
    "to put in. Put it in, zero Z with it there, then go on. This needs a machine on which Z can "
    "be moved and zeroed while a program waits.",
    "run.changer": "The machine changes cutters, with the numbers below; the cutters must stand so "
    "in its changer. Before each change the program goes up to Z {above} over the place where Z is "
    "zeroed, and after it stops: zero Z with the new cutter there, then go on. Stored lengths of "
    "cutters are not used (G49).",
    "run.silent": "The programs hold no comments.",
    "run.silent_by_hand": "The programs hold no comments: the first stop of each asks for the "
    "spindle to be started, the last for it to be stopped.",
    # set-up
    "setup": "Set up",
    "setup.still": "Spindle off and standing still.",
    "setup.swept": "Bed flat and swept clean.",
    "setup.clamps_off": "Take these clamps off the bed: {clamps}.",
    "setup.lift": "Free the blank, lift it off, sweep the bed and the holes clean.",
    "setup.tape": "No clamp is planned in this pass: hold the blank flat with tape.",
    "setup.clamp": "Clamp it here and nowhere else: {clamps}.",
    "setup.one_clamp": "X {x0} to {x1}, Y {y0} to {y1}",
    "setup.height": "{clamps}, {height} mm above the copper",
    "setup.under": "A spoilboard lies under the blank: the cutters go {mm} mm below the laminate.",
    "setup.lay": "Lay blank {blank} ({size}) copper side up, as in the picture, its low left "
    "corner at {place}.",
    "setup.lay_no_pins": "Lay blank {blank} ({size}) copper side up, as in the picture, its low "
    "left corner at {place}. Pins out of the bed.",
    "setup.turned": "turned end for end by half a turn",
    "setup.not_turned": "not turned end for end",
    "setup.pins": "Put the pins in the bed and lower blank {blank} onto them with the holes "
    "listed below, copper side up, {way}. The pins must end below the copper.",
    "setup.pins_numbered": "Put the pins in the bed and lower blank {blank} onto them with the "
    "holes listed below (the set numbered {nth}), copper side up, {way}. The pins must end below "
    "the copper.",
    "setup.move": "Move blank {blank} to its new place, copper side up, {way}.",
    "setup.touch": "Shift it until the tip, lowered to just above the copper, stands over each of "
    "its registration holes where the list below says; then hold it, and touch the holes as told "
    "below.",
    "setup.measure": "Measure where its registration holes stand and shift or turn it until they "
    "are where the list below says; or type what you read into a file for millprep refit.",
    "setup.overhang": "The blank reaches {mm} mm past the travel {side}: hold it up "
    "there, level with the bed, about {place}.",
    "setup.tips": "More than half of it hangs there, and it tips.",
    "side.left": "on the left",
    "side.right": "on the right",
    "side.front": "on the front",
    "side.back": "on the back",
    # the drawing of a set-up
    "drawing": "The set-up of {title}: blank, clamps, zero, touch point and holes with dimensions",
    "drawing.scale": "Dimensions in mm from the work zero, as the machine shows them",
    "drawing.zero": "work zero X0 Y0",
    "drawing.touch": "Z touch point",
    "drawing.travel": "travel of the machine",
    "drawing.clamp": "clamp, with its height above the copper",
    "drawing.prop": "hold the blank up here",
    "drawing.drilled": "hole made in this pass",
    "drawing.pin": "pin through the blank",
    "drawing.hole": "hole to find",
    "drawing.look": "cross to look at",
    "drawing.z": "Z",
    # registration holes
    "hole": "Hole",
    "hole.diameter": "⌀",
    "hole.role": "In this pass it",
    "hole.read": "Read {axis}",
    "role.locate": "locates the blank",
    "role.key": "key: fits one way only",
    "role.witness": "is looked at",
    "made.drilled": "is drilled now for pass {nth}",
    "made.engraved": "is engraved now for pass {nth}",
    # zero
    "zero": "Zero",
    "zero.kept": "X and Y: keep the zero of the pass before; do not set it again.",
    "zero.set": "X and Y: the low left corner of the blank stands at {place} of the machine. Set "
    "the zero so that the display shows these numbers with the spindle's axis over that corner.",
    "zero.z": "Z: touch off on the copper at {place}. Nothing is ever cut there. The copper's "
    "surface is Z 0.",
    "zero.again": "Zero Z at this same point before the first program and again after every "
    "change of cutter. X and Y stay as they are.",
    "zero.map": "The programs of this pass follow the surface that was probed. Since then the "
    "blank, its clamps and the zero of X and Y must not have moved; if they have, probe again.",
    "zero.lost_pins": "If X and Y were lost, as after a power failure: lift the blank off, and "
    "touch the pin from outside on both sides along X, then along Y. Over the middle of pin "
    "{first} set {at}. Check: the middle of pin {second} must then show {there} within {mm} mm.",
    "zero.lost_holes": "If X and Y were lost, as after a power failure: touch the hole from "
    "within on both sides along X, then along Y. Over the middle of hole {first} set {at}. Check: "
    "the middle of hole {second} must then show {there} within {mm} mm.",
    "zero.until_pins": "Until {first} is drilled, go by the pin holes in the bed, which stand "
    "where the pins of the later passes are listed.",
    "zero.until_corner": "Until {first} is drilled, go by the blank's corner.",
    # touching holes
    "touch": "Touching: where the blank lies",
    "touch.how": "lowers the tip ({tip}) into every hole, spindle off, and touches its copper rim "
    "on four sides. Wire one lead of the probe input to the tip, the other to the copper of the "
    "margin, and see that the input changes when the tip is laid on the copper. The copper must "
    "go all around each hole: take burrs off. Stop the machine unless the tip stands over the "
    "hole within {play} mm when it waits just above it. After each touch write down the "
    "coordinate that the display shows. Do not turn the spindle between touches. Then type the "
    "readings into a file and make the programs of this pass anew:",
    "touch.on": "Go on with the new set, with the program after the one that touches.",
    "touch.hole": "Hole",
    "touch.left": "Left, X",
    "touch.right": "Right, X",
    "touch.low": "Low, Y",
    "touch.high": "High, Y",
    # verniers
    "vernier": "Verniers: how far this pass lies off",
    "vernier.how": "After {file} and before anything else is cut, look at each pair of combs with "
    "a lens and write down which line runs straight through both; between two lines, say 3.5. "
    "Lines toward the engraved plus sign count up, the others down, the longest is 0. One line is "
    "{step} mm.",
    "vernier.coarse": "Drawn too coarse, to be seen. Here line {line} runs through: the pass lies "
    "{mm} mm toward the plus sign.",
    "vernier.picture": "Two combs that meet; line {line} runs through both",
    "vernier.pass": "pass {nth}",
    "vernier.id": "Vernier",
    "vernier.measures": "Measures",
    "vernier.at": "Its middle",
    "vernier.lines": "Lines",
    "vernier.read": "Read",
    "along.x": "along X",
    "along.y": "along Y",
    "vernier.range": "{low} to {high}",
    "vernier.then": "All within two lines of 0: go on. Otherwise type the readings into a file "
    "and make the programs of this pass anew, then go on with the program after the combs:",
    # joins
    "joins": "Joins with earlier passes",
    "joins.words": "On copper this pass has {joins}, {pairs}. None is expected to be more than "
    "{most} mm off on 99.7 % of blanks, none stands less than {least} mm.",
    "joins.one": "1 join",
    "joins.more": "{count} joins",
    "joins.pair": "{count} with pass {nth}",
    "joins.and": " and ",
    "joins.weakest": "The {count} weakest of them:",
    "joins.at": "At",
    "joins.piece": "Board, piece",
    "joins.passes": "Passes",
    "joins.two": "{one} and {other}",
    "joins.expected": "99.7 % miss by less than, mm",
    "joins.stands": "Stands, mm",
    "joins.times": "Stands",
    # after the passes
    "after": "When all passes are done",
    "after.vacuum": "Spindle off and standing still. Vacuum the dust before you lift the board.",
    "after.tabs": "Cut the tabs and file the edge. Deburr holes and edges of the copper.",
    "after.brush": "Brush the gaps along their length and wash the board. Look at every gap "
    "against the light.",
    "after.measure": "Measure for shorts between neighbouring pieces before you fit parts.",
    # checks with a meter
    "buzz": "Buzz out, before any part is fitted",
    "buzz.how": "Touch both places with a meter and tick what comes out as expected.",
    "buzz.few": "These {shown} of {all} checks first: narrowest gaps, joins, longest ways. All of "
    "them are in {file} and in the details of this sheet.",
    "buzz.all_shown": "These are all checks; {file} has them too.",
    "buzz.places": "Places are X, Y in mm from the low corner of the board with its copper up and "
    "X to the right, as it lay on the mill.",
    "buzz.turned": "Seen from the components, turned over about its long side, X stays and Y "
    "counts from the other edge: {file} gives both.",
    "buzz.rows": "Each row: a hole, or bare copper that is no piece, with its X, Y; the other; "
    "what must be; why. A net: its pads farthest apart. A length: so much is between the two at "
    "their narrowest. Join 1|2: there passes 1 and 2 meet. * once the links are soldered; † before "
    "they are.",
    "buzz.marks": "* once the links are soldered; † before they are.",
    "buzz.meter": "A meter of a few volts proves no insulation.",
    "buzz.meter.words": "Tests of insulation at high voltage are work for a competent person with "
    "the equipment for it.",
    "buzz.must_apart": "Must be apart",
    "buzz.must_connect": "Must be connected",
    "buzz.title": "{board}, copy {copy}, blank {blank}",
    "buzz.like": "{board}, copy {copy} of {count}, blank {blank}",
    "buzz.number": "Done, no.",
    "buzz.one": "Touch",
    "buzz.other": "and",
    "buzz.expect": "Must be",
    "buzz.why": "Why",
    "buzz.apart": "apart",
    "buzz.connected": "connected",
    "buzz.bare": "bare",
    "buzz.join": "join {one}|{other}",
    # voltage and current
    "judged": "Voltage and current: {title}",
    "judged.title": "{board}, copy {copy} on blank {blank}",
    "judged.caution": "This is functional spacing by a copy of IPC-2221 table 6-1, no insulation "
    "that protects a person; the standard itself decides, and licensed practice comes first.",
    "judged.places": "Places are in mm on the blank.",
    "judged.spacing": "Spacing, the least margins",
    "judged.more": "{count} more pairs have no less margin.",
    "judged.current": "Current, the section nearest to its limit",
    "judged.across": "What loads between two nets get",
    "judged.between": "Between",
    "judged.volts": "Volts",
    "judged.required": "Required, mm",
    "judged.measured": "Measured, mm",
    "judged.direct": "Direct, mm",
    "judged.margin": "Margin, mm",
    "judged.stones": "Floating areas",
    "judged.at": "At",
    "judged.net": "Net",
    "judged.width": "Width, mm",
    "judged.carries": "Carries, A",
    "judged.number": "No.",
    "judged.load": "Load",
    "judged.lost": "V lost",
    "unit.amperes": "A",
    "unit.volts": "V",
    # going on after a break
    "resumed.title": "Blank {blank}, pass {nth}, going on",
    "resumed.pieces": "Spindle off and standing still. Find every piece of the broken cutter: one "
    "that is stuck in the copper breaks the next. Pull it out without moving the blank.",
    "resumed.still": "The blank must lie as it lay, held as it was. X and Y zero must not have "
    "moved since the pass began: go to a place you know, such as the point where Z is touched "
    "off, and look. If they were lost, find them again as the sheet of set {set} tells under Zero.",
    "resumed.cutter": "Put a new cutter {cutter} in and set Z zero with it on the copper at "
    "{touch}: it stands out by another length.",
    "resumed.run": "Run {file}, a hand on the stop. It takes up {of} of set {set}.",
    "resumed.whole": "It goes down at {place}, at restart point {point} of {points}, and makes "
    "that cut anew from its beginning.",
    "resumed.part": "It goes down at {place} to Z {z}, on the path {mm} mm before the place you "
    "named, in the cut of restart point {point} of {points}: so far it cuts air in a groove that "
    "is there. If it meets full copper there, stop, and take an earlier restart point.",
    "resumed.board": "It makes only the cuts on {board}, copy {copy}.",
    "resumed.then": "Then go on with set {set}: run the programs that come after the broken one, "
    "in the order of its own sheet.",
    "resumed.zero": "X and Y: the zero stays as it is; do not set it again.",
    # what the set was made from
    "inputs": "Made from",
    "inputs.file": "File",
}


def say(key: str, **values: object) -> str:
    """The words of a key with `values` filled in; a value is never read as a pattern."""
    return WORDS[key].format(**values)
