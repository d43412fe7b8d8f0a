"""The demo field, its fleet and situations of its day, built by hand with their real figures."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, time, timedelta
from types import MappingProxyType

import pytest

from windwatch.airframe import Gear, WingPosition
from windwatch.assessment.assess import assess
from windwatch.assessment.plan import plan_airfield
from windwatch.assessment.values import Finding, Level
from windwatch.episodes.values import ReportRef, Step, StepName, TrackKey, TrackKind
from windwatch.fleet import (
    Aircraft,
    Airfield,
    Contact,
    Fleet,
    Limit,
    OperatingHours,
    PilotLimits,
    Runway,
    RunwayEnd,
    RunwayNote,
    RunwaySteps,
    Station,
    TaxiLeg,
    TellAbout,
)
from windwatch.notices.values import Notice, OpenTrack, Situation
from windwatch.reports.decode import decode_report
from windwatch.wind import DegreesMagnetic, DegreesTrue, HeadingMagnetic, HeadingTrue, Knots

VARIATION = -11.9
HOUR = timedelta(hours=1)
GUST_FRONT = (
    "SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ BR BKN028CB OVC070 22/19 A2972 RMK AO2 "
    "PK WND 30041/1903 WSHFT 1856 FRQ LTGICCG OHD-W RAB06 TSB04 TS OHD-W MOV E PRESRR P0001 "
    "T02220189"
)


def utc(hhmm: str, day: int = 22) -> datetime:
    """A moment of the demo day."""
    return datetime(2026, 9, day, int(hhmm[:2]), int(hhmm[2:]), tzinfo=UTC)


def _limits(whose: str, **knots: float) -> tuple[Limit, ...]:
    return tuple(Limit(quantity, Knots(value), whose) for quantity, value in knots.items())


def demo_fleet() -> Fleet:
    """The fleet of config/demo.toml."""
    field = Airfield(
        id="XLKS",
        name="Larkspur",
        station=Station("XLKS", elevation_ft=960),
        latitude=42.93,
        longitude=-76.02,
        elevation_ft=960,
        time_zone="America/New_York",
        runways=(
            Runway(
                "10/28",
                (
                    RunwayEnd("10", HeadingTrue(DegreesTrue(91.4))),
                    RunwayEnd("28", HeadingTrue(DegreesTrue(271.4))),
                ),
                notes=(
                    RunwayNote(
                        "rotor from the hangars on short final of 28",
                        (DegreesTrue(200), DegreesTrue(250)),
                        Knots(15),
                    ),
                ),
            ),
            Runway(
                "1/19",
                (
                    RunwayEnd("1", HeadingTrue(DegreesTrue(1.2))),
                    RunwayEnd("19", HeadingTrue(DegreesTrue(181.2))),
                ),
            ),
        ),
        fall_back_stations=(Station("XBRN", 25, DegreesTrue(270), 1010),),
        taxi_legs=tuple(
            TaxiLeg(name, HeadingMagnetic(DegreesMagnetic(heading)))
            for name, heading in (
                ("apron to hold 28", 193),
                ("apron to hold 1", 283),
                ("north taxiway to hold 19", 13),
            )
        ),
        operating_hours=OperatingHours(time(7), time(20)),
    )
    aircraft = (
        Aircraft(
            "X-LARK",
            Gear.NOSEWHEEL,
            WingPosition.HIGH,
            "XLKS",
            _limits(
                "X-LARK", crosswind=15, tailwind=8, gust_spread=12, taxi=30, tie_down=25, shelter=40
            ),
            ("student solo", "dual"),
            "nosewheel high-wing trainer",
            Knots(44),
        ),
        Aircraft(
            "X-TERN",
            Gear.NOSEWHEEL,
            WingPosition.LOW,
            "XLKS",
            _limits("X-TERN", crosswind=17, tailwind=10, taxi=35, tie_down=30, shelter=45),
            ("dual",),
            "nosewheel low-wing tourer",
            Knots(53),
        ),
        Aircraft(
            "X-WREN",
            Gear.TAILWHEEL,
            WingPosition.HIGH,
            "XLKS",
            _limits("X-WREN", crosswind=10, tailwind=5, taxi=20, tie_down=22, shelter=35),
            ("owner",),
            "tailwheel two-seater",
            Knots(38),
        ),
    )
    pilots = {
        "student solo": PilotLimits("student solo", _limits("student solo", crosswind=7, wind=15)),
        "dual": PilotLimits("dual", _limits("dual", wind=28)),
        "owner": PilotLimits("owner", _limits("owner", crosswind=12, wind=22)),
    }
    return Fleet(
        (field,),
        aircraft,
        MappingProxyType(pilots),
        (
            Contact("operations desk", ("email", "webhook"), TellAbout(("XLKS",), runways=_EACH)),
            Contact(
                "instructor on duty",
                ("email",),
                TellAbout(("XLKS",), ("X-LARK", "X-TERN"), runways=RunwaySteps.LAST, ground=False),
            ),
            Contact(
                "owner of X-WREN",
                ("email",),
                TellAbout(("XLKS",), ("X-WREN",), runways=RunwaySteps.NONE),
            ),
        ),
    )


_EACH = RunwaySteps.EACH


def ref_of(
    raw: str, received: str, *, fall_back: bool = False, corrected: bool = False
) -> ReportRef:
    """A report as evidence."""
    report = decode_report(raw, utc(received))
    assert report.observed_at is not None
    return ReportRef(
        f"id-{report.station}-{report.observed_at:%H%M}{'-cor' if corrected else ''}",
        report.station,
        report.kind,
        report.observed_at,
        utc(received),
        raw,
        fall_back=fall_back,
        corrected=corrected,
    )


@dataclass(frozen=True)
class Day:
    """One moment of the day: makes steps, notices and situations with real figures."""

    fleet: Fleet
    raw: str
    at: datetime
    ref: ReportRef
    situation: Situation

    @property
    def airfield(self) -> Airfield:
        return self.fleet.airfields[0]

    def ground(self, name: StepName, aircraft: str, quantity: str, **more: object) -> Step:
        """A step of a ground track with the report's own figure."""
        assert self.situation.assessment is not None
        finding = next(
            g.finding
            for g in self.situation.assessment.ground
            if g.aircraft == aircraft and g.finding.quantity == quantity
        )
        track = TrackKey(TrackKind.GROUND, "XLKS", aircraft, quantity=quantity)
        return self.step(name, track, finding=finding, **more)

    def runways(self, name: StepName, aircraft: str, pilot: str, **more: object) -> Step:
        """A step of a runways track with the best runway's figure."""
        assert self.situation.assessment is not None
        found = next(
            r
            for r in self.situation.assessment.runways
            if r.aircraft == aircraft and r.pilot_limits == pilot
        )
        best = found.runways[0].best
        track = TrackKey(TrackKind.RUNWAYS, "XLKS", aircraft, pilot)
        return self.step(name, track, **({"finding": best.deciding, "end": best.end} | more))

    def thunder(self, name: StepName, level: Level = Level.OVER, **more: object) -> Step:
        return self.step(name, TrackKey(TrackKind.THUNDER, "XLKS"), level=level, **more)

    def data(self, name: StepName, **more: object) -> Step:
        return self.step(name, TrackKey(TrackKind.DATA, "XLKS", quantity="wind"), **more)

    def step(self, name: StepName, track: TrackKey, **more: object) -> Step:
        finding = more.get("finding")
        level = finding.level if isinstance(finding, Finding) else Level.WITHIN
        fields: dict[str, object] = {
            "level": level,
            "reports": (self.ref,),
            "since": self.ref.observed_at,
        } | more
        return Step(
            id=f"step-{name}-{track}",
            episode=f"episode-{track}",
            name=name,
            track=track,
            at=self.at,
            **fields,  # type: ignore[arg-type]
        )

    def open(self, step: Step, since: str = "1656", **more: object) -> OpenTrack:
        return OpenTrack(step.track, step.episode, utc(since), step, **more)  # type: ignore[arg-type]

    def notice(
        self, *steps: Step, contact: str = "operations desk", kind: str = "alert", **more: object
    ) -> Notice:
        fields: dict[str, object] = {
            "urgent": True,
            "valid_until": self.ref.observed_at + timedelta(minutes=75),
        } | more
        return Notice(
            id="0123456789abcdef01234567",
            contact=contact,
            airfield="XLKS",
            at=self.at,
            kind=kind,
            steps=steps,
            **fields,  # type: ignore[arg-type]
        )

    def with_open(self, *tracks: OpenTrack) -> Situation:
        return replace(self.situation, open_tracks=tracks)


Moment = Callable[..., Day]


@pytest.fixture(scope="session")
def fleet() -> Fleet:
    return demo_fleet()


@pytest.fixture(scope="session")
def moment(fleet: Fleet) -> Moment:
    """A moment of the day: the report just received, and what it means."""

    def made(raw: str, received: str, *, corrected: bool = False, fall_back: bool = False) -> Day:
        report = decode_report(raw, utc(received))
        field = fleet.airfields[0]
        ref = ref_of(raw, received, corrected=corrected, fall_back=fall_back)
        plan = plan_airfield(fleet, field, ref.observed_at.date())
        situation = Situation(
            airfield="XLKS",
            at=utc(received),
            report=report,
            ref=ref,
            assessment=assess(plan, report),
            wind_known=True,
            weather_known=True,
            wind_seen_at=ref.observed_at,
            weather_seen_at=ref.observed_at,
            next_report_due=ref.observed_at.replace(minute=53)
            + HOUR * (ref.observed_at.minute >= 53),
            station_in_use=report.station,
            newest=ref,
            open_tracks=(),
            variation_deg=VARIATION,
        )
        return Day(fleet, raw, utc(received), ref, situation)

    return made


@pytest.fixture(scope="session")
def gust_front(moment: Moment) -> Day:
    """19:07Z: the gust front."""
    return moment(GUST_FRONT, "1909")


def gust_front_steps(day: Day) -> tuple[Step, ...]:
    """What the desk is told at 19:09Z (tests/demo/expected_notices.md)."""
    since = {"since": utc("1653")}
    opened, worse, near = StepName.OPENED, StepName.WORSENED, StepName.NEAR
    return (
        day.runways(opened, "X-TERN", "dual"),
        day.ground(opened, "X-LARK", "taxi"),
        day.ground(opened, "X-LARK", "tie_down"),
        day.ground(opened, "X-LARK", "shelter"),
        day.ground(opened, "X-TERN", "taxi"),
        day.ground(opened, "X-TERN", "tie_down"),
        day.ground(near, "X-TERN", "shelter"),
        day.ground(worse, "X-WREN", "taxi", since=utc("1553")),
        day.ground(worse, "X-WREN", "tie_down", **since),
        day.ground(opened, "X-WREN", "shelter"),
        day.thunder(opened),
    )


@pytest.fixture(scope="session")
def desk_steps(gust_front: Day) -> tuple[Step, ...]:
    return gust_front_steps(gust_front)


@pytest.fixture(scope="session")
def desk_open(gust_front: Day, desk_steps: tuple[Step, ...]) -> tuple[OpenTrack, ...]:
    """Every episode that is open at 19:09Z."""
    others = (
        gust_front.open(gust_front.runways(StepName.OPENED, "X-LARK", "student solo"), "1553"),
        gust_front.open(gust_front.runways(StepName.OPENED, "X-LARK", "dual"), "1653"),
        gust_front.open(gust_front.runways(StepName.OPENED, "X-WREN", "owner"), "1653"),
    )
    told = tuple(
        gust_front.open(step, f"{(step.since or gust_front.at):%H%M}")
        for step in desk_steps
        if step.level is Level.OVER
    )
    return (*others, *told)
