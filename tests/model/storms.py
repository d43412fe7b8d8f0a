"""Random report histories: gust fronts, lulls, thunder, silence, and reports that misbehave."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from random import Random

from windwatch.reports.raw import RawReport

MINUTE = timedelta(minutes=1)
START = datetime(2026, 9, 22, 10, 56, tzinfo=UTC)


@dataclass(frozen=True)
class Kind:
    """What a storm is made of: shares of the reports that do each."""

    corrections: float = 0.0
    no_wind: float = 0.0
    no_direction: float = 0.0
    variable: float = 0.05
    thunder: float = 0.15
    specials: float = 0.5
    peaks: float = 0.2
    silence: float = 0.0
    twice: float = 0.0
    late: float = 0.0
    hours: int = 14


STORM = Kind()
FAULTY = Kind(corrections=0.08, no_wind=0.06, no_direction=0.04, silence=0.06, twice=0.1)
DISORDERLY = Kind(
    corrections=0.08, no_wind=0.06, no_direction=0.04, silence=0.04, twice=0.1, late=0.12
)


@dataclass(frozen=True)
class Arrival:
    at: datetime
    raw: RawReport


class Sky:
    """A wind that wanders, jumps with fronts and sometimes falls asleep."""

    def __init__(self, random: Random) -> None:
        self.random = random
        self.mean = random.uniform(3, 12)
        self.goal = self.mean
        self.wind_from = random.randrange(1, 37) * 10
        self.gusty = random.random()
        self.storm_left = 0

    def blow(self, kind: Kind) -> None:
        r = self.random
        if r.random() < 0.2:
            self.goal = r.choice((0, 4, 8, 11, 14, 17, 21, 26, 33))
            self.gusty = r.random()
        if r.random() < 0.15:
            self.wind_from = r.randrange(1, 37) * 10
        self.mean += (self.goal - self.mean) * r.uniform(0.2, 0.9)
        self.wind_from = (self.wind_from + r.choice((-20, -10, 0, 0, 10, 20)) - 1) % 360 + 1
        self.wind_from = max(10, round(self.wind_from / 10) * 10)
        if self.storm_left:
            self.storm_left -= 1
        elif r.random() < kind.thunder:
            self.storm_left = r.randrange(1, 5)

    def wind_group(self, kind: Kind) -> tuple[str, int]:
        """One wind group and its strongest figure in knots."""
        r = self.random
        chance = r.random()
        speed = max(0, round(self.mean + r.uniform(-1.5, 1.5)))
        gust = speed + r.randrange(3, 14) if r.random() < self.gusty and speed > 4 else None
        tail = "" if gust is None else f"G{gust:02d}"
        if chance < kind.no_wind:
            return r.choice(("/////KT", "")), 0
        if chance < kind.no_wind + kind.no_direction:
            return f"///{speed:02d}{tail}KT", gust or speed
        if speed == 0:
            return "00000KT", 0
        if r.random() < kind.variable:
            return f"VRB{speed:02d}{tail}KT", gust or speed
        group = f"{self.wind_from:03d}{speed:02d}{tail}KT"
        if speed > 6 and r.random() < 0.15:
            half = r.choice((30, 40, 60))
            low = (self.wind_from - half - 1) % 360 + 1
            high = (self.wind_from + half - 1) % 360 + 1
            group += f" {low:03d}V{high:03d}"
        return group, gust or speed

    def weather(self) -> tuple[str, str]:
        r = self.random
        if self.storm_left > 1:
            return r.choice(("+TSRA", "TSRA", "TSRA SQ")), "BKN028CB"
        if self.storm_left == 1:
            return r.choice(("VCTS", "-RA", "")), r.choice(("SCT035CB", "SCT035", "BKN040TCU"))
        return "", "SCT035"


def storm(seed: int, kind: Kind = STORM, station: str = "XLKS") -> list[Arrival]:
    """One history, in the order of receipt."""
    random = Random(seed)
    sky = Sky(random)
    arrivals: list[Arrival] = []
    hour = START - 3 * MINUTE
    gap_until = hour
    end = START + timedelta(hours=kind.hours)
    peak = ""
    while hour < end:
        moments = [(hour, "METAR")]
        if random.random() < kind.specials:
            extra = sorted(random.sample(range(6, 54), random.randrange(1, 4)))
            moments += [(hour + m * MINUTE, "SPECI") for m in extra]
        for at, word in moments:
            sky.blow(kind)
            if random.random() < kind.silence:
                gap_until = at + random.randrange(40, 260) * MINUTE
            if at < gap_until and at > START:
                continue
            text, peak = _report(random, sky, kind, at, word, station, peak)
            arrivals += _arrive(random, kind, at, text, sky)
        hour += timedelta(hours=1)
    arrivals.sort(key=lambda a: a.at)
    return arrivals


def _report(random, sky: Sky, kind: Kind, at, word: str, station: str, peak: str):
    wind, strongest = sky.wind_group(kind)
    weather, cloud = sky.weather()
    remarks = []
    if random.random() < kind.peaks and strongest > 15:
        ago = random.randrange(1, 50)
        moment = at - ago * MINUTE
        peak = f"PK WND {sky.wind_from:03d}{strongest + random.randrange(0, 9):02d}/{moment:%H%M}"
        remarks.append(peak)
    elif peak and random.random() < 0.4:
        remarks.append(peak)
    else:
        peak = ""
    if random.random() < 0.04:
        remarks.append(f"WSHFT {at - random.randrange(1, 30) * MINUTE:%H%M}")
    if sky.storm_left == 1 and random.random() < 0.5:
        remarks.append(f"TSE{at - random.randrange(1, 12) * MINUTE:%H%M}")
    words = [word, station, f"{at:%d%H%M}Z", wind, "10SM", weather, cloud, "18/12 A2980"]
    if remarks:
        words += ["RMK AO2", *remarks]
    return " ".join(w for w in words if w), peak


def _arrive(random, kind: Kind, at, text: str, sky: Sky) -> list[Arrival]:
    delay = 3 * MINUTE
    if random.random() < kind.late and at > START:
        delay = random.randrange(10, 110) * MINUTE
    came = at + delay
    found = [(came, text)]
    if random.random() < kind.corrections:
        wind, _ = sky.wind_group(kind)
        parts = text.split()
        old = parts[3] if parts[3].endswith("KT") else ""
        new = text.replace(parts[2], f"{parts[2]} COR", 1)
        if old:
            new = new.replace(f" {old}", f" {wind}" if wind else "", 1)
        found.append((came + random.randrange(1, 40) * MINUTE, new))
    if random.random() < kind.twice:
        found.append((came + random.randrange(1, 70) * MINUTE, text))
    return [Arrival(moment, RawReport(words, moment, "recorded")) for moment, words in found]
