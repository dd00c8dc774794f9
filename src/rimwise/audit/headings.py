"""How headings of tables from elsewhere are read: other languages, accents, units in brackets."""

import re
import unicodedata

# Headings of German, French, Spanish and Italian tables; accents, case and signs do not count.
FOREIGN: dict[str, tuple[str, ...]] = {
    "person": ("patient id", "patienten id", "patientennummer", "patient nr", "patient no",
               "patient number", "n patient", "no patient", "numero patient", "id patient",
               "pat id", "paciente", "paziente", "patientin", "person id"),
    "side": ("auge", "seite", "oeil", "cote", "ojo", "lado", "occhio", "lato", "od os"),
    "surgeon": ("operateur", "chirurg", "chirurgien", "cirujano", "chirurgo", "operator"),
    "technique": ("technik", "methode", "tecnica", "metodo"),
    "implant": ("linse", "iol", "implantat", "implante", "impianto"),
    "picture": ("bild", "foto", "photo", "image", "datei", "fichier"),
    "complications": ("komplikation", "komplikationen", "complicaciones", "complicazioni"),
    "complete": ("vollstandig bedeckt", "vollstandige uberlappung", "komplette uberlappung",
                 "recouvrement complet", "cobertura completa", "copertura completa",
                 "complete overlap", "360 overlap", "complete coverage"),
    "acuity_category": ("acuity below letters", "visus kategorie"),
    "operation_day": ("op datum", "operationsdatum", "op tag", "date of operation", "surgery date",
                      "date of surgery", "operation date", "date operation", "date d operation",
                      "date chirurgie", "fecha de cirugia", "data intervento"),
    "age_years": ("alter", "age", "edad", "eta"),
    "least_cover_mm": ("minimale uberlappung", "kleinste uberlappung", "minimum overlap",
                       "min overlap", "least overlap", "minimal overlap", "recouvrement minimal",
                       "recouvrement minimum", "cobertura minima", "copertura minima"),
    "bare_total_deg": ("bare total", "freier bogen", "arc nu"),
    "diameter_mm": ("durchmesser", "diametre", "diametro", "capsulotomy diameter",
                    "rhexis diameter", "rhexisdurchmesser", "diametre du rhexis", "diameter"),
    "target_diameter_mm": ("zieldurchmesser", "solldurchmesser", "diametre cible",
                           "diametre vise", "target diameter", "planned diameter",
                           "diametro objetivo", "diametro previsto"),
    "tilt_nasal_deg": ("verkippung nasal", "inclinaison nasale"),
    "tilt_superior_deg": ("verkippung superior", "inclinaison superieure"),
    "rotation_deg": ("verdrehung", "drehung"),
    "predicted_dpt": ("se vorhergesagt", "sa vorhergesagt", "zielrefraktion", "target refraction",
                      "predicted refraction", "es predit", "es vise", "refraction predite",
                      "ee predicho"),
    "achieved_dpt": ("se erreicht", "sa erreicht", "achieved refraction", "es obtenu",
                     "refraction obtenue", "ee logrado", "postoperative se", "post op se"),
    "sphere_dpt": ("sphare", "sph", "esfera", "sfera"),
    "cylinder_dpt": ("zylinder", "cyl", "zyl", "cylindre", "cilindro"),
    "axis_deg": ("achse", "axe", "eje", "asse", "ax"),
    "acuity_logmar": ("visus logmar", "av logmar", "va logmar", "bcva logmar", "cdva logmar",
                      "logmar acuity"),
    "acuity_decimal": ("visus dezimal", "visus decimal", "av decimale", "decimal acuity",
                       "acuite decimale", "snellen", "snellen acuity", "bcva decimal",
                       "cdva decimal"),
    "laser_day": ("tag der yag", "yag day", "day of yag", "jour yag"),
    "followed_days": ("nachbeobachtung", "follow up", "suivi", "seguimiento"),
    "axial_mm": ("achslange", "bulbuslange", "longueur axiale", "longitud axial",
                 "lunghezza assiale", "axl"),
}  # fmt: skip

# Headings that say what, and not which: the person has to name the column.
_UNCLEAR: tuple[tuple[tuple[str, ...], str], ...] = (
    (("visus", "bcva", "cdva", "ucva", "udva", "acuite", "agudeza", "visual acuity"),
     "says no scale; name it as acuity_logmar or acuity_decimal"),
    (("dezentr", "decentr"),
     "does not say which centre from which; name it as opening_from_optic_nasal_mm, "
     "optic_from_pupil_nasal_mm or another pair"),
)  # fmt: skip

_LENGTHS = {"mm": 1.0, "um": 1e-3, "micron": 1e-3, "microns": 1e-3, "cm": 10.0}
_DIOPTRES = dict.fromkeys(
    ("dpt", "d", "dptr", "diopter", "diopters", "dioptre", "dioptres", "dioptrien", "dioptries"),
    1.0,
)
_ANGLES = dict.fromkeys(("deg", "degree", "degrees", "grad", "degres", "degre"), 1.0)
_DAY_WORDS = {"days": 1.0, "day": 1.0, "d": 1.0, "tage": 1.0, "tag": 1.0, "jours": 1.0,
              "weeks": 7.0, "wochen": 7.0, "semaines": 7.0, "months": 30.44, "monate": 30.44,
              "mois": 30.44, "years": 365.25, "jahre": 365.25, "ans": 365.25}  # fmt: skip
_YEAR_WORDS = dict.fromkeys(("years", "year", "y", "jahre", "ans", "annees", "anos", "anni"), 1.0)
_UNITS: dict[str, dict[str, float]] = {
    "mm": _LENGTHS,
    "dpt": _DIOPTRES,
    "deg": _ANGLES,
    "day": _DAY_WORDS,
    "days": _DAY_WORDS,
    "years": _YEAR_WORDS,
    "logmar": {"logmar": 1.0},
}
_ALL_WORDS = {word for words in _UNITS.values() for word in words} | {"percent"}


def folded(heading: str) -> str:
    """How does a heading read without case, accents, signs and ways of writing ä, ö, ü?

    Examples
    --------
    >>> folded("Minimale Überlappung (mm)"), folded("Minimale_Ueberlappung_mm")
    ('minimale uberlappung mm', 'minimale uberlappung mm')
    >>> folded("N° Œil")
    'n oil'
    """
    words = heading.replace("°", " deg ") if _is_unit_sign(heading) else heading.replace("°", " ")
    words = words.replace("µ", "u").replace("μ", "u").replace("%", " percent ")
    words = words.replace("œ", "oe").replace("Œ", "oe").replace("ß", "ss")
    words = unicodedata.normalize("NFKD", words.lower())
    words = "".join(one for one in words if not unicodedata.combining(one))
    words = re.sub(r"(?<=[a-z])?(a|o|u)e", r"\1", words)
    return re.sub(r"[^a-z0-9]+", " ", words).strip()


def _is_unit_sign(heading: str) -> bool:
    """Whether the ring is a unit: French writes N° for number."""
    return re.search(r"(^|[^a-zA-Z])°\s*[\])]?\s*$", heading) is not None


def unclear(heading: str) -> str:
    """Why is a heading that looks familiar not taken? Empty where it is no such heading.

    Examples
    --------
    >>> unclear("BCVA")
    "'BCVA' says no scale; name it as acuity_logmar or acuity_decimal (--column NAME='BCVA')"
    >>> unclear("Remarks")
    ''
    """
    words = folded(heading)
    for parts, why in _UNCLEAR:
        if any(part in words for part in parts):
            return f"{heading!r} {why} (--column NAME={heading!r})"
    return ""


def without_unit(heading: str) -> tuple[str, str]:
    """Which words and which unit does a heading hold? The unit is empty where none is written.

    Examples
    --------
    >>> without_unit("Durchmesser [µm]"), without_unit("Least cover")
    (('durchmesser', 'um'), ('least cover', ''))
    """
    words = folded(heading).split()
    if len(words) > 1 and words[-1] in _ALL_WORDS:
        words, unit = words[:-1], words[-1]
        return " ".join(words[:-1] if words[-1] == "in" else words), unit
    return " ".join(words), ""


def unit_of(name: str) -> str:
    """Which unit is in a column's own name? Empty where it has none.

    Examples
    --------
    >>> unit_of("least_cover_mm"), unit_of("opacification_score")
    ('mm', '')
    """
    last = name.rsplit("_", 1)[-1]
    return last if last in _UNITS else ""


def factor_to(name: str, unit: str) -> float | None:
    """By what is a cell in this unit multiplied for this column? None where it is no such unit.

    Examples
    --------
    >>> factor_to("least_cover_mm", "um"), factor_to("laser_day", "months")
    (0.001, 30.44)
    >>> factor_to("least_cover_mm", "dpt") is None
    True
    """
    return 1.0 if not unit else _UNITS.get(unit_of(name), {}).get(unit)
