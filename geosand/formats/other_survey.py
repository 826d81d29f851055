"""The boundaries that a site is compared with: another site, a boundary file or an edition."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np

from geosand.columns import take
from geosand.errors import Fault, Faults, Refused
from geosand.formats.geojson import read_edition
from geosand.formats.site_folder import read_site
from geosand.site.assemble import RawSite, assemble
from geosand.site.cells import RawTable, quoted
from geosand.site.tables import Site, Surfaces

MAXIMUM_MB = 100


def read_other_survey(folder: Path, site: Site, named: str) -> tuple[str, Surfaces]:
    """What to call the survey ``named``, and its surfaces (one edition).

    ``named`` is a site folder, a boundary file (.geojson), the name of a file in ``editions/`` or
    the day from which an edition of the site holds. A boundary file takes accuracies, heights and
    targets that it does not say itself from the site. Raises Refused.
    """
    path = Path(named)
    edition = folder / "editions" / f"{path.name.removesuffix('.geojson')}.geojson"
    if path.is_dir():
        other = read_site(path)
        return f"{other.name} ({path})", surfaces_in_force(other)
    if path.is_file():
        if path.suffix.lower() not in (".geojson", ".json"):
            remedy = "bring other formats into a site folder first and name that"
            raise Refused(
                Fault(
                    file=named,
                    found="is no GeoJSON file",
                    allowed="a site folder, a .geojson file, an edition of the site",
                    remedy=remedy,
                )
            )
        return path.name, _boundary_file(folder, path, named)
    if path.name == named and edition.is_file():
        label = f"editions/{edition.name}"
        return f"edition {edition.stem}", _boundary_file(folder, edition, label)
    for number, day in enumerate(site.valid_from):
        if str(day) == named:
            rows = np.flatnonzero(site.surfaces.edition == number)
            return f"edition of {day}", take(site.surfaces, rows)
    raise Refused(Fault(file=named, found="there is no such survey", remedy=_known(folder, site)))


def surfaces_in_force(site: Site) -> Surfaces:
    """The surfaces of the newest edition alone."""
    surfaces: Surfaces = take(site.surfaces, site.in_force())
    return surfaces


def _known(folder: Path, site: Site) -> str:
    names = sorted(path.stem for path in (folder / "editions").glob("*.geojson"))
    days = [str(day) for day in site.valid_from if day > np.datetime64("0001-01-01")]
    listed = ", ".join(quoted(name) for name in dict.fromkeys([*names, *days]))
    said = f"the site's editions are {listed}" if listed else "the site has no editions"
    return f"name a site folder, a .geojson file or an edition; {said}"


def _boundary_file(folder: Path, path: Path, label: str) -> Surfaces:
    faults = Faults()
    content = _bytes_of(path, label, faults)
    faults.refuse()
    edition = read_edition(content, label, faults, [])
    faults.refuse()
    settings = tomllib.loads((folder / "site.toml").read_bytes().decode("utf-8-sig"))
    dressings, loads, catches = (
        RawTable(file=f"{name}.csv", rows=[], columns={})
        for name in ("dressings", "loads", "catches")
    )
    raw = RawSite(
        settings=settings,
        editions=[edition] if edition is not None else [],
        dressings=dressings,
        loads=loads,
        catches=catches,
    )
    return assemble(raw, faults, []).surfaces


def _bytes_of(path: Path, label: str, faults: Faults) -> bytes:
    try:
        if path.stat().st_size > MAXIMUM_MB * 1_000_000:
            remedy = "split it, or simplify its outlines"
            faults.add(label, f"is larger than {MAXIMUM_MB} MB", remedy=remedy)
            return b""
        return path.read_bytes()
    except OSError as problem:
        faults.add(label, f"can not be read: {problem.strerror}", remedy="look at its rights")
        return b""
