"""Invented notices, steps and findings for tests of the store and of delivery."""

from datetime import UTC, datetime, timedelta

from windwatch.assessment.values import Cause, Finding, Level
from windwatch.episodes.values import ReportRef, Step, StepName, TrackKey, TrackKind, computed_id
from windwatch.fleet import Limit
from windwatch.notices.values import Content, Notice
from windwatch.wind import Knots

GUST_FRONT = datetime(2026, 9, 22, 19, 9, tzinfo=UTC)
TIE_DOWN = TrackKey(TrackKind.GROUND, "XLKS", "X-WREN", "", "tie_down")
REPORT = ReportRef(
    computed_id("XLKS", "221907"),
    "XLKS",
    "SPECI",
    GUST_FRONT - timedelta(minutes=2),
    GUST_FRONT,
    "SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ BR BKN028CB OVC070 22/19 A2972",
)
FINDING = Finding(
    "tie_down",
    Knots(41.0),
    Limit("tie_down", Knots(22.0), "X-WREN"),
    Level.OVER,
    Knots(41.0),
    Cause.NOMINAL,
    at_least=False,
    low=False,
    near_low=False,
)


def a_step(number: int = 1, name: StepName = StepName.OPENED, episode: str = "episode-1") -> Step:
    return Step(
        id=computed_id(episode, str(number)),
        episode=episode,
        name=name,
        track=TIE_DOWN,
        at=GUST_FRONT,
        level=Level.OVER,
        finding=FINDING,
        since=REPORT.observed_at,
        worst=FINDING,
        reports=(REPORT,),
        reason="41.0 kt > 22 kt in one report",
        affected=(TIE_DOWN,),
    )


def a_notice(
    contact: str = "owner of X-WREN",
    number: int = 1,
    *,
    airfield: str = "XLKS",
    at: datetime = GUST_FRONT,
    steps: tuple[Step, ...] = (),
    urgent: bool = True,
    valid_for: timedelta = timedelta(minutes=75),
    kind: str = "alert",
    references: tuple[str, ...] = (),
    replaces: tuple[str, ...] = (),
) -> Notice:
    return Notice(
        id=computed_id("notice", contact, airfield, kind, str(number), *replaces),
        contact=contact,
        airfield=airfield,
        at=at,
        kind=kind,
        steps=steps,
        urgent=urgent,
        valid_until=at + valid_for,
        references=references,
        replaces=replaces,
    )


def a_content(subject: str = "XLKS 1907Z 300° 28 G41 kt: tie-down X-WREN 41 > 22") -> Content:
    return Content(
        subject=subject,
        text=f"{subject}\n\nSecure X-WREN now.\n",
        html=f"<p>{subject}</p><p>Secure X-WREN now.</p>",
        payload={"subject": subject, "airfield": "XLKS", "figure_kt": 41.0},
    )
