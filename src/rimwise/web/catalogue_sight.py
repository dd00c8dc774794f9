"""English words of the pages about sight, under one key each."""

SIGHT_WORDS: dict[str, str] = {
    "nav.sight": "Sight",
    "home.sight": "See what an eye will see",
    "home.sight.text": "From an eye's case sheet and where its implant stands: refraction and "
    "contrast with their ±, a chart and lamps as its optics pass them on, beside the ideal place.",
    "eye.sight": "What this eye will see",
    "sight.title": "What an eye will see",
    "sight.lead": "Light is traced through this very eye, with the implant where it stands and "
    "where it should be. The case sheet must tell axial length, corneal radii and the implant's "
    "power.",
    "sight.eye": "Eye",
    "sight.code.hint": "of the casebook",
    "sight.place": "Where the implant stands",
    "sight.pupils": "Pupils",
    "field.sight.decentration_mm": "Middle of the optic, nasal and superior",
    "sight.decentration.hint": "from the middle of the limbus; temporal and inferior with a minus. "
    "Empty: as measured in this eye's newest picture",
    "field.sight.tilt_deg": "Tilt, nasal and superior",
    "sight.tilt.hint": "where the front of the optic's axis points. Empty: unknown, with the usual "
    "±",
    "field.sight.marks_deg": "Marks of a toric implant",
    "sight.marks.hint": "0 to 180, as the examiner sees them. Empty: where they belong",
    "field.sight.pupil_mm": "Pupil",
    "sight.pupil.hint": "2 to 6; 3 if nothing is said",
    "field.sight.second_mm": "Second pupil",
    "sight.second.hint": "2 to 6; 5 if nothing is said",
    "field.sight.map_pupil_mm": "Pupil of the maps",
    "sight.map.hint": "2 to 6; 4 if nothing is said. Contrast, cylinder and coma of other places "
    "and tilts",
    "sight.send": "Look",
    "sight.no_eye": "The casebook has no eye of this code; choose one from the list of eyes.",
    "sight.no_case": "This eye has no case sheet; write it on the eye's page first.",
    "sight.no_place": "Where the optic stands is not known: no picture of this eye tells it "
    "against the limbus. Give nasal and superior here.",
    "sight.working": "Working: numbers first, then pictures, then maps; a minute or so in all.",
    "sight.so_far": "done of",
    "sight.steps": "steps",
    "sight.again": "Look again",
    "sight.stopped": "Stopped:",
    "sight.not_for": "Not for showing to patients before surgery: no promise of what they will "
    "see.",
    "sight.not_in": "Not in it: adaptation, retina and nerves, scatter, ghosts between surfaces, "
    "movement of eye and lids; light that passes beside the optic.",
    "sight.numbers": "Here beside the ideal placement, pupil",
    "sight.drawing": "Contrast of gratings and contrast through focus, and maps where asked for",
    "sight.behind": "The numbers behind it",
    "sight.full": "Open by itself",
    "sight.scenes": "As seen",
    "sight.scenes.behind": "What stands behind the pictures",
    "sight.scene.scene": "Scene",
    "sight.scene.pupil": "Pupil",
    "sight.scene.here": "Light in the window, here",
    "sight.scene.ideal": "Ideal placement",
    "sight.scene.edge": "The optic's edge",
    "sight.beware": "Beware",
    "sight.assumed": "Assumed",
    "sight.json": "Download the numbers of all pupils (JSON)",
    "sight.other": "Another placement",
    "sight.slide": "Slide sideways to see all of it.",
}
