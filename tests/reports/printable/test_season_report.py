"""What the report says: the figures of the JSON documents, and nothing that does not add up."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely

from geosand.formats.site_folder import read_site
from geosand.reports.balance_document import balance_document
from geosand.reports.printable.balance_pictures import Stage, sand_picture
from geosand.reports.printable.content import Figures, Items, Picture, Table
from geosand.reports.printable.drawing import INK, Box, Drawing, Line, Outline, Words
from geosand.reports.printable.map_picture import map_picture
from geosand.reports.printable.map_sheet import beside
from geosand.reports.printable.season_report import season_report, season_stages
from geosand.reports.season_document import season_balance, season_document
from geosand.results import work_out
from tests.sites import CATCHES, DRESSINGS, LOADS, TOML, points, write_site


def section(report, title):
    return next(s for s in report.sections if s.title == title)


def table_of(report, title):
    return next(b for b in section(report, title).blocks if isinstance(b, Table))


def value(text):
    """The number in a cell as a person reads it."""
    return float(text.replace("\u202f", "").replace("−", "-").replace("at least ", ""))


def test_balance_rows_are_those_of_the_document(demo, demo_report):
    rows = table_of(demo_report, "The balance of each dressing").rows
    dressings = balance_document(demo)["dressings"]
    assert [row.cells[0] for row in rows[:-1]] == [d["dressing"] for d in dressings]
    for row, dressing in zip(rows, dressings, strict=False):
        over = dressing["overthrow"]
        assert value(row.cells[2]) == round(dressing["spread"]["mass_kg"])
        assert value(row.cells[3]) == round(dressing["on_surfaces"]["mass_kg"])
        assert value(row.cells[5]) == round(over["mass_kg"])
        assert [value(t) for t in row.cells[6].split(" to ")] == [
            round(over["low_kg"]),
            round(over["high_kg"]),
        ]
        assert row.cells[8] == over["verdict"]


def test_season_rows_are_those_of_the_document(demo, demo_report):
    rows = table_of(demo_report, "Surface by surface").rows
    found = {row.cells[0]: row for row in rows if row.tone != "group"}
    surfaces = [s for s in season_document(demo)["surfaces"] if "around" not in s]
    assert set(found) == {s["id"] for s in surfaces}
    for surface in surfaces:
        row = found[surface["id"]]
        assert value(row.cells[3]) == pytest.approx(surface["depth_mm"], abs=0.0051)
        assert value(row.cells[5]) == pytest.approx(surface["in_holes_mm"], abs=0.0051)
        assert value(row.cells[6]) == pytest.approx(surface["target_so_far_mm"], abs=0.0051)
        assert row.cells[7].startswith(surface["state"])
        assert (row.tone == "alarm") is (surface["state"] == "under-dressed")


def test_a_site_that_has_no_collars_reads_of_none(tmp_path: Path):
    toml = TOML.replace("collar_width_m = 0.9", "collar_width_m = 0")
    results = work_out(read_site(write_site(tmp_path / "site", toml=toml)))
    assert season_balance(results)["beside"]["surrounds_kg"] > 0
    report = season_report(results, "metric")
    heads = [column.head for column in table_of(report, "Beside the edges").columns]
    assert heads[1].startswith("surrounds") and not any("collar" in head for head in heads)
    assert "in collars" not in [stage.label for stage in season_stages(season_balance(results))]


def test_the_doubt_of_each_dressing_is_that_of_the_document(demo, demo_report):
    table = table_of(demo_report, "Where the doubt comes from")
    dressings = [d for d in balance_document(demo)["dressings"] if d["budget"]]
    assert [row.cells[0] for row in table.rows] == [d["dressing"] for d in dressings]
    sources = [column.head.removesuffix(" %") for column in table.columns[1:]]
    for row, dressing in zip(table.rows, dressings, strict=True):
        share = {part["source"]: 100 * part["share"] for part in dressing["budget"]}
        for source, cell in zip(sources, row.cells[1:], strict=True):
            told = share.get(source, 0.0)
            assert (
                told < 1 if cell.startswith("<") else float(cell) == pytest.approx(told, abs=0.51)
            )


def test_of_one_dressing_the_doubt_is_its_seasons(tmp_path: Path):
    """The picture of the season's shares says it already."""
    report = season_report(work_out(read_site(write_site(tmp_path / "site"))), "metric")
    kinds = [type(block) for block in section(report, "Where the doubt comes from").blocks]
    assert kinds == [Picture]


def test_columns_of_figures_and_no_others_are_set_to_the_right(demo_report, large_report):
    """So that digits of the same worth stand below each other."""
    figure = re.compile(r"[−+±<\u202f ]*\d[\d\u202f.]*( %)?( to .*)?")
    for report in (demo_report, large_report):
        for part in report.sections:
            for table in (block for block in part.blocks if isinstance(block, Table)):
                for k, column in enumerate(table.columns):
                    cells = [row.cells[k] for row in table.rows if k < len(row.cells)]
                    texts = [c for c in cells if isinstance(c, str) and c not in ("", "–")]
                    if texts:
                        figures = all(figure.fullmatch(text) for text in texts)
                        assert (column.align == "right") is figures, (part.title, column.head)


def test_us_report_shows_the_same_depths_in_inches(large, large_report):
    rows = table_of(large_report, "Surface by surface").rows
    found = {row.cells[0]: row for row in rows if row.tone != "group"}
    for surface in season_document(large)["surfaces"]:
        if "around" not in surface:
            inches = value(found[surface["id"]].cells[3])
            assert inches == pytest.approx(surface["depth_mm"] / 25.4, abs=0.00051)


def test_waterfall_adds_up(demo):
    """Each stage hangs on the one before; the last one ends where the spread ends."""
    season = season_balance(demo)
    spread, on, elsewhere, *parts = season_stages(season)
    assert spread.mass_kg == pytest.approx(on.mass_kg + elsewhere.mass_kg)
    assert elsewhere.start_kg == on.end_kg
    assert parts[0].start_kg == on.end_kg
    for one, following in pairwise(parts):
        assert following.start_kg == one.end_kg
    assert parts[-1].end_kg == pytest.approx(spread.end_kg)
    assert sum(p.mass_kg for p in parts) == pytest.approx(elsewhere.mass_kg)
    claimed = [p for p in parts if p.backwards]
    assert len(claimed) == 1, "the demo has one dressing that claims more than was spread"
    over = balance_document(demo)["dressings"][6]["overthrow"]
    assert claimed[0].mass_kg == pytest.approx(over["mass_kg"])


def test_season_balance_sums_the_dressings(demo):
    season, dressings = season_balance(demo), balance_document(demo)["dressings"]
    for part in ("spread", "on_surfaces", "overthrow"):
        total = sum(d[part]["mass_kg"] for d in dressings)
        assert season[part]["mass_kg"] == pytest.approx(total)
    assert sum(b["share"] for b in season["budget"]) == pytest.approx(1)
    for key in ("collar_kg", "surrounds_kg", "farther_kg"):
        total = sum(d["overthrow"][key] or 0 for d in dressings)
        assert season["beside"][key] == pytest.approx(total)
    # what is shared adds up in full: the season is less sure than independent dressings were
    alone = math.sqrt(sum(d["overthrow"]["u_kg"] ** 2 for d in dressings))
    assert season["overthrow"]["u_kg"] > 1.2 * alone


def test_bars_of_the_picture_are_in_proportion(demo):
    stages = season_stages(season_balance(demo))
    for width in (510, 330):
        drawn = sand_picture(stages, "metric", width)
        bars = [mark for mark in drawn.marks if isinstance(mark, Box)]
        assert len(bars) == len(stages)
        for bar, stage in zip(bars, stages, strict=True):
            share = stage.mass_kg / stages[0].mass_kg
            assert bar.width / bars[0].width == pytest.approx(abs(share), abs=0.02)
            assert bar.x >= 0 and bar.x + bar.width <= width


def test_a_whisker_spans_the_interval_of_its_bar():
    """1,000 kg, of which 800 to 950 lie on surfaces; the rest begins where their bar ends."""
    spread = Stage(label="Spread", start_kg=0, end_kg=1000)
    on = Stage(label="On", start_kg=0, end_kg=875, limits_kg=(800, 950), on_surfaces=True)
    over = Stage(label="Over", start_kg=875, end_kg=1000, limits_kg=(50, 200))
    drawn = sand_picture([spread, on, over], "metric", 510)
    bars = [mark for mark in drawn.marks if isinstance(mark, Box)]
    kg = (bars[0].width / 1000, bars[0].x)
    level = [m for m in drawn.marks if isinstance(m, Line) and m.y1 == m.y2 and m.colour == INK]
    ends = [(end - kg[1]) / kg[0] for mark in level for end in (mark.x1, mark.x2)]
    assert ends == pytest.approx([800, 950, 875 + 50, 875 + 200], abs=0.1)


def test_all_marks_and_words_stay_on_their_sheet(large_report):
    def drawings():
        for part in large_report.sections:
            for block in part.blocks:
                if isinstance(block, Picture):
                    yield from (d for d in (block.drawing, block.narrow) if d)
                if isinstance(block, Table):
                    cells = [c.head for c in block.columns] + [
                        c for r in block.rows for c in r.cells
                    ]
                    yield from (cell for cell in cells if isinstance(cell, Drawing))

    seen = 0
    for drawing in drawings():
        for mark in drawing.marks:
            if isinstance(mark, Box):
                assert mark.x >= -0.6 and mark.x + mark.width <= drawing.width + 0.6
                assert mark.y >= -0.6 and mark.y + mark.height <= drawing.height + 0.6
            elif isinstance(mark, Outline):
                for way in mark.ways:
                    assert way[:, 1].max() <= drawing.height + 1 and way.min() >= -6
            elif isinstance(mark, Words):
                assert 0 <= mark.x <= drawing.width and 0 < mark.y <= drawing.height
            seen += 1
    assert seen > 1000


def test_signs_of_the_map_leave_the_shade_of_small_surfaces_visible(large):
    from geosand.reports.printable.drawing import ALARM, PAPER
    from geosand.reports.printable.map_picture import DEPTHS

    def size(way):
        return float(shapely.area(shapely.polygons(way)))

    for width in (510, 330):
        shade, seen, thinner = 0.0, 0, 0
        for mark in map_picture(large, "metric", width).marks:
            if isinstance(mark, Outline) and mark.fill in DEPTHS:
                shade, shaded = size(mark.ways[0]), mark.ways
            if not isinstance(mark, Outline) or not shade:
                continue
            if mark.ways is shaded and mark.stroke in (PAPER, ALARM):
                wide = 2.6 if mark.stroke == PAPER else 1.6
                across = math.sqrt(shade)
                assert mark.width <= 1.01 * wide * max(across / 20, 0.45)
                thinner += across < 20 and mark.stroke == ALARM
            if mark.fill == ALARM:
                assert size(mark.ways[0]) < max(0.25 * shade, 4.0)  # a smaller sign is no triangle
                shade, seen = 0.0, seen + 1
        assert seen > 5 and thinner > 2


def test_what_lies_far_off_without_sand_or_target_is_not_on_the_map():
    """Half the subject's width around it counts as beside it, 500 m at least."""
    subject = shapely.box([0, 3_000], 0, [10, 3_010], 10)
    lower, upper = [(4_400, 0), (4_600, 0), (0, 490), (-900, 0)], [(4_500, 9), (4_700, 9), (9, 520)]
    corners = np.column_stack([lower, [*upper, (9, 9)]])
    shapes = shapely.box(*corners.T)
    assert beside(subject, subject).all()
    assert beside(shapes, subject).tolist() == [True, False, False, True]
    assert beside(shapes, subject[:0]).all()
    # rough that reaches far out on one side lies under the greens all the same
    rough = np.array([shapely.box(-50, -3000, 3000, 60)])
    assert beside(rough, subject).all()


def test_labels_of_the_map_do_not_collide(large):
    from geosand.reports.printable.drawing import text_width

    for width in (510, 330):
        words = [
            m for m in map_picture(large, "metric", width).marks if isinstance(m, Words) and m.halo
        ]
        boxes = [
            (w.x, w.y - w.size, w.x + text_width(w.text, w.size, bold=w.bold), w.y) for w in words
        ]
        assert len(boxes) >= 40
        for k, a in enumerate(boxes):
            for b in boxes[:k]:
                apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] + 0.01 or b[3] <= a[1] + 0.01
                assert apart, (words[k].text, a, b)


def test_what_is_behind_comes_first_and_is_not_told_without_end(large_report):
    first = section(large_report, "What to look at first")
    lines = next(b for b in first.blocks if isinstance(b, Items)).items
    named = tuple(line for line in lines if ": under-dressed," in line)
    assert lines[:4] == named
    assert [line.partition(":")[0] for line in named] == ["l1–l8", "g4", "t1–t18", "g16"]
    figures = next(b for b in first.blocks if isinstance(b, Figures)).figures
    assert figures[3].value == f"{8 + 1 + 18 + 1} of 58"


def test_a_triangle_and_words_tell_what_is_behind_not_a_colour_alone(demo_report):
    for row in table_of(demo_report, "Surface by surface").rows:
        if row.tone == "group":
            continue
        bar = row.cells[2]
        triangles = [m for m in bar.marks if isinstance(m, Outline) and len(m.ways[0]) == 3]
        assert bool(triangles) is row.cells[-1].startswith("under-dressed")


@pytest.mark.parametrize(
    "overrides",
    [
        {"dressings": "dressing,date,surfaces\n", "loads": "load,dressing,count,unit_mass_kg\n"}
        | {"catches": None},
        {"catches": None},
        {"loads": "load,dressing,count,unit_mass_kg\n"},
        {"catches": CATCHES[:1]},
        {"loads": LOADS.replace(",52,", ",20,")},
    ],
    ids=["nothing yet", "no catches", "no loads", "one catch", "more claimed than spread"],
)
def test_a_report_of_little_is_still_one(tmp_path: Path, overrides):
    from geosand.reports.printable.html_writer import report_page
    from geosand.reports.printable.pdf_writer import report_pdf

    results = work_out(read_site(write_site(tmp_path / "site", **overrides)))
    for units in ("metric", "us"):
        report = season_report(results, units)
        text = report_page(report)
        assert "nan" not in re.sub(r"<style>.*?</style>", "", text, flags=re.S).lower()
        assert report_pdf(report, paper="A4")[0].startswith(b"%PDF")


def test_no_figure_of_a_sentence_has_a_dot_at_its_thousands(demo_report, large_report):
    for report in (demo_report, large_report):
        said = [
            line
            for part in report.sections
            for block in part.blocks
            if isinstance(block, Items)
            for line in block.items
        ]
        assert any("\u202f" in line for line in said)
        assert not [line for line in said if re.search(r"\d·\d", line)]


def tiles(tmp_path, **overrides):
    results = work_out(read_site(write_site(tmp_path / "site", **overrides)))
    first = section(season_report(results, "metric"), "What to look at first")
    figures = next(b for b in first.blocks if isinstance(b, Figures)).figures
    return results, {figure.label: (figure.value, figure.detail) for figure in figures}


def test_an_excess_of_the_catches_and_its_limits_have_the_same_sign(tmp_path: Path):
    results, told = tiles(tmp_path, loads=LOADS.replace(",52,", ",45,"))
    over = season_balance(results)["overthrow"]
    shown, detail = told["claimed beyond the spread"]
    assert value(shown.removesuffix(" kg")) == round(-over["mass_kg"]) > 0
    limits = [value(text) for text in detail.rpartition("95 %: ")[2].split(" to ")]
    assert limits == [round(-over["high_kg"]), round(-over["low_kg"])]


def test_what_was_spread_is_told_though_nobody_knows_where_it_lies(tmp_path: Path):
    _, told = tiles(tmp_path, catches=None)
    assert told["spread"] == ("1\u202f300 kg", "not known where it lies")  # 52 bags of 25 kg
    # the tee, which was not dressed, is known to have none; the greens are not known
    assert told["under-dressed"][1].endswith("; the depth of 2 is not known")


@pytest.mark.parametrize("measured", [True, False])
def test_a_sum_without_all_dressings_is_not_called_the_seasons(tmp_path: Path, measured: bool):
    """Of two dressings one may have no loads: the sum is of the other alone."""
    more = [{**one, "dressing": "D2", "catch": f"e{k}"} for k, one in enumerate(CATCHES)]
    loads = LOADS + ("L2,D2,52,25,0.25,1\n" if measured else "")
    dressings = DRESSINGS + "D2,2026-05-10,green,0.6,4\n"
    site = write_site(
        tmp_path / "site", dressings=dressings, loads=loads, catches=points([*CATCHES, *more])
    )
    report = season_report(work_out(read_site(site)), "metric")
    *rows, total = table_of(report, "The balance of each dressing").rows
    assert total.cells[0] == ("season" if measured else "measured")
    summed = sum(value(row.cells[2]) for row in rows if row.cells[8] != "not measured")
    assert value(total.cells[2]) == pytest.approx(summed, abs=1)
