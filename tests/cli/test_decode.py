import json

import pytest

NOW = ("--now", "2026-09-22T23:00Z")
KEYS = {
    "raw", "station", "kind", "observed_at", "corrected", "automatic", "wind", "peak_wind",
    "problems",
}  # fmt: skip
WIND_KEYS = {
    "direction_true_deg", "variable", "speed_kt", "gust_kt", "sector", "speed_at_least",
    "gust_at_least", "calm",
}  # fmt: skip
SPECI = (
    "SPECI XLKS 221907Z 30028G41KT 260V320 1SM +TSRA SQ BKN012CB 16/14 A2968 "
    "RMK AO2 PK WND 30041/1903 WSHFT 1902"
)


@pytest.fixture
def decoded(run):
    def decode(*lines: str) -> list[dict]:
        result = run("decode", "--json", *NOW, given="".join(f"{line}\n" for line in lines))
        assert result.exit_code == 0
        return [json.loads(line) for line in result.stdout.splitlines()]

    return decode


def test_json_has_exactly_the_keys_of_the_contract(decoded):
    (found,) = decoded(SPECI)
    assert set(found) == KEYS
    assert set(found["wind"]) == WIND_KEYS
    assert found["raw"] == SPECI
    assert (found["station"], found["kind"]) == ("XLKS", "SPECI")
    assert found["observed_at"] == "2026-09-22T19:07:00Z"
    assert found["wind"] == {
        "direction_true_deg": 300,
        "variable": False,
        "speed_kt": 28,
        "gust_kt": 41,
        "sector": [260, 320],
        "speed_at_least": False,
        "gust_at_least": False,
        "calm": False,
    }
    assert found["peak_wind"] == {
        "direction_true_deg": 300,
        "speed_kt": 41,
        "speed_at_least": False,
        "at": "2026-09-22T19:03:00Z",
    }
    assert found["problems"] == []


def test_missing_variable_calm_and_lower_bounds_are_told_apart(decoded):
    winds = [
        line["wind"]
        for line in decoded(
            "XLKS 221853Z AUTO 10SM CLR 20/10 A2990",
            "XLKS 221853Z VRB04KT 10SM CLR 20/10 A2990",
            "XLKS 221853Z 00000KT 10SM CLR 20/10 A2990",
            "XLKS 221853Z ///10KT 9999 20/10 Q1013",
            "XLKS 221853Z 180P99KT 9999 20/10 Q1013",
            "XLKS 221853Z 14008MPS 9999 20/10 Q1013",
        )
    ]
    assert winds[0] is None
    assert (winds[1]["variable"], winds[1]["direction_true_deg"]) == (True, None)
    assert winds[2]["calm"] is True
    assert (winds[3]["variable"], winds[3]["direction_true_deg"]) == (False, None)
    assert (winds[4]["speed_at_least"], winds[4]["speed_kt"]) == (True, 99)
    assert winds[5]["speed_kt"] == pytest.approx(8 * 3600 / 1852)


def test_automatic_and_corrected_are_said(decoded):
    found = decoded("METAR XLKS 221453Z COR AUTO 18013KT 10SM CLR 20/10 A2990")[0]
    assert (found["corrected"], found["automatic"]) == (True, True)


def test_a_line_that_is_no_report_is_named_and_the_rest_goes_on(decoded):
    found = decoded("what a day", SPECI)
    assert set(found[0]) == {"raw", "problems"}
    assert found[0]["raw"] == "what a day"
    assert found[0]["problems"]
    assert found[1]["station"] == "XLKS"


TAF = (
    "TAF XLKS 221720Z 2218/2318 20015G25KT P6SM SCT040 PROB40 TEMPO 2220/2222 30025G38KT +TSRA "
    "BECMG 2300/2302 33012KT"
)


def test_a_forecast_has_the_keys_of_a_report_and_its_spells(decoded):
    (found,) = decoded(TAF)
    assert set(found) == {*KEYS, "spells"}
    assert (found["station"], found["kind"], found["wind"]) == ("XLKS", "TAF", None)
    assert found["observed_at"] == "2026-09-22T17:20:00Z"
    assert found["problems"] == []
    assert [
        (each["change"], each["from"], each["to"], each["probability_percent"])
        for each in found["spells"]
    ] == [
        ("prevailing", "2026-09-22T18:00:00Z", "2026-09-23T02:00:00Z", None),
        ("temporary", "2026-09-22T20:00:00Z", "2026-09-22T22:00:00Z", 40),
        ("becoming", "2026-09-23T00:00:00Z", "2026-09-23T02:00:00Z", None),
        ("prevailing", "2026-09-23T02:00:00Z", "2026-09-23T18:00:00Z", None),
    ]
    assert set(found["spells"][0]["wind"]) == WIND_KEYS
    assert [each["wind"]["gust_kt"] for each in found["spells"]] == [25, 38, None, None]
    assert found["spells"][1]["group"].startswith("PROB40 TEMPO 2220/2222")


def test_a_forecast_in_words_says_every_spell(run):
    assert run("decode", *NOW, given=TAF).stdout.splitlines() == [
        "XLKS, TAF, issued 2026-09-22 17:20Z",
        "  22 18:00Z to 23 02:00Z, prevailing: wind from 200 true, 15 kt, gusts 25 kt.",
        "  22 20:00Z to 22 22:00Z, temporary, 40 %: wind from 300 true, 25 kt, gusts 38",
        "    kt.",
        "  23 00:00Z to 23 02:00Z, becoming: wind from 330 true, 12 kt.",
        "  23 02:00Z to 23 18:00Z, prevailing: wind from 330 true, 12 kt.",
    ]


def test_a_cancelled_or_missing_forecast_says_that_there_is_none(decoded, run):
    cancelled, missing = decoded("TAF AMD XLKS 221720Z 2218/2318 CNL", "TAF XLKS 221720Z NIL")
    assert cancelled["spells"] == missing["spells"] == []
    assert cancelled["problems"][0].startswith("CNL: ")
    assert missing["problems"][0].startswith("NIL: ")
    said = run("decode", *NOW, given="TAF AMD XLKS 221720Z 2218/2318 CNL").stdout
    assert said.splitlines()[0] == "XLKS, TAF, issued 2026-09-22 17:20Z, amended"


def test_bytes_that_are_no_utf8_are_survived(run):
    given = b"\xff\xfe\x00junk\r\n" + SPECI.encode() + b"\xff\n\n"
    result = run("decode", "--json", *NOW, given=given)
    lines = [json.loads(line) for line in result.stdout.splitlines()]
    assert result.exit_code == 0
    assert "station" not in lines[0]
    assert lines[1]["wind"]["gust_kt"] == 41


def test_a_file_without_line_breaks_does_not_fill_the_memory(run):
    result = run("decode", "--json", *NOW, given=f"{'X' * 100_000}\n{SPECI}\n")
    first, second = result.stdout.splitlines()
    assert len(json.loads(first)["raw"]) <= 8000
    assert json.loads(second)["station"] == "XLKS"


@pytest.mark.parametrize("given", ["", "\n\n", "no report here\n"])
def test_nothing_usable_ends_with_3(run, given):
    result = run("decode", given=given)
    assert result.exit_code == 3
    assert "no line is a report" in result.stderr


def test_reports_come_from_a_named_file_too(run, tmp_path):
    file = tmp_path / "reports.txt"
    file.write_text(f"{SPECI}\n")
    assert run("decode", *NOW, str(file)).exit_code == 0
    assert run("decode", str(tmp_path / "none.txt")).exit_code == 2


def test_words_say_who_when_and_the_wind_in_two_lines(run):
    assert run("decode", *NOW, given="XLKS 221853Z 20018G25KT 10SM").stdout.splitlines() == [
        "XLKS, METAR, 2026-09-22 18:53Z",
        "  Wind from 200 true, 18 kt, gusts 25 kt.",
    ]


def test_words_name_peak_wind_and_problems(run, flat):
    said = flat(run("decode", *NOW, given=SPECI).stdout)
    assert "Peak wind 300 true, 41 kt at 19:03Z." in said
    said = flat(run("decode", *NOW, given="XLKS 221853Z 20018G15KT 10SM").stdout)
    assert "problem: wind 20018G15KT: gust not above the mean" in said


def test_words_say_that_not_reported_is_not_calm(run):
    said = run("decode", *NOW, given="XLKS 221853Z /////KT 10SM").stdout
    assert "Wind not reported, which is not calm." in said


@pytest.mark.guard("feed text")
def test_nothing_in_a_line_steers_the_terminal(run):
    said = run("decode", *NOW, given=f"\x1b[2Jjunk\n{SPECI}\n").stdout
    assert "\x1b" not in said


def test_a_time_that_is_none_is_refused(run):
    result = run("decode", "--now", "yesterday", given=SPECI)
    assert result.exit_code == 2
    assert "2026-09-22T19:07Z" in result.stderr


def test_recorded_reports_all_come_out_one_for_one(run, reference):
    text = (reference / "reports" / "metar.txt").read_text()
    lines = [line for line in text.splitlines() if line and not line.startswith("#")][:3000]
    result = run("decode", "--json", given="\n".join(lines))
    assert result.exit_code == 0
    found = [json.loads(line) for line in result.stdout.splitlines()]
    assert [each["raw"] for each in found] == [line.strip() for line in lines]
    words = run("decode", given="\n".join(lines))
    assert words.exit_code == 0


def test_a_recorded_line_is_read_behind_its_time_of_receipt(decoded):
    line = "2026-09-22T19:09:00Z SPECI XLKS 221907Z 30028G41KT 2SM +TSRA SQ"
    (found,) = decoded(line)
    assert found["raw"] == line
    assert found["observed_at"] == "2026-09-22T19:07:00Z"
    assert found["wind"]["gust_kt"] == 41
