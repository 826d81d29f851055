"""The text of a refusal of a boundary file."""

import pytest

from geosand.errors import Refused
from geosand.formats.boundaries import read_boundaries


def text_of(path, **wishes):
    with pytest.raises(Refused) as refusal:
        read_boundaries(path, **wishes)
    return str(refusal.value)
