"""Writes tests/fixtures/riseAndSet.json: rises and sets of Sun and Moon by another ephemeris.

    python3 writeRiseAndSet.py OUT

Source: PyEphem 4 (Debian: python3-ephem; libastro: VSOP87 and the lunar theory of Moshier), upper limb,
34' of refraction on the horizon, no air besides, place at sea level. Sixty places and dates from a
seed; every rise and set within the 24 hours from local mean solar noon of the date.
"""

import json
import random
import sys
from datetime import datetime, timedelta, timezone

import ephem

EPOCH = datetime(1970, 1, 1, tzinfo=timezone.utc)
chance = random.Random(60)


def unix_ms(moment):
    return round((moment.datetime().replace(tzinfo=timezone.utc) - EPOCH).total_seconds() * 1000)


def events(body_class, observer, start, end):
    found = []
    for kind in ("rising", "falling"):
        step = ephem.Date(start)
        while True:
            observer.date = step
            body = body_class()
            try:
                moment = (
                    observer.next_rising(body) if kind == "rising" else observer.next_setting(body)
                )
            except (ephem.AlwaysUpError, ephem.NeverUpError):
                # Said of the day around the moment: look again an hour later.
                step = ephem.Date(step + ephem.hour)
                if step > end:
                    break
                continue
            if moment > end:
                break
            if all(abs(moment - other) > 30 * ephem.second for other, _ in found):
                found.append((moment, kind))
            step = ephem.Date(moment + 5 * ephem.minute)
    return [{"atMs": unix_ms(moment), "direction": kind} for moment, kind in sorted(found)]


cases = []
for at in range(60):
    # Two thirds of the places lie where aurora is photographed.
    latitude = chance.uniform(60, 80) if at % 3 else chance.uniform(-70, 60)
    longitude = chance.uniform(-180, 180)
    day = datetime(2026, 1, 1, tzinfo=timezone.utc) + timedelta(days=chance.randrange(4 * 365))
    noon = day + timedelta(hours=12) - timedelta(hours=longitude / 15)
    observer = ephem.Observer()
    observer.lat, observer.lon = f"{latitude:.4f}", f"{longitude:.4f}"
    observer.elevation, observer.pressure, observer.horizon = 0, 0, "-0:34"
    start = ephem.Date(noon.replace(tzinfo=None))
    end = ephem.Date(start + 1)
    cases.append(
        {
            "latitudeDeg": round(latitude, 4),
            "longitudeDeg": round(longitude, 4),
            "dateIso": day.strftime("%Y-%m-%d"),
            "startMs": unix_ms(start),
            "sun": events(ephem.Sun, observer, start, end),
            "moon": events(ephem.Moon, observer, start, end),
        }
    )

with open(sys.argv[1], "w") as file:
    json.dump({"source": "PyEphem " + ephem.__version__ + ", see writeRiseAndSet.py", "cases": cases}, file, indent=1)
    file.write("\n")
