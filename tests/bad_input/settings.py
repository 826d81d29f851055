"""``site.toml``. All cases are made for this project."""

from __future__ import annotations

from tests.bad_input.case import ACCEPTED, FOUND, REFUSED, Case
from tests.bad_input.spoiled import settings
from tests.sites import TOML

CASES = (
    Case("no site.toml", {"toml": None}, REFUSED, "site.toml: the file is missing"),
    Case("an empty site.toml", {"toml": ""}, REFUSED, "site.toml"),
    Case("not TOML", {"toml": "name = Test site\n"}, REFUSED, "site.toml: is not TOML"),
    Case(
        "a bare moisture of a sand",
        {"toml": settings("moisture_dry_basis_percent", "moisture_percent")},
        REFUSED,
        "moisture",
    ),
    Case(
        "no moisture at all",
        {"toml": settings("moisture_dry_basis_percent = 0.0\nu_moisture_percent = 0.2\n", "")},
        REFUSED,
        "moisture",
    ),
    Case(
        "a density of stone",
        {"toml": settings("bulk_density_g_cm3 = 1.55", "bulk_density_g_cm3 = 15.5")},
        REFUSED,
        "bulk_density_g_cm3",
    ),
    Case(
        "a density as text",
        {"toml": settings("bulk_density_g_cm3 = 1.55", 'bulk_density_g_cm3 = "1,55"')},
        REFUSED,
        "bulk_density_g_cm3",
    ),
    Case(
        "a density of true",
        {"toml": settings("bulk_density_g_cm3 = 1.55", "bulk_density_g_cm3 = true")},
        REFUSED,
        "bulk_density_g_cm3",
    ),
    Case(
        "an infinite accuracy",
        {"toml": settings("edge_accuracy_m = 0.10", "edge_accuracy_m = inf")},
        REFUSED,
        "edge_accuracy_m",
    ),
    Case(
        "a nan accuracy",
        {"toml": settings("edge_accuracy_m = 0.10", "edge_accuracy_m = nan")},
        REFUSED,
        "edge_accuracy_m",
    ),
    Case(
        "a season that ends before it starts",
        {"toml": settings("season_end = 2026-11-30", "season_end = 2025-11-30")},
        REFUSED,
        "season_end",
    ),
    Case(
        "a season as text",
        {"toml": settings("season_start = 2026-03-01", 'season_start = "spring"')},
        REFUSED,
        "season_start",
    ),
    Case(
        "a misspelt key",
        {"toml": settings("collar_width_m", "colar_width_m")},
        FOUND,
        "colar_width_m",
    ),
    Case("units of the moon", {"toml": 'units = "lunar"\n' + TOML}, REFUSED, "units"),
    Case(
        "both kinds of sand tables",
        {"toml": TOML + "\n[sand]\nbulk_density_g_cm3 = 1.5\n"},
        REFUSED,
        "sand",
    ),
    Case(
        "a target below zero", {"toml": settings("green = 9.0", "green = -9.0")}, REFUSED, "green"
    ),
    Case("a target for no kind", {"toml": settings("tee = 4.0", "teee = 4.0")}, FOUND, "teee"),
    Case(
        "an efficiency of zero",
        {"toml": settings("catch_efficiency_percent = 100\n", "catch_efficiency_percent = 0\n")},
        REFUSED,
        "catch_efficiency_percent",
    ),
    Case(
        "tables a thousand deep",
        {"toml": TOML + "x = " + "[" * 5000 + "]" * 5000 + "\n"},
        REFUSED,
        "site.toml",
    ),
    Case(
        "a key of 100,000 parts",
        {"toml": TOML + ".".join(["a"] * 100_000) + " = 1\n"},
        REFUSED,
        "site.toml: is too deeply nested",
    ),
    Case(
        "a text of 2 MB",
        {"toml": TOML + 'x = "' + "y" * 2_000_000 + '"\n'},
        REFUSED,
        "site.toml: is larger than 1 MB",
    ),
    Case(
        "201 sands",
        {"toml": TOML + "".join(f"[sands.s{n}]\nkiln_dried = true\n" for n in range(200))},
        REFUSED,
        "has 201 sands; allowed: at most 200",
    ),
    Case(
        "a number of 5,000 digits",
        {"toml": TOML + "x = " + "9" * 5000 + "\n"},
        REFUSED,
        "site.toml: is not TOML",
    ),
    Case(
        "a name with a line break",
        {"toml": settings('"Test site"', '"Test\\nsite"')},
        ACCEPTED,
    ),
    Case(
        "a name that turns the text round",
        {"toml": settings('"Test site"', '"Test \\u202Esite"')},
        ACCEPTED,
    ),
    Case(
        "digits by the thousand told in plain words",
        {"toml": TOML + "x = " + "9" * 5000 + "\n"},
        REFUSED,
        "site.toml: is not TOML: a number of thousands of digits. Mend that line",
    ),
    Case(
        "a table that stands twice",
        {"toml": TOML + "[sands.dried]\nx = 1\n"},
        REFUSED,
        "site.toml: is not TOML: [sands.dried] stands twice (at line",
    ),
    Case(
        "a key that stands twice",
        {"toml": "collar_width_m = 0.9\n" + TOML},
        REFUSED,
        "site.toml: is not TOML: a key stands twice (at line",
    ),
    Case(
        "2,001 keys",
        {"toml": "".join(f"k{n} = 1\n" for n in range(2001)) + TOML},
        REFUSED,
        "keys in one table; allowed: at most 2,000",
    ),
    Case("a year 1 season", {"toml": settings("2026-03-01", "0001-03-01")}, REFUSED, "0001-03-01"),
    Case(
        "a season with a time zone that ends before it starts",
        {"toml": settings("2026-11-30", "2025-11-30T00:00:00Z")},
        REFUSED,
        "season_end",
    ),
)
