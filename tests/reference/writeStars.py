"""Writes core/sky/stars.json.

    python3 writeStars.py STARS_8_JSON OUT

STARS_8_JSON is `data/stars.8.json` of the npm package d3-celestial 0.7.35 (`npm pack d3-celestial@0.7.35`).
Proper motions are those that the list of bright stars in PyEphem (Debian: python3-ephem) gives, which
takes them from the Hipparcos catalogue (ESA 1997, SP-1200); a star is the same when it lies within 40".
"""

import json
import math
import sys

import ephem.stars

MAGNITUDE_MAX = 7.0
# Slower stars move less than 8" in 27 years: a tenth of what a wide lens tells apart.
MOTION_MAS_MIN = 300

source, out = sys.argv[1:3]
stars = []
for feature in json.load(open(source))["features"]:
    magnitude = feature["properties"]["mag"]
    if magnitude > MAGNITUDE_MAX:
        continue
    longitude, declination = feature["geometry"]["coordinates"]
    colour = feature["properties"]["bv"]
    stars.append(
        [
            round(longitude % 360, 4),
            round(declination, 4),
            magnitude,
            # Where none is given, white: about the mean of naked-eye stars.
            round(float(colour), 2) + 0.0 if colour not in ("", None) else 0.0,
        ]
    )
stars.sort(key=lambda star: (star[2], star[0], star[1]))

moving = 0
for line in ephem.stars.db.strip().split("\n"):
    name, _, right_ascension, declination, _ = line.split(",")
    hours, motion_ra = right_ascension.split("|")
    degrees, motion_dec = declination.split("|")
    motion = [round(float(motion_ra)), round(float(motion_dec))]
    if math.hypot(*motion) < MOTION_MAS_MIN:
        continue
    ra, dec = float(hours) * 15, float(degrees)
    near = [
        star
        for star in stars
        if len(star) == 4
        and star[2] < 4
        and math.hypot((star[0] - ra) * math.cos(math.radians(dec)), star[1] - dec) < 40 / 3600
    ]
    if near:
        near[0].extend(motion)
        moving += 1
        print(f"{name:20} {motion} mas a year", file=sys.stderr)
print(f"{len(stars)} stars, {moving} with their motion", file=sys.stderr)

about = {
    "about": "Stars down to magnitude 7.00, brightest first.",
    "source": "stars.8.json of the npm package d3-celestial 0.7.35 (c) 2015 Olaf Frohn, after XHIP: "
    "An Extended Hipparcos Compilation, Anderson and Francis 2012, VizieR V/137D. "
    "Nothing was invented or left out above the limit.",
    "licence": "BSD-3-Clause, see stars.LICENSE beside this file",
    "equinox": "J2000 (ICRS)",
    "epoch": "J2000.0",
    "properMotion": "mas a year, right ascension times cos(declination) and declination; for stars "
    "of PyEphem's list of bright stars that move 300 mas a year or more (Hipparcos, ESA 1997, "
    "SP-1200). Of the others a few dozen faint ones move faster and stand up to 2.5 minutes of arc off "
    "in 2030 (from memory).",
    "madeBy": "tests/reference/writeStars.py",
    "columns": ["rightAscensionDeg", "declinationDeg", "magnitude", "colourIndexBV",
                "motionRightAscensionMas", "motionDeclinationMas"],
}
with open(out, "w") as file:
    file.write("{\n")
    for key, value in about.items():
        file.write(f"  {json.dumps(key)}: {json.dumps(value)},\n")
    file.write('  "stars": [\n')
    file.write(",\n".join("    " + json.dumps(star) for star in stars))
    file.write("\n  ]\n}\n")
