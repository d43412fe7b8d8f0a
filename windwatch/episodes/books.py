"""What a step works with: a configuration made ready, and the books of one airfield."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Final

from windwatch.assessment.assess import assess
from windwatch.assessment.plan import AirfieldPlan, plan_airfield
from windwatch.assessment.values import Assessment
from windwatch.desk import NOTHING_KNOWN, Desk
from windwatch.episodes.entries import Entry
from windwatch.episodes.fingerprints import fingerprints
from windwatch.episodes.state import AirfieldState
from windwatch.episodes.track import Folded
from windwatch.fleet import Airfield, Fleet
from windwatch.reports.decode import decode_report
from windwatch.reports.values import Report
from windwatch.rules import Rules

# Yesterday's reports are still folded today.
_DATES: Final = 2
# Of so many reports of an airfield the findings are kept: the newest are asked for again at every
# turn, older ones only where a report comes late, and a large fleet's findings are large.
_JUDGED: Final = 4


class Setup:
    """A configuration made ready: plans and assessments are worked out once.

    What it remembers is bounded by what can still be folded (`keep_only`).
    """

    def __init__(self, fleet: Fleet, desk: Desk = NOTHING_KNOWN) -> None:
        self.fleet = fleet
        self.desk = desk
        self._plans: dict[str, dict[date, AirfieldPlan]] = {}
        self._prints: dict[str, tuple[tuple[str, str], ...]] = {}
        # By airfield and the entry's id.
        self._decoded: dict[str, dict[str, Report]] = {}
        self._judged: dict[str, dict[str, Assessment]] = {}
        self._under: dict[Rules, Setup] = {}

    def under(self, rules: Rules) -> Setup:
        """The same configuration by the figures of judgement that an older report goes by."""
        if rules is self.fleet.rules or rules == self.fleet.rules:
            return self
        if rules not in self._under:
            self._under[rules] = Setup(replace(self.fleet, rules=rules), self.desk)
        return self._under[rules]

    def fingerprints(self, airfield: Airfield) -> tuple[tuple[str, str], ...]:
        """What each track of an airfield is judged by."""
        if airfield.id not in self._prints:
            self._prints[airfield.id] = fingerprints(self.fleet, airfield)
        return self._prints[airfield.id]

    def plan(self, airfield: Airfield, on: date) -> AirfieldPlan:
        """The airfield laid out for judging on a date."""
        plans = self._plans.setdefault(airfield.id, {})
        if on not in plans:
            while len(plans) >= _DATES:
                del plans[next(iter(plans))]
            plans[on] = plan_airfield(self.fleet, airfield, on)
        return plans[on]

    def report(self, airfield: Airfield, entry: Entry) -> Report:
        """An accepted report, decoded."""
        decoded = self._decoded.setdefault(airfield.id, {})
        found = decoded.get(entry.id)
        if found is None:
            found = decode_report(entry.text, entry.received_at, entry.observed_at, entry.kind)
            decoded[entry.id] = found
        return found

    def read(self, airfield: Airfield, entry: Entry) -> tuple[Report, Assessment]:
        """An accepted report, decoded and judged."""
        report = self.report(airfield, entry)
        judged = self._judged.setdefault(airfield.id, {})
        found = judged.pop(entry.id, None)
        if found is None:
            while len(judged) >= _JUDGED:
                del judged[next(iter(judged))]
            plan = self.plan(airfield, entry.observed_at.date())
            found = assess(plan, report, self.desk)
        judged[entry.id] = found  # the one asked for last comes last, and stays longest
        return report, found

    def keep_only(self, airfield: Airfield, entries: Collection[Entry]) -> None:
        """Forget the reports of an airfield that can no longer be folded."""
        wanted = {entry.id for entry in entries}
        for known in (self._decoded, self._judged):
            reports: dict[str, Any] = known.get(airfield.id, {})
            for gone in reports.keys() - wanted:
                del reports[gone]
        for setup in self._under.values():
            setup.keep_only(airfield, entries)


@dataclass(frozen=True, slots=True)
class Books:
    """What is remembered of an airfield, with its tracks as they stand now."""

    state: AirfieldState
    folded: Folded
