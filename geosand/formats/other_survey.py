"""The boundaries that a site is compared with: another site, a boundary file or an edition."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from geosand.columns import take
from geosand.errors import Faults, Refused, refused
from geosand.formats.geojson import read_edition
from geosand.formats.plain_files import plain_bytes
from geosand.formats.site_folder import read_site
from geosand.site.assemble import RawSite, assemble
from geosand.site.cells import RawTable, quoted
from geosand.site.tables import NO_DAY, Site, Surfaces

MAXIMUM_MB = 100
REMEDY = "name a GeoJSON file of the site's surfaces"
JSON = (".geojson", ".json")  #: these are read as the site's own surfaces file is


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """One edition of a site's boundaries, and where it came from."""

    label: str
    day: str | None  #: from when it holds
    source: str  #: file that it came in; "" = not said
    source_crs: str  #: "" = lon/lat in WGS 84
    datum_accuracy_m: float  #: of the shift to WGS 84; nan = not said
    surfaces: Surfaces


def read_other_survey(folder: Path, site: Site, named: str) -> Survey:
    """The survey ``named``, to be held against the boundaries of ``site`` in ``folder``.

    ``named`` is a site folder, a boundary file, the name of a file in ``editions/`` or the day
    from which an edition of the site holds. A boundary file takes accuracies, heights and
    targets that it does not say itself from the site. Raises Refused.
    """
    path = Path(named)
    edition = folder / "editions" / f"{path.name.removesuffix('.geojson')}.geojson"
    if path.is_dir():
        other = read_site(path)
        return replace(survey_in_force(other), label=f"{other.name} ({path.resolve().name})")
    if path.is_file():
        content = None if path.suffix.lower() in JSON else _imported(path, named, site)
        return _boundary_file(folder, path, named, content)
    if path.name == named and edition.is_file():
        read = _boundary_file(folder, edition, f"editions/{edition.name}")
        return replace(read, label=f"edition {edition.stem}")
    for number, day in enumerate(site.valid_from):
        if str(day) == named:
            return _survey(site, number, f"edition of {day}")
    raise refused(named, "there is no such survey", remedy=_known(folder, site))


def survey_in_force(site: Site) -> Survey:
    """The newest edition of a site alone."""
    return _survey(site, len(site.valid_from) - 1, "boundaries in force")


def _survey(site: Site, number: int, label: str) -> Survey:
    """One edition of a site."""
    rows = np.flatnonzero(site.surfaces.edition == number)
    day = site.valid_from[number]
    dated = not np.isnat(day) and day > NO_DAY
    return Survey(
        label=label,
        day=str(day) if dated else None,
        source=site.source[number],
        source_crs=site.source_crs[number],
        datum_accuracy_m=site.datum_accuracy_m[number],
        surfaces=take(site.surfaces, rows),
    )


def _imported(path: Path, named: str, site: Site) -> bytes:
    """Any other boundary file as a surfaces file would hold it, at the site's place.

    What a person would have to decide on is not decided here. Raises Refused.
    """
    from geosand.formats.boundaries.place.whereabouts import middle_of
    from geosand.formats.boundaries.read import read_boundaries
    from geosand.formats.boundaries.sites.questions import Choice
    from geosand.formats.boundaries.sites.settling import settle
    from geosand.formats.boundaries.sites.surfaces_file import head_of, surfaces_bytes

    near = middle_of(site.surfaces.geometry[site.in_force()].tolist())
    try:
        settled = settle(read_boundaries(path, near=near), Choice())
        if settled.faults:
            raise Refused(settled.faults)
    except Refused as refusal:
        if not any("--" in str(fault) for fault in refusal.faults):  # an option of `new`
            raise  # nothing to decide: the file is to be mended, or a package installed
        remedy = f"set up a site of its own with geosand new FOLDER --boundaries {named}, where"
        remedy += " this can be decided, and name that folder"
        *others, last = (fault._replace(allowed="", remedy="") for fault in refusal.faults)
        raise Refused([*others, last._replace(remedy=remedy)]) from None
    return surfaces_bytes(head_of(settled.boundaries, None), settled.rows)


def _known(folder: Path, site: Site) -> str:
    names = sorted(path.stem for path in (folder / "editions").glob("*.geojson"))
    days = [str(day) for day in site.valid_from if day > NO_DAY]
    listed = ", ".join(quoted(name) for name in dict.fromkeys([*names, *days]))
    said = f"the site's editions are {listed}" if listed else "the site has no editions"
    return f"name a site folder, a boundary file or an edition; {said}"


def _boundary_file(folder: Path, path: Path, label: str, content: bytes | None = None) -> Survey:
    """A file like ``surfaces.geojson`` as a survey of the site in ``folder``. Raises Refused."""
    faults = Faults()
    if content is None:
        content = plain_bytes(path, label, MAXIMUM_MB, faults, REMEDY)
    faults.refuse()
    edition = read_edition(content, label, faults, [])
    faults.refuse()
    settings = tomllib.loads((folder / "site.toml").read_bytes().decode("utf-8-sig"))
    dressings, loads, catches = (
        RawTable(file=f"{name}.csv") for name in ("dressings", "loads", "catches")
    )
    raw = RawSite(
        settings=settings,
        editions=[edition] if edition is not None else [],
        dressings=dressings,
        loads=loads,
        catches=catches,
    )
    return replace(survey_in_force(assemble(raw, faults, [])), label=path.name)
