"""What a step works with: a configuration made ready, and the books of one airfield."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

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


class Setup:
    """A configuration made ready: plans and assessments are worked out once."""

    def __init__(self, fleet: Fleet, desk: Desk = NOTHING_KNOWN) -> None:
        self.fleet = fleet
        self.desk = desk
        self._plans: dict[tuple[str, date], AirfieldPlan] = {}
        self._prints: dict[str, tuple[tuple[str, str], ...]] = {}
        self._read: dict[tuple[str, str], tuple[Report, Assessment]] = {}
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
        key = (airfield.id, on)
        if key not in self._plans:
            if len(self._plans) > 64:
                self._plans.clear()
            self._plans[key] = plan_airfield(self.fleet, airfield, on)
        return self._plans[key]

    def read(self, airfield: Airfield, entry: Entry) -> tuple[Report, Assessment]:
        """An accepted report, decoded and judged."""
        key = (airfield.id, entry.id)
        found = self._read.get(key)
        if found is None:
            if len(self._read) > 4096:
                self._read.clear()
            report = decode_report(entry.text, entry.received_at, entry.observed_at, entry.kind)
            plan = self.plan(airfield, entry.observed_at.date())
            found = self._read[key] = (report, assess(plan, report, self.desk))
        return found


@dataclass(frozen=True, slots=True)
class Books:
    """What is remembered of an airfield, with its tracks as they stand now."""

    state: AirfieldState
    folded: Folded
