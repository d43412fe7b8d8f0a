"""One bad report, template, airfield or contact never stops the others."""

import pytest

import windwatch.watch
from tests.watch.little_watch import MINUTE, QUIET, STORM, bench, config_text, metar, said
from windwatch import pipeline
from windwatch.airmanship.cautions import CAUTION
from windwatch.reports.raw import RawReport
from windwatch.store.books import Books

TWO = config_text(airfields=("XLKS", "XBRN"))


def storm_everywhere(b):
    now = b.clock.now()
    return b.watch.take(
        [RawReport(metar(now, STORM, station), now, "test") for station in ("XLKS", "XBRN")]
    )


def fail_at(monkeypatch, airfield):
    """A mistake in a rule that one airfield's configuration brings out."""
    real = pipeline.step

    def step(setup, books, event, now, *more):
        if books.state.airfield == airfield:
            raise ZeroDivisionError("a mistake in a rule")
        return real(setup, books, event, now, *more)

    monkeypatch.setattr(pipeline, "step", step)


@pytest.mark.promise(16)
@pytest.mark.parametrize(("bad", "good"), [("XLKS", "XBRN"), ("XBRN", "XLKS")])
def test_an_airfield_that_fails_is_told_and_the_others_go_on(
    tmp_path, monkeypatch, caplog, bad, good
):
    with bench(tmp_path, TWO) as b:
        fail_at(monkeypatch, bad)
        report = storm_everywhere(b)
        assert [notice.airfield for notice, _ in report.notices] == [good]
        assert len(report.failed) == 1
        assert report.failed[0].startswith(f"{bad}: windwatch failed (ZeroDivisionError)")
        assert "airfield_failed" in caplog.text
        assert "a mistake in a rule" in caplog.text, "with its place, for whoever mends it"
        assert len(b.watch.tick().failed) == 1

        monkeypatch.undo()
        b.clock.move(MINUTE)
        again = storm_everywhere(b)
        assert [notice.airfield for notice, _ in again.notices] == [bad]


@pytest.mark.parametrize(("bad", "good"), [("XLKS", "XBRN"), ("XBRN", "XLKS")])
def test_quiet_reports_are_stored_together_and_one_that_cannot_be_leaves_the_others(
    tmp_path, monkeypatch, bad, good
):
    real = Books.save_airfield_state
    written = []

    def save(self, airfield, state, at):
        if airfield == bad:
            raise TypeError("something in it has no written form")
        written.append(airfield)
        real(self, airfield, state, at)

    with bench(tmp_path, TWO) as b:
        now = b.clock.now()
        monkeypatch.setattr(Books, "save_airfield_state", save)
        raws = [RawReport(metar(now, QUIET, name), now, "test") for name in ("XLKS", "XBRN")]
        report = b.watch.take(raws)
        assert [airfield for airfield, _ in report.judged] == [good]
        assert [failed.partition(":")[0] for failed in report.failed] == [bad]
        assert len(b.watch.books[good].state.entries) == 1
        assert b.watch.books[bad].state.entries == ()
        assert set(b.store.load_airfield_states()) == {good}
        assert len(b.store.reports_of(bad, now)) == 0, "its report was undone with it"


FOUR = ("XLKS", "XBRN", "XCEN", "XDUN")


def storm_at_four(b, monkeypatch):
    """A storm at four airfields in one reply; and which were committed together."""
    real, commits = windwatch.watch.keep, []

    def keep(store, changes, *others):
        real(store, changes, *others)
        commits.append([change.outcome.books.state.airfield for change in changes])

    monkeypatch.setattr(windwatch.watch, "keep", keep)
    now = b.clock.now()
    report = b.watch.take([RawReport(metar(now, STORM, name), now, "test") for name in FOUR])
    return report, commits


def test_the_first_notices_are_committed_at_once_and_the_others_together(tmp_path, monkeypatch):
    with bench(tmp_path, config_text(airfields=FOUR)) as b:
        report, commits = storm_at_four(b, monkeypatch)
        assert commits == [["XLKS"], ["XBRN", "XCEN", "XDUN"]]
        assert [notice.airfield for notice, _ in report.notices] == list(FOUR)


@pytest.mark.parametrize("bad", FOUR)
def test_notices_that_cannot_be_stored_do_not_hold_up_those_committed_with_them(
    tmp_path, monkeypatch, bad
):
    real = Books.enqueue

    def enqueue(self, notice, *rest):
        if notice.airfield == bad:
            raise TypeError("something in it has no written form")
        return real(self, notice, *rest)

    monkeypatch.setattr(Books, "enqueue", enqueue)
    with bench(tmp_path, config_text(airfields=FOUR)) as b:
        report, _ = storm_at_four(b, monkeypatch)
        good = [name for name in FOUR if name != bad]
        assert [notice.airfield for notice, _ in report.notices] == good
        assert [failed.partition(":")[0] for failed in report.failed] == [bad]
        assert sorted(stored.notice.airfield for stored in b.store.notices()) == sorted(good)
        assert b.watch.books[bad].state.entries == (), "its report comes again"


def test_a_report_that_cannot_be_judged_does_not_hold_up_the_ones_beside_it(tmp_path, monkeypatch):
    real = pipeline.step

    def step(setup, books, event, now, *more):
        if isinstance(event, pipeline.ReportsCame):
            for raw in event.reports:
                if "27013KT" in raw.text:
                    raise RecursionError("a monstrous report")
        return real(setup, books, event, now, *more)

    monkeypatch.setattr(pipeline, "step", step)
    with bench(tmp_path, config_text()) as b:
        report = b.take(QUIET, "27013KT", STORM)
        assert said(report) == [("desk", "opened")]
        assert len(report.failed) == 1
        assert len(report.judged) == 2


@pytest.mark.parametrize(
    "garbage",
    ["", "\x00", "METAR", "X" * 100_000, "<html>", "METAR XLKS", "METAR XLKS 999999Z 27010KT"],
)
def test_garbage_beside_a_report_changes_nothing_for_it(tmp_path, garbage):
    with bench(tmp_path, config_text()) as b:
        now = b.clock.now()
        raws = [RawReport(garbage, now, "test"), RawReport(metar(now, STORM), now, "test")]
        report = b.watch.take(raws)
        assert said(report) == [("desk", "opened")]


@pytest.mark.promise(20)
def test_words_that_fail_go_out_as_bare_facts(tmp_path, monkeypatch, caplog):
    def no_words(notice, situation, fleet):
        raise KeyError("a word that is missing")

    monkeypatch.setattr(windwatch.watch, "compose", no_words)
    with bench(tmp_path, config_text()) as b:
        report = b.take(STORM)
        notice, content = report.notices[0]
        assert "words_failed" in caplog.text
        assert "X-XLKS" in content.text
        assert "41" in content.text
        assert "25" in content.text
        assert CAUTION in content.text
        assert content.html == ""
        assert b.watch.deliver().accepted == 1
        [mail] = (tmp_path / "dropped").glob("*.eml")
        assert notice.id in mail.read_text()


def test_words_that_fail_for_one_contact_do_not_hold_up_another(tmp_path, monkeypatch):
    real = windwatch.watch.compose

    def no_words(notice, situation, fleet):
        if notice.contact == "desk":
            raise KeyError("a word that is missing")
        return real(notice, situation, fleet)

    monkeypatch.setattr(windwatch.watch, "compose", no_words)
    people = "".join(
        f'\n[[contact]]\nname = "{name}"\nfolder = "dropped"\n' for name in ("desk", "owner")
    )
    with bench(tmp_path, config_text(people=people)) as b:
        html = {notice.contact: content.html for notice, content in b.take(STORM).notices}
        assert html["desk"] == ""
        assert html["owner"] != ""


def test_a_report_of_a_station_that_was_not_asked_for_is_named(tmp_path):
    with bench(tmp_path, config_text()) as b:
        report = b.take(STORM, station="XOTH")
        assert report.notices == []
        assert report.problems == ["a report of XOTH was not asked for"]
