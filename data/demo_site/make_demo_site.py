"""Make the demo site: an invented small course and one invented season of sand on it.

Run ``python data/demo_site/make_demo_site.py``. ``site.toml`` and ``dressings.csv`` are written by
hand, and what was planned is read from the latter; the other files are written beside them, the
same, byte for byte, at every run. The season is simulated with a known truth, which goes to
``truth.json``: what really left the spreader, what landed, what was thrown over.
"""

from __future__ import annotations

import csv
import io
import json
import math
from pathlib import Path

import numpy as np
import shapely
from shapely.geometry import Polygon

HERE = Path(__file__).resolve().parent
SEED = 20260901
LON_DEGREE, LAT_DEGREE = 66.7213, 49.1842  # an empty piece of steppe; nothing like this is there
CENTRE_M = (305.0, 215.0)  # the drawing's point that lies on that position
ELEVATION_M = 118.0
WGS84_A_M, WGS84_F = 6378137.0, 1 / 298.257223563
EARTH_RADIUS_M = 6371008.8

# ---------------- the drawing, metres east, north

# hole: centreline tee to green as a quadratic curve (start, bend, end)
HOLES = {
    1: ((262, 62), (150, 38), (42, 78)),
    2: ((24, 128), (20, 250), (48, 372)),
    3: ((92, 402), (160, 412), (228, 398)),
    4: ((232, 346), (148, 270), (112, 156)),
    5: ((176, 128), (214, 250), (312, 326)),
    6: ((350, 388), (450, 424), (548, 388)),
    7: ((592, 352), (612, 240), (578, 138)),
    8: ((530, 118), (504, 232), (402, 298)),
    9: ((378, 246), (372, 165), (350, 84)),
}
# green: area m2, vertices, length/width, bend, turn degrees, waves (number, share, phase degrees)
GREENS = {
    1: (455, 64, 1.30, 0.20, 35, ((3, 0.05, 20),)),
    2: (612, 96, 1.62, 0.00, 80, ((2, 0.15, 10), (3, 0.04, 90))),
    3: (398, 52, 1.10, 0.00, 10, ((3, 0.09, 200), (4, 0.03, 0))),
    4: (520, 80, 1.95, 0.85, 150, ((3, 0.04, 40),)),
    5: (548, 72, 1.30, 0.00, 70, ((2, 0.06, 60), (5, 0.025, 15))),
    6: (436, 60, 1.35, 0.35, 10, ((3, 0.05, 130),)),
    7: (668, 112, 1.8, -0.45, 100, ((2, 0.14, 175), (3, 0.05, 20))),
    8: (376, 48, 1.05, 0.00, 0, ((3, 0.07, 60), (4, 0.04, 30))),
    9: (586, 88, 1.85, -0.75, 75, ((3, 0.04, 300), (5, 0.02, 0))),
}
COLLARS_M = {1: 0.9, 3: 1.0, 4: 0.9, 7: 1.2, 8: 0.9}
PAR_3 = (3, 9)
RUN_UNDER = (2, 7)  # fairways drawn on beneath approach and green
UNCUT_APPROACHES = (5,)
FORWARD_TEES = {2: 44.0, 6: 40.0}
# bunker: hole, bearing seen from the green's middle (0 = back, 180 = front), gap m, length, width
BUNKERS = {
    "b1a": (1, 118, 3.4, 13, 6.5),
    "b2a": (2, 75, 2.6, 15, 7.0),
    "b2b": (2, 285, 4.2, 11, 6.5),
    "b3a": (3, 140, 1.9, 12, 6.0),
    "b4a": (4, 60, 1.5, 16, 6.5),
    "b4b": (4, 245, 3.6, 10, 6.0),
    "b5a": (5, 205, 2.2, 9, 6.0),
    "b7a": (7, 92, 2.3, 17, 7.0),
    "b7b": (7, 268, 3.0, 14, 6.5),
    "b8a": (8, 100, 1.4, 12, 6.0),
    "b9a": (9, 135, 2.8, 13, 7.0),
    "b9b": (9, 290, 5.0, 10, 6.0),
}
FAIRWAY_BUNKERS = {"b2c": ((38, 262), 14, 8, 75), "b6a": ((436, 392), 15, 8, 20)}
PATHS = {
    "p1": (
        "Path to the sixth",
        ((300, 22), (306, 90), (296, 170), (330, 250), (338, 318), (336, 372)),
        2.2,
    ),
    "p2": ("Path to the eighth", ((304, 30), (372, 14), (440, 12), (500, 26), (534, 92)), 2.0),
}

# what lies on top comes first
RANK = ("green", "collar", "tee", "bunker", "water", "path", "approach", "fairway", "lawn")

SURFACE_TARGETS_MM = {"g9": 9.5, "t1": 4.2}
SURFACE_ELEVATIONS_M = {"g2": 126.5, "a2": 125.5, "t3": 127.0, "g3": 127.5, "g7": 112.0}
SURFACE_SLOPES_PERCENT = {"a8": 5.0, "g5": 2.5}


def unit(vector):
    """Vector of length one."""
    return np.asarray(vector, float) / np.hypot(*vector)


def curve(points, count=200):
    """A smooth open line: a quadratic Bezier curve for three points, else a spline through all."""
    p = np.asarray(points, float)
    if len(p) == 3:
        t = np.linspace(0, 1, count)[:, None]
        return (1 - t) ** 2 * p[0] + 2 * t * (1 - t) * p[1] + t**2 * p[2]
    p = np.vstack([2 * p[0] - p[1], p, 2 * p[-1] - p[-2]])  # Catmull-Rom
    t = np.linspace(0, 1, count // (len(p) - 3), endpoint=False)[:, None]
    parts = [
        0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t**2
               + (3 * b - a - 3 * c + d) * t**3)
        for a, b, c, d in zip(p, p[1:], p[2:], p[3:], strict=False)
    ]  # fmt: skip
    return np.vstack([*parts, p[-2]])


def evenly(line, count, closed):
    """Points at equal steps along a dense line."""
    if closed:
        line = np.vstack([line, line[0]])
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    at = np.linspace(0, s[-1], count, endpoint=not closed)
    return np.column_stack([np.interp(at, s, line[:, 0]), np.interp(at, s, line[:, 1])])


def normals(points, closed=True):
    """Unit normals to the right of the way of travel: outwards for a counter-clockwise ring."""
    if closed:
        along = np.roll(points, -1, 0) - np.roll(points, 1, 0)
    else:
        along = np.gradient(points, axis=0)
    along = along / np.hypot(along[:, 0], along[:, 1])[:, None]
    return np.column_stack([along[:, 1], -along[:, 0]])


def blob(area_m2, count, ratio, bend, turn_degree, waves, centre, power=2.0):
    """A smooth closed outline: an oval with waves, bent to a kidney, turned, of a given area."""
    t = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    r = 1 + sum(share * np.cos(k * t + math.radians(phase)) for k, share, phase in waves)
    r = r * (np.abs(np.cos(t)) ** power + np.abs(np.sin(t)) ** power) ** (-1 / power)
    x, y = r * np.cos(t) * math.sqrt(ratio), r * np.sin(t) / math.sqrt(ratio)
    if bend:  # wound round a circle of radius 1 / bend
        x, y = (1 / bend - y) * np.sin(bend * x), (y - 1 / bend) * np.cos(bend * x)
    a = math.radians(turn_degree)
    ring = np.column_stack([x * math.cos(a) - y * math.sin(a), x * math.sin(a) + y * math.cos(a)])
    ring = evenly(ring, count, True)
    ring *= math.sqrt(area_m2 / Polygon(ring).area)
    return ring - np.asarray(Polygon(ring).centroid.coords[0]) + centre


def plate(length, width, turn_degree, centre, count, power=6.0):
    """A rectangle with rounded corners (a superellipse)."""
    t = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    x = length / 2 * np.sign(np.cos(t)) * np.abs(np.cos(t)) ** (2 / power)
    y = width / 2 * np.sign(np.sin(t)) * np.abs(np.sin(t)) ** (2 / power)
    a = math.radians(turn_degree)
    ring = np.column_stack([x * math.cos(a) - y * math.sin(a), x * math.sin(a) + y * math.cos(a)])
    return evenly(ring, count, True) + centre


def ribbon(line, half_width, count, phase):
    """A band along a line, rounded at both ends, its width swaying a little."""
    line = evenly(line, 400, False)
    t = (1 - np.cos(np.linspace(0, np.pi, count))) / 2
    s = t * 399
    middle = np.column_stack([np.interp(s, np.arange(400), line[:, i]) for i in (0, 1)])
    n = np.column_stack([np.interp(s, np.arange(400), normals(line, False)[:, i]) for i in (0, 1)])
    ends = half_width * np.sqrt(1 - np.abs(2 * t - 1) ** 9)
    right = middle + n * (ends * (1 + 0.14 * np.sin(7 * t + phase)))[:, None]
    left = middle - n * (ends * (1 + 0.14 * np.sin(8 * t + 2 * phase)))[:, None]
    return np.vstack([right, left[-2:0:-1]])


def track(line, width):
    """A path: a band of one width, cut square at its ends."""
    middle = evenly(curve(line), 40, False)
    n = normals(middle, False) * width / 2
    return np.vstack([middle + n, (middle - n)[::-1]])


def beside(ring, centre, direction, bearing_degree, gap, length, width):
    """A bean of sand curled round a green's edge, ``gap`` metres off it."""
    a = math.atan2(direction[1], direction[0]) - math.radians(bearing_degree)
    out = np.array([math.cos(a), math.sin(a)])
    turn = math.degrees(a) - 90
    waves = ((3, 0.05, 90 * gap), (5, 0.02, 200 * gap))
    bean = blob(length * width * 0.8, 36, length / width, -0.68, turn, waves, centre, power=2.4)
    green = Polygon(ring)
    low, high = 0.0, 60.0
    for _ in range(40):  # move outwards until the gap is right
        step = (low + high) / 2
        if Polygon(bean + out * step).distance(green) > gap:
            high = step
        else:
            low = step
    return bean + out * high


def way_at(line, end):
    """Unit direction of travel at the start (0) or the end (-1) of a dense line."""
    return unit(line[12] - line[0]) if end == 0 else unit(line[-1] - line[-12])


def degrees_of(way):
    """Angle of a direction from east, counter-clockwise."""
    return math.degrees(math.atan2(way[1], way[0]))


def lengths(line):
    """Length along a line at each of its points."""
    return np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])


def draw_green(hole, line):
    """Green, its collar where one is drawn, and the approach in front of it."""
    area, count, ratio, bend, turn, waves = GREENS[hole]
    ring = blob(area, count, ratio, bend, turn, waves, line[-1])
    width = COLLARS_M.get(hole, 0.9)
    outer = Polygon(ring + normals(ring) * width)
    front = np.asarray(outer.intersection(shapely.LineString(line)).coords[0])
    way = way_at(line, -1)
    waves = ((3, 0.06, 40 * hole), (2, 0.05, 25 * hole))
    spot = front - way * 5.5
    apron = Polygon(blob(265 + 12 * hole, 60, 1.15, 0.0, degrees_of(way), waves, spot))
    if hole not in UNCUT_APPROACHES:  # two edges are never drawn exactly alike: 2 cm between
        gapped = Polygon(ring + normals(ring) * (width + 0.02))
        apron = max(shapely.get_parts(apron.difference(gapped)), key=shapely.area)
    drawn = {
        f"a{hole}": (f"Approach {hole}", "approach", None, apron),
        f"g{hole}": (f"Green {hole}", "green", None, Polygon(ring)),
    }
    if hole in COLLARS_M:
        collar = Polygon(outer.exterior.coords, [ring])
        drawn[f"c{hole}"] = (f"Collar {hole}", "collar", f"g{hole}", collar)
    return drawn


def draw_tees(hole, line):
    """The tee, and on some holes a forward tee beside the line."""
    turn = degrees_of(way_at(line, 0))
    deck = plate(12 + hole % 4, 9 + hole % 3, turn, line[0], 40)
    drawn = {f"t{hole}": (f"Tee {hole}", "tee", None, Polygon(deck))}
    if hole in FORWARD_TEES:
        k = int(np.searchsorted(lengths(line), FORWARD_TEES[hole]))
        deck = plate(10, 8, turn, line[k] + normals(line, False)[k] * 9, 36)
        drawn[f"t{hole}f"] = (f"Forward tee {hole}", "tee", None, Polygon(deck))
    return drawn


def draw_fairway(hole, line):
    """A mown band from 75 m off the tee to the approach, or on beneath the green."""
    area, _, ratio, *_ = GREENS[hole]
    length = lengths(line)
    ahead = 19.5 + math.sqrt(area * ratio / math.pi)
    first, last = np.searchsorted(length, (75, length[-1] - ahead))
    last = len(line) - 1 if hole in RUN_UNDER else last
    band = ribbon(line[first:last], 12.5 + hole % 3, 50, hole)
    return {f"f{hole}": (f"Fairway {hole}", "fairway", None, Polygon(band))}


def draw_hazards(greens):
    """Bunkers, water and paths."""
    ways = {hole: unit(np.subtract(end, bend)) for hole, (_, bend, end) in HOLES.items()}
    drawn = {}
    for key, (hole, bearing, gap, long, wide) in BUNKERS.items():
        bean = beside(greens[hole], HOLES[hole][2], ways[hole], bearing, gap, long, wide)
        drawn[key] = (f"Bunker {key[1:]}", "bunker", None, Polygon(bean))
    for key, (spot, long, wide, turn) in FAIRWAY_BUNKERS.items():
        area, waves = long * wide * 0.8, ((3, 0.06, 10),)
        bean = blob(area, 36, long / wide, 0.4, turn, waves, spot, power=2.4)
        drawn[key] = (f"Bunker {key[1:]}", "bunker", None, Polygon(bean))
    pond = beside(greens[6], HOLES[6][2], ways[6], 62, 1.6, 34, 20)
    mere = blob(1650, 70, 1.7, 0.4, 70, ((3, 0.06, 0), (4, 0.05, 70)), (428, 172))
    drawn["w1"] = ("Dew pond", "water", None, Polygon(pond))
    drawn["w2"] = ("The mere", "water", None, Polygon(mere))
    for key, (name, line, width) in PATHS.items():
        drawn[key] = (name, "path", None, Polygon(track(line, width)))
    return drawn


def draw():
    """All surfaces as id -> (name, kind, around, polygon in metres), those beneath first."""
    drawn, greens = {}, {}
    for hole, points in HOLES.items():
        line = curve(points)
        drawn |= draw_green(hole, line) | draw_tees(hole, line)
        drawn |= {} if hole in PAR_3 else draw_fairway(hole, line)
        greens[hole] = np.asarray(drawn[f"g{hole}"][3].exterior.coords)[:-1]
    drawn |= draw_hazards(greens)
    practice = blob(432, 56, 1.6, 0.6, -20, ((3, 0.05, 80),), (404, 44))
    drawn["practice"] = ("Practice green", "green", None, Polygon(practice))
    lawn = plate(37, 36, 12, (462, 52), 72, 14.0)
    drawn["bowls"] = ("Bowling green", "lawn", None, Polygon(lawn))
    return dict(sorted(drawn.items(), key=lambda item: -RANK.index(item[1][1])))


def owned(surfaces):
    """Each surface less what lies on top of it."""
    out = {}
    for key, (_, kind, _, polygon) in surfaces.items():
        above = [p for _, k, _, p in surfaces.values() if RANK.index(k) < RANK.index(kind)]
        out[key] = polygon.difference(shapely.union_all(above)) if above else polygon
    return out


def to_degrees(points):
    """Metres to lon/lat through the ellipsoidal sinusoidal projection, which keeps every area."""
    e2 = WGS84_F * (2 - WGS84_F)
    offset = np.asarray(points, float) - CENTRE_M
    lat0 = math.radians(LAT_DEGREE)
    lat = np.full(len(offset), lat0)
    for _ in range(4):  # the meridian radius at the mid latitude; exact to micrometres here
        mid = (lat + lat0) / 2
        lat = lat0 + offset[:, 1] * (1 - e2 * np.sin(mid) ** 2) ** 1.5 / (WGS84_A_M * (1 - e2))
    prime = WGS84_A_M / np.sqrt(1 - e2 * np.sin(lat) ** 2)
    lon = LON_DEGREE + np.degrees(offset[:, 0] / (prime * np.cos(lat)))
    return np.round(np.column_stack([lon, np.degrees(lat)]), 9)


# ---------------- the season, and its truth

GREEN_IDS = [f"g{n}" for n in range(1, 10)] + ["practice"]
TEE_IDS = ["t1", "t2", "t2f", "t3", "t4", "t5", "t6", "t6f", "t7", "t8", "t9"]
APPROACH_IDS = [f"a{n}" for n in range(1, 10)]
KINDS = {"green": GREEN_IDS, "tee": TEE_IDS, "approach": APPROACH_IDS, "lawn": ["bowls"]}

TRUE_DENSITY_G_CM3 = {"dried": 1.56, "washed": 1.475}
TRUE_MOISTURE = {"dried": 0.0, "washed": 0.042}
TRUE_BAG_KG = {("dried", 1000): 1003.0, ("dried", 25): 25.06, ("washed", 900): 897.0}
TRUE_BAG_D7_KG = 1215.0  # the supplier's new, larger bags, filled under the old label
TRUE_EFFICIENCY = 0.985
TRUE_TRAY = 1.003  # mouth of the trays, really a little larger than stated
PATCH_CV, SURFACE_SD, DRESSING_SURFACE_SD = 0.08, 0.055, 0.03

# what landed over what was planned, and how far sand was thrown beyond an edge
TRUE_LEVEL = {"D1": 1.02, "D2": 1.03, "D3": 0.99, "D4": 1.04, "D5": 1.00,
              "D6": 1.02, "D7": 1.02, "D8": 1.01, "D9": 1.03}  # fmt: skip
TRUE_REACH_M = {"D1": 1.9, "D2": 1.7, "D3": 1.6, "D4": 2.1, "D5": 2.2,
                "D6": 2.0, "D7": 0.6, "D8": 1.2, "D9": 2.2}  # fmt: skip
# load: dressing, surfaces ("" = all), bag label kg, leftover weighed back, u bag kg, u label %
LOADS = {
    "L01": ("D1", "", 900, True, 9.0, 1.0),
    "L02": ("D2", "green", 1000, False, 6.0, 1.0),
    "L03": ("D2", "tee", 25, False, 0.2, 0.8),
    "L04": ("D3", "", 900, True, 9.0, 1.0),
    "L05": ("D4", "", 1000, True, 6.0, 1.0),
    "L06": ("D5", "g1 g2 g3", 1000, False, 6.0, 1.0),
    "L07": ("D5", "g4 g5", 1000, True, 6.0, 1.0),
    "L08": ("D6", "", 1000, False, 6.0, 1.0),
    "L09": ("D7", "", 1000, False, 6.0, 1.0),
    "L10": ("D8", "", 900, True, None, None),
    "L11": ("D9", "", 1000, True, 6.0, 1.0),
}
DELIVERIES = (
    ("2026-03-09", 16150, "washed", "W-3117"),
    ("2026-04-13", 19060, "dried", "K-0482"),
    ("2026-04-13", 4010, "dried", "K-0483"),
    ("2026-05-05", 9010, "washed", "W-3260"),
    ("2026-06-08", 18040, "dried", "K-0655"),
    ("2026-07-02", 7290, "dried", "K-0731"),  # six bags: the weighbridge knew
    ("2026-07-30", 7180, "washed", "W-3391"),
)
COUNTED_ON, U_COUNT_KG = "2026-09-01", 150  # heaps and bags in the yard, by eye and by number
ON_THE_WEIGHBRIDGE, U_WEIGHBRIDGE_KG = "D7", 20
# catches: dressing -> (tray, position accuracy m, trays on each surface, dry volume each n-th)
TRAYS = {"long": (270, 390, 45), "round": (320, None, 33), "area": (None, 1064, 41)}
PHONE, RECEIVER, SURVEY = 3.0, 0.6, 0.05
CATCHES = {
    "D1": ("long", PHONE, {"g1": 3, "g2": 3, "g4": 3, "g6": 3, "g7": 3, "g9": 3}, 0),
    "D2": ("long", PHONE, {"g1": 3, "g3": 3, "g5": 3, "g6": 3, "g8": 3, "g9": 3,
                           "t1": 3, "t2": 3, "t4": 3, "t6": 3, "t9": 3}, 3),
    "D3": ("long", PHONE, {**dict.fromkeys(APPROACH_IDS, 3), "bowls": 4}, 0),
    "D4": ("round", RECEIVER, {"g1": 3, "g2": 3, "g3": 3, "g5": 3, "g7": 3, "g8": 3}, 4),
    "D5": ("round", RECEIVER, {"g1": 4, "g2": 3, "g3": 4, "g4": 4, "g5": 4}, 0),
    "D6": ("round", RECEIVER, {"g7": 3, "g8": 3, "g9": 3}, 0),
    "D7": ("area", RECEIVER, {f"g{n}": 4 for n in range(1, 10)}, 4),
    "D8": ("area", RECEIVER, {"t2f": 3, "t3": 3, "t5": 3, "t6f": 3, "t7": 3, "t8": 3,
                           "bowls": 4}, 0),
    "D9": ("long", RECEIVER, {"g2": 3, "g4": 3, "g5": 3, "g6": 4, "g7": 3, "g8": 3, "g9": 3}, 3),
}  # fmt: skip
# ring trays of a dressing: green, bearing (share of the outline), distance outside the edge m
RINGS = {
    "D4": (("g2", 0.20, 0.45), ("g5", 0.55, 0.45), ("g9", 0.30, 0.45), ("g9", 0.30, 1.4)),
    "D9": (("g2", 0.85, 0.45), ("g4", 0.62, 0.45), ("g6", 0.60, 0.45), ("g7", 0.70, 0.6),
           ("g9", 0.55, 0.45), ("g2", 0.85, 1.5), ("g5", 0.12, 1.4), ("g9", 0.55, 1.5)),
}  # fmt: skip
REJECTED = {
    ("D2", "t4", 1): "gust of wind folded the cloth over",
    ("D9", "g5", 0): "tray kicked over before it was weighed",
}


EDGE_M = {
    "D3": 0.7,
    "D6": 4.6,
    "D7": 0.55,
    "D8": 0.7,
}  # the outermost tray inside the edge; else 2.1
UNDECLARED_AT_THE_EDGE = ("D4", "g3")
POOLED = ("D5", "g2")  # the sand of all its trays measured in one cylinder
IN_PARTS = ("D7", "g7", 1)  # too much for the small balance: weighed in two goes


def planned():
    """dressings.csv as dressing -> (date, sand, rows of surfaces and planned mm)."""
    found = {}
    for row in csv.DictReader((HERE / "dressings.csv").read_text("utf-8").splitlines()):
        rows = found.setdefault(row["dressing"], (row["date"], row["sand"], []))[2]
        rows.append((row["surfaces"], float(row["planned_depth_mm"])))
    return found


DRESSINGS = planned()


def expand(words):
    """Surface ids of a list of ids and kinds."""
    return [i for word in words.split() for i in KINDS.get(word, [word])]


def ground_factor(key):
    """From the ellipsoid to the sloping ground at its height."""
    height = SURFACE_ELEVATIONS_M.get(key, ELEVATION_M)
    slope = SURFACE_SLOPES_PERCENT.get(key, 0.0) / 100
    return (1 + height / EARTH_RADIUS_M) ** 2 * math.sqrt(1 + slope**2)


def persistent_factors(rng, ids):
    """A factor per surface that stays all season: evenly spread normal quantiles, dealt out."""
    p = (np.arange(len(ids)) + 0.5) / len(ids)
    grid = np.linspace(-4, 4, 4001)
    cumulative = np.array([0.5 * (1 + math.erf(z / math.sqrt(2))) for z in grid])
    z = np.interp(p, cumulative, grid)
    return dict(zip(ids, 1 + SURFACE_SD * rng.permutation(z), strict=True))


def thrown_m2(polygon, reach_m):
    """Area at full rate that holds what a linear taper throws over: P L / 2 + pi chi L^2 / 3.

    Steiner's formula (area of a parallel body) integrated over the taper; chi = parts - holes.
    """
    parts = shapely.get_parts(polygon)
    chi = sum(1 - len(p.interiors) for p in parts)
    return polygon.length * reach_m / 2 + math.pi * chi * reach_m**2 / 3


def simulate(rng, ground):
    """The truth: rates kg/m2 per dressing and surface, loads as written, masses as they were."""
    factors = {}
    for ids in KINDS.values():
        factors |= persistent_factors(rng, ids)
    factors |= {"g6": 0.96, "bowls": 0.93, "practice": 0.98}
    rates, loads, masses = {}, [], {}
    for key, (_, sand, rows) in DRESSINGS.items():
        level, reach = TRUE_LEVEL[key], TRUE_REACH_M[key]
        planned_mm = {i: mm for words, mm in rows for i in expand(words)}
        rate = {
            i: mm * level * factors[i] * (1 + DRESSING_SURFACE_SD * rng.standard_normal())
            * TRUE_DENSITY_G_CM3[sand] for i, mm in planned_mm.items()
        }  # fmt: skip
        on = {i: rate[i] * ground[i].area * ground_factor(i) for i in rate}
        over = {i: rate[i] * thrown_m2(ground[i], reach) for i in rate}
        wet = 1 + TRUE_MOISTURE[sand]
        for load, (_, words, label, leftover, u_unit, u_label) in LOADS.items():
            if LOADS[load][0] != key:
                continue
            ids = expand(words) or list(rate)
            bag = TRUE_BAG_D7_KG if key == "D7" else TRUE_BAG_KG[sand, label]
            used = sum(on[i] + over[i] for i in ids) * wet
            step = 1.0 if label == 25 or key == "D7" else 0.25
            count = math.ceil(used / bag) if leftover else max(1.0, round(used / bag / step)) * step
            bags = count * bag
            returned = float(round(bags - used)) if leftover else 0.0
            scale = (bags - returned) / used  # what was emptied is what was spread
            for i in ids:
                rate[i], on[i], over[i] = rate[i] * scale, on[i] * scale, over[i] * scale
            loads.append((load, key, count, label, returned, u_unit, u_label, words))
        rates[key] = rate
        masses[key] = {"on": on, "over": over, "wet": wet}
    return rates, loads, masses


def places(rng, polygon, count, edge_m):
    """Where trays lie: one near the edge, one near the middle, the others between."""
    ring = np.asarray(polygon.exterior.coords)[:-1]
    if not shapely.is_ccw(polygon.exterior):
        ring = ring[::-1]
    inward = -normals(ring)
    depth = math.sqrt(polygon.area / math.pi)
    wanted = [edge_m, 0.75 * depth, 0.45 * depth, 0.55 * depth][:count]
    start, spots = rng.random(), []
    for k, inset in enumerate(wanted):
        for turn in range(50):  # where the outline is narrow, look a little farther along
            j = int((start + k / count + turn / 50) % 1 * len(ring))
            spot = ring[j] + inward[j] * inset
            point = shapely.Point(spot)
            if polygon.contains(point) and polygon.exterior.distance(point) > 0.92 * min(inset, 3):
                break
        spots.append(spot)
    return spots


class Trays:
    """Collects the rows of catches.geojson."""

    def __init__(self, rng, rates):
        self.rng, self.rates, self.features, self.count = rng, rates, [], {}

    def weigh(self, key, tray, true_rate, volume_share):
        """What the scales and the cylinder show for one tray on ground with this true rate."""
        first, second, tare = TRAYS[tray]
        if tray == "long":
            size, area = {"tray_length_mm": first, "tray_width_mm": second}, first * second / 1e6
        elif tray == "round":
            size, area = {"tray_diameter_mm": first}, math.pi / 4 * first**2 / 1e6
        else:
            size, area = {"tray_area_cm2": second}, second / 1e4
        sand = DRESSINGS[key][1]
        here = true_rate * max(0.2, 1 + PATCH_CV * self.rng.standard_normal())
        dry_g = 1000 * here * area * TRUE_TRAY * TRUE_EFFICIENCY
        tare += int(self.rng.integers(-1, 2))
        gross = round(tare + dry_g * (1 + TRUE_MOISTURE[sand]))
        volume = round(volume_share * dry_g / TRUE_DENSITY_G_CM3[sand]
                       * (1 + 0.01 * self.rng.standard_normal()))  # fmt: skip
        return size, tare, gross, volume

    def add(self, key, spot, accuracy, size, rest):
        """One row; the position as the receiver showed it."""
        error = np.clip(self.rng.standard_normal(2), -1.2, 1.2) * accuracy / math.sqrt(2)
        lon, lat = to_degrees([np.asarray(spot) + error])[0]
        self.count[key] = self.count.get(key, 0) + 1
        name = f"{key}-{self.count[key]:02d}"
        said = {} if accuracy == RECEIVER else {"position_accuracy_m": accuracy}
        self.features.append({
            "type": "Feature",
            "properties": {"catch": name, "dressing": key, **size, **said, **rest},
            "geometry": {"type": "Point", "coordinates": [float(lon), float(lat)]},
        })  # fmt: skip


def lay_one(trays, key, surface, spot, k, last, setup):
    """One tray on a surface: weighed, perhaps its sand measured, perhaps rejected."""
    tray, accuracy, declared, share, edge, volumes = setup
    size, tare, gross, volume = trays.weigh(key, tray, trays.rates[key][surface], share)
    volumes.append(volume)
    reject = REJECTED.get((key, surface, k))
    rest = {"surface": surface} if declared else {}
    rest |= {"tare_g": tare, "gross_g": gross}
    if edge < 0.6 and k == 0:
        rest["edge_distance_m"] = -edge
    if (key, surface) == POOLED:
        rest["pool"] = f"{surface} together"
        rest |= {"volume_cm3": sum(volumes), "volume_state": "dry"} if last else {}
    elif reject:
        rest |= {"gross_g": gross - round(0.45 * (gross - tare)), "reject_reason": reject}
    elif share:
        rest |= {"volume_cm3": volume, "volume_state": "dry"}
    if (key, surface, k) != IN_PARTS:
        trays.add(key, spot, accuracy, size, rest)
        return
    rest |= {"gross_g": tare + round(0.6 * (gross - tare)), "note": "weighed in two parts"}
    trays.add(key, spot, accuracy, size, rest)
    second = json.loads(json.dumps(trays.features[-1]))
    second["properties"]["gross_g"] = gross + tare - rest["gross_g"]
    trays.features.append(second)


def lay_ring(trays, key, outline, green, share, outside):
    """A tray outside a green's edge, under the taper of what is thrown over."""
    ring = np.asarray(outline.exterior.coords)[:-1]
    j = int(share * len(ring))
    taper = max(0.0, 1 - outside / TRUE_REACH_M[key])
    size, tare, gross, _ = trays.weigh(key, CATCHES[key][0], trays.rates[key][green] * taper, 0.0)
    rest = {"edge_distance_m": outside, "tare_g": tare, "gross_g": gross}
    rest["note"] = f"outside {green}, taped"
    trays.add(key, ring[j] + normals(ring)[j] * outside, SURVEY, size, rest)


def lay_catches(rng, rates, ground, surfaces):
    """All catches of the season as GeoJSON features."""
    trays = Trays(rng, rates)
    for key, (tray, accuracy, where, volume_each) in CATCHES.items():
        for number, (surface, count) in enumerate(where.items()):
            doubtful = (key, surface) == UNDECLARED_AT_THE_EDGE
            edge = 0.95 if doubtful else EDGE_M.get(key, 2.1)
            declared = (accuracy == PHONE or edge < 0.9 or number % 3 == 1) and not doubtful
            whole = max(shapely.get_parts(ground[surface]), key=shapely.area)
            volumes = []
            for k, spot in enumerate(places(rng, whole, count, edge)):
                measured = volume_each and (number + k) % volume_each == 0
                share = 1.0 if measured or (key, surface) == POOLED else 0.0
                setup = (tray, accuracy, declared, share, edge, volumes)
                lay_one(trays, key, surface, spot, k, k == count - 1, setup)
        for green, share, outside in RINGS.get(key, ()):
            lay_ring(trays, key, surfaces[green][3], green, share, outside)
    return trays.features


# ---------------- the files


def ring_text(ring):
    """A closed ring of lon/lat pairs."""
    return [[float(x), float(y)] for x, y in ring]


def surface_features(surfaces):
    """Surfaces as GeoJSON features: outer rings counter-clockwise, holes clockwise."""
    features = []
    for key, (name, kind, around, drawn) in surfaces.items():
        polygon = shapely.geometry.polygon.orient(drawn, 1.0)
        rings = []
        for line in (polygon.exterior, *polygon.interiors):
            ring = to_degrees(np.asarray(line.coords))
            ring[-1] = ring[0]
            rings.append(ring_text(ring))
        properties = {"id": key, "name": name, "kind": kind}
        properties |= {"around": around} if around else {}
        for column, table in (
            ("target_mm", SURFACE_TARGETS_MM),
            ("elevation_m", SURFACE_ELEVATIONS_M),
            ("slope_percent", SURFACE_SLOPES_PERCENT),
        ):
            properties |= {column: table[key]} if key in table else {}
        geometry = {"type": "Polygon", "coordinates": rings}
        features.append({"type": "Feature", "properties": properties, "geometry": geometry})
    return features


def write(name, text):
    """UTF-8, line feeds, the same bytes everywhere."""
    (HERE / name).write_bytes(text.encode("utf-8"))


def write_geojson(name, features):
    """One feature a line, so that a version control system shows what changed."""
    lines = [json.dumps(f, ensure_ascii=False, separators=(",", ":")) for f in features]
    body = ",\n".join(lines)
    write(name, f'{{"type":"FeatureCollection","features":[\n{body}\n]}}\n')


def number(value):
    """A number as short as it can be written; blank for nothing."""
    return "" if value is None else f"{value:g}"


def write_csv(name, header, rows):
    """A comma-separated table with a header."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    write(name, text.getvalue())


def write_loads(loads):
    """loads.csv and deliveries.csv."""
    header = (
        *("load", "dressing", "count", "unit_mass_kg", "u_unit_mass_kg", "u_label_percent"),
        *("moisture_dry_basis_percent", "u_moisture_percent", "returned_kg"),
        *("weighed_kg", "u_weighed_kg", "surfaces", "ticket"),
    )
    tickets = {"D1": "W-3117", "D3": "W-3260", "D7": "K-0731", "D8": "W-3391"}
    tickets |= dict.fromkeys(("D5", "D6", "D9"), "K-0655")
    rows = []
    for load, key, count, label, returned, u_unit, u_label, words in loads:
        oven = (4.4, 0.4) if key == "D3" else (None, None)
        ticket = tickets.get(key, "K-0483" if label == 25 else "K-0482")
        scale = ("", "")
        if key == ON_THE_WEIGHBRIDGE:
            scale = (number(count * TRUE_BAG_D7_KG), U_WEIGHBRIDGE_KG)
        rows.append((load, key, number(count), label, number(u_unit), number(u_label),
                     number(oven[0]), number(oven[1]), number(returned) if returned else "", *scale,
                     words, ticket))  # fmt: skip
    write_csv("loads.csv", header, rows)
    tickets = [
        (date, "delivery", mass, "", sand, ticket) for date, mass, sand, ticket in DELIVERIES
    ]
    counts = [
        (COUNTED_ON, "count", 50 * round(mass / 50), U_COUNT_KG, sand, "")
        for sand, mass in true_stock(loads).items()
    ]
    header = ["date", "kind", "mass_kg", "u_mass_kg", "sand", "ticket"]
    write_csv("deliveries.csv", header, [*tickets, *counts])


def true_stock(loads):
    """What is left in the yard of each sand: bought, less what the bags taken out truly held."""
    left = {sand: 0.0 for sand in TRUE_DENSITY_G_CM3}
    for _, mass, sand, _ in DELIVERIES:
        left[sand] += mass
    for _, key, count, label, returned, *_ in loads:
        sand = DRESSINGS[key][1]
        bag = TRUE_BAG_D7_KG if key == "D7" else TRUE_BAG_KG[sand, label]
        left[sand] -= count * bag - returned
    return left


def write_truth(rates, masses, loads):
    """truth.json: the simulator's answer."""
    dressings = {}
    for key, (date, sand, _) in DRESSINGS.items():
        on, over = masses[key]["on"], masses[key]["over"]
        spread = sum(on.values()) + sum(over.values())
        said = sum(c * label - back for _, d, c, label, back, *_ in loads if d == key)
        density = TRUE_DENSITY_G_CM3[sand]
        dressings[key] = {
            "date": date,
            "sand": sand,
            "spread_kg": round(spread, 1),
            "spread_as_the_labels_say_kg": round(said / masses[key]["wet"], 1),
            "on_surfaces_kg": round(sum(on.values()), 1),
            "overthrow_kg": round(sum(over.values()), 1),
            "overthrow_fraction": round(sum(over.values()) / spread, 4),
            "reach_m": TRUE_REACH_M[key],
            "depth_mm": {i: round(r / density, 4) for i, r in rates[key].items()},
        }
    season = {}
    for entry in dressings.values():
        for i, depth in entry["depth_mm"].items():
            season[i] = season.get(i, 0) + depth
    truth = {
        "about": "The simulator's answer. geosand never reads this file.",
        "dressings": dressings,
        "season_depth_mm": {i: round(d, 4) for i, d in sorted(season.items())},
        "true_bulk_density_g_cm3": TRUE_DENSITY_G_CM3,
        "true_moisture_dry_basis_percent": {k: round(100 * w, 2) for k, w in TRUE_MOISTURE.items()},
        "true_catch_efficiency_percent": 100 * TRUE_EFFICIENCY,
        "true_bag_mass_of_D7_kg": TRUE_BAG_D7_KG,
        "true_stock_kg": {sand: round(mass, 1) for sand, mass in true_stock(loads).items()},
    }
    write("truth.json", json.dumps(truth, indent=1) + "\n")


def main():
    """Draw, simulate, write."""
    rng = np.random.default_rng(SEED)
    surfaces = draw()
    ground = owned(surfaces)
    rates, loads, masses = simulate(rng, ground)
    features = lay_catches(rng, rates, ground, surfaces)
    write_geojson("surfaces.geojson", surface_features(surfaces))
    write_geojson("catches.geojson", features)
    write_loads(loads)
    write_truth(rates, masses, loads)


if __name__ == "__main__":
    main()
