"""An invented field with few limits, reports made from a wind, and a watch that records."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from types import MappingProxyType

from windwatch import pipeline
from windwatch.airframe import Gear, WingPosition
from windwatch.episodes.books import Setup
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.values import Step, TrackKey, TrackKind
from windwatch.fleet import (
    Aircraft,
    Airfield,
    Contact,
    Fleet,
    Limit,
    PilotLimits,
    Runway,
    RunwayEnd,
    RunwaySteps,
    Station,
    TellAbout,
)
from windwatch.notices.values import Notice
from windwatch.reports.raw import RawReport
from windwatch.wind import DegreesTrue, HeadingTrue, Knots

FAIR = "10SM CLR 20/10 A2992"
EAST_WEST = Runway(
    "9/27",
    (
        RunwayEnd("9", HeadingTrue(DegreesTrue(90))),
        RunwayEnd("27", HeadingTrue(DegreesTrue(270))),
    ),
)
NORTH_SOUTH = Runway(
    "18/36",
    (
        RunwayEnd("18", HeadingTrue(DegreesTrue(180))),
        RunwayEnd("36", HeadingTrue(DegreesTrue(360))),
    ),
)
DESK = Contact("desk", ("folder",), TellAbout(runways=RunwaySteps.EACH))


def utc(hhmm: str, day: int = 22) -> datetime:
    return datetime(2026, 9, day, int(hhmm[:2]), int(hhmm[2:]), tzinfo=UTC)


def limits(whose: str, **knots: float) -> tuple[Limit, ...]:
    return tuple(Limit(quantity, Knots(value), whose) for quantity, value in knots.items())


def an_airfield(**more: object) -> Airfield:
    plain = Airfield(
        id="XLKS",
        name="Larkspur",
        station=Station("XLKS"),
        latitude=42.93,
        longitude=-76.02,
        elevation_ft=960,
        time_zone="America/New_York",
        runways=(EAST_WEST, NORTH_SOUTH),
        fall_back_stations=(Station("XBRN", 25.0),),
        variation_deg=-12.0,
    )
    return replace(plain, **more)  # type: ignore[arg-type]


def an_aircraft(
    name: str = "X-LARK",
    own: tuple[Limit, ...] = (),
    flown_by: tuple[str, ...] = (),
) -> Aircraft:
    return Aircraft(name, Gear.NOSEWHEEL, WingPosition.HIGH, "XLKS", own, flown_by)


def a_fleet(
    *aircraft: Aircraft,
    airfield: Airfield | None = None,
    pilots: Iterable[PilotLimits] = (),
    contacts: tuple[Contact, ...] = (DESK,),
) -> Fleet:
    return Fleet(
        (airfield or an_airfield(),),
        aircraft,
        MappingProxyType({pilot.name: pilot for pilot in pilots}),
        contacts,
    )


def parked_fleet(**knots: float) -> Fleet:
    """One aircraft with ground limits only; by default a tie-down limit of 25 kt."""
    return a_fleet(an_aircraft(own=limits("X-LARK", **(knots or {"tie_down": 25}))))


def flying_fleet(*contacts: Contact, crosswind: float = 15) -> Fleet:
    """One aircraft and standard on two crossing runways, with a crosswind limit."""
    craft = an_aircraft(own=limits("X-LARK", crosswind=crosswind), flown_by=("dual",))
    return a_fleet(craft, pilots=[PilotLimits("dual", ())], contacts=contacts or (DESK,))


TIE_DOWN = TrackKey(TrackKind.GROUND, "XLKS", "X-LARK", quantity="tie_down")
TAXI = TrackKey(TrackKind.GROUND, "XLKS", "X-LARK", quantity="taxi")
RUNWAYS = TrackKey(TrackKind.RUNWAYS, "XLKS", "X-LARK", "dual")
THUNDER = TrackKey(TrackKind.THUNDER, "XLKS")


def metar(
    observed: datetime,
    wind: str,
    rest: str = FAIR,
    *,
    kind: str = "METAR",
    station: str = "XLKS",
) -> str:
    """A report; `wind` may begin with COR, and may be empty."""
    return " ".join(f"{kind} {station} {observed:%d%H%M}Z {wind} {rest}".split())


@dataclass
class Watch:
    """A field being watched: events in, everything that came out kept."""

    fleet: Fleet
    start: datetime = utc("1200")
    setup: Setup = field(init=False)
    books: pipeline.Books = field(init=False)
    notices: list[Notice] = field(default_factory=list)
    steps: list[Step] = field(default_factory=list)
    last: pipeline.Outcome = field(init=False)

    def __post_init__(self) -> None:
        self.setup = Setup(self.fleet)
        self.books = pipeline.begin(self.setup, self.fleet.airfields[0], self.start)

    def step(self, event: pipeline.Event, now: datetime) -> list[str]:
        """Advance, and say which steps were made; *easing*, which is off by default, apart."""
        self.last = pipeline.step(self.setup, self.books, event, now)
        self.books = self.last.books
        self.notices += [notice for notice, _ in self.last.notices]
        self.steps += self.last.steps
        return [name for name in names(self.last.steps) if name != "easing"]

    def raw(self, *texts: str, now: datetime) -> list[str]:
        reports = tuple(RawReport(text, now, "recorded") for text in texts)
        return self.step(pipeline.ReportsCame(reports), now)

    def report(
        self,
        wind: str,
        at: str,
        rest: str = FAIR,
        *,
        day: int = 22,
        kind: str = "METAR",
        station: str = "XLKS",
        received: str | None = None,
    ) -> list[str]:
        """A report observed at `at`, received three minutes later unless said otherwise."""
        observed = utc(at, day)
        now = observed + timedelta(minutes=3) if received is None else utc(received, day)
        return self.raw(metar(observed, wind, rest, kind=kind, station=station), now=now)

    def tick(self, at: str, day: int = 22) -> list[str]:
        return self.step(pipeline.Tick(), utc(at, day))

    def tick_until(self, begin: str, end: str, day: int = 22) -> list[tuple[str, str]]:
        """A tick each minute; the steps made, with their minute."""
        found = []
        now = utc(begin, day)
        while now <= utc(end, day):
            found += [(f"{now:%H%M}", name) for name in self.step(pipeline.Tick(), now)]
            now += timedelta(minutes=1)
        return found

    def reload(self, fleet: Fleet) -> None:
        self.fleet = fleet
        self.setup = Setup(fleet)

    @property
    def state(self) -> AirfieldState:
        return self.books.state

    def level(self, key: TrackKey = TIE_DOWN) -> str:
        return self.books.folded.track(key).level.word

    def told(self, contact: str = "desk") -> list[str]:
        """Names of the steps that went out to a contact, in order."""
        return [
            step.name.value
            for notice in self.notices
            if notice.contact == contact
            for step in notice.steps
        ]


def names(steps: Iterable[Step]) -> list[str]:
    return [step.name.value for step in steps]
