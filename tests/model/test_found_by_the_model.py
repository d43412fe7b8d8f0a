"""Where pipeline and model once disagreed, cut down to a few reports each.

The rule that decides stands in each case's comment (`reliability.md` section 2 and its settled
cases).
"""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.model.played import HEARS_ALL, track_of, watched_always
from windwatch import pipeline
from windwatch.episodes.clock_doubt import ALL_IS_WELL, Conditions, Gap
from windwatch.reports.raw import RawReport
from windwatch.settings.read import read_settings

# Case: track, then (received, report, what is told of that track then).
CASES = {
    # Case 6: the last told worst is what was shown in a notice; nobody was told *easing*.
    "an easing that nobody hears hides no worsening": (
        "tie_down X-LARK",
        [
            ("1056", "221053Z 27030KT", ["opened"]),
            ("1156", "221153Z 27034KT", []),
            ("1256", "221253Z 27010KT", []),
            ("1356", "221353Z 27035KT", ["worsened"]),
        ],
    ),
    # Promise 3: what was told keeps its id whatever is corrected; the end of it is *back*.
    "an episode whose opening was corrected to a later report ends with back": (
        "tie_down X-LARK",
        [
            ("1144", "221141Z 27027KT", ["opened"]),
            ("1147", "221144Z 27028KT", []),
            ("1204", "221141Z COR 27010KT", []),
            ("1256", "221253Z 27010KT", []),
            ("1356", "221353Z 27010KT", ["back"]),
        ],
    ),
    # Case 1 and the demo day: nothing is withdrawn for a near that an opening passed over.
    "a near that a correction turns to over is not withdrawn": (
        "tie_down X-WREN",
        [
            ("1056", "221053Z /////KT", []),
            ("1126", "221123Z 09012G19KT {peak 09022/1051}", ["near"]),
            ("1133", "221053Z COR 11012G24KT", ["opened"]),
        ],
    ),
    # Table of section 2, *near*: it is near now, and nobody was told.
    "a near that was past before anybody heard, and is present by a correction, is told": (
        "taxi X-TERN",
        [
            ("2156", "222153Z 03017KT", []),
            ("2256", "222253Z 01016G24KT {peak 01032/2215}", []),
            ("2306", "222253Z COR 01018G31KT {peak 01032/2215}", ["near"]),
        ],
    ),
    # *Withdrawn* is for a cause that was removed: the level is still near.
    "a near that goes on from an all-clear by a correction is not withdrawn": (
        "tie_down X-WREN",
        [
            ("1156", "221153Z 27030KT", ["opened"]),
            ("1356", "221353Z 27018KT", []),
            ("1456", "221453Z 27018KT", ["back"]),
            ("1556", "221553Z 27010KT", []),
            ("1612", "221609Z 27021KT", ["near"]),
            ("1621", "221553Z COR 27018KT", []),
        ],
    ),
    # Promise 7, *fresh*: two hours lie between the low ones, in which nothing was known.
    "a low report that had become stale before the next came ends nothing with it": (
        "taxi X-WREN",
        [
            ("1256", "221253Z 27024KT", ["opened"]),
            ("1356", "221353Z 27010KT", []),
            ("1556", "221553Z 27010KT", []),
            ("1656", "221653Z 27010KT", ["back"]),
        ],
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_steps_of_one_track(root: Path, case: str) -> None:
    track, reports = CASES[case]
    heard = Heard(root, track, moment(reports[0][0]))
    found, expected = [], []
    for at, words, told in reports:
        found += [(at, step) for step in heard.reports(at, words)]
        expected += [(at, step) for step in told]
    assert found == expected


# Seed 3008 with a gap. Promise 6: people were told *back within limits* at 13:53, and the peak of
# 13:48, which nobody knew then, is a crossing of its own that had ended when they watched again.
@pytest.mark.promise(6)
def test_a_peak_older_than_the_all_clear_before_a_gap_is_told_as_past(root: Path) -> None:
    heard = Heard(root, "tie_down X-LARK", moment("1144"))
    assert heard.reports("1144", "221141Z 27031KT") == ["opened"]
    assert heard.reports("1256", "221253Z 27010KT") == []
    assert heard.reports("1356", "221353Z 27010KT") == ["back"]
    missed = [
        "221409Z 27019KT {peak 27027/1348}",
        "221453Z 27010KT",
        "221553Z 27010KT",
        "221653Z 27010KT",
    ]
    gap = Gap(moment("1400"), moment("1900"))
    assert heard.reports("1900", *missed, conditions=Conditions(not_watched=gap)) == ["past opened"]
    assert heard.reports("1956", "221953Z 27010KT") == []


def moment(at: str) -> datetime:
    return datetime(2026, 9, 22, int(at[:2]), int(at[2:]), tzinfo=UTC)


class Heard:
    """What somebody who hears everything is told of one track."""

    def __init__(self, root: Path, track: str, began: datetime) -> None:
        settings = read_settings([root / "config" / "demo.toml"], {}, require_secrets=False)
        fleet = watched_always(settings.fleet)
        self.track = track
        self.setup = pipeline.Setup(fleet)
        self.books = pipeline.begin(self.setup, fleet.airfields[0], began)

    def reports(self, at: str, *texts: str, conditions: Conditions = ALL_IS_WELL) -> list[str]:
        """Take the reports of one reply, and say what was told of the track."""
        now, raws = moment(at), []
        for words in texts:
            report, _, peak = words.partition(" {peak ")
            remarks = f" RMK AO2 PK WND {peak.rstrip('}')}" if peak else ""
            text = f"METAR XLKS {report} 10SM SCT035 18/12 A2980{remarks}"
            raws.append(RawReport(text, now, "test"))
        event = pipeline.ReportsCame(tuple(raws))
        outcome = pipeline.step(self.setup, self.books, event, now, conditions)
        self.books = outcome.books
        return [
            "past " * step.past + step.name.value
            for notice, _ in outcome.notices
            for step in notice.steps
            if notice.contact == HEARS_ALL and track_of(step) == self.track
        ]
