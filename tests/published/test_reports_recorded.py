"""The recorded reports: nothing raises, and the counts of wind forms are those of their README.

The README of the collection counted each form by a search over the whole line. Here the same
search is made again (it gives the README's number exactly), and every line on which we differ
from it is put down to one reason; the numbers of lines for each reason are part of the test.
"""

import csv
import gzip
import re
from collections import Counter
from datetime import UTC, datetime, timedelta

import pytest

from windwatch.reports.decode import decode_report, read_wind
from windwatch.wind import Calm, Missing, Steady, Variable

NOW = datetime(2024, 8, 31, 23, 59, tzinfo=UTC)
TREND = re.compile(r" (?:NOSIG|BECMG|TEMPO|INTER|FM\d{4}|PROB\d\d|(?:BLU|WHT|GRN|YLO|AMB|RED)\b)")


def lines_of(path):
    return [
        line
        for line in path.read_text(encoding="utf-8").splitlines()
        if line.strip() and not line.startswith("#")
    ]


@pytest.fixture(scope="module")
def decoded(reference):
    lines = lines_of(reference / "reports" / "metar.txt")
    return [(line, decode_report(line, NOW)) for line in lines]


def has(direction):
    return lambda report: report.wind is not None and isinstance(report.wind.direction, direction)


def by_search(pattern):
    return re.compile(pattern).search


def without_wind(line):
    """The README's "no wind group at all": none before the remarks, and not NIL."""
    observed = line.split(" RMK")[0]
    if "NIL" in line or re.search(
        r" (?:\d{3}|VRB|///)(?:\d{2,3}|//)(?:G\d+)?(?:KT|MPS)?(?: |$)", observed
    ):
        return None
    return re.compile("$").search(line)


# The form, the README's count, its search, and what it is in a decoded report.
FORMS = {
    "gust": (
        5954,
        by_search(r" (?:\d{3}|VRB)\d{2,3}G\d{2,3}(?:KT|MPS)"),
        lambda report: report.wind is not None and report.wind.gust is not None,
    ),
    "sector": (
        5609,
        by_search(r" \d{3}V\d{3} "),
        lambda report: report.wind is not None and report.wind.sector is not None,
    ),
    "VRB": (3581, by_search(r"VRB\d\d"), has(Variable)),
    "calm": (6718, by_search(r" 00000(?:KT|MPS)"), has(Calm)),
    "missing": (
        1120,
        by_search(r" (?://///|///\d\d|\d{3}//)"),
        lambda report: (
            any("not reported" in problem for problem in report.problems)
            or (has(Missing)(report) and "///" in report.raw)
        ),
    ),
    "no wind group": (
        498,
        without_wind,
        lambda report: "no wind group" in report.problems,
    ),
    "MPS": (
        1596,
        by_search(r"\d\dMPS"),
        lambda report: report.wind is not None and re.search(r"\d\dMPS( |$)", report.raw),
    ),
    "PK WND": (1459, by_search("PK WND"), lambda report: report.peak_wind is not None),
    "WSHFT": (100, by_search("WSHFT"), lambda report: report.wind_shift_at is not None),
    "COR": (87, by_search(r"\bCOR\b"), lambda report: report.corrected),
    "AUTO": (32844, by_search(r"\bAUTO\b"), lambda report: report.automatic),
    "NIL": (139, by_search(r"\bNIL\b"), lambda report: report.nil),
    "SPECI": (116, by_search("^SPECI"), lambda report: report.kind == "SPECI"),
    "$": (3714, by_search(r"\$=?$"), lambda report: report.maintenance),
    "trend": (
        985,
        by_search(r" (?:TEMPO|BECMG)\b"),
        lambda report: any(trend.word in {"TEMPO", "BECMG"} for trend in report.trends),
    ),
    "trend with a wind": (
        302,
        by_search(r" (?:TEMPO|BECMG|FM\d{4})\b.* (?:\d{3}|VRB)\d{2,3}(?:G\d+)?(?:KT|MPS)"),
        lambda report: any(
            trend.wind and trend.word in {"TEMPO", "BECMG", "FM"} for trend in report.trends
        ),
    ),
    "wind shear": (25, by_search(r" WS (?:R|ALL RWY)"), lambda report: report.wind_shear),
}

# Why a line has the form by the README's search and not in our decode, or the other way round.
IN_TREND = "stands in a trend, which is no observation"
IN_REMARKS = "stands in the remarks, which are no observation"
ODD = "not in the code form (E prefix, unit, figures): read with patience and flagged"
OTHER_GROUP = "the solidi are those of another group (cloud, visibility, temperature)"
LETTERED = "a lettered correction (CCA, CCB) where the README counts COR"
NOT_LAST = "the sign is not the last of the remarks ($ COR 0011)"

DIFFERENCES = {
    "gust": {IN_TREND: 215, IN_REMARKS: 11, ODD: 6},
    "sector": {IN_REMARKS: 156},
    "VRB": {IN_TREND: 11, IN_REMARKS: 41, ODD: 1},
    "calm": {IN_REMARKS: 22, ODD: 6},
    "missing": {IN_REMARKS: 41, OTHER_GROUP: 876, ODD: 2},
    "no wind group": {ODD: 30, OTHER_GROUP: 1},
    "COR": {LETTERED: 15},
    "AUTO": {IN_REMARKS: 2, IN_TREND: 1},
    "NIL": {IN_REMARKS: 27},
    "$": {NOT_LAST: 10},
    "trend": {IN_REMARKS: 3},
    "trend with a wind": {IN_REMARKS: 14},  # winds of runways and heights, behind the trend
}


def reason(form, line, match, report):
    """Put a difference down to one cause; a cause that does not hold is none."""
    start = -1 if match is None else match.start()
    trend = TREND.search(line)
    odd = any(problem.startswith("wind ") for problem in report.problems)
    if form == "no wind group":
        return ODD if match and odd else OTHER_GROUP if " /////" in line else "none"
    if match and (0 <= line.find("RMK") <= start or " RMK " in match[0]):
        return IN_REMARKS
    if match and trend and trend.start() <= start:
        return IN_TREND
    if form == "missing" and match and (report.wind is not None or not odd):
        return OTHER_GROUP
    if form == "COR" and re.search(r" CC[A-Z] ", line):
        return LETTERED
    if form == "$" and "$ " in line:
        return NOT_LAST
    return ODD if odd and not match else "none"


@pytest.mark.parametrize("form", FORMS)
def test_the_count_of_a_form_is_the_readme_s_or_explained_line_by_line(decoded, form):
    count, search, ours = FORMS[form]
    assert sum(search(line) is not None for line, _ in decoded) == count
    reasons = Counter()
    for line, report in decoded:
        match = search(line)
        if (match is not None) != bool(ours(report)):
            why = reason(form, line, match, report)
            assert why != "none", line
            reasons[why] += 1
    assert dict(reasons) == DIFFERENCES.get(form, {})


def test_every_recorded_report_decodes_or_says_what_is_wrong(decoded):
    assert len(decoded) == 58743
    for line, report in decoded:
        assert report.station, line
        assert report.observed_at is not None, line
        assert report.wind is not None or report.problems, line


def test_the_wind_path_and_the_full_decode_give_the_same(decoded):
    for line, report in decoded:
        fast = read_wind(line, NOW)
        assert (
            fast.station, fast.kind, fast.observed_at, fast.correction, fast.automatic, fast.nil,
            fast.wind,
        ) == (
            report.station, report.kind, report.observed_at, report.correction,
            report.automatic, report.nil, report.wind,
        ), line  # fmt: skip
        assert set(fast.problems) <= set(report.problems), line


def test_no_recorded_forecast_raises_or_is_taken_for_an_observation(reference):
    lines = lines_of(reference / "reports" / "taf.txt")
    assert len(lines) == 807
    for line in lines:
        report = decode_report(line, NOW)
        assert (report.kind, report.wind) == ("TAF", None), line
        assert read_wind(line, NOW).wind is None


# --- the single-station archives -------------------------------------------


def rows_of(path):
    with gzip.open(path, "rt", encoding="utf-8") as archive:
        yield from csv.DictReader(line for line in archive if not line.startswith("#"))


def number(column):
    return None if column in {"M", ""} else float(column)


def test_the_columns_of_the_kennedy_archive_are_matched_in_all_rows_but_one(reference):
    """Wind, gust and peak wind of 11,280 reports, decoded by the archive's own software."""
    rows = list(rows_of(reference / "reports" / "archive_KJFK_2019-11_2020-12.csv.gz"))
    assert len(rows) == 11280
    winds, peaks = [], []
    for row in rows:
        observed_at = datetime.strptime(row["valid"], "%Y-%m-%d %H:%M").replace(tzinfo=UTC)
        report = decode_report(row["metar"], observed_at + timedelta(minutes=3), observed_at)
        assert report.observed_at == observed_at
        wind, peak = report.wind, report.peak_wind
        direction = None
        if wind is not None and isinstance(wind.direction, Steady | Calm):
            direction = 0.0 if isinstance(wind.direction, Calm) else wind.direction.wind_from
        found = (direction, wind and wind.speed, wind and wind.gust)
        if found != tuple(number(row[name]) for name in ("drct", "sknt", "gust")):
            winds.append(row["metar"].split()[2:4])
        found = (peak and peak.wind_from, peak and peak.speed)
        at = "M" if peak is None else f"{peak.at:%Y-%m-%d %H:%M}"
        expected = (number(row["peak_wind_drct"]), number(row["peak_wind_gust"]))
        if (found, at) != (expected, row["peak_wind_time"]):
            peaks.append((found == expected, at, row["peak_wind_time"]))
    # The one row: the archive read the detached unit as metres per second, 29.16 kt.
    assert winds == [["04015", "KT"]]
    # The archive dates three peaks of a month's last evening a month after their report.
    assert peaks == [
        (True, "2020-02-29 23:42", "2020-03-29 23:42"),
        (True, "2020-04-30 23:32", "2020-05-30 23:32"),
        (True, "2020-11-30 23:06", "2020-12-30 23:06"),
    ]


def test_the_barcelona_archive_decodes_whole(reference):
    """17,482 half-hourly reports; two of them say something is wrong, and what."""
    rows = list(rows_of(reference / "reports" / "archive_LEBL_2016-12_2017-11.csv.gz"))
    assert len(rows) == 17482
    flagged = []
    for row in rows:
        observed_at = datetime.strptime(row["valid"], "%Y-%m-%d %H:%M").replace(tzinfo=UTC)
        report = decode_report(row["metar"], observed_at + timedelta(minutes=3), observed_at)
        assert report.station == "LEBL"
        assert report.wind is not None
        assert report.undecoded == ()
        if report.problems:
            flagged.append((f"{report.observed_at:%d %H:%M}", report.problems))
    assert flagged == [
        ("15 08:30", ("wind 32014T: unit misspelt, read as knots",)),
        # A correction of the 18th that the archive filed under the time it was received.
        ("18 10:00", ("time 181000Z in the text, but the feed says 20 Oct 00:00Z",)),
    ]
