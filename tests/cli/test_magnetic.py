import pytest

# NOAA/NCEI test values of WMM2025 (100-row file shipped with the coefficients) and Table 6 of its
# report, as listed in the reference; heights in km there, in feet here.
FEET_PER_KM = 1 / 0.0003048
PUBLISHED = [
    ("80", "0", "2025.0", 0, 1.28),
    ("0", "120", "2025.0", 0, -0.16),
    ("-80", "-120", "2025.0", 0, 68.78),
    ("-13", "-59", "2027.5", 0, -17.49),
    ("34", "0", "2028.5", 11, 1.57),
    ("-52", "-75", "2025.5", 8, 14.91),
]


@pytest.mark.parametrize(("latitude", "longitude", "year", "km", "variation"), PUBLISHED)
def test_published_variations_come_out(answer, latitude, longitude, year, km, variation):
    found = answer(
        "variation", latitude, longitude, "--on", year, "--elevation-ft", str(km * FEET_PER_KM)
    )
    assert found["variation_deg"] == pytest.approx(variation, abs=0.01)


def test_json_has_exactly_the_keys_of_the_contract(answer):
    found = answer("variation", "-33.9", "151.2", "--on", "2026-07-01")
    assert set(found) == {"variation_deg", "model", "valid_until"}
    assert found["model"] == "WMM2025"
    assert found["valid_until"] == "2030-01-01"


def test_a_year_beyond_the_model_is_said(run, answer, flat):
    args = ("variation", "42.93N", "76.02W", "--on", "2031")
    assert "nearest date" in answer(*args)["remark"]
    assert "nearest date" in flat(run(*args).stdout)


def test_words_say_east_or_west_and_which_way_it_counts(run, flat):
    said = flat(run("variation", "42.93", "-76.02", "--on", "2026-09-22").stdout)
    assert "Variation 11.9° west" in said
    assert "true is 11.9° less than magnetic" in said


@pytest.mark.parametrize(
    "args", [("91", "0"), ("42.9E", "0"), ("1", "2", "--onn", "3"), ("1",), ("1", "2", "--on", "x")]
)
def test_what_is_no_place_or_date_ends_with_2(run, args):
    assert run("variation", *args).exit_code == 2
