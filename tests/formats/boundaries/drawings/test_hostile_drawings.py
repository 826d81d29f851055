"""Drawings of a few lines that would take minutes or gigabytes: refused, or told, at once."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from ezdxf.math import BSpline
from ezdxf.xclip import XClip

from geosand.errors import Refused
from geosand.formats.boundaries.drawings import clips, curves, entities, hatches, repeats
from tests.formats.boundaries.drawings.test_drawings import LAYER, X, Y, areas_of, at, gon, ring


def reasons(found):
    return [left.reason for left in found.tally.left_out]


@pytest.mark.parametrize("how", ["blocks in blocks", "rows", "nothing", "a block in itself"])
def test_blocks_that_draw_without_end_are_refused_before_they_are_drawn(drawing, read, how):
    """Twenty of twenty of …: 20 kB of a file drew 10⁸ things, and 1,024,000,000 in rows."""
    blocks = [drawing.blocks.new(f"B{k}") for k in range(6)]
    blocks[0].add_circle((0, 0), 1)
    for inner, block in pairwise(blocks):
        for k in range(20):
            block.add_blockref(inner.name, (k, 0))
    insert = drawing.modelspace().add_blockref("B5", (X, Y))
    if how in ("rows", "nothing"):
        if how == "nothing":
            blocks[0].delete_all_entities()
        insert.dxf.name, insert.dxf.row_count, insert.dxf.column_count = "B0", 32_000, 32_000
        insert.dxf.row_spacing = insert.dxf.column_spacing = 3
    if how == "a block in itself":
        insert.dxf.name = "B0"
        for k in range(10):
            blocks[0].add_blockref("B0", (k, 0))
    with pytest.raises(Refused, match=r"its blocks draw .*allowed: 200,000"):
        read(drawing)


def test_things_of_blocks_are_counted_as_they_are_drawn(drawing, monkeypatch):
    """In the insert two circles and an insert, which counts its two circles twice."""
    inner, outer = drawing.blocks.new("I"), drawing.blocks.new("O")
    for k in range(2):
        inner.add_circle((k, 0), 1)
    for k in range(2):
        outer.add_circle((k, 0), 1)
    rows = outer.add_blockref("I", (0, 0))
    rows.dxf.row_count, rows.dxf.row_spacing = 2, 5
    drawing.modelspace().add_blockref("O", (X, Y))
    for most, refused in ((6, False), (5, True)):
        monkeypatch.setattr(repeats, "MAXIMUM_FEATURES", most)
        if refused:
            with pytest.raises(Refused, match="its blocks draw 6 things, most by INSERT"):
                repeats.check_repeats(drawing, "plan.dxf")
        else:
            repeats.check_repeats(drawing, "plan.dxf")


def test_a_clip_that_is_a_tangle_is_asked_about(drawing, read, monkeypatch):
    """GEOS mends a tangle in time that grows with its cube: 400 corners took over a minute."""
    monkeypatch.setattr(clips.shapely, "make_valid", lambda shape: pytest.fail("it is mended"))
    block = drawing.blocks.new("HOLE")
    block.add_circle((0, 0), 13, dxfattribs=LAYER)
    space = drawing.modelspace()
    space.add_circle((X, Y + 60), 9, dxfattribs=LAYER)
    corners = np.random.default_rng(6).uniform(-50, 50, (60, 2))
    XClip(space.add_blockref("HOLE", (X, Y))).set_block_clipping_path(corners.tolist())
    (left,) = read(drawing).tally.left_out
    assert left.lost and left.reason.startswith("the clip of its block (XCLIP) cuts through it")


def test_a_spline_is_drawn_in_one_call(monkeypatch):
    """ezdxf sets up all control points anew in each: 40,000 took minutes."""
    angle = np.linspace(0, 2 * math.pi, 50)
    points = np.column_stack([9 * np.cos(angle), 9 * np.sin(angle), 0 * angle])
    spline = BSpline(points.tolist(), order=4)
    calls = []
    evaluate = BSpline.points
    monkeypatch.setattr(BSpline, "points", lambda s, t: calls.append(1) or evaluate(s, t))
    assert curves.spline_cubics(spline).shape == (47, 4, 3)
    assert len(calls) == 1


def test_a_spline_laid_through_too_many_points_is_asked_about(drawing, read, monkeypatch):
    """50,000 took 4 GB and more: the library keeps a matrix of all with all."""
    monkeypatch.setattr(entities, "MOST_FIT", 30)
    space = drawing.modelspace()
    for count in (30, 20):
        angle = np.linspace(0, 2 * math.pi, count + 1)
        places = np.column_stack([X + count * np.cos(angle), Y + count * np.sin(angle)])
        space.add_spline(fit_points=places.tolist(), dxfattribs=LAYER)
    found = read(drawing)
    assert areas_of(found) == pytest.approx([math.pi * 400], rel=1e-2)
    assert any("31 fit points: at most 30 are laid through" in reason for reason in reasons(found))


def test_islands_of_a_hatch_by_halves(drawing, read, monkeypatch):
    """3,000 outlines, one after the other, took over a minute."""
    calls = []
    apart = shapely.symmetric_difference
    monkeypatch.setattr(
        hatches.shapely, "symmetric_difference", lambda a, b: calls.append(1) or apart(a, b)
    )
    fill = drawing.modelspace().add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": 0})
    for radius in range(1, 34):
        fill.paths.add_polyline_path(ring(radius), is_closed=True)
    odd = sum(gon(radius) - gon(radius - 1) for radius in range(3, 34, 2)) + gon(1)
    assert areas_of(read(drawing)) == pytest.approx([odd], abs=1e-2)
    assert len(calls) == 6


def test_a_hatch_whose_outlines_cross_without_end_is_asked_about(drawing, read, monkeypatch):
    monkeypatch.setattr(hatches, "MOST_CROSSINGS", 7)
    space = drawing.modelspace()
    space.add_circle((X, Y), 13, dxfattribs=LAYER)
    fill = space.add_hatch(dxfattribs={"layer": "LAWN", "hatch_style": 0})
    for k in range(4):
        corners = at([(k, k), (50 + k, k), (50 + k, 50 + k), (k, 50 + k)])
        fill.paths.add_polyline_path(corners, is_closed=True)
    found = read(drawing)
    assert "a hatch of outlines that cross far too often: draw it anew" in reasons(found)
    monkeypatch.setattr(hatches, "MOST_CROSSINGS", 12)
    assert list(read(drawing).features.kind) == ["green", "lawn"]


@pytest.mark.parametrize("sort", ["text", "mtext"])
def test_of_a_text_no_more_is_read_than_a_name_has(drawing, read, monkeypatch, sort):
    """300,000 unclosed codes took minutes."""
    monkeypatch.setattr(entities, "LONGEST_TEXT", 5)
    space = drawing.modelspace()
    space.add_circle((X, Y), 13, dxfattribs=LAYER)
    add = space.add_text if sort == "text" else space.add_mtext
    add("Seven and more", dxfattribs={"insert": (X, Y)})
    assert list(read(drawing).features.name) == ["Seven"]
