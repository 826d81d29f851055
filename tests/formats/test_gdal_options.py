"""Options of GDAL hold while they are wanted: others in the process have their own."""

import pyogrio
import pytest

from geosand.formats.gdal_options import gdal_options


def test_options_are_set_back_also_after_an_error():
    pyogrio.set_gdal_config_options({"DXF_ENCODING": "CP1250"})
    try:
        with (
            pytest.raises(ValueError, match="no file"),
            gdal_options(DXF_ENCODING="UTF-8", OGR_ARC_STEPSIZE="1"),
        ):
            assert pyogrio.get_gdal_config_option("DXF_ENCODING") == "UTF-8"
            raise ValueError("no file")
        assert pyogrio.get_gdal_config_option("DXF_ENCODING") == "CP1250"
        assert pyogrio.get_gdal_config_option("OGR_ARC_STEPSIZE") is None
    finally:
        pyogrio.set_gdal_config_options({"DXF_ENCODING": None})
