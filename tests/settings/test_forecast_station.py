"""Forecasts in the configuration: whose, how often, and which kinds of feed have any."""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.watch.little_watch import config_text
from windwatch.errors import SettingsError
from windwatch.settings.read import read_settings
from windwatch.settings.running import Settings

KIND = 'kind = "awc"\n'
PLACE = "elevation_ft = 960\n"


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


def read(feed: str = KIND, station: str = "XBRN") -> Settings:
    text = config_text().replace(KIND, feed)
    text = text.replace(PLACE, f'{PLACE}forecast_station = "{station}"\n' if station else PLACE)
    Path("field.toml").write_text(text, encoding="utf-8")
    return read_settings([Path("field.toml")], {})


def about_forecasts(settings: Settings) -> list[str]:
    return [each for each in settings.warnings if "forecast_station" in each]


def test_whose_and_how_often():
    usual = read()
    assert usual.fleet.airfields[0].forecast_station == "XBRN"
    assert usual.feed.forecasts_every == timedelta(minutes=10)
    assert read(KIND + 'forecasts_every = "30min"\n').feed.forecasts_every == timedelta(minutes=30)


@pytest.mark.parametrize("kind", ["awc", "noaa-text"])
def test_with_a_kind_that_has_forecasts_nothing_is_said(kind):
    assert about_forecasts(read(f'kind = "{kind}"\n')) == []


@pytest.mark.parametrize("kind", ["awc-cache", "noaa-cycles", "nws"])
def test_with_another_kind_it_is_said_that_none_comes(kind):
    (said,) = about_forecasts(read(f'kind = "{kind}"\n'))
    assert said == (
        "field.toml:13: airfield XLKS, forecast_station: it is not used with kind = "
        f'"{kind}", which gives no forecasts; leave it, or take it out; forecasts come with awc, '
        "noaa-text, recorded"
    )
    assert about_forecasts(read(f'kind = "{kind}"\n', station="")) == []


@pytest.mark.parametrize("every", ["1min", "9min", "7h"])
def test_more_often_than_is_polite_is_refused(every):
    with pytest.raises(SettingsError) as refused:
        read(KIND + f'forecasts_every = "{every}"\n')
    (fault,) = refused.value.faults
    assert "outside 10min to 6h" in str(fault)
