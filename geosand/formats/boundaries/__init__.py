"""Boundaries in: any file that surveyors and mapping programs hand over, to a site folder."""

from geosand.formats.boundaries.read import read_boundaries
from geosand.formats.boundaries.sites.bring import Brought, bring_into, place_of
from geosand.formats.boundaries.sites.new_site import new_site
from geosand.formats.boundaries.sites.questions import Choice
from geosand.formats.boundaries.tables import Boundaries, LeftOut, Outlines, Tally

__all__ = [
    "Boundaries",
    "Brought",
    "Choice",
    "LeftOut",
    "Outlines",
    "Tally",
    "bring_into",
    "new_site",
    "place_of",
    "read_boundaries",
]
