"""What the rows of the fault table share: their people, a real watch, real servers."""

from tests.delivery.little_worker import SECOND, Even, state_now
from tests.servers.certificates import ca_file
from tests.servers.webhook_server import SECRET
from tests.watch.little_watch import START, config_text
from windwatch.delivery.channels import ChannelBook, WebhookTarget
from windwatch.delivery.worker import Worker
from windwatch.notices.outbox import Route

OWNER = "owner of X-WREN"

MAIL_OF = '\n[[contact]]\nname = "{name}"\nemail = "{name}@faraway.example"\n'
HOOK_OF = (
    '\n[[contact]]\nname = "{name}"\n'
    'webhook = {{ url = "{url}", allow_http = true, secret_env = "HOOK_SECRET" }}\n'
)
BOTH_OF = (
    '\n[[contact]]\nname = "{name}"\nemail = "{name}@faraway.example"\n'
    'webhook = {{ url = "{url}", allow_http = true, secret_env = "HOOK_SECRET" }}\n{more}\n'
)


def configured(mail, people, **more):
    rim = (
        '[delivery]\nallow_networks = ["127.0.0.0/8"]\n'
        f'[mail]\nhost = "{mail.host}"\nport = {mail.port}\nsecurity = "starttls"\n'
        f'username = "{mail.username}"\npassword_env = "MAIL_PASSWORD"\n'
        f'ca_file = "{mail.ca_file}"\nsender = "windwatch <windwatch@larkspur.example>"\n'
    )
    return config_text(rim=rim, people=people, **more)


def env(mail):
    return {"MAIL_PASSWORD": mail.password, "HOOK_SECRET": SECRET}


def until(b, *seconds):
    """Let time pass to each of these seconds after the start, and deliver what is due."""
    for second in seconds:
        b.at(START + second * SECOND)
        b.watch.tick()
        b.watch.deliver()


def target(url, **changes):
    values = {
        "url": url,
        "secrets": (SECRET,),
        "allow_http": True,
        "allow_networks": ("127.0.0.0/8",),
        "ca_file": ca_file(),
    }
    return WebhookTarget(**values | changes)


def worker(store, clock, channels, in_turn=(), restate=state_now):
    book = ChannelBook({Route(*route): channel for route, channel in channels.items()}, in_turn)
    return Worker(store, book, clock, restate, Even())


def answers_of(store):
    return [
        [a.outcome for a in store.attempts(d.id)] for n in store.notices() for d in n.deliveries
    ]


def body(message):
    return " ".join(message.get_body(("plain",)).get_content().split())
