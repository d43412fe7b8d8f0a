"""The notice for machines: stable keys, true figures, a bounded size."""

import json

import pytest

from windwatch.episodes.values import StepName, TrackKey, TrackKind
from windwatch.notices import payload as module
from windwatch.notices.compose import compose

KEYS = [
    "format",
    "id",
    "kind",
    "contact",
    "airfield",
    "at",
    "valid_until",
    "urgent",
    "subject",
    "headline",
    "caution",
    "references",
    "replaces",
    "late_because",
    "steps",
    "open",
    "wind",
    "wind_known",
    "observed_at",
    "age_min",
    "station",
    "fall_back",
    "next_report_due",
    "variation_deg",
    "raw_report",
    "reports",
    "taxi",
    "parked",
    "reminders",
    "text",
    "left_out",
]


@pytest.fixture(scope="module")
def payload(fleet, gust_front, desk_steps, desk_open):
    notice = gust_front.notice(*desk_steps, references=("first", "second"))
    return compose(notice, gust_front.with_open(*desk_open), fleet).payload


def body(payload):
    """As the webhook writes it."""
    return json.dumps(payload, ensure_ascii=False, separators=(",", ":")).encode()


def test_keys_are_those_documented(payload):
    assert list(payload) == KEYS
    for key in KEYS:
        assert key in module.__doc__


def test_envelope_tells_who_when_and_what_it_refers_to(payload):
    assert payload["format"] == "windwatch.notice/1"
    assert payload["contact"] == "operations desk"
    assert payload["at"] == "2026-09-22T19:09:00Z"
    assert payload["valid_until"] == "2026-09-22T20:22:00Z"
    assert payload["references"] == ["first", "second"]


def test_a_step_carries_figure_limit_whose_and_its_reports(payload):
    step = next(
        s
        for s in payload["steps"]
        if s["track"]
        == {
            "kind": "runways",
            "aircraft": "X-TERN",
            "pilot_limits": "dual",
            "quantity": "",
        }
    )
    assert (step["step"], step["level"], step["end"]) == ("opened", "over", "28")
    assert (step["figure_kt"], step["limit_kt"], step["whose"], step["quantity"]) == (
        41.0,
        28,
        "dual",
        "wind",
    )
    reports = {report["id"]: report for report in payload["reports"]}
    assert [reports[id_]["observed_at"] for id_ in step["reports"]] == ["2026-09-22T19:07:00Z"]


def test_a_step_without_a_figure_has_nulls(payload):
    thunder = next(s for s in payload["steps"] if s["track"]["kind"] == "thunder")
    assert thunder["figure_kt"] is thunder["limit_kt"] is thunder["whose"] is None


def test_wind_has_the_form_of_decode(payload):
    assert payload["wind"] == {
        "direction_true_deg": 300,
        "variable": False,
        "speed_kt": 28,
        "gust_kt": 41,
        "sector": None,
        "speed_at_least": False,
        "gust_at_least": False,
        "calm": False,
    }
    assert payload["age_min"] == 2


def test_taxi_and_parked_tell_positions_and_wing_lift(payload):
    leg = payload["taxi"][0]
    assert (leg["leg"], leg["heading_magnetic_deg"], leg["heading_true_deg"]) == (
        "apron to hold 28",
        193.0,
        181.1,
    )
    tail = next(hold for hold in leg["holds"] if hold["gear"] == "tailwheel")
    assert tail["aircraft"] == ["X-WREN"]
    assert tail["positions"]["ailerons"] == {"left": "up", "right": "down"}
    assert tail["positions"]["most_critical"] is True
    wren = next(parked for parked in payload["parked"] if parked["aircraft"] == "X-WREN")
    assert wren["wing_lift"] == {"low": 0.81, "high": 1.66}


def test_ordinary_notices_leave_nothing_out(fleet, gust_front):
    step = gust_front.ground(StepName.OPENED, "X-WREN", "tie_down")
    notice = gust_front.notice(step, contact="owner of X-WREN")
    payload = compose(notice, gust_front.situation, fleet).payload
    assert payload["left_out"] == {}
    sources = [r["source"] for r in payload["reminders"] if "rings" in r["text"]]
    assert any("AC 20-35C" in source for source in sources)


def test_body_is_plain_json(payload):
    assert json.loads(body(payload)) == payload


def test_the_busiest_notice_of_the_day_fits(payload):
    assert len(body(payload)) <= 20_000


def test_a_flood_is_cut_to_20_kb_and_says_what_is_missing(fleet, gust_front, desk_open):
    long = gust_front.ref._replace(raw="RMK " + "\u202e" * 50_000)
    finding = gust_front.ground(StepName.OPENED, "X-WREN", "tie_down").finding
    steps = [
        gust_front.step(
            StepName.OPENED,
            TrackKey(TrackKind.GROUND, "XLKS", f"X-{number:04}", quantity="tie_down"),
            finding=finding,
            reports=(long._replace(id=f"r{number}"),),
            reason="because " * 60,
        )
        for number in range(400)
    ]
    notice = gust_front.notice(*steps, references=tuple(f"ref{n:021}" for n in range(500)))
    content = compose(notice, gust_front.with_open(*desk_open * 40), fleet)
    payload = content.payload
    assert len(body(payload)) <= 20_000
    assert list(payload) == KEYS
    assert len(payload["steps"]) + payload["left_out"]["steps"] == 400
    assert payload["steps"][0]["figure_kt"] == 41.0
    assert payload["text"].startswith("Over: tie-down X-0000 41 kt > 22 kt, and 399 more;")
    assert len(content.subject) <= 125
