"""The same history through the pipeline and through the model."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from tests.model.model_figures import OVER
from tests.model.model_tell import Model
from tests.model.storms import Arrival
from windwatch import pipeline
from windwatch.episodes.clock_doubt import ALL_IS_WELL, Conditions, Gap
from windwatch.episodes.values import Step, StepName
from windwatch.fleet import Contact, Fleet, TellAbout

MINUTE = timedelta(minutes=1)
Row = tuple[datetime, str, str, str]  # time, contact, step, track
Word = tuple[StepName, str, bool]  # step, track, whether it is past
OPENS = {StepName.OPENED, StepName.UNSETTLED, StepName.WORSENED, StepName.REMINDER}
CLOSES = {StepName.BACK, StepName.WITHDRAWN, StepName.ENDED}
HEARS_ALL = "hears all"


def watched_always(fleet: Fleet) -> Fleet:
    """The fleet at a field that is always open, without fall-back stations, and two more who
    listen: one by default, one to everything.
    """
    airfields = tuple(
        replace(a, operating_hours=None, fall_back_stations=()) for a in fleet.airfields
    )
    more = (
        Contact("by default", ("folder",), TellAbout()),
        Contact(HEARS_ALL, ("folder",), TellAbout(levels=("near", "over", "unknown"))),
    )
    return replace(fleet, airfields=airfields, contacts=(*fleet.contacts, *more))


def track_of(step: Step) -> str:
    return f"{step.track.name} {step.runway}" if step.runway else step.track.name


def words_of(steps: Iterable[Step]) -> list[Word]:
    """What counts of a notice for what people believe of each track."""
    return [(step.name, step.track.name, step.past) for step in steps if not step.runway]


class Beliefs:
    """What somebody who hears everything must believe, against what is true by the model."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._over: set[str] = set()
        self.wrong: list[str] = []

    def hear(self, words: Iterable[Word]) -> None:
        """Read one notice and take the worst of it; what is past changes nothing."""
        words = list(words)
        self._over -= {track for name, track, _ in words if name in CLOSES}
        self._over |= {track for name, track, past in words if name in OPENS and not past}

    def compare(self, now: datetime) -> None:
        for track, course in self._model.history.tracks.items():
            over, believed = course.level == OVER, track in self._over
            if over and not believed:
                self.wrong.append(f"{now:%d%H%M}Z {track}: over, and nobody knows")
            elif believed and not over and self._model.fresh(track, now):
                self.wrong.append(f"{now:%d%H%M}Z {track}: back, and nobody knows")


@dataclass
class Player:
    """Hands each event to both."""

    fleet: Fleet
    now: datetime
    told: Counter[Row] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        airfield = self.fleet.airfields[0]
        self.setup = pipeline.Setup(self.fleet)
        self.books = pipeline.begin(self.setup, airfield, self.now)
        self.model = Model(self.fleet, airfield, self.now)
        self.beliefs = Beliefs(self.model)
        self.last_step_at = self.now

    def reports(self, came: Arrival) -> None:
        self.model.reports([came.raw], came.at)
        self._step(pipeline.ReportsCame((came.raw,)), came.at)

    def missed(self, came: list[Arrival], since: datetime, now: datetime) -> None:
        """Watching again: everything that a feed has of the gap, in one reply."""
        raws = [arrival.raw for arrival in came]
        self.model.missed(raws, since, now)
        conditions = Conditions(not_watched=Gap(since, now))
        self._step(pipeline.ReportsCame(tuple(raws)), now, conditions)

    def feed_down(self, since: datetime, now: datetime) -> None:
        """Watching again, and the feed says nothing."""
        self.model.feed_down(since, now)
        self._step(pipeline.Tick(), now, Conditions(not_watched=Gap(since, now)))

    def answered(self, came: list[Arrival], now: datetime) -> None:
        """A later poll: everything that a feed has, in one reply."""
        raws = [arrival.raw for arrival in came]
        self.model.reports(raws, now)
        self._step(pipeline.ReportsCame(tuple(raws)), now)

    def tick(self, now: datetime) -> None:
        self.model.tick(now)
        self._step(pipeline.Tick(), now)
        # What waits for the end of a gathering minute is not owed yet.
        if now - self.last_step_at > MINUTE:
            self.beliefs.compare(now)

    def _step(
        self, event: pipeline.Event, now: datetime, conditions: Conditions = ALL_IS_WELL
    ) -> None:
        outcome = pipeline.step(self.setup, self.books, event, now, conditions)
        self.books = outcome.books
        if outcome.steps:
            self.last_step_at = now
        for notice, _ in outcome.notices:
            for step in notice.steps:
                self.told[now, notice.contact, step.name.value, track_of(step)] += 1
            if notice.contact == HEARS_ALL:
                self.beliefs.hear(words_of(notice.steps))

    @property
    def differences(self) -> list[str]:
        """Rows that only one of the two gave."""
        modelled = Counter(
            (at, who, step, track)
            for who, steps in self.model.told.items()
            for at, step, track in steps
        )
        only = [("model only", row) for row in modelled - self.told]
        only += [("pipeline only", row) for row in self.told - modelled]
        only.sort(key=lambda pair: (pair[1], pair[0]))
        return [
            f"{at:%d%H%M}Z {whose}: {who}: {step} {track}" for whose, (at, who, step, track) in only
        ]


def play(
    fleet: Fleet,
    arrivals: list[Arrival],
    every: timedelta = 5 * MINUTE,
    gap: tuple[datetime, datetime] | None = None,
    answers_after: timedelta = timedelta(0),
) -> Player:
    """Each report as it comes, and a tick every so often; but in a gap nobody watches, and for
    some time after it the feed may be down.
    """
    player = Player(fleet, arrivals[0].at)
    moments = {arrivals[0].at + every * k for k in range(4000)}
    end = arrivals[-1].at + timedelta(hours=4)
    moments = {m for m in moments if m <= end} | {a.at + MINUTE for a in arrivals}
    left = list(arrivals)
    if gap is not None:
        moments = {m for m in moments if not gap[0] < m < gap[1]}
        moments |= {gap[1], gap[1] + answers_after}
    for now in sorted(moments):
        down = gap is not None and gap[1] <= now < gap[1] + answers_after
        if gap is not None and now == gap[1] + answers_after:
            came = [a for a in left if a.at <= now]
            left = left[len(came) :]
            if answers_after:
                player.answered(came, now)
            else:
                player.missed(came, gap[0], now)
        elif gap is not None and now == gap[1]:
            player.feed_down(gap[0], now)
        while left and left[0].at <= now and not down:
            player.reports(left.pop(0))
        player.tick(now)
    return player
