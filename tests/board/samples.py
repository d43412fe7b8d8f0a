"""One page of every kind, holding levels of every kind and everything that goes wrong.

Made by hand, so that pages can be drawn without a store: the figures are invented, and hang
together only as far as somebody looks.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from tests.board.sample_forecast import AHEAD, FORECAST, SPANS
from windwatch.airframe import Gear, WingPosition
from windwatch.airmanship import cautions, control_words
from windwatch.airmanship.control_positions import control_positions
from windwatch.assessment.values import Mark
from windwatch.board.event_values import (
    AcknowledgementShown,
    AttemptShown,
    DeliveryShown,
    EpisodeCard,
    EvidenceShown,
    NoticeCard,
    StepLine,
)
from windwatch.board.page_values import (
    AboutPage,
    EpisodePage,
    FieldCard,
    FieldLink,
    FieldPage,
    Frame,
    LevelMeaning,
    LimitLine,
    NoticePage,
    NoticesPage,
    OverviewPage,
    RampCardPage,
)
from windwatch.board.values import (
    Banner,
    EndRow,
    Figure,
    HoldCard,
    LegCard,
    ParkedCard,
    Stand,
    StationCard,
    SubjectField,
    SubjectRow,
    ThunderShown,
    ToDo,
    WatchShown,
    When,
    WindShown,
)
from windwatch.drawings.control_card import Craft
from windwatch.drawings.field_facts import Field, FieldEnd, FieldLeg, FieldRunway
from windwatch.drawings.strip_facts import Strip, StripFlag, StripLimit, StripPoint
from windwatch.notices.words import Times
from windwatch.wind import DegreesTrue, Knots, Sector, Steady, Wind

NOW = datetime(2026, 9, 22, 19, 12, tzinfo=UTC)
ZONE = ZoneInfo("America/New_York")
HOSTILE = "METAR XLKS 221907Z <script>alert('wind')</script> 30028G41KT RMK \"><img src=x> & more"
CAUTION = (cautions.CAUTION, cautions.PROP_WASH)


def when(minutes_ago: float) -> When:
    at = NOW - timedelta(minutes=minutes_ago)
    local = f"{at.astimezone(ZONE):%H:%M}"
    return When(at, Times(ZONE, NOW).at(at), local, f"{at:%H:%MZ}")


WITHIN = Stand(Mark.WITHIN)
NEAR = Stand(Mark.NEAR)
OVER = Stand(Mark.OVER)
EASING = Stand(Mark.OVER, note="below the limit, not yet back within limits")
UNKNOWN = Stand(Mark.UNKNOWN, Mark.OVER)
NEVER = Stand(Mark.UNKNOWN)

STORM = Wind(
    Steady(DegreesTrue(300)), Knots(28), Knots(41), Sector(DegreesTrue(270), DegreesTrue(330))
)
WIND = WindShown(
    STORM,
    "300/28G41 kt 270V330",
    (
        "Wind from 300 true (312 magnetic), 28 kt, gusts 41 kt",
        "Varying from 270 to 330 true; judged at its worst",
    ),
)
NO_WIND = WindShown(None, "wind not reported", ("Wind: not reported, which is not calm",))


def figure(
    quantity: str, name: str, figure_kt: float, limit_kt: float, whose: str, stand: Stand
) -> Figure:
    over = figure_kt > limit_kt
    margin = limit_kt - figure_kt
    words = f"{figure_kt:g} kt {'>' if over else 'of'} {limit_kt:g} kt"
    left = f"{-margin:g} kt over" if over else f"{margin:g} kt left"
    return Figure(quantity, name, figure_kt, limit_kt, margin, whose, False, stand, words, "", left)


def crosswind(figure_kt: float, limit_kt: float, whose: str, stand: Stand) -> Figure:
    return figure("crosswind", "crosswind", figure_kt, limit_kt, whose, stand)


def _end(runway: str, end: str, heading: float, stand: Stand, deciding: Figure) -> EndRow:
    return EndRow(
        runway, end, heading, end == "10", end in ("28", "19"), stand,
        24.6, 13.1, "headwind 24.6 kt", "crosswind 13.1 kt from the right",
        deciding,
        (figure("wind", "total wind", 41, 28, "dual", stand),),
    )  # fmt: skip


SUBJECTS = (
    SubjectRow(
        "X-LARK/student solo", "X-LARK / student solo", "X-LARK", "student solo", OVER, (),
        "No runway remains within limits",
        (
            _end("10/28", "28", 271.4, OVER, crosswind(35.1, 7, "student solo", OVER)),
            _end("10/28", "10", 91.4, OVER, figure("tailwind", "tailwind", 41, 8, "X-LARK", OVER)),
            _end("1/19", "19", 181.2, EASING, crosswind(6.8, 7, "student solo", EASING)),
        ),
        ("rotor from the hangars on short final of 28",),
    ),
    SubjectRow(
        "X-LARK/dual", "X-LARK / dual", "X-LARK", "dual", NEAR, ("28",),
        "One left: 28 remains within limits",
        (
            _end("10/28", "28", 271.4, NEAR, crosswind(13.1, 15, "X-LARK", NEAR)),
            _end("1/19", "19", 181.2, OVER, crosswind(22, 15, "X-LARK", OVER)),
        ),
    ),
    SubjectRow(
        "X-TERN/dual", "X-TERN / dual", "X-TERN", "dual", WITHIN, ("28", "19"),
        "28 and 19 remain within limits",
        (_end("10/28", "28", 271.4, WITHIN, crosswind(8, 17, "X-TERN", WITHIN)),),
    ),
    SubjectRow(
        "X-WREN/owner", "X-WREN / owner", "X-WREN", "owner", UNKNOWN, (),
        "The present wind is not known",
        (_end("10/28", "28", 271.4, UNKNOWN, crosswind(13.1, 10, "X-WREN", UNKNOWN)),),
    ),
)  # fmt: skip


def field_of(for_whom: str, known: bool = True) -> Field:
    def end(name: str, heading: float, mark: Mark, text: str) -> FieldEnd:
        if not known:
            return FieldEnd(name, DegreesTrue(heading), Mark.UNKNOWN)
        return FieldEnd(name, DegreesTrue(heading), mark, text, "crosswind")

    return Field(
        "XLKS Larkspur",
        STORM if known else None,
        (
            FieldRunway(
                (
                    end("10", 91.4, Mark.OVER, "35.1 > 7 kt"),
                    end("28", 271.4, Mark.NEAR, "6.4 of 7 kt"),
                )
            ),
            FieldRunway(
                (
                    end("1", 1.2, Mark.OVER, "24 > 7 kt"),
                    end("19", 181.2, Mark.WITHIN, "3 of 7 kt"),
                )
            ),
        ),
        (FieldLeg("apron to hold 28", DegreesTrue(181)),),
        for_whom,
        when(5).words if known else f"not known; last known 300/28G41 kt at {when(85).words}",
    )


def hold(gear: Gear, wing: WingPosition, heading: float, *aircraft: str) -> HoldCard:
    positions = control_positions(STORM, DegreesTrue(heading), gear, wing)
    return HoldCard(
        aircraft,
        f"{gear.value}, {wing.value} wing",
        positions,
        Craft(gear, wing),
        control_words.in_words(positions),
        control_words.yoke_in_words(positions.yoke),
        positions.most_critical,
        positions.notes,
        tuple(control_words.in_words(other) for other in positions.alternatives),
    )


LEGS = tuple(
    LegCard(
        name, heading, heading + 12, heading == 1,
        (
            hold(Gear.NOSEWHEEL, WingPosition.HIGH, heading, "X-LARK", "X-TERN"),
            hold(Gear.TAILWHEEL, WingPosition.HIGH, heading, "X-WREN"),
        ),
    )
    for name, heading in (
        ("apron to hold 28", 181.0), ("apron to hold 1", 271.0), ("north taxiway to hold 19", 1.0)
    )
)  # fmt: skip

STRIP = Strip(
    "XLKS",
    NOW,
    tuple(
        StripPoint(
            NOW - timedelta(hours=hours),
            None
            if hours == 9
            else Wind(
                Steady(DegreesTrue(200 + 4 * (24 - hours))),
                Knots(5 + (24 - hours) * 0.9),
                Knots(12 + (24 - hours) * 1.2) if hours < 12 else None,
            ),
        )
        for hours in range(24, -1, -1)
    ),
    (StripLimit(Knots(22), "X-WREN tie-down"), StripLimit(Knots(15), "student solo total wind")),
    (
        StripFlag(NOW - timedelta(minutes=5), "tie-down X-WREN", Mark.OVER),
        StripFlag(NOW - timedelta(minutes=5), "to operations desk"),
    ),
    SPANS,
    "XBRN",
    ahead=AHEAD,
    zone=ZONE,
)

PARKED = (
    ParkedCard(
        "X-WREN", "tailwheel two-seater on its tie-down", OVER,
        (
            figure("tie_down", "tie-down", 41, 22, "X-WREN", OVER),
            figure("shelter", "shelter", 41, 35, "X-WREN", OVER),
            figure("taxi", "taxi wind", 41, 20, "X-WREN", OVER),
        ),
        "In this wind the wing can carry about 81 % to 166 % of the weight (three-point "
        "attitude). A quartering wind overturns an aeroplane far below 100 %.",
        (0.81, 1.66),
        ("Tail to the wind is worst: nose into 300 true.", "Chocks on both sides of each wheel."),
    ),
    ParkedCard(
        "X-LARK", "nosewheel high-wing trainer", NEAR,
        (figure("tie_down", "tie-down", 23, 25, "X-LARK", NEAR),), "", None,
    ),
    ParkedCard(
        "X-TERN", "nosewheel low-wing tourer", WITHIN,
        (figure("tie_down", "tie-down", 20, 30, "X-TERN", WITHIN),),
        "In this wind the wing can carry about 3 % to 10 % of the weight.", (0.03, 0.10),
    ),
)  # fmt: skip

EVIDENCE = (
    EvidenceShown(
        "e1", "XLKS", "SPECI", when(5), when(4),
        f"SPECI of XLKS, observed {when(5).words}, received {when(4).words}, corrected report",
        "SPECI XLKS 221907Z AUTO 30028G41KT 270V330 3SM TSRA SQ BKN020CB 16/12 A2989",
    ),
    EvidenceShown(
        "e2", "XLKS", "METAR", when(20), when(19),
        f"METAR of XLKS, observed {when(20).words}, received {when(19).words}", HOSTILE,
    ),
)  # fmt: skip

EPISODES = (
    EpisodeCard(
        "3fa9c1d2aa00bb11cc22dd33", "3fa9c1d2", "XLKS", "tie-down X-WREN", OVER,
        f"now 41 kt > 22 kt; over since {when(5).words}, worst 41 kt", when(5),
    ),
    EpisodeCard(
        "77b0c1d2aa00bb11cc22dd33", "77b0c1d2", "XLKS", "runways X-LARK / student solo", EASING,
        f"now crosswind 6.8 kt of 7 kt, {EASING.note}; over since {when(65).words}, worst "
        "crosswind 35.1 kt; noted by instructor on duty",
        when(65), easing=True,
        acknowledged=AcknowledgementShown("instructor on duty", when(50), "students are down"),
    ),
    EpisodeCard(
        "99b0c1d2aa00bb11cc22dd33", "99b0c1d2", "XLKS", "taxi wind X-WREN", UNKNOWN,
        f"not known now, last 24 kt > 20 kt; over since {when(5000).words}, worst 27 kt; "
        "standing: review the limit",
        when(5000), standing=True,
    ),
)  # fmt: skip
CLOSED = EpisodeCard(
    "11b0c1d2aa00bb11cc22dd33", "11b0c1d2", "XLKS", "thunder", WITHIN,
    f"over from {when(300).words} to {when(200).words}", when(300), when(200),
    "back within limits; your decision",
)  # fmt: skip

TAKEN = DeliveryShown("webhook", "accepted", "taken by the next hop", False, False, 1, "200 OK")
DEAD = DeliveryShown(
    "email", "refused", "not delivered: refused after 3 tries", True, False, 3,
    "550 5.1.1 no such mailbox <script>",
    (
        AttemptShown(1, when(5), "failed", "451 try later"),
        AttemptShown(2, when(4), "failed", "451 try later"),
        AttemptShown(3, when(2), "failed", "550 5.1.1 no such mailbox <script>"),
    ),
)  # fmt: skip
WAITING = DeliveryShown(
    "email", "waiting", f"tried once, next try {when(-2).words}", False, True, 1, "421 busy"
)
NOTICES = (
    NoticeCard(
        "aa11c1d2aa00bb11cc22dd33", "aa11c1d2", when(5), "operations desk", "XLKS", "alert",
        "XLKS 15:07 local 300/28G41 kt: over, tie-down X-WREN 41 > 22, +10 more", Mark.OVER, True,
        (TAKEN, WAITING), False,
    ),
    NoticeCard(
        "bb22c1d2aa00bb11cc22dd33", "bb22c1d2", when(5), "owner of X-WREN", "XLKS", "alert",
        "XLKS 15:07 local 300/28G41 kt: over, tie-down X-WREN 41 > 22", Mark.OVER, True,
        (DEAD,), True,
    ),
    NoticeCard(
        "cc33c1d2aa00bb11cc22dd33", "cc33c1d2", when(200), "operations desk", "XLKS", "cancel",
        "XLKS 11:52 local: thunder back within limits; your decision", Mark.WITHIN, False,
        (TAKEN,), False,
    ),
)  # fmt: skip

STATIONS = (
    StationCard(
        "XLKS", "main station", False, False, when(85), 85, when(25), True, WIND,
        "not known: nothing with a wind came in the last 75 min", "the field's own", HOSTILE,
    ),
    StationCard(
        "XBRN", "fall-back 1", True, True, when(19), 19, None, False,
        WindShown(Wind(Steady(DegreesTrue(290)), Knots(22), Knots(33)), "290/22G33 kt"),
        "rising: 8 kt three hours ago, 14 gusting 22 kt an hour ago, 22 gusting 33 kt now; "
        "veering from 240 to 290 true",
        "25 NM from the field, bearing 270 true, 50 ft higher than the field",
        "METAR XBRN 221853Z 29022G33KT 10SM OVC045 15/10 A2990",
    ),
    StationCard("XQUA", "fall-back 2", False, False, None, None, None, False, None, "", "", ""),
)  # fmt: skip

TO_DO = ToDo(
    OVER,
    "Over: tie-down X-WREN 41 kt > 22 kt, and 10 more",
    (
        "Recall those out and stop taxiing: squall reported. People come before aircraft.",
        "Keep X-LARK / student solo, dual down; recall those out.",
        "Tie down X-LARK and X-WREN now.",
    ),
    (
        "X-LARK / student solo: no runway within limits: 28 crosswind 35.1 kt > 7 kt",
        "X-LARK / dual: One left: 28 remains within limits",
    ),
)
TO_DO_UNKNOWN = ToDo(
    UNKNOWN,
    f"Unknown: no wind known from XLKS since {when(85).words}",
    (
        (
            "Nothing is known of the present wind here; that is not the end of any alert. Judge "
            "by the windsock, and leave secured what is secured."
        ),
    ),
    ("X-LARK / student solo: the present wind is not known",),
)

STALE = Banner(
    "stale",
    f"No wind known from XLKS since {when(85).words}",
    "Every level here is unknown, which is not within limits. Judge by the windsock.",
    when(85),
)
NOT_RUNNING = Banner(
    "watch",
    f"The watch is not running: no complete cycle since {when(41).words}",
    "Nobody is told of anything, and every level here is unknown. Start windwatch watch.",
    when(41),
)
FEED = Banner(
    "feed", "The last poll failed", "The feed did not answer within 20 s.", when(2), grave=False
)
FRAME = Frame(
    "XLKS Larkspur", when(0), "812-1790104320", "kt",
    WatchShown(True, "watching", when(1)), (),
    (FieldLink("XLKS", "Larkspur"), FieldLink("BURDOCK", "Burdock strip")), CAUTION,
)  # fmt: skip

DRAWING = SubjectField(
    "X-LARK/student solo", "X-LARK / student solo", field_of("X-LARK / student solo")
)
FIELD = FieldPage(
    FRAME, "XLKS", "Larkspur", True, WIND, "XLKS", when(5), when(-55), False, TO_DO,
    ThunderShown(OVER, ("squall reported", "thunder at the field")), DRAWING, SUBJECTS, LEGS, "",
    PARKED, STRIP, FORECAST, EPISODES, NOTICES, STATIONS,
    (*WIND.lines, "Station XLKS, the field's own", f"Observed {when(5).words}, 5 min old"),
    EVIDENCE,
)  # fmt: skip
STALE_FIELD = replace(
    FIELD,
    frame=replace(
        FRAME, watch=WatchShown(False, "not running", when(41)), banners=(NOT_RUNNING, STALE, FEED)
    ),
    wind_known=False,
    observed=when(85),
    due=when(25),
    overdue=True,
    todo=TO_DO_UNKNOWN,
    thunder=ThunderShown(UNKNOWN, ()),
    drawing=SubjectField(DRAWING.key, DRAWING.who, field_of("X-LARK / student solo", known=False)),
    subjects=tuple(
        row._replace(
            stand=Stand(Mark.UNKNOWN, row.stand.last_known or row.stand.mark),
            remaining=(),
            remains="The present wind is not known",
            ends=tuple(
                end._replace(
                    stand=UNKNOWN, headwind_kt=None, crosswind_kt=None, along="", across=""
                )
                for end in row.ends
            ),
        )
        for row in SUBJECTS
    ),
    legs=tuple(leg._replace(holds=()) for leg in LEGS),
    legs_note="The present wind is not known: follow the windsock.",
    parked=tuple(p._replace(stand=UNKNOWN, lift="", lift_share=None) for p in PARKED),
)

OVERVIEW = OverviewPage(
    FRAME,
    (
        FieldCard(
            "XLKS", "Larkspur", TO_DO, True, WIND, "XLKS", when(5), DRAWING, len(EPISODES), 1
        ),
        FieldCard(
            "BURDOCK", "Burdock strip", TO_DO_UNKNOWN, False, NO_WIND, "XBRN", None, None, 0, 0
        ),
    ),
)
RAMP_CARD = RampCardPage(
    FRAME, "XLKS", "Larkspur", "22 Sep 2026", "X-LARK", "nosewheel high-wing trainer",
    "nosewheel, high wing", True, WIND, when(5), "XLKS", when(-55), TO_DO, DRAWING, SUBJECTS[:2],
    (
        LimitLine(
            "student solo", "crosswind", "crosswind", 7, "student solo",
            "crosswind 7 kt (student solo)",
        ),
        LimitLine("dual", "crosswind", "crosswind", 15, "X-LARK", "crosswind 15 kt (X-LARK)"),
        LimitLine("on the ground", "tie_down", "tie-down", 25, "X-LARK", "tie-down 25 kt (X-LARK)"),
    ),
    "demonstrated crosswind 15 kt, which is no limitation",
    tuple(leg._replace(holds=leg.holds[:1]) for leg in LEGS), "", PARKED[1],
)  # fmt: skip
STEPS = (
    StepLine(
        "s1", when(5), "opened", Mark.OVER, "over: tie-down X-WREN 41 kt > 22 kt (X-WREN)", "",
        EVIDENCE,
    ),
    StepLine(
        "s2", when(2), "worsened", Mark.OVER, "over, worse than told before: tie-down X-WREN 44 kt",
        "new worst: at least 3 kt and 10 % of the limit above the last told", (),
    ),
)  # fmt: skip
EPISODE = EpisodePage(
    FRAME, EPISODES[0], figure("tie_down", "tie-down", 41, 22, "X-WREN", OVER), STEPS, NOTICES[:2],
    (AcknowledgementShown("operations desk", when(700), "called the owner"),), True, "6 h",
)  # fmt: skip
CLOSED_EPISODE = replace(EPISODE, episode=CLOSED, can_acknowledge=False, worst=None)
NOTICES_PAGE = NoticesPage(FRAME, when(7 * 24 * 60), NOTICES, True, 1)
NOTICE = NoticePage(
    FRAME, NOTICES[1], when(-70), f"Over: tie-down X-WREN 41 kt > 22 kt\n\nEvidence\n{HOSTILE}\n",
    "earlier notices could not be delivered", STEPS, EPISODES[:1],
)  # fmt: skip
ABOUT = AboutPage(
    FRAME,
    (
        LevelMeaning(WITHIN, "open ring", "at or below the limit, and not near it"),
        LevelMeaning(NEAR, "half-filled ring", "beyond 85 % of the limit"),
        LevelMeaning(OVER, "filled block with two stripes", "above the limit"),
        LevelMeaning(NEVER, "ring of dashes with a question mark", "not known; never within"),
    ),
    ("A warning ends when two reports, 10 minutes apart, are below the limit.",),
    (("windwatch", "0.1.0"), ("Python", "3.11")),
)

PAGES = {
    "overview": OVERVIEW,
    "field": FIELD,
    "stale field": STALE_FIELD,
    "ramp card": RAMP_CARD,
    "episode": EPISODE,
    "closed episode": CLOSED_EPISODE,
    "notices": NOTICES_PAGE,
    "notice": NOTICE,
    "about": ABOUT,
}
