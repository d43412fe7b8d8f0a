"""Random days of an invented field, as reports and as what their maker meant."""

from dataclasses import replace
from datetime import datetime, timedelta
from random import Random

from hypothesis import strategies as st

from tests.pipeline.little_field import (
    a_fleet,
    an_aircraft,
    limits,
    metar,
    utc,
)
from tests.pipeline.slow_model import Said
from windwatch.fleet import Fleet, PilotLimits

CROSSWIND, TAILWIND, TIE_DOWN, TAXI = 15, 8, 25, 30
HEADINGS = {"9/27": (90, 270), "18/36": (180, 360)}
START = utc("0600")


def the_fleet() -> Fleet:
    craft = an_aircraft(
        own=limits("X-LARK", crosswind=CROSSWIND, tailwind=TAILWIND, tie_down=TIE_DOWN, taxi=TAXI),
        flown_by=("dual",),
    )
    return a_fleet(craft, pilots=[PilotLimits("dual", ())])


def text_of(said: Said) -> str:
    """The report in its own words."""
    if said.wind_from is None:
        wind = ""
    elif said.wind_from == 0:
        wind = "00000KT"
    else:
        where = said.wind_from if isinstance(said.wind_from, str) else f"{said.wind_from:03d}"
        gust = "" if said.gust is None else f"G{said.gust:02d}"
        wind = f"{where}{said.mean:02d}{gust}KT"
        if said.sector is not None:
            wind += f" {said.sector[0]:03d}V{said.sector[1]:03d}"
    if said.correction:
        wind = f"COR {wind}"
    remarks = []
    if said.peak is not None:
        remarks.append(f"PK WND 180{said.peak[1]:02d}/{said.peak[0]:%H%M}")
    if said.shift_at is not None:
        remarks.append(f"WSHFT {said.shift_at:%H%M}")
    cloud = "BKN030CB" if "CB" in said.weather else "BKN030"
    weather = said.weather.replace("CB", "").strip()
    rest = f"10SM {weather} {cloud} 20/10 A2992"
    if remarks:
        rest += f" RMK AO2 {' '.join(remarks)}"
    return metar(said.at, wind, rest, kind=said.kind)


def a_wind(chance: Random) -> dict[str, object]:
    kind = chance.choice(
        ["steady"] * 8 + ["strong"] * 5 + ["light"] * 4 + ["sector", "VRB", "///", "calm", "none"]
    )
    if kind == "none":
        return {"wind_from": None}
    if kind == "calm":
        return {"wind_from": 0}
    where = chance.randint(1, 36) * 10
    mean = chance.randint(3, 24)
    if kind == "strong":
        # Across both runways, and strong: this is what takes the last one.
        where = chance.choice([40, 50, 130, 230, 320])
        mean = chance.randint(18, 34)
    if kind == "light":
        mean = chance.randint(1, 9)
    gust = mean + chance.randint(5, 14) if chance.random() < 0.4 else None
    if kind in ("VRB", "///"):
        return {"wind_from": kind, "mean": mean, "gust": gust}
    sector = None
    if kind == "sector":
        half = chance.randint(3, 6) * 10
        sector = ((where - half) % 360 or 360, (where + half) % 360 or 360)
    return {"wind_from": where, "mean": mean, "gust": gust, "sector": sector}


def a_report(chance: Random, at: datetime, kind: str) -> Said:
    weather = chance.choice([""] * 10 + ["TSRA", "VCTS", "CB"])
    peak = None
    if chance.random() < 0.15:
        peak = (at - timedelta(minutes=chance.randint(0, 70)), chance.randint(18, 40))
    shift_at = at - timedelta(minutes=5) if chance.random() < 0.07 else None
    return Said(at, kind, **a_wind(chance), weather=weather, peak=peak, shift_at=shift_at)  # type: ignore[arg-type]


def a_day(seed: int, hours: float, most: int) -> list[Said]:
    """Reports in the order of their times; corrections behind what they correct.

    A smaller `most` gives the beginning of the same day.
    """
    chance = Random(seed)
    steps = chance.choice([[1, 7, 10, 12, 20, 30], [10, 30, 60, 60], [20, 30, 30, 60, 60, 60]])
    found: list[Said] = []
    at = START
    while len(found) < most:
        at += timedelta(minutes=chance.choice(steps))
        if at > START + timedelta(hours=hours):
            break
        kind = chance.choice(["METAR", "METAR", "SPECI"])
        found.append(a_report(chance, at, kind))
        extra = chance.choice(["no"] * 8 + ["COR", "other text", "other kind"])
        if extra == "COR":
            found.append(replace(a_report(chance, at, kind), correction=1))
        elif extra == "other text":
            found.append(a_report(chance, at, kind))
        elif extra == "other kind":
            found.append(a_report(chance, at, "SPECI" if kind == "METAR" else "METAR"))
    return found


def days(hours: float, most: int = 24) -> st.SearchStrategy[list[Said]]:
    """Random days; what fails is cut down to its first reports."""
    return st.builds(
        lambda seed, count: a_day(seed, hours, count),
        st.integers(0, 2**32),
        st.integers(0, most).map(lambda spared: most - spared),
    )
