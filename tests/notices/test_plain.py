"""The bare facts, when words or templates fail; and the test notice."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from windwatch.episodes.values import StepName
from windwatch.notices import compose as full
from windwatch.notices.plain import compose_plain
from windwatch.notices.trial import compose_test


def test_every_step_is_told_with_figure_limit_and_whose(fleet, gust_front, desk_steps):
    content = compose_plain(gust_front.notice(*desk_steps), gust_front.situation, fleet)
    assert content.html == ""
    assert "worsened, tie down X-WREN: over tie down 41 kt, limit 22 kt (X-WREN)" in content.text
    assert "opened, runways X-TERN / dual: over wind 41 kt, limit 28 kt (dual)" in content.text
    assert gust_front.raw in content.text
    assert "Received 2026-09-22 19:09Z" in content.text
    assert "valid until 2026-09-22 20:22Z" in content.text.splitlines()[0]
    assert "Advisory only" in content.text
    assert content.payload["id"] == gust_front.notice().id
    assert len(content.payload["steps"]) == len(desk_steps)


def test_nothing_known_is_not_calm_in_bare_facts_either(fleet, gust_front):
    step = gust_front.data(StepName.NO_DATA)
    situation = replace(gust_front.situation, wind_known=False)
    content = compose_plain(gust_front.notice(step), situation, fleet)
    assert content.subject == "XLKS 19:09Z: no data, wind XLKS"
    assert "within" not in content.text
    assert "Wind known now, by XLKS: no; that is not calm" in content.text


@pytest.mark.promise(20)
def test_a_template_that_fails_fails_compose_but_not_the_bare_facts(
    monkeypatch, fleet, gust_front, desk_steps
):
    def broken(page):
        raise RuntimeError("the template is broken")

    monkeypatch.setattr(full, "html_parts", broken)
    notice = gust_front.notice(*desk_steps)
    with pytest.raises(RuntimeError, match="template is broken"):
        full.compose(notice, gust_front.situation, fleet)
    assert "tie down 41 kt" in compose_plain(notice, gust_front.situation, fleet).text


def test_bare_facts_need_neither_report_nor_assessment(fleet, gust_front, desk_steps):
    nothing = replace(
        gust_front.situation, report=None, ref=None, assessment=None, wind_seen_at=None
    )
    content = compose_plain(gust_front.notice(*desk_steps), nothing, fleet)
    assert "observed not known" in content.text.splitlines()[0]


NOW = datetime(2026, 9, 22, 19, 9, tzinfo=UTC)


def test_a_test_notice_says_that_it_is_one_and_tells_no_wind():
    content = compose_test("operations desk", NOW)
    assert content.subject == "windwatch 19:09Z: test for operations desk, nothing to do"
    assert "It says nothing about the wind at any airfield." in content.text
    assert content.payload["kind"] == "test"
    assert content.payload["valid_until"] == "2026-09-22T19:19:00Z"
    assert "Test: windwatch can reach operations desk" in content.html


def test_test_notices_of_two_moments_have_two_ids():
    first = compose_test("desk", NOW).payload["id"]
    assert first == compose_test("desk", NOW).payload["id"]
    assert first != compose_test("desk", NOW.replace(minute=10)).payload["id"]
