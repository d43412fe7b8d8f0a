"""Taking a changed configuration while the watch runs; one that is not good changes nothing.

A file that is just being written may read well by chance: cut off between two aircraft, it would
have the second one watched no longer. So a change is read only after it has stood for a second;
what is wrong with it then is told at once, and looked at again until it is mended.
"""

from __future__ import annotations

import logging
import re
import threading
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Final

from windwatch.clock import Clock
from windwatch.errors import Fault, SettingsError, StoreError, UsageError, WindwatchError
from windwatch.logs import hide_now
from windwatch.reload_words import in_force, waits_for_restart, what_changed
from windwatch.settings.read import read_settings
from windwatch.settings.running import Settings
from windwatch.settings.seen import Seen, seen
from windwatch.upkeep.hiding import DOTS
from windwatch.watch import Watch
from windwatch.wiring import Parts, go_back, hidden_texts, leave_status, put_away, renew_parts

log = logging.getLogger(__name__)

LOOK_EVERY_S: Final = 15.0
QUIET_S: Final = 1.0
# Quoted from a file that is refused, and so unknown to what hides secrets and addresses.
_ADDRESS: Final = re.compile(r"[^\s\"'<>,;]+(?:@|://)[^\s\"'<>,;]+")


class Reload:
    """Keeps a watch at what its configuration's files say.

    Parameters
    ----------
    watch : Watch
    parts : Parts
        The rim that it was made with.
    paths : sequence of Path
        Files and folders, as they were named.
    environ : mapping of str to str
        Where secrets are looked up.
    clock : Clock
    asked : Event or None
        Set by whoever wants the files read now: SIGHUP.
    """

    def __init__(
        self,
        watch: Watch,
        parts: Parts,
        paths: Sequence[Path],
        environ: Mapping[str, str],
        clock: Clock,
        *,
        asked: threading.Event | None = None,
    ) -> None:
        self._watch = watch
        self._parts = parts
        self._paths = tuple(paths)
        self._environ = environ
        self._clock = clock
        self.asked = asked or threading.Event()
        self._files: Seen = watch.settings.as_read
        self._last_look = self._files
        self._was_asked = False
        self._hide = hidden_texts(watch.settings)
        # Why the files are not, or not wholly, what is in force.
        self._refused = self._waits = ""
        # Good, but the store could not take it down yet.
        self._put_off = False
        # What another run of the program told about it is over: it has read these files.
        watch.config_stands("", "")

    def look_on(self, stop: threading.Event, adopted: Callable[[], object]) -> None:
        """Look at the files again and again, until told to stop.

        Parameters
        ----------
        stop : Event
            To be followed by setting `asked`, which wakes it.
        adopted : callable
            Called after a change has been taken.
        """
        wait_s = 0.0
        while not stop.is_set():
            if self._clock.wait(self.asked, wait_s):
                self.asked.clear()
                self._was_asked = True
            if stop.is_set():
                return
            before = self._watch.settings
            try:
                wait_s = QUIET_S if self.look() else LOOK_EVERY_S
            except Exception:
                # Whatever fails here, the watch goes on as it is.
                log.exception("turn_failed", extra={"turn": "reload"})
                wait_s = LOOK_EVERY_S
            if self._watch.settings is not before:
                adopted()

    def look(self, *, asked: bool = False) -> bool:
        """Look at the files once, and take what has changed in them.

        Parameters
        ----------
        asked : bool
            Somebody wants it: say also that nothing has changed.

        Returns
        -------
        bool
            They are just being written, perhaps: to be looked at again in a second.
        """
        self._was_asked = self._was_asked or asked
        files = self._look()
        if files != self._last_look:
            self._last_look = files
            return True
        if files == self._files and not (self._was_asked or self._refused):
            return False
        found = self._read()
        if self._look() != files:
            return True  # written while it was read
        if isinstance(found, Settings):
            self._take(found)
        else:
            self._refuse(found)
        self._was_asked = False
        return False

    def _read(self) -> Settings | Exception:
        try:
            return read_settings(self._paths, self._environ)
        except (SettingsError, OSError) as error:
            return error
        except Exception as error:
            log.exception("config_broke")
            return UsageError(f"windwatch failed to read it ({type(error).__name__}); see the log")

    def _look(self) -> Seen:
        return seen(self._paths, self._watch.settings.secret_files)

    def _take(self, settings: Settings) -> None:
        was = self._watch.settings
        new = in_force(was, settings)
        changed = what_changed(was, new)
        if changed and not self._adopt(was, new, changed):
            return
        waits = waits_for_restart(was, settings)
        if not changed:
            event = "config_good_again" if self._refused else "config_unchanged"
            # Only a comment, perhaps.
            level = logging.WARNING if self._refused or self._was_asked else logging.INFO
            log.log(level, event, extra={"files": [str(path) for path in self._paths]})
        self._refused, self._waits, self._put_off = "", waits, False
        # Of the text that was read: what was saved since then differs at the next look.
        self._files = self._last_look = settings.as_read
        self._tell()

    def _adopt(self, was: Settings, new: Settings, changed: tuple[str, ...]) -> bool:
        # By the old one something may still be under way, and quote an address of its.
        hide = tuple(dict.fromkeys((*self._hide, *hidden_texts(new))))
        hide_now(hide)
        old = self._parts
        try:
            parts = renew_parts(old, was, new, self._clock, hide)
        except (WindwatchError, OSError) as error:
            self._refuse(error)
            return False
        problem = "what could not be stored yet was judged by the old one"
        try:
            adopted = self._watch.adopt(new, parts, changed)
        except StoreError as error:
            adopted, problem = False, str(error)
        except BaseException:
            go_back(old, parts)
            raise
        if not adopted:
            # The store's trouble is told by itself; it is tried again at the next look.
            if not self._put_off:
                log.warning("config_waits", extra={"problem": problem})
            self._put_off = True
            go_back(old, parts)
            return False
        self._parts, self._hide = parts, hide
        # At the level that is always shown: whoever changed the file looks for it.
        log.warning("config_adopted", extra={"changed": list(changed)})
        for warning in new.warnings:
            if warning not in was.warnings:
                log.warning("config_note", extra={"note": _without_addresses(warning)})
        self._watch.tick()
        put_away(old, parts)
        leave_status(old, parts)
        return True

    def _refuse(self, error: Exception) -> None:
        faults = [_without_addresses(each) for each in _faults_of(error)]
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        refused = faults[0] + more
        if refused != self._refused or self._was_asked:
            log.error("config_refused", extra={"faults": faults})
        self._refused = refused
        self._tell()

    def _tell(self) -> None:
        self._watch.config_stands(self._refused, self._waits)


def _faults_of(error: Exception) -> list[str]:
    if isinstance(error, SettingsError):
        return [str(fault) for fault in error.faults]
    if isinstance(error, OSError):
        problem = (error.strerror or "it cannot be read").lower()
        mend = "let the user of windwatch read it"
        return [str(Fault(str(error.filename), None, "configuration", problem, mend))]
    return [str(error)]


def _without_addresses(text: str) -> str:
    return _ADDRESS.sub(DOTS, text)
