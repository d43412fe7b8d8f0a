"""A feed that asks us to stay away, leaves a station out, or never changes: F10, F24 and F11."""

import pytest

from tests.faults.wire import USUAL, answer, at, wired
from tests.servers.trick_server import http
from tests.watch.little_watch import AIRFIELD, MINUTE, START, STORM, metar

# --- F10: they ask us to stay away --------------------------------------------------


@pytest.mark.fault("F10")
@pytest.mark.parametrize(
    ("status", "headers", "away"),
    [
        ("429 Too Many Requests", ("Retry-After: 3600",), 60),
        ("503 Service Unavailable", ("Retry-After: 3600",), 60),
        ("403 Forbidden", (), 1),
    ],
)
def test_a_wish_to_be_left_alone_is_honoured_told_at_once_and_the_fall_back_covers(
    tmp_path, status, headers, away
):
    def with_a_fall_back(text):
        return text.replace('id = "XLKS"', 'id = "XLKS"\nfall_back_stations = ["XBRN"]', 1)

    with wired(tmp_path, manners=USUAL, change=with_a_fall_back) as wire:
        wire.shows(metar(START, STORM), metar(START + 50 * MINUTE, "27035G60KT", "XBRN"))
        wire.bench.at(START + 50 * MINUTE)
        wire.poll()
        assert wire.heard("desk") == ["opened"]
        wire.trick = lambda call, _: call.sendall(http(status, b"", *headers))
        wire.asked.clear()
        banned_at = START + 51 * MINUTE
        wire.bench.at(banned_at)
        assert status[:3] in wire.poll().feed_failed
        assert wire.operator_heard() == ["The feed asks us to stay away"], "at once"
        while wire.bench.clock.now() < START + 110 * MINUTE:
            wire.bench.clock.move(MINUTE)
            wire.poll()
        honoured = [bool(n) for n in wire.asked]
        assert honoured[0]
        assert not any(honoured[1:away]), "no hammering"
        assert sum(honoured) <= 7, "and a wait that grows where they name none"
        # The main station is overdue at 75 min; from then on the last report of XBRN stands in.
        assert sorted(wire.heard("desk")) == ["no_data", "opened", "worsened"]
        [silent] = [
            step
            for kept in wire.bench.store.notices()
            for step in kept.notice.steps
            if step.name.value == "no_data"
        ]
        assert "XBRN is used meanwhile" in silent.reason


# --- F24, F11: what is left out, what never changes ------------------------------------


@pytest.mark.fault("F24")
@pytest.mark.promise(8)
def test_a_station_left_out_runs_old_by_itself_and_the_others_are_fine(tmp_path):
    with wired(
        tmp_path, manners=USUAL, change=lambda text: text + AIRFIELD.format(id="XBRN")
    ) as wire:
        wire.shows(metar(START, STORM), metar(START, STORM, "XBRN"))
        wire.poll()
        assert wire.heard("desk") == ["opened", "opened"]
        wire.told.clear()
        by_minute = {}
        for minute in range(5, 86, 5):
            now = START + minute * MINUTE
            wire.bench.at(now)
            # Left out three times: that is nothing yet. Then for good.
            texts = [metar(now - minute % 30 * MINUTE, STORM, "XBRN")]
            if minute > 15 and minute <= 20:
                texts.append(metar(START, STORM))
            wire.shows(*texts)
            report = wire.poll()
            assert report.feed_failed == ""
            for notice, _ in report.notices:
                by_minute[minute] = (notice.airfield, notice.steps[0].name.value)
        assert by_minute == {75: ("XLKS", "no_data")}
        seen = {a: b.state.wind.at for a, b in wire.bench.watch.books.items()}
        assert seen["XLKS"] == START
        assert seen["XBRN"] >= START + 60 * MINUTE


@pytest.mark.fault("F11")
def test_a_stale_tag_is_passed_by_once_the_report_ages(tmp_path):
    """A cache that says "not modified" to everything but a request past all caches."""
    newest = metar(START + 50 * MINUTE, "27035G60KT")

    def cache(call, head):
        if "If-None-Match" in head:
            call.sendall(http("304 Not Modified", b"", 'ETag: "old"'))
        elif "Cache-Control: no-cache" in head:
            call.sendall(http("200 OK", answer(newest), 'ETag: "new"'))
        else:
            call.sendall(http("200 OK", answer(metar(START, STORM)), 'ETag: "old"'))

    with wired(tmp_path, manners=USUAL) as wire:
        wire.resolver, wire.trick = at("127.0.0.1"), cache
        wire.poll()
        for minute in range(1, 54):
            wire.bench.at(START + minute * MINUTE)
            wire.poll()
            known = wire.bench.watch.books["XLKS"].state.wind.at
            assert known == (START if minute <= 50 else START + 50 * MINUTE), minute
        assert wire.heard("desk") == ["opened", "worsened"]
        assert [n for n, head in enumerate(wire.server.heads) if "no-cache" in head] == [51]


@pytest.mark.fault("F11")
@pytest.mark.promise(7, 8)
def test_where_even_that_brings_nothing_new_the_age_counts_from_the_observation(tmp_path):
    def for_ever(call, head):
        if "If-None-Match" in head:
            call.sendall(http("304 Not Modified", b"", 'ETag: "old"'))
        else:
            call.sendall(http("200 OK", answer(metar(START, STORM)), 'ETag: "old"'))

    with wired(tmp_path, manners=USUAL) as wire:
        wire.resolver, wire.trick = at("127.0.0.1"), for_ever
        for minute in (*range(0, 75, 5), 75):
            wire.bench.at(START + minute * MINUTE)
            assert wire.poll().feed_failed == ""
            assert wire.heard("desk") == (["opened"] if minute < 75 else ["opened", "no_data"])
