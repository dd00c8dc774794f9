"""The English words of the pages where hands work on pictures."""

PICTURE_WORDS: dict[str, str] = {
    "bench.title": "Picture workbench",
    "bench.open": "Correct on the photograph",
    "bench.script": "This page needs its own script, which the browser does not run; the "
    "measured page works without it.",
    "bench.stage": "The photograph with its curves",
    "bench.strip": "The unrolled cover strip",
    "bench.keys": "With the photograph or the strip in focus: ← → move the direction by 1° (with "
    "Shift 10°); ↑ ↓ move the edge there out and in by one pixel (with Shift 5); Delete removes "
    "the point; O opening, P optic; W whole curve: the arrows then shift it; H begins and ends a "
    "hidden arc; S swaps; Z undoes, Y redoes; + − 0 zoom.",
    "bench.help": "Keys and hands",
    "bench.hands": "Drag on an edge of the photograph or of the strip: a point is placed there and "
    "the curve runs through it; a point that "
    "agrees with the found edge within its ± leaves it as it is. Dragging the whole curve shifts "
    "it on the photograph, and makes it larger or smaller on the strip. Two fingers or "
    "Ctrl with the wheel zoom.",
    "bench.curve": "Edge",
    "bench.opening": "Opening",
    "bench.optic": "Optic",
    "bench.tool": "Hand",
    "bench.point": "Points",
    "bench.whole": "Whole curve",
    "bench.hide": "Hidden arc",
    "bench.view": "Move picture",
    "bench.undo": "Undo",
    "bench.redo": "Redo",
    "bench.swap": "Swap the edges",
    "bench.fresh": "As found",
    "bench.in": "Zoom in",
    "bench.out": "Zoom out",
    "bench.fit": "Whole picture",
    "bench.at": "At direction",
    "bench.back": "Direction back",
    "bench.on": "Direction on",
    "bench.outward": "Edge out",
    "bench.inward": "Edge in",
    "bench.arc.here": "Hidden arc from or to here",
    "bench.remove": "Remove point",
    "bench.busy": "Numbers follow…",
    "bench.points": "Placed points and hidden arcs",
    "bench.which": "Edge",
    "bench.where": "Where",
    "bench.none": "None: the curves are as the program found them.",
    "bench.arc": "hidden arc",
    "bench.point.one": "point",
    "bench.save": "Save in the casebook",
    "bench.save.lead": "A new version is added; nothing is overwritten. An eye that the casebook "
    "does not have is added with the picture.",
    "bench.save.send": "Save as a new version",
    "bench.meanwhile": "Somebody saved a newer version of this picture meanwhile; yours is not "
    "lost: save it as the next version, or look at the newer one.",
    "bench.anyway": "Save mine as the next version",
    "bench.newer": "Look at the newer one",
    "bench.versions": "Versions",
    "bench.compare": "Compare with",
    "bench.nothing": "nothing",
    "bench.version": "Version",
    "bench.covered": "covered",
    "bench.bare": "bare",
    "bench.unseen": "not seen",
    "bench.times": "heights enlarged",
    "bench.mm": "1 mm at the optic",
    "bench.legend": "Solid: optic's edge; dotted: opening's edge; dashed: pupil and limbus; thin: "
    "not seen. ■ placed point, ◇ least cover. ± is one standard deviation, the band two.",
    "error.bench_code": "An eye's code is needed to save; give a pseudonym, never a name.",
}
