"""Heads of a survey's columns: what each holds, in which unit, and which names an outline."""

from __future__ import annotations

import re

from geosand.formats.boundaries.place.reference_systems import UNIT_WORDS, UNITS_M
from geosand.formats.boundaries.words.kinds import folded

Row = tuple[int, list[str]]  #: number of the line in the file, its cells
#: English, German, French, Spanish, Italian, Portuguese, Dutch and Scandinavian, without accents.
HEADERS = {
    "point": ("point", "pt", "p", "no", "nr", "number", "name", "id", "point_id", "pointid", "pnt",
              "point_no", "point_number", "point_name", "pkt", "punkt", "matricule", "punto",
              "ponto", "punt", "numero", "punktnummer", "puntnummer", "punktnr", "puntnr"),
    "northing": ("northing", "north", "n", "y", "hochwert", "nord", "nordwert", "norte", "noord",
                 "norr"),
    "easting": ("easting", "east", "e", "x", "rechtswert", "ost", "ostwert", "est", "este", "oost"),
    "elevation": ("elevation", "elev", "el", "z", "h", "height", "level", "rl", "alt", "altitude",
                  "hohe", "hoehe", "cota", "quota", "hojd", "hoyde", "hojde", "hoogte"),
    "code": ("code", "d", "desc", "description", "feature", "fc", "c", "kind", "feature_code",
             "kod", "kode", "codigo", "codice", "descripcion", "descrizione", "descricao",
             "beschreibung", "omschrijving", "beskrivning", "beskrivelse"),
    "string": ("string", "line", "line_id", "string_id", "s", "linie", "ligne", "linea", "linha",
               "lijn"),
}  # fmt: skip
#: The same, where none of the words above is among the heads: some files have both.
FURTHER = {
    "point": ("pktnr", "piste", "cislo", "noktano"),
    "northing": ("grid_northing", "y_coord", "y_coordinate"),
    "easting": ("grid_easting", "x_coord", "x_coordinate"),
    "code": ("bezeichnung", "koodi", "opis", "aciklama", "point_code", "raw_description",
             "full_description"),
}  # fmt: skip
#: Heads of columns behind that of codes which tell one outline from another of its code.
PARTS = (
    *("hole", "hole_no", "hole_number", "number", "no", "nr", "name", "attribute"),
    *("loch", "bahn", "trou", "hoyo", "buca"),
)
DEGREES = {"northing": ("lat", "latitude"), "easting": ("lon", "long", "longitude", "lng")}
HEAD_WITHIN = 20  #: rows at the top among which the heads are looked for
NOUNS = ("green", "tee", "pitch", "field", "court", "lawn", "bunker")
#: Heads of a column that names what each row is a corner of, in tables of corners.
GROUPS = (
    *("name", "id", "surface", "surface_id", "surface_name", "polygon", "polygon_id"),
    *("nom", "nombre", "nome", "naam", "namn", "navn"),
    *("outline", "outline_id", "shape_id", "ring", "feature_id"),
    *NOUNS,
)


def says_places(cells: list[str]) -> bool:
    """Whether a row of heads says which columns are places."""
    return _places(named_columns(cells)[0])


def says_outlines(cells: list[str]) -> bool:
    """Whether a row of heads has one of codes, or of what names an outline."""
    return bool({"code", "string"} & named_columns(cells)[0].keys()) or any(
        head_of(cell)[0] in GROUPS for cell in cells
    )


def named_columns(cells: list[str]) -> tuple[dict[str, int], dict[str, str], bool]:
    """Column of each quantity that a row of heads names, units, and whether they say degrees."""
    order: dict[str, int] = {}
    units: dict[str, str] = {}
    degrees = set()
    for known in (HEADERS, FURTHER):
        if not _places(order):  # one of the two may be the N of numbers
            order = {q: k for q, k in order.items() if q not in DEGREES}
        for k, cell in enumerate(cells):
            word, unit = head_of(cell)
            for quantity, words in known.items():
                in_degrees = known is HEADERS and word in DEGREES.get(quantity, ())
                if (word in words or in_degrees) and quantity not in order:
                    order[quantity] = k
                    if unit:
                        units[quantity] = unit
                    if in_degrees:
                        degrees.add(quantity)
    return order, units, len(degrees) == 2


def head_of(cell: str) -> tuple[str, str]:
    """``Northing (US ft)`` -> "northing", "us_survey_ft"; "" where it says no unit."""
    words = re.sub(r"[^a-z]+", "_", folded(cell)).strip("_")
    for count in (3, 2, 1):
        head, *_ = words.rsplit("_", count)
        tail = words[len(head) + 1 :]
        if head and head != words and UNIT_WORDS.get(tail, tail) in UNITS_M:
            return head, UNIT_WORDS.get(tail, tail)
    return words, ""


def _places(order: dict[str, int]) -> bool:
    return "northing" in order and "easting" in order


def unit_above(rows: list[Row]) -> tuple[int, str]:
    """The row above the heads that says a unit, as "Units: US Survey Feet", and it; else -1, ""."""
    for k, (_, cells) in enumerate(rows):
        said = re.search(r"\bunits?\b[^a-z]*(.*)", folded(" ".join(cells)))
        word = re.sub(r"[^a-z]+", "_", said[1]).strip("_") if said else ""
        if UNIT_WORDS.get(word, word) in UNITS_M:
            return k, UNIT_WORDS.get(word, word)
    return -1, ""


def with_groups(rows: list[Row], heads: list[str], order: dict[str, int]) -> dict[str, int]:
    """The order with the column that names an outline in each row of it, where none holds codes.

    Names of points do not repeat, nor do numbers of rows; of kinds several outlines may be.
    """
    if "string" in order:  # ligne, línea: also the number of the row
        cells = [row[order["string"]] for _, row in rows if order["string"] < len(row)]
        if len(set(cells)) == len(cells):
            order = {q: k for q, k in order.items() if q != "string"}
    if "string" in order or ("code" in order and head_of(heads[order["code"]])[0] != "kind"):
        return order
    kept = {q: k for q, k in order.items() if q != "point"}
    kinds = {row[order["code"]] for _, row in rows if order.get("code", len(row)) < len(row)}
    names = {}
    for k, head in enumerate(heads):
        if k not in kept.values() and head_of(head)[0] in GROUPS:
            cells = [row[k].strip() if k < len(row) else "" for _, row in rows]
            several = len(set(cells))
            if "" not in cells and len(kinds) <= several <= len(cells) / 3:
                names[k] = several
    if not names:
        return order
    # of as many, names say more than the numbers of the greens that they lie on
    found = max(names, key=lambda k: (names[k], head_of(heads[k])[0] not in NOUNS))
    return {**(kept if order.get("point") == found else order), "string": found}
