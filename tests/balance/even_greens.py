"""Records of two greens on which every tray caught the same."""

from __future__ import annotations

from collections.abc import Callable

from geosand.results import Results
from tests.sites import catch

HEAD = "load,dressing,count,unit_mass_kg,u_unit_mass_kg,u_label_percent"
EVEN = [catch(k, gross_g=150) for k in range(1, 7)]  # 1.00 kg/m² on 1300 m²
QUARTERS = [(1, 0), (0, 1), (-1, 0), (0, -1)]  # cosine and sine of turns
Run = Callable[..., Results]
