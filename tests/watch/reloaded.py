"""A watch whose configuration a test changes, and who looks after its files."""

from contextlib import contextmanager
from dataclasses import dataclass, field

from tests.watch.little_watch import START, Bench, bench, config_text
from windwatch.clock import HandClock
from windwatch.feeds.values import FetchResult
from windwatch.reload import Reload
from windwatch.upkeep import health
from windwatch.watch import Watch
from windwatch.wiring import Parts, make_channels, make_outward, status_path

DESK = '\n[[contact]]\nname = "desk"\nfolder = "dropped"\n'
OWNER = '\n[[contact]]\nname = "owner"\nfolder = "owner"\n'
PILOT = '\n[[contact]]\nname = "pilot"\nemail = "pilot@larkspur.example"\n'
PILOT += '[mail]\nhost = "mail.example"\nsender = "wind@larkspur.example"\n'
TECHNICIAN = (
    '\n[[contact]]\nname = "technician"\nfolder = "technician"\noperator = true\n'
    'tell_about = { ground = false, thunder = false, runways = "none" }\n'
)
PEOPLE = DESK + TECHNICIAN
USUAL = config_text(people=PEOPLE)
TWO_FIELDS = config_text(people=PEOPLE, airfields=("XLKS", "XBRN"))
SECOND_AIRCRAFT = (
    '\n[[aircraft]]\nname = "X-SECOND"\ngear = "nosewheel"\nwing = "low"\nbased_at = "XLKS"\n'
    "limits = { tie_down_kt = 30 }\n"
)


@dataclass
class Feed:
    """Has no report, and remembers what it was asked."""

    asked: list = field(default_factory=list)
    closed: bool = False

    def fetch(self, stations, now, *, since=None, fresh=False):
        self.asked.append((stations, fresh))
        return FetchResult((), (), stations, server_date=now)

    def close(self):
        self.closed = True


class Running:
    """A watch, the files of its configuration, and who looks after them."""

    def __init__(self, b: Bench, environ):
        self.b = b
        self.environ = environ
        self.feed = Feed()
        self.path = b.folder / "watch.toml"
        self.parts = Parts(self.feed, make_channels(b.settings), make_outward(b.settings))
        self.watch = b.watch = Watch(
            b.settings, b.store, self.feed, self.parts.channels, b.clock, outward=self.parts.outward
        )
        self.reload = Reload(self.watch, self.parts, [self.path], environ, b.clock)

    def write(self, text):
        self.path.write_text(text, encoding="utf-8")

    def look(self, **how):
        """Look until nothing more is to be seen; how often."""
        looks = 1
        while self.reload.look(**how):
            looks += 1
            assert looks < 5
        return looks

    def take(self, *winds, **where):
        return self.b.take(*winds, **where)

    def told(self, contact):
        """Steps of the notices to a contact, oldest first."""
        return [
            (step.name.value, step.reason)
            for kept in self.b.store.notices(contact=contact)
            for step in kept.notice.steps
        ]

    def operator(self):
        return [
            kept.content
            for kept in self.b.store.notices(contact="technician")
            if kept.notice.kind == "operator"
        ]

    def health(self):
        return health.read(status_path(self.watch.settings))


@contextmanager
def running(folder, text=USUAL, environ=None):
    environ = {} if environ is None else environ
    with bench(folder, text, HandClock(START), **environ) as b:
        r = Running(b, environ)
        r.watch.poll()
        yield r
        r.watch.close()


def events(caplog, name):
    return [record for record in caplog.records if record.getMessage() == name]


def limit(kt, text=USUAL):
    return text.replace("tie_down_kt = 25", f"tie_down_kt = {kt}")
