"""Forecasts in the store: kept once, newest first, dropped after a week."""

from datetime import timedelta

import pytest

from tests.servers.samples import GUST_FRONT
from windwatch.errors import LeadLost
from windwatch.store.forecasts import StoredForecast, keep_forecasts, newest_forecast
from windwatch.store.glance import pulse
from windwatch.store.store import open_store
from windwatch.store.tidy import KEEP

NOW = GUST_FRONT
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


def forecast(raw="TAF XBRN 221730Z 2218/2318 19017G25KT", issued=NOW, received=None, of="XBRN"):
    return StoredForecast(of, issued, received or issued, raw, "awc")


def test_what_was_kept_is_given_back_as_it_was(store):
    kept = forecast("TAF XBRN 221730Z 2218/2318 19017G25KT é", NOW - HOUR, NOW)
    assert keep_forecasts(store, [kept]) == 1
    assert newest_forecast(store, "XBRN") == kept
    assert newest_forecast(store, "XLKS") is None


def test_a_text_that_comes_again_is_kept_once_as_it_came_first(store):
    first = forecast()
    assert keep_forecasts(store, [first, first]) == 1
    assert keep_forecasts(store, [first._replace(received_at=NOW + HOUR, source="later")]) == 0
    assert newest_forecast(store, "XBRN") == first
    # Two stations may have the very same words.
    assert keep_forecasts(store, [forecast(of="XLKS")]) == 1


def test_the_newest_is_the_one_issued_last_whatever_came_last(store):
    late = forecast("TAF XBRN first", NOW - 6 * HOUR, NOW + HOUR)
    newer = forecast("TAF AMD XBRN second", NOW - HOUR)
    keep_forecasts(store, [newer])
    keep_forecasts(store, [late])
    assert newest_forecast(store, "XBRN") == newer
    corrected = forecast("TAF COR XBRN third", NOW - HOUR, NOW)
    keep_forecasts(store, [corrected])
    assert newest_forecast(store, "XBRN") == corrected


def test_nothing_to_keep_writes_nothing(store):
    assert keep_forecasts(store, []) == 0


def test_a_board_notices_a_new_forecast(store):
    before = pulse(store)
    keep_forecasts(store, [forecast()])
    assert pulse(store) != before


@pytest.mark.guard("denial by alert")
def test_after_a_week_a_forecast_goes(store):
    old = forecast("TAF XBRN old", NOW - KEEP.forecasts - HOUR)
    young = forecast("TAF XBRN young", NOW - KEEP.forecasts + HOUR)
    keep_forecasts(store, [old, young])
    with store.transaction() as books:
        books.save_event("tick", NOW, {})
    assert store.tidy(NOW).dropped == {"forecasts": 1}
    assert newest_forecast(store, "XBRN") == young
    assert KEEP.forecasts == 7 * DAY


@pytest.mark.guard("denial by alert")
def test_a_store_that_is_too_large_gives_up_forecasts_too(store):
    keep_forecasts(
        store,
        [forecast(f"TAF XBRN {n} " + "x" * 1_800, NOW - n * HOUR) for n in range(6 * 24)],
    )
    with store.transaction() as books:
        books.save_event("tick", NOW, {})
    tidied = store.tidy(NOW, KEEP.__class__(size_bytes=1))
    # What is younger than two days stays, however large the store is.
    assert tidied.dropped["forecasts"] == 6 * 24 - 49
    assert tidied.over_cap


def test_a_look_through_the_store_counts_them(store):
    keep_forecasts(store, [forecast()])
    assert store.check().counts["forecasts"] == 1


def test_who_lost_the_lead_keeps_none(tmp_path, clock):
    with (
        open_store(tmp_path / "watch.db", clock) as old,
        open_store(tmp_path / "watch.db", clock) as new,
    ):
        old.hold("old").release()
        with new.hold("new"), pytest.raises(LeadLost):
            keep_forecasts(old, [forecast()])
        assert newest_forecast(new, "XBRN") is None
