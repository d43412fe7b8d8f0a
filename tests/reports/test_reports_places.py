"""Winds of runways and places, wind shear, thunder, lightning: never the observed wind."""

from datetime import UTC, datetime

import pytest

from windwatch.reports.decode import decode_report
from windwatch.reports.values import Lightning, ThunderTime
from windwatch.wind import DegreesTrue, Knots, Sector, Steady, Variable, Wind

NOW = datetime(2026, 9, 22, 22, 0, tzinfo=UTC)
DAY = "XLKS 221953Z"


def at(hour, minute):
    return datetime(2026, 9, 22, hour, minute, tzinfo=UTC)


def steady(direction, speed, gust=None):
    return Wind(Steady(DegreesTrue(direction)), Knots(speed), None if gust is None else Knots(gust))


# Forms of the recorded reports; the first four are cases 23, 54, 55 and 56 of the collection.
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("RMK R25 10013G24KT", [("R25", "25", None, steady(100, 13, 24))]),
        ("RMK WIND 1200FT 26025G46KT", [("WIND 1200FT", "", 1200, steady(260, 25, 46))]),
        (
            "RMK SKC VIS MIN 9999 WIND THR28 06006KT WIND THR10 07007KT A3011 BLU",
            [
                ("WIND THR28", "28", None, steady(60, 6)),
                ("WIND THR10", "10", None, steady(70, 7)),
            ],
        ),
        ("NOSIG RMK RWY24 36008KT", [("RWY24", "24", None, steady(360, 8))]),
        (
            "RMK RWY24R 03004KT RWY06R VRB02KT RWY24L 04003KT",
            [
                ("RWY24R", "24R", None, steady(30, 4)),
                ("RWY06R", "06R", None, Wind(Variable(), Knots(2))),
                ("RWY24L", "24L", None, steady(40, 3)),
            ],
        ),
        ("RMK WIND RWY 26 24003KT", [("WIND RWY 26", "26", None, steady(240, 3))]),
        ("RMK VIENTO RWY02 25003KT PP000", [("VIENTO RWY02", "02", None, steady(250, 3))]),
        ("RMK WIND THR09 /////KT", [("WIND THR09", "09", None, None)]),
        ("RMK HARBOR WIND 18004KT", [("HARBOR WIND", "", None, steady(180, 4))]),
        ("RMK WIND SKEID 07011KT", [("WIND SKEID", "", None, steady(70, 11))]),
        ("RMK TWR WND 18005KT", [("TWR WND", "", None, steady(180, 5))]),
        ("RMK 30006KT/R10 A2950", [("R10", "10", None, steady(300, 6))]),
        (
            "RMK R09/18003KT ARP/21003KT",
            [("R09", "09", None, steady(180, 3)), ("ARP", "", None, steady(210, 3))],
        ),
        ("WIND 1119FT 26030KT", [("WIND 1119FT", "", 1119, steady(260, 30))]),
        ("RWY24 26030G45KT", [("RWY24", "24", None, steady(260, 30, 45))]),
    ],
)
def test_a_wind_of_a_place_keeps_its_label(text, expected):
    report = decode_report(f"{DAY} 31005KT 9999 Q1010 {text}", NOW)
    assert report.wind == steady(310, 5)
    assert [tuple(each) for each in report.runway_winds] == expected
    assert report.problems == ()
    missing = decode_report(f"{DAY} /////KT 9999 Q1010 {text}", NOW)
    assert missing.wind is None
    assert [tuple(each) for each in missing.runway_winds] == expected


def test_a_wind_of_a_runway_in_metres_has_its_sector_and_its_ends():
    report = decode_report(
        "XLKS 221953Z 27004MPS 9999 OVC017 M04/M06 Q1006 NOSIG RMK TDZ R01/27004G05MPS 240V300 "
        "END R01/30004G06MPS QBB200 QFE751/1001",
        NOW,
    )
    touchdown, end = report.runway_winds
    assert (touchdown.place, touchdown.runway) == ("TDZ R01", "01")
    assert (end.place, end.runway) == ("END R01", "01")
    assert touchdown.wind is not None
    assert touchdown.wind.sector == Sector(DegreesTrue(240.0), DegreesTrue(300.0))
    assert end.wind is not None
    assert end.wind.gust == pytest.approx(6 * 3600 / 1852)


@pytest.mark.parametrize(
    "remark",
    [
        "PK WND 31046/1911",  # no unit: a peak, not a place
        "CLN AIR 11008KT ALL WNDS GRID",  # the South Pole's: directions of a grid, not true
        "XBRN 221853Z 35007KT 10SM",  # another report
        "SLP086 T01110072",
        "WIND 26030KT",
        "9999 WIND 26030KT",
    ],
)
def test_a_wind_that_no_word_gives_to_a_place_is_not_taken(remark):
    assert decode_report(f"{DAY} 31005KT 9999 RMK {remark}", NOW).runway_winds == ()


@pytest.mark.parametrize(
    ("groups", "runways"),
    [
        ("WS R23", ("23",)),
        ("WS R32R WS R36L", ("32R", "36L")),
        ("WS ALL RWY", ("ALL",)),
        ("WS RWY06", ("06",)),
        ("WS TKOF RWY24", ("24",)),
        ("WS LDG RWY06", ("06",)),
        ("WS R24 R24/010070", ("24",)),
        ("RETS WS R14 WS R32 NOSIG", ("14", "32")),
        ("", ()),
    ],
)
def test_wind_shear_names_its_runways(groups, runways):
    report = decode_report(f"{DAY} 31005KT 9999 22/11 Q1013 {groups} RMK AO2", NOW)
    assert report.wind_shear == runways
    assert (report.problems, report.undecoded) == ((), ())


@pytest.mark.parametrize(
    ("remark", "times"),
    [
        ("TSB04E41", [(True, at(19, 4)), (False, at(19, 41))]),
        ("TSE11TSB45", [(False, at(19, 11)), (True, at(19, 45))]),
        ("TSE12RAE20", [(False, at(19, 12))]),
        ("RAB06TSB1804E1841", [(True, at(18, 4)), (False, at(18, 41))]),
        ("TSB55E10", [(True, at(18, 55)), (False, at(19, 10))]),
        # Contradicts itself: thunder that began after it ended is not over.
        ("TSB40E10", [(False, at(19, 10)), (True, at(19, 40))]),
        ("TSB1861", []),
        ("TSNO", []),
    ],
)
def test_thunder_has_its_times(remark, times):
    report = decode_report(f"{DAY} 31005KT 9999 RMK AO2 {remark} SLP052", NOW)
    assert report.thunder_times == tuple(ThunderTime(*each) for each in times)
    ended = times[-1][1] if times and not times[-1][0] else None
    assert report.weather.thunder_ended_at == ended


@pytest.mark.parametrize(
    ("remark", "expected"),
    [
        ("LTG DSNT W AND NW", [("", (), "DSNT W AND NW")]),
        ("OCNL LTGICCG OHD TS OHD MOV E", [("OCNL", ("IC", "CG"), "OHD")]),
        ("FRQ LTGCGICCC VC S", [("FRQ", ("CG", "IC", "CC"), "VC S")]),
        ("CONS LTG ALQDS", [("CONS", (), "ALQDS")]),
        ("LTG DSNT N THRU SE SLP052", [("", (), "DSNT N THRU SE")]),
        ("OCNL LTGIC DSNT S-W CB DSNT", [("OCNL", ("IC",), "DSNT S-W")]),
        ("LTG DSNT ALQDS RAB18 FRQ LTGCG VC", [("", (), "DSNT ALQDS"), ("FRQ", ("CG",), "VC")]),
        ("OCNL LTGICC RTS", []),
        ("TS OHD", []),
    ],
)
def test_lightning_says_how_often_what_and_where(remark, expected):
    report = decode_report(f"{DAY} 31005KT 9999 RMK AO2 {remark}", NOW)
    assert report.lightning == tuple(Lightning(*each) for each in expected)


@pytest.mark.parametrize(
    ("text", "estimated"),
    [
        ("E20011KT 9999", True),
        ("20011KT 9999 RMK AO2 WIND ESTD SLP052", True),
        ("20011KT 9999 RMK WIND EST", True),
        ("20011KT 9999 RMK WND ESTD", True),
        ("20011KT 9999 RMK ESTD WND", True),
        ("20011KT 9999 RMK CLD ESTD", False),
        ("20011KT 9999 RMK WEST EST", False),
        ("/////KT 9999 RMK WIND ESTD", False),
        ("20011KT 9999", False),
    ],
)
def test_an_estimated_wind_is_said_to_be_one(text, estimated):
    report = decode_report(f"{DAY} {text}", NOW)
    assert report.wind_estimated is estimated
    assert not report.wind_doubtful


@pytest.mark.parametrize(
    ("groups", "flags"),
    [
        ("BLDU", {"blowing"}),
        ("-SN BLSN", {"blowing", "snow"}),
        ("BLSA", {"blowing"}),
        ("DRSN", {"blowing", "snow"}),
        ("PO", {"blowing"}),
        ("+DS", {"blowing"}),
        ("SS", {"blowing"}),
        ("VCBLDU", {"blowing_in_vicinity"}),
        ("VCPO", {"blowing_in_vicinity"}),
        ("VCFC", {"funnel_cloud_in_vicinity"}),
        ("SA DU HZ", set()),
    ],
)
def test_the_weather_that_announces_wind_is_told(groups, flags):
    weather = decode_report(f"{DAY} 31019G31KT 3000 {groups} BKN020", NOW).weather
    names = ("blowing", "blowing_in_vicinity", "funnel_cloud_in_vicinity", "funnel_cloud", "snow")
    assert {name for name in names if getattr(weather, name)} == flags
